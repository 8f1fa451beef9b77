package safety

import (
	"slices"
	"strings"
	"testing"

	"toeboard/weather/fault"
)

func ownHazard() Hazard {
	return Hazard{ID: "F01", Name: "Bees in the soffit", When: mustRule("nest_evidence and roof_work"), Stages: []string{"roof_work"}, Who: []string{"crew"},
		Before: Score{3, 4}, After: Score{1, 4}, Controls: []Control{{"avoid", "Wait for the keeper"}, {"mitigate", "Veil and gloves at hand"}},
		Evidence: []string{"keeper's name"}, Source: "the firm's own, after a near miss"}
}

func TestAFirmsOwnHazardsAndOverrides(t *testing.T) {
	t.Parallel()
	f := FirmHazards{Version: 3, Own: []Hazard{ownHazard()}, Overrides: []Override{
		{Hazard: "H25", Why: "we never strip", Off: true},
		{Hazard: "H12", Why: "two strains last year", Before: &Score{5, 3}, Controls: []Control{{"avoid", "Hoist on every job"}}, Also: "modules > 12"},
	}}
	lib, err := DefaultLibrary().With(f)
	if err != nil {
		t.Fatal(err)
	}
	a := Assess(factsFrom(t, `{"roof_work": true, "nest_evidence": true, "strip_slates": true, "module_kg": 17, "modules": 14}`), lib)
	if e := entryOf(a, "F01"); e == nil || e.Presence != Present || e.BandBefore == "" {
		t.Errorf("the firm's own hazard: %+v", e)
	}
	if entryOf(a, "H25") != nil || len(a.Aside) != 1 || !strings.Contains(a.Aside[0].Say, "we never strip") {
		t.Errorf("a hazard that was put aside is told with its reason: %v", a.Aside)
	}
	e := entryOf(a, "H12")
	if e == nil || e.Presence != Present || e.Before != (Score{5, 3}) || !strings.Contains(e.Source, "two strains") {
		t.Fatalf("overridden: %+v", e)
	}
	if i := slices.Index(e.Controls, Control{"avoid", "Hoist on every job"}); i < 0 || e.Controls[i+1].Step == "" || !slices.IsSortedFunc(e.Controls, func(a, b Control) int {
		return slices.Index(hierarchy, a.Step) - slices.Index(hierarchy, b.Step)
	}) {
		t.Errorf("controls out of the hierarchy's order: %v", e.Controls)
	}
	if !strings.Contains(a.Library, "the firm's own, version 3") {
		t.Errorf("made by %q", a.Library)
	}
	if got, err := DefaultLibrary().With(FirmHazards{}); err != nil || got.Words() != DefaultLibrary().Words() {
		t.Errorf("nothing set changes the library: %v, %v", got.Words(), err)
	}
}

func TestFirmHazardsReadBackAndNameEveryFault(t *testing.T) {
	t.Parallel()
	f := FirmHazards{Version: 1, Own: []Hazard{ownHazard()}, EventGustMS: 15, Overrides: []Override{{Hazard: "H12", Why: "strains", Before: &Score{5, 3}}}}
	got, err := ParseFirmHazards(FirmHazardsJSON(f))
	if err != nil || hashOf(got) != hashOf(f) {
		t.Errorf("reads back as %+v, %v", got, err)
	}
	if c := got.Changes(FirmHazards{}); len(c) != 3 {
		t.Errorf("changes %q", c)
	}
	if c := got.Changes(f); len(c) != 0 {
		t.Errorf("the same changes %q", c)
	}
	for want, spoil := range map[string]func(*FirmHazards){
		"5 to 40":            func(f *FirmHazards) { f.EventGustMS = 90 },
		"F and two digits":   func(f *FirmHazards) { f.Own[0].ID = "H01" },
		"no trigger":         func(f *FirmHazards) { f.Own[0].When = Rule{} },
		"why the firm":       func(f *FirmHazards) { f.Overrides[0].Why = " " },
		"id of a hazard":     func(f *FirmHazards) { f.Overrides[0].Hazard = "H99" },
		"never switched":     func(f *FirmHazards) { f.Overrides[0] = Override{Hazard: "H01", Why: "we are careful", Off: true} },
		"one override":       func(f *FirmHazards) { f.Overrides = append(f.Overrides, f.Overrides[0]) },
		"not a fact":         func(f *FirmHazards) { f.Overrides[0].Also = "ghosts" },
		"says how":           func(f *FirmHazards) { f.Overrides[0].After = &Score{1, 1} },
		"more risk":          func(f *FirmHazards) { f.Overrides[0].After = &Score{5, 5} },
		"no morning check":   func(f *FirmHazards) { f.Own[0].ConfirmedBy = []string{"a_feeling"} },
		"stages are some of": func(f *FirmHazards) { f.Own[0].Stages = []string{"lunch"} },
	} {
		bad := FirmHazards{Version: 1, Own: []Hazard{ownHazard()}, Overrides: []Override{{Hazard: "H12", Why: "strains"}}}
		spoil(&bad)
		if err := bad.Check(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v", want, err)
		}
		if _, err := DefaultLibrary().With(bad); err == nil {
			t.Errorf("%s: the library takes it", want)
		}
	}
	for _, text := range []string{"", "{", `{"own": [{"id": "F01", "when": "ghosts"}]}`, `{"colour": 1}`} {
		if _, err := ParseFirmHazards([]byte(text)); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%q: got %v, want it refused", text, err)
		}
	}
}

func FuzzFirmHazards(f *testing.F) {
	f.Add(string(FirmHazardsJSON(FirmHazards{Version: 1, Own: []Hazard{ownHazard()}, Overrides: []Override{{Hazard: "H25", Why: "x", Off: true}}})))
	f.Fuzz(func(t *testing.T, text string) {
		got, err := ParseFirmHazards([]byte(text))
		if err != nil {
			return
		}
		got.Version = 1
		lib, err := DefaultLibrary().With(got)
		if err != nil {
			t.Fatalf("%q is taken and cannot be used: %v", text, err)
		}
		if a := Assess(Facts{}, lib); len(a.Entries)+len(a.Aside) != len(DefaultLibrary().Hazards)+len(got.Own) {
			t.Fatalf("%q: a hazard is lost", text)
		}
	})
}
