package web

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Finishes says when jobs are finished over the weather that may come: what a
// plan comes to in a number of possible futures.
type Finishes struct {
	Futures   int       // 0 = the plan was not carried out in any
	AsOf      time.Time // when the forecasts were read
	Promises  int       // of jobs still to be commissioned of which it can be said
	Kept      float64   // of those, on average over the futures
	CannotSay int       // promises beside those of which nobody can say
	Planned   Money     // what the plan costs as planned
	CostKnown bool      // whether anybody can say what it costs over the futures
	Mean      Money
	P10, P90  Money
	Choice    string // what the plan was chosen from, in a sentence; "" = it was not chosen
	Compared  []ComparedPlan
	Until     Day // last day looked at
	Jobs      []FinishLine
}

// ComparedPlan is one plan that was compared; the one taken stands first.
type ComparedPlan struct {
	How       string
	Kept      float64
	Promises  int
	CostKnown bool
	Mean      Money
}

// FinishLine is one job. Days that are not known are later than the last day
// looked at.
type FinishLine struct {
	Ref, Href     string
	Place         string
	Told          bool // false: Why says why there are no days
	Why           string
	P10, P50, P90 Day    // by which it is finished in 1, 5 and 9 of 10 futures
	Promised      Day    // not known = no promise
	Broken        bool   // the promised day has passed
	Chance        Chance // that the promise is kept
	Hire          Money  // of the scaffold past the included weeks, on average
	LostHalfDays  float64
	Until         Day // last day looked at

	from, to int // days since 1970-01-01 that the line is drawn over
}

// Says is what the plan comes to, in a few sentences.
func (f Finishes) Says() string {
	if f.Futures == 0 {
		return "Nobody can say: this plan was not carried out over the weather that may come."
	}
	says := []string{fmt.Sprintf("Carried out in %d possible weathers by the usual repairs, as the forecasts stood on %s, nobody planning again on the way.", f.Futures, f.AsOf.Format("Mon 2 Jan 15:04"))}
	switch {
	case f.Promises > 0:
		says = append(says, fmt.Sprintf("It keeps %.1f of %s on average.", f.Kept, count(f.Promises, "promise", "promises")))
	case f.CannotSay == 0:
		says = append(says, "No promise is still to be kept.")
	}
	if f.CannotSay > 0 {
		says = append(says, fmt.Sprintf("Of %s nobody can say.", count(f.CannotSay, "promise", "promises")))
	}
	if f.CostKnown {
		says = append(says, fmt.Sprintf("It costs %s on average, from %s to %s in 8 of 10.", f.Mean, f.P10, f.P90))
	} else {
		says = append(says, "What it costs nobody can say: weather that it needs is not known.")
	}
	return strings.Join(says, " ")
}

// dayNumber counts days since 1970-01-01.
func (d Day) dayNumber() (int, bool) {
	t, ok := d.parsed()
	return int(t.Unix() / 86400), ok
}

// Lines gives the jobs, drawn over the same days.
func (f Finishes) Lines() []FinishLine {
	from, to, any := 0, 0, false
	widen := func(d Day) {
		if n, ok := d.dayNumber(); ok {
			if !any {
				from, to, any = n, n, true
			}
			from, to = min(from, n), max(to, n)
		}
	}
	for _, j := range f.Jobs {
		if !j.Told {
			continue
		}
		for _, d := range []Day{j.P10, j.P50, j.P90} {
			widen(d)
		}
		if !j.Broken {
			widen(j.Promised)
		}
		if !j.P90.Known() {
			widen(f.Until)
		}
	}
	lines := make([]FinishLine, len(f.Jobs))
	for i, j := range f.Jobs {
		j.Until, j.from, j.to = f.Until, from-1, max(to, from+6)+1
		lines[i] = j
	}
	return lines
}

// atRisk is how likely a promise must be to be kept not to be shown first, and
// mostAtRisk how many are shown before the others.
const (
	atRisk     = 0.8
	mostAtRisk = 8
)

