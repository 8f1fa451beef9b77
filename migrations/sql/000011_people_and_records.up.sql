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
