package composed

import (
	"fmt"
	"math"
	"strconv"
	"time"
)

// Largest answers composed.
const (
	maxDays    = 35
	maxMembers = 99
)

// Body composes the answer for one place as the ensemble interface would give
// it at the instant now: hours from midnight UTC of the day before to the end
// of the forecast days, the control and members perturbed runs. Days and
// members are kept within 1 to 35 and 0 to 99. The answer says that it is
// composed, and the reader passes that on.
func Body(lat, lon float64, now time.Time, days, members int, seed uint64) []byte {
	days = min(max(days, 1), maxDays)
	members = min(max(members, 0), maxMembers)
	issued := now.UTC().Truncate(24 * time.Hour)
	c := composer{seed: seed, place: placeAt(lat, lon), issued: issued, first: issued.Add(-24 * time.Hour), stamps: (days + 1) * 24}
	b := make([]byte, 0, c.stamps*(members+1)*44)
	b = fmt.Appendf(b, `{"composed":true,"note":"synthetic: composed for a demonstration, no weather service said this","latitude":%s,"longitude":%s,"generationtime_ms":0,"utc_offset_seconds":0,"timezone":"GMT","timezone_abbreviation":"GMT","elevation":0,`,
		strconv.FormatFloat(lat, 'f', -1, 64), strconv.FormatFloat(lon, 'f', -1, 64))
	b = append(b, `"hourly_units":{"time":"iso8601"`...)
	for m := range members + 1 {
		for _, v := range columns {
			b = fmt.Appendf(b, `,%q:%q`, v.name+ending(m), v.unit)
		}
	}
	b = append(b, `},"hourly":{"time":[`...)
	for i := range c.stamps {
		if i > 0 {
			b = append(b, ',')
		}
		b = c.stamp(i).AppendFormat(b, `"2006-01-02T15:04"`)
	}
	b = append(b, ']')
	for m := range members + 1 {
		b = c.appendRun(b, m)
	}
	return append(b, `}}`...)
}

// columns are what is composed, in the service's names and the units that the
// client asks for.
var columns = [...]struct{ name, unit string }{
	{"wind_speed_10m", "m/s"}, {"wind_gusts_10m", "m/s"}, {"precipitation", "mm"}, {"temperature_2m", "°C"},
	{"dew_point_2m", "°C"}, {"relative_humidity_2m", "%"}, {"cloud_cover", "%"}, {"weather_code", "wmo code"},
}

// ending names a run's columns: nothing for the control, _member01 and so on.
func ending(member int) string {
	if member == 0 {
		return ""
	}
	return fmt.Sprintf("_member%02d", member)
}

type composer struct {
	seed          uint64
	place         place
	issued, first time.Time
	stamps        int
}

func (c composer) stamp(i int) time.Time { return c.first.Add(time.Duration(i) * time.Hour) }

// appendRun writes the columns of one run.
func (c composer) appendRun(b []byte, member int) []byte {
	var values [len(columns)][]float64
	for k := range values {
		values[k] = make([]float64, c.stamps)
	}
	before := c.see(member, c.first.Add(-time.Hour))
	for i := range c.stamps {
		now := c.see(member, c.stamp(i))
		// Of the hour before the stamp: the gusts of its windier end, the rain of
		// both its ends.
		gust := math.Max(before.mean*before.gusty, now.mean*now.gusty) + 0.4
		rain := round1((before.rain + now.rain) / 2)
		for k, v := range []float64{now.mean, gust, rain, now.temp, now.dew, humidity(now.temp, now.dew), now.cloud, code(now, rain)} {
			values[k][i] = v
		}
		before = now
	}
	for k, column := range columns {
		b = fmt.Appendf(b, `,%q:[`, column.name+ending(member))
		for i, v := range values[k] {
			if i > 0 {
				b = append(b, ',')
			}
			if column.unit == "%" || column.unit == "wmo code" {
				b = strconv.AppendInt(b, int64(math.Round(v)), 10)
			} else {
				b = strconv.AppendFloat(b, round1(v)+0, 'f', 1, 64)
			}
		}
		b = append(b, ']')
	}
	return b
}

// see gives the sky of an instant as a run of this forecast has it. Half of the
// error that all runs share stays from one day's forecast to the next, so that
// forecasts drift to the truth and do not jump about it.
func (c composer) see(member int, t time.Time) sky {
	lead := math.Max(0, t.Sub(c.issued).Hours())
	hours := t.Sub(epoch).Hours()
	issue := uint64(c.issued.Sub(epoch) / (24 * time.Hour))
	shared := func(salt uint64) float64 {
		return 0.7*wave(c.seed, 100+salt, hours/40) + 0.7*wave(c.seed+issue*7919, 110+salt, hours/40)
	}
	own := func(salt uint64) float64 {
		if member == 0 {
			return 0
		}
		return 1.4 * wave(c.seed+issue*7919+uint64(member)*104729, 120+salt, hours/40)
	}
	return at(c.seed, c.place, t, mistake{
		shift: (0.2 + 0.045*lead + 0.0006*lead*lead) * (shared(0) + own(0)),
		wind:  math.Min(2, 0.15+0.012*lead) * (shared(1) + own(1)),
		temp:  math.Min(2.5, 0.15+0.012*lead) * (shared(2) + own(2)),
	})
}

// humidity gives the relative humidity [%] from temperature and dew point
// (Magnus, 17.625 and 243.04).
func humidity(temp, dew float64) float64 {
	magnus := func(t float64) float64 { return math.Exp(17.625 * t / (243.04 + t)) }
	return clamp(100*magnus(dew)/magnus(temp), 1, 100)
}

// code gives the weather code of the shape's table (WMO 4677): thunderstorm,
// snow, rain, drizzle, or how much of the sky is covered.
func code(s sky, rain float64) float64 {
	switch {
	case s.thunder && rain > 0:
		return 95
	case rain > 0 && s.temp < 0.5:
		return 71
	case rain >= 4:
		return 65
	case rain >= 1.5:
		return 63
	case rain >= 0.3:
		return 61
	case rain > 0:
		return 51
	case s.cloud > 80:
		return 3
	case s.cloud > 40:
		return 2
	case s.cloud > 15:
		return 1
	default:
		return 0
	}
}

func round1(v float64) float64 { return math.Round(v*10) / 10 }
