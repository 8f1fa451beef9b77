package schedule_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// pastForecast is the rule of MODEL.md, section 2: from so many days after today
// on a half-day counts by its chance.
const pastForecast = 12

// lengthByHand counts how many half-days work of n half-days takes of a list, by the
// rule of MODEL.md, section 2, in plain numbers: one for each half-day within the
// forecast and its chance past it, until no more than half a half-day is missing.
// 0 = the list is too short.
func lengthByHand(o *schedule.Outlook, today civil.Date, n int, list []civil.HalfDay) int {
	sum := 0 // in ten-thousandths of a half-day
	for i, h := range list {
		if h.Date() < today+pastForecast {
			sum += 10_000
		} else {
			sum += int(math.Round(1e4 * o.At(h).P))
		}
		if sum >= 10_000*n-5_000 {
			return i + 1
		}
	}
	return 0
}

func roofOutlook(s schedule.Snapshot, job uuid.UUID) *schedule.Outlook {
	for _, j := range s.Jobs {
		for i := range s.Outlooks {
			if o := &s.Outlooks[i]; j.ID == job && o.Site == j.Site.ID && o.Task == weather.PanelCarrying {
				return o
			}
		}
	}
	return nil
}

// inWinter makes every chance so many times what it is; four decimals, as
// chances are counted.
func inWinter(s schedule.Snapshot, times float64) schedule.Snapshot {
	s.Outlooks = slices.Clone(s.Outlooks)
	for i := range s.Outlooks {
		o := &s.Outlooks[i]
		o.Chances = slices.Clone(o.Chances)
		for k := range o.Chances {
			if c := &o.Chances[k]; c.Known {
				c.P = math.Round(1e4*min(0.999, max(0.001, c.P*times))) / 1e4
			}
		}
	}
	return s
}

// Every roof visit of any firm's plan is as long as its half-days are counted by
// hand, before and after the plan is published and days have passed.
func TestRoofWorkIsAsLongAsCountedByHand(t *testing.T) {
	t.Parallel()
	counted, kept := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
		r := rand.New(rand.NewPCG(seed, 7))
		s := BuildExample(seed, rapid.IntRange(1, 12).Draw(t, "jobs"), rapid.IntRange(2, 6).Draw(t, "crews"), rapid.IntRange(20, 80).Draw(t, "days"))
		s = inWinter(s, rapid.Float64Range(0.3, 1.2).Draw(t, "winter"))
		for round := range 2 {
			p, cost, err := schedule.SearchCost(s, 20, seed)
			if err != nil {
				t.Fatal(err)
			}
			for _, b := range schedule.Validate(s, p) {
				t.Errorf("round %d: %s: %s", round, b.Rule, b.Say)
			}
			if cost != p.Cost.Total {
				t.Errorf("round %d: the search counted %s, the price is %s", round, cost, p.Cost.Total)
			}
			for _, v := range p.Visits {
				if v.Stage != schedule.RoofWork || begun(s, v.Job, v.Stage) {
					continue
				}
				n := halfDaysOf(s, v.Job, v.Stage)
				if want := lengthByHand(roofOutlook(s, v.Job), s.Today(), n, v.HalfDays); want != len(v.HalfDays) {
					t.Errorf("round %d: work of %d half-days has %d from %s on, by hand %d", round, n, len(v.HalfDays), v.First().Short(), want)
				}
				counted++
				kept += v.Reserve(n)
				if says := strings.Contains(v.Why, fmt.Sprintf("of work; %d are kept, since", len(v.HalfDays))); says != (len(v.HalfDays) > n) {
					t.Errorf("round %d: %d half-days for work of %d, and the reason says %q", round, len(v.HalfDays), n, v.Why)
				}
			}
			s = live(r, publish(s, p, round+1), 1+r.IntN(6))
		}
	})
	if t.Failed() {
		return
	}
	if counted < 100 || kept < 100 {
		t.Errorf("only %d roof visits with %d half-days of reserve were counted", counted, kept)
	}
}

// The better the chances, the shorter a visit from the same half-day on, and the
// cheaper what is left out.
func TestMoreChanceNeverLengthensAVisit(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
		s := BuildExample(seed, 3, 3, rapid.IntRange(15, 80).Draw(t, "days"))
		s.Firm.Rates.LeastChance = 0
		low := inWinter(s, rapid.Float64Range(0.1, 0.9).Draw(t, "low"))
		high := inWinter(low, rapid.Float64Range(1, 5).Draw(t, "high"))
		for _, j := range s.Jobs {
			for at := s.FirstDay.In(civil.Morning); at.Date() < s.FirstDay+civil.Date(s.Days); at++ {
				for _, c := range s.Crews {
					worse, better := schedule.RoofVisit(low, j.ID, c.ID, at), schedule.RoofVisit(high, j.ID, c.ID, at)
					if len(worse) > 0 && (len(better) == 0 || len(better) > len(worse)) {
						t.Fatalf("from %s on %s takes %d half-days, with better chances %d", at.Short(), c.Name, len(worse), len(better))
					}
				}
			}
		}
	})
}

