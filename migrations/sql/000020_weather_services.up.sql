-- Which weather services a firm's forecasts come from, in which order they are
-- asked and what is made of several answers, as versions: the newest is in force.
-- Version 1 is what the program starts a firm with, and has no row.
CREATE FUNCTION each_once(list text[]) RETURNS boolean LANGUAGE sql IMMUTABLE
  AS $$ SELECT count(*) = count(DISTINCT nullif(btrim(x), '')) FROM unnest(list) AS x $$;

CREATE TABLE weather_services (
  firm_id   uuid NOT NULL REFERENCES firm,
  version   integer NOT NULL,
  services  text[] NOT NULL,
  together  text NOT NULL,
  set_by    text NOT NULL CHECK (set_by <> ''),
  set_at    timestamptz NOT NULL,
  why       text NOT NULL CHECK (why <> ''),
  PRIMARY KEY (firm_id, version),
  CONSTRAINT weather_services_after_start CHECK (version > 1),
  CONSTRAINT weather_services_each_once CHECK (cardinality(services) BETWEEN 1 AND 8 AND array_ndims(services) = 1 AND each_once(services)),
  CONSTRAINT weather_services_how_known CHECK (together = 'first' OR together = 'worst' AND cardinality(services) > 1)
);
ALTER TABLE weather_services ENABLE ROW LEVEL SECURITY;
ALTER TABLE weather_services FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON weather_services USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm());
GRANT SELECT, INSERT ON weather_services TO toeboard_app;
CREATE TRIGGER record_is_kept BEFORE UPDATE OR DELETE ON weather_services FOR EACH ROW EXECUTE FUNCTION record_is_kept();

-- Each service's newest answer about a site is one look.
CREATE INDEX forecast_newest_of ON forecast (firm_id, site_id, provider, fetched_at DESC);
