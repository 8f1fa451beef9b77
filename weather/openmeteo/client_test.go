package openmeteo_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/fault"
	"toeboard/weather/openmeteo"
)

var clock = time.Date(2026, 11, 28, 7, 10, 0, 0, time.UTC)

// service answers like the real one for the hours around the clock, whatever is
// asked, and counts.
type service struct {
	asked  atomic.Int64
	last   atomic.Pointer[http.Request]
	answer func(w http.ResponseWriter, r *http.Request)
}

func (s *service) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.asked.Add(1)
	s.last.Store(r)
	s.answer(w, r)
}

func around(at time.Time, lat, lon string) string {
	var times []string
	for i := -24; i < 72; i++ {
		times = append(times, strconv.Quote(at.Truncate(time.Hour).Add(time.Duration(i)*time.Hour).Format("2006-01-02T15:04")))
	}
	zeros := strings.TrimSuffix(strings.Repeat("3,", len(times)), ",")
	return fmt.Sprintf(`{"latitude":%s,"longitude":%s,"utc_offset_seconds":0,"hourly_units":{"time":"iso8601","wind_gusts_10m":"m/s"},"hourly":{"time":[%s],"wind_gusts_10m":[%s]}}`,
		lat, lon, strings.Join(times, ","), zeros)
}

func good(w http.ResponseWriter, r *http.Request) {
	lats, lons := strings.Split(r.FormValue("latitude"), ","), strings.Split(r.FormValue("longitude"), ",")
	var parts []string
	for i := range lats {
		parts = append(parts, around(clock, lats[i], lons[i]))
	}
	if len(parts) == 1 {
		fmt.Fprint(w, parts[0])
		return
	}
	fmt.Fprint(w, "["+strings.Join(parts, ",")+"]")
}

func serve(t *testing.T, answer func(http.ResponseWriter, *http.Request)) (*service, *openmeteo.Client, *time.Time) {
	t.Helper()
	s := &service{answer: answer}
	server := httptest.NewServer(s)
	t.Cleanup(server.Close)
	now := clock
	return s, &openmeteo.Client{
		BaseURL: server.URL + "/v1/forecast", HTTP: server.Client(), UserAgent: "toeboard-test office@firm.example",
		Now: func() time.Time { return now },
	}, &now
}

var site = weather.Point{Lat: 53.79648, Lon: -1.54785}

func TestPlacesAreRoundedAndAskedOnceTogether(t *testing.T) {
	t.Parallel()
	s, c, _ := serve(t, good)
	neighbour := weather.Point{Lat: 53.80001, Lon: -1.55}
	coast := weather.Point{Lat: 54.48774, Lon: -0.61498}
	answers, err := c.Fetch(context.Background(), []weather.Point{site, neighbour, coast})
	if err != nil || len(answers) != 3 {
		t.Fatalf("%d answers, %v", len(answers), err)
	}
	r := s.last.Load()
	for name, want := range map[string]string{
		"latitude": "53.8,54.49", "longitude": "-1.55,-0.61", "timezone": "GMT", "wind_speed_unit": "ms", "precipitation_unit": "mm", "temperature_unit": "celsius",
	} {
		if got := r.FormValue(name); got != want {
			t.Errorf("%s=%s, want %s", name, got, want)
		}
	}
	if s.asked.Load() != 1 || r.Header.Get("User-Agent") != c.UserAgent {
		t.Errorf("%d requests as %q", s.asked.Load(), r.Header.Get("User-Agent"))
	}
	if answers[1].Point != neighbour || answers[2].Point != coast || answers[2].Series.Lat != 54.49 {
		t.Errorf("answers are not in the points' order: %+v", answers[2].Series)
	}
	// Each stored body is one place's and can be read again on its own.
	again, err := openmeteo.Parse(answers[2].Body, clock)
	if err != nil || len(again) != 1 || again[0].Lat != 54.49 {
		t.Errorf("the stored body gives %d series, %v", len(again), err)
	}
}

func TestManyPlacesGoInSeveralRequests(t *testing.T) {
	t.Parallel()
	s, c, _ := serve(t, good)
	var points []weather.Point
	for i := range 120 {
		points = append(points, weather.Point{Lat: 50 + float64(i)*0.05, Lon: -2})
	}
	answers, err := c.Fetch(context.Background(), points)
	if err != nil || len(answers) != 120 || s.asked.Load() != 3 {
		t.Errorf("%d answers in %d requests, %v", len(answers), s.asked.Load(), err)
	}
}

// The second request fails. The last point shares the first one's grid cell, so
// an answer for it is there; handed out, it would stand in the place of a point
// that has none.
func TestAFailedRequestCostsItsOwnPoints(t *testing.T) {
	t.Parallel()
	first := true
	_, c, _ := serve(t, func(w http.ResponseWriter, r *http.Request) {
		if !first {
			w.WriteHeader(503)
			return
		}
		first = false
		good(w, r)
	})
	var points []weather.Point
	for i := range 60 {
		points = append(points, weather.Point{Lat: 50 + float64(i)*0.05, Lon: -2})
	}
	points = append(points, points[0])
	answers, err := c.Fetch(context.Background(), points)
	if len(answers) != 51 || fault.KindOf(err) != fault.Unavailable {
		t.Fatalf("%d answers, %v; want those of the first request, and that of the point asked for twice", len(answers), err)
	}
	for i, a := range answers {
		want := i
		if i == 50 {
			want = 60
		}
		if a.Point != points[want] || math.Abs(a.Series.Lat-a.Point.Lat) > 0.01 {
			t.Errorf("answer %d is about %+v and %v, want %+v", i, a.Point, a.Series.Lat, points[want])
		}
	}
}

