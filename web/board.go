package web

import (
	"fmt"
	"slices"
	"strings"
)

// column is one column of the board: a half-day, or a whole day on which
// nobody works.
type column struct {
	day *BoardDay
	off bool
	pm  bool
}

func (w Week) columns() []column {
	var cols []column
	for i := range w.Days {
		d := &w.Days[i]
		if !d.Working {
			cols = append(cols, column{day: d, off: true})
			continue
		}
		cols = append(cols, column{day: d}, column{day: d, pm: true})
	}
	return cols
}

func (c column) cell() cell {
	name := "am"
	if c.off {
		name = "off"
	} else if c.pm {
		name = "pm"
	}
	return cell{Span: 1, Col: name, Today: c.day.Today}
}

// Columns counts the board's columns beside the one of names.
func (w Week) Columns() int { return len(w.columns()) }

// First is the board's first day.
func (w Week) First() Day {
	if len(w.Days) == 0 {
		return ""
	}
	return w.Days[0].Day
}

// Weeks cuts the board into sheets of at most seven days, each as wide as one
// week: half-days narrower than that hold no words.
func (w Week) Weeks() []Week {
	var weeks []Week
	for days := range slices.Chunk(w.Days, 7) {
		one := w
		one.Days = days
		weeks = append(weeks, one)
	}
	return weeks
}

// Span is how many columns the day takes.
func (d BoardDay) Span() int {
	if d.Working {
		return 2
	}
	return 1
}

// OffSay is why nobody works, unless it is only the name of the weekday.
func (d BoardDay) OffSay() string {
	if d.Off == d.Day.format("Monday") {
		return ""
	}
	return d.Off
}

// Halves gives the two half-days with their weather; one cell for both when the
// day is past.
func (d BoardDay) Halves() []WeatherCell {
	if d.AM.Past && d.PM.Past {
		return []WeatherCell{{Half: "am", Span: 2, HalfWeather: d.AM}}
	}
	return []WeatherCell{{"am", 1, d.AM}, {"pm", 1, d.PM}}
}

// WeatherCell is the weather of one half-day under its name, or of a whole past
// day.
type WeatherCell struct {
	Half string
	Span int
	HalfWeather
}

// tellShown is how many things one party is told openly; more are folded.
const tellShown = 3

// Shown gives the first things to tell.
func (t Tell) Shown() []TellItem { return t.Items[:t.shown()] }

// Folded gives the rest.
func (t Tell) Folded() []TellItem { return t.Items[t.shown():] }

// shown never leaves a single thing to unfold.
func (t Tell) shown() int {
	if len(t.Items) <= tellShown+1 {
		return len(t.Items)
	}
	return tellShown
}

// Gauges draws the half-day's numbers against their limits.
func (c WeatherCell) Gauges() []gauge {
	return []gauge{
		{Name: "gust", value: c.GustMS, limit: c.GustLimitMS, unit: "m/s", full: 20},
		{Name: "rain", value: c.RainMM, limit: c.RainLimitMM, unit: "mm/h", full: 2},
	}
}

// gauge is one number against its limit on a fixed scale, so that two days are
// compared by eye.
type gauge struct {
	Name         string
	value, limit Num
	unit         string
	full         float64 // what the whole width stands for
}

func (g gauge) percent(v float64) float64 { return min(100, max(0, 100*v/g.full)) }

// Fill is how much of the width the number takes [%].
func (g gauge) Fill() float64 { return g.percent(g.value.N) }

// LimitAt is where the limit stands [%].
func (g gauge) LimitAt() float64 { return g.percent(g.limit.N) }

// Known and HasLimit tell what there is to draw.
func (g gauge) Known() bool { return g.value.Known }

// HasLimit tells whether a limit is set.
func (g gauge) HasLimit() bool { return g.limit.Known }

// Over tells whether a known number is above a known limit.
func (g gauge) Over() bool { return g.value.Known && g.limit.Known && g.value.N > g.limit.N }

