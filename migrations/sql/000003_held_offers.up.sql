-- A place in the plan that was told to a customer and is kept free for them
-- until an instant. Taken, it is a job with the same identifier.
CREATE TABLE held_offer (
  firm_id    uuid NOT NULL REFERENCES firm,
  offer_id   uuid NOT NULL,
  told_to    text NOT NULL CHECK (told_to <> ''),
  contact    text NOT NULL DEFAULT '',
  job        jsonb NOT NULL CHECK (jsonb_typeof(job) = 'object'),  -- what was asked for
  more_pence bigint NOT NULL,            -- what the plan cost more with it when it was told
  until      timestamptz NOT NULL,
  told_by    text NOT NULL CHECK (told_by <> ''),
  told_at    timestamptz NOT NULL,
  state      text NOT NULL CHECK (state IN ('held', 'taken', 'released', 'expired')),
  ended_by   text NOT NULL DEFAULT '',
  ended_at   timestamptz,
  PRIMARY KEY (firm_id, offer_id),
  CONSTRAINT held_offer_ends_after_it_was_told CHECK (until > told_at),
  CONSTRAINT held_offer_end_is_known CHECK ((state = 'held') = (ended_at IS NULL))
);
CREATE INDEX held_offer_open ON held_offer (firm_id, until) WHERE state IN ('held', 'taken');

-- Who would do each stage of it, and when. While keeps is true nobody else can
-- be told the same half-day of the same crew.
CREATE TABLE held_place (
  firm_id           uuid NOT NULL,
  offer_id          uuid NOT NULL,
  stage_kind        text NOT NULL CHECK (stage_kind IN ('scaffold_erection', 'roof_work', 'first_fix', 'second_fix', 'commissioning', 'scaffold_strike')),
  crew_id           uuid,
  scaffold_firm_id  uuid,
  half_days         int4multirange NOT NULL CHECK (NOT isempty(half_days)),
  keeps             boolean NOT NULL DEFAULT true,
  PRIMARY KEY (firm_id, offer_id, stage_kind),
  FOREIGN KEY (firm_id, offer_id) REFERENCES held_offer (firm_id, offer_id),
  FOREIGN KEY (firm_id, crew_id) REFERENCES crew (firm_id, crew_id),
  FOREIGN KEY (firm_id, scaffold_firm_id) REFERENCES scaffold_firm (firm_id, scaffold_firm_id),
  CONSTRAINT held_place_has_its_who CHECK ((crew_id IS NULL) <> (scaffold_firm_id IS NULL)
    AND (stage_kind IN ('scaffold_erection', 'scaffold_strike')) = (scaffold_firm_id IS NOT NULL)),
  CONSTRAINT held_place_crew_twice
    EXCLUDE USING gist (firm_id WITH =, crew_id WITH =, half_days WITH &&) WHERE (crew_id IS NOT NULL AND keeps)
);

DO $$
DECLARE t text;
BEGIN
  FOREACH t IN ARRAY ARRAY['held_offer', 'held_place']
  LOOP
    EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
    EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
    EXECUTE format('CREATE POLICY own_firm ON %I USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm())', t);
    EXECUTE format('GRANT SELECT, INSERT, UPDATE ON %I TO toeboard_app', t);
  END LOOP;
END $$;
