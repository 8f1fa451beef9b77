package web

import "time"

// Morning is what a crew lead reads at the van.
//
// Forms. Checks: check_<key> = yes, no or not_looked_at; gust_ms (a number in
// m/s, may be empty); assessment (ID); key. Signing: person (ID), assessment
// (ID), hash, shown (Shown), device_at (RFC 3339, filled by script, may be
// empty), drawing (strokes, filled by script, may be empty), pin, key. Stop:
// reason, key. Lift: stop (ID), why, key. Where a form stands once a person or
// stop, its Fault.Field is pin-<person> or why-<stop>. Sky: sky
// (thunder, lightning or gust), sky_at (hh:mm, empty = now), sky_gust (m/s, with
// gust), key.
type Morning struct {
	Sheet
	Crew       string
	Day        Day
	Ref, Href  string // of the job; Href "" = this person may not open it
	Address    string
	Postcode   string
	Contact    string // the customer and what to know: "Mrs Hale. Dog."; "" = none
	Phone      string // the customer's; "" = none
	Start, End time.Time
	Tasks      []string // today's stages in words, with their size
	Verdict    Verdict
	DecidedAt  time.Time
	PackHref   string    // the papers as PDF; "" = none
	Until      time.Time // a clear verdict ends then; zero = not clear
	ClearFor   Some
	Conditions []Condition
	Isolations []OpenPermit // at this job
	Strip      *Strip       // nil = no forecast
	Scaffold   ScaffoldNow
	Assessment *Assessment // nil = none issued
	Emergency  []EmergencyLine

	Checks       []Check
	GustRead     string // [m/s] as typed; "" = no reading
	ChecksAction string // POST; "" = may not
	ChecksBy     string // "" = not done yet
	ChecksAt     time.Time

	NotFit       []NotFit // who said that they are not fit today, and are not counted
	FitAction    string   // POST: person (ID), fit (yes or no), pin unless Own, key; "" = may not
	ExceptAction string   // POST: code, reason, key; Fault.Field is except-<code>
	CheckIn      CheckIn  // of who works alone
	Lone         LoneCall // whether who works alone let know that all is well
	BookHref     string   // tests, isolations, near misses and checks of this job
	Lessons      []string // what was learnt before about hazards of this job
	Signers      []Signer
	SignAction   string // POST; "" = may not yet, see WhyNoSign
	Shown        string // what a signature on this page is given for, to be sent back with it
	WhyNoSign    string

	Stops      []Stop
	StopAction string // POST; "" = may not
	StopReason string // as typed before, when sent back
	LiftAction string // POST; "" = may not

	Thunder   ThunderClock
	SkyAction string // POST; "" = may not
	Sky       SkyForm

	Others []Link // other crews or jobs of this morning
}

// ThunderClock is the half-hour after thunder.
type ThunderClock struct {
	Again time.Time // from when the roof is open again at the earliest; zero = the clock does not run
	Say   string    // what started it, or that it is over; "" = nothing was logged
}

// SkyForm is what was typed about the sky.
type SkyForm struct {
	At, Gust string
}

// CheckIn is whom somebody rings who works alone. Its form: contact, phone,
// every_min, if_missed, email, key; the Fault.Field is checkin-<field>.
type CheckIn struct {
	Who                             string // who works alone; "" = nobody does, or nobody may
	Contact, Phone, Every, IfMissed string // as arranged or as typed
	Email                           string // where who expects the call is told that none came; "" = not given
	Arranged                        bool
	Action                          string // POST; "" = may not
}

// LoneCall is whether somebody who works alone let know that all is well. Its form:
// what (well or left), back (all on the page of all mornings), key.
type LoneCall struct {
	ID, Says         string // Says "" = nobody is watched over
	Overdue          bool   // a call is due and did not come
	Waits            bool   // somebody waits for the next call
	Contact, Phone   string // of who expects the call
	IfMissed         string // what they then do
	Own              bool   // the reader is who works alone
	Ref, Href, Place string // of the job, on the page of all mornings
	Ring             string // number of who works alone; "" = not known
	Action           string // POST; "" = may not
}

// Question is what the page answers.
func (Morning) Question() string { return "May this crew start?" }
func (Morning) template() string { return "morning" }

// Condition is one thing that must hold before a crew starts.
type Condition struct {
	Code      string // "B02"
	Rule      string // "Scaffold inspected within 7 days"
	Subject   string // the person, scaffold or hour it is about
	State     State
	Value     string   // what was found, with its unit
	Limit     string   // what is asked, with its unit
	Source    string   // where the rule comes from, with its mark
	Remedy    string   // who can resolve it and how
	Names     []string // what Value counts, to be unfolded
	Own       bool     // a rule of the firm's own
	Except    string   // the exception from it that counts; "" = none
	MayExcept bool     // this person may record one now
	Advice    bool     // shown, but does not hold the crew
}

