package weather

import (
	"fmt"
	"time"

	"toeboard/weather/civil"
)

// leastShare is how much of a half-day must be light for it to be worth
// starting: three quarters (common practice, no source).
const leastShare = 0.75

// WithinDaylight cuts a window to civil daylight at a place: what can be worked
// of it, and whether that is at least three quarters. The day is that on which
// the window begins in loc.
func WithinDaylight(p Place, from, to time.Time, loc *time.Location) (start, end time.Time, enough bool) {
	if loc == nil || !to.After(from) {
		return from, to, false
	}
	return daylightAt(p, loc).cut(from, to)
}

// daylight knows the sun of a place, each day asked for once.
type daylight struct {
	place Place
	loc   *time.Location
	days  map[civil.Date]SunDay
}

func daylightAt(p Place, loc *time.Location) *daylight {
	return &daylight{place: p, loc: loc, days: map[civil.Date]SunDay{}}
}

func (d *daylight) of(t time.Time) SunDay {
	date := civil.DateOf(t, d.loc)
	day, ok := d.days[date]
	if !ok {
		day = Sun(date, d.place.Lat, d.place.Lon, d.loc)
		d.days[date] = day
	}
	return day
}

// margin gives by how many minutes a stretch keeps inside civil twilight,
// negative when part of it is dark, on the day on which it begins.
func (d *daylight) margin(from, to time.Time) Value {
	const halfADay = 12 * 60
	day := d.of(from)
	side := func(e SunTime, minutes float64) Value {
		switch e.Kind {
		case SunCrosses:
			return Is(minutes)
		case SunAlwaysAbove:
			return Is(halfADay)
		case SunAlwaysBelow:
			return Is(-halfADay)
		default:
			return Value{}
		}
	}
	return Lower(side(day.Dawn, from.Sub(day.Dawn.At).Minutes()), side(day.Dusk, day.Dusk.At.Sub(to).Minutes()))
}

func (d *daylight) cut(from, to time.Time) (start, end time.Time, enough bool) {
	day := d.of(from)
	start, end = from, to
	switch day.Dawn.Kind {
	case SunCrosses:
		start, end = later(from, day.Dawn.At), earlier(to, day.Dusk.At)
	case SunAlwaysAbove:
	default:
		return from, from, false
	}
	if day.Dusk.Kind != SunCrosses && day.Dusk.Kind != SunAlwaysAbove {
		return from, from, false
	}
	if day.Dusk.Kind == SunAlwaysAbove {
		end = to
	}
	return start, end, end.Sub(start).Hours() >= leastShare*to.Sub(from).Hours()
}

func (d *daylight) whyDark(from time.Time) string {
	day := d.of(from)
	if day.Dawn.Kind != SunCrosses || day.Dusk.Kind != SunCrosses {
		return "dark all day"
	}
	return fmt.Sprintf("light only from %s to %s", day.Dawn.At.In(d.loc).Format("15:04"), day.Dusk.At.In(d.loc).Format("15:04"))
}