// One place of fifty that the service refuses costs itself and no other: the
// batch is asked again in halves, in few requests, and the service is not left
// alone because of it. So does a place whose part of the answer cannot be read.
func TestOneBadPlaceCostsOnlyItself(t *testing.T) {
	t.Parallel()
	var points []weather.Point
	for i := range 50 {
		points = append(points, weather.Point{Lat: 50 + float64(i)*0.05, Lon: -2})
	}
	const bad = 37
	lat := strconv.FormatFloat(points[bad].Lat, 'f', -1, 64)
	for name, answer := range map[string]func(http.ResponseWriter, *http.Request){
		"refused as a whole": func(w http.ResponseWriter, r *http.Request) {
			if slices.Contains(strings.Split(r.FormValue("latitude"), ","), lat) {
				w.WriteHeader(400)
				fmt.Fprint(w, `{"error":true,"reason":"No data is available for this location"}`)
				return
			}
			good(w, r)
		},
		"a part that cannot be read": func(w http.ResponseWriter, r *http.Request) {
			var parts []string
			for _, l := range strings.Split(r.FormValue("latitude"), ",") {
				part := around(clock, l, "-2")
				if l == lat {
					part = `{"error":true,"reason":"No data is available for this location"}`
				}
				parts = append(parts, part)
			}
			fmt.Fprint(w, "["+strings.Join(parts, ",")+"]")
		},
	} {
		s, c, _ := serve(t, answer)
		answers, err := c.Fetch(context.Background(), points)
		if err == nil || !strings.Contains(err.Error(), "No data is available") {
			t.Errorf("%s: %v", name, err)
		}
		if len(answers) != 49 {
			t.Errorf("%s: %d answers, want all but one", name, len(answers))
		}
		for _, a := range answers {
			if a.Point == points[bad] || math.Abs(a.Series.Lat-a.Point.Lat) > 0.01 {
				t.Errorf("%s: an answer about %v for %v", name, a.Series.Lat, a.Point.Lat)
			}
		}
		if n := s.asked.Load(); n > 14 { // 50 in halves: six times two and the first
			t.Errorf("%s: %d requests", name, n)
		}
		if answers, err := c.Fetch(context.Background(), points[:10]); err != nil || len(answers) != 10 {
			t.Errorf("%s: the good places are not asked for any more: %d, %v", name, len(answers), err)
		}
	}
	// Where every place is refused the halving ends, and the service is left alone.
	s, c, _ := serve(t, func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(400) })
	if answers, err := c.Fetch(context.Background(), points); err == nil || len(answers) != 0 || s.asked.Load() > 40 {
		t.Errorf("all refused: %d answers, %v, %d requests", len(answers), err, s.asked.Load())
	}
}

// The service's documented quotas and RFC 9110's Retry-After: until the time is
// over nothing is asked.
func TestRefusalsAreKeptToUntilTheirTime(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		status     int
		retryAfter string
		body       string
		least      time.Duration
	}{
		"minutely":              {429, "", `{"error":true,"reason":"Minutely API request limit exceeded. Please try again in one minute."}`, time.Minute},
		"hourly":                {429, "", `{"error":true,"reason":"Hourly API request limit exceeded. Please try again in the next hour."}`, 50 * time.Minute},
		"daily":                 {429, "", `{"error":true,"reason":"Daily API request limit exceeded. Please try again tomorrow."}`, 16*time.Hour + 50*time.Minute},
		"retry after seconds":   {503, "120", `busy`, 2 * time.Minute},
		"retry after a date":    {503, clock.Add(5 * time.Minute).Format(http.TimeFormat), ``, 5 * time.Minute},
		"no time given":         {500, "", `<html>`, time.Minute},
		"an error said with OK": {200, "", `{"error":true,"reason":"Unknown"}`, time.Minute},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s, client, now := serve(t, func(w http.ResponseWriter, _ *http.Request) {
				if c.retryAfter != "" {
					w.Header().Set("Retry-After", c.retryAfter)
				}
				w.WriteHeader(c.status)
				fmt.Fprint(w, c.body)
			})
			_, err := client.Fetch(context.Background(), []weather.Point{site})
			at, ok := weather.RetryAt(err)
			if fault.KindOf(err) != fault.Unavailable || !ok {
				t.Fatalf("refusal %v, retry %v", err, ok)
			}
			if wait := at.Sub(clock); wait < c.least || wait > c.least+c.least/4+time.Second {
				t.Errorf("comes back after %s, want %s and at most a quarter more", wait, c.least)
			}
			*now = at.Add(-time.Second)
			if _, err := client.Fetch(context.Background(), []weather.Point{site}); err == nil || s.asked.Load() != 1 {
				t.Errorf("asked %d times before its time, %v", s.asked.Load(), err)
			}
			s.answer = func(w http.ResponseWriter, r *http.Request) {
				fmt.Fprint(w, around(at, r.FormValue("latitude"), r.FormValue("longitude")))
			}
			*now = at
			if _, err := client.Fetch(context.Background(), []weather.Point{site}); err != nil {
				t.Errorf("after the time: %v", err)
			}
		})
	}
}

