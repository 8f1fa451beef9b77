-- What a crew's own calendar shows: a row for each day of a visit, for life, so
-- that a calendar which is subscribed to sees a day move or fall out.
CREATE TABLE visit_event (
  firm_id     uuid NOT NULL,
  crew_id     uuid NOT NULL,
  job_id      uuid NOT NULL,
  stage       text NOT NULL,
  nth         integer NOT NULL CHECK (nth > 0),  -- day of the visit
  first_half  integer NOT NULL,                  -- half-days since 1970-01-01 am, both of one date
  last_half   integer NOT NULL,
  off         boolean NOT NULL DEFAULT false,    -- it is not this crew's any more
  sequence    integer NOT NULL CHECK (sequence >= 0),
  changed_at  timestamptz NOT NULL,
  PRIMARY KEY (firm_id, crew_id, job_id, stage, nth),
  FOREIGN KEY (firm_id, crew_id) REFERENCES crew,
  FOREIGN KEY (firm_id, job_id) REFERENCES job,
  CONSTRAINT visit_event_within_a_day CHECK (last_half >= first_half AND last_half / 2 = first_half / 2)
);

CREATE FUNCTION visit_event_sequence_rises() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NEW.sequence <= OLD.sequence THEN
    RAISE EXCEPTION 'a change of a visit needs a higher sequence' USING ERRCODE = 'check_violation', CONSTRAINT = 'visit_event_sequence_rises';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER visit_event_sequence_rises BEFORE UPDATE ON visit_event FOR EACH ROW EXECUTE FUNCTION visit_event_sequence_rises();

-- The secret addresses of crews' calendars. Only the hash is kept.
CREATE TABLE crew_link (
  firm_id     uuid NOT NULL,
  link_id     uuid NOT NULL,
  crew_id     uuid NOT NULL,
  token_hash  bytea NOT NULL CHECK (length(token_hash) = 32),
  made_by     text NOT NULL CHECK (made_by <> ''),
  made_at     timestamptz NOT NULL,
  revoked_at  timestamptz,
  PRIMARY KEY (firm_id, link_id),
  UNIQUE (firm_id, token_hash),
  FOREIGN KEY (firm_id, crew_id) REFERENCES crew
);
CREATE INDEX crew_link_token ON crew_link (token_hash);

DO $$
DECLARE t text;
BEGIN
  FOREACH t IN ARRAY ARRAY['visit_event', 'crew_link'] LOOP
    EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
    EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
    EXECUTE format('CREATE POLICY own_firm ON %I USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm())', t);
    EXECUTE format('GRANT SELECT, INSERT ON %I TO toeboard_app', t);
  END LOOP;
END $$;
GRANT UPDATE (first_half, last_half, off, sequence, changed_at) ON visit_event TO toeboard_app;
GRANT UPDATE (revoked_at) ON crew_link TO toeboard_app;
CREATE POLICY by_link ON crew_link FOR SELECT
  USING (token_hash = decode(nullif(current_setting('toeboard.link', true), ''), 'hex'));
