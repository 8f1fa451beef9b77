package safety

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"toeboard/weather/fault"
)

// The worked examples of NIOSH publication 94-110, printed with rounded
// multipliers: within 3% of the printed limit, and of the limit at full
// precision (niosh_examples.csv) within 0.5%.
func TestNIOSHWorkedExamples(t *testing.T) {
	t.Parallel()
	seen := 0
	for _, row := range table(t, "niosh_examples.csv") {
		n := func(col string) float64 { f, _ := strconv.ParseFloat(row[col], 64); return f }
		// The examples give FM and CM; here they come of rate, duration and grip.
		l := Lift{H: n("H"), V: n("V"), D: n("D"), A: n("A_deg"), PerMin: 0.1, Hours: 1}
		if row["FM"] == "0.88" {
			l.PerMin = 3
		}
		l.Coupling = map[string]string{"0.95": "fair", "0.9": "poor", "1.0": "fair"}[row["CM"]]
		rwl, ok := l.RWLPounds()
		if row["units"] == "kg/cm" {
			rwl, ok = l.RWL()
		}
		full, load := n("full_precision_RWL"), n("load")
		if !ok || math.Abs(rwl/full-1) > 0.005 {
			t.Errorf("%s: %.2f, want %.2f", row["example"], rwl, full)
		}
		if got := load / rwl; math.Abs(got-n("full_precision_LI")) > 0.06 {
			t.Errorf("%s: index %.2f, want %s", row["example"], got, row["full_precision_LI"])
		}
		if row["printed_RWL"] != "" {
			seen++
			if math.Abs(rwl/n("printed_RWL")-1) > 0.03 || math.Abs(load/rwl-n("printed_LI")) > 0.12 {
				t.Errorf("%s: %.1f lb, index %.2f; printed %s and %s", row["example"], rwl, load/rwl, row["printed_RWL"], row["printed_LI"])
			}
		}
	}
	if seen != 7 {
		t.Errorf("%d published examples, want 7", seen)
	}
}

// Every cell of the tables of multipliers.
func TestNIOSHTables(t *testing.T) {
	t.Parallel()
	cols := map[string]struct{ hours, v float64 }{"le1h_Vlt30in": {1, 74}, "le1h_Vge30in": {1, 75}, "le2h_Vlt30in": {2, 74}, "le2h_Vge30in": {2, 75}, "le8h_Vlt30in": {8, 74}, "le8h_Vge30in": {8, 75}}
	for _, row := range table(t, "niosh_fm.csv") {
		rate, err := strconv.ParseFloat(row["lifts_per_min"], 64)
		if err != nil {
			rate = 15.5 // the row ">15"
		}
		for col, at := range cols {
			want, _ := strconv.ParseFloat(row[col], 64)
			if got, ok := metricNIOSH.frequency(Lift{PerMin: rate, Hours: at.hours, V: at.v}); !ok || got != want {
				t.Errorf("%g a minute, %s: %g, want %g", rate, col, got, want)
			}
		}
	}
	for _, row := range table(t, "niosh_cm.csv") {
		for col, v := range map[string]float64{"V_lt_30in_75cm": 74, "V_ge_30in_75cm": 75} {
			want, _ := strconv.ParseFloat(row[col], 64)
			if got, ok := metricNIOSH.coupling(Lift{Coupling: row["coupling"], V: v}); !ok || got != want {
				t.Errorf("%s, %s: %g, want %g", row["coupling"], col, got, want)
			}
		}
	}
	// At its best the limit is the load constant; outside its reach it is nothing.
	if got, _ := (Lift{H: 25, V: 75, D: 25, PerMin: 0.2, Hours: 1, Coupling: "good"}).RWL(); got != 23 {
		t.Errorf("at its best %.2f kg, want 23", got)
	}
	for _, l := range []Lift{{H: 64, V: 75, D: 25}, {H: 25, V: 176, D: 25}, {H: 25, V: 75, D: 176}, {H: 25, V: 75, D: 25, A: 136}, {H: 25, V: 75, D: 25, PerMin: 16}} {
		l.Hours, l.Coupling = 1, "good"
		if got, ok := l.RWL(); !ok || got != 0 {
			t.Errorf("%+v: %.2f kg, want 0", l, got)
		}
	}
	for _, l := range []Lift{{}, {H: 25, V: 75, Hours: 3, Coupling: "good"}, {H: 25, V: 75, Hours: 1, Coupling: "sticky"}, {H: math.NaN(), Hours: 1, Coupling: "good"}, {H: 25, V: math.NaN(), Hours: 1, Coupling: "good"}} {
		if got, ok := l.RWL(); ok {
			t.Errorf("%+v: %.2f kg", l, got)
		}
	}
}

