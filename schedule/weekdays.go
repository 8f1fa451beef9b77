package schedule

import (
	"slices"
	"strings"
	"time"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Weekdays is a set of days from Monday to Friday, a bit each. No scaffold firm
// is planned on a Saturday or a Sunday, so these have none.
type Weekdays uint8

// The weekdays, to be added up.
const (
	Monday Weekdays = 1 << iota
	Tuesday
	Wednesday
	Thursday
	Friday
)

// allWeekdays are those of a firm that never works.
const allWeekdays = Monday | Tuesday | Wednesday | Thursday | Friday

// WeekdaysOf reads names such as "friday". Another word is refused, and so is
// a day named twice.
func WeekdaysOf(names []string) (w Weekdays, err error) {
	for _, name := range names {
		n := slices.Index(WeekdayKeys(), name)
		if n < 0 || w&(1<<n) != 0 {
			return 0, fault.Bad("days off", name, "each once: "+strings.Join(WeekdayKeys(), ", "))
		}
		w |= 1 << n
	}
	if w == allWeekdays {
		return 0, fault.Bad("days off", strings.Join(names, ", "), "at most four: a firm that works on no day can be asked for nothing")
	}
	return w, nil
}

// WeekdayKeys lists the names that WeekdaysOf reads, from Monday on.
func WeekdayKeys() []string { return []string{"monday", "tuesday", "wednesday", "thursday", "friday"} }

// Names gives the days as WeekdaysOf reads them, from Monday on.
func (w Weekdays) Names() (names []string) {
	for n, name := range WeekdayKeys() {
		if w&(1<<n) != 0 {
			names = append(names, name)
		}
	}
	return names
}

// Has tells whether a date falls on one of the days.
func (w Weekdays) Has(d civil.Date) bool {
	return w&weekdayOf(d) != 0
}

// weekdayOf is the set of just the weekday of a date; none at weekends.
func weekdayOf(d civil.Date) Weekdays {
	if day := d.Weekday(); day != time.Saturday && day != time.Sunday {
		return Monday << (day - time.Monday)
	}
	return 0
}

// Words writes the days as people say them: "Thursdays and Fridays"; "" = none.
func (w Weekdays) Words() string {
	var said []string
	for _, name := range w.Names() {
		said = append(said, capital(name)+"s")
	}
	return listed(said)
}

// valid tells whether it is a set of weekdays that leaves one to work on.
func (w Weekdays) valid() bool { return w < allWeekdays }
