// Package safety says whether it is safe and who said so: hazards and risk
// assessments, scaffold reports, competences, briefings, sign-offs, and the
// morning decision. Every decision is a pure function over a Snapshot.
package safety

import (
	"fmt"
	"time"

	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// State is the answer to one condition. The zero value is Unknown, and Unknown
// is never met.
type State int

// The states of a condition.
const (
	Unknown State = iota
	NotMet
	Met
)

// String writes the state in words.
func (s State) String() string {
	switch s {
	case Met:
		return "met"
	case NotMet:
		return "not met"
	default:
		return "unknown"
	}
}

// Verdict is what a crew is told. The zero value is NotClear.
type Verdict int

// The verdicts.
const (
	NotClear Verdict = iota
	Clear
)

// String writes the verdict in the words the pages use.
func (v Verdict) String() string {
	if v == Clear {
		return "clear to start"
	}
	return "not clear"
}

// Key is the verdict's name in the database and the contract.
func (v Verdict) Key() string {
	if v == Clear {
		return "clear"
	}
	return "not_clear"
}

// Condition is one thing that must hold before a crew starts.
type Condition struct {
	Code    string `json:"code"`    // "B02"
	Rule    string `json:"rule"`    // "scaffold inspected within 7 days"
	Subject string `json:"subject"` // the person, scaffold or hour it is about
	State   State  `json:"state"`
	Value   string `json:"value"`  // what was found, with its unit
	Limit   string `json:"limit"`  // what is asked, with its unit
	Source  string `json:"source"` // regulation, standard or practice, with its mark
	Remedy  string `json:"remedy"` // who can resolve it and how
	Advice  bool   `json:"advice"` // true: shown, but does not hold the crew (kit, spare tiles)
}

// Sentence tells a person the number and the limit.
func (c Condition) Sentence() string {
	s := c.Rule
	if c.Subject != "" {
		s += ", " + c.Subject
	}
	s += ": " + c.State.String()
	if c.Value != "" {
		s += fmt.Sprintf(" (%s", c.Value)
		if c.Limit != "" {
			s += ", limit " + c.Limit
		}
		s += ")"
	} else if c.Limit != "" {
		s += fmt.Sprintf(" (limit %s)", c.Limit)
	}
	return s
}

// Decision is the morning's answer for one crew at one job, with every
// condition, not only the first that failed.
type Decision struct {
	Verdict    Verdict     `json:"verdict"`
	Conditions []Condition `json:"conditions"`
	At         time.Time   `json:"at"` // UTC, the instant it was made for
}

// Snapshot is everything one decision rests on, read in one transaction.
type Snapshot struct {
	Crew         uuid.UUID
	CrewName     string
	Job          uuid.UUID
	JobRef       string
	Day          civil.Date
	Location     *time.Location     `json:"-"` // of the firm
	TimeZone     string             // its IANA name, kept with the record
	StartAt      time.Time          // UTC; the start of the window the crew wants to work
	EndAt        time.Time          // UTC
	Stages       []string           // keys of the stages the crew does there that day: roof_work, first_fix, ...
	Outdoors     bool               // whether any of them is roof or outdoor work
	People       []Person           // the crew as planned for the day
	Assessment   *AssessmentInForce // nil = none
	Scaffold     ScaffoldRecord
	Weather      weather.Judgement // of the tightest outdoor task over the window; zero = unknown
	WarnedGustMS float64           // reading on site [m/s]; use GustRead
	GustRead     bool
	Briefing     *Briefing  // nil = not held
	SignOffs     []SignOff  // of this crew, job and day
	Stops        []StopWork // open and lifted ones of this job
	Consents     []ConsentFact
	Kit          []KitFact
	Facts        Facts // of the site and job
}

// Person is somebody of the crew on the day.
type Person struct {
	ID          uuid.UUID
	Name        string
	Lead        bool
	Competences []Competence
}

// Competence is something a person may do, both days inclusive; Until NoDate =
// does not expire.
type Competence struct {
	Kind        string
	From, Until civil.Date
	Evidence    string
}

// Holds tells whether a person has a competence on a date, inclusive.
func (p Person) Holds(kind string, d civil.Date) bool {
	for _, c := range p.Competences {
		if c.Kind == kind && d >= c.From && (!c.Until.Known() || d <= c.Until) {
			return true
		}
	}
	return false
}

// AssessmentInForce is the newest version of a job's risk assessment.
type AssessmentInForce struct {
	ID         uuid.UUID
	Version    int
	BodyHash   [32]byte
	FactsHash  [32]byte // of the facts it was made from
	FactsNow   [32]byte // of the facts as they are now
	Approved   bool
	ApprovedBy string
	MadeAt     time.Time
	Body       Assessment
}

// ScaffoldRecord is what is written of one job's scaffold. Expected is false
// for a job or a day without one.
type ScaffoldRecord struct {
	Expected bool
	Reports  []ScaffoldReport // any order
	Events   []ScaffoldEvent  // any order
}

// ScaffoldReport is a handover or an inspection with the particulars that the
// Work at Height Regulations 2005 schedule 7 asks for.
type ScaffoldReport struct {
	ID          uuid.UUID
	Job         uuid.UUID
	Kind        string    // "handover" or "inspection"
	ForWhom     string    // name and address of the person it was made for
	Location    string    // of the scaffold
	Description string    // of the scaffold inspected
	At          time.Time // date and time of the inspection
	Risks       string    // matters that could give rise to a risk; "none found" is stated
	ActionTaken string
	Further     string // further action needed
	ByName      string
	ByPosition  string
	Fit         bool
	LoadClass   int // EN 12811-1, 1 to 6; 0 = not stated
	RecordedBy  string
	RecordedAt  time.Time
}

// ScaffoldEvent is something that could have affected stability.
type ScaffoldEvent struct {
	ID     uuid.UUID
	Job    uuid.UUID
	What   string // "wind", "impact", "alteration", "other"
	Detail string
	At     time.Time
	By     string
}

// Answer is what the lead said to one morning check. The zero value is not
// looked at, which is never yes.
type Answer int

// The answers to a morning check.
const (
	NotLookedAt Answer = iota
	No
	Yes
)

// Briefing is what the lead found on the morning.
type Briefing struct {
	ID         uuid.UUID
	Crew, Job  uuid.UUID
	Day        civil.Date
	Assessment uuid.UUID
	Checks     map[string]Answer // by the check's key
	GustMS     weather.Value     // [m/s] read on site
	By         uuid.UUID
	At         time.Time
}

// SignOff is one person's signature to one version on one day.
type SignOff struct {
	ID         uuid.UUID
	Crew, Job  uuid.UUID
	Day        civil.Date
	Person     uuid.UUID
	Assessment uuid.UUID
	BodyHash   [32]byte // of the text that was shown
	Statement  string   // as it was shown
	TypedName  string
	DeviceAt   time.Time // a claim; zero = none
	ReceivedAt time.Time // a fact
}

// StopWork is one person's stop, and its lift by another.
type StopWork struct {
	ID       uuid.UUID
	Job      uuid.UUID
	Reason   string
	By       string
	At       time.Time
	LiftedBy string // "" = open
	LiftedAt time.Time
	LiftWhy  string
}

// ConsentFact is a consent as far as the morning needs it.
type ConsentFact struct {
	Kind    string
	Stage   string
	Granted bool
}

// KitFact is one item of kit.
type KitFact struct {
	Item    string
	Arrived bool
}
