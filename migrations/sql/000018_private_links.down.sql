DROP TRIGGER private_link_stays ON private_link;
DROP FUNCTION private_link_stays();
ALTER TABLE private_link DROP CONSTRAINT private_link_of_a_mail_ends;
-- The schema before knows no links in mails: they end here.
ALTER TABLE private_link NO FORCE ROW LEVEL SECURITY;
DELETE FROM private_link WHERE purpose = 'mail';
ALTER TABLE private_link FORCE ROW LEVEL SECURITY;
ALTER TABLE private_link DROP COLUMN made_by, DROP COLUMN sent_to, DROP COLUMN last_used_at;
ALTER TABLE private_link DROP CONSTRAINT private_link_purpose_known;
ALTER TABLE private_link ADD CONSTRAINT private_link_purpose_check CHECK (purpose IN ('page', 'feed'));
