package web

import (
	"cmp"
	"slices"
	"time"
)

// Jobs lists the firm's jobs.
type Jobs struct {
	Sheet
	Rows       []JobRow
	Shown      string // which ones: "open jobs by reference"
	ImportHref string // "" = may not
	ExportHref string
}

// JobRow is one job of the list.
type JobRow struct {
	Ref, Href string
	Customer  string
	Place     string
	State     string // in words: "open", "done", "cancelled"
	Next      string // "Roof work, Tue 1 Dec am"; "" = nothing planned
	Promised  Day
	Finish    Day    // planned commissioning
	LateDays  int    // working days after the promise; 0 or less = in time
	Holds     string // what holds it: "grid connection not granted"; "" = nothing
}

// Question is what the page answers.
func (Jobs) Question() string { return "Where does each job stand?" }
func (Jobs) template() string { return "jobs" }

// JobPage is everything about one job.
//
// A scaffold report sends: kind (handover, inspection), for_whom, location,
// description, on (date), at (hh:mm), risks, action_taken, further, by_name,
// by_position, result (fit, not_fit), load_class (1 to 6 or ""), key. An event
// sends: what (wind, impact, alteration, other), detail, on, at, key. Issuing
// and approving an assessment send key; approving also assessment (its ID).
// Faults of the event's on and at are named event_on and event_at, since the
// report has fields of the same names.
//
// Progress sends: stage, progress (started, done), stage_on (date), key. A
// consent sends: consent, consent_state (wanted, applied, granted, refused),
// consent_on (date), consent_stage ("" = as before), key. Kit sends: item,
// quantity ("" = as before), kit_state (due, arrived, unknown), kit_on, key.
type JobPage struct {
	Sheet
	Ref                       string
	State                     string // in words
	Customer, Phone, Email    string
	Address, Postcode         string
	Terrain                   string  // in words: "suburban (EN 1991-1-4 III)"
	HeightM                   float64 // [m] of the highest work
	Modules, ModuleWatts      int     // number, [W] each
	ModuleKg, ModuleM2        float64 // [kg], [m2] each
	Ready, Promised           Day
	Note                      string
	Stages                    []StageLine
	Finishes                  Finishes // of this job alone
	Consents                  []ConsentLine
	Kit                       []KitLine
	Booking                   *BookingNow // nil = no scaffold booked
	BookingHistory            []BookingStep
	Assessment                *Assessment // nil = none issued yet
	IssueAction               string      // POST, makes a new version from the facts as they are; "" = may not
	ApproveAction             string      // POST; "" = may not or nothing to approve
	Reports                   []ScaffoldReport
	Events                    []ScaffoldEvent
	ReportAction, EventAction string // POST; "" = may not
	Packs                     []Link // the papers of each crew's days here
	RecordHref                string // what is kept of it; "" = may not see
	SafetyHref                string // what the pages of its assessment, sums and scaffold begin with
	Report                    ReportForm
	Event                     EventForm
	Strip                     *Strip // nil = no forecast
	Plume                     *Plume // nil = no forecast of several members
	Carrying                  string // the wind that stops carrying this job's module, with its sum; "" = no roof work
	Facts                     []FactLine

	ProgressAction, ConsentAction, KitAction string   // POST; "" = may not
	StageChoices                             []Choice // whose progress this person may tell
	ConsentChoices, WaitingChoices           []Choice // consents; stages that may wait for one
	Progress                                 ProgressForm
	Consent                                  ConsentForm
	KitChange                                KitForm
	Told                                     string   // what the customer knows of the promise, in words; "" = nothing is promised
	ToldAction, ToldNow                      string   // POST told=ToldNow (yes or no); "" = may not
	Confirmed                                []string // "roof work on Wed 9 Dec"
	ConfirmAction                            string   // POST confirm_stage, confirm_on (empty = takes it back); "" = may not
	PinHref                                  string   // where something of the job can be pinned; "" = may not
}

// Choice is one entry of a list to choose from.
type Choice struct {
	Key, Words string
}

// ProgressForm is what the form of a stage's progress shows.
type ProgressForm struct {
	Stage, Progress string // Progress "started", "done" or "" = not chosen
	On              Day
}

// ConsentForm is what the form of a consent shows.
type ConsentForm struct {
	Consent, State, Stage string
	On                    Day
}

// KitForm is what the form of an item of kit shows.
type KitForm struct {
	Item, Quantity, State string // State "due", "arrived", "unknown" or "" = not chosen
	On                    Day
}

// sent tells whether one of a form's fields came back with something wrong.
func (p JobPage) sent(fields ...string) bool {
	return slices.ContainsFunc(p.Faults, func(f Fault) bool { return slices.Contains(fields, f.Field) })
}

// ProgressSent tells whether the form of progress came back.
func (p JobPage) ProgressSent() bool { return p.sent("stage", "progress", "stage_on") }

// ConsentSent tells whether the form of a consent came back.
func (p JobPage) ConsentSent() bool {
	return p.sent("consent", "consent_state", "consent_on", "consent_stage")
}

// KitSent tells whether the form of kit came back.
func (p JobPage) KitSent() bool { return p.sent("item", "quantity", "kit_state", "kit_on") }

// Question is what the page answers.
func (JobPage) Question() string { return "Where does this job stand?" }
func (JobPage) template() string { return "job" }

