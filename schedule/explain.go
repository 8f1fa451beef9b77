package schedule

import (
	"fmt"
	"strings"

	"toeboard/schedule/solver"
	"toeboard/weather/civil"
)

// explainer says of a finished plan what bound each start, and what stands in
// the way of the stages that found no place.
type explainer struct {
	*model
	placed []solver.Placement
	probe  *solver.Probe
	at     [][]int // by crew and slot: the activity there, -1 = none
	gang   [][]int // by scaffold firm and day: gangs out
	stand  [][]int // by scaffold firm and day: sets standing
}

func newExplainer(m *model, r solver.Result) *explainer {
	e := layOn(m, r.Placed)
	e.probe, _ = solver.NewProbe(m.data, r.Placed) // the data was solved, so it is sound
	return e
}

// layOn writes down who is where by some placements, and what they take of
// gangs and sets.
func layOn(m *model, placed []solver.Placement) *explainer {
	e := &explainer{model: m, placed: placed}
	for range m.crews {
		row := make([]int, m.data.Slots)
		for s := range row {
			row[s] = -1
		}
		e.at = append(e.at, row)
	}
	for f := range m.firms {
		e.gang = append(e.gang, e.taken(m.gangs(f), m.firms[f].GangsPerDay))
		e.stand = append(e.stand, e.taken(m.sets(f), m.firms[f].Sets))
	}
	for a, at := range placed {
		if at.Mode < 0 {
			continue
		}
		who := m.acts[a].ways[at.Mode]
		day := civil.NoDate
		for _, h := range m.halfDaysAt(a, solver.At{Mode: at.Mode, Start: at.Start}) {
			if m.acts[a].kind.Trade() != ScaffoldTrade {
				e.at[who][m.slot(h)] = a
			} else if h.Date() != day {
				day = h.Date()
				e.gang[who][day-m.s.FirstDay]++
			}
		}
	}
	for i := range m.work {
		if f, from, to, ok := e.span(i); ok {
			for d := from; d <= to; d++ {
				e.stand[f][d]++
			}
		}
	}
	return e
}

// taken gives by day what bookings outside the plan have taken of a capacity.
func (e *explainer) taken(resource, all int) []int {
	row := make([]int, e.s.Days)
	for d, left := range e.data.Resources[resource].Capacity {
		row[d] = all - int(left)
	}
	return row
}

// span gives the scaffold firm and the days (from the first of the plan) on
// which a job's scaffold stands by plan; what cannot come down is counted as
// taken already.
func (e *explainer) span(i int) (firm, from, to int, ok bool) {
	w := &e.work[i]
	strike, erect := e.index[i][ScaffoldStrike], e.index[i][ScaffoldErection]
	to = e.s.Days - 1
	if strike < 0 {
		return 0, 0, 0, false
	}
	if e.placed[strike].Mode >= 0 {
		to = int(e.placed[strike].End) / 2
	}
	switch {
	case w.standing:
		return w.owner, 0, to, true
	case erect >= 0 && e.placed[erect].Mode >= 0:
		return e.acts[erect].ways[e.placed[erect].Mode], int(e.placed[erect].Start) / 2, to, true
	}
	return 0, 0, 0, false
}

// bound is the earliest slot of a stage and what sets it.
type bound struct {
	at  solver.Slot
	why string // "the kit (modules) is due on Mon 7 Dec"
}

func (b *bound) raise(at solver.Slot, why string) {
	if at > b.at {
		*b = bound{at, why}
	}
}

// bound works out from when a stage could start, whoever does it, by its own
// facts and the stages before it. For roof work whose scaffold is still to be
// booked, that is the first day on which one could be up.
func (e *explainer) bound(a int) bound {
	act := e.acts[a]
	w, k := &e.work[act.work], act.kind
	b := bound{0, fmt.Sprintf("the plan starts on %s", e.s.FirstDay.Short())}
	b.raise(e.slot(w.release[k].on.In(civil.Morning)), w.release[k].why)
	for _, before := range w.before(k) {
		if j := e.index[act.work][before]; j >= 0 && w.planned(k) && e.placed[j].Mode >= 0 && (before != ScaffoldErection || !w.together()) {
			b.raise(e.placed[j].End+1, fmt.Sprintf("%s ends on %s", before, e.halfDay(e.placed[j].End).Short()))
		}
	}
	if k == RoofWork && w.together() {
		if up, ok := e.scaffoldUp(act.work); ok {
			b.raise(up.at, up.why)
		}
	}
	if k == ScaffoldStrike && e.placed[a].Mode >= 0 {
		e.noticeBound(&b, a)
	}
	return b
}

