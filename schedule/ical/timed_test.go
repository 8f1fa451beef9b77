package ical_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"toeboard/schedule/ical"
	"toeboard/weather/civil"
)

// Hours are the same instants to a reader that knows nothing of zones but what
// the feed describes: over the changes of the clocks, in the hour that comes
// twice, in a zone that changes by half an hour and in one that never does. The
// instants are those of the tz database.
func TestHoursAreReadAsTheyAreMeant(t *testing.T) {
	t.Parallel()
	for name, days := range map[string][]string{
		"Europe/London":       {"2026-03-28", "2026-03-29", "2026-03-30", "2026-10-24", "2026-10-25", "2026-10-26", "2027-01-04"},
		"Australia/Lord_Howe": {"2026-04-04", "2026-04-05", "2026-10-04"},
		"Asia/Kolkata":        {"2026-12-01"},
		"America/St_Johns":    {"2026-11-01", "2026-11-02"},
	} {
		zone, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		f := ical.Feed{Name: "Hours"}
		want := map[string][2]time.Time{}
		for i, day := range days {
			d := civil.MustParse(day)
			e := ical.Event{UID: fmt.Sprintf("%d@toeboard.invalid", i), ChangedAt: time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC), Status: ical.Confirmed,
				FirstDay: d, LastDay: d, Summary: "Roof work", Hours: ical.Hours{From: d.At(8, 0, zone), To: d.At(16, 30, zone), Zone: zone}}
			f.Events = append(f.Events, e)
			want[e.UID] = [2]time.Time{e.Hours.From.UTC(), e.Hours.To.UTC()}
		}
		feed, err := f.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Count(feed, []byte("BEGIN:VTIMEZONE")) != 1 {
			t.Errorf("%s: not one zone in\n%s", name, feed)
		}
		got := readBy(t, feed, []string{nodeModules(t, "ical.js")}, node(t), judge(t, "read_hours.mjs"))
		for _, e := range got.Events {
			w := want[e.UID]
			const iso = "2006-01-02T15:04:05.000Z"
			if e.Start != w[0].Format(iso) || e.End != w[1].Format(iso) || e.Transp != "OPAQUE" {
				t.Errorf("%s: %s is read from %s to %s, %s; want %s to %s", name, e.UID, e.Start, e.End, e.Transp, w[0].Format(iso), w[1].Format(iso))
			}
		}
		if len(got.Events) != len(days) {
			t.Errorf("%s: %d events of %d are read", name, len(got.Events), len(days))
		}
		file := filepath.Join(t.TempDir(), "hours.ics")
		if err := os.WriteFile(file, feed, 0o600); err != nil {
			t.Fatal(err)
		}
		if out, ok := icsCheck(t, file); !ok {
			t.Errorf("%s: %s", name, out)
		}
	}
}

// Hours that end before they begin, or in no zone, are refused by name.
func TestHoursAreChecked(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 12, 1, 8, 0, 0, 0, time.UTC)
	for _, h := range []ical.Hours{{From: at, To: at, Zone: time.UTC}, {From: at, To: at.Add(time.Hour)}, {From: at, To: at.Add(time.Hour), Zone: time.Local}} {
		e := ical.Event{UID: "x", ChangedAt: at, Status: ical.Confirmed, FirstDay: civil.DateOf(at, time.UTC), LastDay: civil.DateOf(at, time.UTC), Summary: "x", Hours: h}
		if _, err := (ical.Feed{Name: "x", Events: []ical.Event{e}}).Bytes(); err == nil {
			t.Errorf("%+v is written", h)
		}
	}
}
