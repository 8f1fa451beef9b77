package metno_test

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // Europe/London wherever the test runs

	"toeboard/weather"
	"toeboard/weather/mangle"
	"toeboard/weather/metno"
)

// day is a synthetic answer of hourly steps, the same weather throughout.
func day(instant, following string) []byte {
	var steps []string
	for i := range 24 {
		at := time.Date(2026, 4, 14, i, 0, 0, 0, time.UTC).Format(time.RFC3339)
		steps = append(steps, `{"time":"`+at+`","data":{"instant":{"details":{`+instant+`}},"next_1_hours":{`+following+`}}}`)
	}
	return []byte(`{"type":"Feature","geometry":{"type":"Point","coordinates":[-1.5,53.8,60]},"properties":{"meta":{"updated_at":"2026-04-14T03:00:00Z","units":{` +
		usual + `}},"timeseries":[` + strings.Join(steps, ",") + `]}}`)
}

func verdicts(t testing.TB, body []byte, check func(task weather.Task, j weather.Judgement)) {
	t.Helper()
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 4, 14, 6, 0, 0, 0, time.UTC)
	s, err := metno.Parse(body, at)
	if err != nil {
		return
	}
	for _, task := range weather.OutdoorTasks() {
		w := weather.Work{Place: weather.Place{Lat: 53.8, Lon: -1.5, Terrain: weather.TerrainIII, HeightM: 8}, Task: task, From: at.Add(time.Hour), To: at.Add(5 * time.Hour), Loc: london, Now: at}
		check(task, weather.Judge(s, dryRoof(), w))
	}
}

// Every step of the gale is at a stop for wind, rain, frost and thunder at once.
func TestThousandMangledGalesNeverGo(t *testing.T) {
	t.Parallel()
	body := day(`"wind_speed":22,"wind_speed_of_gust":33,"air_temperature":-9`, `"summary":{"symbol_code":"heavysnowandthunder"},"details":{"precipitation_amount":8.5}`)
	r := rand.New(rand.NewPCG(2026, 4))
	read := 0
	for range 1000 {
		mangled := mangle.Damage(r, body)
		verdicts(t, mangled, func(task weather.Task, j weather.Judgement) {
			read++
			if j.Verdict == weather.Go || j.Verdict == weather.Caution {
				t.Errorf("%s in a mangled gale: %s\n%s", task, j.Sentence(), mangled)
			}
		})
	}
	t.Logf("%d judgements of what could still be read", read)
	if read < 300 {
		t.Errorf("only %d judgements: the damage leaves nothing to read, so the test shows little", read)
	}
}

// Without gusts the estimate from the mean wind decides: 2 m/s is little enough
// for any task, and not knowing the mean leaves nothing to estimate from.
func TestFairWeatherIsGoAndWithAHoleIsNot(t *testing.T) {
	t.Parallel()
	const instant = `"wind_speed":2,"air_temperature":12`
	const following = `"summary":{"symbol_code":"cloudy"},"details":{"precipitation_amount":0}`
	verdicts(t, day(instant, following), func(task weather.Task, j weather.Judgement) {
		if j.Verdict != weather.Go {
			t.Errorf("%s: %s", task, j.Sentence())
		}
	})
	for _, hole := range []struct{ instant, following string }{
		{`"air_temperature":12`, following}, {`"wind_speed":2`, following}, {instant, `"summary":{"symbol_code":"cloudy"}`}, {instant, `"details":{"precipitation_amount":0}`},
		{`"wind_speed":null,"air_temperature":12`, following},
	} {
		seen := false
		verdicts(t, day(hole.instant, hole.following), func(task weather.Task, j weather.Judgement) {
			seen = true
			if j.Verdict != weather.Unknown {
				t.Errorf("%s with %v: %s", task, hole, j.Sentence())
			}
		})
		if !seen {
			t.Errorf("%v made the answer unreadable", hole)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add(day(`"wind_speed":22`, `"details":{"precipitation_amount":8.5}`))
	f.Add(body(usual, ``, `"instant":null`, `"next_6_hours":{}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := metno.Parse(text, fetched)
		if err != nil {
			if len(s.Members) != 0 {
				t.Fatalf("a series beside the error %v", err)
			}
			return
		}
		hours := s.Members[0].Hours
		for i, h := range hours {
			if h.Span <= 0 || h.Span > 6*time.Hour || i > 0 && !h.From.Equal(hours[i-1].From.Add(hours[i-1].Span)) {
				t.Fatalf("steps out of order at %d: %+v", i, h)
			}
			for _, v := range []struct {
				value weather.Value
				fits  weather.Range
			}{{h.WindMean, weather.WindRange}, {h.WindGust, weather.GustRange}, {h.RainChance, weather.FractionRange}, {h.Temp, weather.TempRange}} {
				if v.value.Known && !v.fits.Keep(v.value).Known {
					t.Fatalf("an impossible value was believed: %+v", h)
				}
			}
		}
	})
}

// dryRoof are the usual limits without the water that may lie on a roof when a
// forecast begins: how it dries is the weather room's test.
func dryRoof() weather.Limits {
	l := weather.DefaultLimits()
	l.Rows = slices.DeleteFunc(l.Rows, func(r weather.Limit) bool { return r.Quantity == weather.RoofFilm })
	return l
}
