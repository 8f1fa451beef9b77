package schedule

import (
	"context"
	"fmt"
	"reflect"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Bookings gives every booking of the firm by erect day, cancelled and struck
// ones as well.
func (s *Store) Bookings(ctx context.Context, firm uuid.UUID) ([]Booking, error) {
	return s.bookings(ctx, firm, whichBookings{})
}

// BookingsOf gives every booking of one scaffold firm by erect day.
func (s *Store) BookingsOf(ctx context.Context, firm, scaffoldFirm uuid.UUID) ([]Booking, error) {
	return s.bookings(ctx, firm, whichBookings{scaffoldFirm: scaffoldFirm})
}

func (s *Store) bookings(ctx context.Context, firm uuid.UUID, which whichBookings) ([]Booking, error) {
	var all []Booking
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		all, err = readBookings(ctx, tx, firm, which)
		return err
	})
	return all, err
}

// whichBookings narrows what is read; zero = all.
type whichBookings struct {
	id, job, scaffoldFirm uuid.UUID
	live                  bool
}

type bookingRow struct {
	BookingID, JobID, ScaffoldFirmID uuid.UUID
	UID, State                       string
	ErectOn, StrikeOn, OfferedOn     civil.Date
	Sequence                         int
	ChangedAt                        time.Time
}

func readBookings(ctx context.Context, tx pgx.Tx, firm uuid.UUID, which whichBookings) ([]Booking, error) {
	rows, err := tx.Query(ctx, `
		SELECT booking_id, job_id, scaffold_firm_id, uid, state, erect_on, strike_on, offered_on, sequence, changed_at
		FROM booking
		WHERE firm_id = $1 AND ($2::uuid IS NULL OR booking_id = $2) AND ($3::uuid IS NULL OR job_id = $3)
		  AND ($4::uuid IS NULL OR scaffold_firm_id = $4) AND (NOT $5 OR state NOT IN ('struck', 'cancelled'))
		ORDER BY erect_on, uid COLLATE "C"`, firm, orNull(which.id), orNull(which.job), orNull(which.scaffoldFirm), which.live)
	if err != nil {
		return nil, fmt.Errorf("read the bookings: %w", err)
	}
	found, err := pgx.CollectRows(rows, pgx.RowToStructByName[bookingRow])
	if err != nil {
		return nil, fmt.Errorf("read the bookings: %w", err)
	}
	var all []Booking
	for _, r := range found {
		all = append(all, Booking{ID: r.BookingID, Job: r.JobID, ScaffoldFirm: r.ScaffoldFirmID, UID: r.UID, State: BookingState(r.State),
			ErectOn: r.ErectOn, StrikeOn: r.StrikeOn, Sequence: r.Sequence, OfferedOn: r.OfferedOn, ChangedAt: r.ChangedAt.UTC()})
	}
	return all, nil
}

// Booking gives one booking.
func (s *Store) Booking(ctx context.Context, firm, id uuid.UUID) (Booking, error) {
	var b Booking
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		b, err = readBooking(ctx, tx, firm, id)
		return err
	})
	return b, err
}

func readBooking(ctx context.Context, tx pgx.Tx, firm, id uuid.UUID) (Booking, error) {
	found, err := readBookings(ctx, tx, firm, whichBookings{id: id})
	switch {
	case err != nil:
		return Booking{}, err
	case len(found) == 0:
		return Booking{}, fault.Missing("booking", id.String())
	}
	return found[0], nil
}

// BookingVersion is what a booking once was, and why it became so.
type BookingVersion struct {
	Version   int
	Sequence  int
	State     BookingState
	ErectOn   civil.Date
	StrikeOn  civil.Date
	OfferedOn civil.Date // the day that the scaffold firm offered; NoDate = none
	How       How        // by which way the step came
	Plan      uuid.UUID  // whose publishing made it; uuid.Nil = no plan did
	Why       string     // one sentence
	ChangedBy string
	ChangedAt time.Time // UTC
}

type versionRow struct {
	Version, Sequence int
	State             string
	ErectOn, StrikeOn civil.Date
	OfferedOn         civil.Date
	PlanID            *uuid.UUID
	Why, ChangedBy    string
	How               string
	ChangedAt         time.Time
}

