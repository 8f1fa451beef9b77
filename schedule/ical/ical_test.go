package ical_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"

	"toeboard/schedule/ical"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

var changed = time.Date(2026, 11, 25, 9, 30, 15, 123456000, time.UTC)

// sample holds what breaks feeds: long lines, umlauts, commas, semicolons,
// newlines, backslashes, quotes, emoji at a fold, and weeks in which the clocks
// change.
func sample() ical.Feed {
	long := strings.Repeat("Zufahrt über die Straße hinter dem Gebäude, Tor 3; bitte läuten – ", 6)
	return ical.Feed{
		Name: "Scaffold for Käthe & Söhne, north; east",
		Events: []ical.Event{
			{UID: "b1@example.invalid", Sequence: 0, ChangedAt: changed, Status: ical.Tentative,
				FirstDay: civil.MustParse("2026-12-07"), LastDay: civil.MustParse("2026-12-11"),
				Summary: "J-1001 scaffold, 12 Müller Street; rear", Location: "12 Müller Street, Flat 3; York, YO1 7AA",
				Lines: []string{"Erect Mon 7 Dec", "Strike Fri 11 Dec", `Path C:\plans "north"`, long}, Lat: 53.959965, Lon: -1.0873},
			{UID: "b2@example.invalid", Sequence: 4, ChangedAt: changed.Add(time.Hour), Status: ical.Confirmed,
				FirstDay: civil.MustParse("2026-03-27"), LastDay: civil.MustParse("2026-03-30"), // clocks forward on the 29th
				Summary: "J-1002 scaffold", Location: "1 High Street", Lines: []string{"one line"}},
			{UID: "b3@example.invalid", Sequence: 2, ChangedAt: changed.Add(2 * time.Hour), Status: ical.Cancelled,
				FirstDay: civil.MustParse("2026-10-25"), LastDay: civil.MustParse("2026-10-25"), // clocks back
				Summary: strings.Repeat("🏠", 40), Location: strings.Repeat("ä", 100)},
			{UID: "b4@example.invalid", Sequence: 1, ChangedAt: changed, Status: ical.Confirmed,
				FirstDay: civil.MustParse("2026-12-31"), LastDay: civil.MustParse("2027-01-04"),
				Summary: "over new year", Lines: []string{"", "empty line before", "CR\r\nLF and lone\rCR", "tab\there"}},
			{UID: "b5@example.invalid", Sequence: 1, ChangedAt: changed, Status: ical.Confirmed,
				FirstDay: civil.MustParse("2028-02-28"), LastDay: civil.MustParse("2028-02-29"),
				Summary: "leap day"},
		},
	}
}

// clean is what RFC 5545 lets a text keep: LF line ends, no other control.
func clean(s string) string {
	s = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\t", " ").Replace(s)
	return strings.Trim(s, " \n")
}

func write(t failer, f ical.Feed) []byte {
	t.Helper()
	b, err := f.Bytes()
	if err != nil {
		t.Fatalf("Bytes: %v", err)
	}
	return b
}

func TestEveryReaderUnderstandsTheSame(t *testing.T) {
	t.Parallel()
	f := sample()
	feed := write(t, f)
	for _, r := range readers {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			compare(t, f, r.read(t, feed))
		})
	}
}

func compare(t failer, f ical.Feed, got calendar) {
	t.Helper()
	if got.Name != clean(f.Name) {
		t.Errorf("name read as %q, want %q", got.Name, clean(f.Name))
	}
	if len(got.Events) != len(f.Events) {
		t.Fatalf("%d events read, want %d", len(got.Events), len(f.Events))
	}
	byUID := map[string]read{}
	for _, e := range got.Events {
		byUID[e.UID] = e
	}
	for _, e := range f.Events {
		if want := expected(e, clean); byUID[e.UID] != want {
			t.Errorf("event %s\nread %+v\nwant %+v", e.UID, byUID[e.UID], want)
		}
	}
}

// A phone in another zone must show the same days. RFC 5545 3.3.4: a DATE has
// no zone.
func TestDaysAreTheSameInEveryZone(t *testing.T) {
	for _, zone := range []string{"Europe/London", "America/Los_Angeles", "Pacific/Auckland", "Pacific/Kiritimati"} {
		t.Run(zone, func(t *testing.T) {
			t.Setenv("TZ", zone)
			f := sample()
			feed := write(t, f)
			for _, r := range readers[2:] { // the JavaScript readers make local times
				compare(t, f, r.read(t, feed))
			}
		})
	}
}

