package safety

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"toeboard/weather/civil"
)

// workingDays counts by the published holidays of a division.
func workingDays(t *testing.T, division string) func(civil.Date, int) civil.Date {
	t.Helper()
	off := map[civil.Date]bool{}
	for _, r := range table(t, "../holidays/bank_holidays.csv") {
		if r["division"] == division {
			d, err := civil.Parse(r["date"])
			if err != nil {
				t.Fatal(err)
			}
			off[d] = true
		}
	}
	if len(off) < 20 {
		t.Fatalf("%d holidays of %s", len(off), division)
	}
	return func(d civil.Date, n int) civil.Date {
		for n > 0 {
			d++
			if wd := d.At(12, 0, time.UTC).Weekday(); wd != time.Saturday && wd != time.Sunday && !off[d] {
				n--
			}
		}
		return d
	}
}

// The number of days of each duty is that of the reference table deadlines.csv,
// read there and not here.
func TestDutiesHaveTheDaysOfTheTable(t *testing.T) {
	t.Parallel()
	limits := map[string]string{}
	for _, r := range table(t, "deadlines.csv") {
		limits[r["duty"]] = r["trigger"] + " " + r["limit"]
	}
	number := regexp.MustCompile(`(\d+) (?:days|working days|days to)`)
	for code, row := range map[string]string{"building_control": "Building control self-cert", "grid_connected": "DNO G98 single premises", "scheme_certificate": "Scheme certificate (MCS)",
		"reportable_15": "RIDDOR over-7-day", "reportable_10": "RIDDOR death/specified injury/dangerous occurrence"} {
		i := slices.IndexFunc(duties, func(d duty) bool { return d.code == code })
		if i < 0 || limits[row] == "" {
			t.Fatalf("%s or %q is missing", code, row)
		}
		text := strings.ReplaceAll(limits[row], "report 10 days", "10 days")
		all := number.FindAllStringSubmatch(text, -1)
		if len(all) == 0 || all[len(all)-1][1] != strconv.Itoa(duties[i].days) {
			t.Errorf("%s has %d days, the table says %q", code, duties[i].days, limits[row])
		}
	}
}

// Worked dates: 10 working days from 18 December 2026 are the rows of
// working_day_checks.csv; calendar days are counted by hand.
func TestDueListWorkedExamples(t *testing.T) {
	t.Parallel()
	loc := london(t)
	for _, c := range []struct {
		division, code, deadline string
	}{
		{"england-and-wales", "scheme_certificate", "2027-01-06"},
		{"scotland", "scheme_certificate", "2027-01-07"},
		{"england-and-wales", "building_control", "2027-01-17"},
		{"scotland", "building_control", ""},
		{"england-and-wales", "grid_connected", "2027-01-15"},
		{"england-and-wales", "electrical_certificate", "2026-12-18"},
		{"england-and-wales", "grid_above", ""},
	} {
		f := DueFacts{JobRef: "Q-1", Division: c.division, Commissioned: civil.On(2026, 12, 18), Facts: Facts{"ac_amps_per_phase": number(16)}, Location: loc}
		got := ""
		for _, d := range DueList(f, workingDays(t, c.division)) {
			if d.Code == c.code {
				got = d.Deadline.String()
			}
		}
		if got != c.deadline {
			t.Errorf("%s in %s: %s, want %s", c.code, c.division, got, c.deadline)
		}
	}
	f := DueFacts{Commissioned: civil.NoDate, Location: loc}
	if got := DueList(f, workingDays(t, "scotland")); len(got) != 0 {
		t.Errorf("before commissioning: %+v", got)
	}
}

// Where the sum of ratings is not known, it is said, not guessed; above 16 A a
// phase the other duty stands (values of dno_checks.csv).
func TestTheWayToTheGridOperator(t *testing.T) {
	t.Parallel()
	rows := table(t, "dno_checks.csv")
	if len(rows) != 8 {
		t.Fatalf("%d rows", len(rows))
	}
	watts := []float64{9000, 3680, 5000, 6000, 3600, 3680, 3600, 3900}
	for i, r := range rows {
		phases := 1
		if i == 0 {
			phases = 3
		}
		amps, _ := AmpsPerPhase(watts[i], phases)
		if want, err := strconv.ParseFloat(r["amps_per_phase"], 64); err != nil || math.Abs(amps-want) > 0.005 {
			t.Errorf("%s: %.3f A, want %s", r["case"], amps, r["amps_per_phase"])
		}
		f := DueFacts{Commissioned: monday, Facts: Facts{"ac_amps_per_phase": number(amps)}, Location: london(t)}
		var codes []string
		for _, d := range DueList(f, workingDays(t, "scotland")) {
			codes = append(codes, d.Code)
		}
		if small := slices.Contains(codes, "grid_connected"); small == slices.Contains(codes, "grid_above") || small != strings.HasPrefix(r["route"], "G98") {
			t.Errorf("%s: %v, the table says %s", r["case"], codes, r["route"])
		}
	}
	f := DueFacts{Commissioned: monday, Location: london(t)}
	for _, d := range DueList(f, workingDays(t, "scotland")) {
		if d.Code == "grid_connected" && !strings.Contains(d.Sentence(monday), "not known whether it is due") {
			t.Errorf("ratings not known: %s", d.Sentence(monday))
		}
	}
}

