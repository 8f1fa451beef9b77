package api

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"toeboard/schedule"
)

// subscriber is a real calendar program, Debian's khal, that gets a feed over
// HTTP by Debian's vdirsyncer. It gives events UIDs of its own, so it proves
// nothing about those.
type subscriber struct {
	t                 *testing.T
	home, fetch, show string
}

func subscribe(t *testing.T, feed string) *subscriber {
	t.Helper()
	s := &subscriber{t: t, home: t.TempDir(), fetch: calendarTool(t, "vdirsyncer"), show: calendarTool(t, "khal")}
	s.write("fetch.conf", fmt.Sprintf(`[general]
status_path = "%[1]s/status/"
[pair scaffold]
a = "theirs"
b = "ours"
collections = null
conflict_resolution = "a wins"
[storage theirs]
type = "http"
url = "%[2]s"
[storage ours]
type = "filesystem"
path = "%[1]s/calendar/"
fileext = ".ics"
`, s.home, feed))
	s.write("show.conf", fmt.Sprintf(`[calendars]
[[scaffold]]
path = %[1]s/calendar/
type = calendar
[locale]
timeformat = %%H:%%M
dateformat = %%Y-%%m-%%d
longdateformat = %%Y-%%m-%%d
datetimeformat = %%Y-%%m-%%d %%H:%%M
longdatetimeformat = %%Y-%%m-%%d %%H:%%M
local_timezone = Europe/London
default_timezone = Europe/London
[sqlite]
path = %[1]s/shown.db
`, s.home))
	if err := os.Mkdir(filepath.Join(s.home, "calendar"), 0o700); err != nil {
		t.Fatal(err)
	}
	s.run(s.fetch, "-c", filepath.Join(s.home, "fetch.conf"), "discover", "scaffold")
	return s
}

func calendarTool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	say := "NOT CHECKED: no " + name + " here, the Debian package of that name brings it"
	if os.Getenv("TOEBOARD_REQUIRE_TOOLS") == "1" {
		t.Fatal(say)
	}
	t.Skip(say)
	return ""
}

func (s *subscriber) write(name, text string) {
	s.t.Helper()
	must(s.t, os.WriteFile(filepath.Join(s.home, name), []byte(text), 0o600))
}

func (s *subscriber) run(program string, args ...string) string {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, program, args...)
	cmd.Env = []string{"HOME=" + s.home, "PATH=" + os.Getenv("PATH"), "LC_ALL=C.UTF-8", "TZ=Europe/London"}
	var wrong strings.Builder
	cmd.Stderr = &wrong
	out, err := cmd.Output()
	if err != nil {
		s.t.Fatalf("%s %s: %v\n%s\n%s", filepath.Base(program), strings.Join(args, " "), err, out, wrong.String())
	}
	return string(out)
}

// shows fetches the feed and gives what the program lists, a line an event.
func (s *subscriber) shows() []string {
	s.t.Helper()
	s.run(s.fetch, "-c", filepath.Join(s.home, "fetch.conf"), "sync")
	out := s.run(s.show, "-c", filepath.Join(s.home, "show.conf"), "list", "--once", "--day-format", "", "--format", "{start-date} {end-date} {status}| {title}", "2026-11-20", "90d")
	var lines []string
	for line := range strings.Lines(out) {
		if line = strings.TrimSpace(line); line != "" {
			lines = append(lines, line)
		}
	}
	return lines
}

// A calendar program that subscribes to the feed shows what is booked, after the
// next fetch the new days of what moved, and what was called off as that.
func TestACalendarProgramShowsWhatMovedAndWhatIsOff(t *testing.T) {
	s, _, _, feed := visitorScene(t)
	c := subscribe(t, s.http.URL+feed)
	up := s.booking(s.q1)
	standing := fmt.Sprintf("%s %s CONFIRMED | Scaffold Q-1, Q-1 Heron Row, Quillmere", up.ErectOn, up.StrikeOn)
	const title = "Scaffold Q-2, Q-2 Heron Row, Quillmere"
	want := func(when string, lines ...string) {
		t.Helper()
		if got := c.shows(); !slices.Equal(got, lines) {
			t.Errorf("%s the program shows %q, want %q", when, got, lines)
		}
	}
	want("at first", standing, "2026-12-09 2026-12-14 TENTATIVE | "+title)
	s.moveQ2(tuesday + 13)
	want("after a move", standing, "2026-12-14 2026-12-20 TENTATIVE | "+title)
	s.publishByHand(func(p *schedule.Plan) {
		p.Visits = slices.DeleteFunc(p.Visits, func(v schedule.Visit) bool { return v.Job == s.q2.ID })
		p.Unplanned = append(p.Unplanned, schedule.Unplanned{Job: s.q2.ID, Stage: schedule.ScaffoldErection, Why: "the customer is away"})
	})
	want("after it was called off", standing, "2026-12-14 2026-12-20 CANCELLED | CANCELLED: "+title)
}
