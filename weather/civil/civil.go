// Package civil counts the days and half-days that a firm works in. A date is
// a date, never midnight somewhere: the same half-day is a different instant in
// another zone, and on two days of the year a different number of hours.
//
// It stands beneath weather because weather is the one room all others may
// import: forecast, plan and morning decision all count in these units.
package civil

import (
	"database/sql/driver"
	"fmt"
	"time"

	"toeboard/weather/fault"
)

// Date is a day of the Gregorian calendar as days since 1970-01-01. It has no
// zone and no hour. The zero value is 1970-01-01; use NoDate for "not known".
type Date int32

// NoDate is the date that is not known. It is before every real date.
const NoDate Date = -1 << 31

const day = 24 * time.Hour

// On gives the date of a year, month and day, normalised as time.Date does.
func On(year int, month time.Month, dayOfMonth int) Date {
	return Date(time.Date(year, month, dayOfMonth, 0, 0, 0, 0, time.UTC).Unix() / int64(day/time.Second))
}

// DateOf gives the date that a clock in loc shows at t.
func DateOf(t time.Time, loc *time.Location) Date {
	y, m, d := t.In(loc).Date()
	return On(y, m, d)
}

// Parse reads 2026-12-31 (ISO 8601). Other spellings are refused.
func Parse(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return NoDate, fault.Bad("date", s, "write it as 2026-12-31")
	}
	return On(t.Date()), nil
}

// MustParse is Parse for constants in tests and tables; it panics on a bad one.
func MustParse(s string) Date {
	d, err := Parse(s)
	if err != nil {
		panic(err)
	}
	return d
}

// Known reports whether the date is a real one.
func (d Date) Known() bool { return d != NoDate }

func (d Date) utc() time.Time { return time.Unix(int64(d)*int64(day/time.Second), 0).UTC() }

// Civil gives year, month and day of the month.
func (d Date) Civil() (int, time.Month, int) { return d.utc().Date() }

// Weekday gives the day of the week.
func (d Date) Weekday() time.Weekday { return d.utc().Weekday() }

// At gives the instant at which a clock in loc shows this date and hh:mm. An
// hour that the clocks skip in spring is read as time.Date reads it.
func (d Date) At(hour, minute int, loc *time.Location) time.Time {
	y, m, dd := d.Civil()
	return time.Date(y, m, dd, hour, minute, 0, 0, loc)
}

// String writes 2026-12-31, or "unknown".
func (d Date) String() string {
	if !d.Known() {
		return "unknown"
	}
	return d.utc().Format(time.DateOnly)
}

// Short writes "Mon 7 Dec", for boards and messages where the year is plain.
func (d Date) Short() string {
	if !d.Known() {
		return "unknown"
	}
	return d.utc().Format("Mon 2 Jan")
}

// Long writes "Monday 7 December 2026".
func (d Date) Long() string {
	if !d.Known() {
		return "unknown"
	}
	return d.utc().Format("Monday 2 January 2006")
}

// MarshalText writes the date for JSON; the unknown date is empty.
func (d Date) MarshalText() ([]byte, error) {
	if !d.Known() {
		return nil, nil
	}
	return []byte(d.String()), nil
}

// UnmarshalText reads what MarshalText writes.
func (d *Date) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*d = NoDate
		return nil
	}
	got, err := Parse(string(b))
	if err != nil {
		return err
	}
	*d = got
	return nil
}

// Scan reads a SQL date; NULL becomes NoDate.
func (d *Date) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*d = NoDate
	case time.Time:
		*d = On(v.Date())
	case string:
		return d.UnmarshalText([]byte(v))
	default:
		return fmt.Errorf("civil: a date cannot be read from %T", src)
	}
	return nil
}

// Value writes a SQL date; NoDate becomes NULL.
func (d Date) Value() (driver.Value, error) {
	if !d.Known() {
		return nil, nil
	}
	return d.utc(), nil
}
