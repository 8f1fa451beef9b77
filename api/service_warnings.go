package api

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/archive"
	"toeboard/weather/cap"
)

// GetWarnings asks one warning service and gives its answer as it came.
type GetWarnings func(ctx context.Context, feed string) ([]byte, error)

// RefreshWarnings asks every warning service of the settings and keeps the
// answers. One that cannot be read as warnings is not kept: what was warned of
// before goes on, and grows old. One service's failure keeps no other waiting.
func (s *Service) RefreshWarnings(ctx context.Context, firm uuid.UUID, get GetWarnings) error {
	var failed []error
	for _, feed := range s.warningFeeds {
		body, err := get(ctx, feed)
		if err == nil {
			_, err = cap.Read(body)
		}
		if err == nil {
			err = s.archive.SaveWarnings(ctx, firm, archive.Warnings{Feed: feed, ReadAt: s.now(), Body: body})
		}
		if err != nil {
			failed = append(failed, fmt.Errorf("warnings of %s: %w", feed, err))
		}
	}
	return errors.Join(failed...)
}

// warned is what is officially warned of now.
type warned struct {
	list  []weather.Warning
	feeds weather.WarningFeeds
	areas []string
}

// warnings reads what every warning service of the settings said last.
func (s *Service) warnings(ctx context.Context, firm uuid.UUID) (warned, error) {
	w := warned{areas: s.warningAreas, feeds: weather.WarningFeeds{Asked: len(s.warningFeeds) > 0}}
	if !w.feeds.Asked {
		return w, nil
	}
	kept, err := s.archive.NewestWarnings(ctx, firm)
	if err != nil {
		return w, err
	}
	last := map[string]archive.Warnings{}
	for _, k := range kept {
		last[k.Feed] = k
	}
	var bulletins []weather.Bulletin
	for i, feed := range s.warningFeeds {
		k, ok := last[feed]
		if !ok {
			w.feeds.ReadAt = time.Time{}
			return w, nil // one that was never read: nobody knows what it would say
		}
		if i == 0 || k.ReadAt.Before(w.feeds.ReadAt) {
			w.feeds.ReadAt = k.ReadAt
		}
		list, err := cap.Read(k.Body)
		if err != nil {
			return w, fmt.Errorf("read kept warnings of %s: %w", feed, err)
		}
		bulletins = append(bulletins, list...)
	}
	w.list = weather.InForce(bulletins, s.now())
	return w, nil
}

// over puts the warnings that cover a question's place into it.
func (w warned) over(q weather.Work) weather.Work {
	q.Feeds = w.feeds
	for i := range w.list {
		if w.list[i].Covers(weather.Point{Lat: q.Place.Lat, Lon: q.Place.Lon}, w.areas) {
			q.Warnings = append(q.Warnings, w.list[i])
		}
	}
	return q
}