// StageLine is one stage of the job.
type StageLine struct {
	Stage    string
	Mark     Mark
	Progress Progress
	Halves   []Half // planned or worked
	HalfDays int    // how many it takes
	Who      string // crew or scaffold firm
	Chance   Chance
	Why      string // what bound the start, or why it has no place
	WhyHref  string // where to ask why not sooner and why by them; "" = nowhere
	Pins     StagePins
	DoneOn   Day
}

// ConsentLine is one permission from outside.
type ConsentLine struct {
	Consent string // in words
	State   string // in words: "applied for"
	Holds   State  // Met = granted
	Stage   string // the stage that waits
	When    string // beside State: "on Thu 12 Nov", "expected Mon 14 Dec"
}

// KitLine is one item that must be on site.
type KitLine struct {
	Item     string
	Quantity int
	Due      Day
	Arrived  Day
}

// BookingNow is the scaffold booking as it stands.
type BookingNow struct {
	Firm, Phone  string
	State        string // in words
	Erect        Day
	Strike       Day
	Offered      Day // another day that the scaffold firm offered
	Sequence     int
	HireUntil    Day // last day of the hire that is in the price
	Hire         string
	Sky          string // what the weather allows the gang on its next day; "" = that is not within the forecast
	AcceptAction string // POST: take the other day; "" = may not. Field: key
}

// BookingStep is one version of the booking.
type BookingStep struct {
	Version, Sequence int
	State             string
	Erect, Strike     Day
	Why, By           string
	At                time.Time
}

// FactsNotKnown counts the facts that the survey did not find.
func (p JobPage) FactsNotKnown() (n int) {
	for _, f := range p.Facts {
		if f.Found == "" {
			n++
		}
	}
	return n
}

// FactLine is one thing the survey found, or did not look at.
type FactLine struct {
	Fact, Found string // Found "" = not known
}

// ScaffoldReport is a handover or an inspection with its particulars.
type ScaffoldReport struct {
	Kind                        string // "handover" or "inspection"
	ForWhom, Location           string
	Description                 string
	At                          time.Time
	Risks, ActionTaken, Further string
	ByName, ByPosition          string
	Fit                         bool // false is drawn as not fit
	LoadClass                   int  // EN 12811-1, 1 to 6; 0 = not stated
	DesignRef, Ties, ReceivedBy string
	Lifts                       int // of a handover; 0 = not stated
	RecordedBy                  string
	RecordedAt                  time.Time
}

// ScaffoldEvent is something that could have affected stability.
type ScaffoldEvent struct {
	What, Detail, By string
	At               time.Time
}

// ReportForm is what the report form shows when it is opened or sent back.
type ReportForm struct {
	Kind, ForWhom, Location, Description string
	On                                   Day
	At                                   string // "08:10"
	Risks, ActionTaken, Further          string
	ByName, ByPosition                   string
	Result                               string // "fit", "not_fit" or "" = not chosen
	LoadClass                            string // "1" to "6" or ""
	DesignRef, Lifts, Ties, ReceivedBy   string // of a handover
}

// EventForm is what the event form shows when it is opened or sent back.
type EventForm struct {
	What, Detail string
	On           Day
	At           string
}

// Assessment is one version of a job's risk assessment.
type Assessment struct {
	ID         string
	Version    int
	MadeBy     string
	MadeAt     time.Time
	Approved   bool
	ApprovedBy string
	ApprovedAt time.Time
	Stale      string // why it no longer fits the facts; "" = it does
	Hash       string // of its text, for the signature
	Hazards    []Hazard
	Questions  []string // facts nobody has stated; none of them drops a hazard
	Rescue     []string // the rescue plan, line by line; may be empty
	Scale      string   // how to read the scores: "likelihood 1 to 5 x severity 1 to 5; ..."
}

// Hazard is one line of an assessment.
type Hazard struct {
	Code     string // "H01"
	Hazard   string
	WhyHere  string // the facts that put it here
	Who      string // who may be harmed
	Before   Risk
	Controls []Control // in the order of the hierarchy
	After    Risk
	Band     string // the firm's word for what is left: "tolerable"
	Source   string
}

// Risk is a score.
type Risk struct {
	Likelihood, Severity int // 1 to 5 each; 0 = not scored
}

// Score is likelihood times severity.
func (r Risk) Score() int { return r.Likelihood * r.Severity }

// Control is one thing that keeps a hazard down.
type Control struct {
	Kind string // "avoid", "prevent", "mitigate"; "" = not sorted
	Say  string
}

// Top gives the first n hazards by what they would do to somebody without
// controls: how badly, then how likely, then what the controls leave. The
// order of equals is theirs.
func (a Assessment) Top(n int) []Hazard {
	sorted := append([]Hazard(nil), a.Hazards...)
	for i := 1; i < len(sorted); i++ {
		for k := i; k > 0 && worse(sorted[k], sorted[k-1]); k-- {
			sorted[k], sorted[k-1] = sorted[k-1], sorted[k]
		}
	}
	return sorted[:min(n, len(sorted))]
}

func worse(a, b Hazard) bool {
	return cmp.Or(cmp.Compare(a.Before.Severity, b.Before.Severity), cmp.Compare(a.Before.Score(), b.Before.Score()),
		cmp.Compare(a.After.Score(), b.After.Score())) > 0
}
