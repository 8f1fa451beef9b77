package solver_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"toeboard/schedule/solver"
)

// Instances and bounds: Kolisch and Sprecher 1996 (PSPLIB) and the solution
// tables named in testdata/psplib/best_known.csv.
const library = "../../testdata/psplib"

type known struct{ lower, upper, path solver.Slot }

func bestKnown(t testing.TB) map[string]known {
	t.Helper()
	f, err := os.Open(filepath.Join(library, "best_known.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]known{}
	for _, row := range rows[1:] {
		n := [3]solver.Slot{}
		for i := range n {
			v, err := strconv.Atoi(row[2+i])
			if err != nil {
				t.Fatal(err)
			}
			n[i] = solver.Slot(v)
		}
		out[row[0]] = known{n[0], n[1], n[2]}
	}
	return out
}

func instance(t testing.TB, path string) solver.Data {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	d, err := solver.ReadPSPLIB(bytes.NewReader(b))
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return d
}

func instances(t testing.TB) map[string]solver.Data { return sample(t, "j30") }

// sample reads the instances of one set that are kept here.
func sample(t testing.TB, set string) map[string]solver.Data {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(library, set, "*.sm"))
	if err != nil || len(paths) == 0 {
		t.Fatalf("no instances: %v", err)
	}
	out := map[string]solver.Data{}
	for _, path := range paths {
		out[strings.TrimSuffix(filepath.Base(path), ".sm")] = instance(t, path)
	}
	return out
}

// pathOnly takes the resources away: what is left of Bound is the longest path.
func pathOnly(d solver.Data) solver.Data {
	d.Resources = nil
	d.Activities = append([]solver.Activity(nil), d.Activities...)
	for i := range d.Activities {
		m := d.Activities[i].Modes[0]
		m.Uses = nil
		d.Activities[i].Modes = []solver.Mode{m}
	}
	return d
}

func TestCriticalPathAsPublished(t *testing.T) {
	t.Parallel()
	best := bestKnown(t)
	for name, d := range instances(t) {
		free := pathOnly(d)
		if got := solver.Bound(&free); got != best[name].path {
			t.Errorf("%s: critical path %d, published %d", name, got, best[name].path)
		}
	}
}

func TestReadPSPLIBNamesWhatIsWrong(t *testing.T) {
	t.Parallel()
	good, err := os.ReadFile(filepath.Join(library, "j30", "j301_1.sm"))
	if err != nil {
		t.Fatal(err)
	}
	for what, change := range map[string][2]string{
		"has 2 modes":                            {"   2        1          3           6  11  15", "   2        2          3           6  11  15"},
		"as many successors":                     {"   2        1          3           6  11  15", "   2        1          3           6  11"},
		"followed by 99":                         {"   2        1          3           6  11  15", "   2        1          3           6  11  99"},
		"comes before itself":                    {"   7        1          1          27", "   7        1          1           3"},
		"demands":                                {"  3      1     4      10    0    0    0", "  3      1     4      10    0    5    0"},
		"number of jobs":                         {"jobs (incl. supersource/sink ):  32", "jobs (incl. supersource/sink ):  -1"},
		"durations of":                           {"jobs (incl. supersource/sink ):  32", "jobs (incl. supersource/sink ):  33"},
		"where 3 is due":                         {"  3      1     4      10    0    0    0", "  4      1     4      10    0    0    0"},
		"demands 3 resources":                    {"  3      1     4      10    0    0    0", "  3      1     4      10    0    0"},
		"which does not exist":                   {"  29        1          1          32", "  29        1          1          33"},
		"line 21: number 3 of the row is \"1x\"": {"   3        1          3           7   8  13", "   3        1          1x           7   8  13"},
		"line 58: number 4 of the row is \"-3\"": {"  4      1     6       0    0    0    3", "  4      1     6      -3    0    0    3"},
		"from 0 to 1000000":                      {"  4      1     6       0    0    0    3", "  4      1     99999999999999999999       0    0    0    3"},
		"line 21: the successors of job 2 stand in line 20": {"   3        1          3           7   8  13", "   2        1          3           7   8  13"},
		"followed by 7 twice":                               {"   3        1          3           7   8  13", "   3        1          3           7   7  13"},
		"only renewable ones":                               {"- nonrenewable              :  0   N", "- nonrenewable              :  2   N"},
		"the file promises 5":                               {"- renewable                 :  4   R", "- renewable                 :  5   R"},
		"renewable resources is":                            {"- renewable                 :  4   R", "- renewable                 :  999   R"},
		"the successors of 31":                              {"   5        1          1          20\n", ""},
		"only mode 1":                                       {"  4      1     6       0    0    0    3", "  4      2     6       0    0    0    3"},
		"a second time":                                     {"RESOURCEAVAILABILITIES:", "PRECEDENCE RELATIONS:"},
		"capacities are missing":                            {"   12   13    4   12\n", ""},
		"already":                                           {"   12   13    4   12\n", "   12   13    4   12\n   12   13    4   12\n"},
		"number of jobs is missing":                         {"jobs (incl. supersource/sink ):  32\n", ""},
		"durations sum to":                                  {"  4      1     6       0    0    0    3", "  4      1     1000000       0    0    0    3"},
	} {
		text := strings.Replace(string(good), change[0], change[1], 1)
		if text == string(good) {
			t.Fatalf("%s: nothing was changed", what)
		}
		_, err := solver.ReadPSPLIB(strings.NewReader(text))
		if err == nil {
			t.Errorf("%s: read without complaint", what)
			continue
		}
		if !strings.Contains(err.Error(), what) {
			t.Errorf("%s is not in %q", what, err)
		}
	}
	if _, err := solver.ReadPSPLIB(strings.NewReader("")); err == nil {
		t.Error("an empty file was read without complaint")
	}
}

func TestReadPSPLIBRefusesWhatIsCutShortOrTooLarge(t *testing.T) {
	t.Parallel()
	good, err := os.ReadFile(filepath.Join(library, "j30", "j301_1.sm"))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(good), "\n")
	last := slices.IndexFunc(lines, func(l string) bool { return strings.HasPrefix(l, "   12   13    4   12") })
	for cut := range last + 1 {
		if _, err := solver.ReadPSPLIB(strings.NewReader(strings.Join(lines[:cut], ""))); err == nil {
			t.Errorf("the first %d lines were read without complaint, the capacities stand in line %d", cut, last+1)
		}
	}
	for what, text := range map[string]string{
		"xxxx...\"":                 strings.Replace(string(good), ":  32", ":  "+strings.Repeat("x", 1<<20), 1),
		"longer than 4194304 bytes": string(good) + strings.Repeat("*\n", 3<<20),
		"1 to 10000 is right":       strings.Replace(string(good), ":  32", ":  10001", 1),
		"pairs of jobs":             waitless(),
	} {
		if _, err := solver.ReadPSPLIB(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), what) {
			t.Errorf("%q is not in %v", what, err)
		}
	}
	again, err := solver.ReadPSPLIB(strings.NewReader("\ufeff" + strings.ReplaceAll(string(good), "\n", "\r\n")))
	if first, _ := solver.ReadPSPLIB(bytes.NewReader(good)); err != nil || !reflect.DeepEqual(first, again) {
		t.Errorf("another system's line ends and byte order mark change what is read: %v", err)
	}
}

