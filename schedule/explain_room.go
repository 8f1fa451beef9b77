package schedule

import (
	"toeboard/schedule/solver"
	"toeboard/weather/civil"
)

// fact is one thing that can stand in the way of a start and that could be
// otherwise. who is a crew, a scaffold firm, a consent or an item of kit.
type fact struct {
	rule Rule
	kind StageKind
	who  int
}

// ask is what is asked of one job: a stage that starts in some slots, done by
// somebody, and ended by a slot.
type ask struct {
	kind   StageKind
	lo, hi solver.Slot // first slot, both inclusive
	who    int         // crew or scaffold firm, -1 = anybody
	by     solver.Slot // commissioning ends by it
	loose  bool        // that the stage is held where it is does not count
}

// room tells exactly whether a job could have a place in which it gives what is
// asked, everything of the other jobs staying where the plan has it. It goes
// through starts one by one and knows no cost. Facts can be left out of account.
type room struct {
	*desk
	i     int
	ask   ask
	on    map[fact]bool          // the facts that count; nil = all
	met   map[fact]bool          // those that stood in the way of some start; nil = not noted
	hits  map[fact][]solver.Slot // where crews, gangs and sets stood in the way; nil = not noted
	gangs [][]int                // by scaffold firm and day, without this job
	sets  [][]int
	ends  [stageCount]reached
	shut  [stageCount][]opening // by stage: its gates, once they are asked for
	roofs []reached             // by slot: roof work that starts there, once it is asked for
}

// reached is where a stage could end at the soonest.
type reached struct {
	known, ok bool
	solver.Placement
}

// beyond is how many slots a line goes on after the plan's end when the end is
// left out of account.
const beyond = 240

func (d *desk) room(i int, q ask, on map[fact]bool) *room {
	r := &room{desk: d, i: i, ask: q, on: on, met: map[fact]bool{}, gangs: d.gang, sets: d.stand}
	f, from, to, stands := d.span(i)
	for _, k := range []StageKind{ScaffoldErection, ScaffoldStrike} {
		if a := d.index[i][k]; a >= 0 && d.placed[a].Mode >= 0 {
			who := d.acts[a].ways[d.placed[a].Mode]
			r.gangs = without(r.gangs, who, int(d.placed[a].Start)/2, int(d.placed[a].End)/2)
		}
	}
	if stands {
		r.sets = without(r.sets, f, from, to)
	}
	return r
}

// without takes one from a row of a table, which is copied.
func without(table [][]int, row, from, to int) [][]int {
	out := append([][]int{}, table...)
	out[row] = append([]int{}, table[row]...)
	for d := from; d <= to; d++ {
		out[row][d]--
	}
	return out
}

// stops tells whether a fact counts, and notes that it stood in the way.
func (r *room) stops(f fact) bool {
	if r.on != nil && !r.on[f] || r.ask.loose && f == (fact{RuleHeld, r.ask.kind, 0}) {
		return false
	}
	r.note(f)
	return true
}

func (r *room) note(f fact) {
	if r.met != nil {
		r.met[f] = true
	}
}

// stopsAt is stops of what stands in the way in one slot.
func (r *room) stopsAt(f fact, s solver.Slot) bool {
	if !r.stops(f) {
		return false
	}
	if r.hits != nil {
		r.hits[f] = append(r.hits[f], s)
	}
	return true
}

// fits tells whether the job could give what is asked.
func (r *room) fits() bool {
	_, ok := r.reach(r.ask.kind)
	if ok && r.ask.by < r.data.Slots {
		var end solver.Slot
		end, ok = r.reach(Commissioning)
		if ok && end > r.ask.by {
			ok = !r.stops(fact{RulePromise, Commissioning, 0})
		}
	}
	return ok && r.downAfter()
}

// stay lets stand what the asked stage waits for and what ends before it: there
// it has a place already. It is not asked of what is placed together with it.
func (r *room) stay() {
	k := r.ask.kind
	if w := &r.work[r.i]; w.together() && (k == RoofWork || k.Trade() == ScaffoldTrade) {
		return
	}
	for _, l := range r.data.Activities[r.index[r.i][k]].After {
		if at := r.placed[l.Activity]; at.Mode >= 0 && at.End+l.Lag < r.ask.lo {
			r.ends[r.acts[l.Activity].kind] = reached{true, true, at}
		}
	}
}

// downAfter tells whether a scaffold that stands can still come down before
// others need its set.
func (r *room) downAfter() bool {
	w, a := &r.work[r.i], r.index[r.i][ScaffoldStrike]
	if a < 0 || w.together() || r.downInTime(a, 0, r.data.Slots-1) {
		return true
	}
	_, ok := r.reach(ScaffoldStrike)
	return ok
}

