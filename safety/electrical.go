package safety

import (
	_ "embed"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

//go:embed electrical_tests.csv
var electricalTestsCSV string

// ElectricalTestDef is one test that a record may be of: electrical_tests.csv,
// in the order in which they are done.
type ElectricalTestDef struct {
	Key, Name string
	Live      bool
	Limit     string // "judged" by the tester; "min 1", "max 300"; "string voc", "string insulation"
	Unit      string
	Source    string
}

var electricalTests = readElectricalTests(electricalTestsCSV)

func readElectricalTests(text string) []ElectricalTestDef {
	var all []ElectricalTestDef
	for _, r := range ownRows("electrical_tests.csv", text) {
		all = append(all, ElectricalTestDef{r[0], r[1], r[2] == "live", r[3], r[4], r[5]})
	}
	return all
}

// ElectricalTests lists the tests in their order.
func ElectricalTests() []ElectricalTestDef { return slices.Clone(electricalTests) }

func electricalTestKeys() []string {
	var all []string
	for _, d := range electricalTests {
		all = append(all, d.Key)
	}
	return all
}

// deadFirst are the dead tests that stand before any live one (BS 7671 643, from
// memory).
var deadFirst = []string{"continuity", "insulation", "polarity"}

// TestResult is what one test of one circuit came to.
type TestResult struct {
	Test    ElectricalTestDef
	Circuit string
	State   State  // Met = pass, NotMet = fail, Unknown = not yet
	Says    string // begins with pass, fail or not yet
	By      string
	At      time.Time // UTC
}

// TestResults judges the electrical tests of a job by its records: the newest of
// each test and circuit counts, oldest first. A live test that was done before
// the dead ones of the job had passed is a fail: it is done again. The polarity
// of a string comes before its voltage. It reads no more than a limit says; the
// certificate is the electrician's.
func TestResults(records []Record) []TestResult {
	var done []Record
	for _, r := range records {
		if r.Kind == ElectricalTest {
			done = append(done, r)
		}
	}
	slices.SortStableFunc(done, func(a, b Record) int { return a.At.Compare(b.At) })
	var all []TestResult
	for _, r := range done {
		one := judgeTest(r, all)
		i := slices.IndexFunc(all, func(t TestResult) bool { return t.Test.Key == one.Test.Key && t.Circuit == one.Circuit })
		if i >= 0 {
			all = slices.Delete(all, i, i+1)
		}
		all = append(all, one)
	}
	return all
}

// NotYet names the dead tests without which no live one is done.
func NotYet(results []TestResult) []string {
	var open []string
	for _, key := range deadFirst {
		if !passed(results, key, "") {
			open = append(open, testDef(key).Name)
		}
	}
	return open
}

func testDef(key string) ElectricalTestDef {
	for _, d := range electricalTests {
		if d.Key == key {
			return d
		}
	}
	return ElectricalTestDef{Key: key, Name: key}
}

// passed tells whether a test passed: of one circuit, or of all that were tested
// when circuit is "", one at least.
func passed(results []TestResult, key, circuit string) bool {
	some := false
	for _, t := range results {
		if t.Test.Key != key || circuit != "" && t.Circuit != circuit {
			continue
		}
		if t.State != Met {
			return false
		}
		some = true
	}
	return some
}

func judgeTest(r Record, before []TestResult) TestResult {
	d := testDef(r.Body["test"])
	t := TestResult{Test: d, Circuit: strings.TrimSpace(r.Body["circuit"]), By: r.ByName, At: r.At}
	if open := NotYet(before); d.Live && len(open) > 0 {
		t.State, t.Says = NotMet, "fail: done live before the dead tests had passed ("+strings.Join(open, ", ")+"): dead tests first, then again"
		return t
	}
	t.State, t.Says = judgeReading(d, r.Body, before, t.Circuit)
	return t
}

func judgeReading(d ElectricalTestDef, b Fields, before []TestResult, circuit string) (State, string) {
	value, known := reading(b["value"])
	kind, limit, _ := strings.Cut(d.Limit, " ")
	shown := strings.TrimSpace(b["value"] + " " + d.Unit)
	switch kind {
	case "judged":
		switch b["judged"] {
		case "yes":
			return Met, "pass: " + shown + ", judged by the tester"
		case "no":
			return NotMet, "fail: " + shown + ", judged by the tester"
		}
		return Unknown, "not yet: " + shown + " is not judged by the tester"
	case "string":
		return judgeString(limit, b, before, circuit)
	}
	bound, ok := reading(limit)
	asked := fmt.Sprintf("at least %s %s", limit, d.Unit)
	if kind == "max" {
		asked = fmt.Sprintf("at most %s %s", limit, d.Unit)
	}
	switch {
	case !known || !ok:
		return Unknown, fmt.Sprintf("not yet: %q is no number; asked: %s", b["value"], asked)
	case kind == "min" && value >= bound || kind == "max" && value <= bound:
		return Met, fmt.Sprintf("pass: %s; asked: %s", shown, asked)
	}
	return NotMet, fmt.Sprintf("fail: %s; asked: %s", shown, asked)
}

// judgeString judges a string's voltage or insulation by its data sheet.
func judgeString(what string, b Fields, before []TestResult, circuit string) (State, string) {
	modules, _ := strconv.Atoi(strings.TrimSpace(b["modules"]))
	s := StringTest{Modules: modules, PolarityOK: NotLookedAt}
	for key, to := range map[string]*float64{"voc_stc_v": &s.VocSTC, "temp_coeff": &s.TempCoeff, "cell_temp_c": &s.CellTempC} {
		n, ok := reading(b[key])
		if !ok && !(what == "insulation" && key != "voc_stc_v") {
			return Unknown, "not yet: number of modules, open-circuit voltage and coefficient of one and the temperature are needed, from the data sheet and a thermometer"
		}
		*to = n
	}
	value, known := reading(b["value"])
	if !known {
		return Unknown, fmt.Sprintf("not yet: %q is no number", b["value"])
	}
	if what == "insulation" {
		s.InsulationM = value
		return s.Insulation()
	}
	s.MeasuredV = value
	for _, t := range before {
		if t.Test.Key == "pv_polarity" && t.Circuit == circuit {
			s.PolarityOK = map[State]Answer{Met: Yes, NotMet: No}[t.State]
		}
	}
	return s.Voc()
}

// grouped is a number whose comma may part thousands: nobody can tell 1,000 from
// 1.000.
var grouped = regexp.MustCompile(`^>?\s*[+-]?0*[1-9]\d{0,2}(,\d{3})+$`)

// reading reads a number as people type it: a decimal comma is one, unless it
// may part thousands. What an instrument shows beyond its range, as ">999", is
// read as that number.
func reading(s string) (float64, bool) {
	if grouped.MatchString(strings.TrimSpace(s)) {
		return 0, false
	}
	s = strings.TrimPrefix(strings.TrimSpace(strings.Replace(s, ",", ".", 1)), ">")
	n, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	return n, err == nil && n == n && n < 1e9 && n > -1e9
}

// MayStrike says whether the records let the scaffold come down: the newest
// check of the finished roof answers every question yes and names a photo.
// Nobody looked = unknown, which is not yet.
func MayStrike(records []Record) (State, string) {
	var newest *Record
	for i, r := range records {
		if r.Kind == Weatherproof && (newest == nil || !r.At.Before(newest.At)) {
			newest = &records[i]
		}
	}
	if newest == nil {
		return Unknown, "not yet: nobody has checked that the roof is tight"
	}
	for _, f := range recordFields[Weatherproof] {
		switch v := newest.Body[f.key]; {
		case slices.Equal(f.words, yesNo) && v == "no":
			return NotMet, "no: " + f.ask + ": no"
		case f.must && !said(v), f.key == "photo" && !said(newest.Body[photoSum]): // only a photo that is kept counts
			return Unknown, "not yet: " + f.ask + " is missing"
		}
	}
	return Met, "yes: checked by " + newest.ByName + ", with photo"
}