// Say writes number, unit and limit: "7.4 of 8.4 m/s", "9.1 over 8.4 m/s".
func (g gauge) Say() string {
	switch {
	case !g.value.Known:
		return "not known"
	case !g.limit.Known:
		return g.value.In(1, g.unit) + ", no limit set"
	case !g.Over():
		return fmt.Sprintf("%s of %s\u00a0%s", number(g.value.N, 1), number(g.limit.N, 1), g.unit)
	}
	// A number that is over by less than the digit shown would read as equal.
	d := 1
	for d < 4 && number(g.value.N, d) == number(g.limit.N, d) {
		d++
	}
	return fmt.Sprintf("%s over %s\u00a0%s", number(g.value.N, d), number(g.limit.N, 1), g.unit)
}

// cell is one cell of a row of the board; it spans one column or more.
type cell struct {
	Span   int
	Col    string // "am", "pm" or "off": which column it begins in
	Today  bool
	Roomy  bool        // the cells beside it hold no words, so its own may run over them
	Off    string      // not empty: nobody works
	Away   string      // not empty: why the crew is away
	Visit  *BoardVisit // nil = none
	Bar    bar
	Head   bool // the visit's first piece on the board
	Erect  bool
	Strike bool
	Stands bool
	Chance Chance
	Words  string    // for a scaffold
	Pins   StagePins // of it
}

// Rest tells that nothing is in the cell.
func (c cell) Rest() bool { return c.Off == "" && c.Away == "" && c.Visit == nil && c.Words == "" }

// lay puts a crew's visits over the board's columns. A visit that comes to lie
// on another one or on a day off is named in the second answer: the plan forbids
// it, and the page must not hide it.
func (w Week) lay(r CrewRow) ([]cell, []string) {
	cols := w.columns()
	at := make([]int, len(cols)) // index of the visit + 1
	var clash []string
	for v, visit := range r.Visits {
		for i, c := range cols {
			if c.off && whenOn(c.day.Day, visit.Halves) != "" {
				clash = append(clash, fmt.Sprintf("%s %s stands on %s, when nobody works", visit.Ref, visit.Stage, c.day.Day.Short()))
			}
			if c.off || !slices.Contains(visit.Halves, Half{c.day.Day, c.pm}) {
				continue
			}
			if at[i] != 0 {
				clash = append(clash, fmt.Sprintf("%s %s also stands in %s", visit.Ref, visit.Stage, Half{c.day.Day, c.pm}))
				continue
			}
			at[i] = v + 1
		}
	}
	var cells []cell
	seen := map[int]bool{}
	for i := 0; i < len(cols); {
		c := cols[i].cell()
		switch {
		case cols[i].off:
			c.Off = cols[i].day.Off
		case at[i] == 0:
			c.Away = r.awayOn(cols[i].day.Day)
			for c.Away != "" && i+c.Span < len(cols) && at[i+c.Span] == 0 && cols[i+c.Span].day == cols[i].day {
				c.Span++
			}
		default:
			v := &r.Visits[at[i]-1]
			kept := v.keeps(cols[i])
			for i+c.Span < len(cols) && !cols[i+c.Span].off && at[i+c.Span] == at[i] && v.keeps(cols[i+c.Span]) == kept {
				c.Span++
			}
			last := cols[i+c.Span-1]
			c.Visit, c.Head = v, !seen[at[i]]
			c.Bar = bar{mark: v.Mark, Hatch: v.Chance.Hatch(), Done: v.Done, Kept: kept, Tail: slices.MaxFunc(v.Halves, compare) == Half{last.day.Day, last.pm}}
			seen[at[i]] = true
		}
		cells = append(cells, c)
		i += c.Span
	}
	return cells, clash
}

// keeps tells whether a half-day of the visit is kept for weather.
func (v *BoardVisit) keeps(c column) bool {
	return !v.Done && slices.Contains(v.Kept, Half{c.day.Day, c.pm})
}

