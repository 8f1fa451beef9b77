package solver_test

import (
	"context"
	"fmt"
	"reflect"
	"runtime"
	"testing"

	"pgregory.net/rapid"

	"toeboard/schedule/solver"
)

// larger is a firm of so many chains of three over people who travel, enough
// that no search is done with it soon.
func larger(chains, people int) solver.Data {
	slots := solver.Slot(120)
	d := solver.Data{Slots: slots, Calendars: []solver.Calendar{always(int(slots), 40, 41, 42, 43)},
		Trip: func(a, b solver.Place) solver.Cost { return solver.Cost(3*max(a-b, b-a)) % 101 }}
	one, idle := make([]solver.Amount, slots), make([]solver.Cost, slots)
	for s := range one {
		one[s], idle[s] = 1, solver.Cost(int(slots)-s)
	}
	var modes [4][]solver.Mode
	for r := range people {
		d.Resources = append(d.Resources, solver.Resource{Capacity: one, Idle: idle, Tour: &solver.Tour{Home: solver.Place(r), Slots: 2}})
		for n := 1; n <= 3; n++ {
			modes[n] = append(modes[n], solver.Mode{Slots: solver.Slot(n), Uses: []solver.Use{{Resource: r, Amount: 1}}, Who: r + 1})
		}
	}
	for j := range chains {
		late := make([]solver.Cost, slots)
		for s := 7 * j % 90; s < int(slots); s++ {
			late[s] = solver.Cost(20 * (s - 7*j%90))
		}
		var g solver.Group
		for k := range 3 {
			a := solver.Activity{Modes: modes[1+(j+k)%3], Absent: 5000, Place: solver.Place(people + j), Release: solver.Slot(j % 9)}
			if k > 0 {
				a.After = []solver.Link{{Activity: 3*j + k - 1}}
			}
			if k == 2 {
				a.EndCost = late
				d.Handovers = append(d.Handovers, solver.Handover{First: 3 * j, Second: 3*j + 2, Cost: 30})
			}
			g = append(g, solver.Unit{Activities: []int{3*j + k}})
			d.Activities = append(d.Activities, a)
		}
		d.Groups = append(d.Groups, g)
	}
	return d
}

func TestWorkersGiveTheSamePlanOnAnyNumberOfCores(t *testing.T) {
	d := larger(40, 4)
	for _, workers := range []int{1, 2, 3} {
		var first solver.Result
		last := solver.Never
		for _, schedules := range []int{1, 2, 5, 40, 411, 900} {
			for _, cores := range []int{1, 4} {
				was := runtime.GOMAXPROCS(cores)
				r, err := solver.Solve(context.Background(), d, solver.Stop{Schedules: schedules, Workers: workers}, 7)
				runtime.GOMAXPROCS(was)
				if err != nil {
					t.Fatal(err)
				}
				for _, wrong := range solver.Verify(d, r) {
					t.Error(wrong)
				}
				if r.Schedules != schedules {
					t.Errorf("%d workers: %d schedules of %d", workers, r.Schedules, schedules)
				}
				if cores > 1 && !reflect.DeepEqual(r, first) {
					t.Errorf("%d workers, %d schedules: %d on one core, %d on four", workers, schedules, first.Cost, r.Cost)
				}
				first = r
			}
			if first.Cost > last {
				t.Errorf("%d workers: %d schedules cost %d, fewer cost %d", workers, schedules, first.Cost, last)
			}
			last = first.Cost
		}
	}
}

func TestWorkersOnAnySmallFirm(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawData(t)
		last := worth{len(d.Activities), solver.Never}
		for _, schedules := range []int{1, 3, 30, 150} {
			r, err := solver.Solve(context.Background(), d, solver.Stop{Schedules: schedules, Workers: 2}, 1)
			if err != nil {
				t.Fatal(err)
			}
			for _, wrong := range solver.Verify(d, r) {
				t.Errorf("%d schedules: %s", schedules, wrong)
			}
			is := worthOf(d, r)
			if is.worse(last) || r.Bound > r.Cost {
				t.Errorf("%d schedules come to %+v, fewer to %+v, the bound is %d", schedules, is, last, r.Bound)
			}
			last = is
		}
	})
}

// A search that is told to stop makes no more schedules than are under way, and
// says what it has; a search that was stopped before it began makes one.
func TestASearchStopsWhereItIsTold(t *testing.T) {
	t.Parallel()
	d := larger(40, 4)
	for _, workers := range []int{1, 2} {
		ctx, cancel := context.WithCancel(context.Background())
		told, best := 0, solver.Never
		r, err := solver.Solve(ctx, d, solver.Stop{Schedules: 1 << 30, Workers: workers, Progress: func(p solver.Progress) {
			if p.Schedules < told || p.Best > best || p.Bound > p.Best || p.Bound <= 0 && p.Schedules > 1 {
				t.Errorf("told %+v after %d schedules that cost %d", p, told, best)
			}
			if told, best = p.Schedules, p.Best; told > 500 {
				cancel()
			}
		}}, 1)
		if err != nil || r.Schedules != told || r.Cost != best || len(solver.Verify(d, r)) > 0 {
			t.Errorf("stopped after %d schedules at %d: %d schedules, cost %d, %v", told, best, r.Schedules, r.Cost, err)
		}
		r, err = solver.Solve(ctx, d, solver.Stop{Schedules: 1 << 30, Workers: workers}, 1)
		if err != nil || r.Schedules > workers || len(solver.Verify(d, r)) > 0 {
			t.Errorf("%d workers, stopped before it began: %d schedules, %v", workers, r.Schedules, err)
		}
		cancel()
	}
}

// The booked day of the second saves more than the first's best day: the first
// has to leave its best day for it.
func TestAnAgreedDayIsFoundAroundWhichTheRestIsDearer(t *testing.T) {
	t.Parallel()
	early := []solver.Cost{0, 10, 20, 30, 40, 50, 60, 70}
	moved := []solver.Cost{90, 90, 90, 90, 0, 90, 90, 90}
	use := func(r int) []solver.Use { return []solver.Use{{Resource: r, Amount: 1}} }
	d := solver.Data{Slots: 8, Calendars: []solver.Calendar{always(8)},
		Resources: []solver.Resource{{Capacity: amounts(1, 1, 1, 1, 1, 1, 1, 1)}, {Capacity: amounts(1, 1, 1, 1, 1, 1, 1, 1)}, {Capacity: amounts(1, 1, 1, 1, 1, 1, 1, 1)}},
		Activities: []solver.Activity{
			{Modes: []solver.Mode{{Slots: 1, Uses: use(0), StartCost: early}}, Absent: 1000, After: []solver.Link{{Activity: 1}}},
			{Modes: []solver.Mode{{Slots: 1, Uses: use(1), StartCost: moved, Release: 2, Also: []solver.Slot{1, 4}}, {Slots: 1, Uses: use(2), Cost: 95}}, Absent: 1000},
		},
		Groups: []solver.Group{{{Activities: []int{0, 1}, Tied: []int{1}}}},
	}
	r := solve(t, d, 1, 1)
	for _, wrong := range solver.Verify(d, r) {
		t.Error(wrong)
	}
	if fmt.Sprint(r.Placed) != "[{0 5 5} {0 4 4}]" || r.Cost != 50 {
		t.Errorf("the first plan is %v and costs %d, it could be slots 5 and 4 for 50", r.Placed, r.Cost)
	}
}
