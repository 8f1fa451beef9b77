DROP TABLE daily_round;
DROP FUNCTION round_is_done_once();
