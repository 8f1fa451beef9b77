package openmeteo_test

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // Europe/London wherever the test runs

	"toeboard/weather"
	"toeboard/weather/mangle"
	"toeboard/weather/openmeteo"
)

var allUnits = map[string]string{
	"wind_speed_10m": "m/s", "wind_gusts_10m": "m/s", "precipitation": "mm", "temperature_2m": "°C", "dew_point_2m": "°C", "cloud_cover": "%", "weather_code": "wmo code",
}

// day is a synthetic answer of 24 hours with a control and a member, the same
// weather throughout.
func day(values map[string]float64) synthetic {
	a := synthetic{columns: map[string]string{}, units: map[string]string{}}
	for i := range 24 {
		a.times = append(a.times, time.Date(2026, 4, 14, i, 0, 0, 0, time.UTC).Format("2006-01-02T15:04"))
	}
	for name, unit := range allUnits {
		for _, ending := range []string{"", "_member01"} {
			list := make([]any, 24)
			for i := range list {
				list[i] = values[name]
			}
			a.columns[name+ending], a.units[name+ending] = column(list...), unit
		}
	}
	return a
}

var (
	gale = map[string]float64{"wind_speed_10m": 22, "wind_gusts_10m": 33, "precipitation": 8.5, "temperature_2m": -9, "dew_point_2m": -9, "cloud_cover": 100, "weather_code": 95}
	fair = map[string]float64{"wind_speed_10m": 2, "wind_gusts_10m": 4, "precipitation": 0, "temperature_2m": 12, "dew_point_2m": 4, "cloud_cover": 90, "weather_code": 3}
)

func verdicts(t testing.TB, body []byte, check func(task weather.Task, j weather.Judgement, c weather.Chance)) {
	t.Helper()
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 4, 14, 6, 0, 0, 0, time.UTC)
	all, err := openmeteo.Parse(body, at)
	if err != nil {
		return
	}
	for _, s := range all {
		for _, task := range weather.OutdoorTasks() {
			w := weather.Work{Place: weather.Place{Lat: 53.8, Lon: -1.5, Terrain: weather.TerrainIII, HeightM: 8}, Task: task, From: at.Add(time.Hour), To: at.Add(5 * time.Hour), Loc: london, Now: at}
			check(task, weather.Judge(s, dryRoof(), w), weather.ChanceOf(s, dryRoof(), weather.Ask{Work: w}))
		}
	}
}

// Every hour of the gale is at a stop for wind, rain, frost and thunder at
// once: no damage that leaves something to read can make it go.
func TestThousandMangledGalesNeverGo(t *testing.T) {
	t.Parallel()
	body := day(gale).body()
	r := rand.New(rand.NewPCG(2026, 4))
	read := 0
	for range 1000 {
		mangled := mangle.Damage(r, body)
		verdicts(t, mangled, func(task weather.Task, j weather.Judgement, c weather.Chance) {
			read++
			if j.Verdict == weather.Go || j.Verdict == weather.Caution || c.P > 0.5 {
				t.Errorf("%s in a mangled gale: %s, chance %+v\n%s", task, j.Sentence(), c, mangled)
			}
		})
	}
	t.Logf("%d judgements of what could still be read", read)
	if read < 300 {
		t.Errorf("only %d judgements: the damage leaves nothing to read, so the test shows little", read)
	}
}

// A fair day of which one needed value, or a whole column, is lost is not go.
func TestFairWeatherWithAHoleIsNotGo(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"wind_speed_10m", "precipitation", "temperature_2m", "weather_code"} {
		for hour := 8; hour < 12; hour++ {
			a := day(fair)
			list := strings.Split(strings.Trim(a.columns[name], "[]"), ",")
			list[hour] = "null"
			a.columns[name] = "[" + strings.Join(list, ",") + "]"
			seen := false
			verdicts(t, a.body(), func(task weather.Task, j weather.Judgement, _ weather.Chance) {
				seen = true
				if j.Verdict != weather.Unknown {
					t.Errorf("%s without %s at %d: %s", task, name, hour, j.Sentence())
				}
			})
			if !seen {
				t.Fatal("a null made the answer unreadable")
			}
		}
		a := day(fair)
		delete(a.columns, name)
		verdicts(t, a.body(), func(task weather.Task, j weather.Judgement, _ weather.Chance) {
			if j.Verdict != weather.Unknown {
				t.Errorf("%s without any %s: %s", task, name, j.Sentence())
			}
		})
	}
	verdicts(t, day(fair).body(), func(task weather.Task, j weather.Judgement, _ weather.Chance) {
		if j.Verdict != weather.Go {
			t.Errorf("%s on the fair day itself: %s", task, j.Sentence())
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, name := range []string{"frenck_ensemble_icon_excerpt.json", "omgo_ensemble_synthetic_nulls.json", "error_429.json"} {
		f.Add(recorded(f, name))
	}
	f.Add(day(gale).body())
	f.Add([]byte(`[{"latitude":1,"longitude":2,"utc_offset_seconds":0,"hourly_units":{"time":"iso8601"},"hourly":{"time":[]}}]`))
	f.Fuzz(func(t *testing.T, body []byte) {
		all, err := openmeteo.Parse(body, fetched)
		if err != nil {
			if len(all) != 0 {
				t.Fatalf("%d series beside the error %v", len(all), err)
			}
			return
		}
		for _, s := range all {
			sound(t, s)
		}
	})
}

// sound holds a series that was read to what its types promise.
func sound(t *testing.T, s weather.Series) {
	if len(s.Members) == 0 {
		t.Fatal("a series without members")
	}
	for _, m := range s.Members {
		for i, h := range m.Hours {
			if h.Span != time.Hour || i > 0 && !h.From.Equal(m.Hours[i-1].From.Add(time.Hour)) {
				t.Fatalf("hours out of order at %d: %+v", i, h)
			}
			for _, v := range []struct {
				value weather.Value
				fits  weather.Range
			}{{h.WindMean, weather.WindRange}, {h.WindGust, weather.GustRange}, {h.Rain, weather.RainRange}, {h.RainChance, weather.FractionRange}, {h.Temp, weather.TempRange}} {
				if v.value.Known && !v.fits.Keep(v.value).Known {
					t.Fatalf("an impossible value was believed: %+v", h)
				}
			}
		}
	}
}

func BenchmarkParse(b *testing.B) {
	body := day(fair).body()
	b.SetBytes(int64(len(body)))
	for b.Loop() {
		if _, err := openmeteo.Parse(body, fetched); err != nil {
			b.Fatal(err)
		}
	}
}

// dryRoof are the usual limits without the water that may lie on a roof when a
// forecast begins: how it dries is the weather room's test.
func dryRoof() weather.Limits {
	l := weather.DefaultLimits()
	l.Rows = slices.DeleteFunc(l.Rows, func(r weather.Limit) bool { return r.Quantity == weather.RoofFilm })
	return l
}
