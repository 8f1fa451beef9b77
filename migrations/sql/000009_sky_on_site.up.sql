-- Why the firm changed its limits; '' in versions that were set before anybody
-- was asked.
ALTER TABLE limits ADD COLUMN why text NOT NULL DEFAULT '';

-- What people at a job saw and heard of the sky: thunder and lightning start the
-- thunder clock, a gust read there stands beside the forecast.
CREATE TABLE sky_report (
  firm_id        uuid NOT NULL,
  report_id      uuid NOT NULL,
  job_id         uuid NOT NULL,
  what           text NOT NULL,
  gust_ms        double precision,  -- the highest gust read
  at             timestamptz NOT NULL,
  by_person_id   uuid NOT NULL,
  recorded_at    timestamptz NOT NULL,
  PRIMARY KEY (firm_id, report_id),
  FOREIGN KEY (firm_id, job_id) REFERENCES job,
  FOREIGN KEY (firm_id, by_person_id) REFERENCES person,
  CONSTRAINT sky_report_kind_known CHECK (what IN ('thunder', 'lightning', 'gust')),
  CONSTRAINT sky_report_has_its_gust CHECK ((what = 'gust') = (gust_ms IS NOT NULL) AND coalesce(gust_ms >= 0 AND gust_ms < 100, true)),
  CONSTRAINT sky_report_has_been CHECK (at <= recorded_at)
);
CREATE INDEX sky_report_newest ON sky_report (firm_id, at DESC);

ALTER TABLE sky_report ENABLE ROW LEVEL SECURITY;
ALTER TABLE sky_report FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON sky_report USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm());
GRANT SELECT, INSERT ON sky_report TO toeboard_app;
CREATE TRIGGER record_is_kept BEFORE UPDATE OR DELETE ON sky_report FOR EACH ROW EXECUTE FUNCTION record_is_kept();