// reach gives the soonest end of a stage, with all that it waits for.
func (r *room) reach(k StageKind) (end solver.Slot, ok bool) {
	w := &r.work[r.i]
	if !w.open(k) {
		return -1, true
	}
	if known := r.ends[k]; known.known {
		return known.End, known.ok
	}
	done := reached{known: true}
	a := r.index[r.i][k]
	switch {
	case a < 0:
		done.ok = !r.stops(fact{RuleBlocked, k, 0})
	case w.together() && (k == ScaffoldErection || k == RoofWork || k == ScaffoldStrike):
		r.unit()
		return r.ends[k].End, r.ends[k].ok
	default:
		if lo, possible := r.after(a); possible {
			done.Placement, done.ok = r.soonest(a, -1, lo)
		}
	}
	r.ends[k] = done
	return done.End, done.ok
}

// after gives the first slot that the stages before an activity leave.
func (r *room) after(a int) (lo solver.Slot, ok bool) {
	for _, l := range r.data.Activities[a].After {
		end, ok := r.reach(r.acts[l.Activity].kind)
		if !ok {
			return 0, false
		}
		lo = max(lo, end+1+l.Lag)
	}
	return lo, true
}

// unit places erection, roof work and strike together with each scaffold firm.
// The first erection that fits gives the soonest end of all three.
func (r *room) unit() {
	at := r.index[r.i]
	for _, k := range []StageKind{ScaffoldErection, RoofWork, ScaffoldStrike} {
		r.ends[k] = reached{known: true}
	}
	if at[ScaffoldErection] < 0 || at[ScaffoldStrike] < 0 || r.work[r.i].open(RoofWork) && at[RoofWork] < 0 {
		for _, k := range []StageKind{ScaffoldErection, RoofWork, ScaffoldStrike} {
			if r.work[r.i].open(k) && at[k] < 0 {
				r.stops(fact{RuleBlocked, k, 0})
			}
		}
		return
	}
	erect := at[ScaffoldErection]
	roofs := map[solver.Slot]reached{}
	for mode := range r.data.Activities[erect].Modes {
		if r.met == nil && r.ask.who >= 0 && r.ask.kind.Trade() == ScaffoldTrade && r.acts[erect].ways[mode] != r.ask.who {
			continue // one firm does both
		}
		first, last := r.starts(erect)
		for s := first; s <= last; s++ {
			end, ok := r.stands(erect, mode, s)
			if ok && r.unitFrom(solver.Placement{Mode: mode, Start: s, End: end}, roofs) {
				break
			}
		}
	}
}

// unitFrom completes the unit after an erection, and keeps it when no other was
// sooner.
func (r *room) unitFrom(up solver.Placement, roofs map[solver.Slot]reached) bool {
	at := r.index[r.i]
	done := reached{true, true, up}
	if roof := at[RoofWork]; roof >= 0 {
		known := false
		if done, known = roofs[up.End]; !known {
			done.Placement, done.ok = r.soonest(roof, -1, up.End+1)
			roofs[up.End] = done
		}
		if !done.ok {
			return false
		}
	}
	strike := at[ScaffoldStrike]
	down, ok := r.soonest(strike, up.Mode, done.End+1)
	if !ok || !r.setFree(r.acts[strike].ways[up.Mode], up.Start, down.End) {
		return false
	}
	best := r.ends[ScaffoldStrike]
	if best.ok && (r.ends[RoofWork].End < done.End || r.ends[RoofWork].End == done.End && best.End <= down.End) {
		return true
	}
	r.ends[ScaffoldErection], r.ends[RoofWork], r.ends[ScaffoldStrike] = reached{true, true, up}, reached{true, true, done.Placement}, reached{true, true, down}
	return true
}

// setFree tells whether a scaffold firm has a set for the days between two
// slots, both inclusive.
func (r *room) setFree(f int, from, to solver.Slot) bool {
	for d := int(from) / 2; d <= int(to)/2 && d < r.s.Days; d++ {
		if r.sets[f][d] >= r.firms[f].Sets && r.stopsAt(fact{RuleSets, StageUnknown, f}, solver.Slot(2*d)) {
			return false
		}
	}
	return true
}

// downInTime tells whether the strike of a scaffold that stands, or comes
// whatever the plan does, ends before others need its set.
func (r *room) downInTime(a, mode int, end solver.Slot) bool {
	if w := &r.work[r.i]; r.acts[a].kind != ScaffoldStrike || w.together() {
		return true
	}
	f := r.acts[a].ways[mode]
	first := max(0, int(r.work[r.i].since-r.s.FirstDay))
	for d := first; d <= int(end)/2 && d < r.s.Days; d++ {
		if r.sets[f][d] >= r.firms[f].Sets && r.chosen(f, d) && r.stopsAt(fact{RuleSets, StageUnknown, f}, solver.Slot(2*d)) {
			return false
		}
	}
	return true
}

