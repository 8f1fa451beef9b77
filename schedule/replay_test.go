package schedule_test

import (
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

// pastPlan is how many days the futures of these tests reach past the plan.
const pastPlan = 60

// skies makes futures for all sites and outdoor tasks of a snapshot. at says
// whether a half-day passes at a site, and whether that is known.
func skies(s schedule.Snapshot, n int, at func(site uuid.UUID, task weather.Task, h civil.HalfDay, future int) (bool, bool)) schedule.Futures {
	f := schedule.Futures{N: n}
	seen := map[uuid.UUID]bool{}
	for _, j := range s.Jobs {
		if seen[j.Site.ID] {
			continue
		}
		seen[j.Site.ID] = true
		for _, task := range []weather.Task{weather.ScaffoldErection, weather.ScaffoldStrike, weather.PanelCarrying} {
			f.Rows = append(f.Rows, schedule.FutureRow{Site: j.Site.ID, Task: task,
				Passing: weather.NewPassing(s.FirstDay.In(civil.Morning), 2*(s.Days+pastPlan), n, func(h civil.HalfDay, future int) (bool, bool) {
					return at(j.Site.ID, task, h, future)
				})})
			row := f.Rows[len(f.Rows)-1]
			for _, x := range s.ScaffoldFirms {
				if row.By = x.ID; x.GustLimit > 0 && task != weather.PanelCarrying {
					f.Rows = append(f.Rows, row)
				}
			}
		}
	}
	return f
}

func allFair(s schedule.Snapshot, n int) schedule.Futures {
	return skies(s, n, func(uuid.UUID, weather.Task, civil.HalfDay, int) (bool, bool) { return true, true })
}

// randomSkies share a front over all sites, as weather does, with some local
// difference.
func randomSkies(s schedule.Snapshot, n int, seed uint64, share float64) schedule.Futures {
	r := rand.New(rand.NewPCG(seed, 11))
	front := make([]float64, n*2*(s.Days+pastPlan))
	for i := range front {
		front[i] = r.Float64()
	}
	return skies(s, n, func(_ uuid.UUID, _ weather.Task, h civil.HalfDay, f int) (bool, bool) {
		return front[f*2*(s.Days+pastPlan)+int(h-s.FirstDay.In(civil.Morning))]+(r.Float64()-0.5)*0.1 < share, true
	})
}

// When all weather passes, each visit is where the plan has it, but for the
// reserve of roof work, and the cost is the plan's own but for the expected
// weather and the crew's time in the reserve: whatever the firm, its bookings and
// what has begun.
func TestReplayOfFairWeatherIsThePlan(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
		r := rand.New(rand.NewPCG(seed, 7))
		s := BuildExample(seed, rapid.IntRange(1, 14).Draw(t, "jobs"), rapid.IntRange(2, 7).Draw(t, "crews"), rapid.IntRange(5, 50).Draw(t, "days"))
		s.Firm.Rates.OvertimePercent = rapid.SampledFrom([]int{0, 0, 50}).Draw(t, "overtime")
		ownTerms(r, &s)
		for week := range 3 {
			p, _, err := schedule.SearchCost(s, 20, seed)
			if err != nil {
				t.Fatal(err)
			}
			f := allFair(s, 3)
			visits, cost, _ := schedule.ReplayedVisits(s, p, f, 1)
			if len(visits) != len(p.Visits) {
				t.Fatalf("round %d: %d visits are replayed, the plan has %d", week, len(visits), len(p.Visits))
			}
			want := p.Cost.Total - p.Cost.By()[schedule.WeatherRisk]
			for i, v := range visits {
				all := p.Visits[i].HalfDays
				same := slices.Equal(v.HalfDays, all)
				if n := halfDaysOf(s, v.Job, v.Stage); v.Stage == schedule.RoofWork && len(all) > n && !begun(s, v.Job, v.Stage) {
					same = slices.Equal(v.HalfDays, all[:n])
				} else if v.Stage == schedule.RoofWork && begun(s, v.Job, v.Stage) {
					same = slices.Equal(v.HalfDays, all[:len(v.HalfDays)])
				}
				want += idleIn(s, v.Crew, all[len(v.HalfDays):])
				if !same {
					t.Errorf("round %d: %s is planned from %s to %s and replayed from %s to %s", week, v.Stage, p.Visits[i].First().Short(), p.Visits[i].Last().Short(), v.First().Short(), v.Last().Short())
				}
			}
			if cost != want {
				t.Errorf("round %d: the replay costs %s, the plan without its weather risk and with its reserve idle %s", week, cost, want)
			}
			out := schedule.Replay(s, p, f)
			for _, j := range out.Jobs {
				if v := find(p, j.Job, schedule.Commissioning); v != nil && (j.P10 != v.Last().Date() || j.P90 != v.Last().Date() || j.Lost != 0) {
					t.Errorf("round %d: a job planned for %s has %s to %s", week, v.Last().Short(), j.P10, j.P90)
				}
			}
			s = live(r, publish(s, p, week+1), 1+r.IntN(5))
		}
	})
}

