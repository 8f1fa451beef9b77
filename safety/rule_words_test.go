package safety

import (
	"strings"
	"testing"
)

func TestRuleWords(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"roof_work and (pitch_deg >= 30 or moss)": "roof work and (roof pitch at least 30 degrees or moss on the roof)",
		"covering in (fibre_cement, corrugated)":  "roof covering is fibre cement or corrugated",
		"covering != slate and not occupied":      "roof covering is not slate and not (house lived in)",
		"year_built < 2000":                       "year built under 2000",
		"":                                        "always",
	} {
		if got := mustRule(text).Words(); got != want {
			t.Errorf("%q reads %q, want %q", text, got, want)
		}
	}
	// Every trigger that comes with the service reads without the marks of code.
	for _, h := range DefaultLibrary().Hazards {
		if got := h.When.Words(); got == "" || strings.ContainsAny(got, "_<>=") {
			t.Errorf("%s reads %q", h.ID, got)
		}
	}
}
