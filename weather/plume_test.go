package weather_test

import (
	"math"
	"testing"
	"time"

	"toeboard/weather"
)

// Ten members with gusts of 1 to 10 m/s in open country at 10 m, where the work
// has the forecast's own wind: by nearest rank (Hyndman and Fan 1996, definition
// 1) one in ten is 1, five in ten 5, nine in ten 9. One hour of one member is
// not known, so its step rests on nine.
func TestPlumeIsTheSpreadOfTheMembers(t *testing.T) {
	t.Parallel()
	start := time.Date(2026, 6, 3, 6, 0, 0, 0, time.UTC)
	s := weather.Series{FetchedAt: start}
	for m := 1; m <= 10; m++ {
		var hours []weather.Hour
		for h := range 12 {
			hour := calmHour(start.Add(time.Duration(h) * time.Hour))
			hour.WindMean, hour.WindGust = weather.Is(0.5), weather.Is(float64(m))
			if m == 10 && h == 4 {
				hour.WindMean, hour.WindGust = weather.Value{}, weather.Value{}
			}
			hours = append(hours, hour)
		}
		s.Members = append(s.Members, weather.Member{Hours: hours})
	}
	steps, err := weather.Plume(s, weather.Place{Terrain: weather.TerrainII, HeightM: 10}, weather.Is(8), start, start.Add(15*time.Hour), 3*time.Hour)
	if err != nil || len(steps) != 5 {
		t.Fatalf("%d steps, %v", len(steps), err)
	}
	near := func(v weather.Value, want float64) bool { return v.Known && math.Abs(v.N-want) < 1e-9 }
	if p := steps[0]; !near(p.Low, 1) || !near(p.Middle, 5) || !near(p.High, 9) || !near(p.Over, 0.3) || p.Known != 10 {
		t.Errorf("first step: %+v", p)
	}
	if p := steps[1]; p.Known != 9 || !near(p.Over, 2.0/9) || !near(p.High, 9) {
		t.Errorf("with a hole: %+v", p)
	}
	if p := steps[4]; p.Known != 0 || p.Middle.Known || p.Over.Known {
		t.Errorf("beyond the forecast: %+v", p)
	}
	few := s
	few.Members = s.Members[:4]
	if steps, _ := weather.Plume(few, weather.Place{Terrain: weather.TerrainII, HeightM: 10}, weather.Is(8), start, start.Add(3*time.Hour), 3*time.Hour); steps[0].Middle.Known {
		t.Error("four members are no spread")
	}
	if _, err := weather.Plume(s, weather.Place{}, weather.Value{}, start, start.Add(time.Hour), time.Hour); err == nil {
		t.Error("a place without terrain has a plume")
	}
}
