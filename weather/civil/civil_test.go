package civil_test

import (
	"encoding/json"
	"testing"
	"time"

	"pgregory.net/rapid"

	"toeboard/weather/civil"
)

func london(t *testing.T) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// The clocks of Europe/London change at 01:00 UTC on 2026-03-29 and 2026-10-25
// (IANA time zone database, rule EU).
func TestWindowKeepsTheClockOnTheWallAcrossClockChanges(t *testing.T) {
	loc := london(t)
	for _, c := range []struct {
		day, from, to string
	}{
		{"2026-03-27", "2026-03-27T08:00:00Z", "2026-03-27T12:00:00Z"},
		{"2026-03-30", "2026-03-30T07:00:00Z", "2026-03-30T11:00:00Z"},
		{"2026-10-23", "2026-10-23T07:00:00Z", "2026-10-23T11:00:00Z"},
		{"2026-10-26", "2026-10-26T08:00:00Z", "2026-10-26T12:00:00Z"},
	} {
		from, to := civil.UsualHours.Window(civil.MustParse(c.day).In(civil.Morning), loc)
		if got := from.Format(time.RFC3339); got != c.from {
			t.Errorf("%s morning starts %s, want %s", c.day, got, c.from)
		}
		if got := to.Format(time.RFC3339); got != c.to {
			t.Errorf("%s morning ends %s, want %s", c.day, got, c.to)
		}
	}
}

// A late evening in London is already the next day in UTC during summer time:
// the date is the one on the wall.
func TestDateOfIsTheDateOnTheWall(t *testing.T) {
	at := time.Date(2026, 6, 30, 23, 30, 0, 0, time.UTC)
	if got := civil.DateOf(at, london(t)).String(); got != "2026-07-01" {
		t.Errorf("23:30 UTC on 30 June is %s in London, want 2026-07-01", got)
	}
}

func TestParseRefusesOtherSpellings(t *testing.T) {
	for _, bad := range []string{"", "31/12/2026", "2026-13-01", "2026-02-29", "2026-1-1", "2026-12-31T00:00:00Z"} {
		if d, err := civil.Parse(bad); err == nil {
			t.Errorf("%q was read as %s", bad, d)
		}
	}
}

// time.Date of the standard library is the reference for the calendar.
func TestDateAgreesWithTheStandardLibrary(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.Int32Range(-200_000, 200_000).Draw(rt, "days")
		ref := time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, int(n))
		d := civil.Date(n)
		if d.String() != ref.Format(time.DateOnly) || d.Weekday() != ref.Weekday() {
			rt.Fatalf("day %d is %s %s, want %s", n, d, d.Weekday(), ref)
		}
		if back, err := civil.Parse(d.String()); ref.Year() > 0 && (err != nil || back != d) {
			rt.Fatalf("%s came back as %s, %v", d, back, err)
		}
		for _, h := range []civil.Half{civil.Morning, civil.Afternoon} {
			if s := d.In(h); s.Date() != d || s.Half() != h {
				rt.Fatalf("%s %s came back as %s", d, h, s)
			}
		}
		if d.In(civil.Afternoon)+1 != (d + 1).In(civil.Morning) {
			rt.Fatalf("the half-day after the afternoon of %s is not the next morning", d)
		}
	})
}

func TestDateThroughJSONAndSQL(t *testing.T) {
	type box struct{ D civil.Date }
	for _, d := range []civil.Date{civil.NoDate, civil.MustParse("2026-12-31"), civil.MustParse("1969-07-20")} {
		b, err := json.Marshal(box{d})
		if err != nil {
			t.Fatal(err)
		}
		var got box
		if err := json.Unmarshal(b, &got); err != nil || got.D != d {
			t.Errorf("%s through JSON %s came back as %s, %v", d, b, got.D, err)
		}
		v, err := d.Value()
		if err != nil {
			t.Fatal(err)
		}
		var scanned civil.Date
		if err := scanned.Scan(v); err != nil || scanned != d {
			t.Errorf("%s through SQL came back as %s, %v", d, scanned, err)
		}
	}
}