// dno_checks.csv: a network operator's examples (13.04 A, 21.7 A) and its rule.
func TestAmpsPerPhase(t *testing.T) {
	t.Parallel()
	for _, row := range table(t, "dno_checks.csv") {
		want, err := strconv.ParseFloat(row["amps_per_phase"], 64)
		watts, phases := 0.0, 1
		if over, ok := strings.CutSuffix(strings.TrimSpace(row["devices"]), "/(230*3)"); ok {
			watts, phases = parse(t, over), 3
		} else if over, ok := strings.CutSuffix(strings.TrimSpace(row["devices"]), "/230"); ok {
			watts = parse(t, over)
		} else {
			continue // written as a formula of its own
		}
		got, ok := AmpsPerPhase(watts, phases)
		if err != nil || !ok || math.Abs(got-want) > 0.01 {
			t.Errorf("%s: %.2f A, want %.2f", row["case"], got, want)
		}
		g, _ := ReadSumInputs(nil, map[string]string{"ac_watts": strconv.FormatFloat(watts, 'f', -1, 64), "phases": strconv.Itoa(phases)})
		if s := g.grid(); (s.State == Met) != strings.HasPrefix(row["route"], "G98") {
			t.Errorf("%s: %s, the table says %s", row["case"], s.Says, row["route"])
		}
	}
}

