package safety

import (
	"slices"
	"strings"
	"testing"
	"time"
)

// The tests come in the order of the reference table electrical_tests.csv, dead
// ones before live ones, and with its limits.
func TestElectricalTestsAreTheTables(t *testing.T) {
	t.Parallel()
	rows := table(t, "electrical_tests.csv")
	telling := map[string]string{"continuity": "Continuity of protective", "ring": "Ring final", "insulation": "Insulation resistance LV", "polarity": "Polarity (dead)",
		"earth_electrode": "Earth electrode", "pv_polarity": "PV: polarity", "pv_voc": "PV: string Voc", "zs": "Loop impedance", "fault_current": "Prospective fault", "rcd": "RCD 30 mA", "functional": "Functional"}
	live := false
	for _, d := range ElectricalTests() {
		if live && !d.Live {
			t.Errorf("%s is dead and comes after a live test", d.Key)
		}
		live = live || d.Live
		word, in := telling[d.Key]
		if !in {
			continue
		}
		i := slices.IndexFunc(rows, func(r map[string]string) bool { return strings.HasPrefix(r["test"], word) })
		if i < 0 {
			t.Fatalf("%s is not in the table", d.Key)
		}
		if !strings.HasPrefix(d.Key, "pv_") && (rows[i]["dead_or_live"] == "live") != d.Live {
			t.Errorf("%s: live %t, the table says %s", d.Key, d.Live, rows[i]["dead_or_live"])
		}
		if _, n, ok := strings.Cut(d.Limit, " "); ok && !strings.HasPrefix(d.Limit, "string") && !strings.Contains(rows[i]["limit"], n) {
			t.Errorf("%s: limit %s, the table says %s", d.Key, d.Limit, rows[i]["limit"])
		}
	}
}

func tested(minute int, test, circuit, value, judged string) Record {
	return Record{Kind: ElectricalTest, At: time.Date(2026, 12, 1, 9, minute, 0, 0, time.UTC), ByName: "Callum Reyes",
		Body: Fields{"test": test, "circuit": circuit, "value": value, "judged": judged, "instrument": "MFT 12"}}
}

func TestResultsSayPassFailOrNotYet(t *testing.T) {
	t.Parallel()
	dead := []Record{tested(1, "continuity", "C1", "0.12", "yes"), tested(2, "insulation", "C1", ">999", ""), tested(3, "polarity", "C1", "correct", "yes")}
	str := func(minute int, test, value string, extra Fields) Record {
		r := tested(minute, test, "S1", value, "yes")
		for k, v := range extra {
			r.Body[k] = v
		}
		return r
	}
	sheet := Fields{"modules": "10", "voc_stc_v": "41.0", "temp_coeff": "-0.27", "cell_temp_c": "10"}
	for _, c := range []struct {
		name    string
		records []Record
		test    string
		state   State
		says    string
	}{
		{"insulation above 1 Mohm (BS 7671 table 64)", dead[1:2], "insulation", Met, "pass: >999 Mohm; asked: at least 1 Mohm"},
		{"insulation exactly at it", []Record{tested(1, "insulation", "C1", "1", "")}, "insulation", Met, "pass"},
		{"insulation below it", []Record{tested(1, "insulation", "C1", "0,9", "")}, "insulation", NotMet, "fail: 0,9 Mohm"},
		{"no number", []Record{tested(1, "insulation", "C1", "good", "")}, "insulation", Unknown, "not yet"},
		{"nobody judged it", []Record{tested(1, "continuity", "C1", "0.1", "")}, "continuity", Unknown, "not yet"},
		{"judged bad", []Record{tested(1, "continuity", "C1", "9", "no")}, "continuity", NotMet, "fail"},
		{"RCD in time (300 ms)", append(slices.Clone(dead), tested(9, "rcd", "C1", "28", "")), "rcd", Met, "pass: 28 ms"},
		{"RCD too slow", append(slices.Clone(dead), tested(9, "rcd", "C1", "301", "")), "rcd", NotMet, "fail: 301 ms"},
		{"live before dead", []Record{dead[0], dead[2], tested(9, "rcd", "C1", "28", "")}, "rcd", NotMet, "fail: done live before the dead tests had passed (insulation resistance at 500 V)"},
		{"live before dead, by the clock and not by the list", append([]Record{tested(0, "rcd", "C1", "28", "")}, dead...), "rcd", NotMet, "done live before"},
		{"dead put right, then live again", append(slices.Clone(dead), tested(0, "rcd", "C1", "28", ""), tested(9, "rcd", "C1", "28", "")), "rcd", Met, "pass"},
		{"a dead test that failed later holds", append(slices.Clone(dead), tested(5, "insulation", "C2", "0.2", ""), tested(9, "rcd", "C1", "28", "")), "rcd", NotMet, "done live before"},
		// 10 x 41.0 V at 10 degrees C and -0.27 %/K: 410 x 1.0405 = 426.6 V, 5% either way (IEC 62446-1 6.4).
		{"voltage as expected, polarity first", []Record{tested(1, "pv_polarity", "S1", "right", "yes"), str(2, "pv_voc", "425", sheet)}, "pv_voc", Met, "pass: 425.0 V measured"},
		{"voltage before polarity", []Record{str(2, "pv_voc", "425", sheet)}, "pv_voc", Unknown, "not yet: polarity"},
		{"polarity wrong", []Record{tested(1, "pv_polarity", "S1", "reversed", "no"), str(2, "pv_voc", "425", sheet)}, "pv_voc", NotMet, "polarity is wrong"},
		{"polarity of another string", []Record{tested(1, "pv_polarity", "S2", "right", "yes"), str(2, "pv_voc", "425", sheet)}, "pv_voc", Unknown, "not yet: polarity"},
		{"one module too few", []Record{tested(1, "pv_polarity", "S1", "right", "yes"), str(2, "pv_voc", "384", sheet)}, "pv_voc", NotMet, "fail"},
		{"no data sheet", []Record{tested(1, "pv_polarity", "S1", "right", "yes"), str(2, "pv_voc", "425", nil)}, "pv_voc", Unknown, "not yet"},
		// 410 x 1.25 = 512.5 V: tested at 1000 V, at least 1 Mohm.
		{"insulation of the string", []Record{str(2, "pv_insulation", "40", sheet)}, "pv_insulation", Met, "test at 1000 V"},
	} {
		got := TestResults(c.records)
		i := slices.IndexFunc(got, func(r TestResult) bool { return r.Test.Key == c.test })
		if i < 0 || got[i].State != c.state || !strings.Contains(got[i].Says, c.says) {
			t.Errorf("%s: %+v, want %s %q", c.name, got, c.state, c.says)
		}
		slices.Reverse(c.records)
		if again := TestResults(c.records); len(again) != len(got) || again[i].Says != got[i].Says {
			t.Errorf("%s: the order of the list changes what it comes to", c.name)
		}
	}
	if open := NotYet(nil); len(open) != 3 {
		t.Errorf("before any test: %v", open)
	}
}