func halfDaysOf(s schedule.Snapshot, job uuid.UUID, k schedule.StageKind) int {
	for _, j := range s.Jobs {
		if st, has := j.Stage(k); j.ID == job && has {
			return st.HalfDays
		}
	}
	return 0
}

// idleIn is what a crew's half-days without work cost by MODEL.md section 4:
// floor(HalfDayCost x IdleShare x (m - i) / (100 m)), less the overtime of those
// on Saturdays, for which nobody comes.
func idleIn(s schedule.Snapshot, crew uuid.UUID, list []civil.HalfDay) (sum schedule.Pence) {
	number, m := map[civil.Date]int{}, 0
	for d := s.FirstDay; d < s.FirstDay+civil.Date(s.Days); d++ {
		if schedule.WorkingDay(d, s.Holidays) {
			number[d] = m
			m++
		}
	}
	for _, h := range list {
		for _, c := range s.Crews {
			switch i, working := number[h.Date()]; {
			case c.ID != crew:
			case working:
				sum += c.HalfDayCost * schedule.Pence(s.Firm.Rates.IdleShare) * schedule.Pence(m-i) / schedule.Pence(100*m)
			default:
				sum -= c.HalfDayCost * schedule.Pence(s.Firm.Rates.OvertimePercent) / 100
			}
		}
	}
	return sum
}

// Whatever the weather, a replay keeps the rules that the validator, written
// apart from it, has for a plan; but for the gaps that lost half-days leave in a
// visit, and for days that were to stay. Of the notice only a strike that was
// asked for anew is held to it: a gang that the weather turned away comes again.
// Of the sets, that no erection begins on a day that is full without it.
func TestReplayKeepsTheRules(t *testing.T) {
	t.Parallel()
	moves := []string{"one visit without gaps", "frozen days stay as published", "bookings inside their notice stay", "what has started carries on",
		"notice to the scaffold firm", "every open stage accounted for", "no outdoor work on an unknown chance",
		"no outdoor work on a chance below the firm's least", "the cost adds up", "sets standing", "scaffold from erection to strike"}
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
		r := rand.New(rand.NewPCG(seed, 7))
		s := BuildExample(seed, rapid.IntRange(1, 14).Draw(t, "jobs"), rapid.IntRange(2, 7).Draw(t, "crews"), rapid.IntRange(10, 50).Draw(t, "days"))
		if rapid.Bool().Draw(t, "published") {
			p, _, err := schedule.SearchCost(s, 5, seed)
			if err != nil {
				t.Fatal(err)
			}
			s = live(r, publish(s, p, 1), 1+r.IntN(5))
		}
		p, _, err := schedule.SearchCost(s, 20, seed)
		if err != nil {
			t.Fatal(err)
		}
		f := randomSkies(s, 4, seed, rapid.Float64Range(0.2, 0.9).Draw(t, "share"))
		for future := range f.N {
			visits, _, _ := schedule.ReplayedVisits(s, p, f, future)
			long := s // long enough for what is late
			long.Days += pastPlan
			for _, v := range visits {
				planned := find(p, v.Job, v.Stage)
				if v.First() < planned.First() || len(v.HalfDays) > len(planned.HalfDays) {
					t.Errorf("future %d: %s from %s, %d half-days, is planned from %s with %d", future, v.Stage, v.First().Short(), len(v.HalfDays), planned.First().Short(), len(planned.HalfDays))
				}
				for i, h := range v.HalfDays {
					if h < planned.HalfDays[i] {
						t.Errorf("future %d: half-day %d of %s is worked on %s, before %s", future, i, v.Stage, h.Short(), planned.HalfDays[i].Short())
					}
				}
			}
			for _, v := range visits {
				// What has begun has its set already, however late the weather lets it go on.
				if v.Stage == schedule.ScaffoldErection && !begun(s, v.Job, v.Stage) && !begun(s, v.Job, schedule.RoofWork) {
					d := v.First().Date()
					now, _ := schedule.SetsOn(long, visits, v.ScaffoldFirm, d)
					planned, _ := schedule.SetsOn(long, p.Visits, v.ScaffoldFirm, d)
					// One more than there are was met once, with a strike late by weather: MODEL.md says so.
					if most := max(planned, firmOf(s, v.ScaffoldFirm).Sets) + 1; now > most {
						t.Errorf("future %d: an erection on %s makes %d scaffolds of %d", future, d.Short(), now, most)
					}
				}
				roof := schedule.Visit{}
				for _, w := range visits {
					if w.Job == v.Job && w.Stage == schedule.RoofWork {
						roof = w
					}
				}
				if planned := find(p, v.Job, v.Stage); v.Stage == schedule.ScaffoldStrike && !begun(s, v.Job, v.Stage) && len(roof.HalfDays) > 0 && roof.Last() >= planned.First() {
					if from := schedule.AddWorkingDays(roof.Last().Date(), firmOf(s, v.ScaffoldFirm).StrikeNotice, s.Holidays); v.First().Date() < from {
						t.Errorf("future %d: a strike on %s, asked for on %s, wants notice until %s", future, v.First().Short(), roof.Last().Short(), from.Short())
					}
				}
			}
			as := schedule.Plan{FirstDay: long.FirstDay, Days: long.Days, Visits: visits}
			already := map[string]bool{}
			for _, b := range schedule.Validate(long, schedule.Plan{FirstDay: long.FirstDay, Days: long.Days, Visits: p.Visits}) {
				already[b.Rule] = true // over-full by facts, or by the longer look
			}
			for _, b := range schedule.Validate(long, as) {
				unfinished := b.Rule == "as long as the stage"
				if !slices.Contains(moves, b.Rule) && !already[b.Rule] && !unfinished {
					t.Errorf("future %d: %s: %s", future, b.Rule, b.Say)
				}
			}
		}
	})
}

