DROP TABLE module_place, fitness, job_record, rule_exception, own_rule;
DROP FUNCTION rule_exception_by_the_named;
ALTER TABLE sign_off DROP COLUMN proof, DROP COLUMN drawing, DROP COLUMN on_phone_of, DROP COLUMN given_for;
DROP TABLE signing_pin;
