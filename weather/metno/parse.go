package metno

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"toeboard/weather"
	"toeboard/weather/fault"
)

// maxSteps is more than any answer has: 82 in the recorded ones.
const maxSteps = 2000

type answer struct {
	Type     string `json:"type"`
	Geometry struct {
		Coordinates []float64 `json:"coordinates"` // longitude, latitude, metres above the sea
	} `json:"geometry"`
	Properties struct {
		Meta struct {
			UpdatedAt time.Time         `json:"updated_at"`
			Units     map[string]string `json:"units"`
		} `json:"meta"`
		Steps []step `json:"timeseries"`
	} `json:"properties"`
}

type step struct {
	Time time.Time `json:"time"`
	Data struct {
		Instant *period `json:"instant"`
		Next1   *period `json:"next_1_hours"`
		Next6   *period `json:"next_6_hours"`
	} `json:"data"`
}

type period struct {
	Summary struct {
		Symbol string `json:"symbol_code"`
	} `json:"summary"`
	Details map[string]weather.Value `json:"details"`
}

// detail is one quantity that is read, its unit and what it can be.
type detail struct {
	unit string
	fits weather.Range
	unto float64 // times the number, to the unit of weather.Hour
}

var details = map[string]detail{
	"wind_speed":                   {"m/s", weather.WindRange, 1},
	"wind_speed_of_gust":           {"m/s", weather.GustRange, 1},
	"air_temperature":              {"celsius", weather.TempRange, 1},
	"air_temperature_min":          {"celsius", weather.TempRange, 1},
	"dew_point_temperature":        {"celsius", weather.TempRange, 1},
	"relative_humidity":            {"%", weather.PercentRange, 1},
	"cloud_area_fraction":          {"%", weather.PercentRange, 1},
	"precipitation_amount":         {"mm", weather.Range{Low: 0, High: 6 * weather.RainRange.High}, 1},
	"probability_of_precipitation": {"%", weather.FractionRange, 0.01},
}

// Parse reads one answer, compact or complete.
//
// Values of "instant" bound the steps; those of next_1_hours and next_6_hours
// are of the time that FOLLOWS the stamp. Where the answer turns from hourly to
// six-hourly its steps keep their six hours. The last stamp has only an instant
// and ends the last step. Gusts are given for some regions only; where absent
// they stay unknown, and where present the larger of the two that bound a step
// is taken, whichever side of its stamp each is meant for. A thunderstorm is
// read from the symbol.
//
// Units are read from the answer; another unit than the documented one is
// refused by name.
func Parse(body []byte, fetchedAt time.Time) (weather.Series, error) {
	var a answer
	if err := json.Unmarshal(body, &a); err != nil {
		start := body[:min(len(body), 60)]
		return weather.Series{}, &fault.Error{Kind: fault.Invalid, Field: "answer", Value: string(start), Want: "JSON of Locationforecast 2.0", Err: err}
	}
	if err := a.check(); err != nil {
		return weather.Series{}, err
	}
	steps := a.Properties.Steps
	member := weather.Member{}
	for i := range len(steps) - 1 {
		hour, until := a.hour(i)
		member.Hours = append(member.Hours, hour)
		// What the answer leaves out is there, as unknown.
		for from := until; from.Before(steps[i+1].Time); from = from.Add(time.Hour) {
			member.Hours = append(member.Hours, weather.Hour{From: from, Span: time.Hour})
		}
	}
	return weather.Series{
		Provider:  Provider,
		ModelRun:  a.Properties.Meta.UpdatedAt.UTC(),
		FetchedAt: fetchedAt.UTC(),
		Lon:       a.Geometry.Coordinates[0],
		Lat:       a.Geometry.Coordinates[1],
		Members:   []weather.Member{member},
	}, nil
}