// BookingHistory gives every version of one booking, the oldest first.
func (s *Store) BookingHistory(ctx context.Context, firm, id uuid.UUID) ([]BookingVersion, error) {
	var all []BookingVersion
	err := s.read(ctx, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT version, sequence, state, erect_on, strike_on, offered_on, plan_id, why, changed_by, how, changed_at
			FROM booking_version WHERE firm_id = $1 AND booking_id = $2 ORDER BY version`, firm, id)
		if err != nil {
			return fmt.Errorf("read a booking's history: %w", err)
		}
		found, err := pgx.CollectRows(rows, pgx.RowToStructByName[versionRow])
		if err != nil {
			return fmt.Errorf("read a booking's history: %w", err)
		}
		for _, r := range found {
			all = append(all, BookingVersion{Version: r.Version, Sequence: r.Sequence, State: BookingState(r.State), ErectOn: r.ErectOn,
				StrikeOn: r.StrikeOn, OfferedOn: r.OfferedOn, How: How(r.How), Plan: orNil(r.PlanID), Why: r.Why, ChangedBy: r.ChangedBy, ChangedAt: r.ChangedAt.UTC()})
		}
		if len(all) == 0 {
			return fault.Missing("booking", id.String())
		}
		return nil
	})
	return all, err
}

// readRefused gives the days from today on that scaffold firms refused for open
// jobs.
func readRefused(ctx context.Context, tx pgx.Tx, firm uuid.UUID, today civil.Date) ([]RefusedDay, error) {
	rows, err := tx.Query(ctx, `
		SELECT b.job_id, b.scaffold_firm_id, v.state, v.erect_on, v.offered_on
		FROM booking_version v JOIN booking b USING (firm_id, booking_id) JOIN job j USING (firm_id, job_id)
		WHERE firm_id = $1 AND j.state = 'open' AND v.state IN ('countered', 'refused', 'confirmed', 'erected')
		  AND (v.erect_on >= $2 OR v.offered_on >= $2)
		ORDER BY v.changed_at, b.booking_id, v.version`, firm, today)
	if err != nil {
		return nil, fmt.Errorf("read the refused days: %w", err)
	}
	steps, err := pgx.CollectRows(rows, pgx.RowToStructByPos[bookingStep])
	if err != nil {
		return nil, fmt.Errorf("read the refused days: %w", err)
	}
	return refusedDays(steps, today), nil
}

// writeChange writes one change and its version. A booking that is no longer
// what the change was made from is a conflict.
func writeChange(ctx context.Context, tx pgx.Tx, firm uuid.UUID, c BookingChange, plan uuid.UUID, by string) error {
	a := c.After
	if err := c.steps(); err != nil {
		return err
	}
	if c.Before == nil {
		_, err := tx.Exec(ctx, `
			INSERT INTO booking (firm_id, booking_id, job_id, scaffold_firm_id, uid, state, erect_on, strike_on, sequence, offered_on, changed_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`,
			firm, a.ID, a.Job, a.ScaffoldFirm, a.UID, a.State, a.ErectOn, a.StrikeOn, a.Sequence, a.OfferedOn, a.ChangedAt)
		if err != nil {
			return fmt.Errorf("book a scaffold: %w", err)
		}
	} else {
		tag, err := tx.Exec(ctx, `
			UPDATE booking SET state = $3, erect_on = $4, strike_on = $5, sequence = $6, offered_on = $7, changed_at = $8
			WHERE firm_id = $1 AND booking_id = $2 AND sequence = $9 AND state = $10 AND changed_at = $11`,
			firm, a.ID, a.State, a.ErectOn, a.StrikeOn, a.Sequence, a.OfferedOn, a.ChangedAt,
			c.Before.Sequence, c.Before.State, c.Before.ChangedAt)
		if err != nil {
			return fmt.Errorf("change a booking: %w", err)
		}
		if tag.RowsAffected() == 0 {
			return fault.Changed("booking", a.ID.String(), "it changed at the same moment: look again")
		}
	}
	at, how := c.At, c.How
	if at.IsZero() {
		at = a.ChangedAt
	}
	if how == "" {
		how = ByOffice
	}
	_, err := tx.Exec(ctx, `
		INSERT INTO booking_version (firm_id, booking_id, version, sequence, state, erect_on, strike_on, offered_on, plan_id, why, changed_by, how, changed_at)
		SELECT $1, $2, 1 + coalesce(max(version), 0), $3, $4, $5, $6, $7, $8, $9, $10, $11, $12
		FROM booking_version WHERE firm_id = $1 AND booking_id = $2`,
		firm, a.ID, a.Sequence, a.State, a.ErectOn, a.StrikeOn, a.OfferedOn, orNull(plan), c.Why, by, how, at)
	if err != nil {
		return fmt.Errorf("keep a booking's history: %w", err)
	}
	return nil
}

// Answer is what a scaffold firm says to a booking: it confirms the days, it
// cannot do them, or it offers another day to erect.
type Answer struct {
	Confirm   bool
	Refuse    bool       // the day cannot be done, and no other is offered
	OfferedOn civil.Date // when neither Confirm nor Refuse
	How       How        // by which way it came; "" = the office took it down
}

// repeated tells whether a booking stands as this answer would leave it.
func (a Answer) repeated(b Booking) bool {
	switch {
	case a.Confirm:
		return b.State == BookingConfirmed
	case a.Refuse:
		return b.State == BookingRefused
	default:
		return b.State == BookingCountered && b.OfferedOn == a.OfferedOn
	}
}

// AnswerBooking records a scaffold firm's answer to the booking as it saw it:
// seen is the sequence it saw, and another one is a conflict. The same answer
// again, to the same days, changes nothing.
func (s *Store) AnswerBooking(ctx context.Context, firm, id uuid.UUID, seen int, a Answer, by string, now time.Time) (Booking, error) {
	return s.changeBooking(ctx, firm, id, by, a.How, func(tx pgx.Tx, b Booking) (BookingChange, error) {
		repeated := a.repeated(b)
		if a.How == ByMail && seen < b.Sequence { // a calendar knows only the versions that it was sent: the days are what counts
			same, err := sawDays(ctx, tx, firm, b, seen)
			if err != nil {
				return BookingChange{}, err
			}
			if same {
				seen = b.Sequence
			}
		}
		if b.Sequence != seen && repeated {
			var err error
			if repeated, err = sawDays(ctx, tx, firm, b, seen); err != nil {
				return BookingChange{}, err
			}
		}
		if b.Sequence != seen && !repeated {
			return BookingChange{}, fault.Changed("booking", b.Days(), "it changed since you looked: it is now "+b.Days()+", "+b.State.String())
		}
		switch {
		case a.Confirm:
			return b.Confirmed(now)
		case a.Refuse:
			return b.Refused(now)
		}
		today, err := todayOf(ctx, tx, firm, now)
		if err != nil {
			return BookingChange{}, err
		}
		holidays, err := readHolidays(ctx, tx, firm)
		if err != nil {
			return BookingChange{}, err
		}
		off, err := daysOffOf(ctx, tx, firm, b.ScaffoldFirm)
		if err != nil {
			return BookingChange{}, err
		}
		return b.Countered(a.OfferedOn, today, holidays, off, now)
	})
}

// AcceptOffer records that the office takes the day that a scaffold firm
// offers: the booking is confirmed for it, in the name of whoever took it. seen
// and offered are the booking's sequence and the offer as they were seen; others
// are a conflict. The same again changes nothing.
func (s *Store) AcceptOffer(ctx context.Context, firm, id uuid.UUID, seen int, offered civil.Date, by string, now time.Time) (Booking, error) {
	return s.tellChange(ctx, firm, id, by, now, func(tx pgx.Tx, b Booking) (BookingChange, error) {
		again := b.State == BookingConfirmed && b.ErectOn == offered && b.Sequence == seen+1
		if b.Sequence != seen && !again {
			return BookingChange{}, fault.Changed("booking", b.Days(), "it changed since you looked: it is now "+b.Days()+", "+b.State.String())
		}
		today, err := todayOf(ctx, tx, firm, now)
		if err != nil {
			return BookingChange{}, err
		}
		holidays, err := readHolidays(ctx, tx, firm)
		if err != nil {
			return BookingChange{}, err
		}
		off, err := daysOffOf(ctx, tx, firm, b.ScaffoldFirm)
		if err != nil {
			return BookingChange{}, err
		}
		return b.Accepted(offered, today, holidays, off, now)
	})
}

func daysOffOf(ctx context.Context, tx pgx.Tx, firm, scaffoldFirm uuid.UUID) (off Weekdays, err error) {
	if err = tx.QueryRow(ctx, `SELECT days_off FROM scaffold_firm WHERE firm_id = $1 AND scaffold_firm_id = $2`, firm, scaffoldFirm).Scan(&off); err != nil {
		return 0, fmt.Errorf("read a scaffold firm's days off: %w", err)
	}
	return off, nil
}

// sawDays tells whether the booking had the days that it has now when it was
// seen.
func sawDays(ctx context.Context, tx pgx.Tx, firm uuid.UUID, b Booking, seen int) (same bool, err error) {
	err = tx.QueryRow(ctx, `
		SELECT EXISTS (SELECT FROM booking_version
		WHERE firm_id = $1 AND booking_id = $2 AND sequence = $3 AND erect_on = $4 AND strike_on = $5)`,
		firm, b.ID, seen, b.ErectOn, b.StrikeOn).Scan(&same)
	if err != nil {
		return false, fmt.Errorf("read a booking's history: %w", err)
	}
	return same, nil
}

// MarkErected records that a booking's scaffold went up on a day, and the
// job's stage with it.
func (s *Store) MarkErected(ctx context.Context, firm, id uuid.UUID, on civil.Date, by string, how How, now time.Time) (Booking, error) {
	return s.markStage(ctx, firm, id, ScaffoldErection, on, by, how, now)
}

// MarkStruck records that a booking's scaffold came down on a day, and the
// job's stage with it.
func (s *Store) MarkStruck(ctx context.Context, firm, id uuid.UUID, on civil.Date, by string, how How, now time.Time) (Booking, error) {
	return s.markStage(ctx, firm, id, ScaffoldStrike, on, by, how, now)
}

func (s *Store) markStage(ctx context.Context, firm, id uuid.UUID, k StageKind, on civil.Date, by string, how How, now time.Time) (Booking, error) {
	return s.changeBooking(ctx, firm, id, by, how, func(tx pgx.Tx, b Booking) (BookingChange, error) {
		today, err := todayOf(ctx, tx, firm, now)
		if err != nil {
			return BookingChange{}, err
		}
		c, err := marked(b, k, on, today, now)
		if err != nil {
			return c, err
		}
		jobs, err := readJobs(ctx, tx, firm, whichJobs{id: b.Job})
		if err != nil || len(jobs) == 0 {
			return c, err
		}
		if st, has := jobs[0].Stage(k); has {
			st.State, st.DoneOn = StateDone, on
			if st.StartedOn > on {
				st.StartedOn = on
			}
			return c, writeStage(ctx, tx, firm, b.Job, st)
		}
		return c, nil
	})
}

func marked(b Booking, k StageKind, on, today civil.Date, now time.Time) (BookingChange, error) {
	if k == ScaffoldErection {
		return b.Erected(on, today, now)
	}
	return b.Struck(on, today, now)
}

// changeBooking lets change decide on one booking and writes what it decided.
func (s *Store) changeBooking(ctx context.Context, firm, id uuid.UUID, by string, how How, change func(pgx.Tx, Booking) (BookingChange, error)) (Booking, error) {
	var after Booking
	err := s.write(ctx, firm, func(tx pgx.Tx) error {
		c, err := changeLocked(ctx, tx, firm, id, by, how, change)
		after = c.After
		return err
	})
	if err != nil {
		return Booking{}, err
	}
	return after, nil
}

// tellChange is changeBooking for what the office does: the scaffold firm is
// told in the same transaction.
func (s *Store) tellChange(ctx context.Context, firm, id uuid.UUID, by string, now time.Time, change func(pgx.Tx, Booking) (BookingChange, error)) (Booking, error) {
	var after Booking
	err := s.write(ctx, firm, func(tx pgx.Tx) error {
		c, err := changeLocked(ctx, tx, firm, id, by, ByOffice, change)
		after = c.After
		if err != nil || c.Nothing() {
			return err
		}
		return s.tellScaffoldFirms(ctx, tx, firm, []BookingChange{c}, by, now)
	})
	if err != nil {
		return Booking{}, err
	}
	return after, nil
}

// changeLocked reads one booking under lock, lets change decide, and writes what
// it decided.
func changeLocked(ctx context.Context, tx pgx.Tx, firm, id uuid.UUID, by string, how How, change func(pgx.Tx, Booking) (BookingChange, error)) (BookingChange, error) {
	if _, err := tx.Exec(ctx, `SELECT FROM booking WHERE firm_id = $1 AND booking_id = $2 FOR UPDATE`, firm, id); err != nil {
		return BookingChange{}, fmt.Errorf("lock a booking: %w", err)
	}
	b, err := readBooking(ctx, tx, firm, id)
	if err != nil {
		return BookingChange{}, err
	}
	c, err := change(tx, b)
	if err != nil || c.Nothing() {
		return c, err
	}
	c.How = how
	return c, writeChange(ctx, tx, firm, c, uuid.Nil, by)
}

// DeclineOffer records that the office does not take the day that a scaffold
// firm offers, and tells it. seen and offered are as in AcceptOffer.
func (s *Store) DeclineOffer(ctx context.Context, firm, id uuid.UUID, seen int, offered civil.Date, by string, now time.Time) (Booking, error) {
	return s.tellChange(ctx, firm, id, by, now, func(_ pgx.Tx, b Booking) (BookingChange, error) {
		if b.Sequence != seen {
			return BookingChange{}, fault.Changed("booking", b.Days(), "it changed since you looked: it is now "+b.Days()+", "+b.State.String())
		}
		return b.OfferDeclined(offered, now)
	})
}

// OffHire asks the scaffold firm to take a scaffold down on a day, and tells it.
func (s *Store) OffHire(ctx context.Context, firm, id uuid.UUID, strikeOn civil.Date, by string, now time.Time) (Booking, error) {
	return s.tellChange(ctx, firm, id, by, now, func(tx pgx.Tx, b Booking) (BookingChange, error) {
		today, err := todayOf(ctx, tx, firm, now)
		if err != nil {
			return BookingChange{}, err
		}
		return b.OffHired(strikeOn, today, now)
	})
}

// KeepOnHire takes back that a scaffold is wanted down, and tells its firm.
func (s *Store) KeepOnHire(ctx context.Context, firm, id uuid.UUID, by string, now time.Time) (Booking, error) {
	return s.tellChange(ctx, firm, id, by, now, func(_ pgx.Tx, b Booking) (BookingChange, error) { return b.KeptOnHire(now) })
}

// MarkInspected records that a competent person inspected a scaffold that
// stands.
func (s *Store) MarkInspected(ctx context.Context, firm, id uuid.UUID, by string, how How, now time.Time) (Booking, error) {
	return s.changeBooking(ctx, firm, id, by, how, func(_ pgx.Tx, b Booking) (BookingChange, error) { return b.Inspected(now) })
}

// markBooking lets a job's live booking know of a finished erection or strike.
// A booking that says so already, or a job without one, is left alone.
func (s *Store) markBooking(ctx context.Context, tx pgx.Tx, firm, job uuid.UUID, k StageKind, on civil.Date, by string, now time.Time) error {
	if k != ScaffoldErection && k != ScaffoldStrike {
		return nil
	}
	if _, err := tx.Exec(ctx, `SELECT FROM booking WHERE firm_id = $1 AND job_id = $2 FOR UPDATE`, firm, job); err != nil {
		return fmt.Errorf("lock the bookings: %w", err)
	}
	live, err := readBookings(ctx, tx, firm, whichBookings{job: job, live: true})
	if err != nil {
		return err
	}
	today, err := todayOf(ctx, tx, firm, now)
	if err != nil {
		return err
	}
	for _, b := range live {
		if k == ScaffoldErection && b.State.Stands() {
			continue
		}
		c, err := marked(b, k, on, today, now)
		if err != nil {
			return err
		}
		if c.Nothing() {
			continue
		}
		if err := writeChange(ctx, tx, firm, c, uuid.Nil, by); err != nil {
			return err
		}
	}
	return nil
}

// AddStanding takes in a scaffold that stood before this service knew of it.
// ID and UID are given; the state is erected.
func (s *Store) AddStanding(ctx context.Context, firm uuid.UUID, b Booking, now time.Time) error {
	switch {
	case !b.ErectOn.Known():
		return fault.Bad("erected on", "", "the day it went up")
	case !b.StrikeOn.Known() || b.StrikeOn < b.ErectOn:
		return fault.Bad("strike on", b.StrikeOn.String(), "the day it is to come down, from "+b.ErectOn.String()+" on")
	}
	b.ID = s.orNew(b.ID)
	b.UID, b.State, b.OfferedOn, b.ChangedAt = b.ID.String()+uidHost, BookingErected, civil.NoDate, instant(now)
	c := BookingChange{After: b, Why: fmt.Sprintf("The scaffold stands since %s: strike %s.", b.ErectOn.Short(), b.StrikeOn.Short())}
	return s.write(ctx, firm, func(tx pgx.Tx) error { return writeChange(ctx, tx, firm, c, uuid.Nil, "taken in") })
}

// retellBookings marks a job's live bookings as changed when their scaffold
// firm would read something new of the job, so that a calendar takes notice.
func retellBookings(ctx context.Context, tx pgx.Tx, firm uuid.UUID, before, after Job, by string, now time.Time) error {
	none := Booking{}
	if reflect.DeepEqual(event(none, &before, Contact{}), event(none, &after, Contact{})) {
		return nil
	}
	live, err := readBookings(ctx, tx, firm, whichBookings{job: after.ID, live: true})
	if err != nil {
		return err
	}
	for _, b := range live {
		c := b.change(b, now, "What the office knows of the site changed; the days stay: "+b.Days()+".")
		if err := writeChange(ctx, tx, firm, c, uuid.Nil, by); err != nil {
			return err
		}
	}
	return nil
}
