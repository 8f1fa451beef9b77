package solver_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"toeboard/schedule/solver"
)

// deviation gives the mean % above what is published over a sample: J30 above
// the shortest, others above the critical path, as the literature has it.
func deviation(t *testing.T, set string, schedules int) float64 {
	t.Helper()
	best, sum, n := bestKnown(t), 0.0, 0.0
	for name, d := range sample(t, set) {
		r, err := solver.Solve(context.Background(), d, solver.Stop{Schedules: schedules}, 1)
		if err != nil {
			t.Fatal(err)
		}
		for _, wrong := range solver.Verify(d, r) {
			t.Errorf("%s: %s", name, wrong)
		}
		k := best[name]
		if r.Cost < solver.Cost(k.lower) {
			t.Errorf("%s: makespan %d is below the published lower bound %d", name, r.Cost, k.lower)
		}
		if r.Bound > solver.Cost(k.upper) {
			t.Errorf("%s: bound %d is above the published schedule %d", name, r.Bound, k.upper)
		}
		if r.First < r.Cost || r.Schedules < 1 || r.Schedules > schedules {
			t.Errorf("%s: %d schedules of %d, first %d, best %d", name, r.Schedules, schedules, r.First, r.Cost)
		}
		base := k.path
		if set == "j30" {
			base = k.upper
		}
		sum += 100 * (float64(r.Cost)/float64(base) - 1)
		n++
	}
	return sum / n
}

// TestSchedulesOfTheLibrary holds the search against published schedules. The
// samples hold more of the hardest cells than the whole sets. Measured: 6.70,
// 0.38, 0.13; 19.21, 18.41; 53.55, 51.17%. Without crossover, each pass counted
// whole: 0.45, 0.15; 20.12, 19.22; 56.12, 53.86%.
func TestSchedulesOfTheLibrary(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		set       string
		schedules int
		limit     float64
	}{
		{"j30", 1, 8},
		{"j30", 1000, 0.55},
		{"j30", 5000, 0.35},
		{"j60", 1000, 20},
		{"j60", 5000, 19},
		{"j120", 1000, 55},
		{"j120", 5000, 52.4},
	} {
		t.Run(fmt.Sprintf("%s %d", c.set, c.schedules), func(t *testing.T) {
			t.Parallel()
			got := deviation(t, c.set, c.schedules)
			t.Logf("mean deviation %.3f%%", got)
			if got > c.limit {
				t.Errorf("mean deviation %.3f%%, more than %.2f%%", got, c.limit)
			}
		})
	}
}

func TestSameSeedAndWorkersSamePlan(t *testing.T) {
	t.Parallel()
	d := instance(t, filepath.Join(library, "j60", "j609_1.sm"))
	for _, workers := range []int{0, 1, 2, 3} {
		var results [2]solver.Result
		for k := range results {
			r, err := solver.Solve(context.Background(), d, solver.Stop{Schedules: 7001, Workers: workers}, 5)
			if err != nil {
				t.Fatal(err)
			}
			if r.Schedules != 7001 {
				t.Errorf("%d workers made %d schedules, 7001 were asked for", workers, r.Schedules)
			}
			results[k] = r
		}
		if !reflect.DeepEqual(results[0], results[1]) {
			t.Errorf("%d workers: the same seed gave two plans", workers)
		}
	}
}

func TestFewSchedulesOfManyWorkers(t *testing.T) {
	t.Parallel()
	d := instance(t, filepath.Join(library, "j30", "j3013_1.sm"))
	for schedules := range 10 {
		r, err := solver.Solve(context.Background(), d, solver.Stop{Schedules: schedules, Workers: 4}, 1)
		if err != nil {
			t.Fatal(err)
		}
		if r.Schedules != max(1, schedules) {
			t.Errorf("%d schedules were made, %d asked for", r.Schedules, schedules)
		}
		for _, wrong := range solver.Verify(d, r) {
			t.Errorf("%d schedules: %s", schedules, wrong)
		}
	}
}

func TestProgressOnlyGetsBetter(t *testing.T) {
	t.Parallel()
	d := instance(t, filepath.Join(library, "j120", "j12036_1.sm"))
	for _, workers := range []int{1, 2} {
		var told []solver.Progress
		r, err := solver.Solve(context.Background(), d, solver.Stop{Schedules: 6000, Workers: workers,
			Progress: func(p solver.Progress) { told = append(told, p) }}, 1)
		if err != nil {
			t.Fatal(err)
		}
		if len(told) < 3 {
			t.Fatalf("%d workers: told %d times", workers, len(told))
		}
		for k := 1; k < len(told); k++ {
			if told[k].Schedules <= told[k-1].Schedules || told[k].Best > told[k-1].Best || told[k].Bound < told[k-1].Bound {
				t.Errorf("%d workers: after %+v came %+v", workers, told[k-1], told[k])
			}
		}
		if last := told[len(told)-1]; last.Best != r.Cost || last.Schedules != r.Schedules || last.Bound != r.Bound || last.Bound > last.Best {
			t.Errorf("%d workers: last told %+v, the result costs %d after %d, bound %d", workers, last, r.Cost, r.Schedules, r.Bound)
		}
	}
}

