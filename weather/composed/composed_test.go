package composed_test

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // Europe/London wherever the test runs

	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/composed"
	"toeboard/weather/openmeteo"
)

var now = time.Date(2026, 11, 25, 6, 30, 0, 0, time.UTC)

func read(t testing.TB, lat, lon float64, at time.Time, days, members int, seed uint64) weather.Series {
	t.Helper()
	all, err := openmeteo.Parse(composed.Body(lat, lon, at, days, members, seed), at)
	if err != nil {
		t.Fatal(err)
	}
	return all[0]
}

func TestTheAnswerIsReadAsAnEnsembleAndOwnsUpToBeingComposed(t *testing.T) {
	t.Parallel()
	body := composed.Body(53.8, -1.55, now, 16, 20, 7)
	if !json.Valid(body) {
		t.Fatal("not JSON")
	}
	s := read(t, 53.8, -1.55, now, 16, 20, 7)
	if s.Provider != openmeteo.Composed || len(s.Members) != 21 || s.Members[20].Name != "member20" || len(s.Notes) != 0 {
		t.Fatalf("%s, %d members, notes %q", s.Provider, len(s.Members), s.Notes)
	}
	for _, m := range s.Members {
		if len(m.Hours) != 17*24 {
			t.Fatalf("%s: %d hours", m.Name, len(m.Hours))
		}
		for _, h := range m.Hours[1:] {
			if !(h.WindMean.Known && h.WindGust.Known && h.Rain.Known && h.Temp.Known && h.DewPoint.Known && h.Humidity.Known && h.Cloud.Known && h.Thunder.Known) {
				t.Fatalf("%s: something of %+v is not known", m.Name, h)
			}
			if h.WindGust.N < h.WindMean.N {
				t.Fatalf("%s: a gust of %v in a mean wind of %v", m.Name, h.WindGust.N, h.WindMean.N)
			}
		}
	}
	if first := s.Members[0].Hours[1].From; !first.Equal(time.Date(2026, 11, 24, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("begins %s, not the day before", first)
	}
}

func TestTheSameDayGivesTheSameAnswer(t *testing.T) {
	t.Parallel()
	a := composed.Body(53.8, -1.55, now, 10, 5, 7)
	if !bytes.Equal(a, composed.Body(53.8, -1.55, now.Add(9*time.Hour), 10, 5, 7)) {
		t.Error("it changed during the day")
	}
	if bytes.Equal(a, composed.Body(53.8, -1.55, now, 10, 5, 8)) || bytes.Equal(a, composed.Body(54.5, -0.6, now, 10, 5, 7)) {
		t.Error("another seed or place gives the same")
	}
}

// How far forecasts of a day are from what it became, and their members from
// each other, over 60 days: both shrink as the day comes nearer.
func TestForecastsComeTrueAsTheLeadShrinks(t *testing.T) {
	t.Parallel()
	var off, spread []float64
	for _, lead := range []int{1, 3, 6, 10} {
		var sumOff, sumSpread, n float64
		for d := range 40 {
			day := now.AddDate(0, 0, d*5)
			truth := read(t, 53.8, -1.55, day, 1, 0, 7).Members[0].Hours[24+12]
			s := read(t, 53.8, -1.55, day.AddDate(0, 0, -lead), lead+1, 8, 7)
			for _, m := range s.Members {
				h := m.Hours[24*(lead+1)+12]
				if !h.From.Equal(truth.From) {
					t.Fatalf("hours differ: %s and %s", h.From, truth.From)
				}
				sumOff += math.Abs(h.WindMean.N - truth.WindMean.N)
				sumSpread += math.Abs(h.WindMean.N - s.Members[0].Hours[24*(lead+1)+12].WindMean.N)
				n++
			}
		}
		off, spread = append(off, sumOff/n), append(spread, sumSpread/n)
	}
	t.Logf("mean error %.2f, mean spread %.2f m/s at 1, 3, 6, 10 days", off, spread)
	for i := 1; i < len(off); i++ {
		if !(off[i] > off[i-1] && spread[i] > spread[i-1]) {
			t.Errorf("errors %v, spreads %v do not grow with lead time", off, spread)
		}
	}
	if off[0] > 1.5 || off[3] < 1 {
		t.Errorf("errors %v: a day ahead is too bad or ten days ahead too good to be true", off)
	}
}

// Bounds wide enough for any British place, common knowledge, no source.
func TestTheSkyLooksBritish(t *testing.T) {
	t.Parallel()
	type month struct{ wind, temp, wet, hours float64 }
	year := map[time.Month]*month{}
	for seed := uint64(1); seed <= 3; seed++ {
		for d := range 122 {
			day := time.Date(2026, 1, 1, 6, 0, 0, 0, time.UTC).AddDate(0, 0, 3*d)
			m := year[day.Month()]
			if m == nil {
				m = &month{}
				year[day.Month()] = m
			}
			for _, h := range read(t, 53.8, -1.55, day, 1, 0, seed).Members[0].Hours[25:] {
				m.wind += h.WindMean.N
				m.temp += h.Temp.N
				m.hours++
				if h.Rain.N >= 0.1 {
					m.wet++
				}
			}
		}
	}
	for at, m := range year {
		wind, temp, wet := m.wind/m.hours, m.temp/m.hours, m.wet/m.hours
		t.Logf("%-9s %.1f m/s, %4.1f °C, wet in %.0f%% of hours", at, wind, temp, 100*wet)
		if wind < 2.5 || wind > 8.5 || temp < 1 || temp > 20 || wet < 0.08 || wet > 0.33 {
			t.Errorf("%s: %.1f m/s, %.1f °C, wet in %.0f%% of hours", at, wind, temp, 100*wet)
		}
	}
	january, july := year[time.January], year[time.July]
	if january.temp >= july.temp || january.wind <= july.wind {
		t.Error("January is not colder and windier than July")
	}
}

// A winter fortnight must give a planner something to do: half-days that let
// modules be carried and half-days that do not, for rain and for wind.
func TestAFortnightHasWorkableAndUnworkableHalfDays(t *testing.T) {
	t.Parallel()
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	house := weather.Place{Lat: 53.8, Lon: -1.55, Terrain: weather.TerrainIII, HeightM: 8}
	coast := weather.Place{Lat: 54.49, Lon: -0.61, Terrain: weather.Terrain0, HeightM: 8}
	carried := map[string]int{}
	for seed := uint64(1); seed <= 4; seed++ {
		good, wet, windy := 0, 0, 0
		for name, place := range map[string]weather.Place{"house": house, "coast": coast} {
			for d := range 28 {
				day := now.AddDate(0, 0, d)
				s := read(t, place.Lat, place.Lon, day, 1, 0, seed)
				for half := civil.Morning; half <= civil.Afternoon; half++ {
					from, to := civil.UsualHours.Window(civil.DateOf(day, london).In(half), london)
					w, _ := weather.Work{Place: place, Task: weather.PanelCarrying, From: from, To: to, Loc: london, Now: day}.WithinDaylight(weather.DefaultLimits())
					j := weather.Judge(s, weather.DefaultLimits(), w)
					switch {
					case j.Verdict == weather.Unknown:
						t.Fatalf("%s on %s: %s", name, day, j.Sentence())
					case j.Verdict != weather.Stop:
						good++
						carried[name]++
					case j.Reasons[0].Quantity == weather.WindGust || j.Reasons[0].Quantity == weather.WindMean:
						windy++
					default:
						wet++
					}
				}
			}
		}
		if good < 20 || wet < 5 || windy < 5 {
			t.Errorf("seed %d: of 112 half-days %d good, %d wet, %d windy", seed, good, wet, windy)
		}
	}
	t.Logf("modules could be carried on %d of 224 half-days at the house, %d at the coast", carried["house"], carried["coast"])
	if carried["coast"] >= carried["house"] {
		t.Errorf("the exposed coast is no harder than the suburb: %v", carried)
	}
}

// Rain comes to Cornwall before it comes to Norfolk: the two rain records fit
// best when Norwich's is moved earlier.
func TestFrontsMoveFromWestToEast(t *testing.T) {
	t.Parallel()
	record := func(lat, lon float64) []float64 {
		var rain []float64
		for d := range 60 {
			for _, h := range read(t, lat, lon, now.AddDate(0, 0, d), 1, 0, 3).Members[0].Hours[24:] {
				rain = append(rain, h.Rain.N)
			}
		}
		return rain
	}
	truro, norwich := record(50.26, -5.05), record(52.63, 1.3)
	best, bestLag := -1.0, 0
	for lag := -20; lag <= 20; lag++ {
		fit := 0.0
		for i := range truro {
			if k := i + lag; k >= 0 && k < len(norwich) {
				fit += truro[i] * norwich[k]
			}
		}
		if fit > best {
			best, bestLag = fit, lag
		}
	}
	// 6.35 degrees of longitude, some 430 km, at 12 m/s: 10 h.
	if bestLag < 8 || bestLag > 12 {
		t.Errorf("rain reaches Norwich %d h after Truro", bestLag)
	}
}

// The demonstration's path: the real client, over loopback.
func TestTheRealClientFetchesIt(t *testing.T) {
	t.Parallel()
	server := httptest.NewServer(composed.Handler(func() time.Time { return now }, 20, 7))
	t.Cleanup(server.Close)
	c := &openmeteo.Client{
		BaseURL: server.URL + composed.Path, HTTP: server.Client(), UserAgent: "toeboard-test office@firm.example", Now: func() time.Time { return now }, Days: 10,
	}
	sites := []weather.Point{{Lat: 53.79648, Lon: -1.54785}, {Lat: 54.48774, Lon: -0.61498}, {Lat: 53.79701, Lon: -1.54811}}
	answers, err := c.Fetch(context.Background(), sites)
	if err != nil || len(answers) != 3 {
		t.Fatalf("%d answers, %v", len(answers), err)
	}
	for i, a := range answers {
		if a.Series.Provider != openmeteo.Composed || len(a.Series.Members) != 21 || len(a.Series.Members[0].Hours) != 11*24 {
			t.Errorf("answer %d: %s, %d members", i, a.Series.Provider, len(a.Series.Members))
		}
	}
	one, err := c.Fetch(context.Background(), sites[:1])
	if err != nil || !bytes.Equal(one[0].Body, answers[0].Body) {
		t.Errorf("one place alone: %v", err)
	}
}

func TestRequestsItCannotAnswerAreRefusedInTheServicesForm(t *testing.T) {
	t.Parallel()
	server := httptest.NewServer(composed.Handler(func() time.Time { return now }, 3, 7))
	t.Cleanup(server.Close)
	const usual = "wind_speed_unit=ms&timezone=GMT"
	for query, says := range map[string]string{
		"latitude=53&longitude=-1&timezone=GMT&wind_speed_unit=kmh":             "wind_speed_unit=ms",
		"latitude=53&longitude=-1&wind_speed_unit=ms&timezone=auto":             "timezone=GMT",
		usual + "&latitude=522.52&longitude=-1":                                 "latitude",
		usual + "&latitude=53,54&longitude=-1":                                  "2 latitudes and 1 longitudes",
		usual + "&latitude=53&longitude=west":                                   "longitude",
		usual + "&latitude=NaN&longitude=1":                                     "latitude",
		usual + "&latitude=53&longitude=-1&forecast_days=99":                    "forecast_days",
		usual + "&latitude=53&longitude=-1&temperature_unit=fahrenheit":         "temperature_unit=celsius",
		usual + "&latitude=" + strings.Repeat("5,", 1500) + "5&longitude=1,2,3": "places",
	} {
		res, err := http.Get(server.URL + composed.Path + "?" + query)
		if err != nil {
			t.Fatal(err)
		}
		var said struct {
			Error  bool
			Reason string
		}
		err = json.NewDecoder(res.Body).Decode(&said)
		res.Body.Close()
		if res.StatusCode != 400 || err != nil || !said.Error || !strings.Contains(said.Reason, says) {
			t.Errorf("%.80s: %d %+v %v, want a reason that names %s", query, res.StatusCode, said, err, says)
		}
	}
}

func BenchmarkBody(b *testing.B) {
	for b.Loop() {
		composed.Body(53.8, -1.55, now, 16, 20, 7)
	}
}
