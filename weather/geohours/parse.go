// Package geohours reads hourly site forecasts written as GeoJSON features with
// a timeSeries, the form in which British site-specific forecasts come.
package geohours

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"toeboard/weather"
	"toeboard/weather/fault"
)

// Provider is the name of these forecasts in the archive.
const Provider = "hourly site forecast"

const (
	maxSteps    = 1000
	maxFeatures = 1000
)

type answer struct {
	Type     string    `json:"type"`
	Features []feature `json:"features"`
	// Parameters say the unit of each quantity by its name.
	Parameters []map[string]parameter `json:"parameters"`
}

type feature struct {
	Geometry struct {
		Coordinates []float64 `json:"coordinates"` // longitude, latitude, metres above the sea
	} `json:"geometry"`
	Properties struct {
		ModelRun string                       `json:"modelRunDate"`
		Steps    []map[string]json.RawMessage `json:"timeSeries"`
	} `json:"properties"`
}

type parameter struct {
	Unit struct {
		Label  string `json:"label"`
		Symbol struct {
			Value string `json:"value"`
		} `json:"symbol"`
	} `json:"unit"`
}

// quantity is one field that is read: its units as their symbols are written,
// each with what brings it to ours, and what it can be.
type quantity struct {
	units map[string]scale
	fits  weather.Range
}

type scale struct{ times, plus float64 }

var (
	same     = scale{1, 0}
	speed    = map[string]scale{"m/s": same, "m s-1": same, "metres per second": same}
	celsius  = map[string]scale{"Cel": same, "°C": same, "degrees Celsius": same, "K": {1, -273.15}}
	percent  = map[string]scale{"%": same, "percentage": same, "percent": same}
	fraction = map[string]scale{"%": {0.01, 0}, "percentage": {0.01, 0}, "percent": {0.01, 0}}
)

// quantities are the fields read. All are instants at the stamp but those named
// total, max, min and prob, which are of the hour before it.
var quantities = map[string]quantity{
	"windSpeed10m":              {speed, weather.WindRange},
	"windGustSpeed10m":          {speed, weather.GustRange},
	"max10mWindGust":            {speed, weather.GustRange},
	"screenTemperature":         {celsius, weather.TempRange},
	"minScreenAirTemp":          {celsius, weather.TempRange},
	"screenDewPointTemperature": {celsius, weather.TempRange},
	"screenRelativeHumidity":    {percent, weather.PercentRange},
	"visibility":                {map[string]scale{"m": same, "metres": same}, weather.VisibilityRange},
	"totalPrecipAmount":         {map[string]scale{"mm": same, "millimetres": same}, weather.RainRange},
	"probOfPrecipitation":       {fraction, weather.FractionRange},
	"significantWeatherCode":    {map[string]scale{"1": same, "dimensionless": same, "": same}, weather.Range{Low: -1, High: 100}},
}

// thunderFrom and thunderTo bound the weather codes of thunder (from memory:
// 28 and 29 thunder shower, 30 thunder; check against the provider's list).
const thunderFrom, thunderTo = 28, 30

// Parse reads an answer: one series for each feature. Values belong to the
// hour between two stamps: the larger of the winds that bound it, the larger of
// the gust at its end, the highest gust of the hour, and the gust at its start;
// the rain and the chance of rain that stand at its end, which are of the hour
// before the stamp. An hour at whose end nothing is said stays unknown.
//
// Units are read from the answer and unknown ones refused by name. Where the
// answer says no unit of a quantity, that quantity is not read.
func Parse(body []byte, fetchedAt time.Time) ([]weather.Series, error) {
	var a answer
	if err := json.Unmarshal(body, &a); err != nil {
		return nil, &fault.Error{Kind: fault.Invalid, Field: "answer", Value: string(body[:min(len(body), 60)]), Want: "GeoJSON with hourly features", Err: err}
	}
	if a.Type != "FeatureCollection" || len(a.Features) == 0 || len(a.Features) > maxFeatures {
		return nil, fault.Bad("type", fmt.Sprintf("%s of %d features", a.Type, len(a.Features)), fmt.Sprintf("a FeatureCollection of 1 to %d features", maxFeatures))
	}
	scales, notes, err := a.scales()
	if err != nil {
		return nil, err
	}
	var all []weather.Series
	for i, f := range a.Features {
		s, err := f.series(scales)
		if err != nil {
			return nil, fmt.Errorf("features[%d]: %w", i, err)
		}
		s.FetchedAt, s.Notes = fetchedAt.UTC(), notes
		all = append(all, s)
	}
	return all, nil
}

// scales reads the units.
func (a answer) scales() (scales map[string]scale, notes []string, err error) {
	scales = map[string]scale{}
	for _, of := range a.Parameters {
		for name, p := range of {
			q, ours := quantities[name]
			if !ours {
				continue
			}
			unit := p.Unit.Symbol.Value
			by, ok := q.units[unit]
			if !ok {
				by, ok = q.units[p.Unit.Label]
			}
			if !ok {
				return nil, nil, fault.Bad("parameters."+name+".unit", unit, "one of "+strings.Join(keys(q.units), ", "))
			}
			scales[name] = by
		}
	}
	for _, name := range []string{"windSpeed10m", "totalPrecipAmount", "screenTemperature"} {
		if _, ok := scales[name]; !ok {
			notes = append(notes, fmt.Sprintf("the answer says no unit of %s, so it is not read", name))
		}
	}
	return scales, notes, nil
}