// chosen tells whether the plan chose to let some other job's scaffold of a firm
// stand on a day.
func (r *room) chosen(f, day int) bool {
	for i := range r.work {
		if i != r.i && r.work[i].together() {
			if owner, from, to, ok := r.span(i); ok && owner == f && day >= from && day <= to {
				return true
			}
		}
	}
	return false
}

// starts gives the slots in which an activity may start as far as the ask goes.
func (r *room) starts(a int) (lo, hi solver.Slot) {
	if r.acts[a].kind == r.ask.kind && (r.on == nil || r.on[fact{RuleAsked, r.ask.kind, 0}]) {
		r.note(fact{RuleAsked, r.ask.kind, 0})
		return r.ask.lo, r.ask.hi
	}
	if r.met == nil && waitsFor(r.ask.kind, r.acts[a].kind) {
		return 0, r.ask.hi - 1
	}
	return 0, r.data.Slots + beyond - 1
}

// waitsFor tells whether a stage comes after another, with what is between them.
func waitsFor(k, before StageKind) bool {
	for _, b := range k.After() {
		if b == before || waitsFor(b, before) {
			return true
		}
	}
	return false
}

// soonest gives the place of least end of an activity that starts in a slot or
// later, in one mode or any.
func (r *room) soonest(a, only int, from solver.Slot) (best solver.Placement, ok bool) {
	lo, hi := r.starts(a)
	for s := max(lo, from); s <= hi; s++ {
		if ok && s+r.data.Activities[a].Modes[0].Slots-1 > best.End {
			break
		}
		if s >= r.data.Slots && r.stops(fact{RulePlanEnd, StageUnknown, 0}) {
			break
		}
		if p, fits := r.from(a, only, s); fits && (!ok || p.End < best.End) {
			best, ok = p, true
		}
	}
	return best, ok
}

// from is soonest of the starts in one slot. Roof work is asked about after each
// erection; nothing of it depends on that.
func (r *room) from(a, only int, s solver.Slot) (best solver.Placement, ok bool) {
	keep := r.acts[a].kind == RoofWork && r.ask.kind != RoofWork && only < 0 && r.hits == nil
	if keep && r.roofs == nil {
		r.roofs = make([]reached, r.data.Slots+beyond)
	}
	if keep && r.roofs[s].known {
		return r.roofs[s].Placement, r.roofs[s].ok
	}
	for mode := range r.data.Activities[a].Modes {
		if only >= 0 && mode != only {
			continue
		}
		if end, fits := r.stands(a, mode, s); fits && (!ok || end < best.End) && r.downInTime(a, mode, end) {
			best, ok = solver.Placement{Mode: mode, Start: s, End: end}, true
		}
	}
	if keep {
		r.roofs[s] = reached{true, ok, best}
	}
	return best, ok
}

// stands tells whether an activity could stand in a mode from a slot on as far
// as its own facts and the crews and gangs go.
func (r *room) stands(a, mode int, start solver.Slot) (end solver.Slot, ok bool) {
	act, k := &r.data.Activities[a], r.acts[a].kind
	m, who := &act.Modes[mode], r.acts[a].ways[mode]
	if k == r.ask.kind && r.ask.who >= 0 && who != r.ask.who && r.stops(fact{RuleAsked, k, 0}) {
		return 0, false
	}
	if p := r.pinned(a); p != nil && (p.Mode != mode || p.Start != start) && r.stops(fact{RuleHeld, k, 0}) {
		return 0, false
	}
	if start < act.Release && r.gated(a, start) {
		return 0, false
	}
	if start < m.Release && !containsSlot(m.Also, start) && r.stops(fact{RuleNotice, k, who}) {
		return 0, false
	}
	if start < r.data.Slots && never(m.StartCost, start) {
		no := fact{RulePin, k, 0}
		if k.Trade() == ScaffoldTrade && r.refused(&r.work[r.i], k, who, r.halfDay(start).Date()) {
			no = fact{RuleOffer, k, who}
		}
		if r.stopsAt(no, start) {
			return 0, false
		}
	}
	return r.runs(a, mode, start)
}

// pinned gives where an activity is held; nil when it is not, or when the plan
// had to give that up.
func (d *desk) pinned(a int) *solver.At {
	p, at := d.data.Activities[a].Pin, d.placed[a]
	if p == nil || at.Mode >= 0 && (at.Mode != p.Mode || at.Start != p.Start) {
		return nil
	}
	return p
}

// gated tells whether some gate of a stage opens later than a slot.
func (r *room) gated(a int, start solver.Slot) bool {
	k, shut := r.acts[a].kind, false
	day := r.halfDay(start).Date()
	if r.shut[k] == nil {
		r.shut[k] = r.gates(r.i, k)
	}
	for _, g := range r.shut[k] {
		if day < g.on && r.stops(g.fact) {
			shut = true
		}
	}
	return shut
}

