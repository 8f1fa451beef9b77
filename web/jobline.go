package web

import (
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// lane is one stage of a job on the job's line. Pieces are percent of the width.
type lane struct {
	StageLine
	Pieces []lanePiece
}

type lanePiece struct {
	X, Width float64
	Bar      bar
}

// lineTick is one day written over the job's line.
type lineTick struct {
	X     float64
	Words string
}

// halfIndex counts half-days since 1970-01-01; ok is false for a day not known.
func (h Half) index() (n int, ok bool) {
	t, ok := h.Day.parsed()
	if !ok {
		return 0, false
	}
	n = int(t.Unix()/86400) * 2
	if h.PM {
		n++
	}
	return n, true
}

// bounds gives the first and the one after the last half-day of all stages.
func (p JobPage) bounds() (from, to int) {
	found := false
	for _, s := range p.Stages {
		for _, h := range s.Halves {
			n, ok := h.index()
			if !ok {
				continue
			}
			if !found {
				from, to, found = n, n+1, true
			}
			from, to = min(from, n), max(to, n+1)
		}
	}
	// Whole days at both ends; a line shorter than a week would exaggerate.
	from -= from & 1
	to += to & 1
	if found && to-from < 14 {
		to = from + 14
	}
	return from, to
}

// Lanes gives the stages on one line of days.
func (p JobPage) Lanes() []lane {
	from, to := p.bounds()
	var lanes []lane
	for _, s := range p.Stages {
		l := lane{StageLine: s}
		work, kept := s.reserve()
		for n, list := range [][]Half{work, kept} {
			for _, run := range runs(list) {
				l.Pieces = append(l.Pieces, lanePiece{
					X: share(run[0], from, to), Width: share(run[1], from, to) - share(run[0], from, to),
					Bar: bar{mark: s.Mark, Hatch: s.Chance.Hatch(), Done: s.Progress == Done, Kept: n == 1, Tail: true},
				})
			}
		}
		for i := range l.Pieces[:max(0, len(l.Pieces)-1)] {
			l.Pieces[i].Bar.Tail = false
		}
		if s.Mark == MarkErect && len(l.Pieces) > 0 {
			l.Pieces = append(l.Pieces, p.standing(l.Pieces[len(l.Pieces)-1], from, to))
		}
		lanes = append(lanes, l)
	}
	return lanes
}

// reserve parts the half-days of a stage into those of its work and those that
// are kept for weather behind them.
func (s StageLine) reserve() (work, kept []Half) {
	if s.Mark != MarkOutdoor || s.Progress != Planned || s.HalfDays < 1 || len(s.Halves) <= s.HalfDays {
		return s.Halves, nil
	}
	all := slices.Clone(s.Halves)
	slices.SortFunc(all, compare)
	return all[:s.HalfDays], all[s.HalfDays:]
}

// standing is the scaffold between erection and strike, or to the end of the
// line where no strike is planned.
func (p JobPage) standing(after lanePiece, from, to int) lanePiece {
	x, end := after.X+after.Width, 100.0
	for _, s := range p.Stages {
		if r := runs(s.Halves); s.Mark == MarkStrike && len(r) > 0 {
			end = share(r[0][0], from, to)
		}
	}
	return lanePiece{X: x, Width: max(0, end-x), Bar: bar{stands: true}}
}

func share(n, from, to int) float64 {
	if to == from {
		return 0
	}
	return 100 * float64(n-from) / float64(to-from)
}

// runs joins half-days that follow each other: [first, one after the last].
func runs(halves []Half) [][2]int {
	var ns []int
	for _, h := range halves {
		if n, ok := h.index(); ok {
			ns = append(ns, n)
		}
	}
	slices.Sort(ns)
	var out [][2]int
	for _, n := range slices.Compact(ns) {
		if len(out) > 0 && out[len(out)-1][1] == n {
			out[len(out)-1][1] = n + 1
			continue
		}
		out = append(out, [2]int{n, n + 1})
	}
	return out
}

// Ticks gives the days to write over the line, at most five of them.
func (p JobPage) Ticks() []lineTick {
	from, to := p.bounds()
	if to == from {
		return nil
	}
	days := (to - from) / 2
	step := max(1, (days+4)/5)
	var ticks []lineTick
	for d := 0; d < days; d += step {
		ticks = append(ticks, lineTick{X: share(from+2*d, from, to), Words: time.Unix(int64(from/2+d)*86400, 0).UTC().Format("2 Jan")})
	}
	return ticks
}

// When writes the stage's first and last half-day, or that it has none.
func (s StageLine) When() string {
	if len(s.Halves) == 0 {
		return ""
	}
	first, last := slices.MinFunc(s.Halves, compare), slices.MaxFunc(s.Halves, compare)
	if first == last {
		return first.String()
	}
	if first.Day == last.Day {
		return first.Day.Short() + ", all day"
	}
	return first.String() + " to " + last.String()
}

// Outdoors tells whether the weather still decides over the stage.
func (s StageLine) Outdoors() bool {
	return s.Progress != Done && (s.Mark == MarkOutdoor || s.Mark == MarkErect || s.Mark == MarkStrike)
}

// Says is the job's answer in one line.
func (p JobPage) Says() string {
	var parts []string
	done := 0
	var next *StageLine
	var started []string
	for i := range p.Stages {
		s := &p.Stages[i]
		switch {
		case s.Progress == Done:
			done++
		case s.Progress == Started:
			started = append(started, s.Stage)
		case next == nil || earlier(*s, *next):
			next = s
		}
	}
	switch {
	case len(p.Stages) == 0:
		parts = append(parts, "No stages are written down yet.")
	case done == len(p.Stages):
		parts = append(parts, "Every stage is done.")
	default:
		parts = append(parts, upperFirst(count(done, "stage is", "stages are"))+" done.")
	}
	if len(started) > 0 {
		parts = append(parts, "Under way: "+strings.Join(started, " and ")+".")
	}
	if next != nil && len(next.Halves) == 0 {
		parts = append(parts, upperFirst(next.Stage)+" has no place in the plan.")
	} else if next != nil {
		parts = append(parts, "Next: "+next.Stage+", "+next.When()+".")
	}
	if p.Promised.Known() {
		parts = append(parts, "Promised for "+p.Promised.Short()+".")
	}
	return strings.Join(parts, " ")
}

// earlier orders stages by their first half-day, those without one last.
func earlier(a, b StageLine) bool {
	if len(a.Halves) == 0 || len(b.Halves) == 0 {
		return len(a.Halves) > 0 && len(b.Halves) == 0
	}
	return slices.MinFunc(a.Halves, compare).before(slices.MinFunc(b.Halves, compare))
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	r, n := utf8.DecodeRuneInString(s) // "£4" begins with two bytes
	return string(unicode.ToUpper(r)) + s[n:]
}

// KWp is the array's power: modules times rated watts [kW].
func (p JobPage) KWp() float64 { return float64(p.Modules*p.ModuleWatts) / 1000 }