// keptOn tells whether all that a visit has of a day is kept for weather.
func (v *BoardVisit) keptOn(d Day) bool {
	when := whenOn(d, v.Kept)
	return !v.Done && when != "" && when == whenOn(d, v.Halves)
}

func compare(a, b Half) int {
	switch {
	case a.before(b):
		return -1
	case b.before(a):
		return 1
	default:
		return 0
	}
}

func (r CrewRow) awayOn(d Day) string {
	for _, a := range r.Away {
		if a.Day == d {
			return a.Why
		}
	}
	return ""
}

// crewLine is a crew's row ready to be drawn.
type crewLine struct {
	CrewRow
	Cells []cell
	Clash []string
}

// CrewLines gives the crews' rows ready to be drawn.
func (w Week) CrewLines() []crewLine {
	var lines []crewLine
	for _, r := range w.Crews {
		cells, clash := w.lay(r)
		r.Away = slices.DeleteFunc(slices.Clone(r.Away), func(a AwayDay) bool {
			return !slices.ContainsFunc(w.Days, func(d BoardDay) bool { return d.Day == a.Day })
		})
		lines = append(lines, crewLine{r, cells, clash})
	}
	return lines
}

// scaffoldLines is a scaffold firm's rows ready to be drawn.
type scaffoldLines struct {
	Firm, Note string
	Lines      []standingLine
}

type standingLine struct {
	Standing
	Cells []cell
}

// ScaffoldLines gives the scaffold firms' rows ready to be drawn; scaffolds
// that do not touch the board's days are left out.
func (w Week) ScaffoldLines() []scaffoldLines {
	var groups []scaffoldLines
	for _, r := range w.Scaffolds {
		g := scaffoldLines{Firm: r.Firm, Note: r.Note}
		for _, s := range r.Standing {
			if cells, touches := w.layStanding(s); touches {
				g.Lines = append(g.Lines, standingLine{s, cells})
			}
		}
		groups = append(groups, g)
	}
	return groups
}

type phase int

const (
	absent phase = iota
	erecting
	stands
	striking
)

// phaseOf tells what the scaffold does in a column. It stands through nights,
// weekends and holidays.
func (s Standing) phaseOf(c column) phase {
	first, last := Half{c.day.Day, c.pm}, Half{c.day.Day, c.pm}
	if c.off {
		last.PM = true
	}
	if len(s.Erect) > 0 {
		up, upEnd := slices.MinFunc(s.Erect, compare), slices.MaxFunc(s.Erect, compare)
		if last.before(up) {
			return absent
		}
		if !upEnd.before(first) {
			return erecting
		}
	}
	if len(s.Strike) > 0 {
		down, downEnd := slices.MinFunc(s.Strike, compare), slices.MaxFunc(s.Strike, compare)
		if downEnd.before(first) {
			return absent
		}
		if !last.before(down) {
			return striking
		}
	}
	if len(s.Erect)+len(s.Strike) == 0 {
		return absent
	}
	return stands
}

func (w Week) layStanding(s Standing) (cells []cell, touches bool) {
	cols := w.columns()
	for i := 0; i < len(cols); {
		p := s.phaseOf(cols[i])
		c := cols[i].cell()
		for (p == erecting || p == striking) && i+c.Span < len(cols) && s.phaseOf(cols[i+c.Span]) == p {
			c.Span++
		}
		switch p {
		case erecting:
			c.Erect, c.Words, c.Chance, c.Pins, c.Bar = true, "goes up", s.ErectChance, s.ErectPins, bar{mark: MarkErect}
		case striking:
			c.Strike, c.Words, c.Chance, c.Pins, c.Bar = true, "comes down", s.StrikeChance, s.StrikePins, bar{mark: MarkStrike}
		case stands:
			c.Stands, c.Words, c.Bar = true, "stands", bar{stands: true}
		}
		touches = touches || p != absent
		cells = append(cells, c)
		i += c.Span
	}
	between := 0
	for _, c := range cells {
		if c.Stands {
			between++
		}
	}
	for i := range cells {
		// The words of both ends need about four half-days between them.
		cells[i].Roomy = (cells[i].Erect || cells[i].Strike) && between >= 4
	}
	return cells, touches
}

