package weather_test

import (
	"encoding/json"
	"math"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// The worked example of TestBrierWorkedExample (Brier 1950, Murphy 1973), given
// one and four days ahead: each lead day has its own score, and the whole is of
// all. A lesson comes back from JSON as it went.
func TestALessonIsScoredByLeadDay(t *testing.T) {
	t.Parallel()
	p, ran := []float64{.1, .1, .3, .3, .3, .7, .7, .9, .9, .9}, []int{0, 0, 0, 1, 0, 1, 0, 1, 1, 1}
	var list []weather.Outcome
	for i := range p {
		list = append(list, weather.Outcome{Lead: 1, P: p[i], Climate: 0.5, Ran: ran[i] == 1}, weather.Outcome{Lead: 4, P: 0.5, Climate: 0.5, Ran: ran[i] == 1})
	}
	l, learnt := weather.Teach(list)
	if len(l.ByLead) != 2 || l.ByLead[0].Lead != 1 || l.ByLead[1].Lead != 4 || l.All.N != 20 {
		t.Fatalf("%+v", l)
	}
	if got := l.ByLead[0].Score.Brier; math.Abs(got-0.13) > 1e-9 {
		t.Errorf("one day ahead: Brier %v, want 0.13", got)
	}
	if got := l.ByLead[1].Score; math.Abs(got.Brier-0.25) > 1e-9 || got.Skill.N != 0 {
		t.Errorf("always saying the observed share: %+v, want 0.25 and no skill", got)
	}
	if got := l.All.Brier; math.Abs(got-0.19) > 1e-9 {
		t.Errorf("all: Brier %v, want the mean of both", got)
	}
	if l.ByLead[0].Keep != learnt.Keep[1] {
		t.Errorf("kept %v, learnt %v", l.ByLead[0].Keep, learnt.Keep[1])
	}
	l.Since = time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
	text, err := json.Marshal(l)
	if err != nil {
		t.Fatal(err)
	}
	var back weather.Lesson
	if err := json.Unmarshal(text, &back); err != nil || !reflect.DeepEqual(back, l) {
		t.Errorf("back from %s: %+v, %v", text, back, err)
	}
}

// A gust read at the work at its limit stopped the half-day, whatever the
// analysis says; one below it proves nothing. 15.65 m/s is the gust of 35 mph at
// which roofing trade guidance stops (limits.csv).
func TestAReadingTellsWhatHappened(t *testing.T) {
	t.Parallel()
	day := func(hour int) time.Time { return time.Date(2026, 6, 3, hour, 0, 0, 0, time.UTC) }
	calm := func(fetched time.Time) weather.Series {
		s := weather.Series{FetchedAt: fetched, Lat: 53.8, Lon: -1.5, Members: make([]weather.Member, 5)}
		for m := range s.Members {
			for h := -48; h < 24; h++ {
				s.Members[m].Hours = append(s.Members[m].Hours, calmHour(day(h)))
			}
		}
		return s
	}
	ask := weather.Kept{Place: weather.Place{Lat: 53.8, Lon: -1.5, Terrain: weather.TerrainIII, HeightM: 8}, Task: weather.RoofCovering, Hours: civil.UsualHours, Loc: time.UTC, Climate: weather.DefaultClimate()}
	ran := func(readings ...weather.GustReading) (mornings map[bool]int, stopped int) {
		k := ask
		k.Readings = readings
		h, err := weather.NewHindcast(weather.DefaultLimits(), k)
		if err != nil {
			t.Fatal(err)
		}
		h.Add(calm(day(5)))
		h.Add(calm(day(23)))
		list, stopped := h.Outcomes()
		mornings = map[bool]int{}
		for _, o := range list {
			mornings[o.Ran]++
		}
		return mornings, stopped
	}
	if got, n := ran(); got[true] != 2 || got[false] != 0 || n != 0 {
		t.Fatalf("a calm day: %v, %d", got, n)
	}
	if got, n := ran(weather.GustReading{At: day(9), MS: 15.65}); got[true] != 1 || got[false] != 1 || n != 1 {
		t.Errorf("35 mph read in the morning: %v, %d", got, n)
	}
	if got, n := ran(weather.GustReading{At: day(9), MS: 15.6}, weather.GustReading{At: day(20), MS: 30}); got[true] != 2 || n != 0 {
		t.Errorf("below the limit, and at night: %v, %d", got, n)
	}
}

// Taken one at a time, forecasts give what was kept of all of them: the order of
// half-days that speak and the number of forecasts do not matter, and a forecast
// that was fetched twice counts once.
func TestAHindcastCountsAFetchOnce(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		start := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
		var kept []weather.Series
		for range rapid.IntRange(1, 8).Draw(t, "forecasts") {
			s := weather.Series{FetchedAt: start.Add(time.Duration(rapid.IntRange(0, 100).Draw(t, "fetched")) * time.Hour), Lat: 53.8, Lon: -1.5}
			for range rapid.SampledFrom([]int{1, 5}).Draw(t, "members") {
				wet := rapid.IntRange(-1, 95).Draw(t, "wet")
				var m weather.Member
				for h := range 96 {
					hour := calmHour(start.Add(time.Duration(h) * time.Hour))
					if h == wet {
						hour.Rain = weather.Is(3)
					}
					m.Hours = append(m.Hours, hour)
				}
				s.Members = append(s.Members, m)
			}
			kept = append(kept, s)
		}
		ask := weather.Kept{Place: weather.Place{Lat: 53.8, Lon: -1.5, Terrain: weather.TerrainIII, HeightM: 8}, Task: weather.RoofCovering, Hours: civil.UsualHours, Loc: time.UTC, Climate: weather.DefaultClimate()}
		once, err := weather.Outcomes(kept, weather.DefaultLimits(), ask)
		if err != nil {
			t.Fatal(err)
		}
		var twice []weather.Series
		for _, s := range kept {
			twice = append(twice, s, s)
		}
		again, _ := weather.Outcomes(twice, weather.DefaultLimits(), ask)
		if len(once) != len(again) {
			t.Fatalf("%d outcomes of each forecast once, %d of each twice", len(once), len(again))
		}
		seen := map[weather.Outcome]int{}
		for _, o := range once {
			seen[o]++
		}
		for _, o := range again {
			if seen[o]--; seen[o] < 0 {
				t.Fatalf("fetched twice: %+v", o)
			}
		}
	})
}
