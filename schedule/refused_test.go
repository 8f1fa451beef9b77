package schedule_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// A day that was refused stays refused when the booking has moved on: worked by
// hand on one job with one scaffold firm, which is pinned to the day.
func TestARefusedDayOutlivesTheBooking(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s.ScaffoldFirms[0].ErectNotice = 2
	s = publish(s, plan(t, s, 60, 1), 1)
	day := s.Bookings[0].ErectOn
	c, err := s.Bookings[0].Refused(s.Now)
	if err != nil {
		t.Fatal(err)
	}
	s.Bookings[0] = c.After
	s = publish(s, plan(t, s, 60, 1), 2)
	b := &s.Bookings[0]
	if b.State != schedule.BookingWanted || b.ErectOn == day {
		t.Fatalf("the booking has not moved on: %+v", b)
	}
	s.Pins = []schedule.Pin{{ID: id(8, 1), Job: s.Jobs[0].ID, Stage: schedule.ScaffoldErection, Kind: schedule.PinOn, On: day}}
	forgotten := plan(t, s, 60, 1)
	if v := find(forgotten, s.Jobs[0].ID, schedule.ScaffoldErection); v == nil || v.First().Date() != day {
		t.Fatalf("nobody remembers the refusal, and the erection is not on the pinned day: %+v", forgotten.Unplanned)
	}
	s.Refused = []schedule.RefusedDay{{Job: s.Jobs[0].ID, ScaffoldFirm: s.ScaffoldFirms[0].ID, On: day}}
	if !slices.ContainsFunc(schedule.Validate(s, forgotten), func(v schedule.Violation) bool {
		return strings.Contains(v.Say, "Northgate said before that it cannot do "+day.Short())
	}) {
		t.Error("a plan that asks for the refused day is found sound")
	}
	p := plan(t, s, 60, 1)
	mustHold(t, s, p)
	if i := slices.IndexFunc(p.Unplanned, func(u schedule.Unplanned) bool { return u.Stage == schedule.ScaffoldErection }); i < 0 || !strings.Contains(p.Unplanned[i].Why, "Northgate cannot be asked for "+day.Short()) {
		t.Errorf("the refused day is asked for again, or the reason is not said: %+v", p.Unplanned)
	}
	s.Pins = nil
	clash, err := schedule.MinimalClash(s, plan(t, s, 60, 1), schedule.Request{Job: s.Jobs[0].ID, Stage: schedule.ScaffoldErection, On: day})
	if err != nil || !slices.ContainsFunc(clash, func(r schedule.Reason) bool { return r.Say() == "Northgate cannot do "+day.Short() }) {
		t.Errorf("an erection on the refused day: %v, %v", clash, err)
	}
	b.State, b.ErectOn = schedule.BookingConfirmed, day // it says now that it can
	if v := find(plan(t, s, 60, 1), s.Jobs[0].ID, schedule.ScaffoldErection); v == nil || v.First().Date() != day {
		t.Errorf("a day that was confirmed in the end is not kept: %+v", v)
	}
}

// The database remembers a refusal until the day is past or the firm takes it
// back, also of a booking that was cancelled.
func TestRefusedDaysAreRead(t *testing.T) {
	s := newScene(t)
	b := s.booked() // Thu 10 to Wed 16 December with the first yard
	say := func(a schedule.Answer) {
		t.Helper()
		now, err := s.store.Booking(ctx, s.firm, b.ID)
		s.must(err)
		_, err = s.store.AnswerBooking(ctx, s.firm, b.ID, now.Sequence, a, "yard", storeNow.Add(time.Minute))
		s.must(err)
	}
	refused := func(what string, now time.Time, first civil.Date, want ...civil.Date) {
		t.Helper()
		snap, err := s.store.Snapshot(ctx, s.firm, now, first, 40)
		s.must(err)
		var got []civil.Date
		for _, r := range snap.Refused {
			if r.Job != b.Job || r.ScaffoldFirm != b.ScaffoldFirm {
				t.Errorf("%s: %+v is of another booking", what, r)
			}
			got = append(got, r.On)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: refused are %v, want %v", what, got, want)
		}
	}
	refused("nothing was refused", storeNow, dec(3))
	say(schedule.Answer{OfferedOn: dec(14)})
	refused("another day was offered", storeNow, dec(3), dec(10))
	draft := s.planOf(b2plan(s), s.chain(0, 0, dec(14), dec(18))...)
	_, _, err := s.store.Publish(ctx, s.firm, draft.ID, "Imogen", storeNow.Add(time.Hour), nil)
	s.must(err)
	refused("the booking moved to the offered day", storeNow, dec(3), dec(10))
	say(schedule.Answer{Refuse: true})
	refused("and that is refused too", storeNow, dec(3), dec(10), dec(14))
	away := s.planOf(draft.ID, s.chain(0, 1, dec(15), dec(18))...)
	_, _, err = s.store.Publish(ctx, s.firm, away.ID, "Imogen", storeNow.Add(2*time.Hour), nil)
	s.must(err)
	refused("another yard does it", storeNow, dec(3), dec(10), dec(14))
	refused("the first is past", dec(11).At(9, 0, time.UTC), dec(11), dec(14))
}

// Whoever confirms a day, or offers it, has taken the refusal back.
func TestARefusalTakenBack(t *testing.T) {
	s := newScene(t)
	b := s.booked()
	for i, step := range []struct {
		answer schedule.Answer
		want   int
	}{{schedule.Answer{Refuse: true}, 1}, {schedule.Answer{Confirm: true}, 0}, {schedule.Answer{Refuse: true}, 1}, {schedule.Answer{OfferedOn: dec(15)}, 1}} {
		now, err := s.store.Booking(ctx, s.firm, b.ID)
		s.must(err)
		_, err = s.store.AnswerBooking(ctx, s.firm, b.ID, now.Sequence, step.answer, "yard", storeNow.Add(time.Duration(i+1)*time.Minute))
		s.must(err)
		snap, err := s.store.Snapshot(ctx, s.firm, storeNow, dec(3), 40)
		if err != nil || len(snap.Refused) != step.want {
			t.Errorf("after answer %d: %+v, %v", i, snap.Refused, err)
		}
	}
}
