package main

import (
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"testing"
	"time"

	"toeboard/api"
	"toeboard/weather"
	"toeboard/weather/metno"
)

// norway is a client whose service gives London's recorded answer of 20 July
// 2020 (testdata/weather/metno), but for latitudes at which it gives a status.
// It notes the latitudes asked for.
func norway(t *testing.T, statuses map[string]int) (*metNorway, *[]string) {
	t.Helper()
	file, err := os.ReadFile("../../testdata/weather/metno/lat51.5lon-0.1altitude25_complete.json")
	if err != nil {
		t.Fatal(err)
	}
	var wrapped struct {
		Data json.RawMessage `json:"data"`
	}
	if err := json.Unmarshal(file, &wrapped); err != nil {
		t.Fatal(err)
	}
	var asked []string
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked = append(asked, r.FormValue("lat"))
		if status := statuses[r.FormValue("lat")]; status != 0 {
			w.WriteHeader(status)
			return
		}
		_, _ = w.Write(wrapped.Data)
	}))
	t.Cleanup(server.Close)
	now := func() time.Time { return time.Date(2020, 7, 20, 11, 44, 31, 0, time.UTC) }
	return &metNorway{client: &metno.Client{BaseURL: server.URL, HTTP: server.Client(), UserAgent: "toeboard-test office@firm.example", Now: now}}, &asked
}

func latsOf(answers []api.Fetched) (lats []float64) {
	for _, a := range answers {
		lats = append(lats, a.Point.Lat)
	}
	return lats
}

func TestOneBadSiteDoesNotStarveTheOthers(t *testing.T) {
	points := []weather.Point{{Lat: 51.4}, {Lat: 57}, {Lat: 51.5}, {Lat: 99}, {Lat: 51.6}}
	for name, status := range map[string]int{"not covered": 422, "not there": 404, "a wrong request": 400, "London's answer": 0} {
		m, asked := norway(t, map[string]int{"57": status})
		got, err := m.Fetch(context.Background(), points)
		if !slices.Equal(latsOf(got), []float64{51.4, 51.5, 51.6}) || err == nil {
			t.Errorf("%s: answers about %v, %v", name, latsOf(got), err)
		}
		if want := []string{"51.4", "57", "51.5", "51.6"}; !slices.Equal(*asked, want) { // 99 is no latitude
			t.Errorf("%s: asked for %v, want %v", name, *asked, want)
		}
	}
}

func TestARefusalEndsTheRound(t *testing.T) {
	points := []weather.Point{{Lat: 51.4}, {Lat: 51.5}, {Lat: 51.6}}
	m, asked := norway(t, map[string]int{"51.5": http.StatusTooManyRequests})
	got, err := m.Fetch(context.Background(), points)
	if _, refused := weather.RetryAt(err); !refused || !slices.Equal(latsOf(got), []float64{51.4}) || len(*asked) != 2 {
		t.Errorf("asked for %v, answers about %v, %v", *asked, latsOf(got), err)
	}
	gone, cancel := context.WithCancel(context.Background())
	cancel()
	m, asked = norway(t, nil)
	if got, err := m.Fetch(gone, points); len(got) != 0 || err == nil || len(*asked) != 0 {
		t.Errorf("after giving up: asked for %v, %d answers, %v", *asked, len(got), err)
	}
}

// Sites in one cell share one request, in one round and in the next until the
// answer expires, and each gets the answer as its own.
func TestSitesOfOneCellShareARequest(t *testing.T) {
	points := []weather.Point{{Lat: 51.5012, Lon: -0.1034}, {Lat: 51.4987, Lon: -0.0966}, {Lat: 51.53, Lon: -0.1}, {Lat: 51.5, Lon: -0.1}}
	m, asked := norway(t, nil)
	for range 2 {
		got, err := m.Fetch(context.Background(), points)
		if err != nil || len(got) != 4 || got[0].Point != points[0] || got[1].Point != points[1] || got[3].Point != points[3] || len(got[1].Body) == 0 {
			t.Errorf("%d answers about %v, %v", len(got), latsOf(got), err)
		}
	}
	if want := []string{"51.5", "51.53"}; !slices.Equal((*asked)[:2], want) {
		t.Errorf("asked for %v, want %v", *asked, want)
	}
	if len(*asked) > 4 {
		t.Errorf("asked %d times for two cells in two rounds", len(*asked))
	}
	m, asked = norway(t, map[string]int{"51.5": http.StatusNotFound})
	if got, err := m.Fetch(context.Background(), points); err == nil || !slices.Equal(latsOf(got), []float64{51.53}) || len(*asked) != 2 {
		t.Errorf("a cell that is not there: %v, %v, asked for %v", latsOf(got), err, *asked)
	}
}
