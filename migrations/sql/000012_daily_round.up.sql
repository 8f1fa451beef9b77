-- The rounds of the day: what is done once for each firm, kind and local date,
-- however many instances are awake and whatever the clocks do. The row stands
-- before the work, and is ended in the transaction that writes its effect, so a
-- second worker finds it done.
CREATE TABLE daily_round (
  firm_id   uuid NOT NULL REFERENCES firm,
  kind      text NOT NULL CHECK (kind ~ '^[a-z0-9_]{1,40}$'),
  on_date   date NOT NULL,
  round_id  uuid NOT NULL,
  begun_at  timestamptz NOT NULL,
  done_at   timestamptz,
  said      text NOT NULL DEFAULT '',  -- what it came to, in words
  PRIMARY KEY (firm_id, kind, on_date),
  UNIQUE (firm_id, round_id),
  CONSTRAINT round_ends_after_it_begins CHECK (done_at >= begun_at)
);

ALTER TABLE daily_round ENABLE ROW LEVEL SECURITY;
ALTER TABLE daily_round FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON daily_round USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm());
GRANT SELECT, INSERT, UPDATE (done_at, said) ON daily_round TO toeboard_app;

CREATE FUNCTION round_is_done_once() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF OLD.done_at IS NOT NULL THEN
    RAISE EXCEPTION 'the round was done already' USING ERRCODE = 'check_violation', CONSTRAINT = 'round_is_done_once';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER round_is_done_once BEFORE UPDATE ON daily_round FOR EACH ROW EXECUTE FUNCTION round_is_done_once();
