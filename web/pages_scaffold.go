package web

import "time"

// ScaffoldPage is a scaffold firm's own page, opened by a private link without
// an account. Confirming sends key; offering another day sends on (a date) and
// key; a fault of that date is named on-<booking's ID>. Saying that it is up or
// down sends on and key; a fault is named up-<booking's ID> or down-<booking's
// ID>; one of a certificate, sent as file, is named file-<booking's ID>.
type ScaffoldPage struct {
	Sheet
	ScaffoldFirm string
	Installer    string // whose page it is
	Contact      string // whom to ring: "Asha Verma"
	Phone        string
	Bookings     []Wanted
	FeedAddress  string // to copy into a calendar; "" = no feed
	CSVHref      string // "" = none
	Until        Day    // last day on which the address opens this page; "" = it has no end
}

// Wanted is one booking as the scaffold firm needs to know it.
type Wanted struct {
	ID                string
	Ref               string
	Address           string
	Postcode          string
	Erect, Strike     Day
	State             WantedState
	StateWords        string  // goes on after the state: "since Tue 24 Nov"; "" = nothing to add
	HeightM           float64 // [m] of the highest work; 0 = not stated
	Lifts             string  // "to eaves and one gable"; "" = not stated
	LoadClass         int     // EN 12811-1 wanted; 0 = not stated
	LoadKNM2          float64 // [kN/m2]
	Access            string  // how the site is reached, and what to be careful of there
	Contact           string  // on site
	Phone             string  // of the contact
	Offered           Day     // the other day you offered
	Changed           string  // what changed last and why; "" = nothing did
	ChangedAt         time.Time
	ConfirmAction     string // POST; "" = nothing to confirm
	OfferAction       string // POST; "" = may not
	RefuseAction      string // POST: the day cannot be done, and no other is offered; "" = may not
	OfferOn           Day    // as typed before, when sent back
	OfferFrom         Day    // first and last day that may be offered
	OfferTo           Day
	ErectedAction     string   // POST: it is up; "" = it is not the next step
	StruckAction      string   // POST: it is down; "" = it is not the next step
	MarkOn            Day      // day shown in those two
	CertificateAction string   // POST, multipart, field file; "" = it does not stand
	Certificates      []string // names of the files that were sent
	Folded            bool     // set by Sorted: it opens when it is asked for
}

// WantedState is where a booking stands for the scaffold firm.
type WantedState int

// Where a booking stands.
const (
	WantedUnknown WantedState = iota
	WantedAnswer              // waits for their answer
	WantedConfirmed
	WantedOffered // they offered another day; waits for the office
	WantedRefused // they cannot do the day and offered no other
	WantedStanding
	WantedDown // it stands, and the office wants it down
	WantedStruck
	WantedCancelled
)

// String writes it in words.
func (s WantedState) String() string {
	switch s {
	case WantedAnswer:
		return "waits for your answer"
	case WantedConfirmed:
		return "confirmed"
	case WantedOffered:
		return "other day offered"
	case WantedRefused:
		return "you cannot do this day"
	case WantedStanding:
		return "standing"
	case WantedDown:
		return "please take it down on"
	case WantedStruck:
		return "struck"
	case WantedCancelled:
		return "cancelled"
	default:
		return "not known"
	}
}

// Question is what the page answers.
func (ScaffoldPage) Question() string { return "What do you need from us, and when?" }
func (ScaffoldPage) template() string { return "scaffold" }
