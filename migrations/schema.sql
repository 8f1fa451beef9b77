-- The whole schema after all migrations, for readers. Not run by anything:
-- the migrations in sql/ are. Written by: go generate ./migrations

CREATE EXTENSION btree_gist;

CREATE OR REPLACE FUNCTION public.booking_life()
 RETURNS trigger
 LANGUAGE plpgsql
AS $function$
BEGIN
  IF TG_OP = 'INSERT' AND NEW.state NOT IN ('wanted', 'erected') THEN
    RAISE EXCEPTION 'a booking begins as wanted, or as a scaffold that stands, not as %', NEW.state
      USING ERRCODE = 'check_violation', CONSTRAINT = 'booking_begins';
  END IF;
  IF TG_OP = 'UPDATE' AND NOT booking_may_become(OLD.state, NEW.state) THEN
    RAISE EXCEPTION 'a booking that is % cannot become %', OLD.state, NEW.state
      USING ERRCODE = 'check_violation', CONSTRAINT = 'booking_life';
  END IF;
  RETURN NEW;
END $function$;

CREATE OR REPLACE FUNCTION public.booking_may_become(was text, becomes text)
 RETURNS boolean
 LANGUAGE sql
 IMMUTABLE PARALLEL SAFE
AS $function$
  SELECT (was, becomes) IN (
    ('wanted', 'wanted'), ('wanted', 'sent'), ('wanted', 'confirmed'), ('wanted', 'countered'), ('wanted', 'refused'), ('wanted', 'erected'), ('wanted', 'cancelled'),
    ('sent', 'wanted'), ('sent', 'sent'), ('sent', 'confirmed'), ('sent', 'countered'), ('sent', 'refused'), ('sent', 'erected'), ('sent', 'cancelled'),
    ('confirmed', 'wanted'), ('confirmed', 'confirmed'), ('confirmed', 'countered'), ('confirmed', 'refused'), ('confirmed', 'erected'), ('confirmed', 'cancelled'),
    ('countered', 'wanted'), ('countered', 'confirmed'), ('countered', 'countered'), ('countered', 'refused'), ('countered', 'erected'), ('countered', 'cancelled'),
    ('refused', 'wanted'), ('refused', 'confirmed'), ('refused', 'countered'), ('refused', 'refused'), ('refused', 'erected'), ('refused', 'cancelled'),
    ('erected', 'erected'), ('erected', 'inspected'), ('erected', 'off_hire'), ('erected', 'struck'),
    ('inspected', 'inspected'), ('inspected', 'erected'), ('inspected', 'off_hire'), ('inspected', 'struck'),
    ('off_hire', 'off_hire'), ('off_hire', 'erected'), ('off_hire', 'struck'))
$function$;

CREATE OR REPLACE FUNCTION public.booking_sequence_never_falls()
 RETURNS trigger
 LANGUAGE plpgsql
AS $function$
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
END $function$;

CREATE OR REPLACE FUNCTION public.booking_version_follows()
 RETURNS trigger
 LANGUAGE plpgsql
AS $function$
DECLARE was text;
BEGIN
  SELECT v.state INTO was FROM booking_version v
   WHERE v.firm_id = NEW.firm_id AND v.booking_id = NEW.booking_id AND v.version < NEW.version ORDER BY v.version DESC LIMIT 1;
  IF was IS NOT NULL AND NOT booking_may_become(was, NEW.state) THEN
    RAISE EXCEPTION 'a booking that is % cannot become %', was, NEW.state
      USING ERRCODE = 'check_violation', CONSTRAINT = 'booking_life';
  END IF;
  RETURN NEW;
END $function$;

CREATE OR REPLACE FUNCTION public.each_once(list text[])
 RETURNS boolean
 LANGUAGE sql
 IMMUTABLE
AS $function$ SELECT count(*) = count(DISTINCT nullif(btrim(x), '')) FROM unnest(list) AS x $function$;

CREATE OR REPLACE FUNCTION public.isolation_is_open()
 RETURNS trigger
 LANGUAGE plpgsql
AS $function$
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
END $function$;

CREATE OR REPLACE FUNCTION public.keep_in_record(kept regclass, VARIADIC key text[])
 RETURNS void
 LANGUAGE plpgsql
AS $function$
BEGIN
  EXECUTE format('CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON %s DEFERRABLE INITIALLY DEFERRED
                  FOR EACH ROW WHEN (current_user = ''toeboard_app'') EXECUTE FUNCTION record_is_logged(%s)',
                 kept, (SELECT string_agg(quote_literal(k), ', ' ORDER BY n) FROM unnest(key) WITH ORDINALITY AS u (k, n)));
END $function$;

CREATE OR REPLACE FUNCTION public.module_place_cleared_on_record()
 RETURNS trigger
 LANGUAGE plpgsql
AS $function$
BEGIN
  IF NOT EXISTS (SELECT FROM module_clearance c
                  WHERE c.firm_id = OLD.firm_id AND c.job_id = OLD.job_id AND c.grid_row = OLD.grid_row AND c.grid_col = OLD.grid_col
                    AND c.serial = OLD.serial AND c.placed_at = OLD.at) THEN
    RAISE EXCEPTION 'a module leaves the drawing only with a record of it' USING ERRCODE = 'check_violation', CONSTRAINT = 'module_place_cleared_on_record';
  END IF;
  RETURN NULL;
END $function$;

CREATE OR REPLACE FUNCTION public.plan_run_has_ended()
 RETURNS trigger
 LANGUAGE plpgsql
AS $function$
BEGIN
  RAISE EXCEPTION 'the run has ended'
    USING ERRCODE = 'check_violation', CONSTRAINT = 'plan_run_has_ended';
END $function$;

CREATE OR REPLACE FUNCTION public.private_link_stays()
 RETURNS trigger
 LANGUAGE plpgsql
AS $function$
BEGIN
  IF OLD.revoked_at IS NOT NULL AND (NEW.revoked_at, NEW.expires_at) IS DISTINCT FROM (OLD.revoked_at, OLD.expires_at) THEN
    RAISE EXCEPTION 'a private link that was ended stays so' USING ERRCODE = 'check_violation', CONSTRAINT = 'private_link_ended_for_good';
  END IF;
  IF (NEW.link_id, NEW.scaffold_firm_id, NEW.purpose, NEW.token_hash, NEW.created_at, NEW.made_by, NEW.sent_to)
     IS DISTINCT FROM (OLD.link_id, OLD.scaffold_firm_id, OLD.purpose, OLD.token_hash, OLD.created_at, OLD.made_by, OLD.sent_to) THEN
    RAISE EXCEPTION 'a private link stays whose it is' USING ERRCODE = 'check_violation', CONSTRAINT = 'private_link_stays_whose_it_is';
  END IF;
  RETURN NEW;
END $function$;

CREATE OR REPLACE FUNCTION public.record_entry_follows()
 RETURNS trigger
 LANGUAGE plpgsql
AS $function$
BEGIN
  IF NEW.seq > 0 AND NOT EXISTS (SELECT FROM record_entry e WHERE e.firm_id = NEW.firm_id AND e.seq = NEW.seq - 1) THEN
    RAISE EXCEPTION 'entry % does not follow the last one', NEW.seq
      USING ERRCODE = 'check_violation', CONSTRAINT = 'record_entry_follows';
  END IF;
  RETURN NEW;
END $function$;

CREATE OR REPLACE FUNCTION public.record_is_kept()
 RETURNS trigger
 LANGUAGE plpgsql
AS $function$
BEGIN
  RAISE EXCEPTION '% is a record: add a new row instead', TG_TABLE_NAME
    USING ERRCODE = 'check_violation', CONSTRAINT = 'record_is_kept';
END $function$;

CREATE OR REPLACE FUNCTION public.record_is_logged()
 RETURNS trigger
 LANGUAGE plpgsql
AS $function$
DECLARE
  key text := '';
  c text;
BEGIN
  FOREACH c IN ARRAY TG_ARGV LOOP
    key := key || CASE WHEN key = '' THEN '' ELSE '/' END || (to_jsonb(NEW) ->> c);
  END LOOP;
  IF NOT EXISTS (SELECT FROM record_entry e WHERE e.firm_id = NEW.firm_id AND e.kind = TG_TABLE_NAME AND e.record_key = key) THEN
    RAISE EXCEPTION '% % has no entry in the log of records', TG_TABLE_NAME, key
      USING ERRCODE = 'check_violation', CONSTRAINT = 'record_is_logged';
  END IF;
  RETURN NULL;
END $function$;

CREATE OR REPLACE FUNCTION public.round_is_done_once()
 RETURNS trigger
 LANGUAGE plpgsql
AS $function$
BEGIN
  IF OLD.done_at IS NOT NULL THEN
    RAISE EXCEPTION 'the round was done already' USING ERRCODE = 'check_violation', CONSTRAINT = 'round_is_done_once';
  END IF;
  RETURN NEW;
END $function$;

CREATE OR REPLACE FUNCTION public.rule_exception_by_the_named()
 RETURNS trigger
 LANGUAGE plpgsql
AS $function$
BEGIN
  IF NOT EXISTS (
    SELECT FROM own_rule r
     WHERE r.firm_id = NEW.firm_id AND r.code = NEW.code AND r.binding AND r.holder_person_id = NEW.by_person_id
       AND r.version = (SELECT max(n.version) FROM own_rule n WHERE n.firm_id = NEW.firm_id AND n.code = NEW.code)) THEN
    RAISE EXCEPTION 'the firm names somebody else, or nobody, for exceptions from %', NEW.code
      USING ERRCODE = 'check_violation', CONSTRAINT = 'rule_exception_by_the_named';
  END IF;
  RETURN NEW;
END $function$;

CREATE OR REPLACE FUNCTION public.stop_work_lifted_by_another()
 RETURNS trigger
 LANGUAGE plpgsql
AS $function$
BEGIN
  IF EXISTS (SELECT FROM stop_work s WHERE s.firm_id = NEW.firm_id AND s.stop_id = NEW.stop_id AND s.by_person_id = NEW.by_person_id) THEN
    RAISE EXCEPTION 'whoever stopped the work cannot lift the stop'
      USING ERRCODE = 'check_violation', CONSTRAINT = 'stop_work_lifted_by_another';
  END IF;
  RETURN NEW;
END $function$;

CREATE OR REPLACE FUNCTION public.toeboard_firm()
 RETURNS uuid
 LANGUAGE sql
 STABLE PARALLEL SAFE
AS $function$ SELECT nullif(current_setting('toeboard.firm', true), '')::uuid $function$;

CREATE OR REPLACE FUNCTION public.toeboard_firms()
 RETURNS TABLE(firm_id uuid, time_zone text)
 LANGUAGE sql
 STABLE SECURITY DEFINER
 SET search_path TO 'public', 'pg_temp'
AS $function$ SELECT f.firm_id, f.time_zone FROM firm f ORDER BY f.firm_id $function$;

CREATE OR REPLACE FUNCTION public.visit_event_sequence_rises()
 RETURNS trigger
 LANGUAGE plpgsql
AS $function$
BEGIN
  IF NEW.sequence <= OLD.sequence THEN
    RAISE EXCEPTION 'a change of a visit needs a higher sequence' USING ERRCODE = 'check_violation', CONSTRAINT = 'visit_event_sequence_rises';
  END IF;
  RETURN NEW;
END $function$;

