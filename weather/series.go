package weather

import (
	"encoding/json"
	"math"
	"time"
)

// Value is a number that may not be known. The zero value is not known, so a
// field that a provider leaves out can never be read as calm and dry.
type Value struct {
	N     float64
	Known bool
}

// Is makes a known value. A number that is none (NaN, infinity) stays unknown.
func Is(n float64) Value {
	if math.IsNaN(n) || math.IsInf(n, 0) {
		return Value{}
	}
	return Value{N: n, Known: true}
}

// MarshalJSON writes the number, or null when it is not known.
func (v Value) MarshalJSON() ([]byte, error) {
	if !v.Known {
		return []byte("null"), nil
	}
	return json.Marshal(v.N)
}

// UnmarshalJSON reads a number or null.
func (v *Value) UnmarshalJSON(b []byte) error {
	*v = Value{}
	if string(b) == "null" {
		return nil
	}
	var n float64
	if err := json.Unmarshal(b, &n); err != nil {
		return err
	}
	*v = Is(n)
	return nil
}

// Hour is one step of a forecast, already brought to one convention: every
// value belongs to the interval [From, From+Span), whichever side of its stamp
// the provider meant.
type Hour struct {
	From       time.Time     // UTC
	Span       time.Duration // one hour, or six far ahead with some providers
	WindMean   Value         // [m/s] at 10 m in open country: the larger of the instants that bound the step
	WindGust   Value         // [m/s] at 10 m: the highest within the step
	Rain       Value         // [mm] that falls within the step
	RainChance Value         // [0..1] that any measurable rain falls within the step
	Temp       Value         // [degrees C] at 2 m: the lower of the instants that bound the step
	DewPoint   Value         // [degrees C] at 2 m, at From
	Humidity   Value         // [%] at 2 m, at From
	Cloud      Value         // [%] of sky, at From
	Thunder    Value         // 1 where the provider says thunderstorm, else 0
}

// Member is one future: the hours of one run of a model. Hours are in order,
// without gaps that are not stated as unknown.
type Member struct {
	Name  string // "" for the control or the only run
	Hours []Hour
}

// Series is what one provider said of one place at one time.
type Series struct {
	Provider  string    // "Open-Meteo", "MET Norway", ...
	ModelRun  time.Time // UTC; zero when the provider does not say
	FetchedAt time.Time // UTC
	Lat, Lon  float64   // [degrees] of the grid point that answered
	Members   []Member  // the control first; at least one
	Notes     []string  // what the reader found odd and how it was read, in words
}

// Point is a place on the map as providers are asked about it.
type Point struct {
	Lat, Lon float64 // [degrees] north and east positive
}