// ScaffoldNow is the scaffold's state on the morning.
type ScaffoldNow struct {
	Expected    bool // false: no scaffold belongs to this day's work
	State       State
	Say         string // one sentence: "Fit for use, inspected Mon 30 Nov 08:10"
	HandedOver  time.Time
	Inspected   time.Time
	InspectDue  time.Time // the inspection holds until then
	LoadClass   int       // EN 12811-1; 0 = not stated
	LoadKNM2    float64   // [kN/m2] of that class; 0 = not stated
	Firm, Phone string
}

// EmergencyLine is one thing to read out, or one number to ring, when somebody
// is hurt. What is not known is said to be so.
type EmergencyLine struct {
	Label, Say string
	Phone      string // "" = none to ring
}

// Check is one thing the lead looks at.
type Check struct {
	Key      string // "ladder_tied"; the input is check_ladder_tied
	Question string // "Ladder tied, gate shut, 1 m above the landing?"
	Evidence string // what shows it: "photo", "reading"
	Answer   Answer
}

// Signer is one person of the crew.
type Signer struct {
	Person     string // ID
	Name       string
	Lead       bool
	Statement  string // what signing says, kept with the signature
	Signed     bool   // for the version in force
	SignedName string // as typed
	Drawn      bool   // with a drawn signature beside the PIN
	At         time.Time
	Lapsed     string   // why an earlier signature no longer counts
	Before     string   // what this person signed last at this job
	Changed    []string // what the version in force says otherwise, in sentences
	Drawing    string   // the strokes that were sent with a refused signature; "" = none
	CanSign    bool     // here and now, by whoever holds this phone
	Own        bool     // it is whoever is signed in
}

// NotFit is somebody who is not counted today. Why is nobody's business.
type NotFit struct {
	Person, Name string
	Own          bool // it is whoever is signed in
}

// Stop is one person's stop, and its lift by another.
type Stop struct {
	ID       string
	Reason   string
	By       string
	At       time.Time
	LiftedBy string // "" = open
	LiftedAt time.Time
	LiftWhy  string
	CanLift  bool   // by whoever is signed in
	WhyNot   string // why not: "Whoever stopped the work cannot lift it."
}

// NotMet, Unknown and Met give the conditions that hold the crew or do not, in
// their order; Advice gives those that are only shown.
func (m Morning) NotMet() []Condition { return m.in(NotMet) }

// Unknown gives the conditions that nobody can answer yet.
func (m Morning) Unknown() []Condition { return m.in(Unknown) }

// Met gives the conditions that hold.
func (m Morning) Met() []Condition { return m.in(Met) }

func (m Morning) in(s State) []Condition {
	var out []Condition
	for _, c := range m.Conditions {
		if !c.Advice && c.State == s {
			out = append(out, c)
		}
	}
	return out
}

// Advice gives the conditions that are shown but do not hold the crew and that
// are not met.
func (m Morning) Advice() []Condition {
	var out []Condition
	for _, c := range m.Conditions {
		if c.Advice && c.State != Met {
			out = append(out, c)
		}
	}
	return out
}

// Mornings is the office's view of all crews on one morning.
type Mornings struct {
	Sheet
	Day        Day
	Crews      []MorningRow
	Lone       []LoneCall // who works alone now, the longest silent first
	Prev, Next Link
}

// MorningRow is one crew at one job.
type MorningRow struct {
	Crew, Href string
	Ref        string
	JobHref    string
	Place      string
	Task       string
	Start      time.Time
	Verdict    Verdict
	NotMet     []string // reasons, one sentence each
	Unknown    []string
	Met        int // how many hold
	Signed     int
	People     int
	Stopped    bool // a stop is open
	ClearFor   Some
	Off        string // why the crew has no work this day; "" = it has
}

// Question is what the page answers.
func (Mornings) Question() string { return "Who may start this morning?" }
func (Mornings) template() string { return "mornings" }

// Strip is one place's hours with the limit drawn in.
type Strip struct {
	ID          string // unique on the page, letters and digits; "" = "strip"
	Place       string // "Roof of 1042, 7.2 m above ground, suburban"
	Task        string // whose limits: "carrying modules"
	GustLimitMS Num    // [m/s]; not known = no line drawn
	RainLimitMM Num    // [mm] in one hour
	Hours       []StripHour
	From, To    time.Time // the window the crew wants to work
	Turn        string    // one sentence: when it turns, when to be off the roof
	Source      string    // where the limit comes from
	Provider    string
	Credits     []string // as the licences of the data ask
	FetchedAt   time.Time
	ModelRun    time.Time // zero = the provider does not say
	Stale       string    // why it is too old to trust; "" = it is not
	Asks        []string  // sentences: what is not known of the place, and what is therefore not told
	AskHref     string    // where it is answered
}

// StripHour is one hour of a strip.
type StripHour struct {
	From   time.Time
	GustMS Num // [m/s] highest within the hour, at working height
	MeanMS Num // [m/s]
	RainMM Num // [mm] within the hour
	TempC  Num // [degrees C]
	Sky    Sky
	Why    string // what decided it
	Dark   bool
}
