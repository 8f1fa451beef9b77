package web

import (
	"slices"
	"strings"
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

// calm tells whether nothing of a person is missing or has run out.
func (r PersonRow) calm() bool {
	return !r.PINSet.IsZero() && r.Inducted == Met && !slices.ContainsFunc(r.Can, func(c Competence) bool { return c.State != Met })
}

// CalmSays names what a person may do, whose particulars are folded.
func (r PersonRow) CalmSays() string {
	if len(r.Can) == 0 {
		return "No competence is recorded. Inducted."
	}
	var can []string
	for _, c := range r.Can {
		can = append(can, c.What)
	}
	return upperFirst(strings.Join(can, ", ")) + ": in date. Inducted."
}

// peopleOpen is how many people are shown with everything.
const peopleOpen = 3

// Folds tells whether a person's particulars open only when they are asked for:
// in a long list, where nothing is missing and no form was sent back.
func (p People) Folds(r PersonRow) bool {
	return len(p.People) > peopleOpen && r.calm() && !slices.ContainsFunc(p.Faults, func(f Fault) bool { return strings.HasSuffix(f.Field, "-"+r.ID) })
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
