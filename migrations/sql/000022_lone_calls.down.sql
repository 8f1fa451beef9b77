DROP TABLE lone_call;
DROP INDEX check_in_day;
ALTER TABLE check_in DROP COLUMN email, DROP COLUMN from_at;