// begun says whether somebody recorded that a stage was started: nobody gives
// notice of what is under way.
func begun(s schedule.Snapshot, job uuid.UUID, kind schedule.StageKind) bool {
	for _, j := range s.Jobs {
		for _, st := range j.Stages {
			if j.ID == job && st.Kind == kind {
				return st.State == schedule.StateStarted
			}
		}
	}
	return false
}

func firmOf(s schedule.Snapshot, firm uuid.UUID) schedule.ScaffoldFirm {
	for _, f := range s.ScaffoldFirms {
		if f.ID == firm {
			return f
		}
	}
	return schedule.ScaffoldFirm{}
}

// Every half-day of every stage is worked once, and no more: after weeks of any
// weather, fair weather finishes all there is.
func TestReplayWorksEveryHalfDayOnce(t *testing.T) {
	t.Parallel()
	s := firm(t, 9)
	p := plan(t, s, 40, 1)
	rough := randomSkies(s, 8, 4, 0.3)
	calm := s.FirstDay + civil.Date(s.Days)
	f := skies(s, rough.N, func(site uuid.UUID, task weather.Task, h civil.HalfDay, future int) (bool, bool) {
		for _, r := range rough.Rows {
			if r.Site == site && r.Task == task {
				return h.Date() >= calm || r.Passing.In(h, future), true
			}
		}
		return false, false
	})
	for future := range f.N {
		visits, _, _ := schedule.ReplayedVisits(s, p, f, future)
		if len(visits) != len(p.Visits) {
			t.Fatalf("future %d: %d visits of %d", future, len(visits), len(p.Visits))
		}
		for _, v := range visits {
			j := s.Jobs[slices.IndexFunc(s.Jobs, func(j schedule.Job) bool { return j.ID == v.Job })]
			if st, _ := j.Stage(v.Stage); len(v.HalfDays) != st.HalfDays || !slices.IsSorted(v.HalfDays) || len(slices.Compact(slices.Clone(v.HalfDays))) != st.HalfDays {
				t.Errorf("future %d: %s of %s takes %d half-days and was worked in %v", future, v.Stage, j.Ref, st.HalfDays, v.HalfDays)
			}
		}
	}
}

