package schedule

import (
	"slices"

	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// stayed checks what the plan was not free to move: stages in progress,
// bookings inside their notice, and published visits in the frozen days. Each
// may move only when it could not stay.
func (v *validation) stayed() {
	for _, j := range v.jobs {
		for _, st := range j.Stages {
			st, _ := v.stage(j, st.Kind)
			switch st.State {
			case StateStarted:
				v.carriesOn(j, st)
			case StatePlanned:
				if h, ok := v.mustStay(j, st.Kind); ok && !h.stays(v.get(j, st.Kind)) && v.couldStay(j, st, h) {
					v.say(h.rule, j, st.Kind, "it was to stay on %s and does not, though nothing stands in its way.", h.at[0].Short())
				}
			}
		}
	}
}

// anchor is a visit as it was published or booked.
type anchor struct {
	rule string
	who  uuid.UUID
	at   []civil.HalfDay // for a booking: the half-days it would have
	day  bool            // only the day counts, not the half-days
}

func (a anchor) stays(x *Visit) bool {
	if x == nil || len(x.HalfDays) == 0 || x.Crew != a.who && x.ScaffoldFirm != a.who {
		return false
	}
	if a.day {
		return x.First().Date() == a.at[0].Date()
	}
	return slices.Equal(x.HalfDays, a.at)
}

// mustStay gives the visit that a planned stage should keep.
func (v *validation) mustStay(j *Job, k StageKind) (anchor, bool) {
	was := v.published(j, k)
	if was != nil && was.First() < v.s.FirstDay.In(civil.Morning) {
		was = nil // its day has passed and it has not started
	}
	if k.Trade() == ScaffoldTrade {
		taken := false
		if v.agreedOtherwise(j, k, was) {
			was = nil // the appointment is the agreed one
			taken = k == ScaffoldErection && v.booked[j.ID].State == BookingConfirmed
		}
		on, firm, near := v.tooNear(j, k)
		if near || taken && v.firm(firm) != nil && on >= v.s.FirstDay {
			a := anchor{ruleBooked, firm, v.halfDaysOf(j, k, was, on, firm), true}
			return a, near && !v.leftOutByPin(j) || !v.freed(j, k, a)
		}
	}
	if was == nil || was.First().Date() > v.frozenTo && !v.pinnedAsPublished(j) {
		return anchor{}, false
	}
	who := was.Crew
	if k.Trade() == ScaffoldTrade {
		who = was.ScaffoldFirm
	}
	a := anchor{ruleFrozen, who, v.asNow(j, k, was.HalfDays), false}
	return a, !v.freed(j, k, a)
}

// agreedOtherwise tells whether a day other than the published one is agreed
// with the scaffold firm.
func (v *validation) agreedOtherwise(j *Job, k StageKind, was *Visit) bool {
	b := v.booked[j.ID]
	if was == nil || b == nil || b.State != BookingConfirmed && b.State != BookingErected {
		return false
	}
	if k == ScaffoldErection {
		return was.ScaffoldFirm != b.ScaffoldFirm || was.First().Date() != b.ErectOn
	}
	return was.ScaffoldFirm != b.ScaffoldFirm || was.Last().Date() != b.StrikeOn
}

// tooNear gives the booked day when its notice has run out already.
func (v *validation) tooNear(j *Job, k StageKind) (on civil.Date, firm uuid.UUID, ok bool) {
	if b := v.booked[j.ID]; b != nil && k == ScaffoldErection && (b.State == BookingCountered || b.State == BookingErected) {
		return on, firm, false
	}
	on, firm = v.bookedFor(j, k)
	f := v.firm(firm)
	if f == nil || on < v.s.FirstDay {
		return on, firm, false
	}
	notice := f.ErectNotice
	if k == ScaffoldStrike {
		notice = f.StrikeNotice
	}
	return on, firm, on < v.work.add(v.today, notice)
}

func (v *validation) halfDaysOf(j *Job, k StageKind, was *Visit, on civil.Date, firm uuid.UUID) []civil.HalfDay {
	if was != nil && was.First().Date() == on && was.ScaffoldFirm == firm {
		return v.asNow(j, k, was.HalfDays)
	}
	at := on.In(civil.Morning)
	if roof := v.published(j, RoofWork); k == ScaffoldStrike && roof != nil && roof.Last() == at {
		at++
	}
	st, _ := j.Stage(k)
	list, here := []civil.HalfDay{at}, v.gangDays(v.firm(firm))
	for h := at + 1; !v.asLong(j, k, st.HalfDays, list) && h.Date() <= v.lastDay; h++ {
		if here(h.Date()) {
			list = append(list, h)
		}
	}
	return list
}

// couldStay tells whether a visit could have stayed, by the facts and beside
// what else had to stay.
func (v *validation) couldStay(j *Job, st Stage, a anchor) bool {
	k, first := st.Kind, a.at[0]
	if !v.asLong(j, k, st.HalfDays, a.at) || a.at[len(a.at)-1].Date() > v.lastDay || v.overtaken(j, k) {
		return false
	}
	for _, mate := range []StageKind{ScaffoldErection, RoofWork, ScaffoldStrike} {
		if k == ScaffoldErection && v.open(j, mate) && v.hopeless(j, mate) {
			return false // it would go up for nothing
		}
		if k == ScaffoldErection && a.rule == ruleFrozen && v.open(j, mate) && v.get(j, mate) == nil && v.hasPin(j, mate) {
			return false // so it would by a person's word
		}
	}
	for _, g := range v.gates(j, k) {
		if !g.on.Known() || first.Date() < g.on {
			return false
		}
	}
	if !v.whoCould(j, k, a) || !v.standsBefore(j, k, first) {
		return false
	}
	if k.Task() != weather.Indoors {
		for _, h := range a.at {
			if !v.workable(v.chanceBy(j, k, a.who, h)) {
				return false
			}
		}
	}
	return k.Trade() != ScaffoldTrade || v.scaffoldCould(j, k, a)
}

// hopeless tells whether a stage can have no place in the plan by the facts
// alone, whoever is free.
func (v *validation) hopeless(j *Job, k StageKind) bool {
	from := v.s.FirstDay
	for _, g := range v.gates(j, k) {
		if !g.on.Known() || g.on > v.lastDay {
			return true
		}
		from = max(from, g.on)
	}
	if v.overtaken(j, k) {
		return true
	}
	st, _ := j.Stage(k)
	if k.Trade() == ScaffoldTrade {
		return !slices.ContainsFunc(v.s.ScaffoldFirms, func(f ScaffoldFirm) bool {
			return f.Active && (v.standing(j) || v.comesTo(j, &f)) && v.anyRun(j, st, from, v.gangDays(&f), f.ID)
		})
	}
	return !slices.ContainsFunc(v.s.Crews, func(c Crew) bool {
		week := func(d civil.Date) bool { return v.work.is(d) && present(&c, d) }
		saturdays := func(d civil.Date) bool { return (v.work.is(d) || v.overtime(d)) && present(&c, d) }
		return c.Active && c.Trade == k.Trade() && (v.anyRun(j, st, from, week, uuid.Nil) || v.anyRun(j, st, from, saturdays, uuid.Nil))
	})
}

// anyRun tells whether enough half-days follow each other in which somebody is
// there and the chance of weather is known.
func (v *validation) anyRun(j *Job, st Stage, from civil.Date, there func(civil.Date) bool, firm uuid.UUID) bool {
	var list []civil.HalfDay
	for h := from.In(civil.Morning); h <= v.lastDay.In(civil.Afternoon); h++ {
		if !there(h.Date()) {
			continue
		}
		if list = append(list, h); st.Kind.Task() != weather.Indoors && !v.workable(v.chanceBy(j, st.Kind, firm, h)) {
			list = nil
		}
		if len(list) > 0 && v.asLong(j, st.Kind, st.HalfDays, list) {
			return true
		}
	}
	return false
}

// overtaken tells whether a stage that should have come later has begun.
func (v *validation) overtaken(j *Job, k StageKind) bool {
	for _, next := range StageKinds {
		if !slices.Contains(next.After(), k) {
			continue
		}
		if st, has := j.Stage(next); has && (st.State != StatePlanned || v.overtaken(j, next)) {
			return true
		}
	}
	return false
}

// whoCould checks the crew or firm, its open half-days, and whom it must be at
// instead.
func (v *validation) whoCould(j *Job, k StageKind, a anchor) bool {
	var here func(civil.Date) bool
	if k.Trade() == ScaffoldTrade {
		f := v.firm(a.who)
		if f == nil || !f.Active && !v.standing(j) || v.standing(j) && v.owner(j) != f.ID || !v.standing(j) && !v.comesTo(j, f) {
			return false
		}
		here = v.gangDays(f)
	} else {
		c := v.crew(a.who)
		if c == nil || !c.Active || c.Trade != k.Trade() {
			return false
		}
		here = v.hours(c, a.at)
		if slices.ContainsFunc(a.at, func(h civil.HalfDay) bool { return v.s.heldAt(c.ID, h) != nil }) {
			return false // an offer holds it
		}
		for _, x := range v.visits {
			if x.Crew == c.ID && !(x.Job == j.ID && x.Stage == k) && v.fixed(x) && overlap(x.HalfDays, a.at) {
				return false
			}
		}
	}
	for h := a.at[0]; h <= a.at[len(a.at)-1]; h++ {
		if here(h.Date()) != slices.Contains(a.at, h) {
			return false
		}
	}
	return true
}

func overlap(a, b []civil.HalfDay) bool {
	return slices.ContainsFunc(a, func(h civil.HalfDay) bool { return slices.Contains(b, h) })
}

// fixed tells whether a visit of the plan stands where it had to.
func (v *validation) fixed(x *Visit) bool {
	if known, ok := v.stays[x]; ok {
		return known
	}
	j := v.byID[x.Job]
	st, _ := v.stage(j, x.Stage)
	a, ok := v.mustStay(j, x.Stage)
	v.stays[x] = st.State == StateStarted || st.State == StatePlanned && ok && a.stays(x)
	return v.stays[x]
}

// standsBefore tells whether all that comes before is done, or stands where it
// had to and ends in time.
func (v *validation) standsBefore(j *Job, k StageKind, first civil.HalfDay) bool {
	for _, b := range v.waitsFor(j, k) {
		st, _ := v.stage(j, b)
		if st.State == StateDone {
			if st.DoneOn >= first.Date() {
				return false
			}
			continue
		}
		x := v.get(j, b)
		if x == nil || len(x.HalfDays) == 0 || x.Last() >= first || !v.fixed(x) {
			return false
		}
		if st.State == StatePlanned && !v.standsBefore(j, b, x.First()) {
			return false // it is where it was, but by the plan's choice: what it waits for was not sure
		}
		if was := v.published(j, b); st.State == StateStarted && b.Trade() != ScaffoldTrade && (was == nil || v.saturdays(x.HalfDays) && !v.saturdays(was.HalfDays)) {
			return false // nobody says who carries it on, or that it goes on at a weekend: where it ends is the plan's choice
		}
	}
	return true
}

// scaffoldCould checks notice and gangs. What has to come takes a set whether
// there is one or not, and comes though its roof work finds no place.
func (v *validation) scaffoldCould(j *Job, k StageKind, a anchor) bool {
	f := v.firm(a.who)
	if v.noNotice(j, k, f, a.at[0].Date()) != "" {
		return false
	}
	mine := v.get(j, k)
	for _, h := range a.at {
		chosen, given := v.gangs(f, h.Date(), func(x *Visit) bool { return x != mine && v.fixed(x) })
		if chosen+given >= f.GangsPerDay {
			return false
		}
	}
	return true
}

// carriesOn checks that a started stage goes on with its crew as soon as the
// crew is free of other started stages.
func (v *validation) carriesOn(j *Job, st Stage) {
	was, x := v.published(j, st.Kind), v.get(j, st.Kind)
	if x == nil || was == nil || len(x.HalfDays) == 0 || st.Kind.Trade() == ScaffoldTrade {
		return
	}
	c := v.crew(was.Crew)
	if c == nil || !c.Active || c.Trade != st.Kind.Trade() {
		return
	}
	if x.Crew != c.ID {
		v.say(ruleStarted, j, st.Kind, "%s began it, another crew is planned.", c.Name)
		return
	}
	here := v.hours(c, was.HalfDays)
	var run []civil.HalfDay
	for h := v.s.FirstDay.In(civil.Morning); h < x.Last(); h++ {
		if !here(h.Date()) {
			continue
		}
		run = append(run, h)
		if st.Kind.Task() != weather.Indoors && !v.workable(v.chance(j, st.Kind, h)) || v.carriedOn(c.ID, x, h) || v.s.heldAt(c.ID, h) != nil {
			run = nil
		}
		if len(run) > 0 && v.asLong(j, st.Kind, v.halfDaysLeft(j, st), run) {
			v.say(ruleStarted, j, st.Kind, "%s could have finished it by %s, the plan has %s.", c.Name, h.Short(), x.Last().Short())
			return
		}
	}
}

// carriedOn tells whether the crew is at another started stage.
func (v *validation) carriedOn(crew uuid.UUID, but *Visit, h civil.HalfDay) bool {
	for _, x := range v.visits {
		if x == but || x.Crew != crew || !slices.Contains(x.HalfDays, h) {
			continue
		}
		if st, _ := v.stage(v.byID[x.Job], x.Stage); st.State == StateStarted {
			return true
		}
	}
	return false
}
