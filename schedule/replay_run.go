package schedule

import (
	"toeboard/weather/civil"
)

// run is one future as it is lived through, half-day by half-day. It is used
// again for the next.
type run struct {
	*replay
	future int

	left    []int32 // by visit: half-days still to work
	begun   []int32 // by visit: slot of its first half-day, none = not begun
	ended   []int32 // by visit: slot of its last half-day, none = not ended
	due     []int32 // by visit: slot from which it may start
	gangOn  []int32 // by visit: the day on which a gang has been at it
	turned  []int32 // by visit: the day on which a gang was last turned away
	unsure  []bool  // by visit: it hangs on weather that nobody knows
	undone  int     // visits that are not ended
	next    []int32 // by crew: visits before this one in its order are ended
	nextOf  []int32 // by scaffold firm
	unsureC []bool  // by crew: something it did hung on such weather
	unsureF []bool  // by scaffold firm
	used    []int32 // by scaffold firm: gangs at work on this day
	stand   []int32 // by scaffold firm: scaffolds that stand
	struck  []int32 // by scaffold firm: those that came down on this day
	at      []int32 // by crew: place where it is, on this day
	lost    []int32 // by job: half-days that the weather took
	cost    Pence
}

func (r *replay) newRun() *run {
	n := len(r.ops)
	return &run{replay: r, left: make([]int32, n), begun: make([]int32, n), ended: make([]int32, n), due: make([]int32, n),
		gangOn: make([]int32, n), turned: make([]int32, n), unsure: make([]bool, n),
		next: make([]int32, len(r.crews)), nextOf: make([]int32, len(r.firms)), unsureC: make([]bool, len(r.crews)), unsureF: make([]bool, len(r.firms)),
		used: make([]int32, len(r.firms)), stand: make([]int32, len(r.firms)), struck: make([]int32, len(r.firms)),
		at: make([]int32, len(r.crews)), lost: make([]int32, len(r.work))}
}

// live carries the plan out in one future.
func (u *run) live(future int) {
	u.reset(future)
	for day := int32(0); day < u.span && (u.undone > 0 || day < int32(u.s.Days)); day++ {
		u.dawn()
		for slot := 2 * day; slot <= 2*day+1; slot++ {
			for f := range u.firms {
				u.firmDoes(int32(f), slot)
			}
			for c := range u.crews {
				u.crewDoes(int32(c), slot)
			}
		}
		u.home()
	}
	u.settle()
}

func (u *run) reset(future int) {
	u.future, u.undone, u.cost = future, 0, u.fixed
	for a := range u.ops {
		u.left[a], u.begun[a], u.ended[a], u.due[a] = u.ops[a].left, none, none, u.ops[a].first
		u.gangOn[a], u.turned[a], u.unsure[a] = none, none, false
		if u.dead[a] == "" {
			u.undone++
		}
	}
	clear(u.next)
	clear(u.nextOf)
	clear(u.unsureC)
	clear(u.unsureF)
	clear(u.lost)
	clear(u.struck)
	copy(u.stand, u.stands)
}

// dawn begins a day: the gangs are free, the crews at home, and the sets of
// what came down the day before are back.
func (u *run) dawn() {
	for f := range u.used {
		u.used[f] = 0
		u.stand[f] -= u.struck[f]
		u.struck[f] = 0
	}
	for c := range u.at {
		u.at[c] = int32(c)
	}
}

// home drives every crew home.
func (u *run) home() {
	for c := range u.at {
		u.cost += u.leg(u.at[c], int32(c))
	}
}

// ready tells whether nothing stands before a visit any more but the weather.
func (u *run) ready(a, slot int32) bool {
	if u.due[a] > slot {
		return false
	}
	for _, b := range u.ops[a].waits {
		if b != none && (u.ended[b] == none || u.ended[b] >= slot) {
			return false
		}
	}
	return true
}

