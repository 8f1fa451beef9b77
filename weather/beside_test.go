package weather_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// besides are what two services say, and the two put together.
func besides(first, second weather.Series) weather.Series {
	first.Provider, second.Provider = "First", "Second"
	first.Beside = []weather.Series{second}
	return first
}

// Of two services the worse counts, quantity by quantity and hour by hour, and
// the reason names who said it; what is better in the second changes nothing.
func TestOfTwoServicesTheWorseCounts(t *testing.T) {
	t.Parallel()
	w := sunWork(weather.RoofCovering, weather.Value{})
	calm := roofDay(weather.Is(40))
	if j := weather.Judge(besides(calm, roofDay(weather.Is(40))), weather.DefaultLimits(), w); j.Verdict != weather.Go || j.Services() != "First, and Second where it is worse" {
		t.Errorf("two calm ones: %s, by %s", j.Sentence(), j.Services())
	}
	gusty := roofDay(weather.Is(40))
	gusty.Members[0].Hours[24+11].WindGust = weather.Is(25)
	j := weather.Judge(besides(calm, gusty), weather.DefaultLimits(), w)
	if j.Verdict != weather.Stop || !strings.Contains(j.Sentence(), "gust while working on the roof covering (by Second) at Tue 1 Dec 11:00") {
		t.Errorf("the second says 25 m/s at eleven: %s", j.Sentence())
	}
	for _, s := range j.Steps {
		if stop := s.From.Hour() == 11; (s.Verdict == weather.Stop) != stop {
			t.Errorf("%s is %s", s.From, s.Verdict)
		}
	}
	if back := weather.Judge(besides(gusty, calm), weather.DefaultLimits(), w); back.Verdict != weather.Stop || strings.Contains(back.Sentence(), "(by") {
		t.Errorf("the first says it: %s", back.Sentence())
	}
	old := gusty
	old.FetchedAt = w.Now.Add(-30 * time.Hour)
	if j := weather.Judge(besides(calm, old), weather.DefaultLimits(), w); j.Verdict != weather.Go || len(j.Beside) != 0 || j.Services() != "First" {
		t.Errorf("a second that is 30 h old: %s, by %s", j.Sentence(), j.Services())
	}
}

// Whatever two services say: the verdict is never better than the first's own,
// nor than the second's stops, and what the first does not know the second does
// not make known.
func TestASecondServiceNeverMakesItBetter(t *testing.T) {
	t.Parallel()
	rank := func(v weather.Verdict) int {
		return slices.Index([]weather.Verdict{weather.Stop, weather.Unknown, weather.Caution, weather.Go}, v)
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawnDay(t, "a"), drawnDay(t, "b")
		w := sunWork(rapid.SampledFrom(weather.OutdoorTasks()).Draw(t, "task"), weather.Value{})
		both := weather.Judge(besides(a, b), weather.DefaultLimits(), w)
		first, second := weather.Judge(a, weather.DefaultLimits(), w), weather.Judge(b, weather.DefaultLimits(), w)
		if rank(both.Verdict) > rank(first.Verdict) {
			t.Fatalf("%s alone, %s with another beside it", first.Sentence(), both.Sentence())
		}
		for i, step := range both.Steps {
			if was := first.Steps[i].Verdict; rank(step.Verdict) > rank(was) || second.Steps[i].Verdict == weather.Stop && step.Verdict != weather.Stop {
				t.Fatalf("%s: %s and %s became %s", step.From, was, second.Steps[i].Verdict, step.Verdict)
			}
		}
		ahead := weather.Ahead{Place: w.Place, Tasks: weather.OutdoorTasks(), First: civil.On(2026, 12, 1).In(civil.Morning), N: 6, Hours: civil.UsualHours, Loc: time.UTC, Now: w.Now}
		alone, with := weather.Outlook(a, weather.DefaultLimits(), ahead), weather.Outlook(besides(a, b), weather.DefaultLimits(), ahead)
		for i := range with {
			for h := range with[i] {
				if with[i][h].Known != alone[i][h].Known || with[i][h].P > alone[i][h].P {
					t.Fatalf("%s, half-day %d: %+v alone, %+v with another", ahead.Tasks[i], h, alone[i][h], with[i][h])
				}
			}
		}
	})
}

// drawnDay is a day in which each of the quantities that stop work may be fine,
// bad or not known in each hour.
func drawnDay(t *rapid.T, name string) weather.Series {
	s := roofDay(weather.Is(40))
	draw := func(what string, fine, bad float64) weather.Value {
		return rapid.SampledFrom([]weather.Value{weather.Is(fine), weather.Is(fine), weather.Is(fine), weather.Is(bad), {}}).Draw(t, name+" "+what)
	}
	for range rapid.IntRange(0, 4).Draw(t, name+" changes") {
		h := &s.Members[0].Hours[24+rapid.IntRange(6, 16).Draw(t, name+" hour")]
		h.WindMean, h.WindGust = draw("mean", 1, 18), draw("gust", 2, 30)
		h.Rain, h.Temp, h.Thunder = draw("rain", 0, 6), draw("temp", 12, -5), draw("thunder", 0, 1)
	}
	return s
}