// runs follows the half-days that an activity would take.
func (r *room) runs(a, mode int, start solver.Slot) (end solver.Slot, ok bool) {
	act, k := &r.data.Activities[a], r.acts[a].kind
	m := &act.Modes[mode]
	left := solver.Part(m.Slots)*solver.Whole - act.Short
	for s := start; s < r.data.Slots+beyond; s++ {
		if s >= r.data.Slots && r.stops(fact{RulePlanEnd, StageUnknown, 0}) {
			return 0, false
		}
		if !r.openAt(a, mode, s) {
			if s == start || m.Whole {
				return 0, false // it starts in no closed half-day
			}
			continue
		}
		if r.busy(a, mode, s) {
			return 0, false
		}
		if s < r.data.Slots && (never(act.SlotCost, s) || never(m.SlotCost, s)) && r.stops(fact{RuleSky, k, 0}) {
			return 0, false
		}
		if left -= shareAt(act, s); left <= 0 {
			return s, true
		}
	}
	return 0, false
}

func never(costs []solver.Cost, s solver.Slot) bool { return costs != nil && costs[s] >= solver.Never }

// openAt tells whether whoever does an activity works in a slot; a crew whose
// lead is away does not, nor a scaffold firm on its days off.
func (r *room) openAt(a, mode int, s solver.Slot) bool {
	if s >= r.data.Slots {
		return r.days.is(r.halfDay(s).Date())
	}
	m := &r.data.Activities[a].Modes[mode]
	if r.data.Calendars[m.Calendar][s] {
		return true
	}
	if !r.days.is(r.halfDay(s).Date()) {
		return false
	}
	if r.acts[a].kind.Trade() == ScaffoldTrade {
		return !r.stopsAt(fact{RuleDayOff, StageUnknown, r.acts[a].ways[mode]}, s)
	}
	return !r.stopsAt(fact{RuleAway, StageUnknown, r.acts[a].ways[mode]}, s)
}

// busy tells whether a crew is at another job in a slot, or a scaffold firm has
// no gang.
func (r *room) busy(a, mode int, s solver.Slot) bool {
	if s >= r.data.Slots {
		return false
	}
	who := r.acts[a].ways[mode]
	if r.acts[a].kind.Trade() == ScaffoldTrade {
		return r.gangs[who][s/2] >= r.firms[who].GangsPerDay && r.stopsAt(fact{RuleGangs, StageUnknown, who}, s)
	}
	if r.data.Resources[who].Capacity[s] < 1 && r.stopsAt(fact{RuleTaken, StageUnknown, who}, s) {
		return true
	}
	other := r.at[who][s]
	return other >= 0 && r.acts[other].work != r.i && r.stopsAt(fact{RuleElsewhere, StageUnknown, who}, s)
}

// opening is the first day of a stage by one fact.
type opening struct {
	fact
	on  civil.Date
	why Reason
}

// gates lists what must come before a stage may start, each with its day. They
// are the facts that readStart reads; whatever else raises the first day of the
// stage is one more, in its own words.
func (d *desk) gates(i int, k StageKind) (list []opening) {
	w, src := &d.work[i], "job "+d.work[i].job.Ref
	add := func(rule Rule, n int, on civil.Date, subject, value string) {
		if on > d.s.FirstDay {
			list = append(list, opening{fact{rule, k, n}, on, Reason{rule, subject, value, on.String(), "date", src}})
		}
	}
	if w.job.ReadyOn.Known() {
		add(RuleReady, 0, w.job.ReadyOn, w.job.Ref, "")
	}
	for n, c := range w.job.Consents {
		switch {
		case c.Stage != k:
		case c.State == ConsentGranted && c.GrantedOn.Known():
			add(RuleConsent, n, c.GrantedOn, c.Kind.Words(), "granted")
		case c.ExpectedOn.Known():
			add(RuleConsent, n, c.ExpectedOn, c.Kind.Words(), "expected")
		}
	}
	if k == RoofWork || k == SecondFix {
		for n, kit := range w.job.Kit {
			if kit.ArrivedOn.Known() {
				add(RuleKit, n, kit.ArrivedOn, kit.Item, "arrived")
			} else if kit.DueOn.Known() { // it may be used from the next day on
				if add(RuleKit, n, kit.DueOn+1, kit.Item, "due"); len(list) > 0 && list[len(list)-1].fact == (fact{RuleKit, k, n}) {
					list[len(list)-1].why.Limit = kit.DueOn.String()
				}
			}
		}
	}
	last := d.s.FirstDay
	for _, g := range list {
		last = max(last, g.on)
	}
	if rel := w.release[k]; rel.on > last {
		list = append(list, opening{fact{RuleGate, k, 0}, rel.on, Reason{RuleGate, rel.why, "", rel.on.String(), "date", src}})
	}
	return list
}
