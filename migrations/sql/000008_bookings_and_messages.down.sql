DROP TABLE handover_file, mail_received, booking_token, message_try, message;
ALTER TABLE firm DROP COLUMN quiet_from, DROP COLUMN quiet_to;
DROP TRIGGER booking_version_follows ON booking_version;
DROP TRIGGER booking_life ON booking;
DROP FUNCTION booking_version_follows(), booking_life(), booking_may_become(text, text);
ALTER TABLE booking_version DROP COLUMN how, DROP COLUMN offered_on;
ALTER TABLE booking NO FORCE ROW LEVEL SECURITY;
UPDATE booking SET state = 'erected' WHERE state IN ('inspected', 'off_hire');
UPDATE booking SET state = 'wanted' WHERE state = 'refused';
ALTER TABLE booking FORCE ROW LEVEL SECURITY;
ALTER TABLE booking DROP CONSTRAINT booking_state_check;
ALTER TABLE booking ADD CONSTRAINT booking_state_check CHECK (state IN (
  'wanted', 'sent', 'confirmed', 'countered', 'erected', 'struck', 'cancelled'));