// agendaDay is one day of the board as a list, for narrow screens.
type agendaDay struct {
	BoardDay
	Work []agendaLine
	Ups  []agendaLine
}

type agendaLine struct {
	When  string // "all day", "morning", "afternoon"
	Who   string
	Visit *BoardVisit
	Bar   bar
	Up    bool // a scaffold goes up; else it comes down
	Stand *Standing
	Away  string
}

// Agenda gives the board day by day, for screens too narrow for its columns.
func (w Week) Agenda() []agendaDay {
	var days []agendaDay
	for _, d := range w.Days {
		a := agendaDay{BoardDay: d}
		for _, r := range w.Crews {
			if why := r.awayOn(d.Day); why != "" {
				a.Work = append(a.Work, agendaLine{When: "all day", Who: r.Crew, Away: why})
			}
			for i := range r.Visits {
				v := &r.Visits[i]
				if when := whenOn(d.Day, v.Halves); when != "" {
					a.Work = append(a.Work, agendaLine{When: when, Who: r.Crew, Visit: v, Bar: bar{mark: v.Mark, Hatch: v.Chance.Hatch(), Done: v.Done, Kept: v.keptOn(d.Day), Tail: slices.MaxFunc(v.Halves, compare).Day == d.Day}})
				}
			}
		}
		for _, r := range w.Scaffolds {
			for i := range r.Standing {
				s := &r.Standing[i]
				if when := whenOn(d.Day, s.Erect); when != "" {
					a.Ups = append(a.Ups, agendaLine{When: when, Who: r.Firm, Up: true, Stand: s})
				}
				if when := whenOn(d.Day, s.Strike); when != "" {
					a.Ups = append(a.Ups, agendaLine{When: when, Who: r.Firm, Stand: s})
				}
			}
		}
		days = append(days, a)
	}
	return days
}

func whenOn(d Day, halves []Half) string {
	am, pm := slices.Contains(halves, Half{d, false}), slices.Contains(halves, Half{d, true})
	switch {
	case am && pm:
		return "all day"
	case am:
		return "morning"
	case pm:
		return "afternoon"
	default:
		return ""
	}
}

// Says is the board's answer in one line.
func (w Week) Says() string {
	visits, crews, up, down := 0, 0, 0, 0
	on := func(halves []Half) bool {
		return slices.ContainsFunc(w.Days, func(d BoardDay) bool { return whenOn(d.Day, halves) != "" })
	}
	for _, r := range w.Crews {
		n := 0
		for _, v := range r.Visits {
			if on(v.Halves) {
				n++
			}
		}
		visits += n
		if n > 0 {
			crews++
		}
	}
	for _, r := range w.Scaffolds {
		for _, s := range r.Standing {
			if on(s.Erect) {
				up++
			}
			if on(s.Strike) {
				down++
			}
		}
	}
	if w.Plan.Version == 0 {
		return "No plan is published yet."
	}
	says := []string{
		upperFirst(fmt.Sprintf("%s by %s.", count(visits, "visit", "visits"), count(crews, "crew", "crews"))),
		upperFirst(fmt.Sprintf("%s up, %s down.", count(up, "scaffold goes", "scaffolds go"), countComes(down))),
	}
	if n := len(w.Unplanned); n > 0 {
		says = append(says, count(n, "stage found", "stages found")+" no place.")
	}
	return strings.Join(says, " ")
}

func count(n int, one, many string) string {
	switch n {
	case 0:
		return "no " + many
	case 1:
		return "1 " + one
	default:
		return fmt.Sprintf("%d %s", n, many)
	}
}

func countComes(n int) string {
	switch n {
	case 0:
		return "none comes"
	case 1:
		return "1 comes"
	default:
		return fmt.Sprintf("%d come", n)
	}
}
