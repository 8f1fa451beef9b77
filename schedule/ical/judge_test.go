package ical_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	goical "github.com/emersion/go-ical"

	"toeboard/schedule/ical"
)

// read is what a reader took from one event, in words all readers share.
type read struct {
	UID         string `json:"uid"`
	Sequence    int    `json:"sequence"`
	Stamp       string `json:"stamp"`
	Modified    string `json:"modified"`
	Status      string `json:"status"`
	Start       string `json:"start"`
	End         string `json:"end"` // exclusive
	Summary     string `json:"summary"`
	Location    string `json:"location"`
	Description string `json:"description"`
	Transp      string `json:"transp"`
}

type calendar struct {
	Name   string `json:"name"`
	Events []read `json:"events"`
}

// reader is a calendar library that is not the one the feed was written with.
type reader struct {
	name string
	read func(t *testing.T, feed []byte) calendar
}

var readers = []reader{
	{"emersion/go-ical", readGo},
	{"python3-icalendar", func(t *testing.T, feed []byte) calendar {
		return readBy(t, feed, nil, python(t), judge(t, "read_icalendar.py"))
	}},
	{"npm ical.js", func(t *testing.T, feed []byte) calendar {
		return readBy(t, feed, []string{nodeModules(t, "ical.js")}, node(t), judge(t, "read_icaljs.mjs"))
	}},
	{"npm node-ical", func(t *testing.T, feed []byte) calendar {
		return readBy(t, feed, []string{nodeModules(t, "node-ical")}, node(t), judge(t, "read_nodeical.mjs"))
	}},
}

// readGo reads with emersion/go-ical.
func readGo(t *testing.T, feed []byte) calendar { return goRead(t, feed) }

// failer is the part of a test that both testing and rapid have.
type failer interface {
	Helper()
	Errorf(string, ...any)
	Fatalf(string, ...any)
}

func goRead(t failer, feed []byte) calendar {
	t.Helper()
	cal, err := goical.NewDecoder(bytes.NewReader(feed)).Decode()
	if err != nil {
		t.Fatalf("emersion/go-ical: %v\n%s", err, feed)
	}
	var out calendar
	out.Name = goText(t, cal.Props, "NAME")
	for _, e := range cal.Events() {
		seq, err := e.Props.Get("SEQUENCE").Int()
		if err != nil {
			t.Fatalf("SEQUENCE: %v", err)
		}
		out.Events = append(out.Events, read{
			UID: goText(t, e.Props, "UID"), Sequence: seq,
			Stamp: goTime(t, e.Props, "DTSTAMP", time.RFC3339), Modified: goTime(t, e.Props, "LAST-MODIFIED", time.RFC3339),
			Status: goText(t, e.Props, "STATUS"),
			Start:  goTime(t, e.Props, "DTSTART", time.DateOnly), End: goTime(t, e.Props, "DTEND", time.DateOnly),
			Summary: goText(t, e.Props, "SUMMARY"), Location: goText(t, e.Props, "LOCATION"),
			Description: goText(t, e.Props, "DESCRIPTION"), Transp: goText(t, e.Props, "TRANSP"),
		})
	}
	return out
}

func goText(t failer, props goical.Props, name string) string {
	t.Helper()
	s, err := props.Text(name)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return s
}

func goTime(t failer, props goical.Props, name, layout string) string {
	t.Helper()
	at, err := props.DateTime(name, time.UTC)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return at.Format(layout)
}

// readBy runs a reader as its own process, with the feed in a file.
func readBy(t *testing.T, feed []byte, args []string, command ...string) calendar {
	t.Helper()
	file := filepath.Join(t.TempDir(), "feed.ics")
	if err := os.WriteFile(file, feed, 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(command[0], append(append(command[1:], file), args...)...)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s: %v\n%s", strings.Join(command, " "), err, errs.String())
	}
	var got calendar
	if err := json.Unmarshal(out.Bytes(), &got); err != nil {
		t.Fatalf("%s printed no JSON: %v\n%s", command[1], err, out.String())
	}
	return got
}

// icsCheck runs the rule checker; it gives its text and whether it found no
// error and no warning.
func icsCheck(t *testing.T, args ...string) (string, bool) {
	t.Helper()
	cmd := exec.Command(python(t), append([]string{judge(t, "ics_check.py")}, args...)...)
	out, err := cmd.CombinedOutput()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatalf("ics_check.py: %v", err)
	}
	return string(out), err == nil && strings.HasSuffix(strings.TrimSpace(string(out)), "0 error(s), 0 warning(s)")
}

func python(t *testing.T) string {
	t.Helper()
	const interpreter = "/usr/bin/python3"
	if out, err := exec.Command(interpreter, "-c", "import icalendar").CombinedOutput(); err != nil {
		lacking(t, "%s with the module icalendar (Debian package python3-icalendar): %v %s", interpreter, err, out)
	}
	return interpreter
}

func node(t *testing.T) string {
	t.Helper()
	path, err := exec.LookPath("node")
	if err != nil {
		lacking(t, "node: %v", err)
	}
	return path
}

func nodeModules(t *testing.T, module string) string {
	t.Helper()
	dir := os.Getenv("TOEBOARD_NODE_MODULES")
	if dir == "" {
		dir = filepath.Join(root(t), ".cache", "js", "node_modules")
	}
	if _, err := os.Stat(filepath.Join(dir, module)); errors.Is(err, fs.ErrNotExist) {
		lacking(t, "npm module %s in %s (see testdata/ical/SOURCE.md)", module, dir)
	}
	return dir
}

// lacking names a tool that is not here: a skip for a contributor, a failure
// where the tools were asked for.
func lacking(t *testing.T, format string, args ...any) {
	t.Helper()
	if os.Getenv("TOEBOARD_REQUIRE_TOOLS") == "1" {
		t.Fatalf("MISSING TOOL: "+format, args...)
	}
	t.Skipf("NOT CHECKED, missing tool: "+format, args...)
}

func judge(t *testing.T, name string) string {
	t.Helper()
	return filepath.Join(root(t), "testdata", "ical", name)
}

func root(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		parent := filepath.Dir(dir)
		if parent == dir {
			t.Fatal("no go.mod above the test")
		}
		dir = parent
	}
}

// expected is what every reader must take from an event.
func expected(e ical.Event, clean func(string) string) read {
	summary := clean(e.Summary)
	if e.Status == ical.Cancelled {
		summary = "CANCELLED: " + summary
	}
	at := e.ChangedAt.UTC().Truncate(time.Second).Format(time.RFC3339)
	return read{
		UID: e.UID, Sequence: e.Sequence, Stamp: at, Modified: at, Status: e.Status.String(),
		Start: e.FirstDay.String(), End: (e.LastDay + 1).String(),
		Summary: summary, Location: clean(e.Location), Description: clean(strings.Join(e.Lines, "\n")),
		Transp: "TRANSPARENT",
	}
}
