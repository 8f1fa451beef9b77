-- The gust at the working height [m/s] from which on a scaffold firm neither erects
-- nor strikes; not known = none of its own. It only tightens the firm's limits.
ALTER TABLE scaffold_firm ADD COLUMN gust_limit_ms double precision;
ALTER TABLE scaffold_firm ADD CONSTRAINT scaffold_firm_gust_limit CHECK (gust_limit_ms BETWEEN 1 AND 40);
