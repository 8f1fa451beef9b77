-- Who made a private link, whom it was sent to and when it was last opened. A
-- link that goes out in a mail has a purpose of its own: mails are passed on, so
-- it ends soon, and it never leads to an address that lasts.
ALTER TABLE private_link DROP CONSTRAINT private_link_purpose_check;
ALTER TABLE private_link ADD CONSTRAINT private_link_purpose_known CHECK (purpose IN ('page', 'feed', 'mail'));
ALTER TABLE private_link ADD COLUMN made_by text NOT NULL DEFAULT '';
ALTER TABLE private_link ADD COLUMN sent_to text NOT NULL DEFAULT '';  -- e-mail address; '' = handed over by hand
ALTER TABLE private_link ADD COLUMN last_used_at timestamptz;          -- to within an hour
ALTER TABLE private_link ADD CONSTRAINT private_link_of_a_mail_ends CHECK (
  purpose <> 'mail' OR sent_to LIKE '%_@_%' AND expires_at IS NOT NULL AND expires_at <= created_at + interval '60 days');

-- What was taken back stays so, and a link never becomes another's.
CREATE FUNCTION private_link_stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF OLD.revoked_at IS NOT NULL AND (NEW.revoked_at, NEW.expires_at) IS DISTINCT FROM (OLD.revoked_at, OLD.expires_at) THEN
    RAISE EXCEPTION 'a private link that was ended stays so' USING ERRCODE = 'check_violation', CONSTRAINT = 'private_link_ended_for_good';
  END IF;
  IF (NEW.link_id, NEW.scaffold_firm_id, NEW.purpose, NEW.token_hash, NEW.created_at, NEW.made_by, NEW.sent_to)
     IS DISTINCT FROM (OLD.link_id, OLD.scaffold_firm_id, OLD.purpose, OLD.token_hash, OLD.created_at, OLD.made_by, OLD.sent_to) THEN
    RAISE EXCEPTION 'a private link stays whose it is' USING ERRCODE = 'check_violation', CONSTRAINT = 'private_link_stays_whose_it_is';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER private_link_stays BEFORE UPDATE ON private_link FOR EACH ROW EXECUTE FUNCTION private_link_stays();
