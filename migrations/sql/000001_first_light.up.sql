-- The first light schema.
--
-- Every table's key begins with the firm, so that one firm's rows can be placed
-- on one shard, and every table has a forced row-level policy on the firm, so
-- that a forgotten WHERE cannot show one firm to another. The service sets the
-- firm for each transaction: set_config('toeboard.firm', <uuid>, true).
--
-- Money is whole pence. Dates are dates. A half-day is 2 x days since
-- 1970-01-01, plus one for the afternoon. Instants are timestamptz.

CREATE EXTENSION IF NOT EXISTS btree_gist;

-- The service's role owns nothing and cannot pass the policies. It cannot log
-- in by itself: the service's login takes it on with SET ROLE.
DO $$
BEGIN
  IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'toeboard_app') THEN
    CREATE ROLE toeboard_app NOLOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS NOINHERIT;
  END IF;
EXCEPTION WHEN duplicate_object OR unique_violation THEN
  NULL; -- another database of the same server was migrated at the same moment
END $$;
GRANT toeboard_app TO CURRENT_USER;

-- Before PostgreSQL 15 everybody might make tables here, and own them.
REVOKE CREATE ON SCHEMA public FROM PUBLIC;

CREATE FUNCTION toeboard_firm() RETURNS uuid
  LANGUAGE sql STABLE PARALLEL SAFE
  AS $$ SELECT nullif(current_setting('toeboard.firm', true), '')::uuid $$;

-- ---------------------------------------------------------------- the firm

CREATE TABLE firm (
  firm_id     uuid PRIMARY KEY,
  name        text NOT NULL CHECK (name <> ''),
  time_zone   text NOT NULL CHECK (time_zone <> ''),
  division    text NOT NULL CHECK (division IN ('england-and-wales', 'scotland', 'northern-ireland')),
  hours       jsonb NOT NULL,             -- when half-days start and end, minutes after local midnight
  rates       jsonb NOT NULL,             -- the money of a plan, pence
  base_lat    double precision NOT NULL CHECK (base_lat BETWEEN -90 AND 90),
  base_lon    double precision NOT NULL CHECK (base_lon BETWEEN -180 AND 180),
  created_at  timestamptz NOT NULL
);

-- Holidays are data that people edit: one-off days are in no library.
CREATE TABLE holiday (
  firm_id  uuid NOT NULL REFERENCES firm,
  day      date NOT NULL,
  title    text NOT NULL CHECK (title <> ''),
  source   text NOT NULL,
  PRIMARY KEY (firm_id, day)
);

-- The weather limits of the firm, as versions: the newest is in force.
CREATE TABLE limits (
  firm_id  uuid NOT NULL REFERENCES firm,
  version  integer NOT NULL CHECK (version > 0),
  body     jsonb NOT NULL,
  set_by   text NOT NULL CHECK (set_by <> ''),
  set_at   timestamptz NOT NULL,
  PRIMARY KEY (firm_id, version)
);

-- ---------------------------------------------------------------- people

CREATE TABLE person (
  firm_id    uuid NOT NULL REFERENCES firm,
  person_id  uuid NOT NULL,
  name       text NOT NULL CHECK (name <> ''),
  role       text NOT NULL CHECK (role IN ('office', 'crew_lead', 'crew_member')),
  phone      text NOT NULL DEFAULT '',
  active     boolean NOT NULL DEFAULT true,
  PRIMARY KEY (firm_id, person_id)
);

CREATE TABLE login (
  firm_id        uuid NOT NULL,
  person_id      uuid NOT NULL,
  email          text NOT NULL CHECK (email = lower(email) AND email LIKE '%_@_%'),
  password_hash  text NOT NULL CHECK (password_hash LIKE '$argon2id$%'),
  PRIMARY KEY (firm_id, person_id),
  UNIQUE (firm_id, email),
  FOREIGN KEY (firm_id, person_id) REFERENCES person
);
CREATE INDEX login_email ON login (email);

