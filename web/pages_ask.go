package web

// Explained answers why a stage stands where it does, and why it is not sooner
// or done by others.
type Explained struct {
	Sheet
	Ref, Href  string
	Place      string
	Stage      string
	Plan       string // "published plan 3", "proposal 4"
	When, By   string // "" = it has no place
	Chance     Chance // outdoors
	Lost       string // a place that the plan has and the facts no longer allow
	Then       []string
	Sooner     []AskLine
	Others     []AskLine // crews, or scaffold firms
	Unsaid     string    // of how many others nothing is said, in a sentence; "" = of none
	Clash      []string  // of a stage without a place
	Open       string    // where a stage without a place could go, in a sentence; "" = nowhere
	Move       string    // what moving it buys, in a sentence; "" = it does not move
	Kept       string    // how many of its half-days are kept for weather, and why; "" = none
	Pins       StagePins
	Stages     []Link // the other stages of the job
	Plans      []Link // the same question of another plan
	WhatIfHref string
}

// AskLine is one answer with its price, when it has one.
type AskLine struct {
	Words string
	More  Money // what it would cost more; 0 with Priced = the same
	Ok    bool  // it is possible, so More counts
}

// Question is what the page answers.
func (e Explained) Question() string {
	if e.When == "" && e.Stage != "" {
		return "Why has it no place?"
	}
	return "Why then, and why by them?"
}
func (Explained) template() string { return "explained" }

// WhatIf asks what some change would do. Every form is a GET of Action with the
// fields named beside it; nothing is saved.
type WhatIf struct {
	Sheet
	Action string
	Jobs   []Choice // open ones
	Stages []Choice
	Crews  []Choice
	Firms  []Choice // scaffold firms
	Asked  WhatIfAsked
	Says   string   // the answer in one sentence; "" = nothing was asked
	Lost   []string // pins that are not kept
	Clash  []string // what stands against them
	Was    Money
	With   Money
	Items  []ItemDiff
	Counts []CountDiff
	Late   []Link // promises that would no longer be planned in time
	Saved  []Link // and those that would be after all
	Moves  []Move
	How    string // how it was found out, in one sentence
}

// WhatIfAsked is what was asked, as it was typed: fields kind, job, stage, who,
// on, until, weeks.
type WhatIfAsked struct {
	Kind, Job, Stage, Who, Weeks string
	On, Until                    Day
}

// ItemDiff is one item of the cost without and with a change.
type ItemDiff struct {
	Item     string
	Was, Now Money
}

// Change is by how much the item differs.
func (d ItemDiff) Change() Money { return d.Now - d.Was }

// CountDiff is a number without and with a change.
type CountDiff struct {
	What     string
	Was, Now string
}

// Change is what the change costs more.
func (w WhatIf) Change() Money { return w.With - w.Was }

// Question is what the page answers.
func (WhatIf) Question() string { return "What if …?" }
func (WhatIf) template() string { return "whatif" }

// Offers answers a customer who asks when somebody can come. The question is a
// GET of Action; a place is held, taken or released by a POST.
type Offers struct {
	Sheet
	Action string
	Asked  OfferAsked
	Place  string // where the position comes from
	Sky    string // where the chances come from
	Found  []FoundOffer
	No     []string // why there is none
	Done   bool     // something was asked, and nothing is wrong with it
	Held   []HeldOffer
}

// OfferAsked is what was asked, as it was typed. Half-days are a number for each
// stage, by its key.
type OfferAsked struct {
	Postcode, Lat, Lon string
	Terrain            string
	Height, ModuleM2   string
	Modules            string
	Ready              Day
	HalfDays           []StageHalves
}

// StageHalves is how many half-days a stage takes; field halves_KEY.
type StageHalves struct {
	Key, Stage, N string
}

// FoundOffer is one place. Holding it sends the question again, the day, and
// fields for, contact, days, key.
type FoundOffer struct {
	Rank   int
	On     Day
	Done   Day
	More   Money
	Why    string
	Chance Chance
	Visits []string
	Action string
}

// HeldOffer is a place that somebody was told. Taking it sends field ref.
type HeldOffer struct {
	ID      string
	For     string
	Contact string
	On      Day
	Done    Day
	More    Money
	State   string
	Until   string // "Fri 4 Dec 16:30"
	By      string
	Job     Link // once it was taken
	Take    string
	Release string
}

// Question is what the page answers.
func (Offers) Question() string { return "When can you come?" }
func (Offers) template() string { return "offers" }
