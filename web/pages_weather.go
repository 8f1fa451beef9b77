package web

// Limits shows the firm's weather limits, who set them and why, and takes a
// change of one. The form sends task, quantity, hours, caution, stop, source,
// mark (firm, second-hand or read), why, version and key; a row without any
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
