package geohours_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // Europe/London wherever the test runs

	"toeboard/weather"
	"toeboard/weather/fault"
	"toeboard/weather/geohours"
	"toeboard/weather/mangle"
)

var fetched = time.Date(2026, 4, 14, 6, 0, 0, 0, time.UTC)

const units = `[{"windSpeed10m":{"type":"Parameter","unit":{"label":"metres per second","symbol":{"value":"m/s"}}},
"windGustSpeed10m":{"unit":{"label":"metres per second","symbol":{"value":"m/s"}}},"max10mWindGust":{"unit":{"label":"metres per second","symbol":{"value":"m/s"}}},
"screenTemperature":{"unit":{"label":"degrees Celsius","symbol":{"value":"Cel"}}},"screenDewPointTemperature":{"unit":{"label":"degrees Celsius","symbol":{"value":"Cel"}}},
"screenRelativeHumidity":{"unit":{"label":"percentage","symbol":{"value":"%"}}},"visibility":{"unit":{"label":"metres","symbol":{"value":"m"}}},
"totalPrecipAmount":{"unit":{"label":"millimetres","symbol":{"value":"mm"}}},"probOfPrecipitation":{"unit":{"label":"percentage","symbol":{"value":"%"}}},
"significantWeatherCode":{"unit":{"label":"dimensionless","symbol":{"value":"1"}}},"mslp":{"unit":{"label":"pascals","symbol":{"value":"Pa"}}}}]`

// answer is a synthetic answer of 25 stamps in the documented form; at changes
// the fields of some of them.
func answer(fair string, at map[int]string) string {
	var steps []string
	for i := range 25 {
		fields := fair
		if f, ok := at[i]; ok {
			fields = f
		}
		steps = append(steps, fmt.Sprintf(`{"time":"2026-04-14T%02d:00Z",%s}`, i%24, fields))
	}
	steps[24] = strings.Replace(steps[24], "04-14", "04-15", 1)
	return `{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Point","coordinates":[-1.5,53.8,60]},
	"properties":{"requestPointDistance":500,"modelRunDate":"2026-04-14T05:00Z","timeSeries":[` + strings.Join(steps, ",") + `]}}],"parameters":` + units + `}`
}

const fair = `"windSpeed10m":2,"windGustSpeed10m":4,"max10mWindGust":4.5,"screenTemperature":12,"screenDewPointTemperature":5,"screenRelativeHumidity":60,
"visibility":20000,"totalPrecipAmount":0,"probOfPrecipitation":3,"significantWeatherCode":3,"mslp":101300`

func parse(t *testing.T, body string) weather.Series {
	t.Helper()
	all, err := geohours.Parse([]byte(body), fetched)
	if err != nil {
		t.Fatal(err)
	}
	return all[0]
}

// Amounts are of the hour before the stamp: rain stated at 10:00 fell from 9 to
// 10, and the highest gust stated there blew then. A gust that is an instant
// counts in both hours that it bounds.
func TestOneWetHourAndOneGust(t *testing.T) {
	t.Parallel()
	s := parse(t, answer(fair, map[int]string{
		10: strings.NewReplacer(`"totalPrecipAmount":0`, `"totalPrecipAmount":2.5`, `"max10mWindGust":4.5`, `"max10mWindGust":16`).Replace(fair),
		15: strings.Replace(fair, `"windGustSpeed10m":4`, `"windGustSpeed10m":14`, 1),
	}))
	hours := s.Members[0].Hours
	if len(hours) != 24 || !hours[0].From.Equal(time.Date(2026, 4, 14, 0, 0, 0, 0, time.UTC)) {
		t.Fatalf("%d hours from %s", len(hours), hours[0].From)
	}
	for i, h := range hours {
		rain, gust := 0.0, 4.5
		switch i {
		case 9:
			rain, gust = 2.5, 16
		case 14, 15:
			gust = 14
		}
		if h.Rain != weather.Is(rain) || h.WindGust != weather.Is(gust) {
			t.Errorf("%02d:00: rain %v, gust %v, want %v and %v", i, h.Rain, h.WindGust, rain, gust)
		}
	}
	if !s.ModelRun.Equal(time.Date(2026, 4, 14, 5, 0, 0, 0, time.UTC)) || s.Lat != 53.8 || s.Lon != -1.5 {
		t.Errorf("head: %+v", s)
	}
}

