package weather_test

import (
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// Three forecasts of three days, made by hand: two days ahead the morning of the
// third looked dry in 3 of 5 members, the day before in 4 of 5 (fetched twice:
// the later counts), and it rained.
func TestOutcomesAreReadOffKeptForecasts(t *testing.T) {
	t.Parallel()
	day := func(d, hour int) time.Time { return time.Date(2026, 6, d, hour, 0, 0, 0, time.UTC) }
	forecast := func(fetched time.Time, members, wet int) weather.Series {
		s := weather.Series{Provider: "test", FetchedAt: fetched, Lat: 53.8, Lon: -1.5}
		for m := range members {
			var hours []weather.Hour
			for h := range 72 {
				hour := calmHour(day(1, 0).Add(time.Duration(h) * time.Hour))
				if m < wet && hour.From.Day() == 3 && hour.From.Hour() == 10 {
					hour.Rain = weather.Is(3)
				}
				hours = append(hours, hour)
			}
			s.Members = append(s.Members, weather.Member{Hours: hours})
		}
		return s
	}
	kept := []weather.Series{
		forecast(day(3, 20), 1, 1), // after the fact: it rained
		forecast(day(1, 6), 5, 2),
		forecast(day(2, 6), 5, 3),
		forecast(day(2, 7), 5, 1),
	}
	k := weather.Kept{Place: weather.Place{Lat: 53.8, Lon: -1.5, Terrain: weather.TerrainIII, HeightM: 8}, Task: weather.RoofCovering, Hours: civil.UsualHours, Loc: time.UTC, Climate: weather.DefaultClimate()}
	list, err := weather.Outcomes(kept, weather.DefaultLimits(), k)
	if err != nil {
		t.Fatal(err)
	}
	want := map[int]float64{2: 4.0 / 7, 1: 5.0 / 7} // (i+1)/(m+2)
	found := 0
	for _, o := range list {
		if o.Ran {
			continue // the dry half-days of the record
		}
		found++
		if p := want[o.Lead]; p != o.P || o.Climate <= 0 || o.Climate >= 1 {
			t.Errorf("lead %d: chance %v against a climate of %v, want %v", o.Lead, o.P, o.Climate, p)
		}
	}
	if found != len(want) {
		t.Errorf("%d chances of the wet morning, want one for each lead day: %+v", found, list)
	}
	if none, err := weather.Outcomes(nil, weather.DefaultLimits(), k); err != nil || len(none) != 0 {
		t.Errorf("of nothing: %v %v", none, err)
	}
	// Without a look back nobody knows what happened, and nothing is learnt.
	if none, _ := weather.Outcomes(kept[1:2], weather.DefaultLimits(), k); len(none) != 0 {
		t.Errorf("without a look back: %+v", none)
	}
}
