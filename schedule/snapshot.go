package schedule

import (
	"time"

	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// Firm is the lead installer whose plan it is.
type Firm struct {
	ID               uuid.UUID
	Name             string
	TimeZone         string // IANA
	Division         string // whose bank holidays: england-and-wales, scotland, northern-ireland
	Hours            civil.Hours
	Rates            Rates
	BaseLat, BaseLon float64 // [degrees]
}

// Location gives the firm's zone.
func (f Firm) Location() (*time.Location, error) { return time.LoadLocation(f.TimeZone) }

// Snapshot is everything a plan rests on, read in one transaction. The planner,
// the validator and the price read nothing else.
type Snapshot struct {
	Firm          Firm
	Now           time.Time  // UTC; when it was read
	FirstDay      civil.Date // the first day that may still be planned
	Days          int        // how far the plan looks, 1 to 400
	Holidays      []Holiday
	Crews         []Crew
	ScaffoldFirms []ScaffoldFirm
	Jobs          []Job        // open jobs, by reference
	Bookings      []Booking    // live ones
	Refused       []RefusedDay // days that scaffold firms said they cannot do, whatever their bookings say now
	Outlooks      []Outlook    // one per site and outdoor task, and for each scaffold firm with a gust limit of its own
	Pins          []Pin        // what people fixed, and did not take away again
	Travel        []Leg        // distances by road that the firm gave; the others are estimated
	Offers        []HeldOffer  // places that customers were told; Hold puts them in
	Base          *Plan        // the published plan; nil = none yet
	Frozen        int          // [working days] from FirstDay in which published visits stay, start value 2
}

// Outlook is what the weather room says of one site and one task: the chance of
// each half-day from First on. Half-days beyond the slice are unknown. Erection
// and strike by a scaffold firm with a gust limit of its own have their own.
type Outlook struct {
	Site    uuid.UUID
	By      uuid.UUID // the scaffold firm whose gust limit it keeps; Nil = no firm's own
	Task    weather.Task
	First   civil.HalfDay
	Chances []weather.Chance
}

// At gives the chance of one half-day; unknown outside the outlook.
func (o Outlook) At(s civil.HalfDay) weather.Chance {
	i := int(s - o.First)
	if i < 0 || i >= len(o.Chances) {
		return weather.Chance{}
	}
	return o.Chances[i]
}

// Stop says when a search ends: after so many schedules generated, or earlier
// when the context is done. The number of schedules and of workers, not the
// clock, makes the answer reproducible.
type Stop struct {
	Schedules int
	Workers   int            // searches side by side, 0 = 1
	Progress  func(Progress) // told now and then how far the search is, by one goroutine at a time; nil = nobody
}

// Progress is how far a search is.
type Progress struct {
	Schedules, Of int   // generated so far, and asked for
	Best          Pence // cost of the best plan so far
	Bound         Pence // no plan costs less; 0 = nothing is proven
}

// Violation is one constraint that a plan breaks.
type Violation struct {
	Rule  string // "one crew, one place"
	Job   uuid.UUID
	Stage StageKind
	Say   string // one sentence with the numbers
}