CREATE TABLE session (
  firm_id     uuid NOT NULL,
  token_hash  bytea NOT NULL CHECK (length(token_hash) = 32),
  person_id   uuid NOT NULL,
  data        bytea NOT NULL,
  expires_at  timestamptz NOT NULL,
  PRIMARY KEY (firm_id, token_hash),
  FOREIGN KEY (firm_id, person_id) REFERENCES person
);
CREATE INDEX session_token ON session (token_hash);
CREATE INDEX session_expiry ON session (expires_at);

CREATE TABLE competence (
  firm_id     uuid NOT NULL,
  person_id   uuid NOT NULL,
  kind        text NOT NULL CHECK (kind IN ('lead_roof', 'roof', 'electrical', 'scaffold_inspection', 'first_aid', 'roof_rescue')),
  valid_from  date NOT NULL,
  valid_to    date,                       -- last day on which it holds; NULL = does not expire
  evidence    text NOT NULL DEFAULT '',
  PRIMARY KEY (firm_id, person_id, kind, valid_from),
  FOREIGN KEY (firm_id, person_id) REFERENCES person,
  CHECK (valid_to IS NULL OR valid_to >= valid_from)
);

-- ---------------------------------------------------------------- crews

CREATE TABLE crew (
  firm_id             uuid NOT NULL REFERENCES firm,
  crew_id             uuid NOT NULL,
  name                text NOT NULL CHECK (name <> ''),
  trade               text NOT NULL CHECK (trade IN ('roof', 'electrical')),
  home_lat            double precision NOT NULL CHECK (home_lat BETWEEN -90 AND 90),
  home_lon            double precision NOT NULL CHECK (home_lon BETWEEN -180 AND 180),
  half_day_cost_pence bigint NOT NULL CHECK (half_day_cost_pence >= 0),
  active              boolean NOT NULL DEFAULT true,
  PRIMARY KEY (firm_id, crew_id),
  UNIQUE (firm_id, name)
);

CREATE TABLE crew_member (
  firm_id    uuid NOT NULL,
  crew_id    uuid NOT NULL,
  person_id  uuid NOT NULL,
  during     daterange NOT NULL CHECK (NOT isempty(during) AND lower(during) IS NOT NULL),
  is_lead    boolean NOT NULL DEFAULT false,
  PRIMARY KEY (firm_id, crew_id, person_id, during),
  FOREIGN KEY (firm_id, crew_id) REFERENCES crew,
  FOREIGN KEY (firm_id, person_id) REFERENCES person,
  CONSTRAINT crew_member_one_crew_at_a_time
    EXCLUDE USING gist (firm_id WITH =, person_id WITH =, during WITH &&),
  CONSTRAINT crew_member_one_lead_at_a_time
    EXCLUDE USING gist (firm_id WITH =, crew_id WITH =, during WITH &&) WHERE (is_lead)
);

CREATE TABLE absence (
  firm_id     uuid NOT NULL,
  absence_id  uuid NOT NULL,
  person_id   uuid NOT NULL,
  during      daterange NOT NULL CHECK (NOT isempty(during)),
  reason      text NOT NULL CHECK (reason <> ''),
  PRIMARY KEY (firm_id, absence_id),
  FOREIGN KEY (firm_id, person_id) REFERENCES person
);

-- ---------------------------------------------------------------- work

CREATE TABLE customer (
  firm_id      uuid NOT NULL REFERENCES firm,
  customer_id  uuid NOT NULL,
  name         text NOT NULL CHECK (name <> ''),
  email        text NOT NULL DEFAULT '',
  phone        text NOT NULL DEFAULT '',
  PRIMARY KEY (firm_id, customer_id)
);

CREATE TABLE site (
  firm_id         uuid NOT NULL REFERENCES firm,
  site_id         uuid NOT NULL,
  address         text NOT NULL CHECK (address <> ''),
  postcode        text NOT NULL DEFAULT '',
  lat             double precision NOT NULL CHECK (lat BETWEEN -90 AND 90),
  lon             double precision NOT NULL CHECK (lon BETWEEN -180 AND 180),
  terrain         text NOT NULL CHECK (terrain IN ('0', 'I', 'II', 'III', 'IV')),  -- EN 1991-1-4 table 4.1
  working_height_m double precision NOT NULL CHECK (working_height_m > 0 AND working_height_m <= 60),
  facts           jsonb NOT NULL DEFAULT '{}',   -- what the survey found; a missing key is not known
  PRIMARY KEY (firm_id, site_id)
);

