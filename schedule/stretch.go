package schedule

import (
	"fmt"
	"math"

	"toeboard/schedule/solver"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// Roof work past the forecast is planned with the half-days that it will on
// average take: those kept beyond its half-days of work are its reserve. MODEL.md
// section 2 has the rule and section 8 the figures that it was chosen by. All
// of the planner takes the length of a visit from here; Validate and recount.py
// work it out for themselves.

const (
	// whole is the work of one half-day.
	whole = int(solver.Whole)

	// reserveFrom is how many days after today half-days count by their chance:
	// those before are the forecast's, and stand or fall by it.
	reserveFrom civil.Date = weather.ForecastDays

	// reserveShort is how much of the work the half-days of a visit may lack: half
	// a half-day, which rounds to the nearest.
	reserveShort = whole / 2
)

// reserves tells whether a stage is planned with a reserve. Erection and strike
// are not: a gang that the weather turns away comes again by itself, and nobody
// is kept free for it.
func reserves(k StageKind) bool { return k == RoofWork }

// brings is how much of a half-day's work a half-day is expected to bring, in
// ten-thousandths of a half-day: all of it, but for roof work past the forecast,
// the chance of weather. Nothing where the chance is not known.
func (f *facts) brings(w *work, k StageKind, h civil.HalfDay) int {
	if !reserves(k) || h.Date() < f.today+reserveFrom {
		return whole
	}
	c := f.chances(w, k).At(h)
	if !c.Known {
		return 0
	}
	return int(math.Round(c.P * float64(whole)))
}

// needs is how much the half-days of a stage must bring, in the same unit.
func (f *facts) needs(w *work, k StageKind) int {
	n := w.left(k, f.s.FirstDay) * whole
	if reserves(k) {
		n -= reserveShort
	}
	return n
}

// kept takes from some half-days those that a stage takes from the first of them
// on; nil when they are too few.
func (f *facts) kept(w *work, k StageKind, list []civil.HalfDay) []civil.HalfDay {
	left := f.needs(w, k)
	for i, h := range list {
		if left -= f.brings(w, k, h); left <= 0 {
			return list[:i+1]
		}
	}
	return nil
}

// asNow gives of the half-days that were published for a stage those that it
// still takes from the first of them on; all of them when they are too few.
func (f *facts) asNow(w *work, k StageKind, was []civil.HalfDay) []civil.HalfDay {
	if now := f.kept(w, k, was); now != nil {
		return now
	}
	return was
}

// Stays tells whether a visit is where another was: with the same crew or
// scaffold firm from the same half-day on, and no longer. A visit that has lost
// some of its reserve, because its days have come within the forecast, is no
// moved appointment: the customer and the crew were told the day it begins.
func (v *Visit) Stays(was *Visit) bool {
	return v.Crew == was.Crew && v.ScaffoldFirm == was.ScaffoldFirm && begins(v.HalfDays, was.HalfDays)
}

// begins tells whether a list is the beginning of another.
func begins(list, of []civil.HalfDay) bool {
	return len(list) > 0 && len(list) <= len(of) && sameHalfDays(list, of[:len(list)])
}

// Reserve is how many of a visit's half-days, the last of them, are kept for
// those that the weather takes from work of so many half-days.
func (v *Visit) Reserve(halfDays int) int {
	if !reserves(v.Stage) {
		return 0
	}
	return max(0, len(v.HalfDays)-halfDays)
}

// weatherAhead is more than the weather takes from any visit of a stage: its half-days
// of work, and the half that rounding can add, where each costs most. A stage that
// is left out counts no less, so that no plan becomes cheaper by leaving outdoor work
// undone, whatever winter makes of it.
func (p *prices) weatherAhead(w *work, k StageKind) Pence {
	if !reserves(k) {
		return 0
	}
	o, most := p.chances(w, k), 0.0
	for h := p.s.FirstDay.In(civil.Morning); h <= p.last.In(civil.Afternoon); h++ {
		if c := o.At(h); p.days.is(h.Date()) && p.fit(c) {
			most = max(most, (1-c.P)*float64(whole)/float64(max(1, p.brings(w, k, h))))
		}
	}
	return Pence(math.Round((float64(w.left(k, p.s.FirstDay)) + 0.5) * most * float64(p.lost(k))))
}

// reserveWords says how many half-days of a visit are reserve and why; "" = none
// are.
func (f *facts) reserveWords(w *work, v *Visit) string {
	n := w.left(v.Stage, f.s.FirstDay)
	if v.Reserve(n) == 0 {
		return ""
	}
	sum, days := 0, 0
	from := v.First()
	for _, h := range v.HalfDays {
		if h.Date() < f.today+reserveFrom {
			continue
		}
		if days == 0 {
			from = h
		}
		sum += f.brings(w, v.Stage, h)
		days++
	}
	return fmt.Sprintf("%s of work; %d are kept, since %s of those from %s to %s are likely to be fit for it.",
		capital(halfDays(n)), len(v.HalfDays), percent(weather.Chance{Known: true, P: float64(sum) / float64(days*whole)}), from.Date().Short(), v.Last().Date().Short())
}

// winterWords says with numbers how little time the weather leaves for a stage
// from a slot on: what its crews have, how much of it is likely to be fit, what
// other work takes and what the stage would.
func (e *explainer) winterWords(a int, from solver.Slot) string {
	act := e.acts[a]
	w := &e.work[act.work]
	all, taken, fit := 0, 0, 0
	seen := map[int]bool{}
	for mode, c := range act.ways {
		if seen[c] {
			continue // with Saturdays
		}
		seen[c] = true
		for s := from; s < e.data.Slots; s++ {
			if !e.data.Calendars[e.data.Activities[a].Modes[mode].Calendar][s] {
				continue
			}
			all++
			fit += e.brings(w, act.kind, e.halfDay(s))
			if e.at[c][s] >= 0 {
				taken++
			}
		}
	}
	least := 0
	for mode := range act.ways {
		for s := from; s < e.data.Slots; s++ {
			if n := len(e.halfDaysAt(a, solver.At{Mode: mode, Start: s})); n > 0 && (least == 0 || n < least) {
				least = n
			}
		}
	}
	takes := fmt.Sprintf("its %s of work take %d in a row at the least", halfDays(w.left(act.kind, e.s.FirstDay)), least)
	if least == 0 {
		takes = fmt.Sprintf("its %s of work take more than are left", halfDays(w.left(act.kind, e.s.FirstDay)))
	}
	return fmt.Sprintf("from %s on the %s crews have %s, of which the weather is likely to leave %d; other work takes %d of them, and %s",
		e.halfDay(from).Date().Short(), act.kind.Trade(), halfDays(all), fit/whole, taken, takes)
}

// inReserve tells whether a slot of a placed activity is one of its reserve.
func (d *desk) inReserve(a int, s solver.Slot) bool {
	at := d.placed[a]
	m := &d.data.Activities[a].Modes[at.Mode]
	worked := solver.Slot(0)
	for x := at.Start; x < s; x++ {
		if d.data.Calendars[m.Calendar][x] {
			worked++
		}
	}
	return worked >= m.Slots
}