// AtRisk gives the jobs whose promise is least likely to be kept, the worst
// first, when there are more jobs than one; the others stand with all of them.
func (f Finishes) AtRisk() []FinishLine {
	if len(f.Jobs) < 2 {
		return nil
	}
	lines := slices.DeleteFunc(f.Lines(), func(j FinishLine) bool { return !j.Chance.Known || j.Broken || j.Chance.P >= atRisk })
	slices.SortStableFunc(lines, func(a, b FinishLine) int { return cmp.Compare(a.Chance.P, b.Chance.P) })
	return lines[:min(len(lines), mostAtRisk)]
}

// at gives where a day stands on the line [percent of its width]; the end of it
// when the day is not known.
func (j FinishLine) at(d Day) float64 {
	n, ok := d.dayNumber()
	if !ok {
		return 100
	}
	return min(100, max(0, share(n, j.from, j.to)))
}

// Bar is where the days from P10 to P90 lie, percent of the width.
func (j FinishLine) Bar() (b struct{ X, Width float64 }) {
	b.X = j.at(j.P10)
	b.Width = max(0.8, j.at(j.P90)-b.X)
	return b
}

// Middle is where P50 lies, and Flag where the promise does.
func (j FinishLine) Middle() float64 { return j.at(j.P50) }

// Flag is where the promise lies.
func (j FinishLine) Flag() float64 { return j.at(j.Promised) }

// Flagged tells whether a promise is drawn: one that is known and not past.
func (j FinishLine) Flagged() bool { return j.Promised.Known() && !j.Broken }

// Open tells whether the bar has no end: more than 1 future in 10 ends later
// than the last day looked at.
func (j FinishLine) Open() bool { return !j.P90.Known() }

// When says in words when the job is finished.
func (j FinishLine) When() string {
	switch {
	case !j.Told:
		return j.Why
	case !j.P10.Known():
		return "Later than " + j.Until.Short() + " in 9 of 10 futures or more."
	case !j.P50.Known():
		return fmt.Sprintf("From %s; later than %s in at least 5 of 10 futures.", j.P10.Short(), j.Until.Short())
	case !j.P90.Known():
		return fmt.Sprintf("From %s, half of them by %s; later than %s in 1 of 10 futures or more.", j.P10.Short(), j.P50.Short(), j.Until.Short())
	case j.P10 == j.P90:
		return j.P10.Short() + " in 8 of 10 futures or more."
	default:
		return fmt.Sprintf("%s to %s in 8 of 10 futures, half of them by %s.", j.P10.Short(), j.P90.Short(), j.P50.Short())
	}
}

// Promise says in words whether the promise is kept.
func (j FinishLine) Promise() string {
	switch {
	case !j.Promised.Known():
		return "No day is promised."
	case j.Broken:
		return "Promised for " + j.Promised.Short() + ", which has passed."
	case j.Chance.Known:
		return fmt.Sprintf("Promised for %s: %s to be kept.", j.Promised.Short(), j.Chance.Words())
	case j.Told:
		return "Promised for " + j.Promised.Short() + ": nobody can say whether it is kept."
	default:
		return "Promised for " + j.Promised.Short() + "."
	}
}

// Besides says what the weather takes and what the scaffold costs past its
// included weeks; "" = neither, or nobody knows.
func (j FinishLine) Besides() string {
	if !j.Told {
		return ""
	}
	var parts []string
	if j.LostHalfDays >= 0.05 {
		parts = append(parts, fmt.Sprintf("%.1f half-days lost", j.LostHalfDays))
	}
	if j.Hire > 0 {
		parts = append(parts, fmt.Sprintf("%s of hire past the included weeks", j.Hire))
	}
	if len(parts) == 0 {
		return ""
	}
	return upperFirst(strings.Join(parts, " and ")) + " on average."
}