func TestRulesOfRFC5545AreKept(t *testing.T) {
	t.Parallel()
	for name, f := range map[string]ical.Feed{
		"sample": sample(),
		"empty":  {Name: "Nothing booked yet"},
		"one":    {Name: "One", Events: sample().Events[:1]},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			file := save(t, write(t, f))
			if out, ok := icsCheck(t, "--feed", file); !ok {
				t.Errorf("ics_check.py --feed:\n%s", out)
			}
		})
	}
}

// The checker itself must be able to fail, or its silence means nothing.
func TestTheCheckerSeesBrokenFeeds(t *testing.T) {
	t.Parallel()
	good := string(write(t, sample()))
	for name, breakIt := range map[string]func(string) string{
		"LF":           func(s string) string { return strings.ReplaceAll(s, "\r\n", "\n") },
		"no UID":       func(s string) string { return strings.Replace(s, "UID:b1@example.invalid\r\n", "", 1) },
		"unfolded":     func(s string) string { return strings.ReplaceAll(s, "\r\n ", "") },
		"truncated":    func(s string) string { return s[:len(s)/2] },
		"status":       func(s string) string { return strings.Replace(s, "STATUS:CANCELLED", "STATUS:CANCELED", 1) },
		"same UID":     func(s string) string { return strings.Replace(s, "UID:b2@", "UID:b1@", 1) },
		"end is start": func(s string) string { return strings.Replace(s, "DATE:20261026", "DATE:20261025", 1) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			broken := breakIt(good)
			if broken == good {
				t.Fatal("the feed was not broken")
			}
			if out, ok := icsCheck(t, "--feed", save(t, []byte(broken))); ok {
				t.Errorf("ics_check.py found nothing:\n%s", out)
			}
		})
	}
}

func TestEmptyFeedIsReadAsEmpty(t *testing.T) {
	t.Parallel()
	f := ical.Feed{Name: "Nothing booked yet"}
	feed := write(t, f)
	for _, r := range readers {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			compare(t, f, r.read(t, feed))
		})
	}
}

// A client keeps the version with the higher SEQUENCE, then the later DTSTAMP
// (RFC 5546 2.1.4, 2.1.5).
func TestMovedAndCancelledAgainstTheVersionBefore(t *testing.T) {
	t.Parallel()
	before := sample()
	after := sample()
	moved, cancelled := &after.Events[0], &after.Events[1]
	moved.FirstDay, moved.LastDay = moved.FirstDay+2, moved.LastDay+4
	moved.Sequence, moved.ChangedAt = moved.Sequence+1, changed.Add(24*time.Hour)
	cancelled.Status, cancelled.Sequence, cancelled.ChangedAt = ical.Cancelled, cancelled.Sequence+1, changed.Add(24*time.Hour)
	old := save(t, write(t, before))
	if out, ok := icsCheck(t, "--feed", "--old", old, save(t, write(t, after))); !ok {
		t.Errorf("ics_check.py --old:\n%s", out)
	}
	moved.Sequence -= 1
	if out, ok := icsCheck(t, "--feed", "--old", old, save(t, write(t, after))); ok {
		t.Errorf("a move without a higher SEQUENCE was not found:\n%s", out)
	}
}

func TestBytesDependOnTheEventsAlone(t *testing.T) {
	t.Parallel()
	f := sample()
	first := write(t, f)
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		rng.Shuffle(len(f.Events), func(i, j int) { f.Events[i], f.Events[j] = f.Events[j], f.Events[i] })
		if !bytes.Equal(write(t, f), first) {
			t.Fatal("another order of the same events gave other bytes")
		}
	}
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	for i := range f.Events {
		f.Events[i].ChangedAt = f.Events[i].ChangedAt.In(london)
	}
	if !bytes.Equal(write(t, f), first) {
		t.Fatal("the same instant in another zone gave other bytes")
	}
	if want := changed.Add(2 * time.Hour).Truncate(time.Second); !f.LastModified().Equal(want) {
		t.Errorf("LastModified %v, want %v", f.LastModified(), want)
	}
}

