package schedule_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// The weekdays come from the ISO calendar: 7 December 2026 is a Monday (Go's
// time package, apart from ours, agrees), so the 11th is a Friday.
func TestDaysOffByTheCalendar(t *testing.T) {
	t.Parallel()
	off, err := schedule.WeekdaysOf([]string{"friday", "thursday"})
	if err != nil || off != schedule.Thursday|schedule.Friday || off.Words() != "Thursdays and Fridays" || !slices.Equal(off.Names(), []string{"thursday", "friday"}) {
		t.Errorf("%v %q %v %v", off, off.Words(), off.Names(), err)
	}
	for n := range 28 {
		day := time.Date(2026, 12, 7+n, 12, 0, 0, 0, time.UTC)
		want := day.Weekday() == time.Thursday || day.Weekday() == time.Friday
		if d := civil.On(2026, 12, 7) + civil.Date(n); off.Has(d) != want {
			t.Errorf("%s, a %s: off is %v", d, day.Weekday(), off.Has(d))
		}
	}
	for _, wrong := range [][]string{{"Friday"}, {"sunday"}, {"friday", "friday"}, {""}, {"monday", "tuesday", "wednesday", "thursday", "friday"}} {
		if off, err := schedule.WeekdaysOf(wrong); err == nil || off != 0 {
			t.Errorf("%q is taken for %v", wrong, off)
		}
	}
}

// A firm that works on Wednesdays alone, worked by hand: with five working
// days' notice from Monday 7 December the first day is Monday 14, so the first
// erection is on Wednesday 16. Roof work takes three half-days of Thursday 17
// and Friday 18 at the soonest, so the first strike is on Wednesday 23.
func TestAScaffoldFirmWorksOnItsDays(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s.ScaffoldFirms[0].DaysOff = schedule.Monday | schedule.Tuesday | schedule.Thursday | schedule.Friday
	s.Jobs[0].PromisedOn, s.Jobs[0].PromiseTold = s.FirstDay, true
	p := plan(t, s, 200, 1)
	for k, want := range map[schedule.StageKind]civil.Date{schedule.ScaffoldErection: civil.On(2026, 12, 16), schedule.ScaffoldStrike: civil.On(2026, 12, 23)} {
		if v := find(p, s.Jobs[0].ID, k); v == nil || v.First().Date() != want || v.Last().Date() != want {
			t.Errorf("%s: %+v, want %s", k, v, want.Short())
		}
	}
	if roof := find(p, s.Jobs[0].ID, schedule.RoofWork); roof.First() < civil.On(2026, 12, 16).In(civil.Afternoon) {
		t.Errorf("roof work starts on %s", roof.First().Short())
	}
	if broken := schedule.Validate(s, p); len(broken) > 0 {
		t.Errorf("%v", broken)
	}
	strike := find(p, s.Jobs[0].ID, schedule.ScaffoldStrike)
	strike.HalfDays = []civil.HalfDay{civil.On(2026, 12, 24).In(civil.Morning)}
	said := ""
	for _, b := range schedule.Validate(s, p) {
		if b.Rule == "on the scaffold firm's days" {
			said = b.Say
		}
	}
	if said != "J-001, scaffold strike: Thu 24 Dec am, and Northgate does not work on Thursdays." {
		t.Errorf("a strike on a Thursday: %q", said)
	}
}

// The reason is said: in a plan whose erection comes earlier because of it, to
// who asks for that day, and of what a pin leaves without a place.
func TestADayOffInWords(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s.ScaffoldFirms[0].DaysOff = schedule.Friday
	s.Jobs[0].Kit = []schedule.Kit{{Item: "modules", Quantity: 16, DueOn: civil.On(2026, 12, 20), ArrivedOn: civil.NoDate}} // roof work on Mon 21
	p := plan(t, s, 200, 1)
	if v := find(p, s.Jobs[0].ID, schedule.ScaffoldErection); v.First().Date() != civil.On(2026, 12, 17) || !strings.Contains(v.Why, "Northgate does not work on Fridays") {
		t.Errorf("erection on %s: %s", v.First().Short(), v.Why)
	}
	clash, err := schedule.MinimalClash(s, p, schedule.Request{Job: s.Jobs[0].ID, Stage: schedule.ScaffoldErection, On: civil.On(2026, 12, 18)})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(clash, func(r schedule.Reason) bool {
		return r.Say() == "Northgate does not work on Fridays" && r.Source == "terms of Northgate"
	}) {
		t.Errorf("an erection on a Friday: %v", clash)
	}
	s.Pins = []schedule.Pin{{ID: id(8, 1), Job: s.Jobs[0].ID, Stage: schedule.ScaffoldErection, Kind: schedule.PinOn, On: civil.On(2026, 12, 18)}}
	p = plan(t, s, 50, 1)
	i := slices.IndexFunc(p.Unplanned, func(u schedule.Unplanned) bool { return u.Stage == schedule.ScaffoldErection })
	if i < 0 || !strings.Contains(p.Unplanned[i].Why, "Northgate does not work on Fridays") {
		t.Errorf("pinned on a Friday: %+v", p.Unplanned)
	}
}

// A booking inside its notice that lies on what has become a day off does not
// stay, and the plan says why.
func TestABookingOnADayOffMoves(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s.ScaffoldFirms[0].ErectNotice = 2
	s = publish(s, plan(t, s, 100, 1), 1)
	b := &s.Bookings[0]
	s.ScaffoldFirms = slices.Clone(s.ScaffoldFirms)
	s.ScaffoldFirms[0].ErectNotice = 10
	s.ScaffoldFirms[0].DaysOff = schedule.Monday << (b.ErectOn.Weekday() - time.Monday)
	p := plan(t, s, 100, 1)
	mustHold(t, s, p)
	v := find(p, s.Jobs[0].ID, schedule.ScaffoldErection)
	if v == nil || v.First().Date() == b.ErectOn || !strings.HasPrefix(v.Why, "Was to stay on "+b.ErectOn.Short()+" am, but Northgate does not work on "+b.ErectOn.Weekday().String()+"s.") {
		t.Errorf("booked on %s: %+v", b.ErectOn.Short(), v)
	}
}