// byHand is one job with a plan that a reader can follow, of a firm that pays
// for nothing but lateness, scaffold and lost half-days: erection Mon 14 am,
// roof work Tue 15 am to Wed 16 am, commissioning Thu 17 am, strike Thu 17 pm.
func byHand(t *testing.T) (schedule.Snapshot, schedule.Plan) {
	t.Helper()
	s := firm(t, 1)
	s.Firm.Rates.IdleShare, s.Firm.Rates.TravelPerKm, s.Firm.Rates.IdleScaffoldDay = 0, 0, 0
	j := &s.Jobs[0]
	j.PromisedOn = firstMonday + 10 // Thu 17 Dec
	monday := (firstMonday + 7).In(civil.Morning)
	p := schedule.Plan{FirstDay: s.FirstDay, Days: s.Days, State: schedule.Draft}
	for _, v := range []struct {
		stage  schedule.StageKind
		at     civil.HalfDay
		n      int
		crew   uuid.UUID
		gangOf uuid.UUID
	}{
		{schedule.ScaffoldErection, monday, 1, uuid.Nil, id(4, 0)},
		{schedule.RoofWork, monday + 2, 3, id(2, 1), uuid.Nil},
		{schedule.FirstFix, monday, 1, id(3, 1), uuid.Nil},
		{schedule.SecondFix, monday + 1, 1, id(3, 1), uuid.Nil},
		{schedule.Commissioning, monday + 6, 1, id(3, 1), uuid.Nil},
		{schedule.ScaffoldStrike, monday + 7, 1, uuid.Nil, id(4, 0)},
	} {
		visit := schedule.Visit{Job: j.ID, Stage: v.stage, Crew: v.crew, ScaffoldFirm: v.gangOf}
		for i := range v.n {
			visit.HalfDays = append(visit.HalfDays, v.at+civil.HalfDay(i))
		}
		p.Visits = append(p.Visits, visit)
	}
	mustHold(t, s, p)
	return s, p
}

// Three futures of one job, worked by hand: fair; Tuesday lost; Tuesday and
// Wednesday lost. In the second the roof ends on Thu am and commissioning moves
// to Thu pm, in time; the strike of Thu pm stays. In the third the roof ends on
// Fri 18 am, commissioning is on Fri pm, a day late, and the strike is asked for
// on Fri 18 with 3 working days' notice: Wed 23.
func TestReplayByHand(t *testing.T) {
	t.Parallel()
	s, p := byHand(t)
	tuesday := firstMonday + 8
	f := skies(s, 3, func(_ uuid.UUID, task weather.Task, h civil.HalfDay, future int) (bool, bool) {
		d := h.Date()
		return task != weather.PanelCarrying || !(future >= 1 && d == tuesday || future == 2 && d == tuesday+1), true
	})
	strikes := []civil.Date{firstMonday + 10, firstMonday + 10, firstMonday + 16}
	costs := []schedule.Pence{800_00, 800_00 + 2*220_00, 800_00 + 4*220_00 + 60_00}
	for future := range 3 {
		visits, cost, _ := schedule.ReplayedVisits(s, p, f, future)
		if last := visits[len(visits)-1]; last.Stage != schedule.ScaffoldStrike || last.First().Date() != strikes[future] {
			t.Errorf("future %d: %s on %s, by hand the strike is on %s", future, last.Stage, last.First().Short(), strikes[future].Short())
		}
		if cost != costs[future] {
			t.Errorf("future %d costs %s, by hand %s", future, cost, costs[future])
		}
	}
	out := schedule.Replay(s, p, f)
	j := out.Jobs[0]
	thu, fri := firstMonday+10, firstMonday+11
	if j.Finish != schedule.FinishSpread || j.Planned != thu || j.P10 != thu || j.P50 != thu || j.P90 != fri {
		t.Errorf("finish %+v", j)
	}
	if j.Kept != 2 || j.Chance.P != 3.0/5 || j.Chance.Basis != "2 of 3 futures" || j.Lost != 2 || j.Hire != 0 {
		t.Errorf("promise, lost half-days and hire %+v", j)
	}
	if want := (schedule.Spread{Known: true, Mean: (800_00 + 1240_00 + 1740_00) / 3, P10: 800_00, P90: 1740_00}); out.Cost != want {
		t.Errorf("cost %+v, by hand %+v", out.Cost, want)
	}
	if out.Promises != 1 || out.CannotSay != 0 || out.Kept != 2.0/3 || out.Lost != 2 {
		t.Errorf("all %+v", out)
	}
}

