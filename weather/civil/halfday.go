package civil

import (
	"fmt"
	"time"
)

// Half tells morning from afternoon.
type Half int

// The two halves of a working day.
const (
	Morning Half = iota
	Afternoon
)

// String writes "morning" or "afternoon".
func (h Half) String() string {
	if h == Morning {
		return "morning"
	}
	return "afternoon"
}

// HalfDay is the smallest piece of time that a visit is planned in: morning or
// afternoon of one date, counted as 2 x days since 1970-01-01, plus one for the
// afternoon.
type HalfDay int32

// NoHalfDay is the half-day that is not known. It is before every real one.
const NoHalfDay HalfDay = -1 << 31

// In gives the half-day of a date.
func (d Date) In(h Half) HalfDay { return HalfDay(d)*2 + HalfDay(h) }

// Known reports whether the half-day is a real one.
func (s HalfDay) Known() bool { return s != NoHalfDay }

// Date gives the date of the half-day.
func (s HalfDay) Date() Date { return Date(s >> 1) }

// Half tells morning from afternoon.
func (s HalfDay) Half() Half { return Half(s & 1) }

// String writes "2026-12-31 morning", or "unknown".
func (s HalfDay) String() string {
	if !s.Known() {
		return "unknown"
	}
	return fmt.Sprintf("%s %s", s.Date(), s.Half())
}

// Short writes "Mon 7 Dec am", for boards and messages.
func (s HalfDay) Short() string {
	if !s.Known() {
		return "unknown"
	}
	return s.Date().Short() + [...]string{" am", " pm"}[s.Half()]
}

// Hours says when a firm's two half-days start and end by the clock on the
// wall of its own zone, in minutes after midnight. The start hour of the
// morning is also the hour for which the morning decision is made.
type Hours struct {
	MorningStart, MorningEnd     int
	AfternoonStart, AfternoonEnd int
}

// UsualHours are 08:00-12:00 and 12:30-16:30 (common practice, no source).
// The afternoon is as long as the morning so that a half-day is a half-day.
var UsualHours = Hours{MorningStart: 8 * 60, MorningEnd: 12 * 60, AfternoonStart: 12*60 + 30, AfternoonEnd: 16*60 + 30}

// Window gives the instants between which the half-day is worked: from
// inclusive, to exclusive, both in UTC.
func (h Hours) Window(s HalfDay, loc *time.Location) (from, to time.Time) {
	a, b := h.MorningStart, h.MorningEnd
	if s.Half() == Afternoon {
		a, b = h.AfternoonStart, h.AfternoonEnd
	}
	d := s.Date()
	return d.At(a/60, a%60, loc).UTC(), d.At(b/60, b%60, loc).UTC()
}