func TestRefreshHints(t *testing.T) {
	t.Parallel()
	for every, want := range map[time.Duration]string{
		0: "PT1H", time.Hour: "PT1H", 30 * time.Minute: "PT30M", 90 * time.Minute: "PT1H30M", -time.Hour: "PT1H", 24 * time.Hour: "PT24H",
	} {
		got := string(write(t, ical.Feed{Name: "x", Every: every}))
		for _, line := range []string{"REFRESH-INTERVAL;VALUE=DURATION:" + want, "X-PUBLISHED-TTL:" + want} {
			if !strings.Contains(got, line+"\r\n") {
				t.Errorf("every %v: no line %q in\n%s", every, line, got)
			}
		}
	}
}

func TestPlaceIsWrittenWithSixDecimals(t *testing.T) {
	t.Parallel()
	got := string(write(t, sample()))
	if !strings.Contains(got, "GEO:53.959965;-1.087300\r\n") { // RFC 5545 3.8.1.6
		t.Errorf("no GEO line in\n%s", got)
	}
	if n := strings.Count(got, "GEO:"); n != 1 {
		t.Errorf("%d GEO lines, want one: an unknown place is left out", n)
	}
}

func TestEventsThatClientsWouldDropAreRefused(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change func(*ical.Event)
		field  string
	}{
		"no UID":          {func(e *ical.Event) { e.UID = "" }, "UID"},
		"newline in UID":  {func(e *ical.Event) { e.UID = "a\nb" }, "UID"},
		"blank in UID":    {func(e *ical.Event) { e.UID = "a b" }, "UID"},
		"twice":           {func(e *ical.Event) { e.UID = "b2@example.invalid" }, "UID"},
		"no first day":    {func(e *ical.Event) { e.FirstDay = civil.NoDate }, "first day of b1@example.invalid"},
		"no last day":     {func(e *ical.Event) { e.LastDay = civil.NoDate }, "last day of b1@example.invalid"},
		"last before":     {func(e *ical.Event) { e.LastDay = e.FirstDay - 1 }, "last day of b1@example.invalid"},
		"negative":        {func(e *ical.Event) { e.Sequence = -1 }, "sequence of b1@example.invalid"},
		"never changed":   {func(e *ical.Event) { e.ChangedAt = time.Time{} }, "change time of b1@example.invalid"},
		"no status":       {func(e *ical.Event) { e.Status = ical.StatusUnknown }, "status of b1@example.invalid"},
		"unknown status":  {func(e *ical.Event) { e.Status = 9 }, "status of b1@example.invalid"},
		"nothing to show": {func(e *ical.Event) { e.Summary = " \x01\r\n" }, "summary of b1@example.invalid"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := sample()
			c.change(&f.Events[0])
			b, err := f.Bytes()
			found := fault.Each(err)
			if len(b) != 0 || len(found) != 1 || found[0].Field != c.field || found[0].Want == "" {
				t.Errorf("refusal %v, want one about %q", err, c.field)
			}
		})
	}
	if _, err := (ical.Feed{Name: " "}).Bytes(); fault.KindOf(err) != fault.Invalid {
		t.Errorf("a feed without a name: %v", err)
	}
}

// RFC 5545 3.1: lines end in CRLF and hold at most 75 octets without it. A fold
// inside a UTF-8 character would leave a line that is not UTF-8.
func checkLines(t *rapid.T, feed []byte) {
	if !bytes.HasSuffix(feed, []byte("\r\n")) {
		t.Fatal("no CRLF at the end")
	}
	for i, line := range bytes.Split(bytes.TrimSuffix(feed, []byte("\r\n")), []byte("\r\n")) {
		if len(line) > 75 || !utf8.Valid(line) || bytes.ContainsAny(line, "\r\n") || len(line) == 0 {
			t.Fatalf("line %d: %q", i+1, line)
		}
	}
}

// A generator is made anew for each draw: one shared by parallel tests is a
// data race inside it.
func anyText() *rapid.Generator[string] {
	return rapid.StringOfN(rapid.OneOf(
		rapid.RuneFrom([]rune(`aZ9 ,;:\"'=<>n`+"\n")),
		rapid.RuneFrom([]rune("äöüßéŁ–€😀𝄞中")),
		rapid.Rune(),
	), 0, 300, -1)
}

