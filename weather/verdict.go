package weather

import (
	"fmt"
	"strings"
	"time"

	"toeboard/weather/fault"
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

// MarshalText writes the verdict as a word, so that what is stored and sent
// does not depend on the order of the constants.
func (v Verdict) MarshalText() ([]byte, error) { return []byte(v.String()), nil }

// UnmarshalText reads what MarshalText writes. Anything else is an error and
// leaves the verdict Unknown.
func (v *Verdict) UnmarshalText(b []byte) error {
	*v = Unknown
	for _, known := range []Verdict{Unknown, Stop, Caution, Go} {
		if known.String() == string(b) {
			*v = known
			return nil
		}
	}
	return fault.Bad("verdict", string(b), "one of go, caution, stop, unknown")
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
	FrostRisk                // [K] by which the roof's surface stays clear of frost, by a declared estimate
	Lightning                // a warning or a logged flash
	Daylight                 // [min] between civil dawn and dusk that the window keeps
	FetchAge                 // [h] since the forecast was fetched
	RunAge                   // [h] since the provider made the forecast
	StepLength               // [h] that one step of the forecast covers
	Agreement                // [%] of the forecast's members that meet a stop in the window, or do not know
	RoofFilm                 // [mm] of water on the roof, by a declared balance
	Heat                     // [degrees C] that the air feels like in the shade: heat index
	Cold                     // [degrees C] that the air feels like on skin: wind chill
	Visibility               // [m]
	OfficialWarning          // severity of a warning in force, 2 minor to 5 extreme; in reasons only, no limit of the firm
	LowSun                   // [degrees] the sun's height while it stands ahead of who works on the roof face; no limit of the firm, see sunahead.go
)

// quantities holds each quantity's word in files, its unit, its name in a
// sentence and whether it is the low values that stop work.
var quantities = [...]struct {
	word, unit, name string
	low              bool
}{
	QuantityUnknown: {"unknown", "", "an unknown quantity", false},
	WindMean:        {"wind_mean", "m/s", "mean wind", false},
	WindGust:        {"wind_gust", "m/s", "gust", false},
	Rain:            {"rain", "mm", "rain in the hour", false},
	RecentRain:      {"recent_rain", "mm", "rain in the hours before", false},
	Temperature:     {"temperature", "°C", "air temperature", true},
	FrostRisk:       {"frost_risk", "K", "roof surface above frost", true},
	Lightning:       {"lightning", "", "thunderstorm", false},
	Daylight:        {"daylight", "min", "daylight to spare", true},
	FetchAge:        {"fetch_age", "h", "age of the forecast", false},
	RunAge:          {"run_age", "h", "age of the model run", false},
	StepLength:      {"step_length", "h", "length of the forecast step", false},
	Agreement:       {"agreement", "%", "share of forecast members that meet a stop or do not know", false},
	RoofFilm:        {"roof_film", "mm", "water on the roof", false},
	Heat:            {"heat", "°C", "felt heat", false},
	Cold:            {"cold", "°C", "felt cold", true},
	Visibility:      {"visibility", "m", "visibility", true},
	OfficialWarning: {"official_warning", "", "official warning", false},
	LowSun:          {"low_sun", "°", "low sun ahead", true},
}

// Known reports whether the quantity is one of the named ones.
func (q Quantity) Known() bool { return q > QuantityUnknown && int(q) < len(quantities) }

// String gives the quantity's word as limit files and JSON write it.
func (q Quantity) String() string { return quantities[q.index()].word }

// Unit gives the unit in which limits on the quantity are stated; empty for
// Lightning, which is there or not.
func (q Quantity) Unit() string { return quantities[q.index()].unit }

// Name gives the quantity as a sentence has it.
func (q Quantity) Name() string { return quantities[q.index()].name }

// LowStops reports whether low values stop the work (temperature, daylight) or
// high ones (wind, rain).
func (q Quantity) LowStops() bool { return quantities[q.index()].low }

func (q Quantity) index() Quantity {
	if q.Known() {
		return q
	}
	return QuantityUnknown
}

// MarshalText writes the quantity as its word.
func (q Quantity) MarshalText() ([]byte, error) { return []byte(q.String()), nil }

// UnmarshalText reads what MarshalText writes; an unknown word is an error.
func (q *Quantity) UnmarshalText(b []byte) error {
	*q = QuantityUnknown
	for i, known := range quantities {
		if known.word == string(b) {
			*q = Quantity(i)
			return nil
		}
	}
	return fault.Bad("quantity", string(b), "one of wind_mean, wind_gust, rain, recent_rain, temperature, frost_risk, lightning, daylight, fetch_age, run_age, step_length, agreement, roof_film, heat, cold, visibility")
}

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
	Margin   Value     `json:"margin"` // how far Value is from the stop level, negative beyond it; unknown without one
	Steps    int       `json:"steps"`  // how many steps of the window say the same
}

// Sentence tells a person the number and the limit.
func (r Reason) Sentence() string {
	if r.Quantity == QuantityUnknown {
		if r.Verdict == Caution {
			return r.Rule
		}
		return r.Rule + ", so it is not clear"
	}
	when := ""
	if r.Subject != "" {
		when = " at " + r.Subject
	}
	limit := strings.TrimSpace(fmt.Sprintf("limit of %.4g %s", r.Limit, r.Unit))
	switch {
	case !r.Known && r.Quantity == OfficialWarning:
		return fmt.Sprintf("%s%s, severity not known and taken as severe: %s (%s)", r.Rule, when, r.Verdict, r.Source)
	case !r.Known && r.Verdict == Caution:
		return fmt.Sprintf("%s%s is not known: look before starting (%s, %s)", r.Rule, when, limit, r.Source)
	case !r.Known:
		return fmt.Sprintf("%s%s is not known, so it is not clear (%s, %s)", r.Rule, when, limit, r.Source)
	case r.Quantity == OfficialWarning:
		return fmt.Sprintf("%s%s, severity %s: %s (%s)", r.Rule, when, Severity(r.Value), r.Verdict, r.Source)
	case r.Quantity == LowSun:
		return fmt.Sprintf("%s%s: %.0f° above the horizon, low up to %.0f°: %s (%s)", r.Rule, when, r.Value, r.Limit, r.Verdict, r.Source)
	case r.Quantity == Lightning && r.Value < 1:
		return fmt.Sprintf("no %s%s in the forecast: %s (%s)", r.Rule, when, r.Verdict, r.Source)
	case r.Quantity == Lightning:
		return fmt.Sprintf("%s%s is forecast: %s (%s)", r.Rule, when, r.Verdict, r.Source)
	}
	value := strings.TrimSpace(fmt.Sprintf("%.3g %s", r.Value, r.Unit))
	return fmt.Sprintf("%s%s: %s against a %s: %s (%s)", r.Rule, when, value, limit, r.Verdict, r.Source)
}

// Chance is the probability that the weather lets a whole half-day's work run.
// The zero value is unknown and is never taken as good.
type Chance struct {
	Known bool    `json:"known"`
	P     float64 `json:"p"`     // in (0, 1): never 0 or 1
	Basis string  `json:"basis"` // "17 of 20 forecast members", "climate, December mornings"
}
