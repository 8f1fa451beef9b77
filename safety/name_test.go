package safety

import (
	"strings"
	"testing"
)

func TestATypedNameIsThePersonsOwnHoweverItIsWritten(t *testing.T) {
	for _, c := range []struct {
		typed, name string
		own         bool
	}{
		{"Saoirse Lund", "Saoirse Lund", true},
		{"  saoirse   LUND ", "Saoirse Lund", true},
		{"SaoirseLund", "Saoirse Lund", true},
		{"Zoe Strauss-Muller", "Zoë Strauß Müller", true},
		{"Zoë O’Neil", "Zoe O'Neil", true},
		{"Lukasz Soby", "Łukasz Søby", true},
		{"Mickey Mouse", "Saoirse Lund", false},
		{"Saoirse", "Saoirse Lund", false},
		{"Lund", "Saoirse Lund", false},
		{"Saoirse Lundy", "Saoirse Lund", false},
		{"", "", false},
		{"--", "Saoirse Lund", false},
		{" ", "'", false},
	} {
		if OwnName(c.typed, c.name) != c.own {
			t.Errorf("%q for %q is %v", c.typed, c.name, !c.own)
		}
	}
}

// A signature that was stored under another name counts for nobody.
func TestASignatureInAnothersNameDoesNotCount(t *testing.T) {
	w := clearMorning(t)
	w.SignOffs[0].TypedName = "Mickey Mouse"
	got := w.decide()
	for _, c := range got.Conditions {
		if c.Code == "B08" && (c.State != NotMet || !strings.Contains(c.Value, "signed as Mickey Mouse")) {
			t.Errorf("B08 is %s: %s", c.State, c.Value)
		}
	}
	if got.Verdict != NotClear {
		t.Error("clear with a signature in another's name")
	}
}
