package schedule_test

import (
	"slices"
	"strings"
	"testing"

	"toeboard/schedule"
)

// 20.0 km there and back on two days, at 90 p: 4 x 18.00.
func TestADistanceTheFirmGaveCounts(t *testing.T) {
	t.Parallel()
	s, p := one(t)
	s.Crews[1].HomeLat, s.Crews[1].HomeLon = s.Jobs[0].Site.Lat, s.Jobs[0].Site.Lon
	without, _ := lines(schedule.Price(s, p), schedule.Travel)
	s.Travel = []schedule.Leg{{From: "J-001", To: "Roof 1", Km: 20}, {From: "J-001", To: "somewhere else", Km: 1}}
	with, say := lines(schedule.Price(s, p), schedule.Travel)
	if with != 4*18_00 || without == with {
		t.Errorf("travel %s, by hand £72.00 (by great circle %s): %s", with, without, say)
	}
	if !strings.Contains(say, "80 km by road") {
		t.Errorf("%q should say 80 km", say)
	}
	s.Travel = s.Travel[1:] // a pair that the firm did not give is estimated
	if again, _ := lines(schedule.Price(s, p), schedule.Travel); again != without {
		t.Errorf("a leg to nowhere changed travel from %s to %s", without, again)
	}
	if again, cost, err := schedule.SearchCost(s, 20, 1); err != nil || cost != again.Cost.Total {
		t.Errorf("the search kept %s, Price says %s (%v)", cost, again.Cost.Total, err)
	}
}

func TestReadDistances(t *testing.T) {
	t.Parallel()
	legs, err := schedule.ReadLegs(strings.NewReader("\ufefffrom, to ,KM\nRoof 1,J-1,12.5\nJ-1,Roof 1,12.5\nJ-2,J-1,3\n"))
	if err != nil || len(legs) != 2 || legs[0] != (schedule.Leg{From: "J-1", To: "J-2", Km: 3}) || legs[1] != (schedule.Leg{From: "J-1", To: "Roof 1", Km: 12.5}) {
		t.Errorf("read %+v, %v", legs, err)
	}
	for _, c := range []struct{ text, says string }{
		{"", "from,to,km"},
		{"from,to\n", "km is missing"},
		{"from,to,km\nA,B,12\nB,A,13\n", `line 3, km is "13": as far as the other way, 12 km`},
		{"from,to,km\nA,,1\n", "line 2, from, to"},
		{"from,to,km\nA,A,1\n", "another place than from"},
		{"from,to,km\nA,B,far\n", "kilometres by road, 0 to 2000"},
		{"from,to,km\nA,B,-1\n", "kilometres by road, 0 to 2000"},
		{"from,to,km\nA,B,NaN\n", "kilometres by road, 0 to 2000"},
		{"from,to,km\nA,B\n", "line 2, km"},
	} {
		if legs, err := schedule.ReadLegs(strings.NewReader(c.text)); err == nil || !strings.Contains(err.Error(), c.says) || legs != nil {
			t.Errorf("%q: %+v, %v; want %q", c.text, legs, err, c.says)
		}
	}
}

// What is written is what is read, names with commas and all.
func TestDistancesAreWrittenAsTheyAreRead(t *testing.T) {
	t.Parallel()
	legs := []schedule.Leg{{From: "J-1", To: "J-2", Km: 3}, {From: "J-1", To: "Roof, \"north\"", Km: 12.5}}
	var b strings.Builder
	if err := schedule.WriteLegs(&b, legs); err != nil {
		t.Fatal(err)
	}
	if back, err := schedule.ReadLegs(strings.NewReader(b.String())); err != nil || !slices.Equal(back, legs) {
		t.Errorf("%q reads as %+v, %v", b.String(), back, err)
	}
	if kept, err := schedule.CheckLegs([]schedule.Leg{{From: "J-2", To: "J-1", Km: 3}, {From: " J-1", To: "J-2", Km: 3}}); err != nil || !slices.Equal(kept, legs[:1]) {
		t.Errorf("kept %+v, %v", kept, err)
	}
}

func FuzzReadLegs(f *testing.F) {
	f.Add("from,to,km\nA,B,12\n")
	f.Add("from,to,km\n\"A\nB\",C,1e3\n")
	f.Fuzz(func(t *testing.T, text string) {
		legs, err := schedule.ReadLegs(strings.NewReader(text))
		for _, l := range legs {
			if err != nil || l.From == "" || l.From >= l.To || !(l.Km >= 0 && l.Km <= 2000) {
				t.Errorf("%+v, %v", l, err)
			}
		}
	})
}

func TestRatesAreReadStrictly(t *testing.T) {
	t.Parallel()
	text := string(schedule.RatesJSON(schedule.DefaultRates()))
	if r, err := schedule.ParseRates([]byte(text)); err != nil || r != schedule.DefaultRates() {
		t.Errorf("read back %+v, %v", r, err)
	}
	for _, c := range []struct{ old, new, says string }{
		{`"handover_pence": 4000,`, ``, "handover_pence: missing"},
		{`"handover_pence": 4000,`, `"handover_pence": null,`, "handover_pence: missing"},
		{`"handover_pence": 4000,`, `"handover_pence": 40.5,`, "handover_pence"},
		{`"handover_pence": 4000,`, `"handover_pence": -1,`, `hand-over is "-0.01"`},
		{`"handover_pence": 4000,`, `"handover_pence": 4000, "handovers": 1,`, "handovers"},
		{`"least_chance_percent": 10,`, `"least_chance_percent": 91,`, "0 to 90 %"},
		{"{", "[", "a JSON object"},
	} {
		if _, err := schedule.ParseRates([]byte(strings.Replace(text, c.old, c.new, 1))); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", c.new, err, c.says)
		}
	}
	r := schedule.DefaultRates()
	r.Handover, r.LeastChance = 50_00, 15
	if got := strings.Join(r.Changes(schedule.DefaultRates()), "; "); !strings.Contains(got, "least chance: 10% becomes 15%") || !strings.Contains(got, "hand-over: £40.00 becomes £50.00") {
		t.Errorf("changes: %s", got)
	}
	for _, f := range schedule.RateFields {
		back := schedule.Rates{}
		if err := f.Set(&back, f.Text(schedule.DefaultRates())); err != nil || f.Text(back) != f.Text(schedule.DefaultRates()) {
			t.Errorf("%s: %q, %v", f.Key, f.Text(back), err)
		}
		if err := f.Set(&back, "many"); err == nil {
			t.Errorf("%s takes a word", f.Key)
		}
	}
}
