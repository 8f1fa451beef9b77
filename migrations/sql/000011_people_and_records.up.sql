-- The PIN with which a person signs, as an argon2id hash. It is a secret, no
-- record: a new one takes the place of the old.
CREATE TABLE signing_pin (
  firm_id           uuid NOT NULL,
  person_id         uuid NOT NULL,
  pin_hash          text NOT NULL,
  set_by_person_id  uuid NOT NULL,
  set_at            timestamptz NOT NULL,
  PRIMARY KEY (firm_id, person_id),
  FOREIGN KEY (firm_id, person_id) REFERENCES person,
  FOREIGN KEY (firm_id, set_by_person_id) REFERENCES person,
  CONSTRAINT signing_pin_is_hashed CHECK (pin_hash LIKE '$argon2id$%')
);
ALTER TABLE signing_pin ENABLE ROW LEVEL SECURITY;
ALTER TABLE signing_pin FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON signing_pin USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm());
GRANT SELECT, INSERT, UPDATE (pin_hash, set_by_person_id, set_at) ON signing_pin TO toeboard_app;

-- How a signature was given, the strokes of the drawn one, on whose phone, and
-- what was so when it was given: {assessment, crew, scaffold, tasks, forecast},
-- in words. Rows from before say 'typed' and nothing of what was so; they do not
-- count any more.
ALTER TABLE sign_off
  ADD COLUMN proof text NOT NULL DEFAULT 'typed' CONSTRAINT sign_off_proof_known CHECK (proof IN ('typed', 'pin')),
  ADD COLUMN drawing text NOT NULL DEFAULT ''
    CONSTRAINT sign_off_drawing_is_strokes CHECK (length(drawing) <= 8000 AND drawing ~ '^(M[0-9]{1,3} [0-9]{1,3}(L[0-9]{1,3} [0-9]{1,3})*)*$'),
  ADD COLUMN on_phone_of uuid,
  ADD COLUMN given_for jsonb,
  ADD CONSTRAINT sign_off_on_phone_of_fkey FOREIGN KEY (firm_id, on_phone_of) REFERENCES person;

-- Which of the conditions that only advise a firm makes binding for itself, and
-- who may record an exception: one named person, or nobody. Versions. No
-- condition of the law can be named here.
CREATE TABLE own_rule (
  firm_id           uuid NOT NULL,
  code              text NOT NULL,
  version           integer NOT NULL CHECK (version > 0),
  binding           boolean NOT NULL,
  holder_person_id  uuid,
  why               text NOT NULL CHECK (why <> ''),
  set_by_person_id  uuid NOT NULL,
  set_at            timestamptz NOT NULL,
  PRIMARY KEY (firm_id, code, version),
  FOREIGN KEY (firm_id, set_by_person_id) REFERENCES person,
  CONSTRAINT own_rule_holder_fkey FOREIGN KEY (firm_id, holder_person_id) REFERENCES person,
  CONSTRAINT own_rule_is_no_law CHECK (code IN ('B16', 'B17', 'B18'))
);

-- One exception from a firm's own rule, for one crew at one job on one day.
CREATE TABLE rule_exception (
  firm_id       uuid NOT NULL,
  exception_id  uuid NOT NULL,
  crew_id       uuid NOT NULL,
  job_id        uuid NOT NULL,
  on_day        date NOT NULL,
  code          text NOT NULL,
  reason        text NOT NULL CHECK (reason <> ''),
  by_person_id  uuid NOT NULL,
  at            timestamptz NOT NULL,
  PRIMARY KEY (firm_id, exception_id),
  FOREIGN KEY (firm_id, crew_id) REFERENCES crew,
  FOREIGN KEY (firm_id, job_id) REFERENCES job,
  FOREIGN KEY (firm_id, by_person_id) REFERENCES person,
  CONSTRAINT rule_exception_is_from_no_law CHECK (code IN ('B16', 'B17', 'B18'))
);
CREATE FUNCTION rule_exception_by_the_named() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NOT EXISTS (
    SELECT FROM own_rule r
     WHERE r.firm_id = NEW.firm_id AND r.code = NEW.code AND r.binding AND r.holder_person_id = NEW.by_person_id
       AND r.version = (SELECT max(n.version) FROM own_rule n WHERE n.firm_id = NEW.firm_id AND n.code = NEW.code)) THEN
    RAISE EXCEPTION 'the firm names somebody else, or nobody, for exceptions from %', NEW.code
      USING ERRCODE = 'check_violation', CONSTRAINT = 'rule_exception_by_the_named';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER rule_exception_by_the_named AFTER INSERT ON rule_exception FOR EACH ROW EXECUTE FUNCTION rule_exception_by_the_named();