func TestFailuresInARowWaitLongerAndNoStormFollows(t *testing.T) {
	t.Parallel()
	s, c, now := serve(t, func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(502) })
	var waits []time.Duration
	for range 12 {
		_, err := c.Fetch(context.Background(), []weather.Point{site})
		at, ok := weather.RetryAt(err)
		if !ok {
			t.Fatal(err)
		}
		for range 100 { // impatient callers
			_, _ = c.Fetch(context.Background(), []weather.Point{site})
		}
		waits = append(waits, at.Sub(*now))
		*now = at
	}
	if s.asked.Load() != 12 {
		t.Errorf("%d requests for 12 times that one was due", s.asked.Load())
	}
	if !(waits[1] > waits[0] && waits[3] > waits[1]) || waits[11] > 7*time.Hour+30*time.Minute {
		t.Errorf("waits %v", waits)
	}
}

func TestAnswersThatAreNotWhatWasAskedAreRefused(t *testing.T) {
	t.Parallel()
	for name, answer := range map[string]func(http.ResponseWriter, *http.Request){
		"another place":  func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, around(clock, "40.7", "-74.0")) },
		"too few places": func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "["+around(clock, "53.8", "-1.55")+"]") },
		"88 hours old": func(w http.ResponseWriter, r *http.Request) {
			fmt.Fprint(w, around(clock.Add(-88*time.Hour), r.FormValue("latitude"), r.FormValue("longitude")))
		},
		"cut short": func(w http.ResponseWriter, r *http.Request) {
			fmt.Fprint(w, around(clock, r.FormValue("latitude"), r.FormValue("longitude"))[:700])
		},
		"a page": func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "<html>please log in</html>") },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, c, _ := serve(t, answer)
			points := []weather.Point{site}
			if name == "too few places" {
				points = append(points, weather.Point{Lat: 50, Lon: -5})
			}
			answers, err := c.Fetch(context.Background(), points)
			if len(answers) != 0 || fault.KindOf(err) != fault.Unavailable {
				t.Errorf("%d answers, %v", len(answers), err)
			}
		})
	}
}

func TestAnswersAreBoundedInSizeAndTime(t *testing.T) {
	t.Parallel()
	_, c, _ := serve(t, good)
	c.MaxBody = 200
	if _, err := c.Fetch(context.Background(), []weather.Point{site}); err == nil || !strings.Contains(err.Error(), "larger than 200 bytes") {
		t.Errorf("a large answer: %v", err)
	}
	release := make(chan struct{})
	t.Cleanup(func() { close(release) })
	_, slow, _ := serve(t, func(_ http.ResponseWriter, r *http.Request) {
		select {
		case <-release:
		case <-r.Context().Done():
		}
	})
	slow.Timeout = 50 * time.Millisecond
	_, err := slow.Fetch(context.Background(), []weather.Point{site})
	if _, ok := weather.RetryAt(err); !ok {
		t.Errorf("a silent service: %v", err)
	}
	if strings.Contains(err.Error(), "latitude") {
		t.Errorf("the error tells where the customer lives: %v", err)
	}
}

func TestWhoeverGivesUpDoesNotSilenceTheService(t *testing.T) {
	t.Parallel()
	s, c, _ := serve(t, good)
	gone, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := c.Fetch(gone, []weather.Point{site}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	if _, err := c.Fetch(context.Background(), []weather.Point{site}); err != nil || s.asked.Load() != 1 {
		t.Errorf("after it: %v", err)
	}
}

func TestABadRequestNamesWhatTheServiceSaid(t *testing.T) {
	t.Parallel()
	_, c, _ := serve(t, func(w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(400)
		fmt.Fprint(w, `{"error":true,"reason":"Cannot initialize model from invalid String value icon_sea"}`)
	})
	_, err := c.Fetch(context.Background(), []weather.Point{site})
	if err == nil || !strings.Contains(err.Error(), "icon_sea") {
		t.Errorf("%v", err)
	}
}

func TestAClientWithoutAContactIsRefused(t *testing.T) {
	t.Parallel()
	s, c, _ := serve(t, good)
	c.UserAgent = " "
	if _, err := c.Fetch(context.Background(), []weather.Point{site}); fault.KindOf(err) != fault.Invalid || s.asked.Load() != 0 {
		t.Errorf("%v", err)
	}
	c.UserAgent = "toeboard-test office@firm.example"
	if _, err := c.Fetch(context.Background(), []weather.Point{{Lat: 91}}); fault.KindOf(err) != fault.Invalid || s.asked.Load() != 0 {
		t.Errorf("%v", err)
	}
}
