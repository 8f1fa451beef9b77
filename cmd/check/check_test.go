package main

import (
	"context"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// module is a small module with one of each ending that a test can have.
var module = map[string]string{
	"go.mod": "module toeboard\n\ngo 1.26\n",
	"good/good_test.go": `package good
import "testing"
func TestPasses(t *testing.T) {}
func TestSkips(t *testing.T) { t.Log("first"); t.Skip("NOT CHECKED: no moon") }
func TestHasParts(t *testing.T) {
	t.Run("one", func(t *testing.T) {})
	t.Run("two/three", func(t *testing.T) {})
}
func TestSkipsAPart(t *testing.T) {
	t.Run("lame", func(t *testing.T) { t.Skip("no leg") })
	t.Run("fine", func(t *testing.T) {})
}`,
	"bad/bad_test.go": `package bad
import "testing"
func TestFails(t *testing.T) { t.Error("two and two are five") }
func TestFailsInAPart(t *testing.T) {
	t.Run("broken", func(t *testing.T) { t.Error("a part is broken") })
	t.Run("fine", func(t *testing.T) {})
}
func TestFailsAfterItsParts(t *testing.T) {
	t.Run("fine", func(t *testing.T) {})
	t.Error("the whole is broken")
}`,
	"panics/panics_test.go":   "package panics\nimport \"testing\"\nfunc TestPanics(t *testing.T) { panic(\"oh dear\") }\n",
	"unbuilt/unbuilt_test.go": "package unbuilt\nimport \"testing\"\nfunc TestIt(t *testing.T) { undefinedThing() }\n",
	"crashes/crashes_test.go": "package crashes\nimport (\"os\"; \"testing\")\nfunc TestMain(m *testing.M) { os.Exit(7) }\n",
	"empty/empty.go":          "package empty\n",
}

func TestTallyReadsWhatGoTestSays(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for name, text := range module {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.CommandContext(t.Context(), "go", "test", "-json", "./...")
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "GOFLAGS=-mod=mod", "GOWORK=off")
	out, err := cmd.Output()
	if err == nil {
		t.Fatal("go test passed")
	}
	got := newTally(io.Discard)
	if err := got.read(strings.NewReader(string(out))); err != nil {
		t.Fatal(err)
	}
	if !got.anyFailed() {
		t.Error("no package failed")
	}
	var sum summary
	got.report(&sum, map[string]kind{}, false)
	// Passed: TestPasses, one, two/three, fine; broken's neighbour, the fine part.
	// Failed: TestFails, broken, TestFailsAfterItsParts, TestPanics, unbuilt, crashes.
	if p, f, s := sum.count(passed), sum.count(failed), sum.count(skipped); p != 6 || f != 6 || s != 2 {
		t.Errorf("%d passed, %d failed, %d skipped; want 6, 6, 2", p, f, s)
	}
	text := sum.String()
	for _, want := range []string{
		"good TestSkips: NOT CHECKED: no moon", "good TestSkipsAPart/lame: no leg",
		"two and two are five", "a part is broken", "the whole is broken", "oh dear", "undefinedThing", "crashes as a whole",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the summary lacks %q:\n%s", want, text)
		}
	}
	if strings.Contains(text, "FAILED: bad TestFailsInAPart\n") {
		t.Error("the parent of a failed part is told as a failure of its own")
	}
	if !strings.HasSuffix(text, "\n6 passed, 6 failed, 2 skipped\n") {
		t.Errorf("the last line is not the plain one:\n%s", text)
	}
}

func TestAWholeRunWithoutATestOfEachKindFails(t *testing.T) {
	t.Parallel()
	tl := newTally(io.Discard)
	events := `{"Action":"run","Package":"toeboard/a","Test":"TestA"}
{"Action":"pass","Package":"toeboard/a","Test":"TestA"}
{"Action":"pass","Package":"toeboard/a","Elapsed":0.1}
`
	if err := tl.read(strings.NewReader(events)); err != nil {
		t.Fatal(err)
	}
	for whole, want := range map[bool]int{true: 2, false: 0} {
		var sum summary
		tl.report(&sum, map[string]kind{"toeboard/a": unit}, whole)
		if got := sum.count(failed); got != want {
			t.Errorf("whole %v: %d failures, want %d", whole, got, want)
		}
	}
}

