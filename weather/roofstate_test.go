package weather_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"toeboard/weather"
)

// FAO Irrigation and Drainage Paper 56, annex 2, table 2.3 (from memory): the
// pressure of saturated vapour.
func TestSaturationPressure(t *testing.T) {
	t.Parallel()
	for temp, want := range map[float64]float64{1: 0.657, 10: 1.228, 15: 1.705, 20: 2.338, 30: 4.243} {
		if got := weather.SaturationKPa(temp); math.Abs(got-want) > 0.0015 {
			t.Errorf("at %v degrees %v kPa, the table has %v", temp, got, want)
		}
	}
}

// hours draws a day of weather.
func drawHours(t *rapid.T) []weather.Hour {
	start := time.Date(2026, 3, rapid.IntRange(1, 28).Draw(t, "day"), 0, 0, 0, 0, time.UTC)
	maybe := func(name string, low, high float64) weather.Value {
		if rapid.IntRange(0, 9).Draw(t, name+" unknown") == 0 {
			return weather.Value{}
		}
		return weather.Is(rapid.Float64Range(low, high).Draw(t, name))
	}
	var hours []weather.Hour
	for i := range 36 {
		h := weather.Hour{From: start.Add(time.Duration(i) * time.Hour), Span: time.Hour,
			WindMean: maybe("wind", 0, 20), Temp: maybe("temp", -10, 35), Humidity: maybe("humidity", 20, 100), Cloud: maybe("cloud", 0, 100), Rain: weather.Is(0)}
		if rapid.IntRange(0, 4).Draw(t, "wet") == 0 {
			h.Rain = maybe("rain", 0, 4)
		}
		if rapid.Bool().Draw(t, "sun known") {
			h.Radiation = maybe("sun", 0, 900)
		}
		hours = append(hours, h)
	}
	return hours
}

const filmFull = 0.3 // as the model declares

// The balance closes in every step, and the film stays between dry and full.
func TestWaterBalanceCloses(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		m := weather.Member{Hours: drawHours(t)}
		film, fell := filmFull, 0.0
		for i, s := range weather.RoofFilmOf(&m, 53.8, -1.5) {
			if left := film + s.Rain + s.Dew - s.Dried - s.RunOff; math.Abs(left-s.After) > 1e-9 {
				t.Fatalf("hour %d: %v + %v + %v - %v - %v is not %v", i, film, s.Rain, s.Dew, s.Dried, s.RunOff, s.After)
			}
			if s.After < -1e-12 || s.After > filmFull+1e-12 || s.Dew < 0 || s.Dried < 0 || s.RunOff < 0 || s.Dew > 0 && s.Dried > 0 {
				t.Fatalf("hour %d: %+v", i, s)
			}
			if h := m.Hours[i]; h.Rain.Known && s.Rain != h.Rain.N {
				t.Fatalf("hour %d: %v fell, %v was taken in", i, h.Rain, s.Rain)
			}
			film = s.After
			fell += s.Rain
		}
	})
}

// More rain, more humid air, more cloud over the sun, less wind in unsaturated
// air never leave less water; not knowing leaves no less than knowing.
func TestRoofStateIsMonotone(t *testing.T) {
	t.Parallel()
	end := func(hours []weather.Hour) float64 {
		m := weather.Member{Hours: hours}
		steps := weather.RoofFilmOf(&m, 53.8, -1.5)
		return steps[len(steps)-1].After
	}
	rapid.Check(t, func(t *rapid.T) {
		hours := drawHours(t)
		before := end(hours)
		for name, change := range map[string]func(h *weather.Hour){
			"rain":          func(h *weather.Hour) { h.Rain.N += 0.3 },
			"humidity":      func(h *weather.Hour) { h.Humidity.N = min(100, h.Humidity.N+5) },
			"no rain known": func(h *weather.Hour) { h.Rain = weather.Value{} },
			"no humidity":   func(h *weather.Hour) { h.Humidity = weather.Value{} },
			"no wind known": func(h *weather.Hour) { h.WindMean = weather.Value{} },
			"less wind":     func(h *weather.Hour) { h.WindMean.N /= 2 },
			"less sun":      func(h *weather.Hour) { h.Radiation.N /= 2 },
		} {
			changed := slices.Clone(hours)
			i := rapid.IntRange(0, len(hours)-1).Draw(t, "hour")
			change(&changed[i])
			if after := end(changed); after < before-1e-9 {
				t.Fatalf("%s in hour %d: %v mm left, %v before", name, i, after, before)
			}
		}
	})
}

