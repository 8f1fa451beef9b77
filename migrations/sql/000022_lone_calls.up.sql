-- Where the person who expects the calls of somebody alone is told that none came,
-- and from when calls are counted. Arrangements made before know neither.
ALTER TABLE check_in ADD COLUMN email text CONSTRAINT check_in_can_be_mailed CHECK (email LIKE '%_@_%');
ALTER TABLE check_in ADD COLUMN from_at timestamptz;
CREATE INDEX check_in_day ON check_in (firm_id, on_day);

-- Signs of life of somebody who works alone, as they reached the service. A call
-- that is not here is not known to have come.
CREATE TABLE lone_call (
  firm_id        uuid NOT NULL,
  call_id        uuid NOT NULL,
  crew_id        uuid NOT NULL,
  job_id         uuid NOT NULL,
  on_day         date NOT NULL,
  person_id      uuid NOT NULL,  -- who works alone
  what           text NOT NULL CONSTRAINT lone_call_what_known CHECK (what IN ('well', 'left')),
  by_person_id   uuid NOT NULL,  -- who wrote it down
  at             timestamptz NOT NULL,
  PRIMARY KEY (firm_id, call_id),
  FOREIGN KEY (firm_id, crew_id) REFERENCES crew,
  FOREIGN KEY (firm_id, job_id) REFERENCES job,
  FOREIGN KEY (firm_id, person_id) REFERENCES person,
  FOREIGN KEY (firm_id, by_person_id) REFERENCES person
);
CREATE INDEX lone_call_day ON lone_call (firm_id, on_day, crew_id, job_id, at);
ALTER TABLE lone_call ENABLE ROW LEVEL SECURITY;
ALTER TABLE lone_call FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON lone_call USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm());
GRANT SELECT, INSERT ON lone_call TO toeboard_app;
CREATE TRIGGER record_is_kept BEFORE UPDATE OR DELETE ON lone_call FOR EACH ROW EXECUTE FUNCTION record_is_kept();
SELECT keep_in_record('lone_call', 'call_id');
