package weather

import (
	"fmt"
	"time"

	"toeboard/weather/civil"
)

// leastShare is how much of a half-day must be light for it to be worth
// starting: three quarters (common practice, no source).
const leastShare = 0.75

// WithinDaylight cuts the window to what the limits' daylight leaves of it: from
// so many minutes after civil dawn to so many before civil dusk, on whole five
// minutes, on the day on which the window begins. It says whether at least
// three quarters are left; if not, the half-day is not worth starting. Indoor
// work keeps its window. Without limits, place or zone nothing is left.
func (w Work) WithinDaylight(l Limits) (cut Work, enough bool) {
	if w.Task == Indoors {
		return w, true
	}
	row, ok := l.find(w.Task, Daylight)
	if !ok || !row.Stop.Known || w.Loc == nil || !w.To.After(w.From) {
		w.To = w.From
		return w, false
	}
	w.From, w.To, enough = daylightAt(w.Place, w.Loc).cut(w.From, w.To, row.Stop.N)
	return w, enough
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

// cut keeps a window more than so many minutes inside civil twilight.
func (d *daylight) cut(from, to time.Time, minutes float64) (start, end time.Time, enough bool) {
	const grid = 5 * time.Minute
	keep := time.Duration(minutes*float64(time.Minute)) + time.Second
	day := d.of(from)
	start, end = from, to
	switch day.Dawn.Kind {
	case SunCrosses:
		start = later(from, day.Dawn.At.Add(keep+grid-time.Nanosecond).Truncate(grid))
	case SunAlwaysAbove:
	default:
		return from, from, false
	}
	switch day.Dusk.Kind {
	case SunCrosses:
		end = earlier(to, day.Dusk.At.Add(-keep).Truncate(grid))
	case SunAlwaysAbove:
	default:
		return from, from, false
	}
	if !end.After(start) {
		return from, from, false
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
