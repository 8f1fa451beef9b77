package main

import (
	"bytes"
	"context"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"toeboard/schedule/solver"
)

// Instances and published results: Kolisch and Sprecher 1996 (PSPLIB) and the
// tables named in testdata/psplib/best_known.csv.
const library = "../../testdata/psplib/j30"

// bench runs one command line.
func bench(t *testing.T, args ...string) (code int, result, notes string) {
	t.Helper()
	var r, n bytes.Buffer
	code = run(context.Background(), args, out{&r, &n})
	return code, r.String(), n.String()
}

func TestTheSampleByJSON(t *testing.T) {
	t.Parallel()
	code, result, notes := bench(t, "solver", library, "--hard", "--schedules", "200", "--json")
	if code != 0 {
		t.Fatalf("status %d: %s", code, notes)
	}
	var row map[string]any
	if err := json.Unmarshal([]byte(result), &row); err != nil {
		t.Fatalf("not one object on one line: %v\n%s", err, result)
	}
	want := []string{"set", "instances", "mean_dev_ref_pct", "mean_gap_best_pct", "matched_pct", "schedules_per_s",
		"allocs_per_schedule", "proven_pct", "mean_gap_bound_pct", "mean_bound_below_best_pct", "bound_is_best_pct", "seed", "schedules", "seconds", "workers",
		"reference", "schedules_made", "took_s", "ended_by_time", "prove", "found_by_proof", "proving_s"}
	slices.Sort(want)
	if got := slices.Sorted(maps.Keys(row)); !slices.Equal(got, want) {
		t.Errorf("keys %v, promised are %v", got, want)
	}
	if row["set"] != "j30" || row["instances"] != 10.0 {
		t.Errorf("%v of %v, the sample has the first instance of ten hard cells of j30", row["instances"], row["set"])
	}
	if dev, ok := row["mean_dev_ref_pct"].(float64); !ok || dev < 0 || dev > 12 {
		t.Errorf("mean deviation from the optimum is %v%%, one schedule by a priority rule alone is about 5 to 10%% above it", row["mean_dev_ref_pct"])
	}
}

// All of the sample are proven in the published table.
func TestTheExactSearchProvesMostOfTheSample(t *testing.T) {
	t.Parallel()
	code, result, notes := bench(t, "solver", library, "--schedules", "50", "--prove", "1000", "--every", "2", "--json")
	if code != 0 {
		t.Fatalf("status %d: %s", code, notes)
	}
	var row setRow
	if err := json.Unmarshal([]byte(result), &row); err != nil {
		t.Fatal(err)
	}
	if row.Proven < 80 || row.ByProof == 0 || row.Matched == nil || *row.Matched < row.Proven {
		t.Errorf("%.0f%% proven, %d found by proof: %s", row.Proven, row.ByProof, result)
	}
}

func TestTheSameSeedGivesTheSameSchedules(t *testing.T) {
	t.Parallel()
	args := []string{"solver", library, "--every", "6", "--schedules", "300", "--seed", "7", "--each"}
	lines := func() []string {
		code, result, notes := bench(t, args...)
		if code != 0 {
			t.Fatalf("status %d: %s", code, notes)
		}
		return strings.Split(result, "\n")[:8] // one line each of the 47 of which every sixth is asked for
	}
	first := lines()
	for _, l := range first {
		if !strings.Contains(l, "best known") {
			t.Errorf("%q is no instance", l)
		}
	}
	if again := lines(); !slices.Equal(first, again) {
		t.Errorf("first %v, then %v", first, again)
	}
}

func TestWithoutPublishedResultsNothingIsCompared(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	b, err := os.ReadFile(filepath.Join(library, "j301_1.sm"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "ours.sm"), b, 0o600); err != nil {
		t.Fatal(err)
	}
	code, result, notes := bench(t, "solver", dir, "--schedules", "50", "--json")
	if code != 0 {
		t.Fatalf("status %d: %s", code, notes)
	}
	if !strings.Contains(result, `"set":"j30"`) || !strings.Contains(result, `"mean_dev_ref_pct":null`) || !strings.Contains(result, `"matched_pct":null`) {
		t.Errorf("30 activities are the set j30, and without a table nothing is known of the optimum: %s", result)
	}
}

