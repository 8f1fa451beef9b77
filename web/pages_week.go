package web

import "slices"

// Week is the office's board: one or two weeks of crews by half-days, the
// scaffolds that stand, the weather under each day, and what the plan costs.
type Week struct {
	Sheet
	Days       []BoardDay // in order, all of them, working or not
	Crews      []CrewRow
	Scaffolds  []ScaffoldRow
	WeatherOf  string // whose weather the days show: "roof work at the most exposed of 6 sites"
	Plan       PlanHead
	Cost       Cost
	Unplanned  []Unplanned
	Tell       []Tell
	Prev, Next Link   // the week before and after
	Views      []Link // one week, two weeks
	Answers    Link   // scaffold firms' answers that wait for a decision; Href "" = none
	Draft      Link   // the newest draft waiting for a decision; Href "" = none
	PlanAgain  string // POST action; "" = this person may not. Field: key
}

// PlanHead says which plan is shown.
type PlanHead struct {
	Version     int // 0 = no plan published yet
	MadeBy      string
	PublishedBy string
	PublishedAt string // "Wed 25 Nov 16:10", in words already
	Seed        string
	Schedules   int // schedules generated: the search's budget
}

// BoardDay is one day of the board.
type BoardDay struct {
	Day     Day
	Working bool
	Off     string // why nobody works: "Saturday", "Christmas Day"
	Today   bool
	AM, PM  HalfWeather
}

// HalfWeather is the weather of one half-day: the chance that outdoor work
// runs, the highest gust and hour of rain expected, and their limits. A half-day
// that is past has none; one to come whose weather is not known says so.
type HalfWeather struct {
	Past        bool
	Chance      Chance
	Sky         Sky
	GustMS      Num // [m/s] highest, at working height
	GustLimitMS Num // [m/s]
	RainMM      Num // [mm] in the wettest hour
	RainLimitMM Num // [mm] in one hour
	Why         string
}

// CrewRow is one crew's days.
type CrewRow struct {
	Crew   string
	Trade  string // in words
	People string // "Asha (lead), Tom"
	Href   string // the crew's morning page; "" = none
	Visits []BoardVisit
	Away   []AwayDay
}

// BoardVisit is one stage of one job done by one crew in stated half-days.
type BoardVisit struct {
	Ref, Href string // of the job
	Place     string // short: "Mill Lane 4"
	Stage     string // in words
	Mark      Mark
	Halves    []Half // any order; those outside the board are left out
	Kept      []Half // of them those that are kept for weather beyond the half-days of work
	Chance    Chance // that the weather lets the whole visit run; only outdoors
	Why       string // what bound the start, in one sentence
	Done      bool
	Pins      StagePins
}

// StagePin is something that a person fixed about a stage.
type StagePin struct {
	Words  string // "roof work starts on Tue 8 Dec"
	By, At string // who set it and when, in words
	Why    string // in that person's words
	Kept   bool   // the plan shown has it so
}

// StagePins is all that is fixed about a stage.
type StagePins []StagePin

// Kept tells whether the plan shown keeps all of them.
func (p StagePins) Kept() bool {
	return !slices.ContainsFunc(p, func(one StagePin) bool { return !one.Kept })
}

// Word is how the board marks the stage; "" = nothing is fixed.
func (p StagePins) Word() string {
	switch {
	case len(p) == 0:
		return ""
	case p.Kept():
		return "pinned"
	default:
		return "pin not kept"
	}
}

// AwayDay is a day on which the crew cannot work as planned, and why.
type AwayDay struct {
	Day Day
	Why string // "Tom on leave"
}

// ScaffoldRow is one scaffold firm and its scaffolds.
type ScaffoldRow struct {
	Firm     string
	Note     string // "1 gang a day, 4 sets, 3 standing"
	Standing []Standing
}

// Standing is one scaffold, from erection to strike. Its halves are those in
// which the gang works.
type Standing struct {
	Ref, Href    string
	Place        string
	Erect        []Half
	Strike       []Half // empty = no strike planned yet
	State        string // of the booking, in words: "confirmed", "asked for", "other day offered"
	ErectChance  Chance
	StrikeChance Chance
	ErectPins    StagePins
	StrikePins   StagePins
}

