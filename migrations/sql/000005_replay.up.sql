-- What a plan comes to over the futures that were known when it was made, and
-- what it was chosen from. NULL = it was not replayed. It is part of the plan's
-- version: the service may write it with the plan and never change it, since the
-- right to update a plan names its columns.
ALTER TABLE plan ADD COLUMN replay jsonb
  CONSTRAINT plan_replay_is_whole CHECK (replay IS NULL OR jsonb_typeof(replay) = 'object' AND (replay ? 'replay' OR replay ? 'choice'));
