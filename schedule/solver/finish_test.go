package solver_test

import (
	"context"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"toeboard/schedule/solver"
)

// The optimum is that of testdata/psplib/best_known.csv, proven there.
func TestALongSearchEndsWithAProof(t *testing.T) {
	t.Parallel()
	d := instance(t, filepath.Join(library, "j30", "j3041_1.sm"))
	want := solver.Cost(bestKnown(t)["j3041_1"].upper)
	for _, workers := range []int{1, 2} {
		var results [2]solver.Result
		for k := range results {
			last := solver.Progress{}
			r, err := solver.Solve(context.Background(), d, solver.Stop{Schedules: 50_000, Workers: workers, Progress: func(p solver.Progress) {
				if p.Schedules <= last.Schedules || last.Best > 0 && p.Best > last.Best || p.Bound < last.Bound {
					t.Errorf("%d workers: after %+v came %+v", workers, last, p)
				}
				last = p
			}}, 1)
			if err != nil {
				t.Fatal(err)
			}
			for _, wrong := range solver.Verify(d, r) {
				t.Error(wrong)
			}
			if last.Best != r.Cost || last.Bound != r.Bound || last.Schedules != r.Schedules {
				t.Errorf("%d workers: last told %+v, the result costs %d after %d, bound %d", workers, last, r.Cost, r.Schedules, r.Bound)
			}
			results[k] = r
		}
		r := results[0]
		if r.Cost != want || r.Bound != want || r.Schedules >= 50_000 || r.Schedules <= 45_000 {
			t.Errorf("%d workers: cost %d, bound %d after %d schedules; the optimum is %d", workers, r.Cost, r.Bound, r.Schedules, want)
		}
		if !reflect.DeepEqual(results[0], results[1]) {
			t.Errorf("%d workers: the same seed gave two plans", workers)
		}
	}
}

func TestABudgetIsKeptThatNoProofEnds(t *testing.T) {
	t.Parallel()
	d := instance(t, filepath.Join(library, "j60", "j609_1.sm"))
	for _, schedules := range []int{19_999, 20_000, 23_456, 55_000} {
		r, err := solver.Solve(context.Background(), d, solver.Stop{Schedules: schedules, Workers: 3}, 1)
		if err != nil {
			t.Fatal(err)
		}
		for _, wrong := range solver.Verify(d, r) {
			t.Error(wrong)
		}
		if r.Bound < r.Cost && r.Schedules != schedules || r.Schedules > schedules || r.Bound > solver.Cost(bestKnown(t)["j609_1"].upper) {
			t.Errorf("%d schedules of %d, cost %d, bound %d", r.Schedules, schedules, r.Cost, r.Bound)
		}
	}
}

// TestTheExactSearchEndsWithItsContext stops it in the first stretch that is
// told of after it began.
func TestTheExactSearchEndsWithItsContext(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	d := instance(t, filepath.Join(library, "j120", "j12036_1.sm"))
	var ended time.Time
	r, err := solver.Solve(ctx, d, solver.Stop{Schedules: 20_000, Progress: func(p solver.Progress) {
		if p.Schedules == 15_000 { // the genetic search has one stretch left before the exact one
			time.AfterFunc(300*time.Millisecond, func() { ended = time.Now(); cancel() })
		}
	}}, 1)
	back := time.Now()
	if err != nil {
		t.Fatal(err)
	}
	for _, wrong := range solver.Verify(d, r) {
		t.Error(wrong)
	}
	<-ctx.Done()
	late := back.Sub(ended)
	if r.Schedules >= 20_000 || late > 2*time.Second { // it is some milliseconds where others do not take the processor
		t.Errorf("%d schedules, %v after the end", r.Schedules, late)
	}
	t.Logf("%d schedules, back %v after the end", r.Schedules, late)
}
