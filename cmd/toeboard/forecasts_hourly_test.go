package main

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/geohours"
)

// hourlyAnswer is a synthetic answer in the form of an hourly site forecast:
// three stamps about a place.
func hourlyAnswer(lat, lon string) string {
	var steps []string
	for i := range 3 {
		steps = append(steps, fmt.Sprintf(`{"time":"2026-12-01T%02d:00Z","windSpeed10m":2,"windGustSpeed10m":4,"totalPrecipAmount":0,"screenTemperature":9}`, 8+i))
	}
	unit := func(name, label, symbol string) string {
		return fmt.Sprintf(`"%s":{"unit":{"label":"%s","symbol":{"value":"%s"}}}`, name, label, symbol)
	}
	return `{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Point","coordinates":[` + lon + `,` + lat + `,10]},"properties":{"modelRunDate":"2026-12-01T05:00Z","timeSeries":[` +
		strings.Join(steps, ",") + `]}}],"parameters":[{` + strings.Join([]string{unit("windSpeed10m", "metres per second", "m/s"), unit("windGustSpeed10m", "metres per second", "m/s"),
		unit("totalPrecipAmount", "millimetres", "mm"), unit("screenTemperature", "degrees Celsius", "Cel")}, ",") + `}]}`
}

// A service of hourly site forecasts is asked once a cell with its key; a place
// that it does not cover, or answers about another, costs its own answer, and a
// refusal ends the round until the service wants to be asked again.
func TestHourlySiteForecastsAreAskedByTheSettings(t *testing.T) {
	t.Parallel()
	clock := time.Date(2026, 12, 1, 7, 0, 0, 0, time.UTC)
	var asked []string
	busy := false
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		lat, lon := r.FormValue("latitude"), r.FormValue("longitude")
		asked = append(asked, lat)
		switch {
		case r.Header.Get("apikey") != "0123" || !strings.Contains(r.Header.Get("User-Agent"), "office@firm.example"):
			w.WriteHeader(http.StatusForbidden)
		case busy:
			w.Header().Set("Retry-After", "600")
			w.WriteHeader(http.StatusTooManyRequests)
		case lat == "57":
			w.WriteHeader(http.StatusNotFound)
		case lat == "58":
			_, _ = w.Write([]byte(hourlyAnswer("48", lon)))
		case lat == "59":
			_, _ = w.Write([]byte(`{"type":"FeatureCollection","features":[]}`))
		default:
			_, _ = w.Write([]byte(hourlyAnswer(lat, lon)))
		}
	}))
	t.Cleanup(server.Close)
	s := &Settings{Contact: "office@firm.example", Forecast: []string{"site-hourly"}, ForecastBlend: "first", HourlyForecast: server.URL + "/?latitude={lat}&longitude={lon}", HourlyForecastHeader: "apikey: 0123"}
	all, err := s.sources(func() time.Time { return clock })
	if err != nil {
		t.Fatal(err)
	}
	f := all[len(all)-1]
	points := []weather.Point{{Lat: 51.5012, Lon: -0.1}, {Lat: 57, Lon: -2}, {Lat: 51.4989, Lon: -0.1}, {Lat: 58, Lon: -2}, {Lat: 59, Lon: -2}, {Lat: 52, Lon: 0.5}}
	got, err := f.Fetch(context.Background(), points)
	if err == nil || fmt.Sprint(latsOf(got)) != "[51.5012 51.4989 52]" || fmt.Sprint(asked) != "[51.5 57 58 59 52]" {
		t.Errorf("answers about %v, asked for %v: %v", latsOf(got), asked, err)
	}
	for _, says := range []string{"57.00, -2.00", "a place near 58.00, -2.00", "FeatureCollection of 0"} {
		if err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("it does not say %q: %v", says, err)
		}
	}
	if got[0].Provider != geohours.Provider || parsers()[got[0].Provider] == nil || got[0].Series.ModelRun.IsZero() || !got[0].Series.FetchedAt.Equal(clock) {
		t.Errorf("kept as %q, run %s, fetched %s", got[0].Provider, got[0].Series.ModelRun, got[0].Series.FetchedAt)
	}
	asked, busy = nil, true
	if got, err := f.Fetch(context.Background(), points); err == nil || len(got) != 0 || len(asked) != 1 {
		t.Errorf("a busy service: asked %v, %v", asked, err)
	}
	clock, busy = clock.Add(9*time.Minute), false
	if _, err := f.Fetch(context.Background(), points); err == nil || len(asked) != 1 {
		t.Errorf("asked again before its time: %v", asked)
	}
}

// What is wrong with the settings is named, and the key is never shown.
func TestHourlySettingsAreRefusedByName(t *testing.T) {
	t.Parallel()
	for address, header := range map[string]string{"": "", "http://service.example/{lat}/{lon}": "", "https://service.example/{lat}": "", "https://service.example/{lat}/{lon}": "secret"} {
		s := &Settings{Contact: "office@firm.example", Forecast: []string{"site-hourly"}, ForecastBlend: "first", HourlyForecast: address, HourlyForecastHeader: header}
		if _, err := s.sources(now); err == nil || !strings.Contains(err.Error(), "TOEBOARD_HOURLY_FORECAST") || strings.Contains(err.Error(), "secret") {
			t.Errorf("%q with %q: %v", address, header, err)
		}
	}
	var out strings.Builder
	if err := (&Settings{HourlyForecastHeader: "apikey: 0123"}).print(&out); err != nil || strings.Contains(out.String(), "0123") || !strings.Contains(out.String(), "TOEBOARD_HOURLY_FORECAST_HEADER=(set, not shown)") {
		t.Errorf("the settings are printed as %s, %v", out.String(), err)
	}
}
