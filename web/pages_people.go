package web

import "time"

// People is who works here and what they may do.
//
// Forms. PIN: pin, password (only where AskPassword), key. The Fault.Field is
// pin-<person> or password-<person>. Competence: kind, from, until (may be
// empty), evidence, key; the Fault.Field is can-<person>.
type People struct {
	Sheet
	People      []PersonRow
	Kinds       []Choice // the competences there are
	AskPassword bool     // the caller sets their own PIN with their password
}

// PersonRow is one person.
type PersonRow struct {
	ID, Name, Role string
	PINSet         time.Time // zero = none is set: this person cannot sign
	PINAction      string    // POST
	Can            []Competence
	CanAction      string // POST: kind, from, until, evidence, key; "" = may not
}

// Competence is something a person may do.
type Competence struct {
	What, Until, Evidence string
	State                 State // Met = valid today, NotMet = expired, Unknown = not yet begun
}

// Question is what the page answers.
func (People) Question() string { return "Who may do what, and who can sign?" }
func (People) template() string { return "people" }
