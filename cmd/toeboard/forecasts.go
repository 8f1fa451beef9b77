package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"strings"
	"sync"
	"time"

	"toeboard/api"
	"toeboard/weather"
	"toeboard/weather/fault"
	"toeboard/weather/geohours"
	"toeboard/weather/metno"
	"toeboard/weather/openmeteo"
)

// version names this program to services that want to know who asks.
const version = "0.1"

// parsers are who reads a kept answer, by the provider's name in the archive.
func parsers() map[string]api.ForecastParser {
	return map[string]api.ForecastParser{
		openmeteo.Provider: openmeteo.Parse,
		openmeteo.Composed: openmeteo.Parse,
		geohours.Provider:  geohours.Parse,
		metno.Provider: func(body []byte, fetchedAt time.Time) ([]weather.Series, error) {
			s, err := metno.Parse(body, fetchedAt)
			return []weather.Series{s}, err
		},
	}
}

// fetcher gives the client of the weather service that the settings name. A
// service that cannot be asked who is asking is not asked.
func (s *Settings) fetcher(now func() time.Time) (api.Fetcher, error) {
	if !strings.Contains(s.Contact, "@") {
		return nil, fault.Bad("TOEBOARD_CONTACT", s.Contact, "an e-mail address at which the weather service can reach you")
	}
	if s.ForecastBlend == "worst" && len(s.Forecast) < 2 {
		return nil, fault.Bad("TOEBOARD_FORECAST_BLEND", "worst", "two services in TOEBOARD_FORECAST, such as open-meteo,met-norway, of which the worse can count")
	}
	agent := "toeboard/" + version + " " + s.Contact
	client := &http.Client{Timeout: time.Minute}
	var order inTurn
	for _, name := range s.Forecast {
		switch name {
		case "site-hourly":
			h, err := s.hourly(client, agent, now)
			if err != nil {
				return nil, err
			}
			order = append(order, h)
		case "met-norway":
			order = append(order, &metNorway{client: &metno.Client{BaseURL: metno.CompleteURL, HTTP: client, UserAgent: agent, Now: now}})
		default:
			order = append(order, openMeteo{&openmeteo.Client{BaseURL: openmeteo.EnsembleURL, HTTP: client, UserAgent: agent, Now: now, Models: "icon_seamless", Days: 7}})
		}
	}
	if s.worst() {
		return allOf(order), nil
	}
	return order, nil
}

// allOf asks every service for every point.
type allOf []api.Fetcher

// Fetch gives the answers that there are, the first service's first, and every
// failure: what one service leaves out the others still answer.
func (services allOf) Fetch(ctx context.Context, points []weather.Point) (all []api.Fetched, err error) {
	var failed []error
	for _, f := range services {
		got, err := f.Fetch(ctx, points)
		all, failed = append(all, got...), append(failed, err)
	}
	return all, errors.Join(failed...)
}

// inTurn asks services in the firm's order, each for the points that those
// before it did not answer.
type inTurn []api.Fetcher

// Fetch gives the answers that there are; it is an error only when a point is
// left without any.
func (order inTurn) Fetch(ctx context.Context, points []weather.Point) (all []api.Fetched, err error) {
	var failed []error
	left := points
	for _, f := range order {
		if len(left) == 0 || ctx.Err() != nil {
			break
		}
		got, err := f.Fetch(ctx, left)
		failed = append(failed, err)
		all = append(all, got...)
		answered := map[weather.Point]bool{}
		for _, a := range got {
			answered[a.Point] = true
		}
		var still []weather.Point
		for _, p := range left {
			if !answered[p] {
				still = append(still, p)
			}
		}
		left = still
	}
	if len(left) == 0 {
		return all, nil
	}
	return all, errors.Join(append(failed, ctx.Err())...)
}

// openMeteo asks for all points in a few requests.
type openMeteo struct{ client *openmeteo.Client }

// Fetch gives the answers in the points' order.
func (o openMeteo) Fetch(ctx context.Context, points []weather.Point) ([]api.Fetched, error) {
	answers, err := o.client.Fetch(ctx, points)
	var all []api.Fetched
	for _, a := range answers {
		all = append(all, api.Fetched{Point: a.Point, Provider: a.Series.Provider, Body: a.Body, Series: a.Series})
	}
	return all, err
}

// metNorway asks for one cell at a time, however many sites lie in it, and
// remembers each answer until it expires.
type metNorway struct {
	client *metno.Client
	mu     sync.Mutex
	last   map[weather.Point]metno.Answer // by cell
}

// cellOf gives the middle of the cell of a hundredth of a degree, about a
// kilometre, in which a point lies: the models' grids are coarser, and a house is
// nobody's business.
func cellOf(p weather.Point) weather.Point {
	return weather.Point{Lat: math.Round(p.Lat*100) / 100, Lon: math.Round(p.Lon*100) / 100}
}

// Fetch gives the answers in the points' order. A point that the service cannot
// answer for costs only its own answer; when the service refuses to be asked, or
// the caller gives up, the points that are left are not asked for.
func (m *metNorway) Fetch(ctx context.Context, points []weather.Point) ([]api.Fetched, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.last == nil {
		m.last = map[weather.Point]metno.Answer{}
	}
	var all []api.Fetched
	var failed []error
	asked := map[weather.Point]error{}
	for _, p := range points {
		cell := cellOf(p)
		a, known := m.last[cell]
		err, now := asked[cell]
		if !now {
			var before *metno.Answer
			if known {
				before = &a
			}
			a, err = m.client.Fetch(ctx, cell, before)
			asked[cell] = err
		}
		if err == nil {
			m.last[cell] = a
			all = append(all, api.Fetched{Point: p, Provider: metno.Provider, Body: a.Body, Series: a.Series})
			continue
		}
		failed = append(failed, fmt.Errorf("ask %s for %.2f, %.2f: %w", metno.Provider, p.Lat, p.Lon, err))
		if _, refused := weather.RetryAt(err); refused || ctx.Err() != nil {
			break
		}
	}
	return all, errors.Join(failed...)
}