// A scaffold that stands longer is hired for longer: 4 weeks from Mon 14 Dec are
// in the price, to Sun 10 Jan. Roof work that the weather keeps from ending until
// Mon 11 Jan leaves the strike to Thu 14 Jan: 5 weeks begun, 1 of them at £45.
func TestReplayPaysTheHire(t *testing.T) {
	t.Parallel()
	s, p := byHand(t)
	ends := civil.On(2027, 1, 11)
	f := skies(s, 2, func(_ uuid.UUID, task weather.Task, h civil.HalfDay, future int) (bool, bool) {
		d := h.Date()
		return task != weather.PanelCarrying || future == 0 || d >= ends || d <= firstMonday+8, true
	})
	out := schedule.Replay(s, p, f)
	if want := schedule.Pence(45_00 / 2); out.Jobs[0].Hire != want {
		t.Errorf("hire %s, by hand %s in the mean of two futures", out.Jobs[0].Hire, want)
	}
	if out.Cost.P90-out.Cost.P10 < 45_00 {
		t.Errorf("cost %+v", out.Cost)
	}
}

// Weather that nobody knows is no number: neither of the job that needs it, nor
// of the plan's cost.
func TestReplayOfUnknownWeatherSaysSo(t *testing.T) {
	t.Parallel()
	s, p := byHand(t)
	j2 := house(2)
	j2.PromisedOn = firstMonday + 30
	s.Jobs = append(s.Jobs, j2)
	for _, k := range schedule.StageKinds {
		p.Unplanned = append(p.Unplanned, schedule.Unplanned{Job: j2.ID, Stage: k, Why: "left out for a test."})
	}
	wednesday := (firstMonday + 9).In(civil.Morning)
	f := skies(s, 50, func(_ uuid.UUID, _ weather.Task, h civil.HalfDay, future int) (bool, bool) {
		return true, h != wednesday
	})
	out := schedule.Replay(s, p, f)
	if j := out.Jobs[0]; j.Finish != schedule.FinishUnknown || j.Chance.Known || j.P50.Known() || !strings.Contains(j.Why, "Nobody can say") {
		t.Errorf("a job whose roof work needs an unknown half-day: %+v", j)
	}
	if j := out.Jobs[1]; j.Finish != schedule.FinishNoPlace || j.Chance.Known || j.P50.Known() {
		t.Errorf("a job without a place: %+v", j)
	}
	if out.Cost.Known || out.CannotSay != 1 || out.Promises != 1 || out.Kept != 0 {
		t.Errorf("the whole: %+v", out)
	}
	if out := schedule.Replay(s, p, schedule.Futures{}); out.Jobs[0].Finish != schedule.FinishUnknown || out.Cost.Known {
		t.Errorf("without futures: %+v", out)
	}
	none := schedule.Futures{N: 50} // no row at all
	if out := schedule.Replay(s, p, none); out.Jobs[0].Finish != schedule.FinishUnknown || out.Cost.Known {
		t.Errorf("futures without a row for the site: %+v", out)
	}
}

// A promise whose day has passed has no chance; nor has one of a job that is
// commissioned.
func TestReplayGivesNoChanceOfABrokenPromise(t *testing.T) {
	t.Parallel()
	s, p := byHand(t)
	s.Jobs[0].PromisedOn = s.FirstDay - 1
	if j := schedule.Replay(s, p, allFair(s, 50)).Jobs[0]; j.Chance.Known || j.Kept != 0 || j.Finish != schedule.FinishSpread {
		t.Errorf("%+v", j)
	}
	s.Jobs[0].PromisedOn = firstMonday + 10
	for i := range s.Jobs[0].Stages {
		if st := &s.Jobs[0].Stages[i]; st.Kind != schedule.ScaffoldStrike {
			st.State, st.StartedOn, st.DoneOn = schedule.StateDone, firstMonday-3, firstMonday-1
		}
	}
	if out := schedule.Replay(s, p, allFair(s, 50)); out.Jobs[0].Finish != schedule.FinishDone || out.Promises != 0 || out.Jobs[0].Chance.Known {
		t.Errorf("%+v", out)
	}
}

