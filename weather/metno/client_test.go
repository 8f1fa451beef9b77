package metno_test

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/fault"
	"toeboard/weather/metno"
)

var site = weather.Point{Lat: 51.500123456, Lon: -0.100098765}

type service struct {
	asked  atomic.Int64
	last   *http.Request
	answer func(w http.ResponseWriter, r *http.Request)
}

func (s *service) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.asked.Add(1)
	s.last = r
	s.answer(w, r)
}

// serve starts a service on loopback and a client whose clock stands at the
// recorded answer's.
func serve(t *testing.T, answer func(http.ResponseWriter, *http.Request)) (*service, *metno.Client, *time.Time) {
	t.Helper()
	s := &service{answer: answer}
	server := httptest.NewServer(s)
	t.Cleanup(server.Close)
	now := fetched
	return s, &metno.Client{BaseURL: server.URL + "/weatherapi/locationforecast/2.0/complete", HTTP: server.Client(), UserAgent: "toeboard-test/1 office@firm.example", Now: func() time.Time { return now }}, &now
}

// asRecorded answers with the London body and its own headers.
func asRecorded(t *testing.T) func(http.ResponseWriter, *http.Request) {
	whole := recorded(t, london)
	return func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Expires", "Mon, 20 Jul 2020 12:16:23 GMT")
		w.Header().Set("Last-Modified", "Mon, 20 Jul 2020 11:44:31 GMT")
		_, _ = w.Write(whole)
	}
}

func TestManners(t *testing.T) {
	t.Parallel()
	s, c, now := serve(t, asRecorded(t))
	first, err := c.Fetch(context.Background(), site, nil)
	if err != nil {
		t.Fatal(err)
	}
	if lat, lon := s.last.FormValue("lat"), s.last.FormValue("lon"); lat != "51.5001" || lon != "-0.1001" {
		t.Errorf("asked for %s, %s: at most four decimals", lat, lon)
	}
	if s.last.UserAgent() != c.UserAgent || s.last.Header.Get("If-Modified-Since") != "" {
		t.Errorf("headers %v", s.last.Header)
	}
	if !first.Expires.Equal(time.Date(2020, 7, 20, 12, 16, 23, 0, time.UTC)) || first.Unchanged || first.Deprecated {
		t.Errorf("answer %+v", first)
	}

	// Before it expires nothing is asked.
	*now = first.Expires.Add(-time.Second)
	kept, err := c.Fetch(context.Background(), site, &first)
	if err != nil || !kept.Unchanged || s.asked.Load() != 1 || !kept.Series.FetchedAt.Equal(fetched) {
		t.Errorf("asked %d times before it expired, %v", s.asked.Load(), err)
	}

	// After it, the service's own words come back to it, and 304 keeps the data.
	*now = first.Expires.Add(time.Second)
	s.answer = func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("If-Modified-Since") != "Mon, 20 Jul 2020 11:44:31 GMT" {
			w.WriteHeader(400)
			return
		}
		w.Header().Set("Expires", now.Add(30*time.Minute).Format(http.TimeFormat))
		w.WriteHeader(http.StatusNotModified)
	}
	same, err := c.Fetch(context.Background(), site, &first)
	if err != nil || !same.Unchanged || string(same.Body) != string(first.Body) {
		t.Fatalf("304: %v", err)
	}
	if !same.Series.FetchedAt.Equal(*now) || !same.Series.ModelRun.Equal(first.Series.ModelRun) || same.LastModified != first.LastModified {
		t.Errorf("304: fetched %s, run %s, last modified %q", same.Series.FetchedAt, same.Series.ModelRun, same.LastModified)
	}
	if !same.Expires.After(*now) {
		t.Errorf("304: expires %s", same.Expires)
	}

	// An answer about somewhere else is not given for this place.
	s.answer = asRecorded(t)
	*now = fetched
	other := first
	other.Point = weather.Point{Lat: 51.6, Lon: -0.1}
	if got, err := c.Fetch(context.Background(), site, &other); err != nil || got.Unchanged {
		t.Errorf("the answer for 51.6 was kept for 51.5: %v", err)
	}
}

func TestDeprecationIsReported(t *testing.T) {
	t.Parallel()
	whole := recorded(t, london)
	_, c, _ := serve(t, func(w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(http.StatusNonAuthoritativeInfo)
		_, _ = w.Write(whole)
	})
	a, err := c.Fetch(context.Background(), site, nil)
	if err != nil || !a.Deprecated || len(a.Series.Members[0].Hours) != 81 {
		t.Errorf("203: deprecated %v, %v", a.Deprecated, err)
	}
}

func TestRefusalsStopTheClient(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		status int
		after  string
		body   string
		says   string
		least  time.Duration
	}{
		"too many":      {429, "", "<html>Too many requests</html>", "ask less often", time.Minute},
		"when to retry": {429, "900", "", "ask less often", 15 * time.Minute},
		"forbidden":     {403, "", "<html>Forbidden</html>", "contact", time.Minute},
		"a page":        {502, "", "<html><body>Bad gateway</body></html>", "a page instead of data", time.Minute},
		"a page as OK":  {200, "", "<html><body>Hello</body></html>", "cannot be used", time.Minute},
		"304 unasked":   {304, "", "", "304", time.Minute},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s, client, now := serve(t, func(w http.ResponseWriter, _ *http.Request) {
				w.Header().Set("Content-Type", "text/html")
				if c.after != "" {
					w.Header().Set("Retry-After", c.after)
				}
				w.WriteHeader(c.status)
				if c.body != "" {
					fmt.Fprint(w, c.body)
				}
			})
			_, err := client.Fetch(context.Background(), site, nil)
			at, ok := weather.RetryAt(err)
			if !ok || fault.KindOf(err) != fault.Unavailable || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "51.5001") {
				t.Fatalf("%v", err)
			}
			if wait := at.Sub(fetched); wait < c.least || wait > c.least+c.least/4+time.Second {
				t.Errorf("waits %s, want %s and at most a quarter more", wait, c.least)
			}
			*now = at.Add(-time.Second)
			_, _ = client.Fetch(context.Background(), site, nil)
			if s.asked.Load() != 1 {
				t.Errorf("asked again before its time")
			}
		})
	}
}

func TestAnAnswerFromAnotherDayOrPlaceIsRefused(t *testing.T) {
	t.Parallel()
	_, c, now := serve(t, asRecorded(t))
	*now = fetched.Add(88 * time.Hour)
	if _, err := c.Fetch(context.Background(), site, nil); fault.KindOf(err) != fault.Unavailable {
		t.Errorf("88 hours old: %v", err)
	}
	_, c, _ = serve(t, asRecorded(t))
	if _, err := c.Fetch(context.Background(), weather.Point{Lat: 57, Lon: -2}, nil); fault.KindOf(err) != fault.Unavailable {
		t.Errorf("London's answer for Aberdeen: %v", err)
	}
}

func TestWithoutAContactNothingIsAsked(t *testing.T) {
	t.Parallel()
	s, c, _ := serve(t, asRecorded(t))
	for _, nobody := range []string{"", "toeboard", "Mozilla/5.0"} {
		c.UserAgent = nobody
		if _, err := c.Fetch(context.Background(), site, nil); fault.KindOf(err) != fault.Invalid || s.asked.Load() != 0 {
			t.Errorf("%q: %v", nobody, err)
		}
	}
	c.UserAgent = "toeboard/1 https://firm.example"
	if _, err := c.Fetch(context.Background(), site, nil); err != nil {
		t.Errorf("a site to reach somebody: %v", err)
	}
}
