package main

import (
	"time"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// clock is where the program reads the time. The demo's is moved: it starts at
// 07:15 of a working morning, whatever the hour at which it is started, and
// runs from there.
type clock struct{ ahead time.Duration }

// Now gives the clock's instant in UTC.
func (c clock) Now() time.Time { return time.Now().Add(c.ahead).UTC() }

// morningClock gives a clock that now shows 07:15 on the first working morning
// that has not begun yet when at is real time, and that morning's date.
func morningClock(at time.Time, loc *time.Location, holidays []schedule.Holiday) (clock, civil.Date) {
	day := civil.DateOf(at, loc)
	if at.After(day.At(7, 15, loc)) {
		day++
	}
	for !schedule.WorkingDay(day, holidays) {
		day++
	}
	return clock{ahead: day.At(7, 15, loc).Sub(at)}, day
}