func (e *explainer) noticeBound(b *bound, a int) {
	f := e.acts[a].ways[e.placed[a].Mode]
	mode := e.data.Activities[a].Modes[e.placed[a].Mode]
	b.raise(mode.Release, fmt.Sprintf("%s needs %s notice, so %s is the first day", e.firms[f].Name,
		possessive(noticeOf(e.firms[f], e.acts[a].kind)), e.halfDay(mode.Release).Date().Short()))
}

func possessive(n int) string {
	if n == 1 {
		return "1 working day's"
	}
	return workingDays(n) + "'"
}

// scaffoldUp finds the first half-day after the soonest erection that a
// scaffold firm could do for a job beside everything else in the plan.
func (e *explainer) scaffoldUp(i int) (best bound, ok bool) {
	a := e.index[i][ScaffoldErection]
	if a < 0 {
		return bound{}, false
	}
	for mode, f := range e.acts[a].ways {
		why := e.work[i].release[ScaffoldErection].why
		if offer := e.offered(&e.work[i], ScaffoldErection, f); offer.Known() && e.slot(offer.In(civil.Morning)) > e.data.Activities[a].Release {
			why = fmt.Sprintf("%s offers %s", e.firms[f].Name, offer.Short())
		} else if e.data.Activities[a].Modes[mode].Release > e.data.Activities[a].Release {
			why = fmt.Sprintf("%s needs %s notice", e.firms[f].Name, possessive(e.firms[f].ErectNotice))
		} else if why == "" {
			why = fmt.Sprintf("the plan starts on %s", e.s.FirstDay.Short())
		}
		for s := range e.data.Slots {
			at := solver.At{Mode: mode, Start: s}
			m := &e.data.Activities[a].Modes[mode]
			if s < e.data.Activities[a].Release || s < m.Release && !containsSlot(m.Also, s) {
				continue
			}
			slots := e.halfDaysAt(a, at)
			if slots == nil {
				continue
			}
			if on := slots[0].Date(); e.refused(&e.work[i], ScaffoldErection, f, on) {
				why = fmt.Sprintf("%s cannot do %s", e.firms[f].Name, on.Short())
				continue
			}
			if no := e.noErection(i, a, f, slots); no != "" {
				why = no
				continue
			}
			end := e.slot(slots[len(slots)-1]) + 1
			if !ok || end < best.at {
				best, ok = bound{end, fmt.Sprintf("%s, so a scaffold is up on %s at the soonest", why, slots[len(slots)-1].Short())}, true
			}
			break
		}
	}
	return best, ok
}

func containsSlot(list []solver.Slot, s solver.Slot) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

// noErection says why a scaffold firm could not erect for a job in some
// half-days; "" = it could. The job's own gang and set do not stand in its way.
func (e *explainer) noErection(i, a, f int, slots []civil.HalfDay) string {
	own, from, to, has := e.span(i)
	mine := e.placed[a]
	o := e.chancesBy(&e.work[i], ScaffoldErection, f)
	for _, h := range slots {
		d := int(h.Date() - e.s.FirstDay)
		gangs := e.gang[f][d]
		if mine.Mode >= 0 && e.acts[a].ways[mine.Mode] == f && d >= int(mine.Start)/2 && d <= int(mine.End)/2 {
			gangs--
		}
		if gangs >= e.firms[f].GangsPerDay {
			return fmt.Sprintf("%s has no gang free until after %s", e.firms[f].Name, h.Date().Short())
		}
		sets := e.stand[f][d]
		if has && own == f && d >= from && d <= to {
			sets--
		}
		if sets >= e.firms[f].Sets {
			all := fmt.Sprintf("all its %d sets", e.firms[f].Sets)
			if e.firms[f].Sets == 1 {
				all = "its only set"
			}
			return fmt.Sprintf("%s has %s standing until after %s", e.firms[f].Name, all, h.Date().Short())
		}
		if c := o.At(h); !e.fit(c) {
			return e.unfit(ScaffoldErection, f, c, h)
		}
	}
	return ""
}

