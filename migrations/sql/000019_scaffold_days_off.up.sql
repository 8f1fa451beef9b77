-- The weekdays on which a scaffold firm's gangs do not work: Monday 1, Tuesday 2,
-- Wednesday 4, Thursday 8, Friday 16, added up. One day at least is left.
ALTER TABLE scaffold_firm ADD COLUMN days_off smallint NOT NULL DEFAULT 0;
ALTER TABLE scaffold_firm ADD CONSTRAINT scaffold_firm_works_some_day CHECK (days_off BETWEEN 0 AND 30);
