-- The log of a firm's safety records: each entry is one record as it was stored,
-- and a leaf of the firm's Merkle tree (RFC 6962, RFC 9162). Rows are only added.
--
-- hashes holds the hashes that became final with the entry, 32 bytes each: the
-- leaf's own, then those of the subtrees that it fills, from the leaf upwards.
-- With them a root or a proof of a million entries reads a few dozen rows.
CREATE TABLE record_entry (
  firm_id     uuid NOT NULL REFERENCES firm,
  seq         bigint NOT NULL CHECK (seq >= 0),
  kind        text NOT NULL CHECK (kind <> ''),        -- the table that holds the record
  record_key  text NOT NULL CHECK (record_key <> ''),  -- its key within the firm, columns joined by /
  job_id      uuid,                                    -- NULL = about no one job
  on_day      date,                                    -- NULL = about no one working day
  entry       text NOT NULL CHECK (entry <> ''),       -- the leaf's bytes: canonical JSON, RFC 8785
  hashes      bytea NOT NULL CHECK (length(hashes) >= 32 AND length(hashes) % 32 = 0),
  PRIMARY KEY (firm_id, seq)
);
CREATE INDEX record_entry_of ON record_entry (firm_id, kind, record_key, seq);
CREATE INDEX record_entry_job ON record_entry (firm_id, job_id, seq);

-- Entries are numbered from 0 without a gap. The primary key refuses a number
-- twice; this refuses one too far.
CREATE FUNCTION record_entry_follows() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NEW.seq > 0 AND NOT EXISTS (SELECT FROM record_entry e WHERE e.firm_id = NEW.firm_id AND e.seq = NEW.seq - 1) THEN
    RAISE EXCEPTION 'entry % does not follow the last one', NEW.seq
      USING ERRCODE = 'check_violation', CONSTRAINT = 'record_entry_follows';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER record_entry_follows BEFORE INSERT ON record_entry
  FOR EACH ROW EXECUTE FUNCTION record_entry_follows();

-- The keys that sign a firm's heads, each from when it was first used. seed is
-- the secret, where the installation keeps none outside the database.
CREATE TABLE record_signer (
  firm_id     uuid NOT NULL REFERENCES firm,
  public_key  text NOT NULL CHECK (public_key <> ''),  -- as C2SP signed-note writes it
  seed        bytea CHECK (length(seed) = 32),
  since       timestamptz NOT NULL,
  PRIMARY KEY (firm_id, public_key)
);

-- What the log was, signed: a C2SP checkpoint.
CREATE TABLE record_head (
  firm_id    uuid NOT NULL REFERENCES firm,
  size       bigint NOT NULL CHECK (size >= 0),
  signed_at  timestamptz NOT NULL,
  head       text NOT NULL CHECK (head <> ''),
  PRIMARY KEY (firm_id, size, signed_at)
);

DO $$
DECLARE t text;
BEGIN
  FOREACH t IN ARRAY ARRAY['record_entry', 'record_signer', 'record_head'] LOOP
    EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
    EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
    EXECUTE format('CREATE POLICY own_firm ON %I USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm())', t);
    EXECUTE format('GRANT SELECT, INSERT ON %I TO toeboard_app', t);
    EXECUTE format('CREATE TRIGGER record_is_kept BEFORE UPDATE OR DELETE ON %I FOR EACH ROW EXECUTE FUNCTION record_is_kept()', t);
  END LOOP;
END $$;

-- A record and its entry are one transaction: at its end the service must have
-- an entry for each record that it wrote. The arguments are the key's columns.
-- Whoever is not the service (an owner who restores a backup) is not held to it;
-- the check of the log against the tables is.
CREATE FUNCTION record_is_logged() RETURNS trigger LANGUAGE plpgsql AS $$
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
END $$;
CREATE FUNCTION keep_in_record(kept regclass, VARIADIC key text[]) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
  EXECUTE format('CREATE CONSTRAINT TRIGGER record_is_logged AFTER INSERT OR UPDATE ON %s DEFERRABLE INITIALLY DEFERRED
                  FOR EACH ROW WHEN (current_user = ''toeboard_app'') EXECUTE FUNCTION record_is_logged(%s)',
                 kept, (SELECT string_agg(quote_literal(k), ', ' ORDER BY n) FROM unnest(key) WITH ORDINALITY AS u (k, n)));
END $$;
REVOKE ALL ON FUNCTION keep_in_record(regclass, text[]) FROM PUBLIC;
SELECT keep_in_record('risk_assessment', 'assessment_id'),
       keep_in_record('assessment_approval', 'assessment_id', 'person_id'),
       keep_in_record('scaffold_report', 'report_id'),
       keep_in_record('scaffold_event', 'event_id'),
       keep_in_record('briefing', 'briefing_id'),
       keep_in_record('sign_off', 'sign_off_id'),
       keep_in_record('stop_work', 'stop_id'),
       keep_in_record('stop_work_lift', 'stop_id'),
       keep_in_record('decision', 'decision_id'),
       keep_in_record('competence', 'person_id', 'kind', 'valid_from');