// why says in one sentence what bound a visit's start.
func (e *explainer) why(a int) string {
	at := e.placed[a]
	if h, ok := e.held[a]; ok && e.slot(h.slots[0]) == at.Start && h.who == e.acts[a].ways[at.Mode] {
		return h.why
	}
	if e.acts[a].kind == ScaffoldErection && e.work[e.acts[a].work].planned(ScaffoldErection) {
		return e.whyErection(a)
	}
	b := e.bound(a)
	if firstOpen(e.data.Calendars[len(e.crews)], b.at) == at.Start { // the first working half-day
		return capital(b.why) + "."
	}
	first, found := e.soonest(a, b.at, e.fits(a))
	if !found {
		if beside, some := e.soonest(a, b.at, e.free); some {
			return e.whyNoRoom(a, b, beside)
		}
		return e.whyBusy(a, b)
	}
	if s := e.whyWeather(a, first); s != "" {
		return s
	}
	more, alone := e.probe.Move(a, first)
	when := e.halfDay(first.Start).Short()
	switch {
	case e.keeps(a):
		return fmt.Sprintf("Stays as published; %s would fit too.", when)
	case alone && more > 0:
		return fmt.Sprintf("%s would fit too, but the plan would cost %s more.", when, Pence(more))
	default:
		return fmt.Sprintf("%s would fit too; the search found no cheaper plan in which it starts then.", when)
	}
}

func (e *explainer) keeps(a int) bool {
	keep := e.data.Activities[a].Keep
	return keep != nil && keep.Mode == e.placed[a].Mode && keep.Start == e.placed[a].Start
}

func firstOpen(open solver.Calendar, from solver.Slot) solver.Slot {
	for int(from) < len(open) && !open[from] {
		from++
	}
	return from
}

// soonest finds the earliest other place of an activity from a slot on and
// before its own for which a test holds, all else as it is. Roof work may take
// its scaffold along.
func (e *explainer) soonest(a int, from solver.Slot, may func(int, solver.At) bool) (best solver.At, found bool) {
	for s := from; s < e.placed[a].Start; s++ {
		for mode := range e.acts[a].ways {
			if at := (solver.At{Mode: mode, Start: s}); may(a, at) {
				return at, true
			}
		}
	}
	return solver.At{}, false
}

// free tells whether whoever does a stage has nothing else in its half-days,
// and all of them are fit for planning by the chance of weather.
func (e *explainer) free(a int, at solver.At) bool {
	who, own := e.acts[a].ways[at.Mode], e.placed[a]
	if e.acts[a].kind.Trade() != ScaffoldTrade && e.at[who][at.Start] >= 0 && e.at[who][at.Start] != a {
		return false // most are: nothing else needs to be looked up
	}
	slots := e.halfDaysAt(a, at)
	o := e.chancesBy(&e.work[e.acts[a].work], e.acts[a].kind, who)
	for _, h := range slots {
		if o != nil && !e.fit(o.At(h)) {
			return false
		}
		if e.acts[a].kind.Trade() != ScaffoldTrade {
			if other := e.at[who][e.slot(h)]; other >= 0 && other != a {
				return false
			}
			continue
		}
		d := int(h.Date() - e.s.FirstDay)
		gangs := e.gang[who][d]
		if own.Mode >= 0 && e.acts[a].ways[own.Mode] == who && d >= int(own.Start)/2 && d <= int(own.End)/2 {
			gangs--
		}
		if gangs >= e.firms[who].GangsPerDay {
			return false
		}
	}
	return slots != nil
}

// whyWeather compares the chances of an earlier start and the chosen one.
func (e *explainer) whyWeather(a int, first solver.At) string {
	w, k := &e.work[e.acts[a].work], e.acts[a].kind
	o, then := e.chancesBy(w, k, e.acts[a].ways[e.placed[a].Mode]), e.chancesBy(w, k, e.acts[a].ways[first.Mode])
	if o == nil {
		return ""
	}
	before, now := e.halfDaysAt(a, first), e.halfDaysAt(a, solver.At{Mode: e.placed[a].Mode, Start: e.placed[a].Start})
	n := w.left(k, e.s.FirstDay)
	x, y := visitChance(before, then, n), visitChance(now, o, n)
	if !x.Known || !y.Known || y.P-x.P < 0.01 {
		return ""
	}
	return fmt.Sprintf("%s chance of fit weather throughout %s from %s, %s from %s.", capital(percent(x)), k, before[0].Short(), percent(y), now[0].Short())
}