// fitFor tells whether the weather lets a half-day of a visit run, and whether
// anybody knows.
func (u *run) fitFor(a, slot int32) (fit, known bool) {
	switch row := u.ops[a].row; row {
	case indoors:
		return true, true
	case noRow:
		return false, false
	default:
		p := &u.futures.Rows[row].Passing
		h := u.half(slot)
		return p.In(h, u.future), p.Known(h)
	}
}

// crewDoes gives a crew its half-day: a visit that has begun goes on; else the
// first, in planned order, that is due, waits for nothing and has the weather.
func (u *run) crewDoes(c, slot int32) {
	day := slot / 2
	open, extra := u.open[c][day], u.extra[c][day]
	if !open && !extra {
		return
	}
	list := u.crewOps[c]
	for u.next[c] < int32(len(list)) && u.ended[list[u.next[c]]] != none {
		u.next[c]++
	}
	best, stopped := int32(none), int32(none)
	for _, a := range list[u.next[c]:] {
		if u.ops[a].first > slot {
			break
		}
		switch {
		case u.ended[a] != none || !open && !u.ops[a].late:
		case u.begun[a] != none:
			best, stopped = a, none // finished before the crew goes elsewhere
			if fit, _ := u.fitFor(a, slot); !fit {
				best, stopped = none, a
			}
			u.does(c, best, stopped, slot, open)
			return
		case best == none && u.ready(a, slot):
			if fit, _ := u.fitFor(a, slot); fit {
				best = a
			} else if stopped == none {
				stopped = a
			}
		}
	}
	u.does(c, best, stopped, slot, open)
}

// does books the half-day of a crew: at work, stopped by the weather, or idle.
func (u *run) does(c, best, stopped, slot int32, open bool) {
	day := slot / 2
	switch {
	case best != none:
		u.unsure[best] = u.unsure[best] || u.unsureC[c]
		u.unsureC[c] = u.unsure[best] || u.unsureC[c]
		u.workOn(best, slot)
		place := int32(len(u.crews)) + u.ops[best].work
		u.cost += u.leg(u.at[c], place)
		u.at[c] = place
		if !open {
			u.cost += u.overtime(u.replay.crews[c], u.s.FirstDay+civil.Date(day))
		}
	case stopped != none:
		u.stop(stopped, slot)
		u.unsureC[c] = u.unsureC[c] || u.unsure[stopped]
	case open && day < int32(u.s.Days):
		u.cost += u.idleOf[c][day]
	}
}

// workOn works one half-day of a visit.
func (u *run) workOn(a, slot int32) {
	if u.begun[a] == none {
		u.begun[a] = slot
		for _, b := range u.ops[a].waits {
			u.unsure[a] = u.unsure[a] || b != none && u.unsure[b]
		}
	}
	if u.told != nil {
		u.told(a, slot)
	}
	if u.left[a]--; u.left[a] == 0 {
		u.ended[a] = slot
		u.undone--
	}
}

// stop books a half-day that the weather takes from a visit.
func (u *run) stop(a, slot int32) {
	o := &u.ops[a]
	u.lost[o.work]++
	u.cost += u.prices.lost(o.kind)
	if _, known := u.fitFor(a, slot); !known {
		u.unsure[a] = true
	}
}

// firmDoes gives a scaffold firm its half-day: what has begun goes on, then what
// is due begins, in planned order, as far as gangs and sets go.
func (u *run) firmDoes(f, slot int32) {
	if !u.working[slot/2] || !u.firms[f].Works(u.date(slot)) {
		return
	}
	list := u.firmOps[f]
	for u.nextOf[f] < int32(len(list)) && u.ended[list[u.nextOf[f]]] != none {
		u.nextOf[f]++
	}
	for _, begun := range []bool{true, false} {
		for _, a := range list[u.nextOf[f]:] {
			if u.ops[a].first > slot {
				break
			}
			if u.ended[a] == none && (u.begun[a] != none) == begun && u.mayGang(f, a, slot) {
				u.gangDoes(f, a, slot)
			}
		}
	}
}

