package schedule_test

import (
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// oneSet is a firm whose scaffolder has one set: it stands at a job whose roof
// work is done, and a booking of a job outside the plan needs it from the second
// Wednesday on. The booked strike may still be moved.
func oneSet(t testing.TB) schedule.Snapshot {
	t.Helper()
	s := firm(t, 1)
	j := &s.Jobs[0]
	for i := range j.Stages {
		if st := &j.Stages[i]; st.Kind != schedule.ScaffoldStrike {
			st.State, st.StartedOn, st.DoneOn = schedule.StateDone, firstMonday-7, firstMonday-7
		}
	}
	f := &s.ScaffoldFirms[0]
	f.Sets, f.GangsPerDay, f.StrikeNotice = 1, 1, 3
	s.Bookings = []schedule.Booking{
		{ID: id(7, 0), Job: j.ID, ScaffoldFirm: f.ID, UID: "0@toeboard.invalid", State: schedule.BookingErected,
			ErectOn: firstMonday - 7, StrikeOn: firstMonday + 14, OfferedOn: civil.NoDate},
		{ID: id(7, 1), Job: id(6, 99), ScaffoldFirm: f.ID, UID: "1@toeboard.invalid", State: schedule.BookingConfirmed,
			ErectOn: firstMonday + 9, StrikeOn: firstMonday + 16, OfferedOn: civil.NoDate},
	}
	return s
}

// One set cannot be in two places: a scaffold that could be down before another
// job's booking needs its set must be, whatever the weather or moving the
// booked strike costs.
func TestAStandingScaffoldLeavesTheSetToWhoBookedIt(t *testing.T) {
	t.Parallel()
	s := oneSet(t)
	p := plan(t, s, 60, 1)
	mustHold(t, s, p)
	strike := find(p, s.Jobs[0].ID, schedule.ScaffoldStrike)
	if strike == nil || strike.Last().Date() >= firstMonday+9 {
		t.Fatalf("the set is booked from %s, the strike that frees it is %v", (firstMonday + 9).Short(), strike)
	}
	for _, day := range []int{9, 10, 14, 17} { // inside the booking and after it
		late := p
		late.Visits = []schedule.Visit{*strike}
		late.Visits[0].HalfDays = []civil.HalfDay{(firstMonday + civil.Date(day)).In(civil.Morning)}
		late.Cost = schedule.Price(s, late)
		if !breaks(s, late, "sets standing") {
			t.Errorf("a strike on %s keeps the set from who booked it, and no rule is broken", late.Visits[0].First().Short())
		}
	}
	drop(&p, s.Jobs[0].ID, schedule.ScaffoldStrike)
	if p.Cost = schedule.Price(s, p); !breaks(s, p, "sets standing") {
		t.Error("without a strike the set never comes, and no rule is broken")
	}
}

// What nobody could bring down sooner is no fault, and no reason to keep it
// longer: with a notice that runs into the booking the strike is on its first
// day.
func TestAScaffoldThatCannotBeDownInTimeComesDownFirstThing(t *testing.T) {
	t.Parallel()
	s := oneSet(t)
	s.ScaffoldFirms[0].StrikeNotice = 9
	p := plan(t, s, 60, 1)
	mustHold(t, s, p)
	want := schedule.AddWorkingDays(firstMonday, 9, s.Holidays)
	if strike := find(p, s.Jobs[0].ID, schedule.ScaffoldStrike); strike == nil || strike.Last().Date() != want {
		t.Errorf("notice lets it be struck on %s, the plan has %v", want.Short(), strike)
	}
}

func breaks(s schedule.Snapshot, p schedule.Plan, rule string) bool {
	for _, b := range schedule.Validate(s, p) {
		if strings.Contains(b.Rule, rule) {
			return true
		}
	}
	return false
}

// With sets as scarce as they come and bookings of other jobs in the way, any
// firm's plan keeps the rules that the validator reads for itself.
func TestScarceSetsAreSharedByTheRules(t *testing.T) {
	t.Parallel()
	over, firms := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		s, seed := drawnFirm(t, 9, 32)
		r := rand.New(rand.NewPCG(seed, 23))
		for i := range s.ScaffoldFirms {
			f := &s.ScaffoldFirms[i]
			f.Sets, f.StrikeNotice = r.IntN(3), r.IntN(5)
			for n := range 1 + r.IntN(2) {
				on := s.FirstDay + civil.Date(r.IntN(s.Days))
				s.Bookings = append(s.Bookings, schedule.Booking{ID: id(8, 10*i+n), Job: id(6, 100+10*i+n), ScaffoldFirm: f.ID, UID: id(8, 10*i+n).String(),
					State: schedule.BookingConfirmed, ErectOn: on, StrikeOn: on + civil.Date(r.IntN(14)), OfferedOn: civil.NoDate})
			}
		}
		p, bound := planned(t, s, 30, seed)
		keepsRules(t, "scarce", s, p)
		if bound > p.Cost.Total {
			t.Errorf("the plan costs %s, and %s is proven the least", p.Cost.Total, bound)
		}
		firms++
		if overFull(s, p) {
			over++
		}
	})
	if over < firms/10 {
		t.Errorf("only %d of %d firms had a day with too few sets", over, firms)
	}
}

// overFull tells whether a scaffold firm has too few sets on some day.
func overFull(s schedule.Snapshot, p schedule.Plan) bool {
	for _, f := range s.ScaffoldFirms {
		for d := range s.Days {
			if sets, _ := schedule.SetsOn(s, p.Visits, f.ID, s.FirstDay+civil.Date(d)); sets > f.Sets {
				return true
			}
		}
	}
	return false
}

// An instance given where a plan is asked for is named as what it is, not as a
// document with a hundred slips.
func TestAFileOfTheOtherFormIsNamed(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	text, err := schedule.WriteInstance(s)
	if err != nil {
		t.Fatal(err)
	}
	if _, err = schedule.ReadPlan(s, text); err == nil || !strings.Contains(err.Error(), "the file is an instance, a plan is asked for") || strings.Contains(err.Error(), "\n") {
		t.Errorf("an instance read as a plan: %v", err)
	}
	p := plan(t, s, 5, 1)
	if text, err = schedule.WritePlan(s, p); err != nil {
		t.Fatal(err)
	}
	if _, err = schedule.ReadInstance(text); err == nil || !strings.Contains(err.Error(), "the file is a plan, an instance is asked for") || strings.Contains(err.Error(), "\n") {
		t.Errorf("a plan read as an instance: %v", err)
	}
}
