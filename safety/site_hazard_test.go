package safety

import (
	"encoding/json"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"toeboard/weather/fault"
)

func chimney() SiteHazard {
	return SiteHazard{No: 1, Name: "Loose chimney pot", Who: []string{"crew"}, Stages: []string{"roof_work"}, Before: Score{3, 5}, After: Score{1, 5},
		Controls: []Control{{"mitigate", "Helmets below"}, {"prevent", "Strapped by the mason first"}}, Evidence: "photo of the strap",
		Why: "pot leans over the platform, gable side", PhotoSum: Hash{1}, By: "Rhodri Pask"}
}

func TestAssessSite(t *testing.T) {
	t.Parallel()
	facts := factsFrom(t, `{"roof_work": true, "scaffold": true}`)
	plain := Assess(facts, defaultLibrary())
	more := SiteHazard{No: 2, About: "H01", Controls: []Control{{"avoid", "Rails cut in the yard"}}, Why: "narrow lift at the gable", By: "Rhodri Pask"}
	gone := SiteHazard{No: 3, About: "H33", Controls: []Control{{"avoid", "Nothing opened"}}, Why: "old unit still there", By: "Rhodri Pask"}
	withoutPump := factsFrom(t, `{"roof_work": true, "scaffold": true, "heat_pump": false}`)
	a := AssessSite(withoutPump, defaultLibrary(), []SiteHazard{gone, more, chimney()})
	e := entryOf(a, "S1")
	if e == nil || e.BandBefore != "extreme" || e.Controls[0].Step != "prevent" || len(e.Photos) != 1 || len(e.ConfirmedBy) == 0 || !strings.Contains(e.Why(), "leans over the platform") {
		t.Errorf("S1: %+v", e)
	}
	if e := entryOf(a, "H01"); e == nil || e.Controls[0].Do == "" || !strings.Contains(e.Why(), "narrow lift") {
		t.Errorf("H01 lacks the site's control: %+v", e)
	}
	if e := entryOf(a, "S3"); e == nil || e.Name == "" || !strings.Contains(e.Why(), "no longer put H33 here") {
		t.Errorf("a control for a hazard that the facts rule out is lost: %+v", e)
	}
	if a.Facts.Hash() == withoutPump.Hash() {
		t.Error("what was seen on site does not make the version in force stale")
	}
	if AssessSite(facts, defaultLibrary(), nil).Hash() != plain.Hash() {
		t.Error("with nothing seen on site the assessment differs")
	}
	b, err := a.Canonical()
	if err != nil {
		t.Fatal(err)
	}
	var read Assessment
	if err := json.Unmarshal(b, &read); err != nil || read.Hash() != a.Hash() {
		t.Errorf("read back it has another hash: %v", err)
	}
}

func TestSiteHazardCheckNamesEveryFault(t *testing.T) {
	t.Parallel()
	if err := chimney().Check(); err != nil {
		t.Errorf("a whole one is refused: %v", err)
	}
	for want, spoil := range map[string]func(*SiteHazard){
		"seen": func(h *SiteHazard) { h.Why = "" }, "controls": func(h *SiteHazard) { h.Controls = nil }, "site_name": func(h *SiteHazard) { h.Name = " " },
		"who": func(h *SiteHazard) { h.Who = nil }, "stages": func(h *SiteHazard) { h.Stages = []string{"tea"} }, "evidence": func(h *SiteHazard) { h.Evidence = "" },
		"before": func(h *SiteHazard) { h.Before = Score{} }, "after": func(h *SiteHazard) { h.After.Severity = 2 },
	} {
		h := chimney()
		spoil(&h)
		if errs := fault.Each(h.Check()); len(errs) != 1 || errs[0].Field != want || errs[0].Want == "" {
			t.Errorf("%s: got %v", want, errs)
		}
	}
}

// The order in which facts and site hazards are found changes neither the
// assessment nor its hash.
func TestTheSameFactsInAnyOrderGiveTheSameAssessment(t *testing.T) {
	t.Parallel()
	lib := defaultLibrary()
	rapid.Check(t, func(t *rapid.T) {
		f := drawFacts(t)
		for k, v := range f { // readers trim text, which is another value
			if v.Kind == Text && (strings.TrimSpace(v.S) != v.S || strings.EqualFold(v.S, "unknown") || v.S == "") {
				delete(f, k)
			}
		}
		site := []SiteHazard{chimney(), {No: 2, About: "H01", Controls: []Control{{"avoid", "x"}}, Why: "y", By: "z"}}
		want := AssessSite(f, lib, site)
		again := Facts{}
		for _, k := range rapid.Permutation(sortedKeys(f)).Draw(t, "order") {
			again[k] = f[k]
		}
		got := AssessSite(again, lib, rapid.Permutation(site).Draw(t, "seen"))
		if got.Hash() != want.Hash() || len(Diff(want, got)) != 0 {
			t.Fatalf("another order gives another assessment: %v", Diff(want, got))
		}
		raw, err := json.Marshal(f)
		if err != nil {
			t.Fatal(err)
		}
		var m map[string]any
		if err := json.Unmarshal(raw, &m); err != nil {
			t.Fatal(err)
		}
		read, err := FactsFrom(m)
		if err != nil {
			t.Fatal(err)
		}
		if AssessSite(read, lib, site).Hash() != want.Hash() {
			t.Fatal("the same facts read from a file give another assessment")
		}
	})
}