CREATE TABLE job (
  firm_id        uuid NOT NULL REFERENCES firm,
  job_id         uuid NOT NULL,
  ref            text NOT NULL CHECK (ref <> ''),
  site_id        uuid NOT NULL,
  customer_id    uuid NOT NULL,
  state          text NOT NULL CHECK (state IN ('open', 'done', 'cancelled')),
  modules        integer NOT NULL CHECK (modules BETWEEN 1 AND 200),
  module_watts   integer NOT NULL CHECK (module_watts BETWEEN 50 AND 1000),
  module_kg      double precision NOT NULL CHECK (module_kg > 0 AND module_kg <= 60),
  module_m2      double precision NOT NULL CHECK (module_m2 > 0 AND module_m2 <= 5),
  ready_on       date,                      -- not before this day (kit, customer); NULL = any day
  promised_on    date,                      -- the date the customer was told; NULL = none yet
  note           text NOT NULL DEFAULT '',
  created_at     timestamptz NOT NULL,
  PRIMARY KEY (firm_id, job_id),
  UNIQUE (firm_id, ref),
  FOREIGN KEY (firm_id, site_id) REFERENCES site,
  FOREIGN KEY (firm_id, customer_id) REFERENCES customer
);

CREATE TABLE stage (
  firm_id    uuid NOT NULL,
  job_id     uuid NOT NULL,
  kind       text NOT NULL CHECK (kind IN ('scaffold_erection', 'roof_work', 'first_fix', 'second_fix', 'commissioning', 'scaffold_strike')),
  half_days  integer NOT NULL CHECK (half_days BETWEEN 1 AND 40),
  state      text NOT NULL CHECK (state IN ('planned', 'started', 'done')),
  started_on date,
  done_on    date,
  PRIMARY KEY (firm_id, job_id, kind),
  FOREIGN KEY (firm_id, job_id) REFERENCES job,
  CHECK ((state = 'done') = (done_on IS NOT NULL)),
  CHECK (state <> 'started' OR started_on IS NOT NULL),
  CHECK (started_on IS NULL OR done_on IS NULL OR done_on >= started_on)
);

CREATE TABLE consent (
  firm_id      uuid NOT NULL,
  job_id       uuid NOT NULL,
  kind         text NOT NULL CHECK (kind IN ('grid_connection', 'building_control', 'planning', 'landlord', 'highway_licence')),
  stage_kind   text NOT NULL,             -- the stage that waits for it
  state        text NOT NULL CHECK (state IN ('wanted', 'applied', 'granted', 'refused')),
  expected_on  date,                      -- best knowledge of the day it comes
  granted_on   date,
  PRIMARY KEY (firm_id, job_id, kind),
  FOREIGN KEY (firm_id, job_id, stage_kind) REFERENCES stage (firm_id, job_id, kind),
  CHECK ((state = 'granted') = (granted_on IS NOT NULL))
);

CREATE TABLE kit (
  firm_id     uuid NOT NULL,
  job_id      uuid NOT NULL,
  item        text NOT NULL CHECK (item <> ''),
  quantity    integer NOT NULL CHECK (quantity > 0),
  due_on      date,
  arrived_on  date,
  PRIMARY KEY (firm_id, job_id, item),
  FOREIGN KEY (firm_id, job_id) REFERENCES job
);

-- ---------------------------------------------------------------- scaffold firms

CREATE TABLE scaffold_firm (
  firm_id           uuid NOT NULL REFERENCES firm,
  scaffold_firm_id  uuid NOT NULL,
  name              text NOT NULL CHECK (name <> ''),
  email             text NOT NULL DEFAULT '',
  phone             text NOT NULL DEFAULT '',
  gangs_per_day     integer NOT NULL CHECK (gangs_per_day BETWEEN 1 AND 50),
  sets              integer NOT NULL CHECK (sets BETWEEN 1 AND 500),      -- sets of kit that can stand at once
  erect_notice      integer NOT NULL CHECK (erect_notice BETWEEN 0 AND 60),   -- working days
  strike_notice     integer NOT NULL CHECK (strike_notice BETWEEN 0 AND 60),  -- working days
  visit_pence       bigint NOT NULL CHECK (visit_pence >= 0),             -- erect and strike together
  included_weeks    integer NOT NULL CHECK (included_weeks BETWEEN 0 AND 52),
  weekly_hire_pence bigint NOT NULL CHECK (weekly_hire_pence >= 0),
  active            boolean NOT NULL DEFAULT true,
  PRIMARY KEY (firm_id, scaffold_firm_id),
  UNIQUE (firm_id, name)
);