// waitless is a small file of jobs without time, each followed by the next and
// by the same thousand jobs that take time: a million links.
func waitless() string {
	var b strings.Builder
	b.WriteString("jobs (incl. supersource/sink ): 2000\nPRECEDENCE RELATIONS:\n")
	for job := 1; job <= 1000; job++ {
		fmt.Fprintf(&b, "%d 1 1 %d\n", job, job+1)
	}
	b.WriteString("1001 1 998")
	for job := 1003; job <= 2000; job++ {
		fmt.Fprintf(&b, " %d", job)
	}
	b.WriteString("\n")
	for job := 1002; job <= 2000; job++ {
		fmt.Fprintf(&b, "%d 1 0\n", job)
	}
	b.WriteString("REQUESTS/DURATIONS:\n")
	for job := 1; job <= 2000; job++ {
		fmt.Fprintf(&b, "%d 1 %d 0\n", job, job/1002)
	}
	b.WriteString("RESOURCEAVAILABILITIES:\n1\n")
	return b.String()
}

func TestReadPSPLIBKeepsTheFilesNumbers(t *testing.T) {
	t.Parallel()
	d, jobs, err := solver.ReadPSPLIBJobs(strings.NewReader("jobs (incl. supersource/sink ): 4\n" +
		"PRECEDENCE RELATIONS:\n1 1 1 2\n2 1 1 3\n3 1 1 4\n4 1 0\n" +
		"REQUESTS/DURATIONS:\n1 1 0 0\n2 1 5 1\n3 1 0 0\n4 1 2 1\n" +
		"RESOURCEAVAILABILITIES:\n1\n"))
	if err != nil {
		t.Fatal(err)
	}
	// Jobs 1 and 3 take no time, so job 4 waits for job 2 directly.
	if !slices.Equal(jobs, []int{2, 4}) || len(d.Activities[1].After) != 1 || d.Activities[1].After[0].Activity != 0 {
		t.Errorf("jobs %v, the second waits for %v", jobs, d.Activities[1].After)
	}
}

