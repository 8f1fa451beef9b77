-- Phones that asked to be told at once (Web Push, RFC 8030), and what they are
-- told. Each firm has a key pair of its own, by which push services know who
-- sends (RFC 8292).
CREATE TABLE push_key (
  firm_id      uuid PRIMARY KEY REFERENCES firm,
  private_key  text NOT NULL CHECK (private_key <> ''),
  public_key   text NOT NULL CHECK (public_key <> ''),
  made_at      timestamptz NOT NULL
);

CREATE TABLE push_phone (
  firm_id     uuid NOT NULL,
  phone_id    uuid NOT NULL,
  person_id   uuid NOT NULL,
  endpoint    text NOT NULL CONSTRAINT push_phone_by_https CHECK (endpoint LIKE 'https://_%' AND length(endpoint) <= 2000),
  p256dh      text NOT NULL CHECK (p256dh <> ''),
  auth        text NOT NULL CHECK (auth <> ''),
  asked_at    timestamptz NOT NULL,
  ended_at    timestamptz,                -- the phone took it back, or its push service no longer knows it
  ended_why   text NOT NULL DEFAULT '',
  PRIMARY KEY (firm_id, phone_id),
  FOREIGN KEY (firm_id, person_id) REFERENCES person
);
-- One phone tells one person at a time: whoever asks for it last.
CREATE UNIQUE INDEX push_phone_of_one_person ON push_phone (firm_id, endpoint) WHERE ended_at IS NULL;

CREATE TABLE push_note (
  firm_id     uuid NOT NULL,
  note_id     uuid NOT NULL,
  person_id   uuid NOT NULL,
  topic       text NOT NULL CHECK (topic <> ''),
  sequence    integer NOT NULL,
  title       text NOT NULL CHECK (title <> ''),
  body        text NOT NULL,
  href        text NOT NULL CHECK (href LIKE '/%'),
  until       timestamptz NOT NULL,       -- later it is of no use
  written_at  timestamptz NOT NULL,
  done_at     timestamptz,
  says        text NOT NULL DEFAULT '',   -- what became of it
  PRIMARY KEY (firm_id, note_id),
  CONSTRAINT push_note_once UNIQUE (firm_id, person_id, topic, sequence),
  FOREIGN KEY (firm_id, person_id) REFERENCES person
);

-- To which phones it went: a worker that comes back leaves those out.
CREATE TABLE push_sent (
  firm_id   uuid NOT NULL,
  note_id   uuid NOT NULL,
  phone_id  uuid NOT NULL,
  sent_at   timestamptz NOT NULL,
  PRIMARY KEY (firm_id, note_id, phone_id),
  FOREIGN KEY (firm_id, note_id) REFERENCES push_note,
  FOREIGN KEY (firm_id, phone_id) REFERENCES push_phone
);

DO $$
DECLARE t text;
BEGIN
  FOREACH t IN ARRAY ARRAY['push_key', 'push_phone', 'push_note', 'push_sent'] LOOP
    EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
    EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
    EXECUTE format('CREATE POLICY own_firm ON %I USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm())', t);
    EXECUTE format('GRANT SELECT, INSERT ON %I TO toeboard_app', t);
  END LOOP;
END $$;
GRANT UPDATE (ended_at, ended_why) ON push_phone TO toeboard_app;
GRANT UPDATE (done_at, says) ON push_note TO toeboard_app;
