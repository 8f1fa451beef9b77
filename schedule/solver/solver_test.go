package solver_test

import (
	"context"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"toeboard/schedule/solver"
)

// drawData draws a small firm: people who travel and cost idle, an outside firm
// counted by day whose kit stands in spans, chains, closed slots, forbidden
// slots, pins and places kept from before.
func drawData(t *rapid.T) solver.Data {
	slots := solver.Slot(2 * rapid.IntRange(2, 9).Draw(t, "days"))
	tables := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "tables"), 0)) // what is drawn by the hundred
	costs := func(max int) []solver.Cost {
		c := make([]solver.Cost, slots)
		for i := range c {
			if c[i] = solver.Cost(tables.IntN(max + max/8)); max > 100 && int(c[i]) > max {
				c[i] = solver.Never
			}
		}
		return c
	}
	crews, firms := rapid.IntRange(1, 3).Draw(t, "crews"), rapid.IntRange(1, 2).Draw(t, "firms")
	d := solver.Data{Slots: slots, Trip: func(a, b solver.Place) solver.Cost { return solver.Cost((a - b) * (a - b)) }}
	for range crews + 1 {
		c := make(solver.Calendar, slots)
		for i := range c {
			c[i] = tables.IntN(5) > 0
		}
		d.Calendars = append(d.Calendars, c)
	}
	for i := range crews {
		capacity := make([]solver.Amount, slots)
		for s := range capacity {
			capacity[s] = 1
		}
		d.Resources = append(d.Resources, solver.Resource{Capacity: capacity, Idle: costs(30), Tour: &solver.Tour{Home: solver.Place(i), Slots: 2}})
	}
	for range firms {
		gangs, sets := make([]solver.Amount, slots/2), make([]solver.Amount, slots/2)
		for b := range gangs {
			gangs[b], sets[b] = solver.Amount(tables.IntN(3)), solver.Amount(tables.IntN(3))
		}
		d.Resources = append(d.Resources, solver.Resource{Grain: 2, Capacity: gangs}, solver.Resource{Grain: 2, Capacity: sets})
	}
	crewModes := func(n int) (modes []solver.Mode) {
		for c := range crews {
			m := solver.Mode{Calendar: c, Slots: solver.Slot(n), Uses: []solver.Use{{Resource: c, Amount: 1}}, Cost: solver.Cost(c), Who: tables.IntN(3), Whole: tables.IntN(6) == 0}
			if tables.IntN(3) == 0 {
				m.SlotCost = costs(120)
			}
			modes = append(modes, m)
		}
		return modes
	}
	firmModes := func(release int) (modes []solver.Mode) {
		for f := range firms {
			m := solver.Mode{Calendar: crews, Slots: 1, Uses: []solver.Use{{Resource: crews + 2*f, Amount: 1}}, Cost: 50, Release: solver.Slot(release)}
			if release > 1 {
				m.Also = []solver.Slot{solver.Slot(tables.IntN(release))}
			}
			modes = append(modes, m)
		}
		return modes
	}
	for range rapid.IntRange(1, 5).Draw(t, "jobs") {
		place := solver.Place(rapid.IntRange(0, 6).Draw(t, "place"))
		n := len(d.Activities)
		roof := solver.Activity{Modes: crewModes(rapid.IntRange(1, 3).Draw(t, "roof")), After: []solver.Link{{Activity: n + 2}}, SlotCost: costs(200), Absent: 500, Place: place}
		if tables.IntN(2) == 0 { // some slots bring only a part of the work
			roof.Share, roof.Short = make([]solver.Part, slots), solver.Part(tables.IntN(int(solver.Whole)))
			for s := range roof.Share {
				roof.Share[s] = min(solver.Whole, solver.Part(tables.IntN(2*int(solver.Whole))))
			}
		}
		strike := solver.Activity{Modes: firmModes(rapid.IntRange(0, 4).Draw(t, "strike notice")), After: []solver.Link{{Activity: n}}, Absent: 500, Place: place}
		erect := solver.Activity{Modes: firmModes(rapid.IntRange(0, 4).Draw(t, "erect notice")), SlotCost: costs(200), Absent: 500, Place: place, Late: true}
		link := solver.Link{Activity: n, Lag: solver.Slot(rapid.IntRange(0, 1).Draw(t, "lag"))}
		if tables.IntN(3) == 0 {
			link.Most = link.Lag + 1 + solver.Slot(tables.IntN(4))
		}
		if tables.IntN(4) == 0 { // the scaffold stands no longer than it must before the roof work
			roof.After[0].Most = 1 + solver.Slot(tables.IntN(5))
		}
		last := solver.Activity{Modes: crewModes(1), After: []solver.Link{link}, Absent: 500, Place: place, EndCost: make([]solver.Cost, slots)}
		due := rapid.IntRange(0, int(slots)).Draw(t, "due")
		for s := due; s < int(slots); s++ {
			last.EndCost[s] = solver.Cost(40 * (s - due))
		}
		d.Activities = append(d.Activities, roof, strike, erect, last)
		on := make([]solver.SpanOn, firms)
		for f := range on {
			on[f] = solver.SpanOn{Resource: crews + 2*f + 1, Cost: make([]solver.Cost, slots/2+1)}
			for b := range on[f].Cost {
				on[f].Cost[b] = solver.Cost(5 * b)
			}
		}
		first := solver.Unit{Activities: []int{n, n + 1, n + 2}, Tied: []int{n + 1, n + 2}}
		if tables.IntN(4) == 0 && n > 0 { // it waits for another job's roof
			l := solver.Link{Activity: 0, Most: solver.Slot(9 * tables.IntN(2))}
			d.Activities[n+3].After = append(d.Activities[n+3].After, l)
		}
		if rapid.IntRange(0, 4).Draw(t, "standing") == 0 { // its scaffold stands already
			d.Activities = append(d.Activities[:n+2], d.Activities[n+3])
			d.Activities[n].After, d.Activities[n+2].After[0].Activity = nil, n
			d.Activities[n+1].Modes = d.Activities[n+1].Modes[:1]
			d.Spans = append(d.Spans, solver.Span{From: solver.Standing, Begin: solver.Slot(2 * tables.IntN(int(slots)/2) * tables.IntN(2)), To: n + 1, On: on[:1], Hold: 3})
			d.Groups = append(d.Groups, solver.Group{{Activities: []int{n}}, {Activities: []int{n + 1}}, {Activities: []int{n + 2}}})
		} else {
			d.Spans = append(d.Spans, solver.Span{From: n + 2, To: n + 1, On: on, Hold: 3})
			d.Groups = append(d.Groups, solver.Group{first, {Activities: []int{n + 3}}})
		}
	}
	for i := range d.Activities {
		if first := tables.IntN(len(d.Activities)); first < i && tables.IntN(3) == 0 {
			d.Handovers = append(d.Handovers, solver.Handover{First: first, Second: i, Cost: solver.Cost(tables.IntN(90))})
		}
		at := solver.At{Mode: tables.IntN(len(d.Activities[i].Modes)), Start: solver.Slot(tables.IntN(int(slots)))}
		if room(&d, i, at) {
			switch tables.IntN(9) {
			case 0:
				if alone(d.Groups, i) {
					d.Activities[i].Pin = &at
				}
			case 1, 2:
				d.Activities[i].Keep = &at
			case 3:
				d.Activities[i].Was, d.Activities[i].Stay, d.Activities[i].StartCost = []solver.At{at}, solver.Cost(tables.IntN(90)), costs(90)
			}
		}
	}
	for i := range d.Activities {
		d.Activities[i].Vital = tables.IntN(5) == 0
	}
	return d
}

