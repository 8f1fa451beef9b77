-- The life of a booking. A scaffold that stands may be seen by an inspector and
-- be wanted off hire; a scaffold firm may refuse a day without offering another.
ALTER TABLE booking DROP CONSTRAINT booking_state_check;
ALTER TABLE booking ADD CONSTRAINT booking_state_check CHECK (state IN (
  'wanted', 'sent', 'confirmed', 'countered', 'refused', 'erected', 'inspected', 'off_hire', 'struck', 'cancelled'));

-- What may follow what: the table of schedule/booking_life.go, row by row. A
-- test walks both.
CREATE FUNCTION booking_may_become(was text, becomes text) RETURNS boolean LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$
  SELECT (was, becomes) IN (
    ('wanted', 'wanted'), ('wanted', 'sent'), ('wanted', 'confirmed'), ('wanted', 'countered'), ('wanted', 'refused'), ('wanted', 'erected'), ('wanted', 'cancelled'),
    ('sent', 'wanted'), ('sent', 'sent'), ('sent', 'confirmed'), ('sent', 'countered'), ('sent', 'refused'), ('sent', 'erected'), ('sent', 'cancelled'),
    ('confirmed', 'wanted'), ('confirmed', 'confirmed'), ('confirmed', 'countered'), ('confirmed', 'refused'), ('confirmed', 'erected'), ('confirmed', 'cancelled'),
    ('countered', 'wanted'), ('countered', 'confirmed'), ('countered', 'countered'), ('countered', 'refused'), ('countered', 'erected'), ('countered', 'cancelled'),
    ('refused', 'wanted'), ('refused', 'confirmed'), ('refused', 'countered'), ('refused', 'refused'), ('refused', 'erected'), ('refused', 'cancelled'),
    ('erected', 'erected'), ('erected', 'inspected'), ('erected', 'off_hire'), ('erected', 'struck'),
    ('inspected', 'inspected'), ('inspected', 'erected'), ('inspected', 'off_hire'), ('inspected', 'struck'),
    ('off_hire', 'off_hire'), ('off_hire', 'erected'), ('off_hire', 'struck'))
$$;

CREATE FUNCTION booking_life() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF TG_OP = 'INSERT' AND NEW.state NOT IN ('wanted', 'erected') THEN
    RAISE EXCEPTION 'a booking begins as wanted, or as a scaffold that stands, not as %', NEW.state
      USING ERRCODE = 'check_violation', CONSTRAINT = 'booking_begins';
  END IF;
  IF TG_OP = 'UPDATE' AND NOT booking_may_become(OLD.state, NEW.state) THEN
    RAISE EXCEPTION 'a booking that is % cannot become %', OLD.state, NEW.state
      USING ERRCODE = 'check_violation', CONSTRAINT = 'booking_life';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER booking_life BEFORE INSERT OR UPDATE ON booking FOR EACH ROW EXECUTE FUNCTION booking_life();

-- A version is one step of that life: who took it, when, by which way, and what
-- was offered.
ALTER TABLE booking_version ADD COLUMN how text NOT NULL DEFAULT 'office'
  CONSTRAINT booking_version_how_known CHECK (how IN ('plan', 'office', 'page', 'mail', 'feed', 'command'));
ALTER TABLE booking_version ADD COLUMN offered_on date;
CREATE FUNCTION booking_version_follows() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE was text;
BEGIN
  SELECT v.state INTO was FROM booking_version v
   WHERE v.firm_id = NEW.firm_id AND v.booking_id = NEW.booking_id AND v.version < NEW.version ORDER BY v.version DESC LIMIT 1;
  IF was IS NOT NULL AND NOT booking_may_become(was, NEW.state) THEN
    RAISE EXCEPTION 'a booking that is % cannot become %', was, NEW.state
      USING ERRCODE = 'check_violation', CONSTRAINT = 'booking_life';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER booking_version_follows BEFORE INSERT ON booking_version FOR EACH ROW EXECUTE FUNCTION booking_version_follows();

-- Hours in which no mail leaves the firm but what cannot wait, in minutes after
-- midnight of its own clock. The same twice = there are none.
ALTER TABLE firm ADD COLUMN quiet_from smallint NOT NULL DEFAULT 1200;
ALTER TABLE firm ADD COLUMN quiet_to smallint NOT NULL DEFAULT 360;
ALTER TABLE firm ADD CONSTRAINT firm_quiet_hours CHECK (quiet_from BETWEEN 0 AND 1439 AND quiet_to BETWEEN 0 AND 1439);