// With an independent chance p for each half-day, the half-days that a visit of
// k half-days loses before it ends follow the negative binomial distribution,
// P(l) = C(l+k-1, l) p^k (1-p)^l, for k = 1 the geometric one: mean k(1-p)/p,
// variance k(1-p)/p^2 (Johnson, Kemp and Kotz, Univariate Discrete Distributions,
// 3rd ed. 2005, chapter 5). Each count is held to 4.5 standard errors of a share.
func TestLostHalfDaysFollowTheNegativeBinomial(t *testing.T) {
	t.Parallel()
	const futures, chance = 4000, 0.6
	for _, k := range []int{1, 3} {
		s, p := byHand(t)
		s.Jobs[0].Stages[1].HalfDays = k
		roof := find(p, s.Jobs[0].ID, schedule.RoofWork)
		roof.HalfDays = roof.HalfDays[:k]
		r := rand.New(rand.NewPCG(uint64(k), 5))
		f := skies(s, futures, func(_ uuid.UUID, task weather.Task, _ civil.HalfDay, _ int) (bool, bool) {
			return task != weather.PanelCarrying || r.Float64() < chance, true
		})
		counted := map[int]int{}
		for future := range futures {
			_, _, lost := schedule.ReplayedVisits(s, p, f, future)
			counted[lost]++
		}
		mean := 0.0
		for l := range 8 {
			share := 1.0 // of all futures, by the formula
			for i := range l {
				share *= float64(k+i) / float64(i+1) * (1 - chance)
			}
			for range k {
				share *= chance
			}
			got := float64(counted[l]) / futures
			if se := math.Sqrt(share * (1 - share) / futures); math.Abs(got-share) > 4.5*se {
				t.Errorf("k = %d: %d half-days are lost in %.4f of the futures, by the formula in %.4f, standard error %.4f", k, l, got, share, se)
			}
		}
		for l, n := range counted {
			mean += float64(l*n) / futures
		}
		want := float64(k) * (1 - chance) / chance
		if se := math.Sqrt(want / chance / futures); math.Abs(mean-want) > 4.5*se {
			t.Errorf("k = %d: %.3f half-days are lost in the mean, by the formula %.3f", k, mean, want)
		}
		if lost := schedule.Replay(s, p, f).Jobs[0].Lost; math.Abs(lost-mean) > 1e-9 {
			t.Errorf("k = %d: the replay says %.3f half-days are lost, the futures %.3f", k, lost, mean)
		}
	}
}

// Percentiles by another library: numpy 1.24.2, numpy.percentile(values, q,
// method="inverted_cdf"), definition 1 of Hyndman and Fan, for q of 1, 10, 25,
// 50, 75, 90, 99 and 100.
func TestNearestRankIsTheInverseOfTheDistribution(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ values, want []int }{
		{[]int{14}, []int{14, 14, 14, 14, 14, 14, 14, 14}},
		{[]int{42, 179}, []int{42, 42, 42, 42, 179, 179, 179, 179}},
		{[]int{4, 93, 99}, []int{4, 4, 4, 93, 99, 99, 99, 99}},
		{[]int{46, 63, 96, 99, 117}, []int{46, 46, 63, 96, 99, 117, 117, 117}},
		{[]int{33, 73, 76, 80, 87, 96, 113, 131, 140, 169}, []int{33, 33, 76, 87, 131, 140, 169, 169}},
		{[]int{2, 9, 10, 21, 33, 36, 38, 39, 40, 42, 45, 59, 69, 94, 94, 97, 104, 109, 127, 132, 132, 148, 150, 151, 152, 161, 163, 169, 184, 191, 195}, []int{2, 21, 39, 97, 151, 169, 195, 195}},
		{[]int{1, 8, 22, 27, 27, 37, 40, 44, 45, 51, 51, 54, 55, 58, 59, 69, 73, 76, 79, 81, 84, 97, 105, 110, 114, 119, 119, 120, 123, 123, 126, 130, 131, 133, 135, 141, 148, 149, 153, 163, 164, 165, 168, 169, 174, 176, 181, 191, 193, 198, 199}, []int{1, 37, 55, 119, 153, 176, 199, 199}},
	} {
		for i, q := range []int{1, 10, 25, 50, 75, 90, 99, 100} {
			if got := schedule.NearestRank(c.values, q); got != c.want[i] {
				t.Errorf("P%d of %v is %d, by the library %d", q, c.values, got, c.want[i])
			}
		}
	}
	if got := schedule.NearestRank([]int(nil), 50); got != 0 {
		t.Errorf("P50 of nothing is %d", got)
	}
}

// Two hundred jobs over sixty futures: go test ./schedule -run none -bench Replay
// -benchmem.
func BenchmarkReplay200Jobs60Futures(b *testing.B) {
	s := BuildExample(1, 200, 16, 84)
	p := plan(b, s, 6, 1)
	f := randomSkies(s, 60, 1, 0.7)
	b.ReportAllocs()
	for b.Loop() {
		schedule.Replay(s, p, f)
	}
}
