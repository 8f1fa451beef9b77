package web

import (
	"strings"
	"testing"
	"time"
)

// 1 m/s is 2.236936 mph (3600 s in an hour, 1609.344 m in a mile), so 6.3 m/s
// is 14.09 mph and 10.3 m/s is 23.04 mph.
func TestTheSkySaysEachThingOnce(t *testing.T) {
	if got := 3600 / 1609.344; got-mphPerMS > 5e-7 || mphPerMS-got > 5e-7 {
		t.Errorf("1 m/s is %.6f mph, not %.6f", got, mphPerMS)
	}
	s := Strip{GustLimitMS: N(10.3), RainLimitMM: N(0.2), From: at("2026-12-01", "08:15"), To: at("2026-12-01", "15:45")}
	for i, gust := range []float64{12, 4, 5, 6.3, 5, 5, 5, 5, 5} {
		h := StripHour{From: at("2026-12-01", "07:00"), GustMS: N(gust), RainMM: N(0), Sky: SkyGo}
		h.From = h.From.Add(time.Duration(i) * time.Hour)
		s.Hours = append(s.Hours, h)
	}
	says := func() string { return strings.ReplaceAll(s.Says(), "\u00a0", " ") }
	if got := says(); got != "Highest gust 6.3 m/s (14 mph) at 10:00, limit 10.3 m/s (23 mph). Dry." {
		t.Error(got)
	}
	s.Hours[2].RainMM = N(0.4)
	if got := says(); !strings.HasSuffix(got, "Rain up to 0.4 mm in an hour, limit 0.2 mm.") {
		t.Error(got)
	}
	s.Hours[4].RainMM = Num{}
	if got := says(); strings.Contains(got, "Dry") || !strings.Contains(got, "Rain is not known") {
		t.Error(got)
	}
}

func TestMilesAnHourStandBehindEachSpeed(t *testing.T) {
	got := strings.ReplaceAll(WithMPH("gust of 8.99 m/s against a limit of 8 m/s, 4 h old"), "\u00a0", " ")
	if got != "gust of 8.99 m/s (20 mph) against a limit of 8 m/s (18 mph), 4 h old" {
		t.Error(got)
	}
}

func TestClearSaysUntilWhen(t *testing.T) {
	m := sampleClearMorning()
	m.Until = at("2026-12-01", "15:45")
	if got := render(t, m).Find(".verdict .word").Text(); got != "Clear to start, until 15:45" {
		t.Error(got)
	}
	m.Verdict = NotClear
	if got := render(t, m).Find(".verdict .word").Text(); strings.Contains(got, "until") {
		t.Error(got)
	}
}

func TestWhatIsCountedIsNamedInAFold(t *testing.T) {
	doc := render(t, Morning{Conditions: []Condition{{Code: "B06", Rule: "Worst risks under control", Value: "2 worst risks not looked at yet: answer the checks",
		Names: []string{"Fall from the edge", "Asbestos is disturbed"}}}})
	if got := doc.Find(".conditions details li").Length(); got != 2 {
		t.Errorf("%d names in the fold", got)
	}
}