-- A private link stands for one scaffold firm. Only its hash is kept.
CREATE TABLE private_link (
  firm_id           uuid NOT NULL,
  link_id           uuid NOT NULL,
  scaffold_firm_id  uuid NOT NULL,
  purpose           text NOT NULL CHECK (purpose IN ('page', 'feed')),
  token_hash        bytea NOT NULL CHECK (length(token_hash) = 32),
  created_at        timestamptz NOT NULL,
  expires_at        timestamptz,
  revoked_at        timestamptz,
  PRIMARY KEY (firm_id, link_id),
  UNIQUE (firm_id, token_hash),
  FOREIGN KEY (firm_id, scaffold_firm_id) REFERENCES scaffold_firm
);
CREATE INDEX private_link_token ON private_link (token_hash);

-- ---------------------------------------------------------------- forecasts

-- One fetched answer, kept whole so that any decision can be replayed.
CREATE TABLE forecast (
  firm_id      uuid NOT NULL,
  forecast_id  uuid NOT NULL,
  site_id      uuid NOT NULL,
  provider     text NOT NULL CHECK (provider <> ''),
  model_run    timestamptz,
  fetched_at   timestamptz NOT NULL,
  covers       tstzrange NOT NULL CHECK (NOT isempty(covers)),
  body         bytea NOT NULL,            -- as it came
  PRIMARY KEY (firm_id, forecast_id),
  FOREIGN KEY (firm_id, site_id) REFERENCES site
);
CREATE INDEX forecast_newest ON forecast (firm_id, site_id, fetched_at DESC);

-- ---------------------------------------------------------------- plans

CREATE TABLE plan (
  firm_id        uuid NOT NULL REFERENCES firm,
  plan_id        uuid NOT NULL,
  version        integer NOT NULL CHECK (version > 0),
  state          text NOT NULL CHECK (state IN ('draft', 'published', 'superseded', 'dropped')),
  base_plan_id   uuid,                    -- the plan that was published when this one was made
  first_day      date NOT NULL,
  days           integer NOT NULL CHECK (days BETWEEN 1 AND 400),
  seed           bigint NOT NULL,
  schedules      integer NOT NULL CHECK (schedules >= 0),  -- schedules generated: the search's budget
  snapshot_hash  bytea NOT NULL CHECK (length(snapshot_hash) = 32),
  cost           jsonb NOT NULL,          -- itemised, pence, with reasons
  unplanned      jsonb NOT NULL DEFAULT '[]',  -- stages that did not fit, each with its reason
  made_by        text NOT NULL,
  made_at        timestamptz NOT NULL,
  published_by   text,
  published_at   timestamptz,
  PRIMARY KEY (firm_id, plan_id),
  UNIQUE (firm_id, version),
  FOREIGN KEY (firm_id, base_plan_id) REFERENCES plan,
  CHECK ((state IN ('published', 'superseded')) = (published_at IS NOT NULL))
);
CREATE UNIQUE INDEX plan_one_published ON plan (firm_id) WHERE state = 'published';