// The scaffold comes down only after somebody found the roof tight and showed
// it: one no, one gap or nobody holds it (common practice, no source).
func TestMayStrike(t *testing.T) {
	t.Parallel()
	good := func() Record {
		b := Fields{"photo": "roof 1", photoSum: "0a1b"}
		for _, f := range recordFields[Weatherproof] {
			if slices.Equal(f.words, yesNo) {
				b[f.key] = "yes"
			}
		}
		return Record{Kind: Weatherproof, At: time.Date(2026, 12, 1, 15, 0, 0, 0, time.UTC), ByName: "Rhodri Pask", Body: b}
	}
	if got, _ := MayStrike(nil); got != Unknown {
		t.Errorf("nobody looked: %s", got)
	}
	if got, says := MayStrike([]Record{good()}); got != Met {
		t.Errorf("all good: %s, %s", got, says)
	}
	said := good()
	delete(said.Body, photoSum)
	if got, _ := MayStrike([]Record{said}); got != Unknown {
		t.Errorf("a photo that nobody kept: %s", got)
	}
	for _, f := range recordFields[Weatherproof] {
		if !f.must {
			continue
		}
		for v, want := range map[string]State{"no": NotMet, "": Unknown} {
			if v == "no" && f.words == nil {
				continue
			}
			r := good()
			r.Body[f.key] = v
			if got, says := MayStrike([]Record{r}); got != want {
				t.Errorf("%s is %q: %s, %s", f.key, v, got, says)
			}
			later := good()
			later.At = later.At.Add(time.Hour)
			if got, _ := MayStrike([]Record{later, r}); got != Met {
				t.Errorf("%s was %q, put right later: %s", f.key, v, got)
			}
		}
	}
}

// A comma that may part thousands is read as nothing, so that a loop of 1,000 Ω
// is never taken for one of 1 Ω.
func TestACommaThatMayPartThousandsIsNoNumber(t *testing.T) {
	t.Parallel()
	for typed, want := range map[string]float64{"0,5": 0.5, "0,500": 0.5, "12,34": 12.34, "1.000": 1, ">999": 999, "1000": 1000} {
		if got, ok := reading(typed); !ok || got != want {
			t.Errorf("%q reads %g, %t; want %g", typed, got, ok, want)
		}
	}
	for _, typed := range []string{"1,000", "12,345", ">1,000", "1,000,000", "+1,000", "-1,000", "01,000", ">+1,000"} {
		if got, ok := reading(typed); ok {
			t.Errorf("%q reads %g, and may be a thousand times that", typed, got)
		}
	}
}
