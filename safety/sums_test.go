package safety

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

// Every row of team_lift_checks.csv: published examples (20+20 gives 26.6 kg)
// and cases computed from the published rule.
func TestTeamCapacity(t *testing.T) {
	t.Parallel()
	rows := table(t, "team_lift_checks.csv")
	if len(rows) != 10 {
		t.Fatalf("%d rows, want 10", len(rows))
	}
	for _, row := range rows {
		var filters []float64
		for _, f := range strings.Split(row["individual_filters_kg"], "+") {
			n, err := strconv.ParseFloat(f, 64)
			if err != nil {
				t.Fatal(err)
			}
			filters = append(filters, n)
		}
		want, _ := strconv.ParseFloat(row["team_capacity_kg"], 64)
		got, ok := TeamCapacity(filters...)
		if !ok || math.Abs(got-want) > 0.01 {
			t.Errorf("%s: got %.2f kg, want %.2f", row["case"], got, want)
		}
		if inside := strings.HasPrefix(row["28kg_panel"], "inside"); (28 <= got) != inside {
			t.Errorf("%s: a 28 kg panel inside %v, want %v", row["case"], 28 <= got, inside)
		}
	}
	for _, team := range [][]float64{{}, {20, 20, 20, 20}, {20, 0}, {20, math.NaN()}} {
		if _, ok := TeamCapacity(team...); ok {
			t.Errorf("%v: the guidance does not cover this team", team)
		}
	}
}

// Every row of manual_handling_filter.csv, close and extended.
func TestLiftFilter(t *testing.T) {
	t.Parallel()
	rows := table(t, "manual_handling_filter.csv")
	if len(rows) != 2*len(LiftZones()) {
		t.Fatalf("%d rows for %d zones", len(rows), len(LiftZones()))
	}
	for _, row := range rows {
		for _, c := range []struct {
			col      string
			extended bool
		}{{"close_to_body_kg", false}, {"arms_extended_kg", true}} {
			want, _ := strconv.ParseFloat(row[c.col], 64)
			if got, ok := LiftFilter(row["zone"], row["sex"] == "male", c.extended); !ok || got != want {
				t.Errorf("%s, %s, %s: got %g kg, want %g", row["zone"], row["sex"], c.col, got, want)
			}
		}
	}
	if _, ok := LiftFilter("overhead on one leg", true, false); ok {
		t.Error("a zone that the figure does not have has a filter")
	}
}

// fall_clearance.csv, the rows that state every part: published sums of 6.25,
// 6.85 and 6.0 m for a 2 m lanyard, and two computed ones.
func TestFallClearance(t *testing.T) {
	t.Parallel()
	seen := 0
	for _, row := range table(t, "fall_clearance.csv") {
		var f Fall
		bad := false
		for col, into := range map[string]*float64{"lanyard_m": &f.Lanyard, "extension_m": &f.Extension, "body_or_attachment_m": &f.Body,
			"harness_stretch_m": &f.Stretch, "margin_m": &f.Margin} {
			n, err := strconv.ParseFloat(row[col], 64)
			*into, bad = n, bad || err != nil
		}
		if bad {
			continue // the maker's formula A+B+3, without numbers
		}
		seen++
		if want, _ := strconv.ParseFloat(row["sum_m"], 64); math.Abs(f.Clearance()-want) > 0.001 {
			t.Errorf("%s: got %.2f m, want %.2f", row["case"], f.Clearance(), want)
		}
	}
	if seen != 5 {
		t.Errorf("%d rows with numbers, want 5", seen)
	}
}

// 75 degrees is the angle that the guidance names for 1 out to 4 up; exactly it
// is 75.96. A ladder to a landing at 6 m stands 1.5 m out.
func TestLadderFor(t *testing.T) {
	t.Parallel()
	foot, length := LadderFor(6)
	if foot != 1.5 {
		t.Errorf("foot %.2f m out, want 1.5", foot)
	}
	if up := math.Sqrt(length*length - (7.0/4)*(7.0/4)); math.Abs(up-7) > 1e-9 {
		t.Errorf("a ladder of %.3f m reaches %.3f m, want 1 m above the landing at 6", length, up)
	}
	if angle := math.Atan2(6, foot) * 180 / math.Pi; math.Abs(angle-75) > 1 {
		t.Errorf("it stands at %.1f degrees, want about 75", angle)
	}
}

// 12 modules of 28 kg stacked on 1.1 x 2.3 m make 1.30 kN/m2 (computed), too
// much to store on class 2, which stores nothing, and well within class 3.
func TestMayStack(t *testing.T) {
	t.Parallel()
	load, ok := StackLoad(12, 28, 1.1, 2.3)
	if !ok || math.Abs(load-1.30) > 0.005 {
		t.Errorf("got %.3f kN/m2, want 1.30", load)
	}
	for class, want := range map[int]State{0: Unknown, 1: NotMet, 2: NotMet, 3: Met, 6: Met, 7: Unknown} {
		if got, says := MayStack(load, class); got != want || says == "" {
			t.Errorf("class %d: %s, %q, want %s", class, got, says, want)
		}
	}
	if got, _ := MayStack(2.01, 3); got != NotMet {
		t.Errorf("2.01 kN/m2 on class 3, which bears 2: %s", got)
	}
	if got, _ := MayStack(math.NaN(), 3); got == Met {
		t.Error("a load that is no number is borne")
	}
	if _, ok := StackLoad(0, 28, 1, 1); ok {
		t.Error("no modules have a load")
	}
}

func TestSumsInTheAssessment(t *testing.T) {
	t.Parallel()
	for kg, want := range map[float64]string{17: "inside", 21.5: "between", 28: "above it"} {
		a := Assess(Facts{"roof_work": yes(), "module_kg": number(kg), "access": word("ladder"), "working_height_m": number(6)}, defaultLibrary())
		if len(a.Sums) != 2 || !strings.Contains(a.Sums[0].Say, want) || !strings.Contains(a.Sums[1].Say, "foot 1.5 m out") {
			t.Errorf("%g kg: %v", kg, a.Sums)
		}
	}
	if a := Assess(Facts{}, defaultLibrary()); len(a.Sums) != 0 {
		t.Errorf("sums of nothing: %v", a.Sums)
	}
}
