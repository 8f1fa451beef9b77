DROP SCHEMA queue CASCADE;
DROP TABLE plan_run;
DROP FUNCTION plan_run_has_ended();
