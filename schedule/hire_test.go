package schedule_test

import (
	"strings"
	"testing"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// Sums by hand: up on Tuesday 1 December, four weeks in the price, £45 for each
// week begun after them.
func TestHireByHand(t *testing.T) {
	t.Parallel()
	f := schedule.ScaffoldFirm{Name: "Yard", IncludedWeeks: 4, WeeklyHire: 45_00, StrikeNotice: 3}
	standing := schedule.Booking{State: schedule.BookingErected, ErectOn: civil.On(2026, 12, 1), StrikeOn: civil.On(2027, 1, 8)}
	for _, c := range []struct {
		today  civil.Date
		weeks  int
		soFar  schedule.Pence
		next   civil.Date
		strike schedule.Pence
		soon   bool
	}{
		{civil.On(2026, 12, 1), 1, 0, civil.On(2026, 12, 29), 90_00, false},
		{civil.On(2026, 12, 7), 1, 0, civil.On(2026, 12, 29), 90_00, false},
		{civil.On(2026, 12, 8), 2, 0, civil.On(2026, 12, 29), 90_00, false},
		{civil.On(2026, 12, 25), 4, 0, civil.On(2026, 12, 29), 90_00, false},
		{civil.On(2026, 12, 26), 4, 0, civil.On(2026, 12, 29), 90_00, true},
		{civil.On(2026, 12, 28), 4, 0, civil.On(2026, 12, 29), 90_00, true},
		{civil.On(2026, 12, 29), 5, 45_00, civil.On(2027, 1, 5), 90_00, false},
		{civil.On(2027, 1, 5), 6, 90_00, civil.On(2027, 1, 12), 90_00, false},
		{civil.On(2027, 1, 12), 7, 135_00, civil.On(2027, 1, 19), 135_00, false}, // it should be down by now
	} {
		h := schedule.HireOf(standing, f, c.today)
		if h.WeeksBegun != c.weeks || h.SoFar != c.soFar || h.NextOn != c.next || h.ByStrike != c.strike || h.Soon(standing, c.today) != c.soon {
			t.Errorf("on %s: %+v, soon %t; want %d weeks, %s, next on %s, %s by the strike, %t", c.today, h, h.Soon(standing, c.today), c.weeks, c.soFar, c.next, c.strike, c.soon)
		}
	}
	struck := standing
	struck.State, struck.StrikeOn = schedule.BookingStruck, civil.On(2026, 12, 29)
	if h := schedule.HireOf(struck, f, civil.On(2027, 3, 1)); h.SoFar != 45_00 || h.NextOn.Known() {
		t.Errorf("struck: %+v", h)
	}
	wanted := standing
	wanted.State = schedule.BookingConfirmed
	if h := schedule.HireOf(wanted, f, civil.On(2026, 11, 1)); h.SoFar != 0 || h.WeeksBegun != 0 || h.NextOn.Known() || h.ByStrike != 90_00 {
		t.Errorf("not up yet: %+v", h)
	}
}

func TestWhatIsWorthStrikingFirst(t *testing.T) {
	t.Parallel()
	cheap := schedule.ScaffoldFirm{ID: uuid.UUID{1}, Name: "Cheap", IncludedWeeks: 2, WeeklyHire: 20_00, StrikeNotice: 1}
	dear := schedule.ScaffoldFirm{ID: uuid.UUID{2}, Name: "Dear", IncludedWeeks: 2, WeeklyHire: 80_00, StrikeNotice: 3}
	var bookings []schedule.Booking
	var jobs []schedule.Job
	add := func(n byte, f schedule.ScaffoldFirm, up civil.Date, state schedule.BookingState, roof schedule.StageState) {
		j := schedule.Job{ID: uuid.UUID{9, n}, Ref: string('A' + rune(n)), Stages: []schedule.Stage{{Kind: schedule.RoofWork, State: roof, DoneOn: dec(10)}}}
		jobs = append(jobs, j)
		bookings = append(bookings, schedule.Booking{ID: uuid.UUID{8, n}, Job: j.ID, ScaffoldFirm: f.ID, UID: string('a' + rune(n)), State: state, ErectOn: up, StrikeOn: dec(30)})
	}
	add(0, cheap, dec(1), schedule.BookingErected, schedule.StateDone)    // next on 15 December
	add(1, dear, dec(1), schedule.BookingInspected, schedule.StateDone)   // the same day, dearer
	add(2, dear, dec(1), schedule.BookingErected, schedule.StateStarted)  // still at work
	add(3, dear, dec(1), schedule.BookingConfirmed, schedule.StateDone)   // not up
	add(4, cheap, dec(1)-7, schedule.BookingOffHire, schedule.StateDone)  // next on 15 December too: its second week ended on the 8th
	add(5, cheap, dec(1)-10, schedule.BookingErected, schedule.StateDone) // next on 12 December
	var got []string
	for _, s := range schedule.StrikeFirst(bookings, jobs, []schedule.ScaffoldFirm{cheap, dear}, dec(11)) {
		got = append(got, s.Booking.UID)
		if !strings.Contains(s.Why, "The roof work is done since Thu 10 Dec") {
			t.Errorf("%s: %s", s.Booking.UID, s.Why)
		}
	}
	if want := "f b a e"; strings.Join(got, " ") != want {
		t.Errorf("in the order %v, want %s", got, want)
	}
}
