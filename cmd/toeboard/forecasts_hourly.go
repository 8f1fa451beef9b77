package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"toeboard/api"
	"toeboard/weather"
	"toeboard/weather/fault"
	"toeboard/weather/geohours"
	"toeboard/weather/manners"
)

// siteHourly asks a service of hourly site forecasts in GeoJSON, one cell at a
// time, however many sites lie in it. Such services want a key in a header.
type siteHourly struct {
	address string // with {lat} and {lon}
	header  [2]string
	http    *http.Client
	agent   string
	now     func() time.Time

	mu       sync.Mutex
	patience manners.Patience
}

// hourly makes the client of the settings, or says which setting is wrong.
func (s *Settings) hourly(client *http.Client, agent string, now func() time.Time) (*siteHourly, error) {
	u, err := url.Parse(s.HourlyForecast)
	if err != nil || u.Host == "" || u.Scheme != "https" && u.Hostname() != "127.0.0.1" || !strings.Contains(s.HourlyForecast, "{lat}") || !strings.Contains(s.HourlyForecast, "{lon}") {
		return nil, fault.Bad("TOEBOARD_HOURLY_FORECAST", s.HourlyForecast, "an https address with {lat} and {lon} in it, such as https://service.example/hourly?latitude={lat}&longitude={lon}")
	}
	h := &siteHourly{address: s.HourlyForecast, http: &http.Client{Timeout: client.Timeout, CheckRedirect: sameHost}, // a key goes to no other host
		agent: agent, now: now, patience: manners.Patience{Provider: geohours.Provider}}
	if s.HourlyForecastHeader != "" {
		name, value, ok := strings.Cut(s.HourlyForecastHeader, ":")
		if !ok || strings.TrimSpace(name) == "" || strings.TrimSpace(value) == "" {
			return nil, fault.Bad("TOEBOARD_HOURLY_FORECAST_HEADER", "(not shown)", "name: value, such as apikey: 0123")
		}
		h.header = [2]string{strings.TrimSpace(name), strings.TrimSpace(value)}
	}
	return h, nil
}

// Fetch gives the answers in the points' order. What is wrong with one point
// costs its own answer; a refusal to be asked ends the round.
func (h *siteHourly) Fetch(ctx context.Context, points []weather.Point) ([]api.Fetched, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	var all []api.Fetched
	var failed []error
	asked := map[weather.Point]api.Fetched{}
	for _, p := range points {
		cell := cellOf(p)
		got, done := asked[cell]
		if !done {
			var err error
			if got, err = h.ask(ctx, cell); err != nil {
				failed = append(failed, err)
			}
			if _, refused := weather.RetryAt(err); refused || ctx.Err() != nil {
				break
			}
			asked[cell] = got
		}
		if len(got.Body) > 0 {
			got.Point = p
			all = append(all, got)
		}
	}
	return all, errors.Join(failed...)
}

// ask asks for one cell.
func (h *siteHourly) ask(ctx context.Context, cell weather.Point) (api.Fetched, error) {
	if err := h.patience.May(h.now()); err != nil {
		return api.Fetched{}, err
	}
	degrees := func(n float64) string { return strconv.FormatFloat(n, 'f', -1, 64) }
	address := strings.NewReplacer("{lat}", degrees(cell.Lat), "{lon}", degrees(cell.Lon)).Replace(h.address)
	reply, err := manners.Request{HTTP: h.http, Address: address, UserAgent: h.agent, Accept: "application/json, application/geo+json", Key: h.header, MaxBody: 8 << 20}.Get(ctx)
	var broken *manners.Broken
	switch {
	case errors.As(err, &broken):
		return api.Fetched{}, h.patience.Failed(h.now(), 0, broken.Why)
	case err != nil:
		return api.Fetched{}, fmt.Errorf("ask for an hourly site forecast: %w", err)
	case reply.Status == http.StatusBadRequest || reply.Status == http.StatusNotFound || reply.Status == http.StatusUnprocessableEntity:
		return api.Fetched{}, fault.Bad("point", fmt.Sprintf("%.2f, %.2f", cell.Lat, cell.Lon), fmt.Sprintf("a place that the service covers; it answered %d", reply.Status))
	case reply.Status != http.StatusOK:
		return api.Fetched{}, h.patience.Failed(h.now(), manners.RetryAfter(reply.Header.Get("Retry-After"), h.now()), fmt.Sprintf("the service answered %d", reply.Status))
	}
	h.patience.Succeeded()
	series, err := geohours.Parse(reply.Body, h.now())
	if err == nil && len(series) != 1 {
		err = fault.Bad("features", fmt.Sprint(len(series)), "one feature for one place")
	}
	if err == nil && !series[0].About(cell) {
		err = fault.Bad("geometry.coordinates", fmt.Sprintf("%.2f, %.2f", series[0].Lat, series[0].Lon), fmt.Sprintf("a place near %.2f, %.2f", cell.Lat, cell.Lon))
	}
	if err != nil {
		return api.Fetched{}, fmt.Errorf("read an hourly site forecast: %w", err)
	}
	return api.Fetched{Provider: geohours.Provider, Body: reply.Body, Series: series[0]}, nil
}