// worth is what two plans are compared by: vital activities left out, then cost.
type worth struct {
	forsaken int
	cost     solver.Cost
}

func worthOf(d solver.Data, r solver.Result) worth {
	w := worth{cost: r.Cost}
	for i, at := range r.Placed {
		if at.Mode < 0 && d.Activities[i].Vital {
			w.forsaken++
		}
	}
	return w
}

func (w worth) worse(than worth) bool {
	return w.forsaken > than.forsaken || w.forsaken == than.forsaken && w.cost > than.cost
}

func alone(groups []solver.Group, i int) bool {
	for _, g := range groups {
		for _, u := range g {
			if slices.Contains(u.Activities, i) {
				return len(u.Activities) == 1
			}
		}
	}
	return false
}

// room tells whether the calendar has room for the activity there.
func room(d *solver.Data, i int, at solver.At) bool {
	a, m := d.Activities[i], d.Activities[i].Modes[at.Mode]
	open := d.Calendars[m.Calendar]
	need := int(m.Slots) * int(solver.Whole)
	if a.Share != nil {
		need -= int(a.Short)
	}
	for k, ok := range open[at.Start:] {
		if !ok && m.Whole && need > 0 {
			return false
		}
		if ok {
			need -= partOf(a, at.Start+solver.Slot(k))
		}
	}
	return open[at.Start] && need <= 0
}

