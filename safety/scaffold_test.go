package safety

import (
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"toeboard/weather/fault"
)

func goodReport(kind string, at time.Time) ScaffoldReport {
	var c Certificate
	if kind == Handover {
		c = Certificate{DesignRef: "compliance sheet 12", Lifts: 2, Ties: "through ties, every other lift", ReceivedBy: "Imogen Thackray"}
	}
	return ScaffoldReport{
		Certificate: c, Kind: kind, ForWhom: "Quillmere Solar, 1 Yard Lane, Quillmere", Location: "7 Heron Row, Quillmere, front and gable",
		Description: "independent tied, two lifts, eaves and one gable", At: at, Risks: "none found", ActionTaken: "none", Further: "none",
		ByName: "Ines Varga", ByPosition: "scaffold inspector", Fit: true, LoadClass: 3,
	}
}

// Work at Height Regulations 2005 schedule 7, the eight particulars of a report
// (from memory; one page counts seven: check against the original).
var scheduleSeven = map[int][]string{
	1: {"ForWhom"}, 2: {"Location"}, 3: {"Description"}, 4: {"At"}, 5: {"Risks"}, 6: {"ActionTaken"}, 7: {"Further"}, 8: {"ByName", "ByPosition"},
}

func TestEveryParticularIsMappedAndAsked(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 11, 23, 7, 40, 0, 0, time.UTC)
	mapped := map[int]int{}
	for _, p := range Particulars() {
		mapped[p.Item]++
	}
	for item, fields := range scheduleSeven {
		if mapped[item] != len(fields) {
			t.Errorf("item %d: %d particulars mapped, want %d", item, mapped[item], len(fields))
		}
		for _, field := range fields {
			r := goodReport(Inspection, at)
			v := reflect.ValueOf(&r).Elem().FieldByName(field)
			v.SetZero()
			if lacks := r.Lacks(); len(lacks) != 1 {
				t.Errorf("item %d without %s: lacks %v", item, field, lacks)
			}
			if errs := fault.Each(r.Check()); len(errs) != 1 || errs[0].Want == "" {
				t.Errorf("item %d without %s: %v", item, field, errs)
			}
			if v.Kind() == reflect.String {
				v.SetString(" \t")
				if len(r.Lacks()) != 1 {
					t.Errorf("item %d: blanks are no %s", item, field)
				}
			}
		}
	}
	if err := goodReport(Inspection, at).Check(); err != nil {
		t.Errorf("a complete report is refused: %v", err)
	}
}

func TestReportCheckNamesEveryFault(t *testing.T) {
	t.Parallel()
	r := goodReport("visit", time.Date(2026, 11, 23, 9, 0, 0, 0, time.UTC))
	r.Risks, r.LoadClass, r.RecordedAt = "", 9, r.At.Add(-time.Hour)
	var fields []string
	for _, e := range fault.Each(r.Check()) {
		fields = append(fields, e.Field)
	}
	if want := []string{"kind", "risks", "load_class", "at"}; !slices.Equal(fields, want) {
		t.Errorf("named %v, want %v", fields, want)
	}
	h := goodReport(Handover, r.At)
	h.LoadClass = 0
	if err := h.Check(); err == nil || !strings.Contains(err.Error(), "load_class") {
		t.Errorf("a handover without a load class: %v", err)
	}
	i := goodReport(Inspection, r.At)
	i.LoadClass = 0
	if err := i.Check(); err != nil {
		t.Errorf("an inspection need not state the load class: %v", err)
	}
}

func TestFurtherNeeded(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]bool{
		"none": false, "None.": false, " none found ": false, "No further action required": false, "nil": false,
		"": true, "replace two boards": true, "none, but the ladder is loose": true, "none?": true, "see above": true,
	} {
		if got := (ScaffoldReport{Further: text}).FurtherNeeded(); got != want {
			t.Errorf("%q: got %v, want %v: only a plain none is none", text, got, want)
		}
	}
}

// EN 12811-1 service loads, rows "Scaffold class n" of wahr_dimensions.csv.
func TestLoadOfClass(t *testing.T) {
	t.Parallel()
	seen := 0
	for _, row := range table(t, "wahr_dimensions.csv") {
		n, ok := strings.CutPrefix(row["item"], "Scaffold class ")
		if !ok {
			continue
		}
		seen++
		class, _ := strconv.Atoi(n)
		want, _ := strconv.ParseFloat(row["value"], 64)
		if got, ok := LoadOfClass(class); !ok || got != want {
			t.Errorf("class %d: got %g, want %g kN/m2", class, got, want)
		}
	}
	if seen != 6 {
		t.Errorf("%d classes in the table, want 6", seen)
	}
	for _, class := range []int{-1, 0, 7} {
		if _, ok := LoadOfClass(class); ok {
			t.Errorf("class %d exists", class)
		}
	}
}

// Seven calendar days to the same local time are 168 hours but for the two
// weeks in which the clocks change: 167 over 2027-03-28, 169 over 2026-10-25.
func TestInspectionHoldsAcrossClockChanges(t *testing.T) {
	t.Parallel()
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		at    time.Time
		hours float64
	}{
		{time.Date(2026, 11, 23, 7, 40, 0, 0, london), 168},
		{time.Date(2027, 3, 24, 7, 40, 0, 0, london), 167},
		{time.Date(2026, 10, 21, 7, 40, 0, 0, london), 169},
	} {
		due, lapses := InspectionHolds(c.at.UTC(), london)
		if got := lapses.Sub(c.at).Hours(); got != c.hours {
			t.Errorf("%s: holds %g hours, want %g", c.at, got, c.hours)
		}
		if lapses.Hour() != 7 || lapses.Minute() != 40 || lapses.Weekday() != c.at.Weekday() {
			t.Errorf("%s: lapses %s, want the same local time and weekday", c.at, lapses)
		}
		if !due.AddDate(0, 0, 1).Equal(lapses) {
			t.Errorf("%s: due %s, want a day before %s", c.at, due, lapses)
		}
	}
}
