-- A run is one search for a plan: asked for by somebody, made by a worker. The
-- row is what everybody sees of it; the queue's job beside it only wakes a
-- worker.
--
-- asked_at, began_at and ended_at are the service's clock. heartbeat_at and
-- looked_at are the database's: workers on several machines compare them.
CREATE TABLE plan_run (
  firm_id       uuid NOT NULL REFERENCES firm,
  run_id        uuid NOT NULL,
  state         text NOT NULL CHECK (state IN ('waiting', 'running', 'done', 'failed', 'stopped')),
  asked_by      text NOT NULL CHECK (asked_by <> ''),
  asked_at      timestamptz NOT NULL,
  why           text NOT NULL DEFAULT '',   -- what it was asked for, in the asker's words
  aim           text NOT NULL CHECK (aim <> ''),
  seed          bigint NOT NULL,
  schedules     integer NOT NULL CHECK (schedules > 0),          -- the search's budget
  workers       integer NOT NULL CHECK (workers BETWEEN 1 AND 64),  -- searches side by side
  takes         integer NOT NULL DEFAULT 0 CHECK (takes >= 0),   -- how often a worker took it up; only the last one may write
  losses        integer NOT NULL DEFAULT 0 CHECK (losses >= 0),  -- how often that worker was lost in the middle
  generated     integer NOT NULL DEFAULT 0 CHECK (generated >= 0),  -- schedules so far
  best_pence    bigint,                     -- cost of the best plan so far; NULL = none yet
  bound_pence   bigint,                     -- no plan costs less; NULL = nothing is proven
  began_at      timestamptz,                -- when the last worker took it up
  heartbeat_at  timestamptz,                -- when that worker last wrote
  looked_at     timestamptz NOT NULL,       -- when somebody last looked at it
  stop_by       text,                       -- who wants it stopped
  stop_keep     boolean NOT NULL DEFAULT false,  -- and the best plan so far kept as a draft
  ended_at      timestamptz,
  plan_id       uuid,                       -- the draft it made
  reason        text NOT NULL DEFAULT '',   -- why it failed or was stopped
  PRIMARY KEY (firm_id, run_id),
  FOREIGN KEY (firm_id, plan_id) REFERENCES plan,
  CONSTRAINT plan_run_ends_once CHECK ((state IN ('done', 'failed', 'stopped')) = (ended_at IS NOT NULL)),
  CONSTRAINT plan_run_done_has_its_plan CHECK (state <> 'done' OR plan_id IS NOT NULL),
  CONSTRAINT plan_run_plan_comes_last CHECK (plan_id IS NULL OR state IN ('done', 'stopped')),
  CONSTRAINT plan_run_says_why CHECK ((state IN ('failed', 'stopped')) = (reason <> '')),
  CONSTRAINT plan_run_runs_in_a_worker CHECK (state <> 'running' OR (takes > 0 AND began_at IS NOT NULL AND heartbeat_at IS NOT NULL))
);

-- Two people who press at once get one run.
CREATE UNIQUE INDEX plan_run_one_at_a_time ON plan_run (firm_id) WHERE state IN ('waiting', 'running');
CREATE UNIQUE INDEX plan_run_one_for_a_plan ON plan_run (firm_id, plan_id) WHERE plan_id IS NOT NULL;

-- What a run came to stays; that somebody looks at it later changes nothing.
CREATE FUNCTION plan_run_has_ended() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION 'the run has ended'
    USING ERRCODE = 'check_violation', CONSTRAINT = 'plan_run_has_ended';
END $$;
CREATE TRIGGER plan_run_has_ended
  BEFORE UPDATE OF state, takes, losses, generated, best_pence, bound_pence, began_at, heartbeat_at, stop_by, stop_keep, ended_at, plan_id, reason ON plan_run
  FOR EACH ROW WHEN (OLD.ended_at IS NOT NULL) EXECUTE FUNCTION plan_run_has_ended();

ALTER TABLE plan_run ENABLE ROW LEVEL SECURITY;
ALTER TABLE plan_run FORCE ROW LEVEL SECURITY;
CREATE POLICY own_firm ON plan_run USING (firm_id = toeboard_firm()) WITH CHECK (firm_id = toeboard_firm());
GRANT SELECT, INSERT ON plan_run TO toeboard_app;
-- What was asked for never changes.
GRANT UPDATE (state, takes, losses, generated, best_pence, bound_pence, began_at, heartbeat_at, looked_at, stop_by, stop_keep, ended_at, plan_id, reason)
  ON plan_run TO toeboard_app;

-- The queue's tables are River's own, made by its migrations right after these
-- files (queue.go). They stand in a schema of their own and know no firm, so no
-- policy can hold them apart: a job names identifiers only, and a worker reads
-- the rest as that firm.
CREATE SCHEMA queue;
GRANT USAGE ON SCHEMA queue TO toeboard_app;