func parse(t *testing.T, s string) float64 {
	t.Helper()
	f, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// CDM 2015 reg 6 as quoted: 29 days x 19 people = 551 person-days are notified;
// 500 person-days and 30 days exactly are not.
func TestNotifiable(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		days, atOnce, personDays int
		want                     bool
	}{{29, 19, 551, true}, {25, 20, 500, false}, {30, 21, 400, false}, {31, 21, 400, true}, {31, 20, 400, false}, {2, 4, 8, false}} {
		if got := Notifiable(c.days, c.atOnce, c.personDays); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

// 10 modules of 41.0 V: 410 V, x 1.25 = 512.5 V, so the insulation is tested at
// 1000 V (electrical_tests.csv, rows 17 to 19).
func TestStringTests(t *testing.T) {
	t.Parallel()
	s := StringTest{Modules: 10, VocSTC: 41, TempCoeff: -0.27, CellTempC: 25}
	if s.ExpectedVoc() != 410 || s.SystemVoltage() != 512.5 {
		t.Errorf("%.1f V, system %.1f V", s.ExpectedVoc(), s.SystemVoltage())
	}
	if v, least := InsulationLimit(s.SystemVoltage()); v != 1000 || least != 1 {
		t.Errorf("test at %d V, at least %g", v, least)
	}
	for volts, want := range map[float64]int{119.9: 250, 120: 500, 500: 500, 500.1: 1000} {
		if got, _ := InsulationLimit(volts); got != want {
			t.Errorf("%g V: test at %d V, want %d", volts, got, want)
		}
	}
	// 45 degrees at -0.27 %/K is 5.4% under 410 V.
	s.CellTempC = 45
	if got := s.ExpectedVoc(); math.Abs(got-387.86) > 0.01 {
		t.Errorf("at 45 degrees %.2f V, want 387.86", got)
	}
	for _, c := range []struct {
		polarity Answer
		volts    float64
		want     State
		says     string
	}{{NotLookedAt, 388, Unknown, "not yet"}, {No, 388, NotMet, "fail"}, {Yes, 0, Unknown, "not yet"}, {Yes, 388, Met, "pass"}, {Yes, 368.5, Met, "pass"}, {Yes, 368.4, NotMet, "fail"}, {Yes, 410, NotMet, "fail"}} {
		s.PolarityOK, s.MeasuredV = c.polarity, c.volts
		if got, says := s.Voc(); got != c.want || !strings.HasPrefix(says, c.says) {
			t.Errorf("%+v: %s, %s", c, got, says)
		}
	}
	for mohm, want := range map[float64]State{0: Unknown, 0.99: NotMet, 1: Met} {
		s.InsulationM = mohm
		if got, says := s.Insulation(); got != want || says == "" {
			t.Errorf("%g Mohm: %s, %s", mohm, got, says)
		}
	}
	for _, bad := range []StringTest{{}, {Modules: 10}, {Modules: 10, VocSTC: 41, TempCoeff: 0.3, MeasuredV: 410, PolarityOK: Yes}, {Modules: 10, VocSTC: 41, CellTempC: math.NaN(), PolarityOK: Yes, MeasuredV: 410}} {
		if got, _ := bad.Voc(); got != Unknown {
			t.Errorf("%+v: %s", bad, got)
		}
	}
}

// Nothing known gives no sum an answer but those of usual values alone, and
// every sum says its source.
func TestSumsOfAJob(t *testing.T) {
	t.Parallel()
	g, err := ReadSumInputs(nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range Sums(g) {
		if s.State != Unknown || s.Source == "" || s.Limit == "" || s.Says == "" || s.Title == "" || len(s.Inputs) == 0 {
			t.Errorf("with nothing known: %+v", s)
		}
	}
	f := factsFrom(t, `{"modules": 12, "module_kg": 28, "module_m2": 1.95, "scaffold_load_class": 2, "working_height_m": 6, "ohl_support": "tower", "ohl_distance_m": 15, "ac_amps_per_phase": 16}`)
	g, err = ReadSumInputs(FactInputs(f), map[string]string{"project_days": "29", "project_at_once": "19", "project_person_days": "551", "bay_people": "0",
		"string_modules": "10", "voc_stc_v": "41", "voc_coeff": "-0.27", "cell_c": "25", "polarity": "yes", "voc_measured_v": "405"})
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]struct {
		state  State
		result string
	}{
		"platform": {NotMet, "1.30 kN/m2"}, "team": {NotMet, "26.67 kg"}, "niosh": {NotMet, "11.2 kg"}, "fall": {NotMet, "6.55 m"}, "ladder": {Met, "foot 1.50 m out"},
		"line": {NotMet, "15 m, asked within 15 m"}, "notify": {NotMet, "551 person-days"}, "carry": {Met, "stop at"}, "string": {Met, "410.0 V"}, "string_ir": {Unknown, "1000 V"}, "grid": {Met, "16.00 A"},
	}
	for _, s := range Sums(g) {
		if w := want[s.Key]; s.State != w.state || !strings.Contains(s.Result, w.result) {
			t.Errorf("%s: %s, %q (%s), want %s and %q", s.Key, s.State, s.Result, s.Says, w.state, w.result)
		}
		delete(want, s.Key)
	}
	if len(want) > 0 {
		t.Errorf("no sum of %v", want)
	}
	_, err = ReadSumInputs(nil, map[string]string{"men": "nine", "lift_zone": "knees", "fall_free_m": "-1", "lift_hours": "3"})
	if errs := fault.Each(err); len(errs) != 4 || errs[0].Want == "" {
		t.Errorf("every bad value at once: %v", err)
	}
}