CREATE TABLE visit (
  firm_id           uuid NOT NULL,
  plan_id           uuid NOT NULL,
  job_id            uuid NOT NULL,
  stage_kind        text NOT NULL,
  crew_id           uuid,
  scaffold_firm_id  uuid,
  half_days         int4multirange NOT NULL CHECK (NOT isempty(half_days)),
  chance            double precision CHECK (chance > 0 AND chance < 1),   -- that weather lets it run; NULL = unknown
  chance_basis      text NOT NULL DEFAULT '',                 -- what the chance rests on, in words
  indoors           boolean NOT NULL,
  why               text NOT NULL DEFAULT '',
  PRIMARY KEY (firm_id, plan_id, job_id, stage_kind),
  FOREIGN KEY (firm_id, plan_id) REFERENCES plan,
  FOREIGN KEY (firm_id, job_id, stage_kind) REFERENCES stage (firm_id, job_id, kind),
  FOREIGN KEY (firm_id, crew_id) REFERENCES crew,
  FOREIGN KEY (firm_id, scaffold_firm_id) REFERENCES scaffold_firm,
  CHECK ((crew_id IS NULL) <> (scaffold_firm_id IS NULL)),
  CHECK ((stage_kind IN ('scaffold_erection', 'scaffold_strike')) = (scaffold_firm_id IS NOT NULL)),
  CONSTRAINT visit_crew_double_booked
    EXCLUDE USING gist (firm_id WITH =, plan_id WITH =, crew_id WITH =, half_days WITH &&) WHERE (crew_id IS NOT NULL)
);

-- ---------------------------------------------------------------- bookings

CREATE TABLE booking (
  firm_id           uuid NOT NULL,
  booking_id        uuid NOT NULL,
  job_id            uuid NOT NULL,
  scaffold_firm_id  uuid NOT NULL,
  uid               text NOT NULL CHECK (uid LIKE '%_@_%'),
  state             text NOT NULL CHECK (state IN ('wanted', 'sent', 'confirmed', 'countered', 'erected', 'struck', 'cancelled')),
  erect_on          date NOT NULL,
  strike_on         date NOT NULL,
  sequence          integer NOT NULL CHECK (sequence >= 0),
  offered_on        date,                  -- the other day a countered booking was offered
  changed_at        timestamptz NOT NULL,
  PRIMARY KEY (firm_id, booking_id),
  UNIQUE (firm_id, uid),
  FOREIGN KEY (firm_id, job_id) REFERENCES job,
  FOREIGN KEY (firm_id, scaffold_firm_id) REFERENCES scaffold_firm,
  CHECK (strike_on >= erect_on),
  CHECK ((state = 'countered') = (offered_on IS NOT NULL)),
  CONSTRAINT booking_overlaps_on_job
    EXCLUDE USING gist (firm_id WITH =, job_id WITH =, daterange(erect_on, strike_on, '[]') WITH &&) WHERE (state <> 'cancelled')
);

-- What each booking was, version by version. Rows are only added.
CREATE TABLE booking_version (
  firm_id     uuid NOT NULL,
  booking_id  uuid NOT NULL,
  version     integer NOT NULL CHECK (version > 0),
  sequence    integer NOT NULL CHECK (sequence >= 0),
  state       text NOT NULL,
  erect_on    date NOT NULL,
  strike_on   date NOT NULL,
  plan_id     uuid,
  why         text NOT NULL CHECK (why <> ''),
  changed_by  text NOT NULL CHECK (changed_by <> ''),
  changed_at  timestamptz NOT NULL,
  PRIMARY KEY (firm_id, booking_id, version),
  FOREIGN KEY (firm_id, booking_id) REFERENCES booking,
  FOREIGN KEY (firm_id, plan_id) REFERENCES plan
);

-- A calendar client keeps the highest SEQUENCE it saw (RFC 5546 2.1.4): one
-- that fell would be ignored for ever.
CREATE FUNCTION booking_sequence_never_falls() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NEW.sequence < OLD.sequence THEN
    RAISE EXCEPTION 'booking % sequence would fall from % to %', OLD.booking_id, OLD.sequence, NEW.sequence
      USING ERRCODE = 'check_violation', CONSTRAINT = 'booking_sequence_never_falls';
  END IF;
  IF NEW.uid <> OLD.uid THEN
    RAISE EXCEPTION 'booking % keeps its uid for life', OLD.booking_id
      USING ERRCODE = 'check_violation', CONSTRAINT = 'booking_uid_for_life';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER booking_sequence BEFORE UPDATE ON booking
  FOR EACH ROW EXECUTE FUNCTION booking_sequence_never_falls();

-- ---------------------------------------------------------------- safety