func TestEndedContextLeavesAPlan(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	d := instance(t, filepath.Join(library, "j60", "j609_1.sm"))
	r, err := solver.Solve(ctx, d, solver.Stop{Schedules: 1 << 40, Workers: 2}, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, wrong := range solver.Verify(d, r) {
		t.Error(wrong)
	}
	if r.Schedules > 100 {
		t.Errorf("%d schedules after the end", r.Schedules)
	}
}

// TestSchedulesTakeNoMemory counts what a longer search allocates beyond a
// shorter one with as many schedules side by side. Not parallel: others would
// be counted.
func TestSchedulesTakeNoMemory(t *testing.T) {
	d := instance(t, filepath.Join(library, "j60", "j609_1.sm"))
	allocations := func(schedules int) float64 {
		return testing.AllocsPerRun(1, func() {
			r, err := solver.Solve(context.Background(), d, solver.Stop{Schedules: schedules}, 1)
			if err != nil || r.Schedules != schedules {
				t.Fatalf("%d schedules of %d: %v", r.Schedules, schedules, err)
			}
		})
	}
	short, long := allocations(70_000), allocations(80_000)
	if each := (long - short) / 10_000; each > 0.05 {
		t.Errorf("%.3f allocations a schedule, less than 0.05 is right", each)
	}
}

// change applies to a problem something that changes no plan's feasibility.
func change(d solver.Data, of func(d *solver.Data, uses []solver.Use) []solver.Use) solver.Data {
	d.Activities, d.Resources = slices.Clone(d.Activities), slices.Clone(d.Resources)
	for i := range d.Activities {
		m := d.Activities[i].Modes[0]
		m.Uses = of(&d, slices.Clone(m.Uses))
		d.Activities[i].Modes = []solver.Mode{m}
	}
	return d
}

// TestHoweverResourcesAreWrittenThePlanIsTheSame solves instances again in
// thousands of a unit, which are counted in wider lanes, and with each resource
// written twice, which takes several words a slot.
func TestHoweverResourcesAreWrittenThePlanIsTheSame(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"j301_1", "j3013_1", "j3029_1"} {
		d := instance(t, filepath.Join(library, "j30", name+".sm"))
		thousands := change(d, func(d *solver.Data, uses []solver.Use) []solver.Use {
			for k := range uses {
				uses[k].Amount *= 10_000
			}
			return uses
		})
		for r := range thousands.Resources {
			capacity := slices.Clone(d.Resources[r].Capacity)
			for s := range capacity {
				capacity[s] *= 10_000
			}
			thousands.Resources[r].Capacity = capacity
		}
		twice := change(d, func(d *solver.Data, uses []solver.Use) []solver.Use {
			for _, u := range uses {
				uses = append(uses, solver.Use{Resource: u.Resource + len(d.Resources), Amount: u.Amount})
			}
			return uses
		})
		twice.Resources = append(twice.Resources, d.Resources...)
		want := solve(t, d, 3000, 1)
		for what, other := range map[string]solver.Data{"thousands": thousands, "twice": twice} {
			got := solve(t, other, 3000, 1)
			if !reflect.DeepEqual(got.Placed, want.Placed) {
				t.Errorf("%s, %s: makespan %d, as published %d; the plans differ", name, what, got.Cost, want.Cost)
			}
			for _, wrong := range solver.Verify(other, got) {
				t.Errorf("%s, %s: %s", name, what, wrong)
			}
		}
	}
}

// permuted is the same problem with its activities in another order.
func permuted(d solver.Data, seed uint64) solver.Data {
	place := rand.New(rand.NewPCG(seed, 0)).Perm(len(d.Activities))
	out := make([]solver.Activity, len(d.Activities))
	for i, a := range d.Activities {
		a.After = slices.Clone(a.After)
		for k := range a.After {
			a.After[k].Activity = place[a.After[k].Activity]
		}
		out[place[i]] = a
	}
	d.Activities = out
	return d
}

// TestSmallProjectsAreSolvedInAnyOrder holds plain problems with releases and
// lags against the shortest plan that there is, found by trying all of them,
// and against themselves with the activities numbered differently.
func TestSmallProjectsAreSolvedInAnyOrder(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawPlain(t)
		seed := rapid.Uint64().Draw(t, "seed")
		want := solver.Cost(shortest(d))
		for what, other := range map[string]solver.Data{"as drawn": d, "renumbered": permuted(d, seed)} {
			r := solve(t, other, 1500, seed)
			for _, wrong := range solver.Verify(other, r) {
				t.Errorf("%s: %s", what, wrong)
			}
			if r.Cost != want || r.Bound > want {
				t.Errorf("%s: makespan %d, bound %d; the shortest is %d", what, r.Cost, r.Bound, want)
			}
		}
	})
}

// BenchmarkSchedules generates schedules of a hard instance of each size; the
// time for setting up is in it.
func BenchmarkSchedules(b *testing.B) {
	for _, path := range []string{"j30/j3013_1.sm", "j60/j6013_1.sm", "j120/j12036_1.sm"} {
		b.Run(path, func(b *testing.B) {
			d := instance(b, filepath.Join(library, filepath.FromSlash(path)))
			b.ReportAllocs()
			made := 0
			for b.Loop() {
				r, err := solver.Solve(context.Background(), d, solver.Stop{Schedules: 5000}, 1)
				if err != nil {
					b.Fatal(err)
				}
				made += r.Schedules
			}
			b.ReportMetric(float64(made)/b.Elapsed().Seconds(), "schedules/s")
		})
	}
}
