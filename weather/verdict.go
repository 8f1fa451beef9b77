package weather

import (
	"fmt"
	"time"
)

// Verdict is what the sky allows. The zero value is Unknown, and Unknown is
// never treated as Go anywhere.
type Verdict int

// The verdicts, in the order in which Worse ranks them.
const (
	Unknown Verdict = iota
	Stop
	Caution
	Go
)

// String writes the verdict in the words the pages use.
func (v Verdict) String() string {
	switch v {
	case Stop:
		return "stop"
	case Caution:
		return "caution"
	case Go:
		return "go"
	default:
		return "unknown"
	}
}

// Worse gives the verdict that a crew must follow when both hold: stop before
// unknown before caution before go. A known stop says more than a gap in the
// data, and neither is ever go.
func Worse(a, b Verdict) Verdict {
	for _, v := range []Verdict{Stop, Unknown, Caution} {
		if a == v || b == v {
			return v
		}
	}
	if a == Go && b == Go {
		return Go
	}
	return Unknown
}

// Quantity is what a limit is about.
type Quantity int

// The quantities. Units are those of the SI as written beside each.
const (
	QuantityUnknown Quantity = iota
	WindMean                 // [m/s] mean wind at the working height
	WindGust                 // [m/s] highest gust at the working height
	Rain                     // [mm] in one hour
	RecentRain               // [mm] in the hours before the work
	Temperature              // [degrees C] of the air at 2 m
	FrostRisk                // [K] of the air above freezing or above its dew point, whichever warns first
	Lightning                // a warning or a logged flash
	Daylight                 // [min] between civil dawn and dusk that the window keeps
)

// Reason is one thing that a verdict rests on: the rule, what it was asked of,
// the number met, the limit and where the limit comes from.
type Reason struct {
	Rule     string    `json:"rule"`    // "gust while carrying modules"
	Subject  string    `json:"subject"` // "Sat 28 Nov 10:00"
	Verdict  Verdict   `json:"verdict"`
	Quantity Quantity  `json:"quantity"`
	Known    bool      `json:"known"` // whether Value was known
	Value    float64   `json:"value"`
	Limit    float64   `json:"limit"`
	Unit     string    `json:"unit"`
	Source   string    `json:"source"` // who set the limit, with its mark
	At       time.Time `json:"at"`     // the hour that decided, UTC
}

// Sentence tells a person the number and the limit.
func (r Reason) Sentence() string {
	when := ""
	if r.Subject != "" {
		when = " at " + r.Subject
	}
	if !r.Known {
		return fmt.Sprintf("%s%s is not known, so it is not clear (limit %.4g %s, %s)", r.Rule, when, r.Limit, r.Unit, r.Source)
	}
	return fmt.Sprintf("%s%s: %.3g %s against a limit of %.4g %s: %s (%s)", r.Rule, when, r.Value, r.Unit, r.Limit, r.Unit, r.Verdict, r.Source)
}

// Chance is the probability that the weather lets a whole half-day's work run.
// The zero value is unknown and is never taken as good.
type Chance struct {
	Known bool    `json:"known"`
	P     float64 `json:"p"`     // in (0, 1): never 0 or 1
	Basis string  `json:"basis"` // "17 of 20 forecast members", "climate, December mornings"
}