-- A message, written with the transaction that caused it. What it says never
-- changes; what became of it does. written_at, not_before and sent_at are the
-- service's clock, taken_until is the database's: workers on several machines
-- compare it.
CREATE TABLE message (
  firm_id      uuid NOT NULL REFERENCES firm,
  message_id   uuid NOT NULL,
  kind         text NOT NULL CHECK (kind <> ''),
  topic        text NOT NULL CHECK (topic <> ''),     -- what it is about, for life: a newer message of a topic overtakes one that waits
  sequence     integer NOT NULL CHECK (sequence >= 0),  -- rises with each change of the topic
  to_name      text NOT NULL,
  to_address   text NOT NULL,                         -- '' = none is known
  mail_id      text NOT NULL CHECK (mail_id LIKE '%_@_%'),  -- Message-ID, made of topic, sequence, kind and recipient
  reply_token  text NOT NULL DEFAULT '',              -- by which an answer is known; '' = none is awaited
  letter       jsonb NOT NULL CHECK (jsonb_typeof(letter) = 'object'),
  calendar     jsonb CHECK (jsonb_typeof(calendar) = 'object'),  -- the invitation that goes with it
  caused_by    text NOT NULL CHECK (caused_by <> ''),
  written_at   timestamptz NOT NULL,
  not_before   timestamptz NOT NULL,                  -- the end of the quiet hours
  state        text NOT NULL CHECK (state IN ('waiting', 'sent', 'failed', 'bounced', 'overtaken')),
  tries        integer NOT NULL DEFAULT 0 CHECK (tries >= 0),  -- only the last one may say how it went
  taken_until  timestamptz,                           -- while a worker has it in hand, or while it is left alone after a failure
  sent_at      timestamptz,
  sent_with    uuid,                                  -- the message in whose mail it went; NULL = its own
  says         text NOT NULL DEFAULT '',              -- what the mail server said last, or why it cannot be sent
  PRIMARY KEY (firm_id, message_id),
  FOREIGN KEY (firm_id, sent_with) REFERENCES message,
  CONSTRAINT message_once UNIQUE (firm_id, topic, sequence, kind, to_address),
  CONSTRAINT message_sent_has_its_time CHECK ((state IN ('sent', 'bounced')) = (sent_at IS NOT NULL)),
  CONSTRAINT message_waits_for_somebody CHECK (state <> 'waiting' OR to_address LIKE '%_@_%')
);
CREATE INDEX message_newest ON message (firm_id, written_at DESC);
CREATE INDEX message_waiting ON message (firm_id, not_before) WHERE state = 'waiting';

-- What became of each try. 'begun' stands before the mail server is asked: a
-- try without an end is one whose worker died, and only such a one can have put
-- a second copy on its way.
CREATE TABLE message_try (
  firm_id     uuid NOT NULL,
  message_id  uuid NOT NULL,
  try         integer NOT NULL CHECK (try > 0),
  what        text NOT NULL CHECK (what IN ('begun', 'sent', 'later', 'failed', 'bounced', 'again')),
  at          timestamptz NOT NULL,
  by          text NOT NULL CHECK (by <> ''),
  says        text NOT NULL DEFAULT '',
  PRIMARY KEY (firm_id, message_id, try, what),
  FOREIGN KEY (firm_id, message_id) REFERENCES message
);

-- Whoever answers by mail is known by this, and not by the sender: part of the
-- address that is answered to. It is as secret as the mail that carries it.
CREATE TABLE booking_token (
  firm_id     uuid NOT NULL,
  booking_id  uuid NOT NULL,
  token       text NOT NULL CONSTRAINT booking_token_is_long CHECK (length(token) >= 26),
  made_at     timestamptz NOT NULL,
  PRIMARY KEY (firm_id, booking_id),
  FOREIGN KEY (firm_id, booking_id) REFERENCES booking
);
CREATE INDEX booking_token_token ON booking_token (token);

-- Mail that came back, and what was made of it. The same mail read twice is
-- taken once.
CREATE TABLE mail_received (
  firm_id       uuid NOT NULL REFERENCES firm,
  mail_hash     bytea NOT NULL CHECK (length(mail_hash) = 32),
  booking_id    uuid NOT NULL,
  mail_id       text NOT NULL,
  from_address  text NOT NULL,
  what          text NOT NULL CHECK (what IN ('confirmed', 'refused_day', 'offered', 'bounced', 'not_taken')),
  says          text NOT NULL CHECK (says <> ''),
  at            timestamptz NOT NULL,
  PRIMARY KEY (firm_id, mail_hash),
  FOREIGN KEY (firm_id, booking_id) REFERENCES booking
);

-- A handover certificate as the scaffold firm sent it. What it says is recorded
-- by a competent person as a scaffold report; the file alone makes nothing clear.
CREATE TABLE handover_file (
  firm_id      uuid NOT NULL,
  file_id      uuid NOT NULL,
  booking_id   uuid NOT NULL,
  name         text NOT NULL CHECK (name <> ''),
  media_type   text NOT NULL CONSTRAINT handover_file_type_known CHECK (media_type IN ('application/pdf', 'image/jpeg', 'image/png')),
  body         bytea NOT NULL CONSTRAINT handover_file_size CHECK (octet_length(body) BETWEEN 1 AND 5242880),
  body_hash    bytea NOT NULL,
  uploaded_by  text NOT NULL CHECK (uploaded_by <> ''),
  uploaded_at  timestamptz NOT NULL,
  PRIMARY KEY (firm_id, file_id),
  FOREIGN KEY (firm_id, booking_id) REFERENCES booking,
  CONSTRAINT handover_file_once UNIQUE (firm_id, booking_id, body_hash),
  CONSTRAINT handover_file_is_what_it_was CHECK (body_hash = sha256(body))
);

DO $$
DECLARE t text;
BEGIN
  FOREACH t IN ARRAY ARRAY['message', 'message_try', 'booking_token', 'mail_received', 'handover_file'] LOOP
    EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
    EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
    EXECUTE format('CREATE POLICY own_firm ON %I USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm())', t);
    EXECUTE format('GRANT SELECT, INSERT ON %I TO toeboard_app', t);
    IF t <> 'message' THEN
      EXECUTE format('CREATE TRIGGER record_is_kept BEFORE UPDATE OR DELETE ON %I FOR EACH ROW EXECUTE FUNCTION record_is_kept()', t);
    END IF;
  END LOOP;
END $$;

-- What a message says never changes.
GRANT UPDATE (not_before, state, tries, taken_until, sent_at, sent_with, says) ON message TO toeboard_app;

-- Whoever holds a token may find its row, before it is known whose firm it is.
CREATE POLICY by_answer ON booking_token FOR SELECT
  USING (token = nullif(current_setting('toeboard.answer', true), ''));