// partOf is what a slot brings of an activity's work.
func partOf(a solver.Activity, s solver.Slot) int {
	if a.Share == nil {
		return int(solver.Whole)
	}
	return int(a.Share[s])
}

func solve(t interface{ Fatal(...any) }, d solver.Data, schedules int, seed uint64) solver.Result {
	r, err := solver.Solve(context.Background(), d, solver.Stop{Schedules: schedules}, seed)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestAnyPlanOfAnySmallFirmVerifies(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawData(t)
		seed := rapid.Uint64().Draw(t, "seed")
		last := worth{len(d.Activities), solver.Never}
		for _, schedules := range []int{1, 6, 60, 200} {
			r := solve(t, d, schedules, seed)
			for _, wrong := range solver.Verify(d, r) {
				t.Errorf("%d schedules: %s", schedules, wrong)
			}
			if r.Bound > r.Cost {
				t.Errorf("a plan that costs %d is below the bound of %d", r.Cost, r.Bound)
			}
			if is := worthOf(d, r); is.worse(last) {
				t.Errorf("%d schedules come to %+v, fewer to %+v", schedules, is, last)
			}
			last = worthOf(d, r)
			if again := solve(t, d, schedules, seed); !reflect.DeepEqual(r, again) {
				t.Errorf("the same seed gave another plan: %v and %v", r, again)
			}
			for i, a := range d.Activities {
				held := a.Pin != nil && r.Placed[i].Mode == a.Pin.Mode && r.Placed[i].Start == a.Pin.Start
				if a.Pin != nil && !held && !slices.Contains(r.Unpinned, i) {
					t.Errorf("activity %d is not where it is pinned, and the result does not say so", i)
				}
			}
		}
	})
}

// exhaust tries every place of every activity and gives the best worth that
// Verify accepts, and the least cost whatever is left out. It is the definition of
// the problem, not a search.
func exhaust(d solver.Data) (best worth, least solver.Cost) {
	choices := make([][]solver.Placement, len(d.Activities))
	for i, a := range d.Activities {
		choices[i] = []solver.Placement{{Mode: -1}}
		for m, mode := range a.Modes {
			for s := range d.Slots {
				if !room(&d, i, solver.At{Mode: m, Start: s}) {
					continue
				}
				end, left := s, int(mode.Slots)*int(solver.Whole)
				if a.Share != nil {
					left -= int(a.Short)
				}
				for ; left > 0; end++ {
					if d.Calendars[mode.Calendar][end] {
						left -= partOf(a, end)
					}
				}
				choices[i] = append(choices[i], solver.Placement{Mode: m, Start: s, End: end - 1})
			}
		}
	}
	r := solver.Result{Placed: make([]solver.Placement, len(d.Activities))}
	best, least = worth{len(d.Activities), solver.Never}, solver.Never
	var try func(i int)
	try = func(i int) {
		if i < len(choices) {
			for _, r.Placed[i] = range choices[i] {
				try(i + 1)
			}
			return
		}
		r.Cost = solver.Price(d, r.Placed)
		if is := worthOf(d, r); (best.worse(is) || r.Cost < least) && len(solver.Verify(d, r)) == 0 {
			if best.worse(is) {
				best = is
			}
			least = min(least, r.Cost)
		}
	}
	try(0)
	return best, least
}

func TestAgainstEveryPlanThereIs(t *testing.T) {
	t.Parallel()
	problems := rapid.Custom(drawData)
	compared, dearer := 0, 0
	for seed := range 400 {
		d := problems.Example(seed)
		plans := 1
		for i := range d.Activities {
			d.Activities[i].Pin = nil
			plans = min(plans*(1+len(d.Activities[i].Modes)*int(d.Slots)), 1<<30)
		}
		if plans > 40_000 {
			continue
		}
		best, least := exhaust(d)
		r := solve(t, d, 400, 1)
		is := worthOf(d, r)
		compared++
		if best.worse(is) {
			t.Errorf("problem %d: %+v, but every plan that Verify accepts comes to %+v or worse", seed, is, best)
		}
		if r.Bound > least {
			t.Errorf("problem %d: the bound is %d, a plan that Verify accepts costs %d", seed, r.Bound, least)
		}
		if is.worse(best) {
			dearer++
			t.Logf("problem %d: %+v, the best there is comes to %+v", seed, is, best)
		}
	}
	t.Logf("%d problems compared, %d not solved to the best there is", compared, dearer)
	if compared < 40 || dearer*20 > compared {
		t.Errorf("%d of %d problems were not solved to the best there is", dearer, compared)
	}
}