-- Records of a job beside those of its mornings: checks of a finished roof,
-- electrical tests, isolations, near misses and incidents, notifications. What
-- each holds is safety/record.go's.
CREATE TABLE job_record (
  firm_id       uuid NOT NULL,
  record_id     uuid NOT NULL,
  job_id        uuid NOT NULL,
  kind          text NOT NULL,
  at            timestamptz NOT NULL,   -- when it was done or happened
  body          jsonb NOT NULL CHECK (jsonb_typeof(body) = 'object'),
  by_person_id  uuid NOT NULL,
  recorded_at   timestamptz NOT NULL,
  PRIMARY KEY (firm_id, record_id),
  FOREIGN KEY (firm_id, job_id) REFERENCES job,
  FOREIGN KEY (firm_id, by_person_id) REFERENCES person,
  CONSTRAINT job_record_kind_known CHECK (kind IN ('weatherproof', 'electrical_test', 'isolation', 'isolation_end', 'near_miss', 'incident', 'notification')),
  CONSTRAINT job_record_has_been CHECK (at <= recorded_at)
);
CREATE INDEX job_record_job ON job_record (firm_id, job_id, at DESC);
CREATE INDEX job_record_kind ON job_record (firm_id, kind, at DESC);

-- Whether somebody declared themselves fit for work on a day: yes or no, and
-- never why. The newest counts.
CREATE TABLE fitness (
  firm_id         uuid NOT NULL,
  declaration_id  uuid NOT NULL,
  person_id       uuid NOT NULL,
  on_day          date NOT NULL,
  fit             boolean NOT NULL,
  by_person_id    uuid NOT NULL,
  at              timestamptz NOT NULL,
  PRIMARY KEY (firm_id, declaration_id),
  FOREIGN KEY (firm_id, person_id) REFERENCES person,
  FOREIGN KEY (firm_id, by_person_id) REFERENCES person
);
CREATE INDEX fitness_day ON fitness (firm_id, person_id, on_day, at DESC);

DO $$
DECLARE t text;
BEGIN
  FOREACH t IN ARRAY ARRAY['own_rule', 'rule_exception', 'job_record', 'fitness'] LOOP
    EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
    EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
    EXECUTE format('CREATE POLICY own_firm ON %I USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm())', t);
    EXECUTE format('GRANT SELECT, INSERT ON %I TO toeboard_app', t);
    EXECUTE format('CREATE TRIGGER record_is_kept BEFORE UPDATE OR DELETE ON %I FOR EACH ROW EXECUTE FUNCTION record_is_kept()', t);
  END LOOP;
END $$;
SELECT keep_in_record('own_rule', 'code', 'version'),
       keep_in_record('rule_exception', 'exception_id'),
       keep_in_record('job_record', 'record_id'),
       keep_in_record('fitness', 'declaration_id');

-- Where each module sits on the roof, by its row from the eaves and its column
-- from the left, and the serial number of what belongs to it (its inverter). A
-- serial stands once in a firm.
CREATE TABLE module_place (
  firm_id       uuid NOT NULL,
  job_id        uuid NOT NULL,
  grid_row      integer NOT NULL,
  grid_col      integer NOT NULL,
  serial        text NOT NULL,
  by_person_id  uuid NOT NULL,
  at            timestamptz NOT NULL,
  PRIMARY KEY (firm_id, job_id, grid_row, grid_col),
  FOREIGN KEY (firm_id, job_id) REFERENCES job,
  FOREIGN KEY (firm_id, by_person_id) REFERENCES person,
  CONSTRAINT module_place_serial_once UNIQUE (firm_id, serial),
  CONSTRAINT module_place_serial_is_one CHECK (serial ~ '^[A-Z0-9][A-Z0-9./-]{3,39}$'),
  CONSTRAINT module_place_on_the_grid CHECK (grid_row BETWEEN 1 AND 20 AND grid_col BETWEEN 1 AND 40)
);
ALTER TABLE module_place ENABLE ROW LEVEL SECURITY;
ALTER TABLE module_place FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON module_place USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm());
GRANT SELECT, INSERT, DELETE ON module_place TO toeboard_app;
