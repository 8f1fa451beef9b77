package openmeteo

import (
	"maps"
	"slices"
	"strings"

	"toeboard/weather"
	"toeboard/weather/fault"
)

// variable is one quantity that is read from an answer.
type variable int

const (
	windMean variable = iota
	windGust
	rain
	rainChance
	temp
	dewPoint
	humidity
	cloud
	code
	variables
)

// kind says which units a variable may have and what it can be.
type kind struct {
	units map[string]func(float64) float64 // to the unit of weather.Hour
	fits  weather.Range
}

func same(n float64) float64    { return n }
func percent(n float64) float64 { return n / 100 }

var (
	speeds = map[string]func(float64) float64{
		"m/s":  same,
		"km/h": func(n float64) float64 { return n / 3.6 },
		"mp/h": func(n float64) float64 { return n / weather.MphPerMs },
		"kn":   func(n float64) float64 { return n * 1852 / 3600 },
	}
	depths = map[string]func(float64) float64{"mm": same, "inch": func(n float64) float64 { return n * 25.4 }}
	heats  = map[string]func(float64) float64{"°C": same, "°F": func(n float64) float64 { return (n - 32) * 5 / 9 }}
)

var kinds = [variables]kind{
	windMean:   {speeds, weather.WindRange},
	windGust:   {speeds, weather.GustRange},
	rain:       {depths, weather.RainRange},
	rainChance: {map[string]func(float64) float64{"%": percent}, weather.FractionRange},
	temp:       {heats, weather.TempRange},
	dewPoint:   {heats, weather.TempRange},
	humidity:   {map[string]func(float64) float64{"%": same}, weather.PercentRange},
	cloud:      {map[string]func(float64) float64{"%": same}, weather.PercentRange},
	code:       {map[string]func(float64) float64{"wmo code": same}, weather.Range{Low: 0, High: 99}},
}

// names holds the column names of each variable, the present one first and
// older spellings that recorded answers still have.
var names = map[string]variable{
	"wind_speed_10m": windMean, "windspeed_10m": windMean,
	"wind_gusts_10m": windGust, "windgusts_10m": windGust,
	"precipitation":             rain,
	"precipitation_probability": rainChance,
	"temperature_2m":            temp,
	"dew_point_2m":              dewPoint, "dewpoint_2m": dewPoint,
	"relative_humidity_2m": humidity, "relativehumidity_2m": humidity,
	"cloud_cover": cloud, "cloudcover": cloud,
	"weather_code": code, "weathercode": code,
}

// notOurs are columns that begin like one of ours and are something else.
var notOurs = []string{
	"cloud_cover_low", "cloud_cover_mid", "cloud_cover_high",
	"cloudcover_low", "cloudcover_mid", "cloudcover_high",
}

// centres are how the names of models begin, by the weather centre that runs
// them. A column's ending that begins otherwise is refused.
var centres = []string{
	"arpae_", "best_match", "bom_", "cma_", "dmi_", "dwd_", "ecmwf_", "era5", "gem_", "gfs", "icon_", "italia_",
	"jma_", "kma_", "knmi_", "meteofrance_", "meteoswiss_", "metno_", "ncep_", "ukmo_",
}

// statistics are endings of columns that describe the futures instead of being
// one.
var statistics = []string{"_mean", "_spread", "_max", "_min", "_median", "_std"}

// table holds the columns of an answer, sorted into futures.
type table struct {
	futures []string                               // in order: the control first
	of      map[string]*[variables][]weather.Value // by future
}

// columns reads every column that is of use.
func (a answer) columns(length int) (table, error) {
	t := table{of: map[string]*[variables][]weather.Value{}}
	for _, name := range slices.Sorted(maps.Keys(a.Hourly)) {
		v, base, ending, ours := recognise(name)
		if !ours {
			continue
		}
		future, err := futureOf(name, ending)
		if err != nil {
			return table{}, err
		}
		values, err := a.convert(name, base, v, length)
		if err != nil {
			return table{}, err
		}
		if t.of[future] == nil {
			t.of[future] = &[variables][]weather.Value{}
			t.futures = append(t.futures, future)
		}
		if t.of[future][v] != nil {
			return table{}, fault.Bad("hourly."+name, "", "one column for each quantity; this one is there under two spellings")
		}
		t.of[future][v] = values
	}
	if len(t.futures) == 0 {
		return table{}, fault.Bad("hourly", "", "at least one column of wind, rain, temperature or weather code")
	}
	slices.Sort(t.futures) // "" first, and a model's own run before its members
	return t, nil
}

// recognise splits a column's name into the variable's name and its ending.
func recognise(column string) (v variable, base, ending string, ours bool) {
	for _, other := range notOurs {
		if column == other || strings.HasPrefix(column, other+"_") {
			return 0, "", "", false
		}
	}
	for name, of := range names {
		if (column == name || strings.HasPrefix(column, name+"_")) && len(name) > len(base) {
			v, base, ours = of, name, true
		}
	}
	return v, base, strings.TrimPrefix(column, base), ours
}

// futureOf reads a column's ending: nothing, _memberNN, _model, or both. The
// future of the same name is the same in every variable.
func futureOf(column, ending string) (string, error) {
	if ending == "" {
		return "", nil
	}
	number, model := "", ending
	if rest, ok := strings.CutPrefix(ending, "_member"); ok {
		digits := len(rest) - len(strings.TrimLeft(rest, "0123456789"))
		if digits == 0 || digits > 4 {
			return "", refuseEnding(column, ending)
		}
		number, model = "member"+rest[:digits], rest[digits:]
	}
	if model == "" {
		return number, nil
	}
	name := strings.TrimPrefix(model, "_")
	isModel := func(centre string) bool { return strings.HasPrefix(name, centre) }
	isStatistic := func(end string) bool { return strings.HasSuffix(name, end) }
	if name == model || !slices.ContainsFunc(centres, isModel) || slices.ContainsFunc(statistics, isStatistic) {
		return "", refuseEnding(column, ending)
	}
	return strings.TrimSpace(name + " " + number), nil
}

func refuseEnding(column, ending string) error {
	return fault.Bad("hourly."+column, ending, "an ending that is a member (_member01) or a model's name (_icon_seamless)")
}

// convert reads a column and brings it to the units of weather.Hour. A member's
// column without a unit of its own has that of the variable; with neither it is
// refused.
func (a answer) convert(column, base string, v variable, length int) ([]weather.Value, error) {
	unit, ok := a.Units[column]
	if !ok {
		unit, ok = a.Units[base]
	}
	if !ok {
		return nil, fault.Bad("hourly_units."+column, "", "a unit; the column has none")
	}
	turn, ok := kinds[v].units[unit]
	if !ok {
		return nil, fault.Bad("hourly_units."+column, unit, "one of "+strings.Join(slices.Sorted(maps.Keys(kinds[v].units)), ", "))
	}
	values, err := numbers("hourly."+column, a.Hourly[column], length)
	if err != nil {
		return nil, err
	}
	for i, value := range values {
		if value.Known {
			values[i] = kinds[v].fits.Keep(weather.Is(turn(value.N)))
		}
	}
	return values, nil
}