// Reportable incidents: at once and 10 days, or 15 days from the accident, which
// is not counted (RIDDOR 2013, deadlines.csv); others are recorded only.
func TestReportableIncidents(t *testing.T) {
	t.Parallel()
	loc := london(t)
	when := civil.On(2026, 12, 1)
	for outcome, want := range map[string]string{
		"death": "reportable_at_once 2026-12-01, reportable_10 2026-12-11", "specified_injury": "reportable_at_once 2026-12-01, reportable_10 2026-12-11",
		"public_to_hospital": "reportable_at_once 2026-12-01, reportable_10 2026-12-11", "dangerous_occurrence": "reportable_at_once 2026-12-01, reportable_10 2026-12-11",
		"over_7_days": "reportable_15 2026-12-16", "over_3_days": "", "first_aid": "", "damage_only": "",
	} {
		f := DueFacts{Commissioned: civil.NoDate, Location: loc, Records: []Record{{Kind: Incident, At: when.At(23, 30, loc), Body: Fields{"what": "a fall", "outcome": outcome}}}}
		var got []string
		for _, d := range DueList(f, workingDays(t, "scotland")) {
			got = append(got, d.Code+" "+d.Deadline.String())
		}
		if strings.Join(got, ", ") != want {
			t.Errorf("%s: %v, want %s", outcome, got, want)
		}
	}
}

// Evidence ends a duty, also after its last day, which is then said; evidence
// from before its clock started, or of another duty, does not.
func TestEvidenceEndsADuty(t *testing.T) {
	t.Parallel()
	loc := london(t)
	send := func(duty string, on civil.Date) Record {
		return Record{Kind: Notification, At: on.At(9, 0, loc), Body: Fields{"duty": duty, "sent_to": "the operator", "reference": "N-77"}}
	}
	for _, c := range []struct {
		records []Record
		today   civil.Date
		says    string
		overdue bool
	}{
		{nil, monday, "due by Mon 28 Dec, in 28 days", false},
		{nil, monday + 27, "due by Mon 28 Dec, in 1 day", false},
		{nil, monday + 28, "due today", false},
		{nil, monday + 29, "overdue by 1 day: the last day was Mon 28 Dec", true},
		{[]Record{send("grid_connected", monday+3)}, monday + 40, "sent Thu 3 Dec: N-77, to the operator", false},
		{[]Record{send("grid_connected", monday+30)}, monday + 40, "sent Wed 30 Dec, after its last day Mon 28 Dec", false},
		{[]Record{send("grid_connected", monday-1), send("building_control", monday+1)}, monday + 29, "overdue by 1 day", true},
	} {
		f := DueFacts{Commissioned: monday, Facts: Facts{"ac_amps_per_phase": number(15)}, Location: loc, Records: c.records}
		for _, d := range DueList(f, workingDays(t, "scotland")) {
			if d.Code == "grid_connected" && (!strings.HasPrefix(d.Sentence(c.today), c.says) || d.Overdue(c.today) != c.overdue) {
				t.Errorf("%s: %s", c.today, d.Sentence(c.today))
			}
		}
	}
}

// Evidence closes the incident that it names; evidence that names none, as was
// kept before it had to, closes a duty only where one incident can be meant.
func TestEvidenceClosesTheIncidentItNames(t *testing.T) {
	t.Parallel()
	at := monday.At(9, 0, time.UTC)
	incident := func(n byte) Record {
		return Record{ID: id(n), Kind: Incident, At: at, Body: Fields{"what": "a fall", "outcome": "specified_injury"}}
	}
	sent := func(about string) Record {
		return Record{ID: id(99), Kind: Notification, At: at.Add(time.Hour), Body: Fields{"duty": "reportable_10", "incident": about, "sent_to": "the regulator", "reference": "R-1"}}
	}
	for _, c := range []struct {
		name    string
		records []Record
		closed  []byte
	}{
		{"the first of two", []Record{incident(1), incident(2), sent(id(1).String())}, []byte{1}},
		{"the second of two", []Record{sent(id(2).String()), incident(1), incident(2)}, []byte{2}},
		{"both", []Record{incident(1), incident(2), sent(id(1).String()), sent(id(2).String())}, []byte{1, 2}},
		{"none is named, of one", []Record{incident(1), sent("")}, []byte{1}},
		{"none is named, of two", []Record{incident(1), incident(2), sent("")}, nil},
		{"another one is named", []Record{incident(1), sent(id(7).String())}, nil},
	} {
		var closed []byte
		for _, d := range DueList(DueFacts{Commissioned: civil.NoDate, Records: c.records, Location: time.UTC}, workingDays(t, "scotland")) {
			if d.Code == "reportable_10" && d.Sent.Known() {
				closed = append(closed, d.Incident[15])
			}
		}
		if slices.Sort(closed); !slices.Equal(closed, c.closed) {
			t.Errorf("%s: closed %v, want %v", c.name, closed, c.closed)
		}
	}
}
