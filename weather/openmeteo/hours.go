package openmeteo

import (
	"fmt"
	"math"
	"time"

	"toeboard/weather"
)

// hours turns the stamps of one future into hours. The hour [T-1h, T) takes
// gust, rain and probability from the stamp T, and its mean wind and temperature
// from the two instants that bound it; the first hour has but one of those and
// keeps them unknown. Hours that the answer leaves out are there as unknown.
func hours(stamps []time.Time, columns *[variables][]weather.Value, odd *oddities) []weather.Hour {
	at := func(v variable, i int) weather.Value {
		if i < 0 || columns[v] == nil {
			return weather.Value{}
		}
		return columns[v][i]
	}
	first := stamps[0].Add(-time.Hour)
	all := make([]weather.Hour, 0, int(stamps[len(stamps)-1].Sub(first)/time.Hour))
	var ratio constancy
	for i, stamp := range stamps {
		before := i - 1 // the stamp one hour earlier, if the answer has it
		if i > 0 && stamp.Sub(stamps[i-1]) > time.Hour {
			for gap := stamps[i-1]; gap.Before(stamp.Add(-time.Hour)); gap = gap.Add(time.Hour) {
				all = append(all, weather.Hour{From: gap, Span: time.Hour})
			}
			before = -1
		}
		h := weather.Hour{
			From:       stamp.Add(-time.Hour),
			Span:       time.Hour,
			WindMean:   weather.Higher(at(windMean, before), at(windMean, i)),
			WindGust:   at(windGust, i),
			Rain:       at(rain, i),
			RainChance: at(rainChance, i),
			Temp:       weather.Lower(at(temp, before), at(temp, i)),
			DewPoint:   at(dewPoint, before),
			Humidity:   at(humidity, before),
			Cloud:      at(cloud, before),
			Thunder:    thunder(at(code, before), at(code, i)),
		}
		odd.look(h, at(windMean, i))
		ratio.look(h.WindGust, at(windMean, i))
		all = append(all, h)
	}
	if ratio.suspicious() {
		odd.derivedGusts++
		dropDerived(all)
	}
	return all
}

// dropDerived takes gusts that look derived from the mean as missing, so that
// the declared factor with its spread stands in and says so. One that is above
// what the factor gives stays: taking it away would loosen.
func dropDerived(hours []weather.Hour) {
	for i := range hours {
		h := &hours[i]
		if h.WindGust.Known && h.WindMean.Known && h.WindGust.N <= weather.GustFrom(h.WindMean.N) {
			h.WindGust = weather.Value{}
		}
	}
}

// thunder reads the weather codes at both ends of an hour (World Meteorological
// Organization, table 4677): one that means thunder is enough, two that do not
// are needed for none.
func thunder(a, b weather.Value) weather.Value {
	switch {
	case isThunder(a) || isThunder(b):
		return weather.Is(1)
	case a.Known && b.Known:
		return weather.Is(0)
	default:
		return weather.Value{}
	}
}

// isThunder: 13 lightning seen, 17 thunder heard, 29 and 91 to 94 in the hour
// before, 95 to 99 now.
func isThunder(code weather.Value) bool {
	return code.Known && (code.N == 13 || code.N == 17 || code.N == 29 || code.N >= 91)
}

// oddities counts what the sanity gates met.
type oddities struct{ hours, gustBelowMean, derivedGusts int }

// look compares the hour's gust with the mean wind at the hour's end.
func (o *oddities) look(h weather.Hour, instant weather.Value) {
	o.hours++
	if h.WindGust.Known && instant.Known && h.WindGust.N < instant.N {
		o.gustBelowMean++
	}
}

func (o oddities) notes() []string {
	var notes []string
	if o.gustBelowMean > 0 {
		notes = append(notes, fmt.Sprintf("gust below the mean wind in %d of %d hours: the mean is used there", o.gustBelowMean, o.hours))
	}
	if o.derivedGusts > 0 {
		notes = append(notes, "gust is the same multiple of the mean wind in every hour: it looks derived, not forecast, and is taken as missing: estimated from the mean")
	}
	return notes
}

// constancy watches whether gust over mean is the same all along.
type constancy struct {
	last        float64
	count, same int
}

func (c *constancy) look(gust, mean weather.Value) {
	if !gust.Known || !mean.Known || mean.N < 1 {
		return // a ratio to next to nothing says nothing
	}
	ratio := gust.N / mean.N
	if c.count > 0 && math.Abs(ratio-c.last) < 0.005 {
		c.same++
	}
	c.last = ratio
	c.count++
}

func (c *constancy) suspicious() bool { return c.count >= 24 && c.same == c.count-1 }
