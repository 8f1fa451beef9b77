package api

import (
	"context"
	"errors"
	"slices"
	"strings"

	"toeboard/weather"
	"toeboard/weather/fault"
)

// WeatherService is one weather service that may be asked.
type WeatherService struct {
	Key      string // as settings and the contract name it: "met-norway"
	Provider string // as its answers are kept: "MET Norway"
	Note     string // what a firm should know before it chooses it, a sentence
	Closed   string // why it cannot be asked here, a sentence; "" = it can
}

// Source is how one weather service is asked.
type Source struct {
	Key string // of its WeatherService
	Fetcher
}

// Sources are all that can be asked. What is fetched is by place and not by
// firm: a client that remembers its answers serves every firm with them.
type Sources []Source

// by gives what asks them as a firm wants it: in its order, in turn or all. A
// service that cannot be asked here is passed over. A firm that has no order
// asks all of them in theirs, in turn.
func (all Sources) by(use weather.Services) (Fetcher, error) {
	var order []Fetcher
	for _, key := range use.Order {
		if i := slices.IndexFunc(all, func(s Source) bool { return s.Key == key }); i >= 0 {
			order = append(order, all[i])
		}
	}
	if len(use.Order) == 0 {
		for _, s := range all {
			order = append(order, s)
		}
	}
	switch {
	case len(order) == 0:
		return nil, fault.Bad("services", strings.Join(use.Order, ", "), "a weather service that can be asked here")
	case use.Together == weather.WorstCounts:
		return allOf(order), nil
	}
	return inTurn(order), nil
}

// allOf asks every service for every point.
type allOf []Fetcher

// Fetch gives the answers that there are, the first service's first, and every
// failure: what one service leaves out the others still answer.
func (services allOf) Fetch(ctx context.Context, points []weather.Point) (all []Fetched, err error) {
	var failed []error
	for _, f := range services {
		got, err := f.Fetch(ctx, points)
		all, failed = append(all, got...), append(failed, err)
	}
	return all, errors.Join(failed...)
}

// inTurn asks services in order, each for the points that those before it did
// not answer.
type inTurn []Fetcher

// Fetch gives the answers that there are; it is an error only when a point is
// left without any.
func (order inTurn) Fetch(ctx context.Context, points []weather.Point) (all []Fetched, err error) {
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