CREATE TABLE risk_assessment (
  firm_id        uuid NOT NULL,
  assessment_id  uuid NOT NULL,
  job_id         uuid NOT NULL,
  version        integer NOT NULL CHECK (version > 0),
  body           jsonb NOT NULL,
  facts_hash     bytea NOT NULL CHECK (length(facts_hash) = 32),  -- of the job facts it was made from
  body_hash      bytea NOT NULL CHECK (length(body_hash) = 32),
  made_by        text NOT NULL CHECK (made_by <> ''),
  made_at        timestamptz NOT NULL,
  PRIMARY KEY (firm_id, assessment_id),
  UNIQUE (firm_id, job_id, version),
  FOREIGN KEY (firm_id, job_id) REFERENCES job
);

CREATE TABLE assessment_approval (
  firm_id        uuid NOT NULL,
  assessment_id  uuid NOT NULL,
  person_id      uuid NOT NULL,
  approved_at    timestamptz NOT NULL,
  PRIMARY KEY (firm_id, assessment_id, person_id),
  FOREIGN KEY (firm_id, assessment_id) REFERENCES risk_assessment,
  FOREIGN KEY (firm_id, person_id) REFERENCES person
);

-- A handover or an inspection of one job's scaffold, with the particulars that
-- the report must have. Rows are only added; a correction is a new row.
CREATE TABLE scaffold_report (
  firm_id      uuid NOT NULL,
  report_id    uuid NOT NULL,
  job_id       uuid NOT NULL,
  kind         text NOT NULL CHECK (kind IN ('handover', 'inspection')),
  for_whom     text NOT NULL CHECK (for_whom <> ''),
  location     text NOT NULL CHECK (location <> ''),
  description  text NOT NULL CHECK (description <> ''),
  at           timestamptz NOT NULL,
  risks        text NOT NULL CHECK (risks <> ''),         -- 'none found' is stated, not left out
  action_taken text NOT NULL CHECK (action_taken <> ''),
  further      text NOT NULL CHECK (further <> ''),
  by_name      text NOT NULL CHECK (by_name <> ''),
  by_position  text NOT NULL CHECK (by_position <> ''),
  result       text NOT NULL CHECK (result IN ('fit', 'not_fit')),
  load_class   integer CHECK (load_class BETWEEN 1 AND 6),  -- EN 12811-1
  recorded_by  text NOT NULL CHECK (recorded_by <> ''),
  recorded_at  timestamptz NOT NULL,
  PRIMARY KEY (firm_id, report_id),
  FOREIGN KEY (firm_id, job_id) REFERENCES job
);
CREATE INDEX scaffold_report_job ON scaffold_report (firm_id, job_id, at DESC);

-- Something that could have affected a scaffold's stability: it must be
-- inspected again before use.
CREATE TABLE scaffold_event (
  firm_id      uuid NOT NULL,
  event_id     uuid NOT NULL,
  job_id       uuid NOT NULL,
  what         text NOT NULL CHECK (what IN ('wind', 'impact', 'alteration', 'other')),
  detail       text NOT NULL CHECK (detail <> ''),
  at           timestamptz NOT NULL,
  recorded_by  text NOT NULL CHECK (recorded_by <> ''),
  recorded_at  timestamptz NOT NULL,
  PRIMARY KEY (firm_id, event_id),
  FOREIGN KEY (firm_id, job_id) REFERENCES job
);

-- What the crew lead found on the morning, before anyone signs. A later one for
-- the same crew, day and job replaces an earlier one by standing after it.
CREATE TABLE briefing (
  firm_id        uuid NOT NULL,
  briefing_id    uuid NOT NULL,
  crew_id        uuid NOT NULL,
  job_id         uuid NOT NULL,
  on_day         date NOT NULL,
  assessment_id  uuid NOT NULL,
  checks         jsonb NOT NULL,           -- each morning check: yes, no or not looked at; a caution's key holds what was agreed to
  gust_ms        double precision CHECK (gust_ms >= 0 AND gust_ms < 100),  -- a reading on site, m/s
  by_person_id   uuid NOT NULL,
  at             timestamptz NOT NULL,
  PRIMARY KEY (firm_id, briefing_id),
  FOREIGN KEY (firm_id, crew_id) REFERENCES crew,
  FOREIGN KEY (firm_id, job_id) REFERENCES job,
  FOREIGN KEY (firm_id, assessment_id) REFERENCES risk_assessment,
  FOREIGN KEY (firm_id, by_person_id) REFERENCES person
);
CREATE INDEX briefing_day ON briefing (firm_id, crew_id, on_day, at DESC);

