package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"time"

	"toeboard/migrations/dbtest"
	"toeboard/migrations/localpg"
)

// event is one line of "go test -json" (go doc test2json).
type event struct {
	Action     string
	Package    string
	ImportPath string // of build-output and build-fail
	Test       string
	Elapsed    float64 // seconds
	Output     string
}

// kind is what a package's tests need beside Go, by what they import.
type kind string

const (
	unit     kind = "unit tests"
	data     kind = "database tests"
	browsing kind = "browser tests"
)

// runTests runs everything once, with the race detector on, against one private
// server for all packages.
func runTests(ctx context.Context, sum *summary, tools tools, packages []string) {
	ctx, cancel := context.WithTimeout(ctx, 40*time.Minute)
	defer cancel()
	kinds, err := packageKinds(ctx, packages)
	if err != nil {
		fail(sum, "tests", err)
		return
	}
	server, err := localpg.Start(ctx, dbtest.Options())
	if err != nil {
		fail(sum, "database for the tests", err)
	} else {
		defer server.Stop()
	}
	if !tools.race {
		fail(sum, "race detector", errors.New("no C compiler, so the tests run without it"))
	}
	t := newTally(os.Stdout)
	t.note = "two or more packages at a time; race detector on where goroutines share data"
	raced, plain := byRace(kinds)
	for _, g := range []struct {
		packages []string
		race     bool
	}{{raced, tools.race}, {plain, false}} {
		if len(g.packages) > 0 {
			runGroup(ctx, sum, t, server, g.packages, g.race)
		}
	}
	t.report(sum, kinds, len(packages) == 1 && packages[0] == everything)
}

// runGroup runs the tests of some packages in one go test.
func runGroup(ctx context.Context, sum *summary, t *tally, server *localpg.Server, packages []string, race bool) {
	args := []string{"test", "-json", "-timeout=20m"}
	if race {
		args = append(args, "-race")
	}
	cmd := command(ctx, "go", append(args, packages...)...)
	// Before our environment, so that TOEBOARD_DRAWS=0 still draws anew.
	cmd.Env = append([]string{"TOEBOARD_DRAWS=20261126"}, os.Environ()...)
	cmd.Env = append(cmd.Env, "TOEBOARD_REQUIRE_BROWSER=1", "TOEBOARD_REQUIRE_TOOLS=1")
	if server != nil {
		cmd.Env = append(cmd.Env, dbtest.Variable+"="+server.URL("postgres"))
	}
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		fail(sum, "tests", err)
		return
	}
	readErr := t.read(out)
	waitErr := cmd.Wait()
	switch {
	case readErr != nil:
		fail(sum, "reading the tests' events", readErr)
	case waitErr != nil && !t.anyFailed():
		// go test failed without naming a test or a package: never a pass.
		fail(sum, "go test", waitErr)
	}
}

// sharing are the packages in which goroutines share data: there the race
// detector earns the several times that it takes. The rest is arithmetic, or is
// tried as whole programs, which are built without it anyway. The searches of
// schedule/solver share data only between their rounds; with the detector they
// take a quarter of an hour, so that is run by hand when they change.
var sharing = []string{"toeboard/api", "toeboard/migrations", "toeboard/weather/archive", "toeboard/weather/manners", "toeboard/weather/openmeteo", "toeboard/weather/metno"}

// byRace parts packages into those that run with the race detector and the rest.
func byRace(kinds map[string]kind) (raced, plain []string) {
	for _, p := range slices.Sorted(maps.Keys(kinds)) {
		if slices.ContainsFunc(sharing, func(s string) bool { return p == s || strings.HasPrefix(p, s+"/") }) {
			raced = append(raced, p)
		} else {
			plain = append(plain, p)
		}
	}
	return raced, plain
}

func fail(sum *summary, name string, err error) {
	sum.add(result{name: name, outcome: failed, note: firstLineOf(err.Error())})
	sum.fails = append(sum.fails, name+": "+err.Error())
}

// packageKinds asks go list what each package's tests import.
func packageKinds(ctx context.Context, packages []string) (map[string]kind, error) {
	const format = `{{.ImportPath}} {{join .TestImports ","}},{{join .XTestImports ","}}`
	output, err := command(ctx, "go", append([]string{"list", "-e", "-f", format}, packages...)...).Output()
	if err != nil {
		return nil, fmt.Errorf("go list: %w", err)
	}
	kinds := map[string]kind{}
	for line := range strings.Lines(string(output)) {
		path, imports, _ := strings.Cut(strings.TrimSpace(line), " ")
		kinds[path] = kindOf(path, imports)
	}
	return kinds, nil
}

func kindOf(path, imports string) kind {
	switch {
	case strings.Contains(imports, "github.com/chromedp/"):
		return browsing
	case strings.Contains(imports, "toeboard/migrations"), strings.HasPrefix(path, "toeboard/migrations"), strings.Contains(imports, "jackc/pgx"):
		return data
	}
	return unit
}

// tally follows the events of one run.
type tally struct {
	progress io.Writer
	note     string // for each row
	tests    map[testName]*test
	order    []testName
	packages map[string]*pkg
	builds   map[string][]string // output of packages that did not build
}

type testName struct{ pkg, test string }

type test struct {
	action string
	output []string
	parent bool // has subtests, which are counted instead
}

type pkg struct {
	action  string
	elapsed time.Duration
	output  []string
}

func newTally(progress io.Writer) *tally {
	return &tally{progress: progress, tests: map[testName]*test{}, packages: map[string]*pkg{}, builds: map[string][]string{}}
}

