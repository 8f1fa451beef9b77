package weather_test

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"toeboard/weather"
)

// A warning tightens what a fine forecast allows, and nothing that a warning
// says ever loosens a verdict.
func TestWarningsOnlyTighten(t *testing.T) {
	t.Parallel()
	s, l, w := fineMorning(t)
	before := weather.Judge(s, l, w)
	if before.Verdict != weather.Go {
		t.Fatalf("the morning to start from is %s", before.Sentence())
	}
	rapid.Check(t, func(rt *rapid.T) {
		v := weather.Warning{
			Hazard: rapid.SampledFrom([]weather.Hazard{weather.HazardUnknown, weather.HazardWind, weather.HazardThunder, weather.HazardRain, weather.HazardIce,
				weather.HazardHeat, weather.HazardCold, weather.HazardFog}).Draw(rt, "hazard"),
			Severity: weather.Severity(rapid.SampledFrom([]int{0, 2, 3, 4, 5}).Draw(rt, "severity")),
			From:     w.From.Add(time.Duration(rapid.IntRange(-600, 600).Draw(rt, "from")) * time.Minute),
		}
		v.To = v.From.Add(time.Duration(rapid.IntRange(1, 600).Draw(rt, "long")) * time.Minute)
		warned := w
		warned.Warnings = []weather.Warning{v}
		after := weather.Judge(s, l, warned)
		touches := v.From.Before(w.To) && v.To.After(w.From)
		if touches && after.Verdict == weather.Go || !touches && after.Verdict != weather.Go {
			rt.Fatalf("warned from %s to %s: %s", v.From, v.To, after.Sentence())
		}
		if touches && !strings.Contains(after.Sentence(), "official warning") {
			rt.Fatalf("it does not say why: %s", after.Sentence())
		}
	})
}

func TestThunderstormWarningStopsAtEveryLevel(t *testing.T) {
	t.Parallel()
	s, l, w := fineMorning(t)
	for _, severity := range []weather.Severity{weather.SeverityUnknown, weather.SeverityMinor, weather.SeverityModerate, weather.SeveritySevere, weather.SeverityExtreme} {
		w.Warnings = []weather.Warning{{Hazard: weather.HazardThunder, Severity: severity, From: w.From.Add(2 * time.Hour), To: w.To, Event: "Thunderstorms", Sender: "the weather service"}}
		j := weather.Judge(s, l, w)
		if j.Verdict != weather.Stop || !j.OffBy.Equal(w.From.Add(2*time.Hour)) {
			t.Errorf("severity %s: %s, off by %s", severity, j.Sentence(), j.OffBy)
		}
	}
	if got := weather.Judge(s, l, w).Sentence(); got != "stop: official warning of thunderstorm (Thunderstorms) at Wed 3 Jun 10:00, severity extreme: stop (the weather service; levels are the firm's own rule)" {
		t.Error(got)
	}
}

// A ring round Britain, one across the 180th meridian, and a point on an edge.
func TestAreas(t *testing.T) {
	t.Parallel()
	britain := []weather.Point{{Lat: 49, Lon: -8}, {Lat: 49, Lon: 2}, {Lat: 61, Lon: 2}, {Lat: 61, Lon: -8}, {Lat: 49, Lon: -8}}
	fiji := []weather.Point{{Lat: -20, Lon: 176}, {Lat: -20, Lon: -178}, {Lat: -15, Lon: -178}, {Lat: -15, Lon: 176}, {Lat: -20, Lon: 176}}
	for name, c := range map[string]struct {
		ring []weather.Point
		p    weather.Point
		in   bool
	}{
		"London":                  {britain, weather.Point{Lat: 51.5, Lon: -0.1}, true},
		"Paris":                   {britain, weather.Point{Lat: 48.9, Lon: 2.3}, false},
		"its south edge":          {britain, weather.Point{Lat: 49, Lon: 0}, true},
		"Suva, east":              {fiji, weather.Point{Lat: -18.1, Lon: 178.4}, true},
		"beyond the date line":    {fiji, weather.Point{Lat: -18.1, Lon: -179}, true},
		"the other side of earth": {fiji, weather.Point{Lat: -18.1, Lon: 0}, false},
	} {
		w := weather.Warning{Areas: []weather.Area{{Polygons: [][]weather.Point{c.ring}}}}
		if w.Covers(c.p, nil) != c.in {
			t.Errorf("%s: covered is %v, want %v", name, !c.in, c.in)
		}
	}
	if w := (weather.Warning{}); !w.Covers(weather.Point{}, nil) {
		t.Error("a warning that does not say where holds everywhere")
	}
}

// fineMorning is a calm dry June morning, the limits a firm starts with, and
// roof work from 8 to 12.
func fineMorning(t *testing.T) (weather.Series, weather.Limits, weather.Work) {
	t.Helper()
	start := time.Date(2026, 6, 2, 0, 0, 0, 0, time.UTC)
	s := weather.Series{Provider: "test", FetchedAt: start.Add(30 * time.Hour), Lat: 51.5, Lon: -0.1, Members: []weather.Member{{}}}
	for h := range 72 {
		s.Members[0].Hours = append(s.Members[0].Hours, weather.Hour{
			From: start.Add(time.Duration(h) * time.Hour), Span: time.Hour, WindMean: weather.Is(2), WindGust: weather.Is(4), Rain: weather.Is(0),
			RainChance: weather.Is(0), Temp: weather.Is(16), DewPoint: weather.Is(8), Humidity: weather.Is(60), Cloud: weather.Is(50), Thunder: weather.Is(0),
		})
	}
	day := time.Date(2026, 6, 3, 8, 0, 0, 0, time.UTC)
	return s, weather.DefaultLimits(), weather.Work{
		Place: weather.Place{Lat: 51.5, Lon: -0.1, Terrain: weather.TerrainIII, HeightM: 6}, Task: weather.RoofCovering,
		From: day, To: day.Add(4 * time.Hour), Loc: time.UTC, Now: day.Add(-time.Hour),
	}
}
