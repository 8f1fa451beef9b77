ALTER TABLE scaffold_firm DROP COLUMN gust_limit_ms;