func FuzzReadPSPLIB(f *testing.F) {
	paths, _ := filepath.Glob(filepath.Join(library, "j30", "*_1.sm"))
	for _, path := range paths[:2] {
		b, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
		f.Add(b[:len(b)/2])
		f.Add(bytes.ReplaceAll(b, []byte("\n"), []byte("\r")))
		f.Add(bytes.ReplaceAll(b, []byte(" 1 "), []byte(" 0 ")))
		f.Add(bytes.ReplaceAll(b, []byte("RESOURCEAVAILABILITIES"), []byte("REQUESTS/DURATIONS")))
		f.Add(bytes.ReplaceAll(b, []byte("3"), []byte("99999999999999999999")))
	}
	for _, text := range []string{"", "\x00", "jobs (incl. supersource/sink ): 1\nPRECEDENCE RELATIONS:\n1 1 0\nREQUESTS/DURATIONS:\n1 1 1\nRESOURCEAVAILABILITIES:\n",
		"jobs (incl. supersource/sink ): 2\nPRECEDENCE RELATIONS:\n1 1 1 2\n2 1 1 1\n", "PRECEDENCE RELATIONS:\n1 1 0\n", "REQUESTS/DURATIONS:\njobnr.\nR 1\n"} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		d, jobs, err := solver.ReadPSPLIBJobs(bytes.NewReader(b))
		if err != nil {
			if text := err.Error(); strings.Contains(text, "\n") || len(text) > 1000 {
				t.Errorf("the error is no sentence: %q", text)
			}
			return
		}
		if len(jobs) != len(d.Activities) || !slices.IsSorted(jobs) {
			t.Errorf("jobs %v of %d activities", jobs, len(d.Activities))
		}
		if d.Slots > 2000 || len(d.Activities) > 200 {
			return
		}
		r, err := solver.Solve(context.Background(), d, solver.Stop{Schedules: 4}, 1)
		if err != nil {
			t.Fatalf("what was read cannot be solved: %v", err)
		}
		for _, wrong := range solver.Verify(d, r) {
			t.Error(wrong)
		}
		if bound := solver.Bound(&d); solver.Cost(bound) > r.Cost {
			t.Errorf("bound %d, but a plan takes %d", bound, r.Cost)
		}
	})
}