func TestUnitsAreRead(t *testing.T) {
	t.Parallel()
	kelvin := strings.Replace(answer(strings.Replace(fair, `"screenTemperature":12`, `"screenTemperature":285.15`, 1), nil),
		`"screenTemperature":{"unit":{"label":"degrees Celsius","symbol":{"value":"Cel"}}}`, `"screenTemperature":{"unit":{"label":"kelvin","symbol":{"value":"K"}}}`, 1)
	if h := parse(t, kelvin).Members[0].Hours[3]; h.Temp.N < 11.99 || h.Temp.N > 12.01 {
		t.Errorf("285.15 K is read as %v", h.Temp)
	}
	knots := strings.Replace(answer(fair, nil), `"windSpeed10m":{"type":"Parameter","unit":{"label":"metres per second","symbol":{"value":"m/s"}}}`, `"windSpeed10m":{"unit":{"label":"knots","symbol":{"value":"kn"}}}`, 1)
	if _, err := geohours.Parse([]byte(knots), fetched); fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "windSpeed10m") || !strings.Contains(err.Error(), "kn") {
		t.Errorf("knots: %v", err)
	}
	silent := strings.Replace(answer(fair, nil), `"totalPrecipAmount":{"unit":{"label":"millimetres","symbol":{"value":"mm"}}},`, "", 1)
	s := parse(t, silent)
	if s.Members[0].Hours[3].Rain.Known || len(s.Notes) != 1 {
		t.Errorf("rain without a unit: %v, %q", s.Members[0].Hours[3].Rain, s.Notes)
	}
}

func TestBrokenAnswersAreRefusedByField(t *testing.T) {
	t.Parallel()
	whole := answer(fair, nil)
	for name, c := range map[string]struct{ body, field string }{
		"a stamp twice":  {strings.Replace(whole, "T05:00Z\",\"wind", "T04:00Z\",\"wind", 1), "timeSeries[5]"},
		"a stamp of ten": {strings.Replace(whole, "T05:00Z\",\"wind", "T05:10Z\",\"wind", 1), "timeSeries[5]"},
		"no such place":  {strings.Replace(whole, "53.8", "153.8", 1), "coordinates"},
		"an error page":  {"<html>", "answer"},
		"no features":    {`{"type":"FeatureCollection","features":[]}`, "type"},
		"one stamp":      {`{"type":"FeatureCollection","features":[{"geometry":{"coordinates":[0,51]},"properties":{"timeSeries":[{"time":"2026-04-14T00:00Z"}]}}]}`, "timeSeries"},
	} {
		if _, err := geohours.Parse([]byte(c.body), fetched); fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), c.field) {
			t.Errorf("%s: %v, want a fault of %s", name, err, c.field)
		}
	}
}

func judge(t testing.TB, body []byte, check func(task weather.Task, j weather.Judgement)) {
	t.Helper()
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	all, err := geohours.Parse(body, fetched)
	if err != nil {
		return
	}
	for _, task := range weather.OutdoorTasks() {
		w := weather.Work{Place: weather.Place{Lat: 53.8, Lon: -1.5, Terrain: weather.TerrainIII, HeightM: 8}, Task: task, From: fetched.Add(time.Hour), To: fetched.Add(5 * time.Hour), Loc: london, Now: fetched}
		check(task, weather.Judge(all[0], dryRoof(), w))
	}
}

func TestFairWeatherIsGoAndWithAHoleIsNot(t *testing.T) {
	t.Parallel()
	seen := 0
	judge(t, []byte(answer(fair, nil)), func(task weather.Task, j weather.Judgement) {
		seen++
		if j.Verdict != weather.Go {
			t.Errorf("%s: %s", task, j.Sentence())
		}
	})
	for _, hole := range []string{"windSpeed10m", "screenTemperature", "totalPrecipAmount", "significantWeatherCode"} {
		judge(t, []byte(strings.ReplaceAll(answer(fair, nil), `"`+hole+`":`, `"was":`)), func(task weather.Task, j weather.Judgement) {
			seen++
			if j.Verdict != weather.Unknown {
				t.Errorf("%s without %s: %s", task, hole, j.Sentence())
			}
		})
	}
	if seen != 5*len(weather.OutdoorTasks()) {
		t.Errorf("%d judgements", seen)
	}
}

// Every hour of the gale is at a stop for wind, rain, frost and thunder at once.
func TestThousandMangledGalesNeverGo(t *testing.T) {
	t.Parallel()
	gale := []byte(answer(`"windSpeed10m":22,"windGustSpeed10m":33,"max10mWindGust":35,"screenTemperature":-9,"screenDewPointTemperature":-9,"screenRelativeHumidity":99,
	"visibility":50,"totalPrecipAmount":8.5,"probOfPrecipitation":99,"significantWeatherCode":30`, nil))
	r := rand.New(rand.NewPCG(2026, 5))
	read := 0
	for range 1000 {
		mangled := mangle.Damage(r, gale)
		judge(t, mangled, func(task weather.Task, j weather.Judgement) {
			read++
			if j.Verdict == weather.Go || j.Verdict == weather.Caution {
				t.Errorf("%s in a mangled gale: %s\n%s", task, j.Sentence(), mangled)
			}
		})
	}
	if read < 300 {
		t.Errorf("only %d judgements: the damage leaves nothing to read, so the test shows little", read)
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(answer(fair, nil)))
	f.Fuzz(func(t *testing.T, body []byte) {
		all, err := geohours.Parse(body, fetched)
		if err != nil && len(all) != 0 {
			t.Fatalf("series beside the error %v", err)
		}
		for _, s := range all {
			hours := s.Members[0].Hours
			for i, h := range hours {
				if h.Span != time.Hour || i > 0 && !h.From.Equal(hours[i-1].From.Add(time.Hour)) {
					t.Fatalf("hours out of order at %d: %+v", i, h)
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
