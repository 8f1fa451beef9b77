package web

import "time"

// People is who works here and what they may do.
//
// Forms. PIN: pin, password (only where AskPassword), key. The Fault.Field is
// pin-<person> or password-<person>.
type People struct {
	Sheet
	People      []PersonRow
	AskPassword bool // the caller sets their own PIN with their password
}

// PersonRow is one person.
type PersonRow struct {
	ID, Name, Role string
	PINSet         time.Time // zero = none is set: this person cannot sign
	PINAction      string    // POST
}

// Question is what the page answers.
func (People) Question() string { return "Who may do what, and who can sign?" }
func (People) template() string { return "people" }