func keys(m map[string]scale) (list []string) {
	for _, unit := range []string{"m/s", "mm", "m", "%", "Cel", "K", "1"} {
		if _, ok := m[unit]; ok {
			list = append(list, unit)
		}
	}
	return list
}

func (f feature) series(scales map[string]scale) (weather.Series, error) {
	c := f.Geometry.Coordinates
	if len(c) < 2 || !(c[0] >= -180 && c[0] <= 180 && c[1] >= -90 && c[1] <= 90) {
		return weather.Series{}, fault.Bad("geometry.coordinates", fmt.Sprint(c), "longitude and latitude in degrees")
	}
	steps := f.Properties.Steps
	if len(steps) < 2 || len(steps) > maxSteps {
		return weather.Series{}, fault.Bad("properties.timeSeries", fmt.Sprintf("%d steps", len(steps)), fmt.Sprintf("from 2 to %d", maxSteps))
	}
	s := weather.Series{Provider: Provider, Lon: c[0], Lat: c[1]}
	if text := f.Properties.ModelRun; text != "" {
		run, err := stamp(text)
		if err != nil {
			return s, fault.Bad("properties.modelRunDate", text, "a time such as 2024-02-15T19:00Z")
		}
		s.ModelRun = run
	}
	member := weather.Member{}
	before, err := time.Time{}, error(nil)
	for i, step := range steps {
		var at time.Time
		if at, err = stampOf(step); err != nil {
			return s, fmt.Errorf("properties.timeSeries[%d]: %w", i, err)
		}
		if i > 0 {
			gap := at.Sub(before)
			if gap <= 0 || gap%time.Hour != 0 || gap > 48*time.Hour {
				return s, fault.Bad(fmt.Sprintf("properties.timeSeries[%d].time", i), at.Format(time.RFC3339), "one to 48 whole hours after the stamp before")
			}
			// Of a gap only its last hour is spoken of, and that by one end alone.
			for from := before; from.Before(at.Add(-time.Hour)); from = from.Add(time.Hour) {
				member.Hours = append(member.Hours, weather.Hour{From: from, Span: time.Hour})
			}
			first := steps[i-1]
			if gap > time.Hour {
				first = nil
			}
			member.Hours = append(member.Hours, hour(at.Add(-time.Hour), reader{first, scales}, reader{step, scales}))
		}
		before = at
	}
	s.Members = []weather.Member{member}
	return s, nil
}

// stamp reads 2024-02-15T19:00Z, with seconds or without.
func stamp(text string) (time.Time, error) {
	t, err := time.Parse("2006-01-02T15:04Z07:00", text)
	if err != nil {
		t, err = time.Parse(time.RFC3339, text)
	}
	return t.UTC(), err
}

func stampOf(step map[string]json.RawMessage) (time.Time, error) {
	var text string
	if err := json.Unmarshal(step["time"], &text); err != nil {
		return time.Time{}, fault.Bad("time", string(step["time"]), "a time such as 2024-02-15T19:00Z")
	}
	t, err := stamp(text)
	if err != nil {
		return t, fault.Bad("time", text, "a time such as 2024-02-15T19:00Z")
	}
	return t, nil
}

// reader reads the quantities of one stamp.
type reader struct {
	step   map[string]json.RawMessage // nil = there is no such stamp
	scales map[string]scale
}

func (r reader) get(name string) weather.Value {
	by, ok := r.scales[name]
	if !ok {
		return weather.Value{}
	}
	var v weather.Value
	if err := json.Unmarshal(r.step[name], &v); err != nil || !v.Known {
		return weather.Value{}
	}
	return quantities[name].fits.Keep(weather.Is(v.N*by.times + by.plus))
}

// hour reads the hour between two stamps.
func hour(from time.Time, start, end reader) weather.Hour {
	return weather.Hour{
		From: from, Span: time.Hour,
		WindMean:   weather.Higher(start.get("windSpeed10m"), end.get("windSpeed10m")),
		WindGust:   gust(start, end),
		Rain:       end.get("totalPrecipAmount"),
		RainChance: end.get("probOfPrecipitation"),
		Temp:       coldest(start, end),
		DewPoint:   start.get("screenDewPointTemperature"),
		Humidity:   start.get("screenRelativeHumidity"),
		Thunder:    thunder(start, end),
		Visibility: weather.Lower(start.get("visibility"), end.get("visibility")),
	}
}

// gust takes the larger of what is said: the gusts at both ends, and the
// highest of the hour. The two ends alone will do, and so will the highest.
func gust(start, end reader) weather.Value {
	ends, most := weather.Higher(start.get("windGustSpeed10m"), end.get("windGustSpeed10m")), end.get("max10mWindGust")
	if ends.Known && most.Known {
		return weather.Higher(ends, most)
	}
	if most.Known {
		return most
	}
	return ends
}

func coldest(start, end reader) weather.Value {
	bounds := weather.Lower(start.get("screenTemperature"), end.get("screenTemperature"))
	if least := end.get("minScreenAirTemp"); least.Known && bounds.Known {
		return weather.Lower(bounds, least)
	}
	return bounds
}

// thunder is known when both ends say what weather they have.
func thunder(start, end reader) weather.Value {
	a, b := start.get("significantWeatherCode"), end.get("significantWeatherCode")
	is := func(v weather.Value) bool { return v.Known && v.N >= thunderFrom && v.N <= thunderTo }
	switch {
	case is(a) || is(b):
		return weather.Is(1)
	case a.Known && b.Known:
		return weather.Is(0)
	}
	return weather.Value{}
}
