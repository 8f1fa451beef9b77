package web

import (
	"slices"
	"time"
)

// People is who works here and what they may do.
//
// Forms. PIN: pin, password (only where AskPassword), key. The Fault.Field is
// pin-<person> or password-<person>. Competence: kind, from, until (may be
// empty), evidence, key; the Fault.Field is can-<person>. Induction: on, given_by,
// covered (keys of topics), pin of the person, key; the Fault.Field is
// told-<field>-<person>.
type People struct {
	Sheet
	People      []PersonRow
	Topics      []Topic  // that an induction covers
	Today       string   // ISO date
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
	Inducted       State
	InductedSays   string   // "inducted in all 10 topics"
	NotTold        []string // topics still to be covered
	Told           []string // what was covered when and by whom
	InductAction   string   // POST; "" = may not
	Typed          InductionForm
}

// Topic is one thing that whoever starts is told.
type Topic struct {
	Key, Say, Source string
}

// InductionForm is what was typed of an induction.
type InductionForm struct {
	On, GivenBy string
	Covered     []string
}

// Has tells whether a topic was ticked.
func (f InductionForm) Has(key string) bool { return slices.Contains(f.Covered, key) }

// Competence is something a person may do.
type Competence struct {
	What, Until, Evidence string
	State                 State // Met = valid today, NotMet = expired, Unknown = not yet begun
}

// Question is what the page answers.
func (People) Question() string { return "Who may do what, and who can sign?" }
func (People) template() string { return "people" }
