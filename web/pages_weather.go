package web

import "fmt"

// Limits shows the firm's weather limits, who set them and why, and takes a
// change of one. The form sends key, version, task, quantity, caution, stop,
// hours, source, mark (firm, second-hand or read) and why; a row without any
// level is taken out.
type Limits struct {
	Sheet
	Action     string // "" = may not change them
	Version    int
	SetBy, Why string // "" = what the firm began with
	SetAt      string // "Wed 2 Dec 2026, 09:30"
	Loose      []string
	Tasks      []LimitTask
	Asked      LimitForm
	TaskKinds  []Choice
	Quantities []Choice
	Marks      []Choice
	Before     []LimitsBefore // versions that were set, the newest first
}

// LimitTask is the limits of one task.
type LimitTask struct {
	Key, Name string
	Rows      []LimitRow
}

// LimitRow is one limit as it stands, with its units.
type LimitRow struct {
	Quantity, Caution, Stop string // Caution and Stop "none" where there is no such level
	Source                  string // with its mark
	Looser                  string // what it lets through more than at the start; "" = nothing
	Own                     bool   // the firm changed it
	Href                    string // fills the form; "" = may not
}

// LimitForm is what was typed.
type LimitForm struct {
	Task, Quantity, Hours, Caution, Stop, Source, Mark, Why string
}

// LimitsBefore is one version that was set.
type LimitsBefore struct {
	Version     int
	By, At, Why string
	Says        []string // what it changed
	Loose       []string // what it let through more than at the start
}

// Question is what the page answers.
func (Limits) Question() string { return "From what weather on do we stop?" }
func (Limits) template() string { return "limits" }

// WeatherServices shows which weather services count, who set that and why, and
// takes a change. The form sends key, version, service1 and on, together (first
// or worst) and why.
type WeatherServices struct {
	Sheet
	Action     string // "" = may not change them
	Version    int
	Says       string // what becomes of the answers, a sentence
	SetBy, Why string // "" = what the firm began with
	SetAt      string // "Wed 2 Dec 2026, 09:30"
	Services   []ServiceRow
	Choices    []Choice // that can be asked
	Ways       []Choice
	Asked      ServicesForm
	Before     []LimitsBefore // versions that were set, the newest first
}

// ServiceRow is one weather service.
type ServiceRow struct {
	Name, Note string
	Use        string // "asked first", "not asked"
	Counts     bool   // it is asked
	Last       string // "Wed 2 Dec 2026, 07:07, kept for 12 sites"; "never"
	Closed     string // why it cannot be asked here; "" = it can
}

// ServicesForm is what was typed.
type ServicesForm struct {
	Order         []string // keys, the first asked at the front
	Together, Why string
}

// ServiceRank is one place in the order.
type ServiceRank struct {
	Name, Words string // of the input, and its label
	Now         string // the key that stands there; "" = nobody
	MayBeNone   bool
}

// Ranks are the places in the order, one for each service that can be asked.
func (p WeatherServices) Ranks() (all []ServiceRank) {
	words := []string{"Asked first", "Asked second", "Asked third", "Asked fourth"}
	for i := range min(len(p.Choices), len(words)) {
		r := ServiceRank{Name: fmt.Sprintf("service%d", i+1), Words: words[i], MayBeNone: i > 0}
		if i < len(p.Asked.Order) {
			r.Now = p.Asked.Order[i]
		}
		all = append(all, r)
	}
	return all
}

// Question is what the page answers.
func (WeatherServices) Question() string { return "Whose forecasts count?" }
func (WeatherServices) template() string { return "services" }

// WeatherRecord shows what the firm's forecasts were worth and what its climate
// says. The form sends key.
type WeatherRecord struct {
	Sheet
	Action     string // POST, works it out again; "" = may not
	Kept       string // how many forecasts are kept, in words
	Version    int    // of what was learnt; 0 = nothing was
	By, At     string
	Basis      string // from what it was learnt, in words
	Says       string // what it comes to
	All        ScoreRow
	Leads      []LeadRecord
	ShowAction string // GET task and terrain
	Of         string // where and when the climate's record comes from
	Task       string // key of the task whose climate is shown
	Terrain    string // key
	Tasks      []Choice
	Terrains   []Choice
	Climate    []ClimateMonth
}

// ScoreRow is a Brier score with its parts.
type ScoreRow struct {
	N                                           int
	Brier, Reliability, Resolution, Uncertainty Num
	Skill                                       Num
}

// LeadRecord is what the chances of one lead day were worth.
type LeadRecord struct {
	Days  int
	Score ScoreRow
	Keep  Num // [0..1] share of a chance's distance from the climate that is kept
	Bins  []ReliabilityBin
}

// ReliabilityBin is one point of a reliability diagram; all are shares.
type ReliabilityBin struct {
	From, To, Said, Ran, Low, High float64
	N                              int
}

// ClimateMonth is how many half-days of a month were workable.
type ClimateMonth struct {
	Month              string
	Morning, Afternoon ClimateCell
}

// ClimateCell is how many of some half-days were workable.
type ClimateCell struct{ Workable, HalfDays int }

// Percent writes the share: "61 %".
func (c ClimateCell) Percent() string {
	return wholePercent(float64(c.Workable) / float64(max(1, c.HalfDays)))
}

// Question is what the page answers.
func (WeatherRecord) Question() string { return "Can we rely on our forecasts?" }
func (WeatherRecord) template() string { return "weatherrecord" }