func TestWhatIsRefused(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	table := filepath.Join(dir, "best.csv")
	if err := os.WriteFile(table, []byte("instance,lower_bound,upper_bound,proved_optimal\nj301_1,44,43,1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"solver", dir}, "a folder with instances"},
		{[]string{"solver", library, "--every", "0"}, "--every"},
		{[]string{"solver", library, "--seconds=-1"}, "--seconds"},
		{[]string{"solver", library, "--workers", "0"}, "--workers"},
		{[]string{"solver", library, "--best", table}, "row 2"},
		{[]string{"solver", library, "--only", "j301_77"}, "of which some are asked for"},
	} {
		code, result, notes := bench(t, c.args...)
		if code == 0 || !strings.Contains(notes, c.says) {
			t.Errorf("%v: status %d, %q; %q is missing", c.args, code, notes+result, c.says)
		}
	}
}

// TestAWrongScheduleEndsTheRun damages a good schedule in each way that the
// check is there for.
func TestAWrongScheduleEndsTheRun(t *testing.T) {
	t.Parallel()
	d, err := readInstance(filepath.Join(library, "j301_1.sm"))
	if err != nil {
		t.Fatal(err)
	}
	good, err := solver.Solve(t.Context(), d, solver.Stop{Schedules: 100}, 1)
	if err != nil {
		t.Fatal(err)
	}
	ok := solved{makespan: solver.Slot(good.Cost), bound: 38, instance: instance{best: &best{lower: 43, upper: 43, proven: true}}}
	if err := ok.verify(d, good); err != nil {
		t.Fatalf("a good schedule: %v", err)
	}
	for what, damage := range map[string]func(s *solved, r *solver.Result){
		"fails its check":                     func(s *solved, r *solver.Result) { toTheFront(d, r) },
		"the cost is":                         func(s *solved, r *solver.Result) { r.Cost-- },
		"leaves activity":                     func(s *solved, r *solver.Result) { leaveOut(d, r) },
		"below the bound":                     func(s *solved, r *solver.Result) { s.bound = s.makespan + 1 },
		"below the published lower bound":     func(s *solved, r *solver.Result) { s.best.lower = s.makespan + 1 },
		"above the published schedule of 42:": func(s *solved, r *solver.Result) { s.bound, s.best.upper = 43, 42 },
	} {
		s, r := ok, good
		b := *ok.best
		s.best, r.Placed = &b, slices.Clone(good.Placed)
		damage(&s, &r)
		if err := s.verify(d, r); err == nil || !strings.Contains(err.Error(), what) {
			t.Errorf("%s: the check says %v", what, err)
		}
	}
}

// toTheFront moves an activity that waits for others before all of them.
func toTheFront(d solver.Data, r *solver.Result) {
	for i, a := range d.Activities {
		if at := &r.Placed[i]; len(a.After) > 0 {
			at.Start, at.End = 0, at.End-at.Start
			return
		}
	}
}

// leaveOut takes out an activity that no other waits for; the cost follows.
func leaveOut(d solver.Data, r *solver.Result) {
	for i := range d.Activities {
		waited := slices.ContainsFunc(d.Activities, func(a solver.Activity) bool {
			return slices.ContainsFunc(a.After, func(l solver.Link) bool { return l.Activity == i })
		})
		if !waited {
			r.Placed[i] = solver.Placement{Mode: -1}
			r.Cost = solver.Price(d, r.Placed)
			return
		}
	}
}

func TestNamesOfTheLibrary(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]instance{
		"j301_10": {set: "j30", cell: 1, number: 10}, "j3048_3": {set: "j30", cell: 48, number: 3},
		"j12060_10": {set: "j120", cell: 60, number: 10}, "J9013_2": {set: "j90", cell: 13, number: 2},
		"RG300_17": {set: "rg300", cell: 17}, "pat9": {},
	} {
		in := instance{name: name}
		ok := in.readName()
		want.name = name
		if in != want || ok != (want.set != "") {
			t.Errorf("%s: read as %+v", name, in)
		}
	}
}