// Cost is what a plan costs: sums by item, and the lines behind each.
type Cost struct {
	Total Money
	Items []CostItem // dearest first
}

// CostItem is one kind of cost.
type CostItem struct {
	Item   string // "scaffold hire"
	Amount Money
	Lines  []CostLine
}

// CostLine is one amount and the sentence that explains it.
type CostLine struct {
	Amount Money
	Why    string
}

// Unplanned is a stage that found no place, and why.
type Unplanned struct {
	Ref, Href string
	Place     string
	Stage     string
	Why       string
	Told      bool // its day was fixed by a person, and is not kept
}

// Tell is somebody who must be told of the plan, and what is still open with
// them.
type Tell struct {
	Whom  string     // "Harbour Scaffolding"
	Says  string     // "20 bookings not confirmed yet."
	How   string     // "They see the dates on their page and in their feed."
	Items []TellItem // in the order in which they want attention
}

// TellItem is one thing that somebody must be told.
type TellItem struct {
	Ref, Href string // of the job
	What      string // "goes up Tue 1 Dec, comes down Mon 14 Dec"
}

// Question is what the page answers.
func (w Week) Question() string {
	if len(w.Days) > 7 {
		return "What happens in these weeks?"
	}
	return "What happens this week?"
}
func (Week) template() string { return "week" }

// Proposal is a draft plan beside the published one. Publishing sends fields
// base (the version it was made from) and key; planning again sends aim,
// schedules and key.
type Proposal struct {
	Sheet
	Plan      PlanHead // the draft
	Base      int      // version of the published plan it was made from; 0 = none
	Stale     string   // why it can no longer be published; "" = it can
	Groups    []ProposalGroup
	Moved     int // visits that move, come in or fall out; each counts once
	Same      int // visits that stay as they are
	Was       Cost
	Cost      Cost
	Unplanned []Unplanned
	Finishes  Finishes
	Holidays  string   // up to when holidays are known, in a sentence; "" = do not say
	NewlyOut  int      // how many of those have a place in the published plan
	Publish   string   // POST action; "" = may not
	Agree     []Choice // changes inside a scaffold firm's notice, each to be agreed to: sent as agree, one for each
	PlanAgain string   // POST action; "" = may not
	Budgets   []Choice // how long the search may take, the usual first; empty = as usual
	Aims      []Choice // what the plan may be best at, the usual first; empty = as usual
	UnderWay  Link     // the run that is under way; Href "" = none
	Drop      string   // POST action that throws the draft away; "" = may not
	Back      Link
}

// ProposalGroup is everything that changes for one party.
type ProposalGroup struct {
	Whom  string // "Roof crew A", "Harbour Scaffolding", "customers"
	Moves []Move
}

// Heading is whom it changes for, as a heading.
func (g ProposalGroup) Heading() string { return upperFirst(g.Whom) }

// Move is one visit or booking before and after.
type Move struct {
	Ref, Href string
	Place     string
	What      string // the stage or "scaffold booking", in words
	Now       string // "Tue 1 Dec am, Roof crew A"; "" = not planned now
	Proposed  string // "" = taken out
	Shift     string // "17 working days earlier"; "" = the same day, or only one of the two
	Reason    string // why then, or why it is taken out
	Buys      string // what the move saves, or why it had to be, in a sentence; "" = not said
	WhyHref   string // where to ask why then, in full; "" = nowhere
	Charge    Money  // what the plan is charged for moving what was published; 0 = nothing
	ChargeAt  string // where the charge is told instead, in words; "" = here
	Soon      bool   // inside the days that are frozen or the notice that was agreed
}

// Question is what the page answers.
func (Proposal) Question() string { return "What would change, and whom does it disturb?" }
func (Proposal) template() string { return "proposal" }

// Difference is what the draft costs more than the published plan.
func (p Proposal) Difference() Money { return p.Cost.Total - p.Was.Total }
