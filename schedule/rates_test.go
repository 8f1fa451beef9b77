package schedule_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// chanceOf sets the chance of one half-day of a job's outdoor tasks.
func chanceOf(s *schedule.Snapshot, j schedule.Job, at civil.HalfDay, c weather.Chance) {
	for i := range s.Outlooks {
		if o := &s.Outlooks[i]; o.Site == j.Site.ID && at >= o.First && int(at-o.First) < len(o.Chances) {
			o.Chances[at-o.First] = c
		}
	}
}

// A visit of the frozen days stays, unless its weather is unsafe to plan on:
// then it moves, and says from where and by which number.
func TestAFrozenVisitMovesWhenItsWeatherIsHopeless(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		what string
		is   weather.Chance
		says string
	}{
		{"low, but enough", weather.Chance{Known: true, P: 0.11, Basis: "a test"}, ""},
		{"under the least", weather.Chance{Known: true, P: 0.04, Basis: "a test"}, "is 4%, and the firm plans on no less than 10%"},
		{"not known any more", weather.Chance{}, "an unknown chance is never taken as good"},
	} {
		s := firm(t, 1)
		s = publish(s, plan(t, s, 60, 1), 1)
		was := *find(*s.Base, s.Jobs[0].ID, schedule.RoofWork)
		s.FirstDay = was.First().Date()
		st, up := &s.Jobs[0].Stages[0], s.FirstDay-1 // the scaffolders came early
		st.State, st.StartedOn, st.DoneOn = schedule.StateDone, up, up
		s.Bookings[0].State, s.Bookings[0].ErectOn = schedule.BookingErected, up
		s.Now = s.FirstDay.At(5, 0, time.UTC)
		chanceOf(&s, s.Jobs[0], was.HalfDays[1], c.is)
		p := plan(t, s, 60, 1)
		mustHold(t, s, p)
		v := find(p, s.Jobs[0].ID, schedule.RoofWork)
		if v == nil {
			t.Fatalf("%s: no roof work: %+v", c.what, p.Unplanned)
		}
		if stays := slices.Equal(v.HalfDays, was.HalfDays); stays != (c.says == "") {
			t.Errorf("%s: stays is %t: %s", c.what, stays, v.Why)
		}
		if !strings.Contains(v.Why, c.says) {
			t.Errorf("%s: %q does not say %q", c.what, v.Why, c.says)
		}
	}
}

// Where no half-day reaches the firm's least, the stage is left out and says so.
func TestNoHalfDayGoodEnough(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s.Firm.Rates.LeastChance = 81 // every chance is 0.8
	p := plan(t, s, 20, 1)
	mustHold(t, s, p)
	i := slices.IndexFunc(p.Unplanned, func(u schedule.Unplanned) bool { return u.Stage == schedule.ScaffoldErection })
	if i < 0 || !strings.Contains(p.Unplanned[i].Why, "reaches 81%, the least that the firm plans on") {
		t.Errorf("left out: %+v", p.Unplanned)
	}
}

// Late enough, a Saturday pays: the promise is Friday's, and each half-day of
// the week has its job.
func TestASaturdayIsWorkedWhenItPays(t *testing.T) {
	t.Parallel()
	saturdays := func(percent int) int {
		s := firm(t, 6)
		s.Firm.Rates.OvertimePercent = percent
		for i := range s.Jobs {
			s.Jobs[i].PromisedOn, s.Jobs[i].PromiseTold = firstMonday+4, true
		}
		p := plan(t, s, 400, 1)
		mustHold(t, s, p)
		n := 0
		for _, v := range p.Visits {
			for _, h := range v.HalfDays {
				if h.Date().Weekday() == time.Saturday {
					n++
				}
			}
		}
		return n
	}
	if n := saturdays(0); n != 0 {
		t.Errorf("%d half-days on Saturdays, which the firm does not work", n)
	}
	if n := saturdays(1); n == 0 {
		t.Error("overtime at a hundredth of the pay, everything late, and no Saturday is worked")
	}
}

// One electrical crew carries a job through where that costs nothing else.
func TestOneCrewCarriesAJobThrough(t *testing.T) {
	t.Parallel()
	s := firm(t, 4)
	s.Crews = append(s.Crews, roofCrew(2), sparks(2))
	count := func(rate schedule.Pence) (n int) {
		s.Firm.Rates.Handover = rate
		p := plan(t, s, 400, 1)
		mustHold(t, s, p)
		for _, j := range s.Jobs {
			if find(p, j.ID, schedule.FirstFix).Crew != find(p, j.ID, schedule.SecondFix).Crew {
				n++
			}
			if find(p, j.ID, schedule.SecondFix).Crew != find(p, j.ID, schedule.Commissioning).Crew {
				n++
			}
		}
		return n
	}
	if n := count(300_00); n != 0 {
		t.Errorf("%d hand-overs at £300 each in a plan that needs none", n)
	}
}
