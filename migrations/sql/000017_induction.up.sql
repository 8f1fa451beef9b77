-- Who was inducted at the firm, when, by whom and in what, said by the person's
-- own PIN. May be given in parts, a row each.
CREATE TABLE induction (
  firm_id                uuid NOT NULL,
  induction_id           uuid NOT NULL,
  person_id              uuid NOT NULL,
  on_day                 date NOT NULL,
  given_by               text NOT NULL CHECK (given_by <> ''),
  covered                jsonb NOT NULL,                  -- keys of safety/induction.csv
  statement              text NOT NULL CHECK (statement <> ''),
  proof                  text NOT NULL,
  recorded_by_person_id  uuid NOT NULL,
  at                     timestamptz NOT NULL,
  PRIMARY KEY (firm_id, induction_id),
  FOREIGN KEY (firm_id, person_id) REFERENCES person,
  FOREIGN KEY (firm_id, recorded_by_person_id) REFERENCES person,
  CONSTRAINT induction_by_pin CHECK (proof = 'pin'),
  CONSTRAINT induction_covers_something CHECK (jsonb_typeof(covered) = 'array' AND covered <> '[]'),
  -- The date line is at most 14 hours ahead of UTC.
  CONSTRAINT induction_has_been CHECK (on_day <= ((at AT TIME ZONE 'UTC') + interval '14 hours')::date)
);
CREATE INDEX induction_person ON induction (firm_id, person_id, at);

-- Whom somebody who works alone rings, how often, and what that person does when
-- they do not. The newest of a crew, job and day counts.
CREATE TABLE check_in (
  firm_id        uuid NOT NULL,
  check_in_id    uuid NOT NULL,
  crew_id        uuid NOT NULL,
  job_id         uuid NOT NULL,
  on_day         date NOT NULL,
  person_id      uuid NOT NULL,
  contact        text NOT NULL CHECK (contact <> ''),
  phone          text NOT NULL,
  every_min      integer NOT NULL,
  if_missed      text NOT NULL CHECK (if_missed <> ''),
  by_person_id   uuid NOT NULL,
  at             timestamptz NOT NULL,
  PRIMARY KEY (firm_id, check_in_id),
  FOREIGN KEY (firm_id, crew_id) REFERENCES crew,
  FOREIGN KEY (firm_id, job_id) REFERENCES job,
  FOREIGN KEY (firm_id, person_id) REFERENCES person,
  FOREIGN KEY (firm_id, by_person_id) REFERENCES person,
  CONSTRAINT check_in_can_be_rung CHECK (phone ~ '^\+?[0-9 ()-]+$' AND length(regexp_replace(phone, '[^0-9]', '', 'g')) BETWEEN 6 AND 15),
  CONSTRAINT check_in_often_enough CHECK (every_min BETWEEN 15 AND 120)
);
CREATE INDEX check_in_morning ON check_in (firm_id, crew_id, job_id, on_day, at);

DO $$
DECLARE t text;
BEGIN
  FOREACH t IN ARRAY ARRAY['induction', 'check_in'] LOOP
    EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
    EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
    EXECUTE format('CREATE POLICY own_firm ON %I USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm())', t);
    EXECUTE format('GRANT SELECT, INSERT ON %I TO toeboard_app', t);
    EXECUTE format('CREATE TRIGGER record_is_kept BEFORE UPDATE OR DELETE ON %I FOR EACH ROW EXECUTE FUNCTION record_is_kept()', t);
  END LOOP;
END $$;
SELECT keep_in_record('induction', 'induction_id'),
       keep_in_record('check_in', 'check_in_id');

-- Who may work alone, where work may be done alone.
ALTER TABLE competence DROP CONSTRAINT competence_kind_check;
ALTER TABLE competence ADD CONSTRAINT competence_kind_check
  CHECK (kind IN ('lead_roof', 'roof', 'electrical', 'scaffold_inspection', 'first_aid', 'roof_rescue', 'lone_work'));
