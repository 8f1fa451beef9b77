package solver_test

import (
	"slices"
	"testing"

	"toeboard/schedule/solver"
)

// always is a calendar of open slots with some of them closed.
func always(slots int, closed ...int) solver.Calendar {
	c := make(solver.Calendar, slots)
	for s := range c {
		c[s] = !slices.Contains(closed, s)
	}
	return c
}

func amounts(of ...solver.Amount) []solver.Amount { return of }

// Two visits that must follow each other at once, by two people who are each
// free at other times: the first has to wait until both are. The best there is
// stands beside each case, worked by hand.
func TestALongestLagIsKept(t *testing.T) {
	t.Parallel()
	one := solver.Use{Resource: 0, Amount: 1}
	two := solver.Use{Resource: 1, Amount: 1}
	for _, c := range []struct {
		name         string
		first, most  solver.Slot
		alone        bool // each a group of its own
		units        bool // one group, a unit each
		start, after solver.Slot
	}{
		{name: "one unit", most: 1, start: 5, after: 6},
		{name: "two units", most: 1, units: true, start: 5, after: 6},
		{name: "two groups", most: 1, alone: true, start: 5, after: 6},
		{name: "no maximum", most: 0, start: 0, after: 6},
		{name: "three later", most: 3, units: true, start: 3, after: 6},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			soon := make([]solver.Cost, 8) // the first is best early, the second too
			for s := range soon {
				soon[s] = solver.Cost(s)
			}
			d := solver.Data{Slots: 8, Calendars: []solver.Calendar{always(8)},
				Resources: []solver.Resource{{Capacity: amounts(1, 1, 1, 1, 1, 1, 1, 1)}, {Capacity: amounts(0, 0, 0, 0, 0, 0, 1, 1)}},
				Activities: []solver.Activity{
					{Modes: []solver.Mode{{Slots: 1, Uses: []solver.Use{one}, StartCost: soon}}, Absent: 100},
					{Modes: []solver.Mode{{Slots: 1, Uses: []solver.Use{two}, StartCost: soon}}, Absent: 100, After: []solver.Link{{Activity: 0, Most: c.most}}},
				},
				Groups: []solver.Group{{{Activities: []int{0, 1}}}},
			}
			if c.units {
				d.Groups = []solver.Group{{{Activities: []int{0}}, {Activities: []int{1}}}}
			}
			if c.alone {
				d.Groups = nil
			}
			r := solve(t, d, 100, 1)
			for _, wrong := range solver.Verify(d, r) {
				t.Error(wrong)
			}
			if r.Placed[0].Mode < 0 || r.Placed[1].Mode < 0 || r.Placed[0].Start != c.start || r.Placed[1].Start != c.after {
				t.Errorf("placed %v, want starts %d and %d", r.Placed, c.start, c.after)
			}
		})
	}
}

// Of two people who could do the second visit the dearer one did the first.
func TestHandoverWeighsAgainstWhatItSaves(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		handover solver.Cost
		mode     int // of the second
	}{{handover: 29, mode: 1}, {handover: 31, mode: 0}} {
		d := solver.Data{Slots: 2, Calendars: []solver.Calendar{always(2)},
			Resources: []solver.Resource{{Capacity: amounts(1, 1)}, {Capacity: amounts(1, 1)}},
			Activities: []solver.Activity{
				{Modes: []solver.Mode{{Slots: 1, Uses: []solver.Use{{Resource: 0, Amount: 1}}, Who: 7}}, Absent: 1000},
				{Modes: []solver.Mode{
					{Slots: 1, Uses: []solver.Use{{Resource: 0, Amount: 1}}, Who: 7, SlotCost: []solver.Cost{30, 30}},
					{Slots: 1, Uses: []solver.Use{{Resource: 1, Amount: 1}}, Who: 8},
				}, Absent: 1000, After: []solver.Link{{Activity: 0}}},
			},
			Handovers: []solver.Handover{{First: 0, Second: 1, Cost: c.handover}},
		}
		r := solve(t, d, 50, 1)
		for _, wrong := range solver.Verify(d, r) {
			t.Error(wrong)
		}
		if r.Placed[1].Mode != c.mode || r.Cost != min(c.handover, 30) {
			t.Errorf("a handover of %d: mode %d, cost %d", c.handover, r.Placed[1].Mode, r.Cost)
		}
	}
}

// Three slots of work, a closed slot among the first four: whole work goes
// behind it, other work bridges it.
func TestWholeWorkIsNotSplit(t *testing.T) {
	t.Parallel()
	for _, whole := range []bool{false, true} {
		d := solver.Data{Slots: 8, Calendars: []solver.Calendar{always(8, 2)},
			Resources:  []solver.Resource{{Capacity: amounts(1, 1, 1, 1, 1, 1, 1, 1)}},
			Activities: []solver.Activity{{Modes: []solver.Mode{{Slots: 3, Whole: whole, Uses: []solver.Use{{Resource: 0, Amount: 1}}}}, Absent: 100}},
			Makespan:   1,
		}
		r := solve(t, d, 50, 1)
		for _, wrong := range solver.Verify(d, r) {
			t.Error(wrong)
		}
		want := solver.Placement{Start: 0, End: 3}
		if whole {
			want = solver.Placement{Start: 3, End: 5}
		}
		if r.Placed[0] != want {
			t.Errorf("whole %v: placed %v, want %v", whole, r.Placed[0], want)
		}
		r.Placed[0] = solver.Placement{Start: 1, End: 4}
		r.Cost = solver.Price(d, r.Placed)
		if wrong := solver.Verify(d, r); (len(wrong) > 0) != whole {
			t.Errorf("whole %v: slots 1 to 4 with 2 closed: %q", whole, wrong)
		}
	}
}