func anyEvent(i int) *rapid.Generator[ical.Event] {
	return rapid.Custom(func(t *rapid.T) ical.Event {
		first := civil.Date(rapid.IntRange(20000, 22000).Draw(t, "first"))
		return ical.Event{
			UID: fmt.Sprintf("b%d@example.invalid", i), Sequence: rapid.IntRange(0, 1000).Draw(t, "sequence"),
			ChangedAt: time.Unix(rapid.Int64Range(1_700_000_000, 1_900_000_000).Draw(t, "changed"), 0),
			Status:    rapid.SampledFrom([]ical.Status{ical.Tentative, ical.Confirmed, ical.Cancelled}).Draw(t, "status"),
			FirstDay:  first, LastDay: first + civil.Date(rapid.IntRange(0, 60).Draw(t, "days")),
			Summary: "J " + anyText().Draw(t, "summary"), Location: anyText().Draw(t, "location"),
			Lines: rapid.SliceOfN(anyText(), 0, 4).Draw(t, "lines"),
			Lat:   rapid.Float64Range(-90, 90).Draw(t, "lat"), Lon: rapid.Float64Range(-180, 180).Draw(t, "lon"),
		}
	})
}

func anyFeed(t *rapid.T, most int) ical.Feed {
	f := ical.Feed{Name: "N" + anyText().Draw(t, "name")}
	for i := range rapid.IntRange(0, most).Draw(t, "events") {
		f.Events = append(f.Events, anyEvent(i).Draw(t, "event"))
	}
	return f
}

// keeps is what stays of any text, written again and apart from the writer.
func keeps(s string) string {
	var lines []string
	s = strings.ReplaceAll(strings.ReplaceAll(s, "\r\n", "\n"), "\r", "\n")
	for _, line := range strings.Split(s, "\n") {
		var b strings.Builder
		for _, r := range line {
			switch {
			case r == '\t':
				b.WriteRune(' ')
			case r < 0x20 || r >= 0x7f && r <= 0x9f:
			default:
				b.WriteRune(r)
			}
		}
		lines = append(lines, strings.Trim(b.String(), " "))
	}
	return strings.Trim(strings.Join(lines, "\n"), "\n")
}

func TestAnyTextComesBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := anyFeed(t, 4)
		feed := write(t, f)
		checkLines(t, feed)
		got := goRead(t, feed)
		if got.Name != keeps(f.Name) || len(got.Events) != len(f.Events) {
			t.Fatalf("name %q, %d events; want %q, %d", got.Name, len(got.Events), keeps(f.Name), len(f.Events))
		}
		byUID := map[string]read{}
		for _, e := range got.Events {
			byUID[e.UID] = e
		}
		for _, e := range f.Events {
			if want := expected(e, keeps); byUID[e.UID] != want {
				t.Fatalf("event %s\nread %+v\nwant %+v", e.UID, byUID[e.UID], want)
			}
		}
	})
}

// Two hundred random events at once keep every rule the checker knows; a
// process for each would take minutes.
func TestRandomFeedKeepsTheRules(t *testing.T) {
	t.Parallel()
	gen := rapid.Custom(func(t *rapid.T) ical.Feed {
		f := ical.Feed{Name: "random"}
		for i := range 200 {
			f.Events = append(f.Events, anyEvent(i).Draw(t, "event"))
		}
		return f
	})
	for seed := range 3 {
		f := gen.Example(seed)
		feed := write(t, f)
		out, ok := icsCheck(t, "--feed", save(t, feed))
		if !ok && !onlyAboutWords(out) {
			t.Errorf("seed %d: ics_check.py:\n%s", seed, out)
		}
		if got := readers[1].read(t, feed); len(got.Events) != len(f.Events) {
			t.Errorf("python3-icalendar read %d of %d events", len(got.Events), len(f.Events))
		}
	}
}

// onlyAboutWords allows the one warning random words may earn: text that looks
// like HTML.
func onlyAboutWords(out string) bool {
	for _, line := range strings.Split(strings.TrimSpace(out), "\n") {
		if !strings.Contains(line, "event(s)") && !strings.HasPrefix(line, "WARN  html") {
			return false
		}
	}
	return true
}

func save(t *testing.T, feed []byte) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "feed.ics")
	if err := os.WriteFile(file, feed, 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}
