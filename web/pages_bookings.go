package web

import "fmt"

// BookingsPage tells the office what scaffold is booked, what it has cost so far
// and what could come down. Each form sends key; OffHire sends on (a date) too,
// and a fault of it is named on-<booking's ID>.
type BookingsPage struct {
	Sheet
	Offers  []OfferRow   // days that scaffold firms offer or refuse: they wait for the office
	Strikes []StrikeRow  // worth striking first
	Rows    []BookingRow // what stands, then what is to come
	CSVHref string
}

// OfferRow is a booking that waits for the office.
type OfferRow struct {
	ID, Ref, Href string
	Firm          string
	Says          string // "They offer Fri 11 Dec instead of Wed 9 Dec"
	Cost          string // what taking it does, in words; "" = not worked out
	CostHref      string // where it is worked out; "" = nowhere
	Take          string // POST; "" = may not
	TakeWords     string // "Take Fri 11 Dec"
	Decline       string // POST; "" = may not
}

// StrikeRow is a scaffold that stands for nothing.
type StrikeRow struct {
	ID, Ref, Href string
	Place         string
	Why           string
	Asked         bool   // the scaffold firm was asked already
	OffHire       string // POST; "" = may not
	On            Day    // as shown in its input
	Earliest      Day
}

// BookingRow is one booking.
type BookingRow struct {
	ID, Ref, Href string
	Place, Firm   string
	State         string // in words
	Erect, Strike Day
	Stands        bool
	Weeks         string // "3 weeks begun, 4 in the price"; "" = not up yet
	SoFar         Money
	Next          Day // first day of the next week that is charged
	PerWeek       Money
	Soon          bool   // a new week of hire begins within days, before the strike
	Inspected     string // POST: a competent person saw it; "" = not the next step
	Keep          string // POST: it is to stay after all; "" = nobody asked to have it down
	Files         []FileLink
}

// FileLink is a file that somebody sent.
type FileLink struct{ Words, Href string }

// Question is what the page answers.
func (BookingsPage) Question() string { return "Which scaffolds are booked, and what do they cost?" }
func (BookingsPage) template() string { return "bookings" }

// Says is the answer in one line.
func (p BookingsPage) Says() string {
	standing, soon := 0, 0
	var so Money
	for _, r := range p.Rows {
		if r.Stands {
			standing++
			so += r.SoFar
		}
		if r.Soon {
			soon++
		}
	}
	s := fmt.Sprintf("%s, %s of hire run up beyond the included weeks.", count(standing, "scaffold stands", "scaffolds stand"), so)
	if so == 0 {
		s = count(standing, "scaffold stands", "scaffolds stand") + ", no hire beyond the included weeks yet."
	}
	if soon > 0 {
		s += " A new week of hire begins within three days on " + count(soon, "scaffold", "scaffolds") + "."
	}
	if n := len(p.Offers); n > 0 {
		s += " " + upperFirst(count(n, "scaffold firm waits", "scaffold firms wait")) + " for your answer."
	}
	return s
}