// mayGang tells whether a gang, and for an erection a set, is there for a visit
// that is due. A strike whose day was missed because the roof work ended too
// late is asked for anew on the day on which it ends, with the firm's notice.
func (u *run) mayGang(f, a, slot int32) bool {
	o := &u.ops[a]
	if o.kind == ScaffoldStrike && u.begun[a] == none {
		for _, b := range o.waits {
			if b != none && u.ended[b] >= u.due[a] {
				asked := u.date(u.ended[b])
				u.due[a] = max(u.ended[b]+1, u.slot(u.days.add(asked, u.firms[f].StrikeNotice).In(civil.Morning)))
			}
		}
	}
	if u.begun[a] == none && !o.started && !u.ready(a, slot) {
		return false
	}
	day := slot / 2
	if u.gangOn[a] != day && u.used[f] >= u.gangs[f][day] {
		return false
	}
	return !o.takes || u.begun[a] != none || u.stand[f] < u.sets[f][day]
}

func (u *run) gangDoes(f, a, slot int32) {
	day := slot / 2
	if fit, known := u.fitFor(a, slot); !fit {
		u.unsure[a] = u.unsure[a] || !known
		u.unsureF[f] = u.unsureF[f] || u.unsure[a]
		if u.turned[a] != day { // a gang is turned away once a day
			u.turned[a] = day
			u.stop(a, slot)
		}
		return
	}
	if u.gangOn[a] != day {
		u.gangOn[a] = day
		u.used[f]++
	}
	if u.ops[a].takes && u.begun[a] == none {
		u.stand[f]++
	}
	u.unsure[a] = u.unsure[a] || u.unsureF[f]
	u.workOn(a, slot)
	if u.ops[a].kind == ScaffoldStrike && u.ended[a] != none {
		u.struck[f]++
	}
}

// settle adds up what is known at the end: lateness and the standing of
// scaffolds. What is not finished by the last day counts as finished on it, which
// is the least that it can cost.
func (u *run) settle() {
	for i := range u.work {
		w := &u.work[i]
		if w.open(Commissioning) {
			u.cost += u.lateness(int32(i), u.commissionedOn(i))
		}
		hire, idle := u.scaffold(i)
		u.cost += hire + idle
	}
}

// commissionedOn is the day, from the first, that lateness is counted to: the
// plan's last when it has no place for commissioning.
func (u *run) commissionedOn(i int) int32 {
	a := u.index[i][Commissioning]
	switch {
	case a == none || u.dead[a] != "":
		return int32(u.s.Days) - 1
	case u.ended[a] == none:
		return u.span - 1
	default:
		return u.ended[a] / 2
	}
}

// scaffold prices how long a job's scaffold stands: the hire past the included
// weeks, and the days for nothing within them.
func (u *run) scaffold(i int) (hire, idle Pence) {
	w := &u.work[i]
	from, to, firm := civil.NoDate, u.last, w.owner
	erect, strike := u.index[i][ScaffoldErection], u.index[i][ScaffoldStrike]
	switch {
	case w.standing:
		from = w.since
	case erect != none && u.begun[erect] != none:
		from, firm = u.date(u.begun[erect]), int(u.ops[erect].who)
	}
	if firm < 0 || !from.Known() {
		return 0, 0
	}
	if strike != none && u.dead[strike] == "" {
		to = u.s.FirstDay + civil.Date(u.span) - 1
		if u.ended[strike] != none {
			to = u.date(u.ended[strike])
		}
	}
	f := u.firms[firm]
	return u.hire(f, from, to), u.idleScaffold(w, f, from, to)
}

// hangs tells whether anything of a job hangs on weather that nobody knows.
func (u *run) hangs(i int) bool {
	for _, a := range u.index[i] {
		if a == none || u.dead[a] != "" {
			continue
		}
		o := &u.ops[a]
		if u.unsure[a] {
			return true
		}
		if u.ended[a] == none { // it may wait for somebody who is held up by such weather
			if o.kind.Trade() == ScaffoldTrade && u.unsureF[o.who] || o.kind.Trade() != ScaffoldTrade && u.unsureC[o.who] {
				return true
			}
		}
	}
	return false
}