// In weather that is as good as sure, and in a plan that ends within the
// forecast, work takes as many half-days as it is: nothing is kept.
func TestNothingIsKeptInSureWeatherNorWithinTheForecast(t *testing.T) {
	t.Parallel()
	visits := 0
	for seed := range uint64(12) {
		sure := inWinter(BuildExample(seed, 8, 5, 60), 1e6) // 99.9% or unknown
		near := inWinter(BuildExample(seed, 8, 5, pastForecast), 0.5)
		for _, s := range []schedule.Snapshot{sure, near} {
			p := plan(t, s, 60, seed)
			mustHold(t, s, p)
			for _, v := range p.Visits {
				if n := halfDaysOf(s, v.Job, v.Stage); !begun(s, v.Job, v.Stage) && len(v.HalfDays) != n {
					t.Errorf("seed %d: %s takes %d half-days, it is work of %d", seed, v.Stage, len(v.HalfDays), n)
				}
				if strings.Contains(v.Why, "are kept") {
					t.Errorf("seed %d: %q", seed, v.Why)
				}
				visits++
			}
		}
	}
	if visits < 200 {
		t.Errorf("only %d visits", visits)
	}
}

// Whatever the winter, the weather of a roof visit costs less than what is
// counted for leaving it out.
func TestWeatherAloneNeverMakesLeavingOutCheaper(t *testing.T) {
	t.Parallel()
	compared := 0
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
		s := inWinter(BuildExample(seed, rapid.IntRange(1, 8).Draw(t, "jobs"), 5, rapid.IntRange(20, 80).Draw(t, "days")), rapid.Float64Range(0.2, 1).Draw(t, "winter"))
		p, _, err := schedule.SearchCost(s, 10, seed)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range p.Visits {
			if v.Stage != schedule.RoofWork {
				continue
			}
			without := p
			without.Visits = slices.Clone(p.Visits)
			drop(&without, v.Job, schedule.RoofWork)
			was, is := p.Cost.By(), schedule.Price(s, without).By()
			weather, out := was[schedule.WeatherRisk]-is[schedule.WeatherRisk], is[schedule.NotPlanned]-was[schedule.NotPlanned]
			if out < max(s.Firm.Rates.UnplannedStage, weather) {
				t.Errorf("roof work from %s to %s: leaving it out saves %s of weather and costs %s", v.First().Short(), v.Last().Short(), weather, out)
			}
			compared++
		}
	})
	if !t.Failed() && compared < 100 {
		t.Errorf("only %d visits", compared)
	}
}

// As the days of a published visit come within the forecast its reserve goes,
// and it stays where it was: nobody is told another day, and nothing is charged.
func TestAVisitThatLosesItsReserveHasNotMoved(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s.Jobs[0].ReadyOn = s.FirstDay + 21
	sky(&s, 0, weather.PanelCarrying, func(civil.HalfDay) weather.Chance { return known(0.4) })
	p := plan(t, s, 60, 1)
	mustHold(t, s, p)
	was := find(p, s.Jobs[0].ID, schedule.RoofWork)
	// 3 half-days of work: 0.4 for each, until 2.5 are reached: 7.
	if was == nil || len(was.HalfDays) != 7 || was.Reserve(3) != 4 {
		t.Fatalf("roof work %+v", was)
	}
	if want := "3 half-days of work; 7 are kept, since 40% of those from"; !strings.Contains(was.Why, want) {
		t.Errorf("%q is not in %q", want, was.Why)
	}
	s = publish(s, p, 1)
	for s.FirstDay < was.First().Date()-3 {
		for s.FirstDay++; !schedule.WorkingDay(s.FirstDay, s.Holidays); s.FirstDay++ {
		}
		s.Now = s.FirstDay.At(7, 0, london(t))
		again := plan(t, s, 60, 1)
		mustHold(t, s, again)
		is := find(again, s.Jobs[0].ID, schedule.RoofWork)
		if is == nil || !is.Stays(was) || len(is.HalfDays) > len(was.HalfDays) {
			t.Fatalf("on %s roof work stands in %v, before in %v", s.FirstDay.Short(), is, was.HalfDays)
		}
		if sum, say := lines(again.Cost, schedule.Moved); sum != 0 {
			t.Errorf("on %s moved appointments cost %s: %s", s.FirstDay.Short(), sum, say)
		}
	}
	again := plan(t, s, 60, 1)
	if is := find(again, s.Jobs[0].ID, schedule.RoofWork); len(is.HalfDays) != 3 {
		t.Errorf("three days before, roof work has %d half-days", len(is.HalfDays))
	}
}