// whyBusy says who is elsewhere between the first possible slot and the start.
func (e *explainer) whyBusy(a int, b bound) string {
	act, at := e.acts[a], e.placed[a]
	k, who := act.kind, act.ways[at.Mode]
	since := fmt.Sprintf("%s, but", capital(b.why))
	if k.Trade() == ScaffoldTrade {
		for d := int(b.at) / 2; d < int(at.Start)/2; d++ {
			if e.gang[who][d] >= e.firms[who].GangsPerDay {
				last := d
				for ; last+1 < int(at.Start)/2 && e.gang[who][last+1] >= e.firms[who].GangsPerDay; last++ {
				}
				return fmt.Sprintf("%s %s has no gang free until after %s.", since, e.firms[who].Name, (e.s.FirstDay + civil.Date(last)).Short())
			}
		}
		if off := e.offBetween(who, b.at, at.Start); off != 0 {
			return fmt.Sprintf("%s %s.", since, staysAway(e.firms[who], off))
		}
		return e.whyUnknown(a, since)
	}
	for s := at.Start - 1; s >= b.at; s-- {
		if other := e.at[who][s]; other >= 0 && other != a {
			return fmt.Sprintf("%s no %s crew is free sooner: %s is at %s until %s.", since, k.Trade(), e.crews[who].Name,
				e.work[e.acts[other].work].job.Ref, e.halfDay(s).Short())
		}
		if !e.data.Calendars[who][s] && e.days.is(e.halfDay(s).Date()) {
			return fmt.Sprintf("%s no %s crew is free sooner: the lead of %s is away on %s.", since, k.Trade(), e.crews[who].Name, e.halfDay(s).Date().Short())
		}
	}
	return e.whyUnknown(a, since)
}

// offBetween gives the days off of a scaffold firm among the working days of
// some slots.
func (e *explainer) offBetween(firm int, from, to solver.Slot) (off Weekdays) {
	for s := from; s < to; s++ {
		if d := e.halfDay(s).Date(); e.days.is(d) && !e.comes(firm, d) {
			off |= weekdayOf(d)
		}
	}
	return off
}

func (e *explainer) whyUnknown(a int, since string) string {
	k := e.acts[a].kind
	who := e.acts[a].ways[e.placed[a].Mode]
	if o := e.chancesBy(&e.work[e.acts[a].work], k, who); o != nil {
		for s := e.placed[a].Start - 1; s >= 0; s-- {
			if h := e.halfDay(s); e.days.is(h.Date()) && !e.fit(o.At(h)) {
				return fmt.Sprintf("%s %s.", since, e.unfit(k, who, o.At(h), h))
			}
		}
	}
	return fmt.Sprintf("%s every start before %s is shut or taken.", since, e.halfDay(e.placed[a].Start).Short())
}

// whyErection: a scaffold goes up shortly before it is needed.
func (e *explainer) whyErection(a int) string {
	act, at := e.acts[a], e.placed[a]
	f := act.ways[at.Mode]
	roof := e.index[act.work][RoofWork]
	mode := e.data.Activities[a].Modes[at.Mode]
	if offer := e.offered(&e.work[act.work], act.kind, f); offer.Known() && offer == e.halfDay(at.Start).Date() {
		return fmt.Sprintf("%s offers %s, and comes no sooner.", e.firms[f].Name, offer.Short())
	}
	if b, on := e.work[act.work].booking, e.halfDay(at.Start).Date(); b != nil && b.State == BookingRefused && b.ScaffoldFirm == e.firms[f].ID && e.days.add(b.ErectOn, 1) == on {
		return fmt.Sprintf("%s cannot do %s and offers no other day: %s is the next.", e.firms[f].Name, b.ErectOn.Short(), on.Short())
	}
	if int(mode.Release)/2 == int(at.Start)/2 && mode.Release > 0 {
		return fmt.Sprintf("%s needs %s notice, so %s is the first day it can come.", e.firms[f].Name, possessive(e.firms[f].ErectNotice), e.halfDay(at.Start).Date().Short())
	}
	if roof < 0 {
		return e.bareBound(a)
	}
	starts := e.placed[roof].Start
	needed := fmt.Sprintf("roof work starts on %s", e.halfDay(starts).Short())
	if firstOpen(e.data.Calendars[mode.Calendar], at.End+1) >= starts {
		last := "The last half-days before " + strings.Replace(needed, "roof work starts on", "roof work, which starts on", 1)
		if off := e.offBetween(f, at.End+1, starts); off != 0 {
			last += ": " + staysAway(e.firms[f], off)
		}
		return last + "."
	}
	o := e.chancesBy(&e.work[act.work], ScaffoldErection, f)
	no := ""
	for s := starts - 1; s > at.Start; s-- { // the latest that would still do
		slots := e.halfDaysAt(a, solver.At{Mode: at.Mode, Start: s})
		if slots == nil || e.slot(slots[len(slots)-1]) >= starts {
			continue
		}
		if why := e.noErection(act.work, a, f, slots); why != "" {
			if no == "" {
				no = why
			}
			continue
		}
		x, y := visitChance(slots, o, len(slots)), visitChance(e.halfDaysAt(a, solver.At{Mode: at.Mode, Start: at.Start}), o, len(slots))
		if y.P-x.P >= 0.01 {
			return fmt.Sprintf("%s chance of fit weather for %s%s on %s, %s on %s; %s.", capital(percent(y)), act.kind, e.limitWords(act.kind, f), e.halfDay(at.Start).Short(), percent(x), slots[0].Short(), needed)
		}
		no = "" // it could have been later
		break
	}
	if no != "" {
		return fmt.Sprintf("%s, and %s.", capital(needed), no)
	}
	if e.keeps(a) {
		return fmt.Sprintf("Stays as published; %s.", needed)
	}
	return capital(needed) + "."
}

