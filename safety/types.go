// Package safety says whether it is safe and who said so: hazards and risk
// assessments, scaffold reports, competences, briefings, sign-offs, and the
// morning decision. Every decision is a pure function over a Snapshot.
package safety

import (
	"encoding/hex"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
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

// Key is the state's name in the database and the contract.
func (s State) Key() string { return strings.ReplaceAll(s.String(), " ", "_") }

// MarshalText writes the key.
func (s State) MarshalText() ([]byte, error) { return []byte(s.Key()), nil }

// UnmarshalText reads the key. Anything else is an error and leaves Unknown.
func (s *State) UnmarshalText(b []byte) error {
	*s = Unknown
	for _, known := range []State{Unknown, NotMet, Met} {
		if known.Key() == string(b) {
			*s = known
			return nil
		}
	}
	return fault.Bad("state", string(b), "one of met, not_met, unknown")
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

// MarshalText writes the key.
func (v Verdict) MarshalText() ([]byte, error) { return []byte(v.Key()), nil }

// UnmarshalText reads the key. Anything else is an error and leaves NotClear.
func (v *Verdict) UnmarshalText(b []byte) error {
	*v = NotClear
	switch string(b) {
	case "clear":
		*v = Clear
	case "not_clear":
	default:
		return fault.Bad("verdict", string(b), "clear or not_clear")
	}
	return nil
}

// Hash is a SHA-256 sum, written in hexadecimal wherever a person sees it.
type Hash [32]byte

// String writes all 64 hexadecimal digits.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// Short writes the first twelve digits, enough to compare by eye.
func (h Hash) Short() string { return h.String()[:12] }

// Known tells whether there is one: the zero hash stands for "none".
func (h Hash) Known() bool { return h != Hash{} }

// MarshalText writes the hash in hexadecimal.
func (h Hash) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// UnmarshalText reads 64 hexadecimal digits.
func (h *Hash) UnmarshalText(b []byte) error {
	raw, err := hex.DecodeString(string(b))
	if err != nil || len(raw) != len(h) {
		return fault.Bad("hash", string(b), "64 hexadecimal digits")
	}
	copy(h[:], raw)
	return nil
}

// Condition is one thing that must hold before a crew starts.
type Condition struct {
	Code    string `json:"code"`    // "B02"
	Rule    string `json:"rule"`    // "Scaffold inspected within 7 days"
	Subject string `json:"subject"` // the person, scaffold or hour it is about
	State   State  `json:"state"`
	Value   string `json:"value"`            // what was found, with its unit
	Limit   string `json:"limit"`            // what is asked, with its unit
	Source  string `json:"source"`           // regulation, standard or practice, with its mark
	Remedy  string `json:"remedy"`           // who can resolve it and how; "" when met
	Advice  bool   `json:"advice"`           // true: shown, but does not hold the crew (kit, spare tiles)
	Own     bool   `json:"own,omitempty"`    // true: it holds the crew because the firm made it binding for itself
	Except  string `json:"except,omitempty"` // the exception from a rule of the firm's own that counts, in words; "" = none
	Applies bool   `json:"applies"`          // false: today's work does not need it, and Value says why
}

// Holds tells whether this condition keeps the crew from starting.
//
// An exception counts only for a rule of the firm's own.
func (c Condition) Holds() bool {
	return !c.Advice && c.State != Met && !(c.Own && c.Except != "")
}

// Sentence tells a person the number and the limit, short enough for a phone:
// "Scaffold inspected within 7 days: not met. Last inspection Mon 23 Nov 07:40,
// lapsed Mon 30 Nov 07:40; asked: 7 days."
func (c Condition) Sentence() string {
	s := c.Rule
	if c.Subject != "" {
		s += " (" + c.Subject + ")"
	}
	s += ": " + c.State.String() + "."
	if !c.Applies {
		s = c.Rule + ": not needed."
	}
	if c.Value == "" && c.Limit == "" {
		return s
	}
	found := c.Value
	if found == "" {
		found = "nothing found"
	}
	s += " " + upperFirst(found)
	if c.Limit != "" && c.Applies {
		s += "; asked: " + c.Limit
	}
	if c.Except != "" {
		s += "; " + c.Except
	}
	return s + "."
}

func lowerFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToLower(r)) + s[n:]
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

// Decision is the morning's answer for one crew at one job, with every
// condition, not only the first that failed.
type Decision struct {
	Verdict    Verdict     `json:"verdict"`
	Conditions []Condition `json:"conditions"` // in the order of their codes, always all of them
	At         time.Time   `json:"at"`         // UTC, the instant it was made for
	Until      time.Time   `json:"until"`      // UTC; a clear verdict ends here: the window's end or dusk
	// ClearFor lists the day's stages that are clear each by itself although the
	// day is not, in the order of their keys. It is empty with a clear verdict.
	ClearFor []ClearStage `json:"clear_for,omitempty"`
}

// ClearStage is one stage of the day that may start by itself.
type ClearStage struct {
	Stage string    `json:"stage"` // its key
	Until time.Time `json:"until"` // UTC
}

// Holding gives the conditions that keep the crew from starting.
func (d Decision) Holding() []Condition {
	var all []Condition
	for _, c := range d.Conditions {
		if c.Holds() {
			all = append(all, c)
		}
	}
	return all
}

// Snapshot is everything one decision rests on, read in one transaction.
type Snapshot struct {
	Crew       uuid.UUID          `json:"crew"`
	CrewName   string             `json:"crew_name"`
	Job        uuid.UUID          `json:"job"`
	JobRef     string             `json:"job_ref"`
	JobState   string             `json:"job_state"` // "open", "done" or "cancelled"; "" = not known
	Address    string             `json:"address"`
	Day        civil.Date         `json:"day"`
	Location   *time.Location     `json:"-"`          // of the firm
	TimeZone   string             `json:"time_zone"`  // its IANA name, kept with the record
	Lat        weather.Value      `json:"lat"`        // [degrees] of the site, north positive
	Lon        weather.Value      `json:"lon"`        // [degrees] of the site, east positive
	StartAt    time.Time          `json:"start_at"`   // UTC; the start of the window the crew wants to work
	EndAt      time.Time          `json:"end_at"`     // UTC
	Stages     []string           `json:"stages"`     // keys of the stages the crew does there that day: roof_work, first_fix, ...
	Outdoors   bool               `json:"outdoors"`   // whether any of it is outdoors; roof work always counts as that
	People     []Person           `json:"people"`     // the crew as planned for the day, without those away
	NotFit     []Person           `json:"not_fit"`    // of the crew, who said that they are not fit today: they are not counted
	Assessment *AssessmentInForce `json:"assessment"` // nil = none
	Scaffold   ScaffoldRecord     `json:"scaffold"`
	Weather    weather.Judgement  `json:"weather"`   // of the tightest outdoor task over the window; zero = unknown
	Briefing   *Briefing          `json:"briefing"`  // the latest of this crew, job and day; nil = not held
	Readings   []Reading          `json:"readings"`  // of the wind at this job on this day, by any crew, any order
	Thunder    []Thunder          `json:"thunder"`   // logged at this job or within ThunderKm of it, any order
	SignOffs   []SignOff          `json:"sign_offs"` // of this crew, job and day, any order
	Stops      []StopWork         `json:"stops"`     // open and lifted ones of this job
	Consents   []ConsentFact      `json:"consents"`
	Kit        []KitFact          `json:"kit"`
	OwnRules   []OwnRule          `json:"own_rules"`            // of the firm, any order
	Exceptions []Exception        `json:"exceptions"`           // of this crew, job and day, any order
	CheckIns   []CheckIn          `json:"check_ins,omitempty"`  // of this crew, job and day, any order
	LoneCalls  []LoneCall         `json:"lone_calls,omitempty"` // of this crew, job and day, any order
	Isolations []Permit           `json:"isolations,omitempty"` // open permits to isolate at this job, any order
	Facts      Facts              `json:"facts"`                // of the site and job
	FactFaults []string           `json:"fact_faults"`          // survey facts that could not be read, and so are not known
}

// Person is somebody of the crew on the day.
type Person struct {
	ID          uuid.UUID    `json:"id"`
	Name        string       `json:"name"`
	Lead        bool         `json:"lead"`
	Competences []Competence `json:"competences"`
	Inductions  []Induction  `json:"inductions,omitempty"` // at this firm, any order
}

// The competences the service knows, as the database has them.
const (
	LeadRoof           = "lead_roof"
	Roof               = "roof"
	Electrical         = "electrical"
	ScaffoldInspection = "scaffold_inspection"
	FirstAid           = "first_aid"
	RoofRescue         = "roof_rescue"
	LoneWork           = "lone_work" // may work alone where that is allowed
)

// Competence is something a person may do, both days inclusive; Until NoDate =
// does not expire.
type Competence struct {
	Kind     string     `json:"kind"`
	From     civil.Date `json:"from"`
	Until    civil.Date `json:"until"`
	Evidence string     `json:"evidence"`
}

// Holds tells whether a person has a competence on a date, inclusive.
func (p Person) Holds(kind string, d civil.Date) bool {
	for _, c := range p.Competences {
		if c.Kind == kind && d.Known() && c.From.Known() && d >= c.From && (!c.Until.Known() || d <= c.Until) {
			return true
		}
	}
	return false
}

// AssessmentInForce is the newest version of a job's risk assessment.
type AssessmentInForce struct {
	ID         uuid.UUID  `json:"id"`
	Version    int        `json:"version"`
	BodyHash   Hash       `json:"body_hash"`
	FactsHash  Hash       `json:"facts_hash"` // of the facts it was made from
	FactsNow   Hash       `json:"facts_now"`  // of the facts as they are now
	Approved   bool       `json:"approved"`
	ApprovedBy string     `json:"approved_by"`
	ApprovedAt time.Time  `json:"approved_at"` // zero = not approved
	MadeBy     string     `json:"made_by"`
	MadeAt     time.Time  `json:"made_at"`
	Body       Assessment `json:"body"`
}

// ScaffoldRecord is what is written of one job's scaffold. Expected is false
// for a job without one.
type ScaffoldRecord struct {
	Expected bool              `json:"expected"`
	Erection StageFact         `json:"erection"`
	Strike   StageFact         `json:"strike"`
	Bookings []ScaffoldBooking `json:"bookings"` // without those cancelled, any order
	Reports  []ScaffoldReport  `json:"reports"`  // any order
	Events   []ScaffoldEvent   `json:"events"`   // any order
}

// StageFact is how far a stage of the job is. The zero value is a stage that
// the job does not have.
type StageFact struct {
	State   string     `json:"state"`      // "planned", "started", "done"; "" = no such stage
	Started civil.Date `json:"started_on"` // NoDate = not said
	Done    civil.Date `json:"done_on"`    // NoDate unless done
}

// ScaffoldBooking is a booking as far as it tells whether the scaffold stands.
type ScaffoldBooking struct {
	State    string     `json:"state"` // "wanted", "sent", "confirmed", "countered", "erected", "struck"
	ErectOn  civil.Date `json:"erect_on"`
	StrikeOn civil.Date `json:"strike_on"`
}

// The kinds of a scaffold report. A handover certificate is not an inspection.
const (
	Handover   = "handover"
	Inspection = "inspection"
)

// ScaffoldReport is a handover or an inspection with the particulars that the
// Work at Height Regulations 2005 schedule 7 asks for; Particulars maps them.
type ScaffoldReport struct {
	ID          uuid.UUID `json:"id"`
	Job         uuid.UUID `json:"job"`
	Kind        string    `json:"kind"`        // Handover or Inspection
	ForWhom     string    `json:"for_whom"`    // name and address of the person it was made for
	Location    string    `json:"location"`    // of the scaffold
	Description string    `json:"description"` // of the scaffold inspected
	At          time.Time `json:"at"`          // date and time of the inspection, UTC
	Risks       string    `json:"risks"`       // matters that could give rise to a risk; "none found" is stated
	ActionTaken string    `json:"action_taken"`
	Further     string    `json:"further"` // further action needed; "none" is stated
	ByName      string    `json:"by_name"`
	ByPosition  string    `json:"by_position"`
	Fit         bool      `json:"fit"`
	LoadClass   int       `json:"load_class"` // EN 12811-1, 1 to 6; 0 = not stated
	Certificate           // of a handover; zero for an inspection
	RecordedBy  string    `json:"recorded_by"`
	RecordedAt  time.Time `json:"recorded_at"` // UTC
}

// Certificate is what a handover certificate says beyond the particulars of
// every report. Together with the load class it tells which scaffold it is that
// was handed over (common practice, no source).
type Certificate struct {
	DesignRef  string `json:"design_ref,omitempty"`  // the design drawing or the compliance sheet
	Lifts      int    `json:"lifts,omitempty"`       // 1 to 50; 0 = not stated
	Ties       string `json:"ties,omitempty"`        // how it is tied; "none, free-standing" is stated
	ReceivedBy string `json:"received_by,omitempty"` // who took it over for the firm
}

// Lacks names what the certificate does not state, as forms name it.
func (c Certificate) Lacks() []string {
	var all []string
	for _, p := range []struct {
		field string
		given bool
	}{{"design_ref", said(c.DesignRef)}, {"lifts", c.Lifts >= 1 && c.Lifts <= 50}, {"ties", said(c.Ties)}, {"received_by", said(c.ReceivedBy)}} {
		if !p.given {
			all = append(all, p.field)
		}
	}
	return all
}

// ScaffoldEvent is something that could have affected stability.
type ScaffoldEvent struct {
	ID         uuid.UUID `json:"id"`
	Job        uuid.UUID `json:"job"`
	What       string    `json:"what"` // "wind", "impact", "alteration", "other"
	Detail     string    `json:"detail"`
	At         time.Time `json:"at"` // UTC
	By         string    `json:"by"`
	RecordedAt time.Time `json:"recorded_at"` // UTC
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

// Key is the answer's name in forms, in the database and in the contract.
func (a Answer) Key() string {
	switch a {
	case Yes:
		return "yes"
	case No:
		return "no"
	default:
		return "not_looked_at"
	}
}

// String writes the answer in words.
func (a Answer) String() string { return strings.ReplaceAll(a.Key(), "_", " ") }

// AnswerFromKey reads what Key writes.
func AnswerFromKey(key string) (Answer, error) {
	for _, a := range []Answer{NotLookedAt, No, Yes} {
		if a.Key() == key {
			return a, nil
		}
	}
	return NotLookedAt, fault.Bad("answer", key, "yes, no or not_looked_at")
}

// MarshalText writes the key.
func (a Answer) MarshalText() ([]byte, error) { return []byte(a.Key()), nil }

// UnmarshalText reads the key. Anything else is an error and not looked at.
func (a *Answer) UnmarshalText(b []byte) error {
	got, err := AnswerFromKey(string(b))
	*a = got
	return err
}

// Briefing is what the lead found on the morning.
type Briefing struct {
	ID         uuid.UUID         `json:"id"`
	Crew       uuid.UUID         `json:"crew"`
	Job        uuid.UUID         `json:"job"`
	Day        civil.Date        `json:"day"`
	Assessment uuid.UUID         `json:"assessment"` // the version that was read out
	Checks     map[string]Answer `json:"checks"`     // by the check's key; a caution's key holds what was agreed to
	GustMS     weather.Value     `json:"gust_ms"`    // [m/s] read on site; unknown = no reading
	By         uuid.UUID         `json:"by"`
	At         time.Time         `json:"at"` // UTC
}

// Reading is a gust that somebody read on site and gave with a briefing or by
// itself.
type Reading struct {
	GustMS float64   `json:"gust_ms"` // [m/s]
	At     time.Time `json:"at"`      // UTC, when it was given
}

// Thunder is one thunder or flash that somebody logged at a job or near it.
type Thunder struct {
	What   string    `json:"what"`    // ThunderHeard or LightningSeen
	At     time.Time `json:"at"`      // UTC
	By     string    `json:"by"`      // name
	JobRef string    `json:"job_ref"` // where it was logged
	Km     float64   `json:"km"`      // [km] from there to this job
}

// SignOff is one person's signature to one version on one day.
type SignOff struct {
	ID         uuid.UUID  `json:"id"` // made on the device before the first try
	Crew       uuid.UUID  `json:"crew"`
	Job        uuid.UUID  `json:"job"`
	Day        civil.Date `json:"day"`
	Person     uuid.UUID  `json:"person"`
	Assessment uuid.UUID  `json:"assessment"`
	BodyHash   Hash       `json:"body_hash"` // of the text that was shown
	Statement  string     `json:"statement"` // as it was shown
	TypedName  string     `json:"typed_name"`
	Proof      string     `json:"proof"`       // ByPIN; anything else is no signature any more
	Drawing    string     `json:"drawing"`     // the strokes of the drawn one, an SVG path; "" = not drawn
	OnPhoneOf  uuid.UUID  `json:"on_phone_of"` // who was signed in on the phone; Nil = not known
	GivenFor   Basis      `json:"given_for"`   // what was so when it was given
	DeviceAt   time.Time  `json:"device_at"`   // UTC; a claim; zero = none
	ReceivedAt time.Time  `json:"received_at"` // UTC; a fact
}

// ByPIN is the proof of a signature given with the person's own PIN.
const ByPIN = "pin"

// StopWork is one person's stop, and its lift by another.
type StopWork struct {
	ID         uuid.UUID `json:"id"`
	Job        uuid.UUID `json:"job"`
	Reason     string    `json:"reason"`
	By         string    `json:"by"` // name
	ByID       uuid.UUID `json:"by_id"`
	At         time.Time `json:"at"`        // UTC
	LiftedBy   string    `json:"lifted_by"` // name; "" = open
	LiftedByID uuid.UUID `json:"lifted_by_id"`
	LiftedAt   time.Time `json:"lifted_at"` // UTC; zero = open
	LiftWhy    string    `json:"lift_why"`
}

// Open tells whether the stop still holds. A lift by whoever stopped the work,
// without a name or without a time is none.
func (s StopWork) Open() bool {
	if s.LiftedBy == "" || s.LiftedAt.IsZero() || s.LiftedAt.Before(s.At) {
		return true
	}
	if s.ByID == uuid.Nil || s.LiftedByID == uuid.Nil {
		return s.By == s.LiftedBy
	}
	return s.ByID == s.LiftedByID
}

// ConsentFact is a consent as far as the morning needs it.
type ConsentFact struct {
	Kind    string `json:"kind"`
	Stage   string `json:"stage"` // key of the stage that waits for it
	Granted bool   `json:"granted"`
}

// KitFact is one item of kit.
type KitFact struct {
	Item    string `json:"item"`
	Arrived bool   `json:"arrived"`
}
