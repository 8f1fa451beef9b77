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
	"toeboard/weather/fault"
)

// GetWarnings asks one warning service and gives its answer as it came.
type GetWarnings func(ctx context.Context, feed string) ([]byte, error)

// RefreshWarnings asks every warning service of the settings and keeps the
// answers. One that cannot be read as warnings is not kept: what was warned of
// before goes on, and grows old. One service's failure keeps no other waiting.
func (s *Service) RefreshWarnings(ctx context.Context, firm uuid.UUID, get GetWarnings) error {
	var failed []error
	for _, feed := range s.warningFeeds {
		var list []weather.Bulletin
		body, err := get(ctx, feed)
		if err == nil {
			list, err = cap.Read(body)
		}
		if err == nil {
			if err := s.refreshLinked(ctx, firm, feed, list, get); err != nil {
				failed = append(failed, fmt.Errorf("messages of %s: %w", feed, err))
			}
			err = s.archive.SaveWarnings(ctx, firm, archive.Warnings{Feed: feed, ReadAt: s.now(), Body: body})
		}
		if err != nil {
			failed = append(failed, fmt.Errorf("warnings of %s: %w", feed, err))
		}
	}
	return errors.Join(failed...)
}

// Bounds of fetching the messages that a feed only names.
const (
	linkedTime     = 3 * time.Minute // of all of one feed
	linkedFailures = 5               // after so many nobody is asked further
)

// refreshLinked fetches the messages that a feed's entries only name, each once
// and again when its entry has changed, and keeps them as they came. What cannot
// be had or read is an error; its entry goes on standing as a warning.
func (s *Service) refreshLinked(ctx context.Context, firm uuid.UUID, feed string, list []weather.Bulletin, get GetWarnings) error {
	links, failed := cap.Linked(feed, list)
	kept, err := s.archive.NewestWarnings(ctx, firm, addressesOf(links))
	if err != nil {
		return err
	}
	limited, cancel := context.WithTimeout(ctx, linkedTime)
	defer cancel()
	failures := 0
	for _, l := range links {
		if was, ok := kept[l.Address]; ok && !was.ReadAt.Before(l.Since) {
			continue
		}
		body, err := get(limited, l.Address)
		if err == nil && len(body) > cap.MostLinkedBytes {
			err = fault.Bad("message", fmt.Sprintf("%d bytes", len(body)), fmt.Sprintf("at most %d", cap.MostLinkedBytes))
		}
		if err == nil {
			_, err = cap.One(body)
		}
		if err == nil {
			err = s.archive.SaveWarnings(ctx, firm, archive.Warnings{Feed: l.Address, ReadAt: s.now(), Body: body})
		}
		if err == nil {
			continue
		}
		failed = append(failed, fmt.Errorf("%s: %w", l.Address, err))
		if failures++; failures == linkedFailures || limited.Err() != nil {
			break
		}
	}
	return errors.Join(failed...)
}

func addressesOf(links []cap.Link) []string {
	return mapped(links, func(l cap.Link) string { return l.Address })
}

// wholeWarnings reads a feed with the messages that it only names.
func (s *Service) wholeWarnings(ctx context.Context, firm uuid.UUID, feed string, body []byte) ([]weather.Bulletin, error) {
	list, err := cap.Read(body)
	if err != nil {
		return nil, fmt.Errorf("read kept warnings of %s: %w", feed, err)
	}
	links, _ := cap.Linked(feed, list)
	if len(links) == 0 {
		return list, nil
	}
	kept, err := s.archive.NewestWarnings(ctx, firm, addressesOf(links))
	if err != nil {
		return nil, err
	}
	return cap.Whole(feed, list, func(address string) []byte { return kept[address].Body }), nil
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
	last, err := s.archive.NewestWarnings(ctx, firm, s.warningFeeds)
	if err != nil {
		return w, err
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
		list, err := s.wholeWarnings(ctx, firm, feed, k.Body)
		if err != nil {
			return w, err
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
