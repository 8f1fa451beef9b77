package weather

import (
	"fmt"
	"slices"
	"strings"

	"toeboard/weather/fault"
)

// Together is what is made of several weather services' answers about one site.
type Together string

// The ways. The zero value is none of them.
const (
	FirstAnswers Together = "first" // the firm's first that answers; the next is asked for what those before it leave
	WorstCounts  Together = "worst" // all are asked: the first is judged, the others can only tighten it, see beside.go
)

// Services says which weather services a firm's forecasts come from.
type Services struct {
	Version  int      // 1 = what a firm starts with
	Order    []string // their keys, such as "met-norway", the one that is asked first at the front
	Together Together
}

// mostServices is how many a firm may name.
const mostServices = 8

// Check says what is wrong, if anything. Whether a service can be asked at all
// is not known here.
func (s Services) Check() error {
	if len(s.Order) == 0 || len(s.Order) > mostServices {
		return fault.Bad("services", fmt.Sprintf("%d services", len(s.Order)), fmt.Sprintf("1 to %d weather services, the one to ask first at the front", mostServices))
	}
	for i, key := range s.Order {
		if strings.TrimSpace(key) == "" {
			return fault.Bad("services", key, "the name of a weather service")
		}
		if slices.Contains(s.Order[:i], key) {
			return fault.Bad("services", key, "each weather service once")
		}
	}
	switch {
	case s.Together != FirstAnswers && s.Together != WorstCounts:
		return fault.Bad("together", string(s.Together), "first, or worst")
	case s.Together == WorstCounts && len(s.Order) < 2:
		return fault.Bad("together", string(s.Together), "two services or more, of which the worse can count; or first")
	}
	return nil
}

// Changes says in words what differs from another choice; names gives the name
// of a service by its key.
func (s Services) Changes(from Services, names func(key string) string) (all []string) {
	list := func(order []string) string {
		var words []string
		for _, key := range order {
			words = append(words, names(key))
		}
		return strings.Join(words, ", then ")
	}
	if !slices.Equal(s.Order, from.Order) {
		all = append(all, fmt.Sprintf("asked: %s becomes %s", list(from.Order), list(s.Order)))
	}
	if s.Together != from.Together {
		all = append(all, fmt.Sprintf("what counts: %s becomes %s", from.Together.Words(), s.Together.Words()))
	}
	return all
}

// Words says what counts.
func (t Together) Words() string {
	switch t {
	case FirstAnswers:
		return "the first that answers"
	case WorstCounts:
		return "the worse of those that answer"
	}
	return "nobody said"
}
