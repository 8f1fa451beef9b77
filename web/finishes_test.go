package web

import (
	"math"
	"strings"
	"testing"
)

// The line of days is even: 9 days from 6 to 15 December drawn from a day before
// to a day after the outermost, so 11 days, each a eleventh of the width.
func TestFinishesAreDrawnToScale(t *testing.T) {
	f := Finishes{Until: "2027-04-01", Jobs: []FinishLine{
		{Told: true, P10: "2026-12-06", P50: "2026-12-07", P90: "2026-12-10", Promised: "2026-12-15"},
		{Told: true, P10: "2026-12-08", P50: "2026-12-08", P90: "2026-12-08", Promised: "2026-11-01", Broken: true},
		{Why: "Nobody can say.", Promised: "2027-06-01"},
	}}
	lines := f.Lines()
	day := 100.0 / 11
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-9 {
			t.Errorf("%s at %.2f %%, want %.2f %%", what, got, want)
		}
	}
	near("the box begins", lines[0].Bar().X, day)
	near("the box ends", lines[0].Bar().X+lines[0].Bar().Width, 5*day)
	near("the middle", lines[0].Middle(), 2*day)
	near("the flag", lines[0].Flag(), 10*day)
	near("another job's middle", lines[1].Middle(), 3*day)
	if lines[1].Flagged() || lines[1].Bar().Width <= 0 {
		t.Errorf("a broken promise is flagged, or a day has no box: %+v", lines[1])
	}
	open := Finishes{Until: "2026-12-31", Jobs: []FinishLine{{Told: true, P10: "2026-12-11", P50: "2026-12-21"}}}.Lines()[0]
	if !open.Open() || open.Bar().X+open.Bar().Width != 100 {
		t.Errorf("what is later than the last day looked at does not run to the end: %+v", open.Bar())
	}
}

func TestFinishesSayWhatIsNotKnown(t *testing.T) {
	for _, c := range []struct {
		line FinishLine
		want string
	}{
		{FinishLine{Told: true, P10: "2026-12-07", P50: "2026-12-08", P90: "2026-12-11"}, "Mon 7 Dec to Fri 11 Dec in 8 of 10 futures, half of them by Tue 8 Dec."},
		{FinishLine{Told: true, P10: "2026-12-07", P50: "2026-12-07", P90: "2026-12-07"}, "Mon 7 Dec in 8 of 10 futures or more."},
		{FinishLine{Told: true, P10: "2026-12-07", P50: "2026-12-08", Until: "2027-01-29"}, "From Mon 7 Dec, half of them by Tue 8 Dec; later than Fri 29 Jan in 1 of 10 futures or more."},
		{FinishLine{Told: true, P10: "2026-12-07", Until: "2027-01-29"}, "From Mon 7 Dec; later than Fri 29 Jan in at least 5 of 10 futures."},
		{FinishLine{Told: true, Until: "2027-01-29"}, "Later than Fri 29 Jan in 9 of 10 futures or more."},
		{FinishLine{Why: "Nobody can say: the weather is not known."}, "Nobody can say: the weather is not known."},
	} {
		if got := c.line.When(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
	for _, c := range []struct {
		line FinishLine
		want string
	}{
		{FinishLine{Told: true, Promised: "2026-12-11", Chance: Chance{Known: true, P: 0.71}}, "Promised for Fri 11 Dec: likely (70\u00a0%) to be kept."},
		{FinishLine{Promised: "2026-12-11"}, "Promised for Fri 11 Dec."},
		{FinishLine{Told: true, Promised: "2026-12-11"}, "Promised for Fri 11 Dec: nobody can say whether it is kept."},
		{FinishLine{Told: true, Promised: "2026-12-11", Broken: true}, "Promised for Fri 11 Dec, which has passed."},
		{FinishLine{Told: true}, "No day is promised."},
	} {
		if got := c.line.Promise(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
	if says := (Finishes{}).Says(); !strings.Contains(says, "Nobody can say") {
		t.Error(says)
	}
	unknown := Finishes{Futures: 50, CannotSay: 2}.Says()
	if !strings.Contains(unknown, "nobody can say") || strings.Contains(unknown, "£") || strings.Contains(unknown, "keeps") {
		t.Error(unknown)
	}
	if says := sampleFinishes().Says(); !strings.Contains(says, "It keeps 2.1 of 3 promises on average. Of 1 promise nobody can say. It costs £41,230.00 on average, from £40,100.00 to £43,500.00 in 8 of 10.") {
		t.Error(says)
	}
}