CREATE TABLE absence (
  firm_id uuid NOT NULL,
  absence_id uuid NOT NULL,
  person_id uuid NOT NULL,
  during daterange NOT NULL,
  reason text NOT NULL,
  CONSTRAINT absence_pkey PRIMARY KEY (firm_id, absence_id),
  CONSTRAINT absence_firm_id_person_id_fkey FOREIGN KEY (firm_id, person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT absence_during_check CHECK ((NOT isempty(during))),
  CONSTRAINT absence_reason_check CHECK ((reason <> ''::text))
);
ALTER TABLE absence ENABLE ROW LEVEL SECURITY;
ALTER TABLE absence FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON absence FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT DELETE, INSERT, SELECT, UPDATE ON absence TO toeboard_app;

CREATE TABLE assessment_approval (
  firm_id uuid NOT NULL,
  assessment_id uuid NOT NULL,
  person_id uuid NOT NULL,
  approved_at timestamp with time zone NOT NULL,
  CONSTRAINT assessment_approval_pkey PRIMARY KEY (firm_id, assessment_id, person_id),
  CONSTRAINT assessment_approval_firm_id_assessment_id_fkey FOREIGN KEY (firm_id, assessment_id) REFERENCES risk_assessment(firm_id, assessment_id),
  CONSTRAINT assessment_approval_firm_id_person_id_fkey FOREIGN KEY (firm_id, person_id) REFERENCES person(firm_id, person_id)
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON assessment_approval FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON assessment_approval DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('assessment_id', 'person_id');
ALTER TABLE assessment_approval ENABLE ROW LEVEL SECURITY;
ALTER TABLE assessment_approval FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON assessment_approval FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON assessment_approval TO toeboard_app;

CREATE TABLE booking (
  firm_id uuid NOT NULL,
  booking_id uuid NOT NULL,
  job_id uuid NOT NULL,
  scaffold_firm_id uuid NOT NULL,
  uid text NOT NULL,
  state text NOT NULL,
  erect_on date NOT NULL,
  strike_on date NOT NULL,
  sequence integer NOT NULL,
  offered_on date,
  changed_at timestamp with time zone NOT NULL,
  CONSTRAINT booking_pkey PRIMARY KEY (firm_id, booking_id),
  CONSTRAINT booking_firm_id_uid_key UNIQUE (firm_id, uid),
  CONSTRAINT booking_overlaps_on_job EXCLUDE USING gist (firm_id WITH =, job_id WITH =, daterange(erect_on, strike_on, '[]'::text) WITH &&) WHERE ((state <> 'cancelled'::text)),
  CONSTRAINT booking_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT booking_firm_id_scaffold_firm_id_fkey FOREIGN KEY (firm_id, scaffold_firm_id) REFERENCES scaffold_firm(firm_id, scaffold_firm_id),
  CONSTRAINT booking_check CHECK ((strike_on >= erect_on)),
  CONSTRAINT booking_check1 CHECK (((state = 'countered'::text) = (offered_on IS NOT NULL))),
  CONSTRAINT booking_sequence_check CHECK ((sequence >= 0)),
  CONSTRAINT booking_state_check CHECK ((state = ANY (ARRAY['wanted'::text, 'sent'::text, 'confirmed'::text, 'countered'::text, 'refused'::text, 'erected'::text, 'inspected'::text, 'off_hire'::text, 'struck'::text, 'cancelled'::text]))),
  CONSTRAINT booking_uid_check CHECK ((uid ~~ '%_@_%'::text))
);
CREATE TRIGGER booking_life BEFORE INSERT OR UPDATE ON booking FOR EACH ROW EXECUTE FUNCTION booking_life();
CREATE TRIGGER booking_sequence BEFORE UPDATE ON booking FOR EACH ROW EXECUTE FUNCTION booking_sequence_never_falls();
ALTER TABLE booking ENABLE ROW LEVEL SECURITY;
ALTER TABLE booking FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON booking FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE ON booking TO toeboard_app;

CREATE TABLE booking_token (
  firm_id uuid NOT NULL,
  booking_id uuid NOT NULL,
  token text NOT NULL,
  made_at timestamp with time zone NOT NULL,
  CONSTRAINT booking_token_pkey PRIMARY KEY (firm_id, booking_id),
  CONSTRAINT booking_token_firm_id_booking_id_fkey FOREIGN KEY (firm_id, booking_id) REFERENCES booking(firm_id, booking_id),
  CONSTRAINT booking_token_is_long CHECK ((length(token) >= 26))
);
CREATE INDEX booking_token_token ON booking_token USING btree (token);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON booking_token FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE booking_token ENABLE ROW LEVEL SECURITY;
ALTER TABLE booking_token FORCE ROW LEVEL SECURITY;
CREATE POLICY by_answer ON booking_token FOR SELECT TO PUBLIC USING ((token = NULLIF(current_setting('toeboard.answer'::text, true), ''::text)));
CREATE POLICY own_firm ON booking_token FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON booking_token TO toeboard_app;

CREATE TABLE booking_version (
  firm_id uuid NOT NULL,
  booking_id uuid NOT NULL,
  version integer NOT NULL,
  sequence integer NOT NULL,
  state text NOT NULL,
  erect_on date NOT NULL,
  strike_on date NOT NULL,
  plan_id uuid,
  why text NOT NULL,
  changed_by text NOT NULL,
  changed_at timestamp with time zone NOT NULL,
  how text NOT NULL DEFAULT 'office'::text,
  offered_on date,
  CONSTRAINT booking_version_pkey PRIMARY KEY (firm_id, booking_id, version),
  CONSTRAINT booking_version_firm_id_booking_id_fkey FOREIGN KEY (firm_id, booking_id) REFERENCES booking(firm_id, booking_id),
  CONSTRAINT booking_version_firm_id_plan_id_fkey FOREIGN KEY (firm_id, plan_id) REFERENCES plan(firm_id, plan_id),
  CONSTRAINT booking_version_changed_by_check CHECK ((changed_by <> ''::text)),
  CONSTRAINT booking_version_how_known CHECK ((how = ANY (ARRAY['plan'::text, 'office'::text, 'page'::text, 'mail'::text, 'feed'::text, 'command'::text]))),
  CONSTRAINT booking_version_sequence_check CHECK ((sequence >= 0)),
  CONSTRAINT booking_version_version_check CHECK ((version > 0)),
  CONSTRAINT booking_version_why_check CHECK ((why <> ''::text))
);
CREATE TRIGGER booking_version_follows BEFORE INSERT ON booking_version FOR EACH ROW EXECUTE FUNCTION booking_version_follows();
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON booking_version FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE booking_version ENABLE ROW LEVEL SECURITY;
ALTER TABLE booking_version FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON booking_version FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON booking_version TO toeboard_app;

CREATE TABLE briefing (
  firm_id uuid NOT NULL,
  briefing_id uuid NOT NULL,
  crew_id uuid NOT NULL,
  job_id uuid NOT NULL,
  on_day date NOT NULL,
  assessment_id uuid NOT NULL,
  checks jsonb NOT NULL,
  gust_ms double precision,
  by_person_id uuid NOT NULL,
  at timestamp with time zone NOT NULL,
  CONSTRAINT briefing_pkey PRIMARY KEY (firm_id, briefing_id),
  CONSTRAINT briefing_firm_id_assessment_id_fkey FOREIGN KEY (firm_id, assessment_id) REFERENCES risk_assessment(firm_id, assessment_id),
  CONSTRAINT briefing_firm_id_by_person_id_fkey FOREIGN KEY (firm_id, by_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT briefing_firm_id_crew_id_fkey FOREIGN KEY (firm_id, crew_id) REFERENCES crew(firm_id, crew_id),
  CONSTRAINT briefing_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT briefing_gust_ms_check CHECK (((gust_ms >= (0)::double precision) AND (gust_ms < (100)::double precision)))
);
CREATE INDEX briefing_day ON briefing USING btree (firm_id, crew_id, on_day, at DESC);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON briefing FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON briefing DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('briefing_id');
ALTER TABLE briefing ENABLE ROW LEVEL SECURITY;
ALTER TABLE briefing FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON briefing FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON briefing TO toeboard_app;

CREATE TABLE calibration (
  firm_id uuid NOT NULL,
  version integer NOT NULL,
  learnt jsonb NOT NULL,
  outcomes integer NOT NULL,
  made_by text NOT NULL,
  made_at timestamp with time zone NOT NULL,
  CONSTRAINT calibration_pkey PRIMARY KEY (firm_id, version),
  CONSTRAINT calibration_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT calibration_learnt_check CHECK ((jsonb_typeof(learnt) = 'object'::text)),
  CONSTRAINT calibration_made_by_check CHECK ((made_by <> ''::text)),
  CONSTRAINT calibration_outcomes_check CHECK ((outcomes >= 0)),
  CONSTRAINT calibration_version_check CHECK ((version > 0))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON calibration FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE calibration ENABLE ROW LEVEL SECURITY;
ALTER TABLE calibration FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON calibration FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON calibration TO toeboard_app;

CREATE TABLE check_in (
  firm_id uuid NOT NULL,
  check_in_id uuid NOT NULL,
  crew_id uuid NOT NULL,
  job_id uuid NOT NULL,
  on_day date NOT NULL,
  person_id uuid NOT NULL,
  contact text NOT NULL,
  phone text NOT NULL,
  every_min integer NOT NULL,
  if_missed text NOT NULL,
  by_person_id uuid NOT NULL,
  at timestamp with time zone NOT NULL,
  email text,
  from_at timestamp with time zone,
  CONSTRAINT check_in_pkey PRIMARY KEY (firm_id, check_in_id),
  CONSTRAINT check_in_firm_id_by_person_id_fkey FOREIGN KEY (firm_id, by_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT check_in_firm_id_crew_id_fkey FOREIGN KEY (firm_id, crew_id) REFERENCES crew(firm_id, crew_id),
  CONSTRAINT check_in_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT check_in_firm_id_person_id_fkey FOREIGN KEY (firm_id, person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT check_in_can_be_mailed CHECK ((email ~~ '%_@_%'::text)),
  CONSTRAINT check_in_can_be_rung CHECK (((phone ~ '^\+?[0-9 ()-]+$'::text) AND ((length(regexp_replace(phone, '[^0-9]'::text, ''::text, 'g'::text)) >= 6) AND (length(regexp_replace(phone, '[^0-9]'::text, ''::text, 'g'::text)) <= 15)))),
  CONSTRAINT check_in_contact_check CHECK ((contact <> ''::text)),
  CONSTRAINT check_in_if_missed_check CHECK ((if_missed <> ''::text)),
  CONSTRAINT check_in_often_enough CHECK (((every_min >= 15) AND (every_min <= 120)))
);
CREATE INDEX check_in_day ON check_in USING btree (firm_id, on_day);
CREATE INDEX check_in_morning ON check_in USING btree (firm_id, crew_id, job_id, on_day, at);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON check_in FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON check_in DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('check_in_id');
ALTER TABLE check_in ENABLE ROW LEVEL SECURITY;
ALTER TABLE check_in FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON check_in FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON check_in TO toeboard_app;

CREATE TABLE climate (
  firm_id uuid NOT NULL,
  version integer NOT NULL,
  of text NOT NULL,
  counted text NOT NULL,
  set_by text NOT NULL,
  set_at timestamp with time zone NOT NULL,
  CONSTRAINT climate_pkey PRIMARY KEY (firm_id, version),
  CONSTRAINT climate_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT climate_counted_check CHECK ((counted <> ''::text)),
  CONSTRAINT climate_of_check CHECK ((of <> ''::text)),
  CONSTRAINT climate_set_by_check CHECK ((set_by <> ''::text)),
  CONSTRAINT climate_version_check CHECK ((version > 0))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON climate FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE climate ENABLE ROW LEVEL SECURITY;
ALTER TABLE climate FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON climate FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON climate TO toeboard_app;

CREATE TABLE competence (
  firm_id uuid NOT NULL,
  person_id uuid NOT NULL,
  kind text NOT NULL,
  valid_from date NOT NULL,
  valid_to date,
  evidence text NOT NULL DEFAULT ''::text,
  CONSTRAINT competence_pkey PRIMARY KEY (firm_id, person_id, kind, valid_from),
  CONSTRAINT competence_firm_id_person_id_fkey FOREIGN KEY (firm_id, person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT competence_check CHECK (((valid_to IS NULL) OR (valid_to >= valid_from))),
  CONSTRAINT competence_kind_check CHECK ((kind = ANY (ARRAY['lead_roof'::text, 'roof'::text, 'electrical'::text, 'scaffold_inspection'::text, 'first_aid'::text, 'roof_rescue'::text, 'lone_work'::text])))
);
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON competence DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('person_id', 'kind', 'valid_from');
ALTER TABLE competence ENABLE ROW LEVEL SECURITY;
ALTER TABLE competence FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON competence FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE ON competence TO toeboard_app;

CREATE TABLE consent (
  firm_id uuid NOT NULL,
  job_id uuid NOT NULL,
  kind text NOT NULL,
  stage_kind text NOT NULL,
  state text NOT NULL,
  expected_on date,
  granted_on date,
  CONSTRAINT consent_pkey PRIMARY KEY (firm_id, job_id, kind),
  CONSTRAINT consent_firm_id_job_id_stage_kind_fkey FOREIGN KEY (firm_id, job_id, stage_kind) REFERENCES stage(firm_id, job_id, kind),
  CONSTRAINT consent_check CHECK (((state = 'granted'::text) = (granted_on IS NOT NULL))),
  CONSTRAINT consent_kind_check CHECK ((kind = ANY (ARRAY['grid_connection'::text, 'building_control'::text, 'planning'::text, 'landlord'::text, 'highway_licence'::text]))),
  CONSTRAINT consent_state_check CHECK ((state = ANY (ARRAY['wanted'::text, 'applied'::text, 'granted'::text, 'refused'::text])))
);
ALTER TABLE consent ENABLE ROW LEVEL SECURITY;
ALTER TABLE consent FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON consent FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE ON consent TO toeboard_app;

CREATE TABLE crew (
  firm_id uuid NOT NULL,
  crew_id uuid NOT NULL,
  name text NOT NULL,
  trade text NOT NULL,
  home_lat double precision NOT NULL,
  home_lon double precision NOT NULL,
  half_day_cost_pence bigint NOT NULL,
  active boolean NOT NULL DEFAULT true,
  CONSTRAINT crew_pkey PRIMARY KEY (firm_id, crew_id),
  CONSTRAINT crew_firm_id_name_key UNIQUE (firm_id, name),
  CONSTRAINT crew_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT crew_half_day_cost_pence_check CHECK ((half_day_cost_pence >= 0)),
  CONSTRAINT crew_home_lat_check CHECK (((home_lat >= ('-90'::integer)::double precision) AND (home_lat <= (90)::double precision))),
  CONSTRAINT crew_home_lon_check CHECK (((home_lon >= ('-180'::integer)::double precision) AND (home_lon <= (180)::double precision))),
  CONSTRAINT crew_name_check CHECK ((name <> ''::text)),
  CONSTRAINT crew_trade_check CHECK ((trade = ANY (ARRAY['roof'::text, 'electrical'::text])))
);
ALTER TABLE crew ENABLE ROW LEVEL SECURITY;
ALTER TABLE crew FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON crew FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE ON crew TO toeboard_app;

CREATE TABLE crew_link (
  firm_id uuid NOT NULL,
  link_id uuid NOT NULL,
  crew_id uuid NOT NULL,
  token_hash bytea NOT NULL,
  made_by text NOT NULL,
  made_at timestamp with time zone NOT NULL,
  revoked_at timestamp with time zone,
  CONSTRAINT crew_link_pkey PRIMARY KEY (firm_id, link_id),
  CONSTRAINT crew_link_firm_id_token_hash_key UNIQUE (firm_id, token_hash),
  CONSTRAINT crew_link_firm_id_crew_id_fkey FOREIGN KEY (firm_id, crew_id) REFERENCES crew(firm_id, crew_id),
  CONSTRAINT crew_link_made_by_check CHECK ((made_by <> ''::text)),
  CONSTRAINT crew_link_token_hash_check CHECK ((length(token_hash) = 32))
);
CREATE INDEX crew_link_token ON crew_link USING btree (token_hash);
ALTER TABLE crew_link ENABLE ROW LEVEL SECURITY;
ALTER TABLE crew_link FORCE ROW LEVEL SECURITY;
CREATE POLICY by_link ON crew_link FOR SELECT TO PUBLIC USING ((token_hash = decode(NULLIF(current_setting('toeboard.link'::text, true), ''::text), 'hex'::text)));
CREATE POLICY own_firm ON crew_link FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE (revoked_at) ON crew_link TO toeboard_app;

CREATE TABLE crew_member (
  firm_id uuid NOT NULL,
  crew_id uuid NOT NULL,
  person_id uuid NOT NULL,
  during daterange NOT NULL,
  is_lead boolean NOT NULL DEFAULT false,
  CONSTRAINT crew_member_pkey PRIMARY KEY (firm_id, crew_id, person_id, during),
  CONSTRAINT crew_member_one_crew_at_a_time EXCLUDE USING gist (firm_id WITH =, person_id WITH =, during WITH &&),
  CONSTRAINT crew_member_one_lead_at_a_time EXCLUDE USING gist (firm_id WITH =, crew_id WITH =, during WITH &&) WHERE (is_lead),
  CONSTRAINT crew_member_firm_id_crew_id_fkey FOREIGN KEY (firm_id, crew_id) REFERENCES crew(firm_id, crew_id),
  CONSTRAINT crew_member_firm_id_person_id_fkey FOREIGN KEY (firm_id, person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT crew_member_during_check CHECK (((NOT isempty(during)) AND (lower(during) IS NOT NULL)))
);
ALTER TABLE crew_member ENABLE ROW LEVEL SECURITY;
ALTER TABLE crew_member FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON crew_member FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT DELETE, INSERT, SELECT, UPDATE ON crew_member TO toeboard_app;

CREATE TABLE customer (
  firm_id uuid NOT NULL,
  customer_id uuid NOT NULL,
  name text NOT NULL,
  email text NOT NULL DEFAULT ''::text,
  phone text NOT NULL DEFAULT ''::text,
  CONSTRAINT customer_pkey PRIMARY KEY (firm_id, customer_id),
  CONSTRAINT customer_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT customer_name_check CHECK ((name <> ''::text))
);
ALTER TABLE customer ENABLE ROW LEVEL SECURITY;
ALTER TABLE customer FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON customer FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE ON customer TO toeboard_app;

CREATE TABLE customer_confirmation (
  firm_id uuid NOT NULL,
  job_id uuid NOT NULL,
  stage_kind text NOT NULL,
  on_day date NOT NULL,
  recorded_by text NOT NULL,
  recorded_at timestamp with time zone NOT NULL,
  CONSTRAINT customer_confirmation_pkey PRIMARY KEY (firm_id, job_id, stage_kind),
  CONSTRAINT customer_confirmation_firm_id_job_id_stage_kind_fkey FOREIGN KEY (firm_id, job_id, stage_kind) REFERENCES stage(firm_id, job_id, kind),
  CONSTRAINT customer_confirmation_recorded_by_check CHECK ((recorded_by <> ''::text))
);
ALTER TABLE customer_confirmation ENABLE ROW LEVEL SECURITY;
ALTER TABLE customer_confirmation FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON customer_confirmation FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT DELETE, INSERT, SELECT, UPDATE ON customer_confirmation TO toeboard_app;

CREATE TABLE daily_round (
  firm_id uuid NOT NULL,
  kind text NOT NULL,
  on_date date NOT NULL,
  round_id uuid NOT NULL,
  begun_at timestamp with time zone NOT NULL,
  done_at timestamp with time zone,
  said text NOT NULL DEFAULT ''::text,
  CONSTRAINT daily_round_pkey PRIMARY KEY (firm_id, kind, on_date),
  CONSTRAINT daily_round_firm_id_round_id_key UNIQUE (firm_id, round_id),
  CONSTRAINT daily_round_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT daily_round_kind_check CHECK ((kind ~ '^[a-z0-9_]{1,40}$'::text)),
  CONSTRAINT round_ends_after_it_begins CHECK ((done_at >= begun_at))
);
CREATE TRIGGER round_is_done_once BEFORE UPDATE ON daily_round FOR EACH ROW EXECUTE FUNCTION round_is_done_once();
ALTER TABLE daily_round ENABLE ROW LEVEL SECURITY;
ALTER TABLE daily_round FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON daily_round FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE (done_at), UPDATE (said) ON daily_round TO toeboard_app;

CREATE TABLE decision (
  firm_id uuid NOT NULL,
  decision_id uuid NOT NULL,
  crew_id uuid NOT NULL,
  job_id uuid NOT NULL,
  on_day date NOT NULL,
  verdict text NOT NULL,
  conditions jsonb NOT NULL,
  snapshot jsonb NOT NULL,
  snapshot_hash bytea NOT NULL,
  decided_at timestamp with time zone NOT NULL,
  CONSTRAINT decision_pkey PRIMARY KEY (firm_id, decision_id),
  CONSTRAINT decision_firm_id_crew_id_fkey FOREIGN KEY (firm_id, crew_id) REFERENCES crew(firm_id, crew_id),
  CONSTRAINT decision_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT decision_snapshot_hash_check CHECK ((length(snapshot_hash) = 32)),
  CONSTRAINT decision_verdict_check CHECK ((verdict = ANY (ARRAY['not_clear'::text, 'clear'::text])))
);
CREATE INDEX decision_day ON decision USING btree (firm_id, crew_id, on_day, decided_at DESC);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON decision FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON decision DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('decision_id');
ALTER TABLE decision ENABLE ROW LEVEL SECURITY;
ALTER TABLE decision FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON decision FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON decision TO toeboard_app;

CREATE TABLE firm (
  firm_id uuid NOT NULL,
  name text NOT NULL,
  time_zone text NOT NULL,
  division text NOT NULL,
  hours jsonb NOT NULL,
  rates jsonb NOT NULL,
  base_lat double precision NOT NULL,
  base_lon double precision NOT NULL,
  created_at timestamp with time zone NOT NULL,
  quiet_from smallint NOT NULL DEFAULT 1200,
  quiet_to smallint NOT NULL DEFAULT 360,
  CONSTRAINT firm_pkey PRIMARY KEY (firm_id),
  CONSTRAINT firm_base_lat_check CHECK (((base_lat >= ('-90'::integer)::double precision) AND (base_lat <= (90)::double precision))),
  CONSTRAINT firm_base_lon_check CHECK (((base_lon >= ('-180'::integer)::double precision) AND (base_lon <= (180)::double precision))),
  CONSTRAINT firm_division_check CHECK ((division = ANY (ARRAY['england-and-wales'::text, 'scotland'::text, 'northern-ireland'::text]))),
  CONSTRAINT firm_name_check CHECK ((name <> ''::text)),
  CONSTRAINT firm_quiet_hours CHECK ((((quiet_from >= 0) AND (quiet_from <= 1439)) AND ((quiet_to >= 0) AND (quiet_to <= 1439)))),
  CONSTRAINT firm_time_zone_check CHECK ((time_zone <> ''::text))
);
ALTER TABLE firm ENABLE ROW LEVEL SECURITY;
ALTER TABLE firm FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON firm FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
CREATE POLICY owner_counts_firms ON firm FOR SELECT TO OWNER USING (true);
GRANT INSERT, SELECT, UPDATE ON firm TO toeboard_app;

CREATE TABLE firm_hazards (
  firm_id uuid NOT NULL,
  version integer NOT NULL,
  body jsonb NOT NULL,
  why text NOT NULL,
  set_by text NOT NULL,
  set_at timestamp with time zone NOT NULL,
  CONSTRAINT firm_hazards_pkey PRIMARY KEY (firm_id, version),
  CONSTRAINT firm_hazards_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT firm_hazards_body_check CHECK ((jsonb_typeof(body) = 'object'::text)),
  CONSTRAINT firm_hazards_set_by_check CHECK ((set_by <> ''::text)),
  CONSTRAINT firm_hazards_version_check CHECK ((version > 0)),
  CONSTRAINT firm_hazards_why_check CHECK ((why <> ''::text))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON firm_hazards FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON firm_hazards DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('version');
ALTER TABLE firm_hazards ENABLE ROW LEVEL SECURITY;
ALTER TABLE firm_hazards FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON firm_hazards FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON firm_hazards TO toeboard_app;

CREATE TABLE fitness (
  firm_id uuid NOT NULL,
  declaration_id uuid NOT NULL,
  person_id uuid NOT NULL,
  on_day date NOT NULL,
  fit boolean NOT NULL,
  by_person_id uuid NOT NULL,
  at timestamp with time zone NOT NULL,
  CONSTRAINT fitness_pkey PRIMARY KEY (firm_id, declaration_id),
  CONSTRAINT fitness_firm_id_by_person_id_fkey FOREIGN KEY (firm_id, by_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT fitness_firm_id_person_id_fkey FOREIGN KEY (firm_id, person_id) REFERENCES person(firm_id, person_id)
);
CREATE INDEX fitness_day ON fitness USING btree (firm_id, person_id, on_day, at DESC);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON fitness FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON fitness DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('declaration_id');
ALTER TABLE fitness ENABLE ROW LEVEL SECURITY;
ALTER TABLE fitness FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON fitness FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON fitness TO toeboard_app;

CREATE TABLE forecast (
  firm_id uuid NOT NULL,
  forecast_id uuid NOT NULL,
  site_id uuid NOT NULL,
  provider text NOT NULL,
  model_run timestamp with time zone,
  fetched_at timestamp with time zone NOT NULL,
  covers tstzrange NOT NULL,
  body bytea NOT NULL,
  CONSTRAINT forecast_pkey PRIMARY KEY (firm_id, forecast_id),
  CONSTRAINT forecast_firm_id_site_id_fkey FOREIGN KEY (firm_id, site_id) REFERENCES site(firm_id, site_id),
  CONSTRAINT forecast_covers_check CHECK ((NOT isempty(covers))),
  CONSTRAINT forecast_provider_check CHECK ((provider <> ''::text))
);
CREATE INDEX forecast_newest ON forecast USING btree (firm_id, site_id, fetched_at DESC);
CREATE INDEX forecast_newest_of ON forecast USING btree (firm_id, site_id, provider, fetched_at DESC);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON forecast FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE forecast ENABLE ROW LEVEL SECURITY;
ALTER TABLE forecast FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON forecast FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON forecast TO toeboard_app;

CREATE TABLE handover_file (
  firm_id uuid NOT NULL,
  file_id uuid NOT NULL,
  booking_id uuid NOT NULL,
  name text NOT NULL,
  media_type text NOT NULL,
  body bytea NOT NULL,
  body_hash bytea NOT NULL,
  uploaded_by text NOT NULL,
  uploaded_at timestamp with time zone NOT NULL,
  CONSTRAINT handover_file_pkey PRIMARY KEY (firm_id, file_id),
  CONSTRAINT handover_file_once UNIQUE (firm_id, booking_id, body_hash),
  CONSTRAINT handover_file_firm_id_booking_id_fkey FOREIGN KEY (firm_id, booking_id) REFERENCES booking(firm_id, booking_id),
  CONSTRAINT handover_file_is_what_it_was CHECK ((body_hash = sha256(body))),
  CONSTRAINT handover_file_name_check CHECK ((name <> ''::text)),
  CONSTRAINT handover_file_size CHECK (((octet_length(body) >= 1) AND (octet_length(body) <= 5242880))),
  CONSTRAINT handover_file_type_known CHECK ((media_type = ANY (ARRAY['application/pdf'::text, 'image/jpeg'::text, 'image/png'::text]))),
  CONSTRAINT handover_file_uploaded_by_check CHECK ((uploaded_by <> ''::text))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON handover_file FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE handover_file ENABLE ROW LEVEL SECURITY;
ALTER TABLE handover_file FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON handover_file FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON handover_file TO toeboard_app;

CREATE TABLE head_recipient (
  firm_id uuid NOT NULL,
  version integer NOT NULL,
  name text NOT NULL,
  address text NOT NULL,
  set_by text NOT NULL,
  set_at timestamp with time zone NOT NULL,
  CONSTRAINT head_recipient_pkey PRIMARY KEY (firm_id, version),
  CONSTRAINT head_recipient_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT head_recipient_address CHECK (((address = ''::text) OR ((address ~ '^[^\s@<>",;]+@[^\s@<>",;]+$'::text) AND (length(address) <= 254)))),
  CONSTRAINT head_recipient_has_both CHECK (((name = ''::text) = (address = ''::text))),
  CONSTRAINT head_recipient_set_by_check CHECK ((set_by <> ''::text)),
  CONSTRAINT head_recipient_version_check CHECK ((version > 0))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON head_recipient FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON head_recipient DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('version');
ALTER TABLE head_recipient ENABLE ROW LEVEL SECURITY;
ALTER TABLE head_recipient FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON head_recipient FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON head_recipient TO toeboard_app;

CREATE TABLE held_offer (
  firm_id uuid NOT NULL,
  offer_id uuid NOT NULL,
  told_to text NOT NULL,
  contact text NOT NULL DEFAULT ''::text,
  job jsonb NOT NULL,
  more_pence bigint NOT NULL,
  until timestamp with time zone NOT NULL,
  told_by text NOT NULL,
  told_at timestamp with time zone NOT NULL,
  state text NOT NULL,
  ended_by text NOT NULL DEFAULT ''::text,
  ended_at timestamp with time zone,
  CONSTRAINT held_offer_pkey PRIMARY KEY (firm_id, offer_id),
  CONSTRAINT held_offer_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT held_offer_end_is_known CHECK (((state = 'held'::text) = (ended_at IS NULL))),
  CONSTRAINT held_offer_ends_after_it_was_told CHECK ((until > told_at)),
  CONSTRAINT held_offer_job_check CHECK ((jsonb_typeof(job) = 'object'::text)),
  CONSTRAINT held_offer_state_check CHECK ((state = ANY (ARRAY['held'::text, 'taken'::text, 'released'::text, 'expired'::text]))),
  CONSTRAINT held_offer_told_by_check CHECK ((told_by <> ''::text)),
  CONSTRAINT held_offer_told_to_check CHECK ((told_to <> ''::text))
);
CREATE INDEX held_offer_open ON held_offer USING btree (firm_id, until) WHERE (state = ANY (ARRAY['held'::text, 'taken'::text]));
ALTER TABLE held_offer ENABLE ROW LEVEL SECURITY;
ALTER TABLE held_offer FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON held_offer FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE ON held_offer TO toeboard_app;

CREATE TABLE held_place (
  firm_id uuid NOT NULL,
  offer_id uuid NOT NULL,
  stage_kind text NOT NULL,
  crew_id uuid,
  scaffold_firm_id uuid,
  half_days int4multirange NOT NULL,
  keeps boolean NOT NULL DEFAULT true,
  CONSTRAINT held_place_pkey PRIMARY KEY (firm_id, offer_id, stage_kind),
  CONSTRAINT held_place_crew_twice EXCLUDE USING gist (firm_id WITH =, crew_id WITH =, half_days WITH &&) WHERE (((crew_id IS NOT NULL) AND keeps)),
  CONSTRAINT held_place_firm_id_crew_id_fkey FOREIGN KEY (firm_id, crew_id) REFERENCES crew(firm_id, crew_id),
  CONSTRAINT held_place_firm_id_offer_id_fkey FOREIGN KEY (firm_id, offer_id) REFERENCES held_offer(firm_id, offer_id),
  CONSTRAINT held_place_firm_id_scaffold_firm_id_fkey FOREIGN KEY (firm_id, scaffold_firm_id) REFERENCES scaffold_firm(firm_id, scaffold_firm_id),
  CONSTRAINT held_place_half_days_check CHECK ((NOT isempty(half_days))),
  CONSTRAINT held_place_has_its_who CHECK ((((crew_id IS NULL) <> (scaffold_firm_id IS NULL)) AND ((stage_kind = ANY (ARRAY['scaffold_erection'::text, 'scaffold_strike'::text])) = (scaffold_firm_id IS NOT NULL)))),
  CONSTRAINT held_place_stage_kind_check CHECK ((stage_kind = ANY (ARRAY['scaffold_erection'::text, 'roof_work'::text, 'first_fix'::text, 'second_fix'::text, 'commissioning'::text, 'scaffold_strike'::text])))
);
ALTER TABLE held_place ENABLE ROW LEVEL SECURITY;
ALTER TABLE held_place FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON held_place FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE ON held_place TO toeboard_app;

CREATE TABLE holiday (
  firm_id uuid NOT NULL,
  day date NOT NULL,
  title text NOT NULL,
  source text NOT NULL,
  CONSTRAINT holiday_pkey PRIMARY KEY (firm_id, day),
  CONSTRAINT holiday_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT holiday_title_check CHECK ((title <> ''::text))
);
ALTER TABLE holiday ENABLE ROW LEVEL SECURITY;
ALTER TABLE holiday FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON holiday FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT DELETE, INSERT, SELECT, UPDATE ON holiday TO toeboard_app;

CREATE TABLE idempotency (
  firm_id uuid NOT NULL,
  person_id uuid NOT NULL,
  route text NOT NULL,
  key text NOT NULL,
  request_hash bytea NOT NULL,
  status integer NOT NULL,
  answer bytea NOT NULL,
  made_at timestamp with time zone NOT NULL,
  CONSTRAINT idempotency_pkey PRIMARY KEY (firm_id, person_id, route, key),
  CONSTRAINT idempotency_firm_id_person_id_fkey FOREIGN KEY (firm_id, person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT idempotency_key_check CHECK (((length(key) >= 1) AND (length(key) <= 255))),
  CONSTRAINT idempotency_request_hash_check CHECK ((length(request_hash) = 32)),
  CONSTRAINT idempotency_status_check CHECK (((status >= 100) AND (status <= 599)))
);
ALTER TABLE idempotency ENABLE ROW LEVEL SECURITY;
ALTER TABLE idempotency FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON idempotency FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT DELETE, INSERT, SELECT, UPDATE ON idempotency TO toeboard_app;

CREATE TABLE induction (
  firm_id uuid NOT NULL,
  induction_id uuid NOT NULL,
  person_id uuid NOT NULL,
  on_day date NOT NULL,
  given_by text NOT NULL,
  covered jsonb NOT NULL,
  statement text NOT NULL,
  proof text NOT NULL,
  recorded_by_person_id uuid NOT NULL,
  at timestamp with time zone NOT NULL,
  CONSTRAINT induction_pkey PRIMARY KEY (firm_id, induction_id),
  CONSTRAINT induction_firm_id_person_id_fkey FOREIGN KEY (firm_id, person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT induction_firm_id_recorded_by_person_id_fkey FOREIGN KEY (firm_id, recorded_by_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT induction_by_pin CHECK ((proof = 'pin'::text)),
  CONSTRAINT induction_covers_something CHECK (((jsonb_typeof(covered) = 'array'::text) AND (covered <> '[]'::jsonb))),
  CONSTRAINT induction_given_by_check CHECK ((given_by <> ''::text)),
  CONSTRAINT induction_has_been CHECK ((on_day <= (((at AT TIME ZONE 'UTC'::text) + '14:00:00'::interval))::date)),
  CONSTRAINT induction_statement_check CHECK ((statement <> ''::text))
);
CREATE INDEX induction_person ON induction USING btree (firm_id, person_id, at);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON induction FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON induction DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('induction_id');
ALTER TABLE induction ENABLE ROW LEVEL SECURITY;
ALTER TABLE induction FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON induction FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON induction TO toeboard_app;

CREATE TABLE job (
  firm_id uuid NOT NULL,
  job_id uuid NOT NULL,
  ref text NOT NULL,
  site_id uuid NOT NULL,
  customer_id uuid NOT NULL,
  state text NOT NULL,
  modules integer NOT NULL,
  module_watts integer NOT NULL,
  module_kg double precision NOT NULL,
  module_m2 double precision NOT NULL,
  ready_on date,
  promised_on date,
  note text NOT NULL DEFAULT ''::text,
  created_at timestamp with time zone NOT NULL,
  promise_told boolean NOT NULL DEFAULT false,
  CONSTRAINT job_pkey PRIMARY KEY (firm_id, job_id),
  CONSTRAINT job_firm_id_ref_key UNIQUE (firm_id, ref),
  CONSTRAINT job_firm_id_customer_id_fkey FOREIGN KEY (firm_id, customer_id) REFERENCES customer(firm_id, customer_id),
  CONSTRAINT job_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT job_firm_id_site_id_fkey FOREIGN KEY (firm_id, site_id) REFERENCES site(firm_id, site_id),
  CONSTRAINT job_module_kg_check CHECK (((module_kg > (0)::double precision) AND (module_kg <= (60)::double precision))),
  CONSTRAINT job_module_m2_check CHECK (((module_m2 > (0)::double precision) AND (module_m2 <= (5)::double precision))),
  CONSTRAINT job_module_watts_check CHECK (((module_watts >= 50) AND (module_watts <= 1000))),
  CONSTRAINT job_modules_check CHECK (((modules >= 1) AND (modules <= 200))),
  CONSTRAINT job_ref_check CHECK ((ref <> ''::text)),
  CONSTRAINT job_state_check CHECK ((state = ANY (ARRAY['open'::text, 'done'::text, 'cancelled'::text]))),
  CONSTRAINT job_told_a_promise CHECK (((NOT promise_told) OR (promised_on IS NOT NULL)))
);
ALTER TABLE job ENABLE ROW LEVEL SECURITY;
ALTER TABLE job FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON job FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE ON job TO toeboard_app;

CREATE TABLE job_record (
  firm_id uuid NOT NULL,
  record_id uuid NOT NULL,
  job_id uuid NOT NULL,
  kind text NOT NULL,
  at timestamp with time zone NOT NULL,
  body jsonb NOT NULL,
  by_person_id uuid NOT NULL,
  recorded_at timestamp with time zone NOT NULL,
  CONSTRAINT job_record_pkey PRIMARY KEY (firm_id, record_id),
  CONSTRAINT job_record_firm_id_by_person_id_fkey FOREIGN KEY (firm_id, by_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT job_record_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT job_record_body_check CHECK ((jsonb_typeof(body) = 'object'::text)),
  CONSTRAINT job_record_has_been CHECK ((at <= recorded_at)),
  CONSTRAINT job_record_kind_known CHECK ((kind = ANY (ARRAY['weatherproof'::text, 'electrical_test'::text, 'isolation'::text, 'isolation_taken'::text, 'isolation_end'::text, 'near_miss'::text, 'incident'::text, 'follow_up'::text, 'notification'::text])))
);
CREATE INDEX job_record_job ON job_record USING btree (firm_id, job_id, at DESC);
CREATE INDEX job_record_kind ON job_record USING btree (firm_id, kind, at DESC);
CREATE TRIGGER isolation_is_open AFTER INSERT ON job_record FOR EACH ROW WHEN ((new.kind = ANY (ARRAY['isolation_end'::text, 'isolation_taken'::text]))) EXECUTE FUNCTION isolation_is_open();
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON job_record FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON job_record DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('record_id');
ALTER TABLE job_record ENABLE ROW LEVEL SECURITY;
ALTER TABLE job_record FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON job_record FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON job_record TO toeboard_app;

CREATE TABLE kit (
  firm_id uuid NOT NULL,
  job_id uuid NOT NULL,
  item text NOT NULL,
  quantity integer NOT NULL,
  due_on date,
  arrived_on date,
  CONSTRAINT kit_pkey PRIMARY KEY (firm_id, job_id, item),
  CONSTRAINT kit_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT kit_item_check CHECK ((item <> ''::text)),
  CONSTRAINT kit_quantity_check CHECK ((quantity > 0))
);
ALTER TABLE kit ENABLE ROW LEVEL SECURITY;
ALTER TABLE kit FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON kit FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE ON kit TO toeboard_app;

CREATE TABLE limits (
  firm_id uuid NOT NULL,
  version integer NOT NULL,
  body jsonb NOT NULL,
  set_by text NOT NULL,
  set_at timestamp with time zone NOT NULL,
  why text NOT NULL DEFAULT ''::text,
  CONSTRAINT limits_pkey PRIMARY KEY (firm_id, version),
  CONSTRAINT limits_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT limits_set_by_check CHECK ((set_by <> ''::text)),
  CONSTRAINT limits_version_check CHECK ((version > 0))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON limits FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE limits ENABLE ROW LEVEL SECURITY;
ALTER TABLE limits FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON limits FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON limits TO toeboard_app;

CREATE TABLE login (
  firm_id uuid NOT NULL,
  person_id uuid NOT NULL,
  email text NOT NULL,
  password_hash text NOT NULL,
  CONSTRAINT login_pkey PRIMARY KEY (firm_id, person_id),
  CONSTRAINT login_firm_id_email_key UNIQUE (firm_id, email),
  CONSTRAINT login_firm_id_person_id_fkey FOREIGN KEY (firm_id, person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT login_email_check CHECK (((email = lower(email)) AND (email ~~ '%_@_%'::text))),
  CONSTRAINT login_password_hash_check CHECK ((password_hash ~~ '$argon2id$%'::text))
);
CREATE INDEX login_email ON login USING btree (email);
ALTER TABLE login ENABLE ROW LEVEL SECURITY;
ALTER TABLE login FORCE ROW LEVEL SECURITY;
CREATE POLICY by_email ON login FOR SELECT TO PUBLIC USING ((email = NULLIF(current_setting('toeboard.email'::text, true), ''::text)));
CREATE POLICY own_firm ON login FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE ON login TO toeboard_app;

CREATE TABLE lone_call (
  firm_id uuid NOT NULL,
  call_id uuid NOT NULL,
  crew_id uuid NOT NULL,
  job_id uuid NOT NULL,
  on_day date NOT NULL,
  person_id uuid NOT NULL,
  what text NOT NULL,
  by_person_id uuid NOT NULL,
  at timestamp with time zone NOT NULL,
  CONSTRAINT lone_call_pkey PRIMARY KEY (firm_id, call_id),
  CONSTRAINT lone_call_firm_id_by_person_id_fkey FOREIGN KEY (firm_id, by_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT lone_call_firm_id_crew_id_fkey FOREIGN KEY (firm_id, crew_id) REFERENCES crew(firm_id, crew_id),
  CONSTRAINT lone_call_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT lone_call_firm_id_person_id_fkey FOREIGN KEY (firm_id, person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT lone_call_what_known CHECK ((what = ANY (ARRAY['well'::text, 'left'::text])))
);
CREATE INDEX lone_call_day ON lone_call USING btree (firm_id, on_day, crew_id, job_id, at);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON lone_call FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON lone_call DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('call_id');
ALTER TABLE lone_call ENABLE ROW LEVEL SECURITY;
ALTER TABLE lone_call FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON lone_call FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON lone_call TO toeboard_app;

CREATE TABLE mail_received (
  firm_id uuid NOT NULL,
  mail_hash bytea NOT NULL,
  booking_id uuid NOT NULL,
  mail_id text NOT NULL,
  from_address text NOT NULL,
  what text NOT NULL,
  says text NOT NULL,
  at timestamp with time zone NOT NULL,
  CONSTRAINT mail_received_pkey PRIMARY KEY (firm_id, mail_hash),
  CONSTRAINT mail_received_firm_id_booking_id_fkey FOREIGN KEY (firm_id, booking_id) REFERENCES booking(firm_id, booking_id),
  CONSTRAINT mail_received_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT mail_received_mail_hash_check CHECK ((length(mail_hash) = 32)),
  CONSTRAINT mail_received_says_check CHECK ((says <> ''::text)),
  CONSTRAINT mail_received_what_check CHECK ((what = ANY (ARRAY['confirmed'::text, 'refused_day'::text, 'offered'::text, 'bounced'::text, 'not_taken'::text])))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON mail_received FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE mail_received ENABLE ROW LEVEL SECURITY;
ALTER TABLE mail_received FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON mail_received FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON mail_received TO toeboard_app;

CREATE TABLE message (
  firm_id uuid NOT NULL,
  message_id uuid NOT NULL,
  kind text NOT NULL,
  topic text NOT NULL,
  sequence integer NOT NULL,
  to_name text NOT NULL,
  to_address text NOT NULL,
  mail_id text NOT NULL,
  reply_token text NOT NULL DEFAULT ''::text,
  letter jsonb NOT NULL,
  calendar jsonb,
  caused_by text NOT NULL,
  written_at timestamp with time zone NOT NULL,
  not_before timestamp with time zone NOT NULL,
  state text NOT NULL,
  tries integer NOT NULL DEFAULT 0,
  taken_until timestamp with time zone,
  sent_at timestamp with time zone,
  sent_with uuid,
  says text NOT NULL DEFAULT ''::text,
  CONSTRAINT message_pkey PRIMARY KEY (firm_id, message_id),
  CONSTRAINT message_once UNIQUE (firm_id, topic, sequence, kind, to_address),
  CONSTRAINT message_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT message_firm_id_sent_with_fkey FOREIGN KEY (firm_id, sent_with) REFERENCES message(firm_id, message_id),
  CONSTRAINT message_calendar_check CHECK ((jsonb_typeof(calendar) = 'object'::text)),
  CONSTRAINT message_caused_by_check CHECK ((caused_by <> ''::text)),
  CONSTRAINT message_kind_check CHECK ((kind <> ''::text)),
  CONSTRAINT message_letter_check CHECK ((jsonb_typeof(letter) = 'object'::text)),
  CONSTRAINT message_mail_id_check CHECK ((mail_id ~~ '%_@_%'::text)),
  CONSTRAINT message_sent_has_its_time CHECK (((state = ANY (ARRAY['sent'::text, 'bounced'::text])) = (sent_at IS NOT NULL))),
  CONSTRAINT message_sequence_check CHECK ((sequence >= 0)),
  CONSTRAINT message_state_check CHECK ((state = ANY (ARRAY['waiting'::text, 'sent'::text, 'failed'::text, 'bounced'::text, 'overtaken'::text]))),
  CONSTRAINT message_topic_check CHECK ((topic <> ''::text)),
  CONSTRAINT message_tries_check CHECK ((tries >= 0)),
  CONSTRAINT message_waits_for_somebody CHECK (((state <> 'waiting'::text) OR (to_address ~~ '%_@_%'::text)))
);
CREATE INDEX message_newest ON message USING btree (firm_id, written_at DESC);
CREATE INDEX message_waiting ON message USING btree (firm_id, not_before) WHERE (state = 'waiting'::text);
ALTER TABLE message ENABLE ROW LEVEL SECURITY;
ALTER TABLE message FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON message FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE (not_before), UPDATE (says), UPDATE (sent_at), UPDATE (sent_with), UPDATE (state), UPDATE (taken_until), UPDATE (tries) ON message TO toeboard_app;

CREATE TABLE message_try (
  firm_id uuid NOT NULL,
  message_id uuid NOT NULL,
  try integer NOT NULL,
  what text NOT NULL,
  at timestamp with time zone NOT NULL,
  by text NOT NULL,
  says text NOT NULL DEFAULT ''::text,
  CONSTRAINT message_try_pkey PRIMARY KEY (firm_id, message_id, try, what),
  CONSTRAINT message_try_firm_id_message_id_fkey FOREIGN KEY (firm_id, message_id) REFERENCES message(firm_id, message_id),
  CONSTRAINT message_try_by_check CHECK ((by <> ''::text)),
  CONSTRAINT message_try_try_check CHECK ((try > 0)),
  CONSTRAINT message_try_what_check CHECK ((what = ANY (ARRAY['begun'::text, 'sent'::text, 'later'::text, 'failed'::text, 'bounced'::text, 'again'::text])))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON message_try FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE message_try ENABLE ROW LEVEL SECURITY;
ALTER TABLE message_try FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON message_try FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON message_try TO toeboard_app;

CREATE TABLE module_clearance (
  firm_id uuid NOT NULL,
  clearance_id uuid NOT NULL,
  job_id uuid NOT NULL,
  grid_row integer NOT NULL,
  grid_col integer NOT NULL,
  serial text NOT NULL,
  placed_by_person_id uuid NOT NULL,
  placed_at timestamp with time zone NOT NULL,
  by_person_id uuid NOT NULL,
  at timestamp with time zone NOT NULL,
  CONSTRAINT module_clearance_pkey PRIMARY KEY (firm_id, clearance_id),
  CONSTRAINT module_clearance_firm_id_by_person_id_fkey FOREIGN KEY (firm_id, by_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT module_clearance_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT module_clearance_firm_id_placed_by_person_id_fkey FOREIGN KEY (firm_id, placed_by_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT module_clearance_serial_check CHECK ((serial <> ''::text))
);
CREATE INDEX module_clearance_place ON module_clearance USING btree (firm_id, job_id, grid_row, grid_col);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON module_clearance FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON module_clearance DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('clearance_id');
ALTER TABLE module_clearance ENABLE ROW LEVEL SECURITY;
ALTER TABLE module_clearance FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON module_clearance FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON module_clearance TO toeboard_app;

CREATE TABLE module_place (
  firm_id uuid NOT NULL,
  job_id uuid NOT NULL,
  grid_row integer NOT NULL,
  grid_col integer NOT NULL,
  serial text NOT NULL,
  by_person_id uuid NOT NULL,
  at timestamp with time zone NOT NULL,
  CONSTRAINT module_place_pkey PRIMARY KEY (firm_id, job_id, grid_row, grid_col),
  CONSTRAINT module_place_serial_once UNIQUE (firm_id, serial),
  CONSTRAINT module_place_firm_id_by_person_id_fkey FOREIGN KEY (firm_id, by_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT module_place_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT module_place_on_the_grid CHECK ((((grid_row >= 1) AND (grid_row <= 20)) AND ((grid_col >= 1) AND (grid_col <= 40)))),
  CONSTRAINT module_place_serial_is_one CHECK ((serial ~ '^[A-Z0-9][A-Z0-9./-]{3,39}$'::text))
);
CREATE CONSTRAINT TRIGGER module_place_cleared_on_record AFTER DELETE ON module_place DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION module_place_cleared_on_record();
ALTER TABLE module_place ENABLE ROW LEVEL SECURITY;
ALTER TABLE module_place FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON module_place FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT DELETE, INSERT, SELECT ON module_place TO toeboard_app;

CREATE TABLE own_rule (
  firm_id uuid NOT NULL,
  code text NOT NULL,
  version integer NOT NULL,
  binding boolean NOT NULL,
  holder_person_id uuid,
  why text NOT NULL,
  set_by_person_id uuid NOT NULL,
  set_at timestamp with time zone NOT NULL,
  CONSTRAINT own_rule_pkey PRIMARY KEY (firm_id, code, version),
  CONSTRAINT own_rule_firm_id_set_by_person_id_fkey FOREIGN KEY (firm_id, set_by_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT own_rule_holder_fkey FOREIGN KEY (firm_id, holder_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT own_rule_is_no_law CHECK ((code = ANY (ARRAY['B16'::text, 'B17'::text, 'B18'::text]))),
  CONSTRAINT own_rule_version_check CHECK ((version > 0)),
  CONSTRAINT own_rule_why_check CHECK ((why <> ''::text))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON own_rule FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON own_rule DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('code', 'version');
ALTER TABLE own_rule ENABLE ROW LEVEL SECURITY;
ALTER TABLE own_rule FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON own_rule FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON own_rule TO toeboard_app;

CREATE TABLE person (
  firm_id uuid NOT NULL,
  person_id uuid NOT NULL,
  name text NOT NULL,
  role text NOT NULL,
  phone text NOT NULL DEFAULT ''::text,
  active boolean NOT NULL DEFAULT true,
  CONSTRAINT person_pkey PRIMARY KEY (firm_id, person_id),
  CONSTRAINT person_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT person_name_check CHECK ((name <> ''::text)),
  CONSTRAINT person_role_check CHECK ((role = ANY (ARRAY['office'::text, 'crew_lead'::text, 'crew_member'::text])))
);
ALTER TABLE person ENABLE ROW LEVEL SECURITY;
ALTER TABLE person FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON person FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE ON person TO toeboard_app;

CREATE TABLE photo (
  firm_id uuid NOT NULL,
  photo_id uuid NOT NULL,
  job_id uuid NOT NULL,
  sha256 bytea NOT NULL,
  media_type text NOT NULL,
  body bytea NOT NULL,
  taken_by text NOT NULL,
  kept_at timestamp with time zone NOT NULL,
  CONSTRAINT photo_pkey PRIMARY KEY (firm_id, photo_id),
  CONSTRAINT photo_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT photo_fits_its_sum CHECK ((sha256 = sha256(body))),
  CONSTRAINT photo_is_bounded CHECK (((length(body) >= 1) AND (length(body) <= 6291456))),
  CONSTRAINT photo_kind_known CHECK ((media_type = ANY (ARRAY['image/jpeg'::text, 'image/png'::text, 'image/webp'::text]))),
  CONSTRAINT photo_taken_by_check CHECK ((taken_by <> ''::text))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON photo FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE photo ENABLE ROW LEVEL SECURITY;
ALTER TABLE photo FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON photo FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON photo TO toeboard_app;

CREATE TABLE pin (
  firm_id uuid NOT NULL,
  pin_id uuid NOT NULL,
  job_id uuid NOT NULL,
  stage_kind text,
  kind text NOT NULL,
  crew_id uuid,
  scaffold_firm_id uuid,
  on_day date,
  half text,
  why text NOT NULL,
  set_by text NOT NULL,
  set_at timestamp with time zone NOT NULL,
  CONSTRAINT pin_pkey PRIMARY KEY (firm_id, pin_id),
  CONSTRAINT pin_firm_id_crew_id_fkey FOREIGN KEY (firm_id, crew_id) REFERENCES crew(firm_id, crew_id),
  CONSTRAINT pin_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT pin_firm_id_job_id_stage_kind_fkey FOREIGN KEY (firm_id, job_id, stage_kind) REFERENCES stage(firm_id, job_id, kind),
  CONSTRAINT pin_firm_id_scaffold_firm_id_fkey FOREIGN KEY (firm_id, scaffold_firm_id) REFERENCES scaffold_firm(firm_id, scaffold_firm_id),
  CONSTRAINT pin_half_check CHECK ((half = ANY (ARRAY['am'::text, 'pm'::text]))),
  CONSTRAINT pin_has_its_day CHECK ((((kind = ANY (ARRAY['start'::text, 'on'::text, 'not_before'::text, 'not_after'::text])) = (on_day IS NOT NULL)) AND ((kind = 'start'::text) = (half IS NOT NULL)))),
  CONSTRAINT pin_has_its_stage CHECK (
CASE
    WHEN (kind = ANY (ARRAY['stays'::text, 'left_out'::text])) THEN (stage_kind IS NULL)
    WHEN (kind = 'not_before'::text) THEN true
    ELSE (stage_kind IS NOT NULL)
END),
  CONSTRAINT pin_has_its_who CHECK (
CASE
    WHEN (kind <> ALL (ARRAY['by'::text, 'not_by'::text])) THEN ((crew_id IS NULL) AND (scaffold_firm_id IS NULL))
    WHEN (stage_kind = ANY (ARRAY['scaffold_erection'::text, 'scaffold_strike'::text])) THEN ((crew_id IS NULL) AND (scaffold_firm_id IS NOT NULL))
    ELSE ((crew_id IS NOT NULL) AND (scaffold_firm_id IS NULL))
END),
  CONSTRAINT pin_kind_known CHECK ((kind = ANY (ARRAY['start'::text, 'on'::text, 'not_before'::text, 'not_after'::text, 'by'::text, 'not_by'::text, 'stays'::text, 'left_out'::text]))),
  CONSTRAINT pin_set_by_check CHECK ((set_by <> ''::text)),
  CONSTRAINT pin_why_check CHECK ((why <> ''::text))
);
CREATE INDEX pin_of_job ON pin USING btree (firm_id, job_id);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON pin FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE pin ENABLE ROW LEVEL SECURITY;
ALTER TABLE pin FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON pin FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON pin TO toeboard_app;

CREATE TABLE pin_removal (
  firm_id uuid NOT NULL,
  pin_id uuid NOT NULL,
  why text NOT NULL DEFAULT ''::text,
  removed_by text NOT NULL,
  removed_at timestamp with time zone NOT NULL,
  CONSTRAINT pin_removal_pkey PRIMARY KEY (firm_id, pin_id),
  CONSTRAINT pin_removal_firm_id_pin_id_fkey FOREIGN KEY (firm_id, pin_id) REFERENCES pin(firm_id, pin_id),
  CONSTRAINT pin_removal_removed_by_check CHECK ((removed_by <> ''::text))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON pin_removal FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE pin_removal ENABLE ROW LEVEL SECURITY;
ALTER TABLE pin_removal FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON pin_removal FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON pin_removal TO toeboard_app;

CREATE TABLE plan (
  firm_id uuid NOT NULL,
  plan_id uuid NOT NULL,
  version integer NOT NULL,
  state text NOT NULL,
  base_plan_id uuid,
  first_day date NOT NULL,
  days integer NOT NULL,
  seed bigint NOT NULL,
  schedules integer NOT NULL,
  snapshot_hash bytea NOT NULL,
  cost jsonb NOT NULL,
  unplanned jsonb NOT NULL DEFAULT '[]'::jsonb,
  made_by text NOT NULL,
  made_at timestamp with time zone NOT NULL,
  published_by text,
  published_at timestamp with time zone,
  replay jsonb,
  CONSTRAINT plan_pkey PRIMARY KEY (firm_id, plan_id),
  CONSTRAINT plan_firm_id_version_key UNIQUE (firm_id, version),
  CONSTRAINT plan_firm_id_base_plan_id_fkey FOREIGN KEY (firm_id, base_plan_id) REFERENCES plan(firm_id, plan_id),
  CONSTRAINT plan_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT plan_check CHECK (((state = ANY (ARRAY['published'::text, 'superseded'::text])) = (published_at IS NOT NULL))),
  CONSTRAINT plan_days_check CHECK (((days >= 1) AND (days <= 400))),
  CONSTRAINT plan_replay_is_whole CHECK (((replay IS NULL) OR ((jsonb_typeof(replay) = 'object'::text) AND ((replay ? 'replay'::text) OR (replay ? 'choice'::text))))),
  CONSTRAINT plan_schedules_check CHECK ((schedules >= 0)),
  CONSTRAINT plan_snapshot_hash_check CHECK ((length(snapshot_hash) = 32)),
  CONSTRAINT plan_state_check CHECK ((state = ANY (ARRAY['draft'::text, 'published'::text, 'superseded'::text, 'dropped'::text]))),
  CONSTRAINT plan_version_check CHECK ((version > 0))
);
CREATE UNIQUE INDEX plan_one_published ON plan USING btree (firm_id) WHERE (state = 'published'::text);
ALTER TABLE plan ENABLE ROW LEVEL SECURITY;
ALTER TABLE plan FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON plan FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE (published_at), UPDATE (published_by), UPDATE (state) ON plan TO toeboard_app;

CREATE TABLE plan_run (
  firm_id uuid NOT NULL,
  run_id uuid NOT NULL,
  state text NOT NULL,
  asked_by text NOT NULL,
  asked_at timestamp with time zone NOT NULL,
  why text NOT NULL DEFAULT ''::text,
  aim text NOT NULL,
  seed bigint NOT NULL,
  schedules integer NOT NULL,
  workers integer NOT NULL,
  takes integer NOT NULL DEFAULT 0,
  losses integer NOT NULL DEFAULT 0,
  generated integer NOT NULL DEFAULT 0,
  best_pence bigint,
  bound_pence bigint,
  began_at timestamp with time zone,
  heartbeat_at timestamp with time zone,
  looked_at timestamp with time zone NOT NULL,
  stop_by text,
  stop_keep boolean NOT NULL DEFAULT false,
  ended_at timestamp with time zone,
  plan_id uuid,
  reason text NOT NULL DEFAULT ''::text,
  CONSTRAINT plan_run_pkey PRIMARY KEY (firm_id, run_id),
  CONSTRAINT plan_run_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT plan_run_firm_id_plan_id_fkey FOREIGN KEY (firm_id, plan_id) REFERENCES plan(firm_id, plan_id),
  CONSTRAINT plan_run_aim_check CHECK ((aim <> ''::text)),
  CONSTRAINT plan_run_asked_by_check CHECK ((asked_by <> ''::text)),
  CONSTRAINT plan_run_done_has_its_plan CHECK (((state <> 'done'::text) OR (plan_id IS NOT NULL))),
  CONSTRAINT plan_run_ends_once CHECK (((state = ANY (ARRAY['done'::text, 'failed'::text, 'stopped'::text])) = (ended_at IS NOT NULL))),
  CONSTRAINT plan_run_generated_check CHECK ((generated >= 0)),
  CONSTRAINT plan_run_losses_check CHECK ((losses >= 0)),
  CONSTRAINT plan_run_plan_comes_last CHECK (((plan_id IS NULL) OR (state = ANY (ARRAY['done'::text, 'stopped'::text])))),
  CONSTRAINT plan_run_runs_in_a_worker CHECK (((state <> 'running'::text) OR ((takes > 0) AND (began_at IS NOT NULL) AND (heartbeat_at IS NOT NULL)))),
  CONSTRAINT plan_run_says_why CHECK (((state = ANY (ARRAY['failed'::text, 'stopped'::text])) = (reason <> ''::text))),
  CONSTRAINT plan_run_schedules_check CHECK ((schedules > 0)),
  CONSTRAINT plan_run_state_check CHECK ((state = ANY (ARRAY['waiting'::text, 'running'::text, 'done'::text, 'failed'::text, 'stopped'::text]))),
  CONSTRAINT plan_run_takes_check CHECK ((takes >= 0)),
  CONSTRAINT plan_run_workers_check CHECK (((workers >= 1) AND (workers <= 64)))
);
CREATE UNIQUE INDEX plan_run_one_at_a_time ON plan_run USING btree (firm_id) WHERE (state = ANY (ARRAY['waiting'::text, 'running'::text]));
CREATE UNIQUE INDEX plan_run_one_for_a_plan ON plan_run USING btree (firm_id, plan_id) WHERE (plan_id IS NOT NULL);
CREATE TRIGGER plan_run_has_ended BEFORE UPDATE OF state, takes, losses, generated, best_pence, bound_pence, began_at, heartbeat_at, stop_by, stop_keep, ended_at, plan_id, reason ON plan_run FOR EACH ROW WHEN ((old.ended_at IS NOT NULL)) EXECUTE FUNCTION plan_run_has_ended();
ALTER TABLE plan_run ENABLE ROW LEVEL SECURITY;
ALTER TABLE plan_run FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON plan_run FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE (began_at), UPDATE (best_pence), UPDATE (bound_pence), UPDATE (ended_at), UPDATE (generated), UPDATE (heartbeat_at), UPDATE (looked_at), UPDATE (losses), UPDATE (plan_id), UPDATE (reason), UPDATE (state), UPDATE (stop_by), UPDATE (stop_keep), UPDATE (takes) ON plan_run TO toeboard_app;

CREATE TABLE private_link (
  firm_id uuid NOT NULL,
  link_id uuid NOT NULL,
  scaffold_firm_id uuid NOT NULL,
  purpose text NOT NULL,
  token_hash bytea NOT NULL,
  created_at timestamp with time zone NOT NULL,
  expires_at timestamp with time zone,
  revoked_at timestamp with time zone,
  made_by text NOT NULL DEFAULT ''::text,
  sent_to text NOT NULL DEFAULT ''::text,
  last_used_at timestamp with time zone,
  CONSTRAINT private_link_pkey PRIMARY KEY (firm_id, link_id),
  CONSTRAINT private_link_firm_id_token_hash_key UNIQUE (firm_id, token_hash),
  CONSTRAINT private_link_firm_id_scaffold_firm_id_fkey FOREIGN KEY (firm_id, scaffold_firm_id) REFERENCES scaffold_firm(firm_id, scaffold_firm_id),
  CONSTRAINT private_link_of_a_mail_ends CHECK (((purpose <> 'mail'::text) OR ((sent_to ~~ '%_@_%'::text) AND (expires_at IS NOT NULL) AND (expires_at <= (created_at + '60 days'::interval))))),
  CONSTRAINT private_link_purpose_known CHECK ((purpose = ANY (ARRAY['page'::text, 'feed'::text, 'mail'::text]))),
  CONSTRAINT private_link_token_hash_check CHECK ((length(token_hash) = 32))
);
CREATE INDEX private_link_token ON private_link USING btree (token_hash);
CREATE TRIGGER private_link_stays BEFORE UPDATE ON private_link FOR EACH ROW EXECUTE FUNCTION private_link_stays();
ALTER TABLE private_link ENABLE ROW LEVEL SECURITY;
ALTER TABLE private_link FORCE ROW LEVEL SECURITY;
CREATE POLICY by_link ON private_link FOR SELECT TO PUBLIC USING ((token_hash = decode(NULLIF(current_setting('toeboard.link'::text, true), ''::text), 'hex'::text)));
CREATE POLICY own_firm ON private_link FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE ON private_link TO toeboard_app;

CREATE TABLE push_key (
  firm_id uuid NOT NULL,
  private_key text NOT NULL,
  public_key text NOT NULL,
  made_at timestamp with time zone NOT NULL,
  CONSTRAINT push_key_pkey PRIMARY KEY (firm_id),
  CONSTRAINT push_key_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT push_key_private_key_check CHECK ((private_key <> ''::text)),
  CONSTRAINT push_key_public_key_check CHECK ((public_key <> ''::text))
);
ALTER TABLE push_key ENABLE ROW LEVEL SECURITY;
ALTER TABLE push_key FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON push_key FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON push_key TO toeboard_app;

CREATE TABLE push_note (
  firm_id uuid NOT NULL,
  note_id uuid NOT NULL,
  person_id uuid NOT NULL,
  topic text NOT NULL,
  sequence integer NOT NULL,
  title text NOT NULL,
  body text NOT NULL,
  href text NOT NULL,
  until timestamp with time zone NOT NULL,
  written_at timestamp with time zone NOT NULL,
  done_at timestamp with time zone,
  says text NOT NULL DEFAULT ''::text,
  CONSTRAINT push_note_pkey PRIMARY KEY (firm_id, note_id),
  CONSTRAINT push_note_once UNIQUE (firm_id, person_id, topic, sequence),
  CONSTRAINT push_note_firm_id_person_id_fkey FOREIGN KEY (firm_id, person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT push_note_href_check CHECK ((href ~~ '/%'::text)),
  CONSTRAINT push_note_title_check CHECK ((title <> ''::text)),
  CONSTRAINT push_note_topic_check CHECK ((topic <> ''::text))
);
ALTER TABLE push_note ENABLE ROW LEVEL SECURITY;
ALTER TABLE push_note FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON push_note FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE (done_at), UPDATE (says) ON push_note TO toeboard_app;

CREATE TABLE push_phone (
  firm_id uuid NOT NULL,
  phone_id uuid NOT NULL,
  person_id uuid NOT NULL,
  endpoint text NOT NULL,
  p256dh text NOT NULL,
  auth text NOT NULL,
  asked_at timestamp with time zone NOT NULL,
  ended_at timestamp with time zone,
  ended_why text NOT NULL DEFAULT ''::text,
  CONSTRAINT push_phone_pkey PRIMARY KEY (firm_id, phone_id),
  CONSTRAINT push_phone_firm_id_person_id_fkey FOREIGN KEY (firm_id, person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT push_phone_auth_check CHECK ((auth <> ''::text)),
  CONSTRAINT push_phone_by_https CHECK (((endpoint ~~ 'https://_%'::text) AND (length(endpoint) <= 2000))),
  CONSTRAINT push_phone_p256dh_check CHECK ((p256dh <> ''::text))
);
CREATE UNIQUE INDEX push_phone_of_one_person ON push_phone USING btree (firm_id, endpoint) WHERE (ended_at IS NULL);
ALTER TABLE push_phone ENABLE ROW LEVEL SECURITY;
ALTER TABLE push_phone FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON push_phone FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE (ended_at), UPDATE (ended_why) ON push_phone TO toeboard_app;

CREATE TABLE push_sent (
  firm_id uuid NOT NULL,
  note_id uuid NOT NULL,
  phone_id uuid NOT NULL,
  sent_at timestamp with time zone NOT NULL,
  CONSTRAINT push_sent_pkey PRIMARY KEY (firm_id, note_id, phone_id),
  CONSTRAINT push_sent_firm_id_note_id_fkey FOREIGN KEY (firm_id, note_id) REFERENCES push_note(firm_id, note_id),
  CONSTRAINT push_sent_firm_id_phone_id_fkey FOREIGN KEY (firm_id, phone_id) REFERENCES push_phone(firm_id, phone_id)
);
ALTER TABLE push_sent ENABLE ROW LEVEL SECURITY;
ALTER TABLE push_sent FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON push_sent FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON push_sent TO toeboard_app;

CREATE TABLE rates (
  firm_id uuid NOT NULL,
  version integer NOT NULL,
  body jsonb NOT NULL,
  set_by text NOT NULL,
  set_at timestamp with time zone NOT NULL,
  CONSTRAINT rates_pkey PRIMARY KEY (firm_id, version),
  CONSTRAINT rates_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT rates_set_by_check CHECK ((set_by <> ''::text)),
  CONSTRAINT rates_version_check CHECK ((version > 1))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON rates FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE rates ENABLE ROW LEVEL SECURITY;
ALTER TABLE rates FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON rates FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON rates TO toeboard_app;

CREATE TABLE record_entry (
  firm_id uuid NOT NULL,
  seq bigint NOT NULL,
  kind text NOT NULL,
  record_key text NOT NULL,
  job_id uuid,
  on_day date,
  entry text NOT NULL,
  hashes bytea NOT NULL,
  CONSTRAINT record_entry_pkey PRIMARY KEY (firm_id, seq),
  CONSTRAINT record_entry_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT record_entry_entry_check CHECK ((entry <> ''::text)),
  CONSTRAINT record_entry_hashes_check CHECK (((length(hashes) >= 32) AND ((length(hashes) % 32) = 0))),
  CONSTRAINT record_entry_kind_check CHECK ((kind <> ''::text)),
  CONSTRAINT record_entry_record_key_check CHECK ((record_key <> ''::text)),
  CONSTRAINT record_entry_seq_check CHECK ((seq >= 0))
);
CREATE INDEX record_entry_job ON record_entry USING btree (firm_id, job_id, seq);
CREATE INDEX record_entry_of ON record_entry USING btree (firm_id, kind, record_key, seq);
CREATE TRIGGER record_entry_follows BEFORE INSERT ON record_entry FOR EACH ROW EXECUTE FUNCTION record_entry_follows();
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON record_entry FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE record_entry ENABLE ROW LEVEL SECURITY;
ALTER TABLE record_entry FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON record_entry FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON record_entry TO toeboard_app;

CREATE TABLE record_head (
  firm_id uuid NOT NULL,
  size bigint NOT NULL,
  signed_at timestamp with time zone NOT NULL,
  head text NOT NULL,
  CONSTRAINT record_head_pkey PRIMARY KEY (firm_id, size, signed_at),
  CONSTRAINT record_head_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT record_head_head_check CHECK ((head <> ''::text)),
  CONSTRAINT record_head_size_check CHECK ((size >= 0))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON record_head FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE record_head ENABLE ROW LEVEL SECURITY;
ALTER TABLE record_head FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON record_head FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON record_head TO toeboard_app;

CREATE TABLE record_signer (
  firm_id uuid NOT NULL,
  public_key text NOT NULL,
  seed bytea,
  since timestamp with time zone NOT NULL,
  CONSTRAINT record_signer_pkey PRIMARY KEY (firm_id, public_key),
  CONSTRAINT record_signer_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT record_signer_public_key_check CHECK ((public_key <> ''::text)),
  CONSTRAINT record_signer_seed_check CHECK ((length(seed) = 32))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON record_signer FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE record_signer ENABLE ROW LEVEL SECURITY;
ALTER TABLE record_signer FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON record_signer FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON record_signer TO toeboard_app;

CREATE TABLE risk_assessment (
  firm_id uuid NOT NULL,
  assessment_id uuid NOT NULL,
  job_id uuid NOT NULL,
  version integer NOT NULL,
  body jsonb NOT NULL,
  facts_hash bytea NOT NULL,
  body_hash bytea NOT NULL,
  made_by text NOT NULL,
  made_at timestamp with time zone NOT NULL,
  CONSTRAINT risk_assessment_pkey PRIMARY KEY (firm_id, assessment_id),
  CONSTRAINT risk_assessment_firm_id_job_id_version_key UNIQUE (firm_id, job_id, version),
  CONSTRAINT risk_assessment_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT risk_assessment_body_hash_check CHECK ((length(body_hash) = 32)),
  CONSTRAINT risk_assessment_facts_hash_check CHECK ((length(facts_hash) = 32)),
  CONSTRAINT risk_assessment_made_by_check CHECK ((made_by <> ''::text)),
  CONSTRAINT risk_assessment_version_check CHECK ((version > 0))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON risk_assessment FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON risk_assessment DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('assessment_id');
ALTER TABLE risk_assessment ENABLE ROW LEVEL SECURITY;
ALTER TABLE risk_assessment FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON risk_assessment FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON risk_assessment TO toeboard_app;

CREATE TABLE rule_exception (
  firm_id uuid NOT NULL,
  exception_id uuid NOT NULL,
  crew_id uuid NOT NULL,
  job_id uuid NOT NULL,
  on_day date NOT NULL,
  code text NOT NULL,
  reason text NOT NULL,
  by_person_id uuid NOT NULL,
  at timestamp with time zone NOT NULL,
  CONSTRAINT rule_exception_pkey PRIMARY KEY (firm_id, exception_id),
  CONSTRAINT rule_exception_firm_id_by_person_id_fkey FOREIGN KEY (firm_id, by_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT rule_exception_firm_id_crew_id_fkey FOREIGN KEY (firm_id, crew_id) REFERENCES crew(firm_id, crew_id),
  CONSTRAINT rule_exception_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT rule_exception_is_from_no_law CHECK ((code = ANY (ARRAY['B16'::text, 'B17'::text, 'B18'::text]))),
  CONSTRAINT rule_exception_reason_check CHECK ((reason <> ''::text))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON rule_exception FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON rule_exception DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('exception_id');
CREATE TRIGGER rule_exception_by_the_named AFTER INSERT ON rule_exception FOR EACH ROW EXECUTE FUNCTION rule_exception_by_the_named();
ALTER TABLE rule_exception ENABLE ROW LEVEL SECURITY;
ALTER TABLE rule_exception FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON rule_exception FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON rule_exception TO toeboard_app;

CREATE TABLE scaffold_event (
  firm_id uuid NOT NULL,
  event_id uuid NOT NULL,
  job_id uuid NOT NULL,
  what text NOT NULL,
  detail text NOT NULL,
  at timestamp with time zone NOT NULL,
  recorded_by text NOT NULL,
  recorded_at timestamp with time zone NOT NULL,
  CONSTRAINT scaffold_event_pkey PRIMARY KEY (firm_id, event_id),
  CONSTRAINT scaffold_event_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT scaffold_event_detail_check CHECK ((detail <> ''::text)),
  CONSTRAINT scaffold_event_recorded_by_check CHECK ((recorded_by <> ''::text)),
  CONSTRAINT scaffold_event_what_check CHECK ((what = ANY (ARRAY['wind'::text, 'impact'::text, 'alteration'::text, 'other'::text])))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON scaffold_event FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON scaffold_event DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('event_id');
ALTER TABLE scaffold_event ENABLE ROW LEVEL SECURITY;
ALTER TABLE scaffold_event FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON scaffold_event FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON scaffold_event TO toeboard_app;

CREATE TABLE scaffold_firm (
  firm_id uuid NOT NULL,
  scaffold_firm_id uuid NOT NULL,
  name text NOT NULL,
  email text NOT NULL DEFAULT ''::text,
  phone text NOT NULL DEFAULT ''::text,
  gangs_per_day integer NOT NULL,
  sets integer NOT NULL,
  erect_notice integer NOT NULL,
  strike_notice integer NOT NULL,
  visit_pence bigint NOT NULL,
  included_weeks integer NOT NULL,
  weekly_hire_pence bigint NOT NULL,
  active boolean NOT NULL DEFAULT true,
  days_off smallint NOT NULL DEFAULT 0,
  yard_lat double precision,
  yard_lon double precision,
  reach_km integer,
  cancel_notice integer NOT NULL DEFAULT 0,
  cancel_pence bigint NOT NULL DEFAULT 0,
  gust_limit_ms double precision,
  CONSTRAINT scaffold_firm_pkey PRIMARY KEY (firm_id, scaffold_firm_id),
  CONSTRAINT scaffold_firm_firm_id_name_key UNIQUE (firm_id, name),
  CONSTRAINT scaffold_firm_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT scaffold_firm_area_is_on_earth CHECK ((((reach_km >= 1) AND (reach_km <= 1000)) AND ((yard_lat >= ('-90'::integer)::double precision) AND (yard_lat <= (90)::double precision)) AND ((yard_lon >= ('-180'::integer)::double precision) AND (yard_lon <= (180)::double precision)))),
  CONSTRAINT scaffold_firm_area_is_whole CHECK ((((reach_km IS NULL) = (yard_lat IS NULL)) AND ((reach_km IS NULL) = (yard_lon IS NULL)))),
  CONSTRAINT scaffold_firm_cancelling CHECK ((((cancel_notice >= 0) AND (cancel_notice <= 60)) AND (cancel_pence >= 0) AND ((cancel_pence = 0) OR (cancel_notice > 0)))),
  CONSTRAINT scaffold_firm_erect_notice_check CHECK (((erect_notice >= 0) AND (erect_notice <= 60))),
  CONSTRAINT scaffold_firm_gangs_per_day_check CHECK (((gangs_per_day >= 1) AND (gangs_per_day <= 50))),
  CONSTRAINT scaffold_firm_gust_limit CHECK (((gust_limit_ms >= (1)::double precision) AND (gust_limit_ms <= (40)::double precision))),
  CONSTRAINT scaffold_firm_included_weeks_check CHECK (((included_weeks >= 0) AND (included_weeks <= 52))),
  CONSTRAINT scaffold_firm_name_check CHECK ((name <> ''::text)),
  CONSTRAINT scaffold_firm_sets_check CHECK (((sets >= 1) AND (sets <= 500))),
  CONSTRAINT scaffold_firm_strike_notice_check CHECK (((strike_notice >= 0) AND (strike_notice <= 60))),
  CONSTRAINT scaffold_firm_visit_pence_check CHECK ((visit_pence >= 0)),
  CONSTRAINT scaffold_firm_weekly_hire_pence_check CHECK ((weekly_hire_pence >= 0)),
  CONSTRAINT scaffold_firm_works_some_day CHECK (((days_off >= 0) AND (days_off <= 30)))
);
ALTER TABLE scaffold_firm ENABLE ROW LEVEL SECURITY;
ALTER TABLE scaffold_firm FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON scaffold_firm FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE ON scaffold_firm TO toeboard_app;

CREATE TABLE scaffold_handover (
  firm_id uuid NOT NULL,
  report_id uuid NOT NULL,
  design_ref text NOT NULL,
  lifts integer NOT NULL,
  ties text NOT NULL,
  received_by text NOT NULL,
  CONSTRAINT scaffold_handover_pkey PRIMARY KEY (firm_id, report_id),
  CONSTRAINT scaffold_handover_firm_id_report_id_fkey FOREIGN KEY (firm_id, report_id) REFERENCES scaffold_report(firm_id, report_id),
  CONSTRAINT scaffold_handover_design_ref_check CHECK ((design_ref <> ''::text)),
  CONSTRAINT scaffold_handover_lifts CHECK (((lifts >= 1) AND (lifts <= 50))),
  CONSTRAINT scaffold_handover_received_by_check CHECK ((received_by <> ''::text)),
  CONSTRAINT scaffold_handover_ties_check CHECK ((ties <> ''::text))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON scaffold_handover FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON scaffold_handover DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('report_id');
ALTER TABLE scaffold_handover ENABLE ROW LEVEL SECURITY;
ALTER TABLE scaffold_handover FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON scaffold_handover FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON scaffold_handover TO toeboard_app;

CREATE TABLE scaffold_remedy (
  firm_id uuid NOT NULL,
  remedy_id uuid NOT NULL,
  report_id uuid NOT NULL,
  done text NOT NULL,
  done_by text NOT NULL,
  done_at timestamp with time zone NOT NULL,
  recorded_by text NOT NULL,
  recorded_at timestamp with time zone NOT NULL,
  CONSTRAINT scaffold_remedy_pkey PRIMARY KEY (firm_id, remedy_id),
  CONSTRAINT scaffold_remedy_firm_id_report_id_fkey FOREIGN KEY (firm_id, report_id) REFERENCES scaffold_report(firm_id, report_id),
  CONSTRAINT scaffold_remedy_done_by_check CHECK ((done_by <> ''::text)),
  CONSTRAINT scaffold_remedy_done_check CHECK ((done <> ''::text)),
  CONSTRAINT scaffold_remedy_has_been CHECK ((done_at <= recorded_at)),
  CONSTRAINT scaffold_remedy_recorded_by_check CHECK ((recorded_by <> ''::text))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON scaffold_remedy FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON scaffold_remedy DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('remedy_id');
ALTER TABLE scaffold_remedy ENABLE ROW LEVEL SECURITY;
ALTER TABLE scaffold_remedy FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON scaffold_remedy FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON scaffold_remedy TO toeboard_app;

CREATE TABLE scaffold_report (
  firm_id uuid NOT NULL,
  report_id uuid NOT NULL,
  job_id uuid NOT NULL,
  kind text NOT NULL,
  for_whom text NOT NULL,
  location text NOT NULL,
  description text NOT NULL,
  at timestamp with time zone NOT NULL,
  risks text NOT NULL,
  action_taken text NOT NULL,
  further text NOT NULL,
  by_name text NOT NULL,
  by_position text NOT NULL,
  result text NOT NULL,
  load_class integer,
  recorded_by text NOT NULL,
  recorded_at timestamp with time zone NOT NULL,
  CONSTRAINT scaffold_report_pkey PRIMARY KEY (firm_id, report_id),
  CONSTRAINT scaffold_report_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT scaffold_report_action_taken_check CHECK ((action_taken <> ''::text)),
  CONSTRAINT scaffold_report_by_name_check CHECK ((by_name <> ''::text)),
  CONSTRAINT scaffold_report_by_position_check CHECK ((by_position <> ''::text)),
  CONSTRAINT scaffold_report_description_check CHECK ((description <> ''::text)),
  CONSTRAINT scaffold_report_for_whom_check CHECK ((for_whom <> ''::text)),
  CONSTRAINT scaffold_report_further_check CHECK ((further <> ''::text)),
  CONSTRAINT scaffold_report_kind_check CHECK ((kind = ANY (ARRAY['handover'::text, 'inspection'::text]))),
  CONSTRAINT scaffold_report_load_class_check CHECK (((load_class >= 1) AND (load_class <= 6))),
  CONSTRAINT scaffold_report_location_check CHECK ((location <> ''::text)),
  CONSTRAINT scaffold_report_recorded_by_check CHECK ((recorded_by <> ''::text)),
  CONSTRAINT scaffold_report_result_check CHECK ((result = ANY (ARRAY['fit'::text, 'not_fit'::text]))),
  CONSTRAINT scaffold_report_risks_check CHECK ((risks <> ''::text))
);
CREATE INDEX scaffold_report_job ON scaffold_report USING btree (firm_id, job_id, at DESC);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON scaffold_report FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON scaffold_report DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('report_id');
ALTER TABLE scaffold_report ENABLE ROW LEVEL SECURITY;
ALTER TABLE scaffold_report FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON scaffold_report FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON scaffold_report TO toeboard_app;

CREATE TABLE scaffold_report_delivery (
  firm_id uuid NOT NULL,
  report_id uuid NOT NULL,
  given_to text NOT NULL,
  delivered_at timestamp with time zone NOT NULL,
  recorded_by text NOT NULL,
  recorded_at timestamp with time zone NOT NULL,
  CONSTRAINT scaffold_report_delivery_pkey PRIMARY KEY (firm_id, report_id),
  CONSTRAINT scaffold_report_delivery_firm_id_report_id_fkey FOREIGN KEY (firm_id, report_id) REFERENCES scaffold_report(firm_id, report_id),
  CONSTRAINT scaffold_delivery_has_been CHECK ((delivered_at <= recorded_at)),
  CONSTRAINT scaffold_report_delivery_given_to_check CHECK ((given_to <> ''::text)),
  CONSTRAINT scaffold_report_delivery_recorded_by_check CHECK ((recorded_by <> ''::text))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON scaffold_report_delivery FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON scaffold_report_delivery DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('report_id');
ALTER TABLE scaffold_report_delivery ENABLE ROW LEVEL SECURITY;
ALTER TABLE scaffold_report_delivery FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON scaffold_report_delivery FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON scaffold_report_delivery TO toeboard_app;

CREATE TABLE session (
  firm_id uuid NOT NULL,
  token_hash bytea NOT NULL,
  person_id uuid NOT NULL,
  data bytea NOT NULL,
  expires_at timestamp with time zone NOT NULL,
  CONSTRAINT session_pkey PRIMARY KEY (firm_id, token_hash),
  CONSTRAINT session_firm_id_person_id_fkey FOREIGN KEY (firm_id, person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT session_token_hash_check CHECK ((length(token_hash) = 32))
);
CREATE INDEX session_expiry ON session USING btree (expires_at);
CREATE INDEX session_token ON session USING btree (token_hash);
ALTER TABLE session ENABLE ROW LEVEL SECURITY;
ALTER TABLE session FORCE ROW LEVEL SECURITY;
CREATE POLICY by_token ON session FOR SELECT TO PUBLIC USING ((token_hash = decode(NULLIF(current_setting('toeboard.session'::text, true), ''::text), 'hex'::text)));
CREATE POLICY own_firm ON session FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT DELETE, INSERT, SELECT, UPDATE ON session TO toeboard_app;

CREATE TABLE sign_off (
  firm_id uuid NOT NULL,
  sign_off_id uuid NOT NULL,
  crew_id uuid NOT NULL,
  job_id uuid NOT NULL,
  on_day date NOT NULL,
  person_id uuid NOT NULL,
  assessment_id uuid NOT NULL,
  body_hash bytea NOT NULL,
  statement text NOT NULL,
  typed_name text NOT NULL,
  device_at timestamp with time zone,
  received_at timestamp with time zone NOT NULL,
  proof text NOT NULL DEFAULT 'typed'::text,
  drawing text NOT NULL DEFAULT ''::text,
  on_phone_of uuid,
  given_for jsonb,
  CONSTRAINT sign_off_pkey PRIMARY KEY (firm_id, sign_off_id),
  CONSTRAINT sign_off_firm_id_assessment_id_fkey FOREIGN KEY (firm_id, assessment_id) REFERENCES risk_assessment(firm_id, assessment_id),
  CONSTRAINT sign_off_firm_id_crew_id_fkey FOREIGN KEY (firm_id, crew_id) REFERENCES crew(firm_id, crew_id),
  CONSTRAINT sign_off_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT sign_off_firm_id_person_id_fkey FOREIGN KEY (firm_id, person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT sign_off_on_phone_of_fkey FOREIGN KEY (firm_id, on_phone_of) REFERENCES person(firm_id, person_id),
  CONSTRAINT sign_off_body_hash_check CHECK ((length(body_hash) = 32)),
  CONSTRAINT sign_off_drawing_is_strokes CHECK (((length(drawing) <= 8000) AND (drawing ~ '^(M[0-9]{1,3} [0-9]{1,3}(L[0-9]{1,3} [0-9]{1,3})*)*$'::text))),
  CONSTRAINT sign_off_proof_known CHECK ((proof = ANY (ARRAY['typed'::text, 'pin'::text]))),
  CONSTRAINT sign_off_statement_check CHECK ((statement <> ''::text)),
  CONSTRAINT sign_off_typed_name_check CHECK ((typed_name <> ''::text))
);
CREATE INDEX sign_off_day ON sign_off USING btree (firm_id, crew_id, on_day);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON sign_off FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON sign_off DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('sign_off_id');
ALTER TABLE sign_off ENABLE ROW LEVEL SECURITY;
ALTER TABLE sign_off FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON sign_off FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON sign_off TO toeboard_app;

CREATE TABLE signing_pin (
  firm_id uuid NOT NULL,
  person_id uuid NOT NULL,
  pin_hash text NOT NULL,
  set_by_person_id uuid NOT NULL,
  set_at timestamp with time zone NOT NULL,
  CONSTRAINT signing_pin_pkey PRIMARY KEY (firm_id, person_id),
  CONSTRAINT signing_pin_firm_id_person_id_fkey FOREIGN KEY (firm_id, person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT signing_pin_firm_id_set_by_person_id_fkey FOREIGN KEY (firm_id, set_by_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT signing_pin_is_hashed CHECK ((pin_hash ~~ '$argon2id$%'::text))
);
ALTER TABLE signing_pin ENABLE ROW LEVEL SECURITY;
ALTER TABLE signing_pin FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON signing_pin FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE (pin_hash), UPDATE (set_at), UPDATE (set_by_person_id) ON signing_pin TO toeboard_app;

CREATE TABLE site (
  firm_id uuid NOT NULL,
  site_id uuid NOT NULL,
  address text NOT NULL,
  postcode text NOT NULL DEFAULT ''::text,
  lat double precision NOT NULL,
  lon double precision NOT NULL,
  terrain text NOT NULL,
  working_height_m double precision NOT NULL,
  facts jsonb NOT NULL DEFAULT '{}'::jsonb,
  CONSTRAINT site_pkey PRIMARY KEY (firm_id, site_id),
  CONSTRAINT site_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT site_address_check CHECK ((address <> ''::text)),
  CONSTRAINT site_lat_check CHECK (((lat >= ('-90'::integer)::double precision) AND (lat <= (90)::double precision))),
  CONSTRAINT site_lon_check CHECK (((lon >= ('-180'::integer)::double precision) AND (lon <= (180)::double precision))),
  CONSTRAINT site_terrain_check CHECK ((terrain = ANY (ARRAY['0'::text, 'I'::text, 'II'::text, 'III'::text, 'IV'::text]))),
  CONSTRAINT site_working_height_m_check CHECK (((working_height_m > (0)::double precision) AND (working_height_m <= (60)::double precision)))
);
ALTER TABLE site ENABLE ROW LEVEL SECURITY;
ALTER TABLE site FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON site FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE ON site TO toeboard_app;

CREATE TABLE site_hazard (
  firm_id uuid NOT NULL,
  site_hazard_id uuid NOT NULL,
  job_id uuid NOT NULL,
  no integer NOT NULL,
  body jsonb NOT NULL,
  photo_id uuid,
  photo_sum bytea,
  recorded_by text NOT NULL,
  recorded_at timestamp with time zone NOT NULL,
  CONSTRAINT site_hazard_pkey PRIMARY KEY (firm_id, site_hazard_id),
  CONSTRAINT site_hazard_once UNIQUE (firm_id, job_id, no),
  CONSTRAINT site_hazard_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT site_hazard_firm_id_photo_id_fkey FOREIGN KEY (firm_id, photo_id) REFERENCES photo(firm_id, photo_id),
  CONSTRAINT site_hazard_body_check CHECK ((jsonb_typeof(body) = 'object'::text)),
  CONSTRAINT site_hazard_has_its_photo CHECK (((photo_id IS NULL) = (photo_sum IS NULL))),
  CONSTRAINT site_hazard_no_check CHECK ((no > 0)),
  CONSTRAINT site_hazard_photo_sum_check CHECK ((length(photo_sum) = 32)),
  CONSTRAINT site_hazard_recorded_by_check CHECK ((recorded_by <> ''::text))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON site_hazard FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON site_hazard DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('site_hazard_id');
ALTER TABLE site_hazard ENABLE ROW LEVEL SECURITY;
ALTER TABLE site_hazard FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON site_hazard FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON site_hazard TO toeboard_app;

CREATE TABLE site_hazard_removal (
  firm_id uuid NOT NULL,
  site_hazard_id uuid NOT NULL,
  why text NOT NULL,
  removed_by text NOT NULL,
  removed_at timestamp with time zone NOT NULL,
  CONSTRAINT site_hazard_removal_pkey PRIMARY KEY (firm_id, site_hazard_id),
  CONSTRAINT site_hazard_removal_firm_id_site_hazard_id_fkey FOREIGN KEY (firm_id, site_hazard_id) REFERENCES site_hazard(firm_id, site_hazard_id),
  CONSTRAINT site_hazard_removal_removed_by_check CHECK ((removed_by <> ''::text)),
  CONSTRAINT site_hazard_removal_why_check CHECK ((why <> ''::text))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON site_hazard_removal FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON site_hazard_removal DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('site_hazard_id');
ALTER TABLE site_hazard_removal ENABLE ROW LEVEL SECURITY;
ALTER TABLE site_hazard_removal FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON site_hazard_removal FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON site_hazard_removal TO toeboard_app;

CREATE TABLE sky_report (
  firm_id uuid NOT NULL,
  report_id uuid NOT NULL,
  job_id uuid NOT NULL,
  what text NOT NULL,
  gust_ms double precision,
  at timestamp with time zone NOT NULL,
  by_person_id uuid NOT NULL,
  recorded_at timestamp with time zone NOT NULL,
  CONSTRAINT sky_report_pkey PRIMARY KEY (firm_id, report_id),
  CONSTRAINT sky_report_firm_id_by_person_id_fkey FOREIGN KEY (firm_id, by_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT sky_report_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT sky_report_has_been CHECK ((at <= recorded_at)),
  CONSTRAINT sky_report_has_its_gust CHECK ((((what = 'gust'::text) = (gust_ms IS NOT NULL)) AND COALESCE(((gust_ms >= (0)::double precision) AND (gust_ms < (100)::double precision)), true))),
  CONSTRAINT sky_report_kind_known CHECK ((what = ANY (ARRAY['thunder'::text, 'lightning'::text, 'gust'::text])))
);
CREATE INDEX sky_report_newest ON sky_report USING btree (firm_id, at DESC);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON sky_report FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON sky_report DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('report_id');
ALTER TABLE sky_report ENABLE ROW LEVEL SECURITY;
ALTER TABLE sky_report FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON sky_report FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON sky_report TO toeboard_app;

CREATE TABLE stage (
  firm_id uuid NOT NULL,
  job_id uuid NOT NULL,
  kind text NOT NULL,
  half_days integer NOT NULL,
  state text NOT NULL,
  started_on date,
  done_on date,
  CONSTRAINT stage_pkey PRIMARY KEY (firm_id, job_id, kind),
  CONSTRAINT stage_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT stage_check CHECK (((state = 'done'::text) = (done_on IS NOT NULL))),
  CONSTRAINT stage_check1 CHECK (((state <> 'started'::text) OR (started_on IS NOT NULL))),
  CONSTRAINT stage_check2 CHECK (((started_on IS NULL) OR (done_on IS NULL) OR (done_on >= started_on))),
  CONSTRAINT stage_half_days_check CHECK (((half_days >= 1) AND (half_days <= 40))),
  CONSTRAINT stage_kind_check CHECK ((kind = ANY (ARRAY['scaffold_erection'::text, 'roof_work'::text, 'first_fix'::text, 'second_fix'::text, 'commissioning'::text, 'scaffold_strike'::text]))),
  CONSTRAINT stage_state_check CHECK ((state = ANY (ARRAY['planned'::text, 'started'::text, 'done'::text])))
);
ALTER TABLE stage ENABLE ROW LEVEL SECURITY;
ALTER TABLE stage FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON stage FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE ON stage TO toeboard_app;

CREATE TABLE stop_work (
  firm_id uuid NOT NULL,
  stop_id uuid NOT NULL,
  job_id uuid NOT NULL,
  reason text NOT NULL,
  by_person_id uuid NOT NULL,
  at timestamp with time zone NOT NULL,
  CONSTRAINT stop_work_pkey PRIMARY KEY (firm_id, stop_id),
  CONSTRAINT stop_work_firm_id_by_person_id_fkey FOREIGN KEY (firm_id, by_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT stop_work_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT stop_work_reason_check CHECK ((reason <> ''::text))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON stop_work FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON stop_work DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('stop_id');
ALTER TABLE stop_work ENABLE ROW LEVEL SECURITY;
ALTER TABLE stop_work FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON stop_work FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON stop_work TO toeboard_app;

CREATE TABLE stop_work_lift (
  firm_id uuid NOT NULL,
  stop_id uuid NOT NULL,
  by_person_id uuid NOT NULL,
  why text NOT NULL,
  at timestamp with time zone NOT NULL,
  CONSTRAINT stop_work_lift_pkey PRIMARY KEY (firm_id, stop_id),
  CONSTRAINT stop_work_lift_firm_id_by_person_id_fkey FOREIGN KEY (firm_id, by_person_id) REFERENCES person(firm_id, person_id),
  CONSTRAINT stop_work_lift_firm_id_stop_id_fkey FOREIGN KEY (firm_id, stop_id) REFERENCES stop_work(firm_id, stop_id),
  CONSTRAINT stop_work_lift_why_check CHECK ((why <> ''::text))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON stop_work_lift FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON stop_work_lift DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('stop_id');
CREATE TRIGGER stop_work_lift_other BEFORE INSERT ON stop_work_lift FOR EACH ROW EXECUTE FUNCTION stop_work_lifted_by_another();
ALTER TABLE stop_work_lift ENABLE ROW LEVEL SECURITY;
ALTER TABLE stop_work_lift FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON stop_work_lift FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON stop_work_lift TO toeboard_app;

CREATE TABLE survey_answer (
  firm_id uuid NOT NULL,
  answer_id uuid NOT NULL,
  job_id uuid NOT NULL,
  answers jsonb NOT NULL,
  given_by text NOT NULL,
  given_at timestamp with time zone NOT NULL,
  CONSTRAINT survey_answer_pkey PRIMARY KEY (firm_id, answer_id),
  CONSTRAINT survey_answer_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT survey_answer_answers_check CHECK ((jsonb_typeof(answers) = 'object'::text)),
  CONSTRAINT survey_answer_given_by_check CHECK ((given_by <> ''::text))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON survey_answer FOR EACH ROW EXECUTE FUNCTION record_is_kept();
CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON survey_answer DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN ((CURRENT_USER = 'toeboard_app'::name)) EXECUTE FUNCTION record_is_logged('answer_id');
ALTER TABLE survey_answer ENABLE ROW LEVEL SECURITY;
ALTER TABLE survey_answer FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON survey_answer FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON survey_answer TO toeboard_app;

CREATE TABLE travel_matrix (
  firm_id uuid NOT NULL,
  version integer NOT NULL,
  legs jsonb NOT NULL,
  set_by text NOT NULL,
  set_at timestamp with time zone NOT NULL,
  CONSTRAINT travel_matrix_pkey PRIMARY KEY (firm_id, version),
  CONSTRAINT travel_matrix_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT travel_matrix_legs_check CHECK ((jsonb_typeof(legs) = 'array'::text)),
  CONSTRAINT travel_matrix_set_by_check CHECK ((set_by <> ''::text)),
  CONSTRAINT travel_matrix_version_check CHECK ((version > 0))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON travel_matrix FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE travel_matrix ENABLE ROW LEVEL SECURITY;
ALTER TABLE travel_matrix FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON travel_matrix FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON travel_matrix TO toeboard_app;

CREATE TABLE visit (
  firm_id uuid NOT NULL,
  plan_id uuid NOT NULL,
  job_id uuid NOT NULL,
  stage_kind text NOT NULL,
  crew_id uuid,
  scaffold_firm_id uuid,
  half_days int4multirange NOT NULL,
  chance double precision,
  chance_basis text NOT NULL DEFAULT ''::text,
  indoors boolean NOT NULL,
  why text NOT NULL DEFAULT ''::text,
  CONSTRAINT visit_pkey PRIMARY KEY (firm_id, plan_id, job_id, stage_kind),
  CONSTRAINT visit_crew_double_booked EXCLUDE USING gist (firm_id WITH =, plan_id WITH =, crew_id WITH =, half_days WITH &&) WHERE ((crew_id IS NOT NULL)),
  CONSTRAINT visit_firm_id_crew_id_fkey FOREIGN KEY (firm_id, crew_id) REFERENCES crew(firm_id, crew_id),
  CONSTRAINT visit_firm_id_job_id_stage_kind_fkey FOREIGN KEY (firm_id, job_id, stage_kind) REFERENCES stage(firm_id, job_id, kind),
  CONSTRAINT visit_firm_id_plan_id_fkey FOREIGN KEY (firm_id, plan_id) REFERENCES plan(firm_id, plan_id),
  CONSTRAINT visit_firm_id_scaffold_firm_id_fkey FOREIGN KEY (firm_id, scaffold_firm_id) REFERENCES scaffold_firm(firm_id, scaffold_firm_id),
  CONSTRAINT visit_chance_check CHECK (((chance > (0)::double precision) AND (chance < (1)::double precision))),
  CONSTRAINT visit_check CHECK (((crew_id IS NULL) <> (scaffold_firm_id IS NULL))),
  CONSTRAINT visit_check1 CHECK (((stage_kind = ANY (ARRAY['scaffold_erection'::text, 'scaffold_strike'::text])) = (scaffold_firm_id IS NOT NULL))),
  CONSTRAINT visit_half_days_check CHECK ((NOT isempty(half_days)))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON visit FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE visit ENABLE ROW LEVEL SECURITY;
ALTER TABLE visit FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON visit FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON visit TO toeboard_app;

CREATE TABLE visit_event (
  firm_id uuid NOT NULL,
  crew_id uuid NOT NULL,
  job_id uuid NOT NULL,
  stage text NOT NULL,
  nth integer NOT NULL,
  first_half integer NOT NULL,
  last_half integer NOT NULL,
  off boolean NOT NULL DEFAULT false,
  sequence integer NOT NULL,
  changed_at timestamp with time zone NOT NULL,
  CONSTRAINT visit_event_pkey PRIMARY KEY (firm_id, crew_id, job_id, stage, nth),
  CONSTRAINT visit_event_firm_id_crew_id_fkey FOREIGN KEY (firm_id, crew_id) REFERENCES crew(firm_id, crew_id),
  CONSTRAINT visit_event_firm_id_job_id_fkey FOREIGN KEY (firm_id, job_id) REFERENCES job(firm_id, job_id),
  CONSTRAINT visit_event_nth_check CHECK ((nth > 0)),
  CONSTRAINT visit_event_sequence_check CHECK ((sequence >= 0)),
  CONSTRAINT visit_event_within_a_day CHECK (((last_half >= first_half) AND ((last_half / 2) = (first_half / 2))))
);
CREATE TRIGGER visit_event_sequence_rises BEFORE UPDATE ON visit_event FOR EACH ROW EXECUTE FUNCTION visit_event_sequence_rises();
ALTER TABLE visit_event ENABLE ROW LEVEL SECURITY;
ALTER TABLE visit_event FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON visit_event FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT, UPDATE (changed_at), UPDATE (first_half), UPDATE (last_half), UPDATE (off), UPDATE (sequence) ON visit_event TO toeboard_app;

CREATE TABLE warning_answer (
  firm_id uuid NOT NULL,
  answer_id uuid NOT NULL,
  feed text NOT NULL,
  fetched_at timestamp with time zone NOT NULL,
  body bytea,
  CONSTRAINT warning_answer_pkey PRIMARY KEY (firm_id, answer_id),
  CONSTRAINT warning_answer_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT warning_answer_feed_check CHECK ((feed <> ''::text))
);
CREATE INDEX warning_answer_newest ON warning_answer USING btree (firm_id, feed, fetched_at DESC);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON warning_answer FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE warning_answer ENABLE ROW LEVEL SECURITY;
ALTER TABLE warning_answer FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON warning_answer FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON warning_answer TO toeboard_app;

CREATE TABLE weather_services (
  firm_id uuid NOT NULL,
  version integer NOT NULL,
  services text[] NOT NULL,
  together text NOT NULL,
  set_by text NOT NULL,
  set_at timestamp with time zone NOT NULL,
  why text NOT NULL,
  CONSTRAINT weather_services_pkey PRIMARY KEY (firm_id, version),
  CONSTRAINT weather_services_firm_id_fkey FOREIGN KEY (firm_id) REFERENCES firm(firm_id),
  CONSTRAINT weather_services_after_start CHECK ((version > 1)),
  CONSTRAINT weather_services_each_once CHECK ((((cardinality(services) >= 1) AND (cardinality(services) <= 8)) AND (array_ndims(services) = 1) AND each_once(services))),
  CONSTRAINT weather_services_how_known CHECK (((together = 'first'::text) OR ((together = 'worst'::text) AND (cardinality(services) > 1)))),
  CONSTRAINT weather_services_set_by_check CHECK ((set_by <> ''::text)),
  CONSTRAINT weather_services_why_check CHECK ((why <> ''::text))
);
CREATE TRIGGER record_is_kept BEFORE DELETE OR UPDATE ON weather_services FOR EACH ROW EXECUTE FUNCTION record_is_kept();
ALTER TABLE weather_services ENABLE ROW LEVEL SECURITY;
ALTER TABLE weather_services FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON weather_services FOR ALL TO PUBLIC USING ((firm_id = toeboard_firm())) WITH CHECK ((firm_id = toeboard_firm()));
GRANT INSERT, SELECT ON weather_services TO toeboard_app;

CREATE SCHEMA queue;
GRANT USAGE ON SCHEMA queue TO toeboard_app;
-- queue.river_job, made by River; GRANT DELETE, INSERT, SELECT, UPDATE TO toeboard_app;
-- queue.river_job_id_seq, made by River; GRANT USAGE TO toeboard_app;
-- queue.river_leader, made by River; GRANT DELETE, INSERT, SELECT, UPDATE TO toeboard_app;
-- queue.river_migration, made by River;
-- queue.river_notification, made by River; GRANT DELETE, INSERT, SELECT, UPDATE TO toeboard_app;
-- queue.river_notification_id_seq, made by River; GRANT USAGE TO toeboard_app;
-- queue.river_queue, made by River; GRANT DELETE, INSERT, SELECT, UPDATE TO toeboard_app;
