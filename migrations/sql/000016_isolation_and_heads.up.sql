-- A permit to isolate is ended once, and by a record of its own job. Somebody
-- else may take it over while it is open. What came of a near miss or an
-- incident is a record too.
ALTER TABLE job_record DROP CONSTRAINT job_record_kind_known;
ALTER TABLE job_record ADD CONSTRAINT job_record_kind_known CHECK (kind IN
  ('weatherproof', 'electrical_test', 'isolation', 'isolation_taken', 'isolation_end', 'near_miss', 'incident', 'follow_up', 'notification'));

CREATE FUNCTION isolation_is_open() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
  began timestamptz;
BEGIN
  -- Of two who end the same permit at once, the second waits and then sees the first.
  PERFORM pg_advisory_xact_lock(hashtextextended('isolation ' || NEW.firm_id || coalesce(NEW.body ->> 'permit', ''), 0));
  SELECT p.at INTO began FROM job_record p
   WHERE p.firm_id = NEW.firm_id AND p.job_id = NEW.job_id AND p.kind = 'isolation' AND p.record_id::text = NEW.body ->> 'permit';
  IF began IS NULL THEN
    RAISE EXCEPTION 'no permit to isolate of this job is named' USING ERRCODE = 'check_violation', CONSTRAINT = 'isolation_of_this_job';
  END IF;
  IF EXISTS (SELECT FROM job_record e WHERE e.firm_id = NEW.firm_id AND e.job_id = NEW.job_id AND e.kind = 'isolation_end'
                AND e.body ->> 'permit' = NEW.body ->> 'permit' AND e.record_id <> NEW.record_id) THEN
    RAISE EXCEPTION 'the permit to isolate was ended already' USING ERRCODE = 'check_violation', CONSTRAINT = 'isolation_ends_once';
  END IF;
  IF NEW.at < began THEN
    RAISE EXCEPTION 'the permit to isolate had not begun' USING ERRCODE = 'check_violation', CONSTRAINT = 'isolation_ends_after_it_began';
  END IF;
  RETURN NEW;
END $$;
-- After the insert, so that a record that is sent again meets its own row first.
CREATE TRIGGER isolation_is_open AFTER INSERT ON job_record FOR EACH ROW
  WHEN (NEW.kind IN ('isolation_end', 'isolation_taken')) EXECUTE FUNCTION isolation_is_open();

-- What people on site see, hear and read of the sky is in the log of records.
-- Reports from before this migration stand outside it.
SELECT keep_in_record('sky_report', 'report_id');

-- That a module was taken off a roof's drawing: what was there, who had put it
-- there, and who took it away.
CREATE TABLE module_clearance (
  firm_id              uuid NOT NULL,
  clearance_id         uuid NOT NULL,
  job_id               uuid NOT NULL,
  grid_row             integer NOT NULL,
  grid_col             integer NOT NULL,
  serial               text NOT NULL CHECK (serial <> ''),
  placed_by_person_id  uuid NOT NULL,
  placed_at            timestamptz NOT NULL,
  by_person_id         uuid NOT NULL,
  at                   timestamptz NOT NULL,
  PRIMARY KEY (firm_id, clearance_id),
  FOREIGN KEY (firm_id, job_id) REFERENCES job,
  FOREIGN KEY (firm_id, placed_by_person_id) REFERENCES person,
  FOREIGN KEY (firm_id, by_person_id) REFERENCES person
);
CREATE INDEX module_clearance_place ON module_clearance (firm_id, job_id, grid_row, grid_col);

CREATE FUNCTION module_place_cleared_on_record() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NOT EXISTS (SELECT FROM module_clearance c
                  WHERE c.firm_id = OLD.firm_id AND c.job_id = OLD.job_id AND c.grid_row = OLD.grid_row AND c.grid_col = OLD.grid_col
                    AND c.serial = OLD.serial AND c.placed_at = OLD.at) THEN
    RAISE EXCEPTION 'a module leaves the drawing only with a record of it' USING ERRCODE = 'check_violation', CONSTRAINT = 'module_place_cleared_on_record';
  END IF;
  RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER module_place_cleared_on_record AFTER DELETE ON module_place DEFERRABLE INITIALLY DEFERRED
  FOR EACH ROW EXECUTE FUNCTION module_place_cleared_on_record();

-- To whom the signed head of the log is mailed each night: outside the house,
-- so that what is before it cannot be changed unseen. Versions; the newest
-- counts, and one without an address means nobody.
CREATE TABLE head_recipient (
  firm_id  uuid NOT NULL REFERENCES firm,
  version  integer NOT NULL CHECK (version > 0),
  name     text NOT NULL,
  address  text NOT NULL,
  set_by   text NOT NULL CHECK (set_by <> ''),
  set_at   timestamptz NOT NULL,
  PRIMARY KEY (firm_id, version),
  CONSTRAINT head_recipient_has_both CHECK ((name = '') = (address = '')),
  CONSTRAINT head_recipient_address CHECK (address = '' OR (address ~ '^[^\s@<>",;]+@[^\s@<>",;]+$' AND length(address) <= 254))
);

DO $$
DECLARE t text;
BEGIN
  FOREACH t IN ARRAY ARRAY['module_clearance', 'head_recipient'] LOOP
    EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
    EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
    EXECUTE format('CREATE POLICY own_firm ON %I USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm())', t);
    EXECUTE format('GRANT SELECT, INSERT ON %I TO toeboard_app', t);
    EXECUTE format('CREATE TRIGGER record_is_kept BEFORE UPDATE OR DELETE ON %I FOR EACH ROW EXECUTE FUNCTION record_is_kept()', t);
  END LOOP;
END $$;
SELECT keep_in_record('module_clearance', 'clearance_id'),
       keep_in_record('head_recipient', 'version');
