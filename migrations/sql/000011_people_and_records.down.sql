ALTER TABLE sign_off DROP COLUMN proof, DROP COLUMN drawing, DROP COLUMN on_phone_of, DROP COLUMN given_for;
DROP TABLE signing_pin;
