package api

import (
	"time"

	"toeboard/weather/civil"
)

// RoundKind names what is done once a day for a firm.
type RoundKind string

// Round is one thing that is done once for each local date of a firm.
type Round struct {
	Kind  RoundKind
	words string // "evening"
	At    int    // minutes after midnight on the firm's own clock
	Until int    // from then on it is too late to be of use, and is left out for that day
}

// dueDate gives the local date whose round is due, and whether it is. It looks
// at what the firm's clock shows: where the clocks go forward over the minute it
// is due right after, and where they go back the date is the same, so its row is
// there already.
func (r Round) dueDate(now time.Time, zone *time.Location) (civil.Date, bool) {
	local := now.In(zone)
	minute := local.Hour()*60 + local.Minute()
	return civil.DateOf(now, zone), minute >= r.At && minute < r.Until
}
