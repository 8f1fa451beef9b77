DROP TABLE crew_link, visit_event;
DROP FUNCTION visit_event_sequence_rises();