// A started visit has done the share of its work that lies in the past, as far
// as anybody knows.
func TestAStartedVisitHasItsShareLeft(t *testing.T) {
	t.Parallel()
	// Work of 3 half-days, published for 7; by hand 3 x left / 7, rounded up.
	for left, want := range map[int]int{7: 3, 6: 3, 5: 3, 4: 2, 3: 2, 2: 1, 1: 1} {
		s, p := one(t)
		v := find(p, s.Jobs[0].ID, schedule.RoofWork)
		for v.HalfDays = v.HalfDays[:0]; len(v.HalfDays) < 7; {
			v.HalfDays = append(v.HalfDays, (s.FirstDay.In(civil.Morning) + civil.HalfDay(left-7) + civil.HalfDay(len(v.HalfDays))))
		}
		p.ID, p.State = id(8, 1), schedule.Published
		s.Base = &p
		for _, k := range []int{0, 1} {
			st := &s.Jobs[0].Stages[k]
			st.State, st.StartedOn = schedule.StateStarted, s.FirstDay-3
		}
		s.Jobs[0].Stages[0].State, s.Jobs[0].Stages[0].DoneOn = schedule.StateDone, s.FirstDay-3
		again := plan(t, s, 30, 1)
		mustHold(t, s, again)
		if is := find(again, s.Jobs[0].ID, schedule.RoofWork); is == nil || len(is.HalfDays) != want {
			t.Errorf("%d of 7 half-days are still to come: roof work has %v, by hand %d", left, is, want)
		}
	}
}

// The chance of a visit is that of drawing so many fit half-days: a day's draw
// decides both its halves. Counted here by drawing.
func TestTheChanceOfAVisitIsCountedByDrawing(t *testing.T) {
	t.Parallel()
	const draws = 40_000
	r := rand.New(rand.NewPCG(1, 2))
	for range 30 {
		n, from := 1+r.IntN(5), firstMonday.In(civil.Half(r.IntN(2)))
		o := schedule.Outlook{First: firstMonday.In(civil.Morning)}
		for range 40 {
			o.Chances = append(o.Chances, known(0.1+0.8*r.Float64()))
		}
		var list []civil.HalfDay
		for len(list) < n+r.IntN(8) {
			list = append(list, from+civil.HalfDay(len(list)))
		}
		done := 0
		for range draws {
			fit, u, day := 0, 0.0, civil.NoDate
			for _, h := range list {
				if h.Date() != day {
					day, u = h.Date(), r.Float64()
				}
				if u < o.At(h).P {
					fit++
				}
			}
			if fit >= min(n, len(list)) {
				done++
			}
		}
		want := float64(done) / draws
		if got := schedule.VisitChance(list, &o, n); math.Abs(got.P-want) > 0.012 { // five standard errors
			t.Errorf("%d of %d half-days: %.3f, drawn %.3f", n, len(list), got.P, want)
		}
	}
}

// Where winter does not fit the plan, what is left out says so with numbers, and
// why it is: what the crews have, what the weather leaves of it, what is taken.
func TestWinterThatDoesNotFitIsSaidWithNumbers(t *testing.T) {
	t.Parallel()
	s := firm(t, 8)
	for i := range s.Jobs {
		s.Jobs[i].ReadyOn = s.FirstDay + 14
		sky(&s, i, weather.PanelCarrying, func(civil.HalfDay) weather.Chance { return known(0.2) })
	}
	p := plan(t, s, 200, 1)
	mustHold(t, s, p)
	said := 0
	for _, u := range p.Unplanned {
		if u.Stage == schedule.RoofWork {
			// 3 half-days of work at 0.2: 13 of them bring 2.6, and 12 bring 2.4.
			for _, want := range []string{"no roof crew has enough half-days free in a row", "the weather is likely to leave", "other work takes", "its 3 half-days of work take 13 in a row at the least"} {
				if !strings.Contains(u.Why, want) {
					t.Errorf("%q is not in %q", want, u.Why)
				}
			}
			said++
		}
	}
	if said == 0 {
		t.Errorf("all eight roofs have a place: %v", p.Unplanned)
	}
	for _, v := range p.Visits {
		if v.Stage != schedule.RoofWork {
			continue
		}
		x, err := schedule.Explain(s, p, v.Job, v.Stage)
		if err != nil || !strings.Contains(x.Visit.Why, "3 half-days of work; 13 are kept, since 20% of those from") {
			t.Errorf("%+v, %v", x.Visit, err)
		}
	}
}
