// Package web is what people see: templates, one style sheet, a few scripts and
// the plain structs that fill them. It knows nothing of jobs, weather or
// safety: whoever serves a page fills its struct and asks a Renderer.
//
// Instants in these structs are already in the firm's time zone: call
// t.In(location) before putting one in. Dates are Day. A zero time is a time
// that is not known. Every address (Href, Action) is given by whoever serves
// the page, so this package knows no routes but /static/.
package web

import (
	"html/template"
	"strings"
	"time"
)

// Page is one of this package's page structs.
type Page interface {
	// Question is what the page answers, written at its top.
	Question() string
	sheet() Sheet
	template() string
}

// Sheet is what every page has around its content. Fill it once for each
// request and put it into the page's struct.
type Sheet struct {
	Firm    string    // "" before sign-in
	Who     string    // who is signed in; "" = nobody
	Role    string    // in words: "office", "crew lead"
	Nav     []Link    // the few places this person may go
	Beside  []Link    // the pages that stand under the same place as this one, itself among them; nil = it stands alone
	SignOut string    // address of the sign-out form; "" = no form
	Notice  string    // what was just done, said once: "Plan 4 is published."
	Faults  []Fault   // what is wrong with the form that was sent
	Key     string    // idempotency key of this rendering; each form adds its own ending to it
	AsOf    time.Time // when the facts on the page were read
	Credits []string  // where data on the page comes from: "Weather data by MET Norway (CC BY 4.0)"
}

func (s Sheet) sheet() Sheet { return s }

// Fault says what is wrong with one field of a form. It stands at the top of
// the page with a link to the field, and beside the field with the same words.
type Fault struct {
	Field string // the name of the input; "" = of none
	Say   string // what is wrong and what would be right
}

// FaultOf gives what is wrong with a field, "" when nothing is.
func (s Sheet) FaultOf(field string) string {
	for _, f := range s.Faults {
		if f.Field == field {
			return f.Say
		}
	}
	return ""
}

// FaultFor gives the fault of a field for showing beside it; its Say is "" when
// nothing is wrong.
func (s Sheet) FaultFor(field string) Fault { return Fault{Field: field, Say: s.FaultOf(field)} }

// Invalid gives the attributes that tie an input to what is wrong with it.
func (s Sheet) Invalid(field string) template.HTMLAttr {
	if s.FaultOf(field) == "" || !plainName(field) {
		return ""
	}
	return template.HTMLAttr(`aria-invalid="true" aria-describedby="fault-` + field + `"`)
}

// Described is Invalid for a group of inputs, which cannot itself be invalid.
func (s Sheet) Described(field string) template.HTMLAttr {
	if s.FaultOf(field) == "" || !plainName(field) {
		return ""
	}
	return template.HTMLAttr(`aria-describedby="fault-` + field + `"`)
}

// plainName tells whether a field's name can stand in an attribute as it is:
// what Invalid and Described write is not escaped again.
func plainName(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool {
		return !(r == '_' || r == '-' || (r >= '0' && r <= '9') || (r >= 'a' && r <= 'z') || (r >= 'A' && r <= 'Z'))
	})
}

// Link is a place to go.
type Link struct {
	Words string
	Href  string
	Here  bool // it is the page itself
	Above bool // the page itself stands under it
}

// SignIn asks who somebody is. Form fields: email, password, next, key.
type SignIn struct {
	Sheet
	Action string
	Email  string // as typed before; the password is never given back
	Next   string // where to go afterwards; "" = the start
}

// Question is what the page answers.
func (SignIn) Question() string { return "Who is signing in?" }
func (SignIn) template() string { return "signin" }

// Problem is a page that could not be given: an error, something not found, a
// door that is shut.
type Problem struct {
	Sheet
	Status int    // HTTP status: 404, 403, 409, 503, ...
	Say    string // what happened, in one sentence; "" = said for the status
	Do     string // what to do next; "" = said for the status
	Number string // of the request, for whoever looks for it in the log
	Back   Link   // where to go on; Href "" = nowhere
}

// Question is what the page answers.
func (p Problem) Question() string {
	if p.Status == 404 {
		return "Where is that page?"
	}
	return "What went wrong?"
}
func (Problem) template() string { return "problem" }

// Import takes a file of jobs. The first form sends the file (fields: file,
// key) and shows what it would change; the second sends Held back (fields:
// held, key) and does it.
type Import struct {
	Sheet
	Action     string // POST multipart/form-data, dry run
	ConfirmTo  string // POST, does it
	ExportHref string // gives back a file that this page takes
	FileName   string // of the dry run shown; "" = none yet
	Held       string // what the confirming form sends back so that the same file is meant
	New        []NewJob
	Changed    []ChangedJob
	Same       int // jobs that the file leaves as they are
	Bad        []BadRow
	Columns    []Column // what the file may hold
}

// NewJob is a job that the file adds.
type NewJob struct {
	Line          int // of the file, the header being line 1
	Ref, Customer string
	Place         string
}

// ChangedJob is a job that the file changes.
type ChangedJob struct {
	Line   int
	Ref    string
	Fields []FieldDiff
}

// FieldDiff is one field before and after.
type FieldDiff struct {
	Field, Was, Becomes string
}

// BadRow is one thing in the file that cannot be taken.
type BadRow struct {
	Line   int
	Column string
	Value  string // as it stands in the file
	Want   string // what would be right
}

// Column says what one column of the file holds.
type Column struct {
	Name, Holds, Example string
	Must                 bool // a row without it is refused
}

// Question is what the page answers.
func (p Import) Question() string {
	if p.FileName != "" {
		return "What would this file change?"
	}
	return "Which jobs do you want to bring in?"
}
func (Import) template() string { return "import" }

// Ready tells whether the file shown may be taken: something would change and
// no row is bad, since an import is all or nothing.
func (p Import) Ready() bool {
	return p.FileName != "" && len(p.Bad) == 0 && len(p.New)+len(p.Changed) > 0
}