func (e *explainer) bareBound(a int) string { return capital(e.bound(a).why) + "." }

// whyNot says in one sentence what stands in the way of a stage that could
// have had a place.
func (e *explainer) whyNot(a int) string {
	act := e.acts[a]
	w, k := &e.work[act.work], act.kind
	for _, before := range w.before(k) {
		if j := e.index[act.work][before]; j >= 0 && e.placed[j].Mode < 0 && (before != ScaffoldErection || !w.together()) && w.planned(k) {
			return fmt.Sprintf("Waits for %s, which has no place.", before)
		}
	}
	if w.together() && k.Trade() == ScaffoldTrade && e.index[act.work][RoofWork] >= 0 {
		return fmt.Sprintf("Goes with roof work, which has no place: %s", e.whyNot(e.index[act.work][RoofWork]))
	}
	from := e.bound(a)
	if k == RoofWork && w.together() {
		if _, ok := e.scaffoldUp(act.work); !ok {
			if offer, name := e.offerTooLate(w); offer.Known() {
				return fmt.Sprintf("%s offers %s, after %s, the plan's last day, and no other scaffold firm has a gang and a set free on a day whose weather may be planned.",
					name, offer.Short(), e.last.Short())
			}
			return fmt.Sprintf("No scaffold firm has a gang and a set free on a day whose weather may be planned, from %s to %s, the plan's last day.", e.halfDay(from.at).Date().Short(), e.last.Short())
		}
	}
	if !e.anyRun(a, from.at) {
		who := fmt.Sprintf("no %s crew", k.Trade())
		if k.Trade() == ScaffoldTrade {
			who = "no gang"
		}
		free := halfDays(w.left(k, e.s.FirstDay)) + " free in a row"
		if reserves(k) {
			free = "enough half-days free in a row: " + e.winterWords(a, from.at)
		}
		return fmt.Sprintf("%s, and from then to %s, the plan's last day, %s has %s.", capital(from.why), e.last.Short(), who, free)
	}
	if w.told(k) {
		return "No place was found beside what is held, and what else a person fixed."
	}
	if reserves(k) {
		return fmt.Sprintf("No place was found that costs less than leaving it out (%s): %s.", e.rules.leftOut(w, k), e.winterWords(a, from.at))
	}
	return fmt.Sprintf("No place was found that costs less than leaving it out (%s).", e.rules.leftOut(w, k))
}

// offerTooLate gives a day after the plan's last that a scaffold firm offers.
func (e *explainer) offerTooLate(w *work) (on civil.Date, name string) {
	for f, firm := range e.firms {
		if on := e.offered(w, ScaffoldErection, f); on.Known() && on > e.last {
			return on, firm.Name
		}
	}
	return civil.NoDate, ""
}

// anyRun tells whether somebody has room for a stage from a slot on, beside
// what is planned.
func (e *explainer) anyRun(a int, from solver.Slot) bool {
	for mode := range e.acts[a].ways {
		for s := from; s < e.data.Slots; s++ {
			if e.free(a, solver.At{Mode: mode, Start: s}) {
				return true
			}
		}
	}
	return false
}