func (t *tally) read(r io.Reader) error {
	lines := bufio.NewReader(r)
	for {
		line, err := lines.ReadBytes('\n')
		if len(line) > 0 {
			var e event
			if json.Unmarshal(line, &e) != nil {
				// Not an event: something printed before the tests began.
				fmt.Fprintf(t.progress, "%s", line)
			} else {
				t.take(e)
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

func (t *tally) take(e event) {
	switch {
	case e.Action == "build-output":
		t.builds[e.ImportPath] = append(t.builds[e.ImportPath], e.Output)
	case e.Package == "":
	case e.Test == "":
		t.takePackage(e)
	default:
		t.takeTest(e)
	}
}

func (t *tally) takePackage(e event) {
	p := t.packages[e.Package]
	if p == nil {
		p = &pkg{}
		t.packages[e.Package] = p
	}
	switch e.Action {
	case "output":
		p.output = append(p.output, e.Output)
	case "pass", "fail", "skip":
		p.action = e.Action
		p.elapsed = time.Duration(e.Elapsed * float64(time.Second))
		if e.Action != "skip" { // a package without test files
			fmt.Fprintf(t.progress, "  %-5s %-45s %7.1f s\n", e.Action, e.Package, e.Elapsed)
		}
	}
}

func (t *tally) takeTest(e event) {
	name := testName{e.Package, e.Test}
	one := t.tests[name]
	if one == nil {
		one = &test{}
		t.tests[name] = one
		t.order = append(t.order, name)
		if parent := t.parentOf(name); parent != nil {
			parent.parent = true
		}
	}
	switch e.Action {
	case "output":
		one.output = append(one.output, e.Output)
	case "pass", "fail", "skip":
		one.action = e.Action
	}
}

// parentOf is the nearest test above a subtest, whose own name may hold a slash.
func (t *tally) parentOf(n testName) *test {
	for i := strings.LastIndex(n.test, "/"); i >= 0; i = strings.LastIndex(n.test[:i], "/") {
		if parent := t.tests[testName{n.pkg, n.test[:i]}]; parent != nil {
			return parent
		}
	}
	return nil
}

func (t *tally) anyFailed() bool {
	for _, p := range t.packages {
		if p.action == "fail" || p.action == "" {
			return true
		}
	}
	return false
}

// report adds a row for each kind of tests, and what a person must read.
func (t *tally) report(sum *summary, kinds map[string]kind, whole bool) {
	counts := map[kind]map[outcome]int{}
	spent := map[kind]time.Duration{}
	for _, k := range []kind{unit, data, browsing} {
		counts[k] = map[outcome]int{}
	}
	of := func(path string) kind {
		if k, ok := kinds[path]; ok {
			return k
		}
		return unit
	}
	named := map[string]bool{} // packages with a failed test to show
	for _, name := range t.order {
		one := t.tests[name]
		o := outcomeOf(one.action)
		if o == failed {
			named[name.pkg] = true
			if !one.parent || t.failedByItself(name) {
				sum.fails = append(sum.fails, short(name)+"\n"+strings.Join(one.output, ""))
			}
		}
		if one.parent && (o != failed || !t.failedByItself(name)) {
			continue
		}
		if o == skipped {
			sum.skips = append(sum.skips, short(name)+": "+reason(one.output))
		}
		counts[of(name.pkg)][o]++
	}
	for _, path := range sortedPackages(t.packages) {
		p := t.packages[path]
		spent[of(path)] += p.elapsed
		if outcomeOf(p.action) == failed && !named[path] {
			counts[of(path)][failed]++
			sum.fails = append(sum.fails, path+" as a whole\n"+strings.Join(p.output, "")+t.buildOutput(path))
		}
	}
	for _, k := range []kind{unit, data, browsing} {
		c := counts[k]
		r := result{name: string(k), outcome: passed, took: spent[k], tests: c, note: t.note}
		switch {
		case c[failed] > 0:
			r.outcome = failed
		case c[passed] == 0 && c[skipped] == 0 && !whole:
			continue // only some packages were asked for
		case c[passed] == 0:
			r.outcome, r.note = failed, "no test passed"
			c[failed]++
			sum.fails = append(sum.fails, string(k)+": not one passed")
		}
		sum.add(r)
	}
}

// failedByItself says whether a failed parent has no failed subtest to show.
func (t *tally) failedByItself(parent testName) bool {
	for name, one := range t.tests {
		if name.pkg == parent.pkg && strings.HasPrefix(name.test, parent.test+"/") && outcomeOf(one.action) == failed {
			return false
		}
	}
	return true
}

// outcomeOf reads a test's last action. A test that began and did not end (a
// timeout, a crash) failed.
func outcomeOf(action string) outcome {
	switch action {
	case "pass":
		return passed
	case "skip":
		return skipped
	}
	return failed
}

func (t *tally) buildOutput(path string) string {
	var b strings.Builder
	for of, output := range t.builds {
		if of == path || strings.HasPrefix(of, path+" ") || strings.HasPrefix(of, path+"_test ") {
			b.WriteString(strings.Join(output, ""))
		}
	}
	return b.String()
}

func short(n testName) string { return strings.TrimPrefix(n.pkg, "toeboard/") + " " + n.test }

var place = regexp.MustCompile(`^\s*\S+\.go:\d+: `)

// reason is what a skipped test said last.
func reason(output []string) string {
	for _, line := range slices.Backward(output) {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "===") || strings.HasPrefix(line, "---") {
			continue
		}
		return place.ReplaceAllString(line, "")
	}
	return "NO REASON GIVEN"
}

func sortedPackages(m map[string]*pkg) []string {
	var names []string
	for name := range m {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}