// A test that began and never ended (a timeout, a killed process) failed.
func TestATestThatNeverEndedFailed(t *testing.T) {
	t.Parallel()
	tl := newTally(io.Discard)
	if err := tl.read(strings.NewReader(`{"Action":"run","Package":"toeboard/a","Test":"TestA"}`)); err != nil {
		t.Fatal(err)
	}
	var sum summary
	tl.report(&sum, nil, false)
	if sum.count(failed) != 1 {
		t.Errorf("%d failures", sum.count(failed))
	}
}

func TestStepsOutcome(t *testing.T) {
	t.Parallel()
	var sum summary
	for _, err := range []error{nil, notRun("not run: database unreachable"), errors.New("broken\nand how")} {
		sum.step(context.Background(), step{"step", func(context.Context) (string, error) { return "output", err }})
	}
	text := sum.String()
	if !strings.HasSuffix(text, "\n1 passed, 1 failed, 1 skipped\n") || !strings.Contains(text, "step: not run: database unreachable") || !strings.Contains(text, "and how") {
		t.Error(text)
	}
}

func TestGovulncheckTellsAnUnreachableDatabase(t *testing.T) {
	t.Parallel()
	for output, want := range map[string]bool{
		`govulncheck: fetching vulnerabilities: Get "https://vulnerabilities.example/index.json.gz": dial tcp: lookup vulnerabilities.example: no such host`: true,
		"=== Symbol Results ===\n\nVulnerability #1: GO-2026-0001\n":                                                                                         false,
	} {
		if isUnreachable(output) != want {
			t.Errorf("%q: unreachable %v, want %v", output, !want, want)
		}
	}
}

func TestStaleGeneratedFilesAreNamedAndLeftAlone(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{
		"go.mod":      "module m\n\ngo 1.26\n",
		"m.go":        "package m\n\n//go:generate cp source.txt made.txt\n",
		"source.txt":  "new",
		"made.txt":    "old",
		".git/config": "hidden",
	} {
		path := filepath.Join(dir, name)
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, []byte(text), 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	t.Chdir(dir)
	output, err := generatedIsCurrent(t.Context())
	if err == nil || output != "made.txt" {
		t.Errorf("stale: %q %v", output, err)
	}
	if text, err := os.ReadFile("made.txt"); string(text) != "old" {
		t.Errorf("the check changed what it checks: %q %v", text, err)
	}
	if err := os.WriteFile("made.txt", []byte("new"), 0o644); err != nil {
		t.Fatal(err)
	}
	if output, err := generatedIsCurrent(t.Context()); err != nil {
		t.Errorf("current: %q %v", output, err)
	}
}

func TestIsStaticTellsAProgramThatNeedsLibraries(t *testing.T) {
	t.Parallel()
	if runtime.GOOS != "linux" {
		t.Skip("reads Linux programs")
	}
	dir := t.TempDir()
	source := filepath.Join(dir, "main.go")
	if err := os.WriteFile(source, []byte("package main\nfunc main() {}\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	build := exec.CommandContext(t.Context(), "go", "build", "-o", filepath.Join(dir, "static"), source)
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if err := isStatic(filepath.Join(dir, "static")); err != nil {
		t.Error(err)
	}
	shell, err := filepath.EvalSymlinks("/bin/sh") // uses the system's C library
	if err != nil {
		t.Fatal(err)
	}
	if err := isStatic(shell); err == nil {
		t.Errorf("%s passes for static", shell)
	}
}

func TestKindOfAPackage(t *testing.T) {
	t.Parallel()
	for imports, want := range map[string]kind{
		"testing,os":                         unit,
		"testing,toeboard/migrations/dbtest": data,
		"testing,toeboard/migrations/dbtest,github.com/chromedp/chromedp": browsing,
	} {
		if got := kindOf("toeboard/x", imports); got != want {
			t.Errorf("%s: %s, want %s", imports, got, want)
		}
	}
}
