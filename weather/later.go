package weather

import (
	"errors"
	"fmt"
	"time"

	"toeboard/weather/fault"
)

// Later says that a provider cannot answer now and when to come back.
type Later struct {
	At  time.Time // UTC: not before this
	Why string    // in words, as far as the provider gave any
}

// Error writes why and until when.
func (l *Later) Error() string {
	return fmt.Sprintf("%s; not asked again before %s", l.Why, l.At.UTC().Format(time.RFC3339))
}

// NotNow wraps a Later into the refusal that callers act on.
func NotNow(provider string, at time.Time, why string) error {
	return &fault.Error{Kind: fault.Unavailable, Field: provider, Want: "try again later", Err: &Later{At: at.UTC(), Why: why}}
}

// RetryAt gives the instant before which a provider must not be asked again,
// when err says one.
func RetryAt(err error) (time.Time, bool) {
	var l *Later
	if errors.As(err, &l) {
		return l.At, true
	}
	return time.Time{}, false
}
