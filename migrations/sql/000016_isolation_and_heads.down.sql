DROP TABLE head_recipient;
DROP TRIGGER module_place_cleared_on_record ON module_place;
DROP FUNCTION module_place_cleared_on_record();
DROP TABLE module_clearance;
DROP TRIGGER record_is_logged ON sky_report;
DROP TRIGGER isolation_is_open ON job_record;
DROP FUNCTION isolation_is_open();
ALTER TABLE job_record DROP CONSTRAINT job_record_kind_known;
ALTER TABLE job_record ADD CONSTRAINT job_record_kind_known CHECK (kind IN
  ('weatherproof', 'electrical_test', 'isolation', 'isolation_end', 'near_miss', 'incident', 'notification')) NOT VALID;
