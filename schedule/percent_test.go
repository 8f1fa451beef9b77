package schedule_test

import (
	"testing"

	"toeboard/schedule"
	"toeboard/weather"
)

// Sentences and pages round alike: under 10 % down to ones. 0.07 is a little
// more than 7 % and 0.29 a little less than 29 % in binary.
func TestAChanceInASentence(t *testing.T) {
	for p, want := range map[float64]string{0.004: "under 1%", 0.009: "under 1%", 0.01: "1%", 0.067: "6%", 0.07: "7%", 0.096: "9%", 0.1: "10%", 0.29: "29%", 0.994: "99%", 0.996: "over 99%"} {
		if got := schedule.ChanceWords(weather.Chance{Known: true, P: p}); got != want {
			t.Errorf("%g is written %s, want %s", p, got, want)
		}
	}
	if got := schedule.ChanceWords(weather.Chance{P: 0.5}); got != "unknown" {
		t.Errorf("a chance that is not known is written %s", got)
	}
}
