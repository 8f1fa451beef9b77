package manners_test

import (
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/manners"
)

var now = time.Date(2026, 11, 28, 7, 0, 0, 0, time.UTC)

// RFC 9110, 10.2.3: seconds, or a date in one of the forms of 5.6.7.
func TestRetryAfter(t *testing.T) {
	t.Parallel()
	for header, want := range map[string]time.Duration{
		"":                                 0,
		"120":                              2 * time.Minute,
		" 120 ":                            2 * time.Minute,
		"0":                                0,
		"-5":                               0,
		"soon":                             0,
		"99999999999":                      7 * 24 * time.Hour,
		"Sat, 28 Nov 2026 07:05:00 GMT":    5 * time.Minute,
		"Saturday, 28-Nov-26 07:05:00 GMT": 5 * time.Minute,
		"Sat Nov 28 07:05:00 2026":         5 * time.Minute,
		"Fri, 27 Nov 2026 07:05:00 GMT":    0,
		"Sun, 28 Nov 2027 07:00:00 GMT":    7 * 24 * time.Hour,
	} {
		if got := manners.RetryAfter(header, now); got != want {
			t.Errorf("%q: %s, want %s", header, got, want)
		}
	}
}

func TestPatienceForgetsFailuresOnceItWorks(t *testing.T) {
	t.Parallel()
	p := manners.Patience{Provider: "test"}
	wait := func() time.Duration {
		at, ok := weather.RetryAt(p.Failed(now, 0, "down"))
		if !ok || p.May(now) == nil || p.May(at) != nil {
			t.Fatalf("retry %v at %s", ok, at)
		}
		return at.Sub(now)
	}
	first := wait()
	for range 200 { // far more than any doubling could hold
		if w := wait(); w <= 0 || w > 8*time.Hour {
			t.Fatalf("waits %s", w)
		}
	}
	p.Succeeded()
	if again := wait(); first > 80*time.Second || again > 80*time.Second {
		t.Errorf("waits %s at first and %s after it worked", first, again)
	}
}