// Sense: a breezy dry June day dries a wet roof by noon, a still foggy winter
// day does not, and a clear calm night leaves dew.
func TestRoofStateMakesSense(t *testing.T) {
	t.Parallel()
	day := func(month time.Month, change func(h *weather.Hour)) []weather.FilmStep {
		m := weather.Member{}
		for i := range 24 {
			h := weather.Hour{From: time.Date(2026, month, 10, i, 0, 0, 0, time.UTC), Span: time.Hour, Rain: weather.Is(0), WindMean: weather.Is(4), Temp: weather.Is(16), Humidity: weather.Is(60), Cloud: weather.Is(40)}
			change(&h)
			m.Hours = append(m.Hours, h)
		}
		return weather.RoofFilmOf(&m, 53.8, -1.5)
	}
	june := day(time.June, func(h *weather.Hour) {
		if h.From.Hour() < 5 {
			h.Rain = weather.Is(1)
		}
	})
	if june[4].After < 0.25 || june[11].After > 0.001 {
		t.Errorf("June: %.2f mm at 5, %.2f mm at noon", june[4].After, june[11].After)
	}
	fog := day(time.December, func(h *weather.Hour) {
		h.Humidity, h.WindMean, h.Temp, h.Cloud = weather.Is(100), weather.Is(0.5), weather.Is(3), weather.Is(100)
	})
	if fog[23].After < 0.15 {
		t.Errorf("fog: %.2f mm left", fog[23].After)
	}
	night := day(time.September, func(h *weather.Hour) {
		h.Cloud, h.WindMean, h.Humidity = weather.Is(0), weather.Is(0.5), weather.Is(98)
		if h.From.Hour() >= 8 && h.From.Hour() < 17 {
			h.Humidity, h.WindMean = weather.Is(50), weather.Is(5)
		}
	})
	if night[16].After > 0.01 || night[23].After < 0.05 {
		t.Errorf("a clear night: %.2f mm in the evening, %.2f mm at midnight", night[16].After, night[23].After)
	}
}

// The clock of guidance: 30 minutes after the last thunder, restarted by each.
func TestThunderClock(t *testing.T) {
	t.Parallel()
	at := func(hour, minute int) time.Time { return time.Date(2026, 6, 3, hour, minute, 0, 0, time.UTC) }
	log := []time.Time{at(10, 0), at(10, 20)}
	for _, c := range []struct {
		log   []time.Time
		now   time.Time
		stop  bool
		until time.Time
	}{
		{nil, at(10, 0), false, time.Time{}},
		{log[:1], at(10, 29), true, at(10, 30)},
		{log[:1], at(10, 30), false, at(10, 30)},
		{log, at(10, 30), true, at(10, 50)},
		{[]time.Time{log[1], log[0]}, at(10, 49), true, at(10, 50)},
		{log, at(10, 50), false, at(10, 50)},
		{[]time.Time{at(11, 0)}, at(10, 0), true, at(11, 30)}, // a clock that is wrong is no all-clear
	} {
		got := weather.ThunderAt(c.log, c.now)
		if got.Stop != c.stop || !got.Until.Equal(c.until) {
			t.Errorf("log %v at %s: %+v, want stop %v until %s", c.log, c.now, got, c.stop, c.until)
		}
	}
	if s := weather.ThunderAt(log, at(10, 30)).Sentence(time.UTC); s != "thunder or a flash at 10:20: off the roof until 10:50, 30 minutes after the last one" {
		t.Error(s)
	}
}

// Heat asks for the humidity only where it matters, cold for the wind; what is
// not known there is not known.
func TestFeltHeatAndCold(t *testing.T) {
	t.Parallel()
	verdict := func(q weather.Quantity, change func(h *weather.Hour)) weather.Verdict {
		j := judge(series(change), weather.RoofCovering)
		for i, l := range j.Levels {
			if l.Quantity == q {
				return j.Steps[0].Checks[i].Verdict
			}
		}
		t.Fatalf("nobody asks for %s", q)
		return weather.Unknown
	}
	set := func(temp, humidity, mean weather.Value) func(h *weather.Hour) {
		return func(h *weather.Hour) { h.Temp, h.Humidity, h.WindMean = temp, humidity, mean }
	}
	none := weather.Value{}
	// 96 F and 65%: 121 F = 49.4 C; 92 F and 70%: 112 F (National Weather Service's table).
	if verdict(weather.Heat, set(weather.Is(35.6), weather.Is(65), weather.Is(2))) != weather.Caution {
		t.Error("121 F is a caution")
	}
	if verdict(weather.Heat, set(weather.Is(12), none, weather.Is(2))) != weather.Go || verdict(weather.Heat, set(weather.Is(31), none, weather.Is(2))) != weather.Caution {
		t.Error("humidity is asked for in warm air alone")
	}
	// -10 C in 40 km/h feels like -20.77 C, 0 C in 20 km/h like -5.24 C (the index's formula).
	if verdict(weather.Cold, set(weather.Is(-10), weather.Is(80), weather.Is(40/3.6))) != weather.Caution || verdict(weather.Cold, set(weather.Is(0), weather.Is(80), weather.Is(20/3.6))) != weather.Go {
		t.Error("felt cold")
	}
}
