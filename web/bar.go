package web

import "strings"

// Key names the state for styles and symbols.
func (s State) Key() string { return strings.ReplaceAll(s.String(), " ", "-") }

// Key names the verdict for styles and symbols.
func (v Verdict) Key() string {
	if v == Clear {
		return "clear"
	}
	return "not-clear"
}

// bar is one piece of a stage as it is drawn: a scaffold as a line that stands,
// outdoor work as a hatched bar whose hatch thins as its chance falls, and what is
// kept for weather behind it as a thin one of dashes, indoor work as a plain bar, commissioning as a bar that ends in a notch.
type bar struct {
	mark   mark
	Hatch  string // pattern of an outdoor bar
	Done   bool   // drawn solid
	Kept   bool   // kept for weather, beyond the half-days of work: drawn thinner, and dashed
	Tail   bool   // the stage ends with this piece
	stands bool   // a scaffold between erection and strike
}

type mark = Mark

func (b bar) Outdoor() bool    { return b.mark == MarkOutdoor }
func (b bar) Indoor() bool     { return b.mark == MarkIndoor }
func (b bar) Commission() bool { return b.mark == MarkCommission }
func (b bar) Erect() bool      { return b.mark == MarkErect && !b.stands }
func (b bar) Strike() bool     { return b.mark == MarkStrike && !b.stands }
func (b bar) Stands() bool     { return b.stands }