-- One person's signature to one version of one assessment on one day. The
-- statement is kept as it was shown. Device time is a claim, server time a fact.
CREATE TABLE sign_off (
  firm_id        uuid NOT NULL,
  sign_off_id    uuid NOT NULL,
  crew_id        uuid NOT NULL,
  job_id         uuid NOT NULL,
  on_day         date NOT NULL,
  person_id      uuid NOT NULL,
  assessment_id  uuid NOT NULL,
  body_hash      bytea NOT NULL CHECK (length(body_hash) = 32),
  statement      text NOT NULL CHECK (statement <> ''),
  typed_name     text NOT NULL CHECK (typed_name <> ''),
  device_at      timestamptz,
  received_at    timestamptz NOT NULL,
  PRIMARY KEY (firm_id, sign_off_id),
  FOREIGN KEY (firm_id, crew_id) REFERENCES crew,
  FOREIGN KEY (firm_id, job_id) REFERENCES job,
  FOREIGN KEY (firm_id, person_id) REFERENCES person,
  FOREIGN KEY (firm_id, assessment_id) REFERENCES risk_assessment
);
CREATE INDEX sign_off_day ON sign_off (firm_id, crew_id, on_day);

CREATE TABLE stop_work (
  firm_id       uuid NOT NULL,
  stop_id       uuid NOT NULL,
  job_id        uuid NOT NULL,
  reason        text NOT NULL CHECK (reason <> ''),
  by_person_id  uuid NOT NULL,
  at            timestamptz NOT NULL,
  PRIMARY KEY (firm_id, stop_id),
  FOREIGN KEY (firm_id, job_id) REFERENCES job,
  FOREIGN KEY (firm_id, by_person_id) REFERENCES person
);

-- Anyone stops work at once; only another person lifts it.
CREATE TABLE stop_work_lift (
  firm_id       uuid NOT NULL,
  stop_id       uuid NOT NULL,
  by_person_id  uuid NOT NULL,
  why           text NOT NULL CHECK (why <> ''),
  at            timestamptz NOT NULL,
  PRIMARY KEY (firm_id, stop_id),
  FOREIGN KEY (firm_id, stop_id) REFERENCES stop_work,
  FOREIGN KEY (firm_id, by_person_id) REFERENCES person
);
CREATE FUNCTION stop_work_lifted_by_another() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF EXISTS (SELECT FROM stop_work s WHERE s.firm_id = NEW.firm_id AND s.stop_id = NEW.stop_id AND s.by_person_id = NEW.by_person_id) THEN
    RAISE EXCEPTION 'whoever stopped the work cannot lift the stop'
      USING ERRCODE = 'check_violation', CONSTRAINT = 'stop_work_lifted_by_another';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER stop_work_lift_other BEFORE INSERT ON stop_work_lift
  FOR EACH ROW EXECUTE FUNCTION stop_work_lifted_by_another();

-- Each decision as it was given, with the facts it was given on.
CREATE TABLE decision (
  firm_id        uuid NOT NULL,
  decision_id    uuid NOT NULL,
  crew_id        uuid NOT NULL,
  job_id         uuid NOT NULL,
  on_day         date NOT NULL,
  verdict        text NOT NULL CHECK (verdict IN ('not_clear', 'clear')),
  conditions     jsonb NOT NULL,
  snapshot       jsonb NOT NULL,
  snapshot_hash  bytea NOT NULL CHECK (length(snapshot_hash) = 32),
  decided_at     timestamptz NOT NULL,
  PRIMARY KEY (firm_id, decision_id),
  FOREIGN KEY (firm_id, crew_id) REFERENCES crew,
  FOREIGN KEY (firm_id, job_id) REFERENCES job
);
CREATE INDEX decision_day ON decision (firm_id, crew_id, on_day, decided_at DESC);

