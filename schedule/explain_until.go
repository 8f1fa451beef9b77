package schedule

import (
	"fmt"
	"slices"

	"toeboard/schedule/solver"
	"toeboard/weather/civil"
)

// reasonWho says what of a crew or a scaffold firm stood in the way, and from
// when until when. What the job itself takes does not count.
func (r *room) reasonWho(f fact) Reason {
	switch f.rule {
	case RuleNotice:
		firm := r.firms[f.who]
		return Reason{f.rule, firm.Name, fmt.Sprint(noticeOf(firm, f.kind)), r.firstAsked(&r.work[r.i], f.kind, f.who).String(), "working days " + map[StageKind]string{ScaffoldErection: "to erect", ScaffoldStrike: "to strike"}[f.kind], "terms of " + firm.Name}
	case RuleOffer:
		offer := r.offered(&r.work[r.i], f.kind, f.who)
		if on := r.noDay(f); on.Known() && !(offer.Known() && on == r.work[r.i].booking.ErectOn) {
			return Reason{f.rule, r.firms[f.who].Name, on.String(), "", "date", "booking"}
		}
		return Reason{f.rule, r.firms[f.who].Name, "", offer.String(), "date", "booking"}
	case RuleGangs:
		firm := r.firms[f.who]
		full := r.stretch(f, r.workday, func(s solver.Slot) bool { return r.gangs[f.who][s/2] >= firm.GangsPerDay })
		return Reason{f.rule, firm.Name, r.dates(full), fmt.Sprint(firm.GangsPerDay), "gangs a day", "terms of " + firm.Name}
	case RuleSets:
		firm := r.firms[f.who]
		full := r.stretch(f, r.workday, func(s solver.Slot) bool { return r.sets[f.who][s/2] >= firm.Sets })
		return Reason{f.rule, firm.Name, r.dates(full), fmt.Sprint(firm.Sets), "sets", "terms of " + firm.Name}
	case RuleDayOff:
		firm := r.firms[f.who]
		return Reason{f.rule, firm.Name, r.daysOff(f).Words(), "", "weekdays", "terms of " + firm.Name}
	case RuleAway:
		crew := r.crews[f.who]
		away := r.stretch(f, r.workday, func(s solver.Slot) bool { return r.workday(s) && !r.data.Calendars[f.who][s] })
		return Reason{f.rule, crew.Name, r.dates(away), "", "date", "absences and competences of " + crew.Name}
	case RuleTaken:
		return r.reasonTaken(f)
	}
	return r.reasonElsewhere(f)
}

// noDay gives the day that a scaffold firm refused and that stood in the way.
func (r *room) noDay(f fact) civil.Date {
	for _, s := range r.hits[f] {
		if d := r.halfDay(s).Date(); r.refused(&r.work[r.i], f.kind, f.who, d) {
			return d
		}
	}
	return civil.NoDate
}

// daysOff gives the weekdays on which a scaffold firm stood in the way; all of
// its days off when none is known.
func (r *room) daysOff(f fact) (off Weekdays) {
	for _, s := range r.hits[f] {
		if d := r.halfDay(s).Date(); r.firms[f.who].DaysOff.Has(d) {
			off |= weekdayOf(d)
		}
	}
	if off == 0 {
		return r.firms[f.who].DaysOff
	}
	return off
}

func (r *room) reasonTaken(f fact) Reason {
	crew := r.crews[f.who]
	out := Reason{f.rule, crew.Name, "", "an offer", "half-day", "held offers"}
	at := r.stretch(f, r.crewWorks(f.who), func(s solver.Slot) bool { return r.s.heldAt(crew.ID, r.halfDay(s)) != nil })
	if h := r.s.heldAt(crew.ID, r.halfDay(at.first)); h != nil {
		out.Limit = h.For
	}
	for s := at.first; s <= at.last; s++ {
		if h := r.s.heldAt(crew.ID, r.halfDay(s)); h != nil && h.For != out.Limit {
			out.Limit = "offers"
		}
	}
	out.Value = r.halves(at)
	return out
}

// reasonElsewhere names the job at which a crew is when that job alone fills the
// stretch; of several in a row it says that the crew is taken, and of several
// with something free between them how many they are.
func (r *room) reasonElsewhere(f fact) Reason {
	at := r.stretch(f, r.crewWorks(f.who), func(s solver.Slot) bool { return r.elsewhere(f.who, s) })
	out := Reason{RuleElsewhere, r.crews[f.who].Name, r.halves(at), "", "half-day", "plan"}
	var refs []string
	for s := at.first; s <= at.last; s++ {
		if !r.elsewhere(f.who, s) {
			continue
		}
		if ref := r.work[r.acts[r.at[f.who][s]].work].job.Ref; !slices.Contains(refs, ref) {
			refs = append(refs, ref)
		}
	}
	switch {
	case len(refs) == 1:
		out.Limit = refs[0]
	case len(refs) > 1 && !at.whole:
		out.Limit = fmt.Sprintf("%s and %s", refs[0], numbered(len(refs)-1, "other job"))
	}
	return out
}

// elsewhere tells whether a crew is at another job in a slot.
func (r *room) elsewhere(crew int, s solver.Slot) bool {
	other := r.at[crew][s]
	return other >= 0 && r.acts[other].work != r.i
}

func (r *room) workday(s solver.Slot) bool { return r.days.is(r.halfDay(s).Date()) }

func (r *room) crewWorks(crew int) func(solver.Slot) bool {
	return func(s solver.Slot) bool { return r.data.Calendars[crew][s] }
}

// stretch is the time in which a fact stood in the way, followed on to the end
// of it.
type stretch struct {
	first, last solver.Slot
	whole       bool // throughout: it holds in every slot between that counts
	later       bool // it begins after what was asked for, or is over before it
}

// stretch gives the slots in which a fact stood in the way. Slots that do not
// count are passed over.
func (r *room) stretch(f fact, counts, holds func(solver.Slot) bool) stretch {
	asked := max(0, min(r.ask.lo, r.data.Slots-1))
	out := stretch{first: asked, last: asked, whole: true}
	if hits := r.hits[f]; len(hits) > 0 {
		out.first, out.last = slices.Min(hits), slices.Max(hits)
	}
	for s := out.last + 1; s < r.data.Slots && (holds(s) || !counts(s)); s++ {
		if holds(s) {
			out.last = s
		}
	}
	for s := out.first; s <= out.last; s++ {
		out.whole = out.whole && (holds(s) || !counts(s))
	}
	for s := asked; s < out.first; s++ {
		out.later = out.later || counts(s)
	}
	out.later = out.later || out.last < asked
	return out
}

// halves writes a stretch as the values of reasons have it: its last half-day,
// "first to last" when it does not begin with what was asked for, and "first
// and last" when something is free between them.
func (r *room) halves(at stretch) string {
	return at.write(r.halfDay(at.first).String(), r.halfDay(at.last).String())
}

// dates is halves with dates.
func (r *room) dates(at stretch) string {
	return at.write(r.halfDay(at.first).Date().String(), r.halfDay(at.last).Date().String())
}

func (at stretch) write(first, last string) string {
	switch {
	case !at.whole:
		return first + " and " + last
	case at.later:
		return first + " to " + last
	}
	return last
}
