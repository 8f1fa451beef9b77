ALTER TABLE scaffold_firm DROP COLUMN days_off;