-- ---------------------------------------------------------------- the edge

-- One answer for one key: a phone that retries gets what it got the first time.
CREATE TABLE idempotency (
  firm_id       uuid NOT NULL,
  person_id     uuid NOT NULL,
  route         text NOT NULL,
  key           text NOT NULL CHECK (length(key) BETWEEN 1 AND 255),
  request_hash  bytea NOT NULL CHECK (length(request_hash) = 32),
  status        integer NOT NULL CHECK (status BETWEEN 100 AND 599),
  answer        bytea NOT NULL,
  made_at       timestamptz NOT NULL,
  PRIMARY KEY (firm_id, person_id, route, key),
  FOREIGN KEY (firm_id, person_id) REFERENCES person
);

-- ---------------------------------------------------------------- records stay

CREATE FUNCTION record_is_kept() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION '% is a record: add a new row instead', TG_TABLE_NAME
    USING ERRCODE = 'check_violation', CONSTRAINT = 'record_is_kept';
END $$;

-- ---------------------------------------------------------------- apart by firm

DO $$
DECLARE t text;
BEGIN
  FOR t IN SELECT c.relname FROM pg_class c
            WHERE c.relnamespace = current_schema()::regnamespace AND c.relkind = 'r'
              AND c.relname <> 'schema_migrations'
  LOOP
    EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
    EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
    EXECUTE format('CREATE POLICY own_firm ON %I USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm())', t);
    EXECUTE format('GRANT SELECT, INSERT ON %I TO toeboard_app', t);
  END LOOP;
  -- Records: no right to change or remove, and a trigger for whoever has one.
  FOREACH t IN ARRAY ARRAY['limits', 'forecast', 'visit', 'booking_version', 'risk_assessment', 'assessment_approval',
                           'scaffold_report', 'scaffold_event', 'briefing', 'sign_off', 'stop_work', 'stop_work_lift', 'decision']
  LOOP
    EXECUTE format('CREATE TRIGGER record_is_kept BEFORE UPDATE OR DELETE ON %I FOR EACH ROW EXECUTE FUNCTION record_is_kept()', t);
  END LOOP;
  FOREACH t IN ARRAY ARRAY['firm', 'holiday', 'person', 'login', 'session', 'competence', 'crew', 'crew_member', 'absence',
                           'customer', 'site', 'job', 'stage', 'consent', 'kit', 'scaffold_firm', 'private_link', 'booking', 'idempotency']
  LOOP
    EXECUTE format('GRANT UPDATE ON %I TO toeboard_app', t);
  END LOOP;
  FOREACH t IN ARRAY ARRAY['holiday', 'session', 'absence', 'crew_member', 'idempotency']
  LOOP
    EXECUTE format('GRANT DELETE ON %I TO toeboard_app', t);
  END LOOP;
END $$;
-- A plan's content never changes; only what it is does.
GRANT UPDATE (state, published_by, published_at) ON plan TO toeboard_app;

-- Three questions are asked before the firm is known. Each is answered only to
-- somebody who already holds what it asks for, set for that transaction.
CREATE POLICY by_email ON login FOR SELECT
  USING (email = nullif(current_setting('toeboard.email', true), ''));
CREATE POLICY by_token ON session FOR SELECT
  USING (token_hash = decode(nullif(current_setting('toeboard.session', true), ''), 'hex'));
CREATE POLICY by_link ON private_link FOR SELECT
  USING (token_hash = decode(nullif(current_setting('toeboard.link', true), ''), 'hex'));

-- The rounds need to know which firms there are, and nothing more.
CREATE POLICY owner_counts_firms ON firm FOR SELECT TO CURRENT_USER USING (true);
CREATE FUNCTION toeboard_firms() RETURNS TABLE (firm_id uuid, time_zone text)
  LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp
  AS $$ SELECT f.firm_id, f.time_zone FROM firm f ORDER BY f.firm_id $$;
REVOKE ALL ON FUNCTION toeboard_firms() FROM PUBLIC;
GRANT EXECUTE ON FUNCTION toeboard_firms() TO toeboard_app;