func (a answer) check() error {
	if a.Type != "Feature" {
		return fault.Bad("type", a.Type, "Feature, as Locationforecast 2.0 answers")
	}
	c := a.Geometry.Coordinates
	if len(c) < 2 || c[0] < -180 || c[0] > 180 || c[1] < -90 || c[1] > 90 {
		return fault.Bad("geometry.coordinates", fmt.Sprint(c), "longitude and latitude in degrees")
	}
	if a.Properties.Meta.UpdatedAt.IsZero() {
		return fault.Bad("properties.meta.updated_at", "", "the instant of the model run")
	}
	steps := a.Properties.Steps
	if len(steps) < 2 || len(steps) > maxSteps {
		return fault.Bad("properties.timeseries", fmt.Sprintf("%d steps", len(steps)), fmt.Sprintf("from 2 to %d", maxSteps))
	}
	for i, s := range steps {
		field := fmt.Sprintf("properties.timeseries[%d].time", i)
		if i > 0 {
			gap := s.Time.Sub(steps[i-1].Time)
			if gap <= 0 || gap%time.Hour != 0 || gap > 48*time.Hour {
				return fault.Bad(field, s.Time.Format(time.RFC3339), "one to 48 whole hours after the stamp before")
			}
		}
		if err := a.checkUnits(s); err != nil {
			return err
		}
	}
	return nil
}

// checkUnits holds every detail that is read to the unit it is documented in.
func (a answer) checkUnits(s step) error {
	for _, p := range []*period{s.Data.Instant, s.Data.Next1, s.Data.Next6} {
		if p == nil {
			continue
		}
		for name := range p.Details {
			want, ours := details[name]
			if unit := a.Properties.Meta.Units[name]; ours && unit != want.unit {
				return fault.Bad("properties.meta.units."+name, unit, want.unit)
			}
		}
	}
	return nil
}

// hour reads the step that begins at the i-th stamp and says until when it
// lasts: one hour, or six, or up to the next stamp when nothing is said of the
// time that follows.
func (a answer) hour(i int) (weather.Hour, time.Time) {
	s := a.Properties.Steps[i]
	next := a.Properties.Steps[i+1].Time
	span, following := time.Hour, s.Data.Next1
	if following == nil && s.Data.Next6 != nil {
		span, following = 6*time.Hour, s.Data.Next6
	}
	if s.Time.Add(span).After(next) {
		// A six-hour statement that the next stamp cuts short says nothing
		// certain about the part before it.
		span, following = next.Sub(s.Time), nil
	}
	end := s.Time.Add(span)
	var after *period
	if end.Equal(next) {
		after = a.Properties.Steps[i+1].Data.Instant
	}
	at := s.Data.Instant
	return weather.Hour{
		From:       s.Time.UTC(),
		Span:       span,
		WindMean:   weather.Higher(read(at, "wind_speed"), read(after, "wind_speed")),
		WindGust:   weather.Higher(read(at, "wind_speed_of_gust"), read(after, "wind_speed_of_gust")),
		Rain:       rain(following, span),
		RainChance: read(following, "probability_of_precipitation"),
		Temp:       coldest(at, after, following),
		DewPoint:   read(at, "dew_point_temperature"),
		Humidity:   read(at, "relative_humidity"),
		Cloud:      read(at, "cloud_area_fraction"),
		Thunder:    thunder(following),
	}, end
}

// read gives a detail of a period, unknown when either is missing or the value
// impossible.
func read(p *period, name string) weather.Value {
	if p == nil {
		return weather.Value{}
	}
	v := p.Details[name]
	d := details[name]
	if !v.Known {
		return weather.Value{}
	}
	return d.fits.Keep(weather.Is(v.N * d.unto))
}

// rain gives the depth that falls within the span, unknown when it is more than
// can fall in that time.
func rain(p *period, span time.Duration) weather.Value {
	most := weather.Range{Low: 0, High: weather.RainRange.High * span.Hours()}
	return most.Keep(read(p, "precipitation_amount"))
}

// coldest gives the lower of the temperatures that bound the step, or the
// stated minimum where that is lower still.
func coldest(at, after, following *period) weather.Value {
	bounds := weather.Lower(read(at, "air_temperature"), read(after, "air_temperature"))
	if stated := read(following, "air_temperature_min"); stated.Known && bounds.Known {
		return weather.Lower(bounds, stated)
	}
	return bounds
}

// thunder reads the symbol, in which storms have "thunder" in their name.
func thunder(p *period) weather.Value {
	switch {
	case p == nil || p.Summary.Symbol == "":
		return weather.Value{}
	case strings.Contains(p.Summary.Symbol, "thunder"):
		return weather.Is(1)
	default:
		return weather.Is(0)
	}
}
