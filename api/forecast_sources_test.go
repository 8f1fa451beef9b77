package api

import (
	"context"
	"errors"
	"strings"
	"testing"

	"toeboard/weather"
)

// someService answers for the points it knows and fails for the rest.
type someService struct {
	name  string
	knows map[weather.Point]bool
	asked []weather.Point
}

func (s *someService) Fetch(_ context.Context, points []weather.Point) (all []Fetched, err error) {
	s.asked = points
	for _, p := range points {
		if s.knows[p] {
			all = append(all, Fetched{Point: p, Provider: s.name})
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
	first := &someService{name: "first", knows: map[weather.Point]bool{a: true}}
	second := &someService{name: "second", knows: map[weather.Point]bool{a: true, b: true, c: true}}
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
	first := &someService{name: "first", knows: map[weather.Point]bool{a: true, b: true}}
	second := &someService{name: "second", knows: map[weather.Point]bool{a: true}}
	got, err := allOf{first, second}.Fetch(context.Background(), []weather.Point{a, b})
	if err == nil || len(got) != 3 || len(second.asked) != 2 || got[2].Provider != "second" {
		t.Errorf("%+v, %v; the second was asked for %v", got, err, second.asked)
	}
}

// A firm's sources are asked in its order and way; one that cannot be asked here
// is passed over, and when none is left that is said by name.
func TestSourcesAreAskedAsTheFirmWants(t *testing.T) {
	t.Parallel()
	a := weather.Point{Lat: 51}
	x, y := &someService{name: "x", knows: map[weather.Point]bool{a: true}}, &someService{name: "y", knows: map[weather.Point]bool{a: true}}
	all := Sources{{"x", x}, {"y", y}}
	for _, c := range []struct {
		order    []string
		together weather.Together
		want     string
	}{
		{nil, weather.FirstAnswers, "x"},
		{[]string{"y", "x"}, weather.FirstAnswers, "y"},
		{[]string{"gone", "y"}, weather.FirstAnswers, "y"},
		{[]string{"y", "x"}, weather.WorstCounts, "yx"},
		{[]string{"y", "gone"}, weather.WorstCounts, "y"},
	} {
		f, err := all.by(weather.Services{Order: c.order, Together: c.together})
		if err != nil {
			t.Fatal(err)
		}
		answers, err := f.Fetch(context.Background(), []weather.Point{a})
		got := ""
		for _, answer := range answers {
			got += answer.Provider
		}
		if got != c.want || err != nil {
			t.Errorf("%q %s: answered %q, want %q, %v", c.order, c.together, got, c.want, err)
		}
	}
	if _, err := all.by(weather.Services{Order: []string{"gone"}, Together: weather.FirstAnswers}); err == nil || !strings.Contains(err.Error(), `"gone"`) {
		t.Errorf("none that can be asked: %v", err)
	}
}
