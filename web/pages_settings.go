package web

// Rates shows what the firm's days cost and the rules it plans by. The form
// sends every rate by its key, with version and key.
type Rates struct {
	Sheet
	Action  string // "" = may not change them
	Version int
	SetBy   string // "" = what the firm began with
	SetAt   string // "Wed 2 Dec 2026, 09:30"
	Inputs  []RateInput
	Before  []RatesBefore // older versions, the newest first
}

// RateInput is one rate as it is typed.
type RateInput struct {
	Key, Name, For string
	Unit           string
	Value          string
}

// RatesBefore is one version that was set.
type RatesBefore struct {
	Version int
	By, At  string
	Says    []string // what it changed
}

// Question is what the page answers.
func (Rates) Question() string { return "What do our days cost?" }
func (Rates) template() string { return "rates" }

// ScaffoldFirms shows what was agreed with each scaffold firm. A form sends every
// term by its key with "-" and the firm's ID after it, off (a weekday each), active,
// seen and key.
type ScaffoldFirms struct {
	Sheet
	Firms []ScaffoldTerms
}

// ScaffoldTerms is one scaffold firm: its terms as sentences, and as they are
// typed.
type ScaffoldTerms struct {
	ID, Name string
	Says     []string
	Action   string // "" = may not change them
	Seen     string
	Open     bool // the form, since something in it was wrong
	Inputs   []TermInput
	DaysOff  []DayPick
	Active   bool
}

// TermInput is one term as it is typed.
type TermInput struct {
	Key, Name, For string
	Unit           string // "" = text
	Value          string
	Optional       bool
}

// DayPick is a weekday that can be picked.
type DayPick struct {
	Key, Words string
	Picked     bool
}

// Question is what the page answers.
func (ScaffoldFirms) Question() string { return "What did we agree with our scaffold firms?" }
func (ScaffoldFirms) template() string { return "scaffoldfirms" }

// Pins shows what people fixed in the plan, and takes another. The form sends
// job, pin, stage, who, on, half, why and key.
type Pins struct {
	Sheet
	Action    string // "" = may not
	CostsHref string // works out what each costs; "" = it is worked out
	Rows      []PinRow
	Jobs      []Choice
	Kinds     []Choice
	Stages    []Choice
	Whos      []Choice
	Asked     PinForm
}

// PinRow is one pin, what became of it and what it costs.
type PinRow struct {
	ID, Ref, Href string
	What, Why     string
	By, At        string
	State         string // Kept, Waits, Clashes, Moot; "" = no plan yet
	Says          string
	Cost          string // "" = not worked out
	Remove        string // POST with key
}

// PinForm is what was typed.
type PinForm struct {
	Job, Pin, Stage, Who, Half, Why string
	On                              Day
}

// Question is what the page answers.
func (Pins) Question() string { return "What have we fixed, and what does it cost?" }
func (Pins) template() string { return "pins" }
