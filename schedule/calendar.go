package schedule

import (
	"time"

	"toeboard/weather/civil"
)

// WorkingDay tells whether the firm works on a day: not on Saturday, Sunday or
// one of its holidays.
func WorkingDay(d civil.Date, holidays []Holiday) bool {
	if w := d.Weekday(); w == time.Saturday || w == time.Sunday {
		return false
	}
	for _, h := range holidays {
		if h.Day == d {
			return false
		}
	}
	return true
}

// AddWorkingDays counts n working days on from d, back when n is negative: the
// next working day after d is the first. With n = 0 it gives d itself, working
// day or not. The unknown date stays unknown.
func AddWorkingDays(d civil.Date, n int, holidays []Holiday) civil.Date {
	if !d.Known() {
		return d
	}
	return newWorkdays(holidays).add(d, n)
}

// workdays answers the same questions often.
type workdays map[civil.Date]bool

func newWorkdays(holidays []Holiday) workdays {
	w := make(workdays, len(holidays))
	for _, h := range holidays {
		w[h.Day] = true
	}
	return w
}

func (w workdays) is(d civil.Date) bool {
	day := d.Weekday()
	return day != time.Saturday && day != time.Sunday && !w[d]
}

// farthest bounds a count, should somebody list every day as a holiday.
const farthest = 4000

func (w workdays) add(d civil.Date, n int) civil.Date {
	step := civil.Date(1)
	if n < 0 {
		step, n = -1, -n
	}
	for i := 0; n > 0 && i < farthest; i++ {
		d += step
		if w.is(d) {
			n--
		}
	}
	return d
}

// after counts the working days after from, up to and including to; none when
// either is not known.
func (w workdays) after(from, to civil.Date) (n int) {
	if !from.Known() || !to.Known() {
		return 0
	}
	for d := from + 1; d <= to; d++ {
		if w.is(d) {
			n++
		}
	}
	return n
}

// today is the firm's date when the snapshot was read; notice is counted from
// it. A snapshot without a time is read on its first day.
func (s *Snapshot) today() civil.Date {
	loc, err := s.Firm.Location()
	if s.Now.IsZero() || err != nil {
		return s.FirstDay
	}
	return civil.DateOf(s.Now, loc)
}

// lastDay is the last day that is planned.
func (s *Snapshot) lastDay() civil.Date { return s.FirstDay + civil.Date(s.Days) - 1 }

// frozenUntil is the last day on which published visits stay; the day before
// the first when none do.
func (s *Snapshot) frozenUntil() civil.Date {
	w := newWorkdays(s.Holidays)
	d := s.FirstDay - 1
	if s.Frozen > 0 {
		d = w.add(d, s.Frozen)
	}
	return d
}
