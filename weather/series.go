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
	Visibility Value         // [m] the lower of the instants that bound the step
	Radiation  Value         // [W/m2] global shortwave on the level, mean of the step
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
	Beside    []Series  // what other services answered about the same place, in the firm's order: they can only tighten, see beside.go
}

// Point is a place on the map as providers are asked about it.
type Point struct {
	Lat, Lon float64 // [degrees] north and east positive
}

// KmTo gives the great-circle distance [km] by the haversine formula, on a
// sphere of the mean radius 6371.0088 km (IUGG).
func (p Point) KmTo(q Point) float64 {
	const radius, rad = 6371.0088, math.Pi / 180
	a, b := math.Sin((q.Lat-p.Lat)*rad/2), math.Sin((q.Lon-p.Lon)*rad/2)
	h := a*a + math.Cos(p.Lat*rad)*math.Cos(q.Lat*rad)*b*b
	return 2 * radius * math.Asin(math.Sqrt(min(1, h)))
}

// FarthestKm is how far from a place the grid point that answers for it may lie
// [km]. On the coarsest grid in use, half a degree, the nearest point is at most
// 39 km away; the rest is for providers that prefer a neighbour on land.
const FarthestKm = 50

// About reports whether the series speaks of a place: the grid point that
// answered lies within FarthestKm of it.
func (s *Series) About(p Point) bool { return (Point{s.Lat, s.Lon}).KmTo(p) <= FarthestKm }
