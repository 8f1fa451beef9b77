package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"toeboard/schedule/solver"
)

const instanceFolder = "../../testdata/psplib/j30"

func solvedSample(t *testing.T, ctx context.Context, name string, schedules int) solvedFile {
	t.Helper()
	v := solveVerb{File: filepath.Join(instanceFolder, name), Schedules: schedules, Workers: 1, Seed: 1, Quiet: true}
	in, err := readInstance(v.File)
	if err != nil {
		t.Fatal(err)
	}
	s, err := v.solve(ctx, in)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// j301_1 takes 43 (testdata/psplib/best_known.csv).
func TestSolvePrintsTheScheduleWithin100Columns(t *testing.T) {
	t.Parallel()
	s := solvedSample(t, t.Context(), "j301_1.sm", 2000)
	var b strings.Builder
	if err := s.print(&b); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(b.String(), "Makespan 43 slots") {
		t.Errorf("the published makespan, 43, is not said:\n%s", b.String())
	}
	lines := strings.Split(b.String(), "\n")
	for _, l := range lines {
		if len(l) > 100 {
			t.Errorf("%d columns: %q", len(l), l)
		}
	}
	for i, at := range s.result.Placed {
		row := fmt.Sprintf("%6d %12s ", s.jobs[i], fmt.Sprintf("%d-%d", at.Start, at.End))
		bar := strings.Repeat(" ", int(at.Start)) + strings.Repeat("x", int(at.End-at.Start)+1)
		found := false
		for _, l := range lines {
			found = found || strings.HasPrefix(l, row) && strings.NewReplacer("=", "x", "#", "x").Replace(l[len(row):]) == bar
		}
		if !found {
			t.Errorf("job %d, slots %d to %d, has no line with such a bar", s.jobs[i], at.Start, at.End)
		}
	}
}

// A textbook case: 2 (5 slots) before 4 (2 slots), 3 (1 slot) beside them. The
// path is 2, 4 and takes 7; 3 has six slots of float.
func TestSolveMarksWhatCannotEndLater(t *testing.T) {
	t.Parallel()
	const text = "jobs (incl. supersource/sink ): 5\n" +
		"PRECEDENCE RELATIONS:\n1 1 2 2 3\n2 1 1 4\n3 1 1 5\n4 1 1 5\n5 1 0\n" +
		"REQUESTS/DURATIONS:\n1 1 0 0\n2 1 5 1\n3 1 1 1\n4 1 2 1\n5 1 0 0\n" +
		"RESOURCEAVAILABILITIES:\n2\n"
	d, jobs, err := solver.ReadPSPLIBJobs(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	s := solvedFile{instanceFile: instanceFile{name: "textbook", data: d, jobs: jobs}, bound: 7,
		result: solver.Result{Cost: 7, Placed: []solver.Placement{{Start: 0, End: 4}, {Start: 0, End: 0}, {Start: 5, End: 6}}}}
	var b strings.Builder
	if err := s.print(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"     2          0-4 #####\n", "     3          0-0 =\n", "     4          5-6      ##\n",
		"      R1    2   57% #555555\n", // 8 of 14: both in the first slot, one of two after it
		"no schedule is shorter",
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("%q is missing in\n%s", want, b.String())
		}
	}
	s.bound = 5
	if says := s.says(); !strings.Contains(says, "gap 40.0%") || !strings.Contains(says, "not known") {
		t.Errorf("7 over a bound of 5 is 40%%, and not known to be the shortest: %q", says)
	}
}

// A hard one, 93 (testdata/psplib/best_known.csv).
func TestSolveProvesWhatItShows(t *testing.T) {
	t.Parallel()
	v := solveVerb{File: filepath.Join(instanceFolder, "j3025_1.sm"), Schedules: 10, Prove: 20_000, Workers: 1, Seed: 1, Quiet: true}
	in, err := readInstance(v.File)
	if err != nil {
		t.Fatal(err)
	}
	s, err := v.solve(t.Context(), in)
	if err != nil {
		t.Fatal(err)
	}
	if s.makespan() != 93 || s.bound != 93 || s.deadEnds == 0 {
		t.Errorf("makespan %d, bound %d after %d dead ends; 93 is the proven optimum", s.makespan(), s.bound, s.deadEnds)
	}
}

func TestSolveInterruptedGivesTheBestSoFar(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	s := solvedSample(t, ctx, "j3013_1.sm", 1_000_000)
	if !s.stopped || s.makespan() < 58 { // 58: testdata/psplib/best_known.csv
		t.Errorf("stopped %v, makespan %d", s.stopped, s.makespan())
	}
	var b strings.Builder
	if err := s.print(&b); err != nil || !strings.Contains(b.String(), "Stopped before its end") {
		t.Errorf("%v, and it does not say that it was stopped:\n%s", err, b.String())
	}
}

func TestSolveNamesFileLineAndField(t *testing.T) {
	t.Parallel()
	good, err := os.ReadFile(filepath.Join(instanceFolder, "j301_1.sm"))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "broken.sm")
	if err := os.WriteFile(path, []byte(strings.Replace(string(good), "  3      1     4      10 ", "  3      1     4      1O ", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err = readInstance(path)
	if err == nil || !strings.Contains(err.Error(), path+`: line 57: number 4 of the row is "1O"`) {
		t.Errorf("the letter O in line 57 is not named: %v", err)
	}
	for flag, v := range map[string]solveVerb{"--schedules": {Schedules: -1, Workers: 1}, "--seconds": {Seconds: -1, Workers: 1}, "--workers": {}} {
		if err := v.check(); err == nil || !strings.Contains(err.Error(), flag) {
			t.Errorf("%s: %v", flag, err)
		}
	}
}

func TestAFileIsWrittenWholeOrNotAtAll(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "out.svg")
	if err := os.WriteFile(path, []byte("before"), 0o600); err != nil {
		t.Fatal(err)
	}
	broken := errors.New("broken")
	err := writeWhole(path, func(w io.Writer) error { _, _ = io.WriteString(w, "half"); return broken })
	if !errors.Is(err, broken) {
		t.Errorf("%v", err)
	}
	left, _ := filepath.Glob(filepath.Join(filepath.Dir(path), "*"))
	if b, _ := os.ReadFile(path); string(b) != "before" || len(left) != 1 {
		t.Errorf("the file holds %q, the folder %v", b, left)
	}
	if err := writeWhole(path, solvedSample(t, t.Context(), "j301_1.sm", 50).gantt().WriteSVG); err != nil {
		t.Fatal(err)
	}
	if b, _ := os.ReadFile(path); !strings.HasPrefix(string(b), "<svg") || !strings.HasSuffix(strings.TrimSpace(string(b)), "</svg>") {
		t.Error("no whole picture was written")
	}
}
