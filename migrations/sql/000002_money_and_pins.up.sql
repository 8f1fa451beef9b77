-- The firm's money and rules as versions, what customers know and have
-- confirmed, distances by road, and what a person has fixed in the plan.

-- Whether the customer was told the promised day. Up to now a promise was the
-- day that the customer was told, so every promise there is counts as told.
ALTER TABLE job ADD COLUMN promise_told boolean NOT NULL DEFAULT false;
ALTER TABLE job NO FORCE ROW LEVEL SECURITY;
UPDATE job SET promise_told = true WHERE promised_on IS NOT NULL;
ALTER TABLE job FORCE ROW LEVEL SECURITY;
ALTER TABLE job ADD CONSTRAINT job_told_a_promise CHECK (NOT promise_told OR promised_on IS NOT NULL);

-- The customer's word that somebody may come for a stage on a day: the newest
-- one counts, and only while an appointment stands on just that day.
CREATE TABLE customer_confirmation (
  firm_id     uuid NOT NULL,
  job_id      uuid NOT NULL,
  stage_kind  text NOT NULL,
  on_day      date NOT NULL,
  recorded_by text NOT NULL CHECK (recorded_by <> ''),
  recorded_at timestamptz NOT NULL,
  PRIMARY KEY (firm_id, job_id, stage_kind),
  FOREIGN KEY (firm_id, job_id, stage_kind) REFERENCES stage (firm_id, job_id, kind)
);

-- What a firm's days cost and the rules that it plans by, as it set them. While
-- there is no row, firm.rates is version 1.
CREATE TABLE rates (
  firm_id uuid NOT NULL REFERENCES firm,
  version integer NOT NULL CHECK (version > 1),
  body    jsonb NOT NULL,            -- schedule.Rates
  set_by  text NOT NULL CHECK (set_by <> ''),
  set_at  timestamptz NOT NULL,
  PRIMARY KEY (firm_id, version)
);

-- Kilometres by road between crew homes and sites, all of them in one row: a
-- version is replaced whole. [{"from": …, "to": …, "km": …}]
CREATE TABLE travel_matrix (
  firm_id uuid NOT NULL REFERENCES firm,
  version integer NOT NULL CHECK (version > 0),
  legs    jsonb NOT NULL CHECK (jsonb_typeof(legs) = 'array'),
  set_by  text NOT NULL CHECK (set_by <> ''),
  set_at  timestamptz NOT NULL,
  PRIMARY KEY (firm_id, version)
);

-- What a person fixed in the plan, and why. It holds until a row of pin_removal
-- takes it away; neither is ever changed.
CREATE TABLE pin (
  firm_id          uuid NOT NULL,
  pin_id           uuid NOT NULL,
  job_id           uuid NOT NULL,
  stage_kind       text,              -- NULL = the whole job
  kind             text NOT NULL,
  crew_id          uuid,
  scaffold_firm_id uuid,
  on_day           date,
  half             text CHECK (half IN ('am', 'pm')),
  why              text NOT NULL CHECK (why <> ''),
  set_by           text NOT NULL CHECK (set_by <> ''),
  set_at           timestamptz NOT NULL,
  PRIMARY KEY (firm_id, pin_id),
  FOREIGN KEY (firm_id, job_id) REFERENCES job (firm_id, job_id),
  FOREIGN KEY (firm_id, job_id, stage_kind) REFERENCES stage (firm_id, job_id, kind),
  FOREIGN KEY (firm_id, crew_id) REFERENCES crew (firm_id, crew_id),
  FOREIGN KEY (firm_id, scaffold_firm_id) REFERENCES scaffold_firm (firm_id, scaffold_firm_id),
  CONSTRAINT pin_kind_known CHECK (kind IN ('start', 'on', 'not_before', 'not_after', 'by', 'not_by', 'stays', 'left_out')),
  CONSTRAINT pin_has_its_stage CHECK (CASE
    WHEN kind IN ('stays', 'left_out') THEN stage_kind IS NULL
    WHEN kind = 'not_before' THEN true
    ELSE stage_kind IS NOT NULL END),
  CONSTRAINT pin_has_its_day CHECK ((kind IN ('start', 'on', 'not_before', 'not_after')) = (on_day IS NOT NULL)
    AND (kind = 'start') = (half IS NOT NULL)),
  CONSTRAINT pin_has_its_who CHECK (CASE
    WHEN kind NOT IN ('by', 'not_by') THEN crew_id IS NULL AND scaffold_firm_id IS NULL
    WHEN stage_kind IN ('scaffold_erection', 'scaffold_strike') THEN crew_id IS NULL AND scaffold_firm_id IS NOT NULL
    ELSE crew_id IS NOT NULL AND scaffold_firm_id IS NULL END)
);
CREATE INDEX pin_of_job ON pin (firm_id, job_id);

CREATE TABLE pin_removal (
  firm_id    uuid NOT NULL,
  pin_id     uuid NOT NULL,
  why        text NOT NULL DEFAULT '',
  removed_by text NOT NULL CHECK (removed_by <> ''),
  removed_at timestamptz NOT NULL,
  PRIMARY KEY (firm_id, pin_id),
  FOREIGN KEY (firm_id, pin_id) REFERENCES pin (firm_id, pin_id)
);

DO $$
DECLARE t text;
BEGIN
  FOREACH t IN ARRAY ARRAY['customer_confirmation', 'rates', 'travel_matrix', 'pin', 'pin_removal']
  LOOP
    EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
    EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
    EXECUTE format('CREATE POLICY own_firm ON %I USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm())', t);
    EXECUTE format('GRANT SELECT, INSERT ON %I TO toeboard_app', t);
  END LOOP;
  FOREACH t IN ARRAY ARRAY['rates', 'travel_matrix', 'pin', 'pin_removal']
  LOOP
    EXECUTE format('CREATE TRIGGER record_is_kept BEFORE UPDATE OR DELETE ON %I FOR EACH ROW EXECUTE FUNCTION record_is_kept()', t);
  END LOOP;
END $$;
GRANT UPDATE, DELETE ON customer_confirmation TO toeboard_app;
