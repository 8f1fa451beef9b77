package solver_test

import (
	"context"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"toeboard/schedule/solver"
)

// length gives the slots up to the last one used; false when something is left
// out.
func length(placed []solver.Placement) (last solver.Slot, whole bool) {
	for _, at := range placed {
		if at.Mode < 0 {
			return 0, false
		}
		last = max(last, at.End+1)
	}
	return last, true
}

// checkProof holds what Prove says against the plan it gives.
func checkProof(t interface{ Errorf(string, ...any) }, name string, d solver.Data, p solver.Proof) {
	if p.Placed == nil {
		return
	}
	for _, wrong := range solver.Verify(d, solver.Result{Placed: p.Placed, Cost: solver.Price(d, p.Placed)}) {
		t.Errorf("%s: %s", name, wrong)
	}
	if got, whole := length(p.Placed); !whole || got != p.Bound {
		t.Errorf("%s: the plan takes %d slots, the bound is %d", name, got, p.Bound)
	}
}

// Optima: testdata/psplib/best_known.csv; all of this sample are proven there.
func TestProveFindsThePublishedOptima(t *testing.T) {
	t.Parallel()
	best := bestKnown(t)
	solved, n := 0, 0
	for name, d := range instances(t) {
		k := best[name]
		p := solver.Prove(t.Context(), &d, k.upper+1, 1000)
		checkProof(t, name, d, p)
		if p.Bound > k.upper || p.Placed != nil && p.Bound != k.upper {
			t.Errorf("%s: bound %d, with a plan: %v; the optimum is %d", name, p.Bound, p.Placed != nil, k.upper)
		}
		n++
		if p.Placed != nil {
			solved++
		}
		if again := solver.Prove(t.Context(), &d, k.upper+1, 1000); n%4 == 0 && !reflect.DeepEqual(p, again) {
			t.Errorf("%s: the second proof is another one", name)
		}
		if known := solver.Prove(t.Context(), &d, k.upper, 300); known.Placed != nil || known.Bound > k.upper {
			t.Errorf("%s: below a known plan of %d there is none, and it gives one of %d", name, k.upper, known.Bound)
		}
	}
	t.Logf("J30 sample, 1,000 conflicts: %d of %d solved to the optimum with proof", solved, n)
	if solved < 40 {
		t.Errorf("%d of %d solved, 42 were when this was written", solved, n)
	}
}

// shortest tries every start of every activity of a plain problem, each after
// those it waits for, and gives the length of the shortest plan: the definition
// of the problem, not a search.
func shortest(d solver.Data) solver.Slot {
	start, best := make([]solver.Slot, len(d.Activities)), d.Slots+1
	room := func(i int, from solver.Slot) bool {
		for r, res := range d.Resources {
			for s := from; s < from+d.Activities[i].Modes[0].Slots; s++ {
				used := demand(d.Activities[i].Modes[0], r)
				for j := range i {
					if m := d.Activities[j].Modes[0]; start[j] <= s && s < start[j]+m.Slots {
						used += demand(m, r)
					}
				}
				if used > res.Capacity[s] {
					return false
				}
			}
		}
		return true
	}
	var try func(i int, end solver.Slot)
	try = func(i int, end solver.Slot) {
		if i == len(start) {
			best = min(best, end)
			return
		}
		a := d.Activities[i]
		first := a.Release
		for _, l := range a.After {
			first = max(first, start[l.Activity]+d.Activities[l.Activity].Modes[0].Slots+l.Lag)
		}
		for s := first; max(end, s+a.Modes[0].Slots) < best; s++ {
			if room(i, s) {
				start[i] = s
				try(i+1, max(end, s+a.Modes[0].Slots))
			}
		}
	}
	try(0, 0)
	return best
}

func demand(m solver.Mode, resource int) (amount solver.Amount) {
	for _, u := range m.Uses {
		if u.Resource == resource {
			amount += u.Amount
		}
	}
	return amount
}

// drawPlain draws a small plain problem that always has a plan.
func drawPlain(t *rapid.T) solver.Data {
	d := solver.Data{Makespan: 1}
	resources := rapid.IntRange(1, 2).Draw(t, "resources")
	for i := range rapid.IntRange(6, 8).Draw(t, "activities") {
		m := solver.Mode{Slots: solver.Slot(rapid.IntRange(1, 4).Draw(t, "takes"))}
		for r := range resources {
			if amount := rapid.IntRange(0, 3).Draw(t, "amount"); amount > 0 {
				m.Uses = append(m.Uses, solver.Use{Resource: r, Amount: solver.Amount(amount)})
			}
		}
		a := solver.Activity{Modes: []solver.Mode{m}, Absent: 1000, Release: solver.Slot(rapid.SampledFrom([]int{0, 0, 0, 2}).Draw(t, "release"))}
		for j := range i {
			if rapid.IntRange(0, 3).Draw(t, "after") == 0 {
				a.After = append(a.After, solver.Link{Activity: j, Lag: solver.Slot(rapid.SampledFrom([]int{0, 0, 1}).Draw(t, "lag"))})
			}
		}
		d.Activities = append(d.Activities, a)
		d.Slots += m.Slots + 1
	}
	d.Slots += 2
	d.Calendars = []solver.Calendar{make(solver.Calendar, d.Slots)}
	for s := range d.Calendars[0] {
		d.Calendars[0][s] = true
	}
	for range resources {
		capacity := make([]solver.Amount, d.Slots)
		for s := range capacity {
			capacity[s] = 5
		}
		d.Resources = append(d.Resources, solver.Resource{Capacity: capacity})
	}
	return d
}

// TestProveAgainstEveryPlanThereIs begins without any bound, so that every
// length below the shortest is a dead end that must be found and learnt from.
func TestProveAgainstEveryPlanThereIs(t *testing.T) {
	t.Parallel()
	problems := rapid.Custom(drawPlain)
	searched := 0
	for seed := range 300 {
		d := problems.Example(seed)
		want := shortest(d)
		p := solver.ProveFrom(t.Context(), &d, 0, d.Slots+1, 100_000)
		checkProof(t, "drawn", d, p)
		if p.Bound != want || p.Placed == nil {
			t.Errorf("problem %d: proven %d (with a plan: %v), the shortest plan there is takes %d", seed, p.Bound, p.Placed != nil, want)
		}
		if p.Conflicts > 0 {
			searched++
		}
	}
	t.Logf("in %d of 300 the proof met dead ends", searched)
	if searched < 60 {
		t.Errorf("only in %d problems the proof met dead ends: they are no test", searched)
	}
}

// TestNoPlanIsShorterThanIsProven is for all that the plain problem has not.
func TestNoPlanIsShorterThanIsProven(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawNetwork(t)
		r := solve(t, d, 60, 1)
		got, whole := length(r.Placed)
		if !whole {
			return
		}
		last := solver.Slot(0)
		for _, conflicts := range []int{1, 10, 2000} {
			p := solver.Prove(context.Background(), &d, got+1, conflicts)
			checkProof(t, "drawn", d, p)
			if p.Bound > got || p.Bound < last {
				t.Errorf("%d conflicts prove %d slots, fewer proved %d; a plan takes %d", conflicts, p.Bound, last, got)
			}
			last = p.Bound
		}
	})
}

func TestProveEndsWithItsContext(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	d := instance(t, library+"/j30/j3013_1.sm")
	p := solver.Prove(ctx, &d, 59, 1<<30)
	if p.Conflicts > 1 || p.Bound < 48 || p.Bound > 58 || p.Placed != nil {
		t.Errorf("after the end: %d conflicts, bound %d", p.Conflicts, p.Bound)
	}
}
