package api

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/archive"
	"toeboard/weather/fault"
)

// Services gives which weather services count for a firm: the version that it
// set last, and what the program starts firms with while it has set none.
func (s *Service) Services(ctx context.Context, firm uuid.UUID) (weather.Services, error) {
	set, found, err := s.archive.Services(ctx, firm)
	if err != nil || !found {
		return s.startServices(), err
	}
	return set.Services, nil
}

// startServices is version 1.
func (s *Service) startServices() weather.Services {
	start := s.firstServices
	start.Version, start.Together = 1, cmp.Or(start.Together, weather.FirstAnswers)
	return start
}

// offeredAs gives the weather service of a key; one that nobody knows here has
// nothing but its key.
func (s *Service) offeredAs(key string) WeatherService {
	if i := slices.IndexFunc(s.offered, func(o WeatherService) bool { return o.Key == key }); i >= 0 {
		return s.offered[i]
	}
	return WeatherService{Key: key, Provider: key, Closed: "It is not known here any more."}
}

func (s *Service) serviceName(key string) string { return s.offeredAs(key).Provider }

// providersOf gives the names under which the answers of a firm's services are
// kept, in the firm's order.
func (s *Service) providersOf(use weather.Services) []string {
	return mapped(use.Order, s.serviceName)
}

// servicesNow is which weather services count now, and every version that the
// firm set.
type servicesNow struct {
	weather.Services
	set   []archive.ServicesVersion // the newest first
	heard []archive.Heard           // of every service offered, in their order
}

func (s *Service) servicesInForce(ctx context.Context, firm uuid.UUID) (in servicesNow, err error) {
	if in.set, err = s.archive.ServicesHistory(ctx, firm); err != nil {
		return in, err
	}
	if in.Services = s.startServices(); len(in.set) > 0 {
		in.Services = in.set[0].Services
	}
	in.heard, err = s.archive.Heard(ctx, firm, mapped(s.offered, func(o WeatherService) string { return o.Provider }))
	return in, err
}

// changes says what a version changed in the one before it.
func (s *Service) servicesChanges(in servicesNow, i int) []string {
	before := s.startServices()
	if i+1 < len(in.set) {
		before = in.set[i+1].Services
	}
	return in.set[i].Changes(before, s.serviceName)
}

// SetServices stores which weather services count. One that cannot be asked here
// is refused by name.
func (s *Service) SetServices(ctx context.Context, firm uuid.UUID, want weather.Services, by, why string) (version int, err error) {
	for _, key := range want.Order {
		if o := s.offeredAs(key); o.Closed != "" {
			return 0, fault.Bad("services", key, "a weather service that can be asked here. "+o.Closed)
		}
	}
	return s.archive.SetServices(ctx, firm, want, by, why, s.now())
}

// listed writes "a", "a and b", "a, b and c".
func listed(words []string) string {
	n := len(words)
	if n < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
}

// usedWords says in a sentence what becomes of the answers.
func (s *Service) usedWords(use weather.Services) string {
	names := s.providersOf(use)
	switch {
	case len(names) == 0:
		return "No weather service is asked."
	case len(names) == 1:
		return "Every roof is judged by " + names[0] + " alone. When it falls silent, roofs are unknown and not clear."
	case use.Together == weather.WorstCounts:
		return "All are asked each hour. Every roof is judged by " + names[0] + "; " + listed(names[1:]) + " can only make it worse, never better."
	}
	return "Each hour " + names[0] + " is asked, and where it does not answer for a roof, " + strings.Join(names[1:], ", then ") + "."
}
