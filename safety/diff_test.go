package safety

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestDiffSaysWhatChanged(t *testing.T) {
	t.Parallel()
	was := Assess(factsFrom(t, `{"roof_work": true, "scaffold": true, "battery": false, "pitch_deg": 35, "working_height_m": 6}`), defaultLibrary())
	is := AssessSite(factsFrom(t, `{"roof_work": true, "scaffold": true, "battery": true, "pitch_deg": 47, "working_height_m": 6}`), defaultLibrary(), []SiteHazard{chimney()})
	var all strings.Builder
	for _, d := range Diff(was, is) {
		all.WriteString(d.Sentence() + "\n")
	}
	for _, want := range []string{
		"Fact roof pitch was 35 degrees, is now 47 degrees", "Fact battery was no, is now yes", "Hazard H18 is new: Battery fire", "Hazard S1 is new: Loose chimney pot",
		"Hazard H04 is new", "Method of second fix is new",
	} {
		if !strings.Contains(all.String(), want) {
			t.Errorf("nothing says %q in:\n%s", want, all.String())
		}
	}
	for _, d := range Diff(is, was) {
		if d.What == "hazard S1" && d.Is != "" {
			t.Errorf("S1 went away: %+v", d)
		}
	}
}

// No difference exactly when the bytes are the same.
func TestDiffIsEmptyOnlyForTheSame(t *testing.T) {
	t.Parallel()
	lib := defaultLibrary()
	rapid.Check(t, func(t *rapid.T) {
		a, b := Assess(drawFacts(t), lib), Assess(drawFacts(t), lib)
		if rapid.Bool().Draw(t, "change one entry") && len(a.Entries) > 0 {
			b = Assess(a.Facts, lib)
			e := &b.Entries[rapid.IntRange(0, len(b.Entries)-1).Draw(t, "which")]
			switch rapid.IntRange(0, 3).Draw(t, "how") {
			case 0:
				e.After.Likelihood++
			case 1:
				e.Controls = e.Controls[1:]
			case 2:
				e.Evidence = append([]string{"another"}, e.Evidence...)
			default:
				e.Source += "!"
			}
		}
		if same := a.Hash() == b.Hash(); same != (len(Diff(a, b)) == 0) {
			t.Fatalf("same bytes %v, differences %v", same, Diff(a, b))
		}
	})
}
