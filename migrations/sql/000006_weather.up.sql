-- What services of official warnings answered, whole and as it came, so that a
-- decision can be replayed on what was warned of. A NULL body = the same as the
-- one before: it was read again and nothing had changed.
CREATE TABLE warning_answer (
  firm_id     uuid NOT NULL REFERENCES firm,
  answer_id   uuid NOT NULL,
  feed        text NOT NULL CHECK (feed <> ''),  -- its address
  fetched_at  timestamptz NOT NULL,
  body        bytea,
  PRIMARY KEY (firm_id, answer_id)
);
CREATE INDEX warning_answer_newest ON warning_answer (firm_id, feed, fetched_at DESC);

-- What kept chances taught, one version each time it is worked out.
CREATE TABLE calibration (
  firm_id   uuid NOT NULL REFERENCES firm,
  version   integer NOT NULL CHECK (version > 0),
  learnt    jsonb NOT NULL CHECK (jsonb_typeof(learnt) = 'object'),
  outcomes  integer NOT NULL CHECK (outcomes >= 0),  -- half-days it was learnt from
  made_by   text NOT NULL CHECK (made_by <> ''),
  made_at   timestamptz NOT NULL,
  PRIMARY KEY (firm_id, version)
);

-- How often each month's half-days were workable, counted from an hourly record
-- that the firm chose; without one the usual record holds.
CREATE TABLE climate (
  firm_id   uuid NOT NULL REFERENCES firm,
  version   integer NOT NULL CHECK (version > 0),
  of        text NOT NULL CHECK (of <> ''),  -- where and when the record comes from, in words
  counted   text NOT NULL CHECK (counted <> ''),  -- CSV: task, terrain, month, half, half_days, workable
  set_by    text NOT NULL CHECK (set_by <> ''),
  set_at    timestamptz NOT NULL,
  PRIMARY KEY (firm_id, version)
);

DO $$
DECLARE t text;
BEGIN
  FOREACH t IN ARRAY ARRAY['warning_answer', 'calibration', 'climate'] LOOP
    EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
    EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
    EXECUTE format('CREATE POLICY own_firm ON %I USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm())', t);
    EXECUTE format('GRANT SELECT, INSERT ON %I TO toeboard_app', t);
    EXECUTE format('CREATE TRIGGER record_is_kept BEFORE UPDATE OR DELETE ON %I FOR EACH ROW EXECUTE FUNCTION record_is_kept()', t);
  END LOOP;
END $$;
