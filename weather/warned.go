package weather

import (
	"fmt"
	"time"
)

// WarningFeeds says how the warnings of a Work were come by. The zero value
// asks for none: then warnings are no part of the verdict.
type WarningFeeds struct {
	Asked  bool      // a warning service is part of the firm's rules
	ReadAt time.Time // UTC; when the feed that was read longest ago was read; zero = one was never read
}

// Warnings that were read longer ago than this are a caution, and than that
// nothing at all: as old forecasts are (the firm's own rule).
const (
	warningsOld  = 6 * time.Hour
	warningsGone = 24 * time.Hour
)

// reason says what the age of the warnings does to a verdict; Go with no reason
// when nothing.
func (f WarningFeeds) reason(now time.Time) (Verdict, Reason) {
	if !f.Asked {
		return Go, Reason{}
	}
	r := Reason{Quantity: QuantityUnknown, Verdict: Unknown, At: now.UTC()}
	old := age(now, f.ReadAt)
	switch {
	case !old.Known:
		r.Rule = "the official warnings could not be read"
	case old.N >= warningsGone.Hours():
		r.Rule = fmt.Sprintf("the official warnings were last read %.0f h ago, against a limit of %.0f h", old.N, warningsGone.Hours())
	case old.N >= warningsOld.Hours():
		r.Verdict = Caution
		r.Rule = fmt.Sprintf("the official warnings were last read %.0f h ago, against a limit of %.0f h: look them up before starting", old.N, warningsOld.Hours())
	default:
		return Go, Reason{}
	}
	return r.Verdict, r
}
