package metno_test

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/metno"
)

var fetched = time.Date(2020, 7, 20, 11, 44, 31, 0, time.UTC)

const (
	london  = "lat51.5lon-0.1altitude25_complete.json"
	newYork = "lat40.7lon-74.0altitude10_compact.json"
	beijing = "lat39.9lon116.4altitudeNone_compact.json"
)

// recorded unwraps the body of a recorded answer.
func recorded(t testing.TB, name string) []byte {
	t.Helper()
	file, err := os.ReadFile("../../testdata/weather/metno/" + name)
	if err != nil {
		t.Fatal(err)
	}
	var wrapped struct {
		Data json.RawMessage `json:"data"`
	}
	if err := json.Unmarshal(file, &wrapped); err != nil {
		t.Fatal(err)
	}
	return wrapped.Data
}

func at(t testing.TB, s weather.Series, from string) weather.Hour {
	t.Helper()
	want, err := time.Parse(time.RFC3339, from)
	if err != nil {
		t.Fatal(err)
	}
	for _, h := range s.Members[0].Hours {
		if h.From.Equal(want) {
			return h
		}
	}
	t.Fatalf("no step from %s", from)
	return weather.Hour{}
}

func is(t *testing.T, what string, got weather.Value, want float64) {
	t.Helper()
	if !got.Known || got.N != want {
		t.Errorf("%s is %+v, want %v", what, got, want)
	}
}

// Three real answers: 82 stamps are 81 steps, hourly for 55 hours and then
// six-hourly, without a gap, and nothing after the last stamp.
func TestRecordedAnswersAreReadWhole(t *testing.T) {
	t.Parallel()
	for _, name := range []string{london, newYork, beijing} {
		s, err := metno.Parse(recorded(t, name), fetched)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		hours := s.Members[0].Hours
		if len(s.Members) != 1 || len(hours) != 81 || s.Provider != metno.Provider {
			t.Fatalf("%s: %d steps", name, len(hours))
		}
		if !s.ModelRun.Equal(time.Date(2020, 7, 20, 1, 30, 57, 0, time.UTC)) || !s.FetchedAt.Equal(fetched) {
			t.Errorf("%s: run %s, fetched %s", name, s.ModelRun, s.FetchedAt)
		}
		for i, h := range hours {
			want := time.Hour
			if i >= 55 {
				want = 6 * time.Hour
			}
			if h.Span != want {
				t.Errorf("%s: step %d from %s spans %s, want %s", name, i, h.From, h.Span, want)
			}
			if i > 0 && !h.From.Equal(hours[i-1].From.Add(hours[i-1].Span)) {
				t.Errorf("%s: a gap before %s", name, h.From)
			}
			if !h.WindMean.Known || !h.Rain.Known || !h.Temp.Known || !h.Thunder.Known {
				t.Errorf("%s: step %d lacks something: %+v", name, i, h)
			}
			if h.WindGust.Known {
				t.Errorf("%s: a gust where the answer has none", name)
			}
		}
		last := hours[len(hours)-1]
		if end := last.From.Add(last.Span); !end.Equal(time.Date(2020, 7, 29, 6, 0, 0, 0, time.UTC)) {
			t.Errorf("%s: ends %s", name, end)
		}
	}
}

// The Beijing answer has a single wet step: 0.4 mm of next_6_hours at 06:00 on
// 26 July falls AFTER that stamp, and in no other step.
func TestRainFollowsItsStamp(t *testing.T) {
	t.Parallel()
	s, err := metno.Parse(recorded(t, beijing), fetched)
	if err != nil {
		t.Fatal(err)
	}
	wet := at(t, s, "2020-07-26T06:00:00Z")
	is(t, "rain", wet.Rain, 0.4)
	if wet.Span != 6*time.Hour {
		t.Errorf("six hours of rain squeezed into %s", wet.Span)
	}
	for _, h := range s.Members[0].Hours {
		if h.From != wet.From && h.Rain.N != 0 {
			t.Errorf("%v mm from %s", h.Rain.N, h.From)
		}
	}
}

// The London answer: 2.3 m/s and 18.8 C at 11:00, 2.7 and 19.6 at 12:00; the
// last step lies between 16.7 and 17.4 C and states a minimum of 16.5.
func TestInstantsBoundTheStep(t *testing.T) {
	t.Parallel()
	s, err := metno.Parse(recorded(t, london), fetched)
	if err != nil {
		t.Fatal(err)
	}
	first := at(t, s, "2020-07-20T11:00:00Z")
	is(t, "mean wind", first.WindMean, 2.7)
	is(t, "temperature", first.Temp, 18.8)
	is(t, "dew point", first.DewPoint, 7.2)
	is(t, "humidity", first.Humidity, 47)
	is(t, "thunder", first.Thunder, 0)
	is(t, "stated minimum", at(t, s, "2020-07-29T00:00:00Z").Temp, 16.5)
}

