package main

import (
	"slices"
	"strings"
	"testing"

	"toeboard/api"
	"toeboard/weather"
)

// What the settings make of several services is what a firm begins with: every
// service can be asked whatever they say, worst of one is refused by name, and so
// is one that is named twice.
func TestHowServicesAreUsedBeginsWithTheSettings(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		blend    string
		forecast []string
		fails    string
	}{
		{"first", []string{"open-meteo", "met-norway"}, ""},
		{"worst", []string{"met-norway", "open-meteo"}, ""},
		{"worst", []string{"open-meteo"}, "TOEBOARD_FORECAST_BLEND"},
		{"first", []string{"open-meteo", "open-meteo"}, "TOEBOARD_FORECAST"},
		{"first", []string{"open-meteo", "site-hourly"}, "TOEBOARD_HOURLY_FORECAST"},
	} {
		s := &Settings{Contact: "office@firm.example", Forecast: c.forecast, ForecastBlend: c.blend}
		all, err := s.sources(now)
		if (err != nil) != (c.fails != "") || err != nil && !strings.Contains(err.Error(), c.fails) {
			t.Errorf("%+v: %v", c, err)
		}
		if err == nil && (len(all) != 2 || all[0].Key != "open-meteo" || all[1].Key != "met-norway") {
			t.Errorf("%+v: can ask %+v", c, all)
		}
		var d api.Deps
		s.skies(&d)
		if !slices.Equal(d.FirstServices.Order, c.forecast) || d.FirstServices.Together != weather.Together(c.blend) || len(d.Services) != 3 || d.Services[1].Provider != "MET Norway" || d.Services[2].Closed == "" {
			t.Errorf("%+v: begins with %+v of %+v", c, d.FirstServices, d.Services)
		}
	}
	var d api.Deps
	(&Settings{HourlyForecast: "https://service.example/{lat}/{lon}"}).skies(&d)
	if d.Services[2].Closed != "" {
		t.Errorf("a service that is named cannot be asked: %s", d.Services[2].Closed)
	}
	for _, service := range d.Services {
		if parsers()[service.Provider] == nil {
			t.Errorf("nobody reads answers of %s", service.Provider)
		}
	}
}
