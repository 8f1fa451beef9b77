package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"slices"
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
		providerOneRun:     readOneRun,
		geohours.Provider:  geohours.Parse,
		metno.Provider: func(body []byte, fetchedAt time.Time) ([]weather.Series, error) {
			s, err := metno.Parse(body, fetchedAt)
			return []weather.Series{s}, err
		},
	}
}

// The weather services by the names that settings and the contract use.
const (
	keyOpenMeteo  = "open-meteo"
	keyMetNorway  = "met-norway"
	keySiteHourly = "site-hourly"
)

// weatherServices are those that the program can ask, with what a firm should
// know of each.
func (s *Settings) weatherServices() []api.WeatherService {
	hourly := api.WeatherService{Key: keySiteHourly, Provider: geohours.Provider, Note: "Hourly forecasts for a site, from a service of your own choice. One forecast run, no members."}
	if s.HourlyForecast == "" {
		hourly.Closed = "TOEBOARD_HOURLY_FORECAST names no such service."
	}
	return []api.WeatherService{
		{Key: keyOpenMeteo, Provider: openmeteo.Provider, Note: "An ensemble of about 40 members, a week ahead. Its free service is for non-commercial use. CC BY 4.0."},
		{Key: keyMetNorway, Provider: metno.Provider, Note: "One forecast run, hourly for two to three days, then every six hours. Gusts only for some regions; elsewhere they are estimated. CC BY 4.0."},
		hourly,
	}
}

// startServices is how a firm that set nothing uses them.
func (s *Settings) startServices() weather.Services {
	return weather.Services{Version: 1, Order: s.Forecast, Together: weather.Together(s.ForecastBlend)}
}

// sources gives the clients of the weather services. A service that cannot be
// told who is asking is not asked.
func (s *Settings) sources(now func() time.Time) (api.Sources, error) {
	if !strings.Contains(s.Contact, "@") {
		return nil, fault.Bad("TOEBOARD_CONTACT", s.Contact, "an e-mail address at which the weather service can reach you")
	}
	start := s.startServices()
	if start.Together == weather.WorstCounts && len(start.Order) < 2 {
		return nil, fault.Bad("TOEBOARD_FORECAST_BLEND", "worst", "two services in TOEBOARD_FORECAST, such as open-meteo,met-norway, of which the worse can count")
	}
	if err := start.Check(); err != nil {
		return nil, fmt.Errorf("TOEBOARD_FORECAST: %w", err)
	}
	agent := "toeboard/" + version + " " + s.Contact
	client := &http.Client{Timeout: time.Minute}
	all := api.Sources{
		{Key: keyOpenMeteo, Fetcher: openMeteo{&openmeteo.Client{BaseURL: openmeteo.EnsembleURL, HTTP: client, UserAgent: agent, Now: now, Models: "icon_seamless", Days: 7}}},
		{Key: keyMetNorway, Fetcher: &metNorway{client: &metno.Client{BaseURL: metno.CompleteURL, HTTP: client, UserAgent: agent, Now: now}}},
	}
	if s.HourlyForecast != "" || slices.Contains(start.Order, keySiteHourly) {
		h, err := s.hourly(client, agent, now)
		if err != nil {
			return nil, err
		}
		all = append(all, api.Source{Key: keySiteHourly, Fetcher: h})
	}
	return all, nil
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
