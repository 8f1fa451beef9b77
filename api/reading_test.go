package api

import (
	"context"
	"strings"
	"testing"

	"toeboard/weather"
)

// A gust read on site is held against the tightest limit of all roof tasks, also
// when another task's caution is what the forecast's judgement shows: 14 m/s is
// over the 10.28 m/s at which carrying stops (23 mph, weather/limits.csv).
func TestAReadingIsHeldAgainstTheTightestLimit(t *testing.T) {
	s := newScene(t)
	ctx := context.Background()
	limits, err := s.archive.Limits(ctx, s.firm)
	must(t, err)
	own := weather.Limits{Version: limits.Version}
	for _, row := range limits.Rows {
		if row.Task == weather.RoofCovering && row.Quantity == weather.WindGust {
			row.Caution = weather.Is(1)
		}
		if row.Quantity == weather.Daylight {
			row.Caution = weather.Is(1) // or the short day is a caution for both tasks
		}
		own.Rows = append(own.Rows, row)
	}
	_, err = s.archive.SetLimits(ctx, s.firm, own, "Imogen Thackray", "a test", s.clock())
	must(t, err)
	m, err := s.svc.Morning(ctx, s.firm, s.alder.ID, "Q-1", tuesday)
	must(t, err)
	if j := m.Snapshot.Weather; j.Verdict != weather.Caution || j.Task != weather.RoofCovering {
		t.Fatalf("the forecast is %s, want a caution for the covering", j.Sentence())
	}
	if _, l := gustOf(t, m.Snapshot.Weather); l.Stop != weather.Is(10.28) || l.Caution != weather.Is(1) {
		t.Errorf("the gust limit is %+v", l)
	}
	lead := s.by(s.lead)
	held := briefing(s, s.decisionOf(lead))
	held["gust_ms"] = 14
	var r RecordedWithDecision
	lead.json("POST", "/briefings", nil, held).want(201).into(&r)
	if c := r.Decision.condition("B10"); c.State != ConditionStateNotMet || !strings.Contains(c.Value, "10.3 m/s") {
		t.Errorf("14 m/s read on site: %+v", c)
	}
}

// Whatever order the tasks come in, the tightest level of each quantity counts
// and the first list keeps its places.
func TestTightestLevels(t *testing.T) {
	t.Parallel()
	level := func(q weather.Quantity, caution, stop weather.Value, source string) weather.Level {
		return weather.Level{Quantity: q, Caution: caution, Stop: stop, Source: source}
	}
	is, none := weather.Is, weather.Value{}
	a := []weather.Level{level(weather.WindGust, is(5), is(15), "a"), level(weather.Temperature, is(2), is(0), "a"), level(weather.Rain, none, is(0.2), "a")}
	b := []weather.Level{level(weather.Temperature, is(1), is(1), "b"), level(weather.WindGust, is(8), is(10), "b"), level(weather.Rain, is(0.1), none, "b"), level(weather.WindMean, is(8), is(10), "b")}
	want := []weather.Level{level(weather.WindGust, is(5), is(10), "b"), level(weather.Temperature, is(2), is(1), "b"), level(weather.Rain, is(0.1), is(0.2), "a"), level(weather.WindMean, is(8), is(10), "b")}
	got := tightest(a, b)
	if len(got) != len(want) {
		t.Fatalf("got %+v", got)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%d: got %+v, want %+v", i, got[i], want[i])
		}
	}
}
