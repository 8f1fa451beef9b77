package schedule_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/uuid"

	"toeboard/migrations/dbtest"
	"toeboard/schedule"
)

// Every pair of states through both tables, and through the trigger by plain
// SQL: what the program would refuse, the database refuses too.
func TestABookingsLifeIsTheSameInTheDatabase(t *testing.T) {
	s := newScene(t)
	db, ctx := s.db, t.Context()
	b := s.booked().ID
	for _, was := range schedule.BookingStates {
		for _, next := range schedule.BookingStates {
			var may bool
			if err := db.Owner.QueryRow(ctx, `SELECT booking_may_become($1, $2)`, string(was), string(next)).Scan(&may); err != nil {
				t.Fatal(err)
			}
			if may != was.MayBecome(next) {
				t.Errorf("%s to %s: the database says %t, the program %t", was, next, may, !may)
			}
			if err := forceState(t, db, b, was); err != nil {
				t.Fatal(err)
			}
			_, err := db.Owner.Exec(ctx, `UPDATE booking SET state = $2, offered_on = CASE $2 WHEN 'countered' THEN '2026-12-31'::date END WHERE booking_id = $1`, b, string(next))
			if (err == nil) != may || err != nil && !strings.Contains(err.Error(), "booking_life") && !strings.Contains(err.Error(), "cannot become") {
				t.Errorf("%s to %s by SQL: %v", was, next, err)
			}
		}
	}
	if schedule.BookingState("").MayBecome(schedule.BookingWanted) || schedule.BookingState("lost").Stands() {
		t.Error("an unknown state may become something, or stands")
	}
	for name, sql := range map[string]string{
		"a booking that begins confirmed": `INSERT INTO booking SELECT firm_id, gen_random_uuid(), job_id, scaffold_firm_id, 'x@y', 'confirmed', '2027-06-01', '2027-06-02', 0, NULL, now() FROM booking LIMIT 1`,
		"a step that does not follow":     `INSERT INTO booking_version (firm_id, booking_id, version, sequence, state, erect_on, strike_on, why, changed_by, changed_at) SELECT firm_id, booking_id, 99, 9, 'inspected', erect_on, strike_on, 'x', 'x', now() FROM booking LIMIT 1`,
		"an unknown way":                  `INSERT INTO booking_version (firm_id, booking_id, version, sequence, state, erect_on, strike_on, why, changed_by, how, changed_at) SELECT firm_id, booking_id, 99, 9, 'wanted', erect_on, strike_on, 'x', 'x', 'rumour', now() FROM booking LIMIT 1`,
		"a step that is changed":          `UPDATE booking_version SET how = 'mail'`,
		"a step that is removed":          `DELETE FROM booking_version`,
		"a message that is changed":       `UPDATE message_try SET says = 'x'`,
		"a sent message without its time": `UPDATE message SET state = 'sent', sent_at = NULL`,
		"a message to nobody":             `INSERT INTO message SELECT firm_id, gen_random_uuid(), kind, topic, 77, to_name, '', mail_id, reply_token, letter, calendar, caused_by, written_at, not_before, 'waiting' FROM message LIMIT 1`,
		"the same change told twice":      `INSERT INTO message SELECT firm_id, gen_random_uuid(), kind, topic, sequence, to_name, to_address, mail_id, reply_token, letter, calendar, caused_by, written_at, not_before, 'waiting' FROM message LIMIT 1`,
		"quiet hours of another world":    `UPDATE firm SET quiet_from = 1500`,
	} {
		if _, err := db.Owner.Exec(ctx, `INSERT INTO message_try SELECT firm_id, message_id, 1, 'begun', now(), 'test' FROM message ON CONFLICT DO NOTHING`); err != nil {
			t.Fatal(err)
		}
		if _, err := db.Owner.Exec(ctx, sql); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
	// What a message says is out of the service's reach.
	if _, err := db.App.Exec(ctx, `UPDATE message SET letter = '{}'`); err == nil {
		t.Error("the service may change what a message says")
	}
}

func forceState(t *testing.T, db *dbtest.DB, booking uuid.UUID, st schedule.BookingState) error {
	offered := "NULL"
	if st == schedule.BookingCountered {
		offered = "'2026-12-31'"
	}
	_, err := db.Owner.Exec(t.Context(), fmt.Sprintf(`
		ALTER TABLE booking DISABLE TRIGGER booking_life;
		UPDATE booking SET state = '%s', offered_on = %s WHERE booking_id = '%s';
		ALTER TABLE booking ENABLE TRIGGER booking_life`, string(st), offered, booking))
	return err
}