// body is a synthetic answer of three hourly stamps in the service's shape.
func body(units, first, second, third string) []byte {
	return fmt.Appendf(nil, `{"type":"Feature","geometry":{"type":"Point","coordinates":[-1.5,53.8,60]},"properties":{"meta":{"updated_at":"2026-11-28T05:00:00Z","units":{%s}},"timeseries":[
	{"time":"2026-11-28T07:00:00Z","data":{%s}},{"time":"2026-11-28T08:00:00Z","data":{%s}},{"time":"2026-11-28T09:00:00Z","data":{%s}}]}}`, units, first, second, third)
}

const usual = `"wind_speed":"m/s","wind_speed_of_gust":"m/s","precipitation_amount":"mm","probability_of_precipitation":"%","air_temperature":"celsius"`

func TestOneWetHourIsTheHourAfterItsStamp(t *testing.T) {
	t.Parallel()
	s, err := metno.Parse(body(usual,
		`"instant":{"details":{"wind_speed_of_gust":9,"wind_speed":4}},"next_1_hours":{"summary":{"symbol_code":"cloudy"},"details":{"precipitation_amount":0}}`,
		`"instant":{"details":{"wind_speed_of_gust":12,"wind_speed":5}},"next_1_hours":{"summary":{"symbol_code":"rainandthunder"},"details":{"precipitation_amount":1.5,"probability_of_precipitation":80}}`,
		`"instant":{"details":{"wind_speed_of_gust":7,"wind_speed":3}}`), fetched)
	if err != nil {
		t.Fatal(err)
	}
	dry, wet := s.Members[0].Hours[0], s.Members[0].Hours[1]
	is(t, "dry hour", dry.Rain, 0)
	is(t, "wet hour", wet.Rain, 1.5)
	is(t, "its chance", wet.RainChance, 0.8)
	is(t, "its thunder", wet.Thunder, 1)
	is(t, "gust bounded from both sides", dry.WindGust, 12)
	is(t, "gust bounded from both sides", wet.WindGust, 12)
}

func TestWhatIsMissingStaysUnknown(t *testing.T) {
	t.Parallel()
	s, err := metno.Parse(body(usual,
		`"instant":{"details":{"wind_speed":null,"air_temperature":-300}},"next_1_hours":{"details":{}}`,
		`"instant":{"details":{"wind_speed":5}}`, `"next_1_hours":{}`), fetched)
	if err != nil {
		t.Fatal(err)
	}
	for _, h := range s.Members[0].Hours {
		if h.WindMean.Known || h.WindGust.Known || h.Rain.Known || h.RainChance.Known || h.Temp.Known || h.Thunder.Known {
			t.Errorf("something became known from nothing: %+v", h)
		}
	}
}

func TestOtherUnitsAreRefusedByName(t *testing.T) {
	t.Parallel()
	for _, units := range []string{strings.Replace(usual, "m/s", "km/h", 1), `"precipitation_amount":"mm"`} {
		_, err := metno.Parse(body(units, `"instant":{"details":{"wind_speed":3}}`, ``, ``), fetched)
		if err == nil || !strings.Contains(err.Error(), "units.wind_speed") {
			t.Errorf("%s: %v", units, err)
		}
	}
}

func TestWhatIsNoAnswerIsAnError(t *testing.T) {
	t.Parallel()
	whole := string(recorded(t, london))
	for name, text := range map[string]string{
		"empty": "", "null": "null", "a list": "[]", "a page": "<html>503</html>", "an object": "{}",
		"an Open-Meteo answer": `{"latitude":1,"hourly":{}}`,
		"time twice":           strings.Replace(whole, "2020-07-20T12:00:00Z", "2020-07-20T11:00:00Z", 1),
		"time backwards":       strings.Replace(whole, "2020-07-20T12:00:00Z", "2020-07-20T10:00:00Z", 1),
		"minutes":              strings.Replace(whole, "2020-07-20T12:00:00Z", "2020-07-20T12:10:00Z", 1),
		"no place":             strings.Replace(whole, `"coordinates"`, `"c"`, 1),
		"no run":               strings.Replace(whole, `"updated_at"`, `"u"`, 1),
	} {
		if s, err := metno.Parse([]byte(text), fetched); err == nil {
			t.Errorf("%s became %d steps", name, len(s.Members[0].Hours))
		}
	}
}

func TestASixHourStatementCutShortIsUnknown(t *testing.T) {
	t.Parallel()
	// The second stamp has no hourly statement and the third comes after one
	// hour: six hours of rain cannot be put into it.
	s, err := metno.Parse(body(usual,
		`"instant":{"details":{"wind_speed":3}},"next_1_hours":{"summary":{"symbol_code":"cloudy"},"details":{"precipitation_amount":0}}`,
		`"instant":{"details":{"wind_speed":3}},"next_6_hours":{"summary":{"symbol_code":"cloudy"},"details":{"precipitation_amount":0}}`,
		`"instant":{"details":{"wind_speed":3}}`), fetched)
	if err != nil {
		t.Fatal(err)
	}
	h := s.Members[0].Hours[1]
	if h.Rain.Known || h.Thunder.Known || h.Span != time.Hour {
		t.Errorf("%+v", h)
	}
}
