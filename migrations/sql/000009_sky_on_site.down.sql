DROP TABLE sky_report;
ALTER TABLE limits DROP COLUMN why;
