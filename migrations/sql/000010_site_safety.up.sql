-- What a firm sets beside the hazards that the service comes with, as versions:
-- its own hazards, overrides with their reasons, the gust after which a scaffold
-- is inspected again. While there is no row, the service's library is in force.
CREATE TABLE firm_hazards (
  firm_id  uuid NOT NULL REFERENCES firm,
  version  integer NOT NULL CHECK (version > 0),
  body     jsonb NOT NULL CHECK (jsonb_typeof(body) = 'object'),  -- safety.FirmHazards
  why      text NOT NULL CHECK (why <> ''),
  set_by   text NOT NULL CHECK (set_by <> ''),
  set_at   timestamptz NOT NULL,
  PRIMARY KEY (firm_id, version)
);

-- Photos of a job. The sum is of the bytes that are kept: one that does not fit
-- them is refused, so that an assessment can name a photo by its sum.
CREATE TABLE photo (
  firm_id     uuid NOT NULL,
  photo_id    uuid NOT NULL,
  job_id      uuid NOT NULL,
  sha256      bytea NOT NULL,
  media_type  text NOT NULL,
  body        bytea NOT NULL,
  taken_by    text NOT NULL CHECK (taken_by <> ''),
  kept_at     timestamptz NOT NULL,
  PRIMARY KEY (firm_id, photo_id),
  FOREIGN KEY (firm_id, job_id) REFERENCES job,
  CONSTRAINT photo_kind_known CHECK (media_type IN ('image/jpeg', 'image/png', 'image/webp')),
  CONSTRAINT photo_is_bounded CHECK (length(body) BETWEEN 1 AND 6291456),
  CONSTRAINT photo_fits_its_sum CHECK (sha256 = sha256(body))
);

-- A hazard that somebody saw at one job, or more controls for one of the library.
-- It holds until a row of site_hazard_removal takes it away.
CREATE TABLE site_hazard (
  firm_id         uuid NOT NULL,
  site_hazard_id  uuid NOT NULL,
  job_id          uuid NOT NULL,
  no              integer NOT NULL CHECK (no > 0),  -- S1, S2, ... of the job
  body            jsonb NOT NULL CHECK (jsonb_typeof(body) = 'object'),
  photo_id        uuid,
  photo_sum       bytea CHECK (length(photo_sum) = 32),
  recorded_by     text NOT NULL CHECK (recorded_by <> ''),
  recorded_at     timestamptz NOT NULL,
  PRIMARY KEY (firm_id, site_hazard_id),
  FOREIGN KEY (firm_id, job_id) REFERENCES job,
  FOREIGN KEY (firm_id, photo_id) REFERENCES photo (firm_id, photo_id),
  CONSTRAINT site_hazard_once UNIQUE (firm_id, job_id, no),
  CONSTRAINT site_hazard_has_its_photo CHECK ((photo_id IS NULL) = (photo_sum IS NULL))
);

CREATE TABLE site_hazard_removal (
  firm_id         uuid NOT NULL,
  site_hazard_id  uuid NOT NULL,
  why             text NOT NULL CHECK (why <> ''),
  removed_by      text NOT NULL CHECK (removed_by <> ''),
  removed_at      timestamptz NOT NULL,
  PRIMARY KEY (firm_id, site_hazard_id),
  FOREIGN KEY (firm_id, site_hazard_id) REFERENCES site_hazard
);

-- Who answered which questions about a job's site: the facts stand in site.
CREATE TABLE survey_answer (
  firm_id    uuid NOT NULL,
  answer_id  uuid NOT NULL,
  job_id     uuid NOT NULL,
  answers    jsonb NOT NULL CHECK (jsonb_typeof(answers) = 'object'),  -- null = not known any more
  given_by   text NOT NULL CHECK (given_by <> ''),
  given_at   timestamptz NOT NULL,
  PRIMARY KEY (firm_id, answer_id),
  FOREIGN KEY (firm_id, job_id) REFERENCES job
);

-- What a handover certificate says beyond the particulars of every report.
CREATE TABLE scaffold_handover (
  firm_id      uuid NOT NULL,
  report_id    uuid NOT NULL,
  design_ref   text NOT NULL CHECK (design_ref <> ''),  -- design drawing or compliance sheet
  lifts        integer NOT NULL,
  ties         text NOT NULL CHECK (ties <> ''),        -- "none, free-standing" is stated
  received_by  text NOT NULL CHECK (received_by <> ''),
  PRIMARY KEY (firm_id, report_id),
  FOREIGN KEY (firm_id, report_id) REFERENCES scaffold_report,
  CONSTRAINT scaffold_handover_lifts CHECK (lifts BETWEEN 1 AND 50)
);

-- What was done about a report's findings. It does not make the scaffold fit:
-- only a later inspection does.
CREATE TABLE scaffold_remedy (
  firm_id      uuid NOT NULL,
  remedy_id    uuid NOT NULL,
  report_id    uuid NOT NULL,
  done         text NOT NULL CHECK (done <> ''),
  done_by      text NOT NULL CHECK (done_by <> ''),
  done_at      timestamptz NOT NULL,
  recorded_by  text NOT NULL CHECK (recorded_by <> ''),
  recorded_at  timestamptz NOT NULL,
  PRIMARY KEY (firm_id, remedy_id),
  FOREIGN KEY (firm_id, report_id) REFERENCES scaffold_report,
  CONSTRAINT scaffold_remedy_has_been CHECK (done_at <= recorded_at)
);

-- That a report was given to whom it was made for, which the law bounds in time.
CREATE TABLE scaffold_report_delivery (
  firm_id       uuid NOT NULL,
  report_id     uuid NOT NULL,
  given_to      text NOT NULL CHECK (given_to <> ''),
  delivered_at  timestamptz NOT NULL,
  recorded_by   text NOT NULL CHECK (recorded_by <> ''),
  recorded_at   timestamptz NOT NULL,
  PRIMARY KEY (firm_id, report_id),
  FOREIGN KEY (firm_id, report_id) REFERENCES scaffold_report,
  CONSTRAINT scaffold_delivery_has_been CHECK (delivered_at <= recorded_at)
);

DO $$
DECLARE t text;
BEGIN
  FOREACH t IN ARRAY ARRAY['firm_hazards', 'photo', 'site_hazard', 'site_hazard_removal', 'survey_answer', 'scaffold_handover', 'scaffold_remedy',
                           'scaffold_report_delivery'] LOOP
    EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
    EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
    EXECUTE format('CREATE POLICY own_firm ON %I USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm())', t);
    EXECUTE format('GRANT SELECT, INSERT ON %I TO toeboard_app', t);
    EXECUTE format('CREATE TRIGGER record_is_kept BEFORE UPDATE OR DELETE ON %I FOR EACH ROW EXECUTE FUNCTION record_is_kept()', t);
  END LOOP;
END $$;

-- These are records of the log. A photo is not: what names it holds its sum.
SELECT keep_in_record('firm_hazards', 'version'),
       keep_in_record('site_hazard', 'site_hazard_id'),
       keep_in_record('site_hazard_removal', 'site_hazard_id'),
       keep_in_record('survey_answer', 'answer_id'),
       keep_in_record('scaffold_handover', 'report_id'),
       keep_in_record('scaffold_remedy', 'remedy_id'),
       keep_in_record('scaffold_report_delivery', 'report_id');
