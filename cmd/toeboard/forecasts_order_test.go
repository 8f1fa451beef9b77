package main

import (
	"context"
	"errors"
	"strings"
	"testing"

	"toeboard/api"
	"toeboard/weather"
)

// some answers for the points it knows and fails for the rest.
type some struct {
	name  string
	knows map[weather.Point]bool
	asked []weather.Point
}

func (s *some) Fetch(_ context.Context, points []weather.Point) (all []api.Fetched, err error) {
	s.asked = points
	for _, p := range points {
		if s.knows[p] {
			all = append(all, api.Fetched{Point: p, Provider: s.name})
		} else {
			err = errors.New(s.name + " does not answer")
		}
	}
	return all, err
}

// The second service is asked for what the first left, and only then is there a
// failure when both leave a point.
func TestServicesAreAskedInTurn(t *testing.T) {
	t.Parallel()
	a, b, c := weather.Point{Lat: 51}, weather.Point{Lat: 52}, weather.Point{Lat: 53}
	first := &some{name: "first", knows: map[weather.Point]bool{a: true}}
	second := &some{name: "second", knows: map[weather.Point]bool{a: true, b: true, c: true}}
	got, err := inTurn{first, second}.Fetch(context.Background(), []weather.Point{a, b, c})
	if err != nil || len(got) != 3 || got[0].Provider != "first" || got[1].Provider != "second" || len(second.asked) != 2 {
		t.Errorf("%+v, %v; the second was asked for %v", got, err, second.asked)
	}
	delete(second.knows, c)
	got, err = inTurn{first, second}.Fetch(context.Background(), []weather.Point{a, b, c})
	if err == nil || len(got) != 2 {
		t.Errorf("a point without an answer: %+v, %v", got, err)
	}
	second.asked = nil
	if got, err = (inTurn{first, second}).Fetch(context.Background(), []weather.Point{a}); err != nil || len(got) != 1 || second.asked != nil {
		t.Errorf("the second was asked without need: %+v, %v", got, err)
	}
}

// Where the worse of two is to count, both are asked for every point, and a
// failure of one leaves the other's answers.
func TestWorstAsksEveryService(t *testing.T) {
	t.Parallel()
	a, b := weather.Point{Lat: 51}, weather.Point{Lat: 52}
	first := &some{name: "first", knows: map[weather.Point]bool{a: true, b: true}}
	second := &some{name: "second", knows: map[weather.Point]bool{a: true}}
	got, err := allOf{first, second}.Fetch(context.Background(), []weather.Point{a, b})
	if err == nil || len(got) != 3 || len(second.asked) != 2 || got[2].Provider != "second" {
		t.Errorf("%+v, %v; the second was asked for %v", got, err, second.asked)
	}
}

// What the settings make of several services: in turn as it comes, all of them
// for worst, and worst of one service is refused by name.
func TestHowServicesAreBlendedIsASetting(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		blend    string
		forecast []string
		worst    bool
		fails    bool
	}{
		{"first", []string{"open-meteo", "met-norway"}, false, false},
		{"worst", []string{"met-norway", "open-meteo"}, true, false},
		{"worst", []string{"open-meteo"}, false, true},
	} {
		s := &Settings{Contact: "office@firm.example", Forecast: c.forecast, ForecastBlend: c.blend}
		f, err := s.fetcher(now)
		if (err != nil) != c.fails || c.fails && !strings.Contains(err.Error(), "TOEBOARD_FORECAST_BLEND") {
			t.Errorf("%+v: %v", c, err)
		}
		var d api.Deps
		s.skies(&d)
		if _, all := f.(allOf); all != c.worst || (len(d.WorstOf) == 2) != c.worst || c.worst && d.WorstOf[0] != "MET Norway" {
			t.Errorf("%+v: asks by %T, weighs %v", c, f, d.WorstOf)
		}
	}
}
