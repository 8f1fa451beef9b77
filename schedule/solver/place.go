package solver

import "math/rand/v2"

// taste is how a schedule is built: what the search varies from one to the
// next besides the order.
type taste struct {
	width int  // starts that are weighed in each mode; 1 = the first that fits
	hold  Cost // times Span.Hold
	noise Cost // up to this much is added to what a start is thought to cost
	rng   *rand.Rand
	close bool // whoever has twice as far as the near ones is asked only where no near one can
}

// choice is the best candidate so far.
type choice struct {
	cand
	score Cost
	found bool
}

// better keeps the cheaper candidate; among equals the earlier end, or for an
// activity that is better late the later start.
func (c *choice) better(n cand, score Cost, late bool) {
	if c.found {
		if score > c.score {
			return
		}
		if score == c.score {
			if late && n.start <= c.start || !late && n.end >= c.end {
				return
			}
		}
	}
	c.cand, c.score, c.found = n, score, true
}

// best looks for the cheapest place of an activity in a window. Only mode only
// is tried, all when it is -1. Starts that cannot become the cheapest any more
// are passed over: for that a stop on the way is taken never to shorten a tour.
func (s *state) best(i int32, w window, only int32, t *taste) choice {
	a := &s.p.acts[i]
	var c choice
	if k := a.keep; k.mode >= 0 && (only < 0 || k.mode == only) && w.holds(k) {
		s.weigh(i, k, t, &c)
	}
	for _, k := range a.was {
		if k != a.keep && (only < 0 || k.mode == only) && w.holds(k) {
			s.weigh(i, k, t, &c)
		}
	}
	bounded := s.lowest(a, w)
	if only >= 0 {
		s.bestIn(i, only, w, t, bounded, &c)
		return c
	}
	few := !bounded || len(a.modes) <= 2*nearby || !a.travels
	if !few { // the near ones first, so that the far ones need no look
		s.measure(a.place)
		for m := range a.modes {
			if r := a.modes[m].tour; r >= 0 && s.isNear[r] {
				s.bestIn(i, int32(m), w, t, bounded, &c)
			}
		}
	}
	for m := range a.modes {
		if r := a.modes[m].tour; few || r < 0 || !s.isNear[r] {
			if !few && t.close && c.found && r >= 0 && s.home[r] > s.reach && len(a.modes[m].also) == 0 {
				continue
			}
			if from := max(w.from, a.modes[m].release); !few && c.found && len(a.modes[m].also) == 0 &&
				(from > w.to || s.least(a, &a.modes[m], from)+s.alone(a, &a.modes[m], from) > c.score) {
				continue
			}
			s.bestIn(i, int32(m), w, t, bounded, &c)
		}
	}
	return c
}

// nearby is how many of those who travel are weighed first for a place.
const nearby = 12

// measure works out how far the homes are from a place, and which are near. It
// keeps that, since the activities of a group are placed one after the other.
func (s *state) measure(place Place) {
	if s.measured == place {
		return
	}
	s.measured = place
	for _, r := range s.near {
		s.isNear[r] = false
	}
	s.near = s.near[:0]
	for _, r := range s.p.single {
		tour := s.p.d.Resources[r].Tour
		if tour == nil {
			continue
		}
		s.home[r] = s.trip(tour.Home, place)
		k := len(s.near)
		if k == nearby {
			if s.home[r] >= s.home[s.near[k-1]] {
				continue
			}
			k--
		} else {
			s.near = append(s.near, r)
		}
		for ; k > 0 && s.home[s.near[k-1]] > s.home[r]; k-- {
			s.near[k] = s.near[k-1]
		}
		s.near[k] = r
	}
	s.reach = Never
	for _, r := range s.near {
		s.isNear[r] = true
		s.reach = 2 * s.home[r]
	}
}

// lowest works out, by slot of the window, what a start there or later costs
// at least, as far as the mode does not matter. It is of no use where a span
// can become cheaper by the placing.
func (s *state) lowest(a *activity, w window) bool {
	if a.to >= 0 && s.p.d.Spans[a.to].From == Standing || s.p.negative || w.from > w.to {
		return false
	}
	first, slots, last := Never, Never, Never
	if a.startCost == nil {
		first = 0
	}
	if a.slotCost == nil {
		slots = 0
	}
	for x := w.to; x >= w.from; x-- {
		if a.startCost != nil {
			first = min(first, a.startCost[x])
		}
		if a.slotCost != nil {
			slots = min(slots, a.slotCost[x])
		}
		end := Cost(0)
		if a.endCost != nil {
			end = a.endCost[x]
		}
		if a.guide != nil {
			end += a.guide[x]
		}
		last = min(last, end)
		if first >= Never || slots >= Never || last >= Never {
			s.low[x] = Never
			continue
		}
		s.low[x] = first + min(slots*Cost(a.shortest), slots*Cost(a.longest)) + last
	}
	return true
}

func (s *state) bestIn(i, mi int32, w window, t *taste, bounded bool, c *choice) {
	a := &s.p.acts[i]
	m := &a.modes[mi]
	for _, x := range m.also {
		if x < m.release && x >= w.from && m.cal.is[x] {
			if n, ok := a.at(At{int(mi), x}); ok && w.holds(n) {
				s.weigh(i, n, t, c)
			}
		}
	}
	first, last := s.positions(a, mi, w)
	if first > last {
		return
	}
	if bounded && c.found && s.least(a, m, m.cal.open[first])+s.alone(a, m, m.cal.open[first]) > c.score {
		return
	}
	seen := 0
	if a.late {
		for pos := last; pos >= first && seen < t.width; pos-- {
			n := m.length(pos)
			if _, ok := s.fits(a, m, pos, n); ok {
				s.score(i, m, m.cand(mi, pos, n), t, c)
				seen++
			}
		}
		return
	}
	for pos := first; pos <= last && seen < t.width; {
		if m.unary >= 0 {
			x := s.nextFree(m.cal, s.taken[m.unary], m.cal.open[pos])
			if x >= s.p.d.Slots {
				return
			}
			if pos = m.cal.at[x]; pos > last {
				return
			}
		}
		if bounded && c.found && s.least(a, m, m.cal.open[pos])+s.alone(a, m, m.cal.open[pos]) > c.score {
			return
		}
		n := m.length(pos)
		next, ok := s.fits(a, m, pos, n)
		if !ok {
			pos = next
			continue
		}
		s.score(i, m, m.cand(mi, pos, n), t, c)
		seen++
		pos++
	}
}

// least gives what a start in a slot or later adds at least.
func (s *state) least(a *activity, m *mode, from Slot) Cost {
	low := s.low[from] + m.least - a.absent - a.stay
	if m.idleMost != nil {
		low -= Cost(m.longest) * m.idleMost[from]
	}
	return low
}

// alone gives what the travel of an activity that starts in a slot or later is
// taken to cost at least. Where its resource has nothing to do from there on
// that is the way there and back. One whose home is far is taken to have its
// other work far off too, so that it costs half of that: a guess, which spares
// looking at each gap of each far crew.
func (s *state) alone(a *activity, m *mode, from Slot) Cost {
	if m.tour < 0 || s.measured != a.place {
		return 0
	}
	slots := s.p.d.Resources[m.tour].Tour.Slots
	tours := Cost((Slot(m.n) + slots - 1) / slots)
	switch {
	case from/slots > s.until[m.tour]/slots || s.until[m.tour] < 0:
		return 2 * s.home[m.tour] * tours
	case s.home[m.tour] > s.reach:
		return s.home[m.tour] * tours
	}
	return 0
}

// positions gives the first and the last position in the calendar of a mode
// from which an activity stands within its window and where its span allows.
func (s *state) positions(a *activity, mi int32, w window) (first, last int32) {
	m := &a.modes[mi]
	lo, hi := s.roomForSpan(a, mi, max(w.from, m.release), w.to)
	if lo > hi || lo >= s.p.d.Slots || w.startBy < lo {
		return 0, -1
	}
	last = min(m.lastBefore(m.cal.at[hi+1]), m.cal.at[w.startBy+1]-1) // that still ends by hi, and starts by startBy
	if m.share == nil {
		return max(m.cal.at[lo], m.cal.at[max(w.endFrom, 0)]-m.n+1), last
	}
	for first = m.cal.at[lo]; first <= last && m.cal.open[first+m.length(first)-1] < w.endFrom; {
		first++
	}
	return first, last
}

// weigh scores a single candidate that calendars and bounds allow.
func (s *state) weigh(i int32, n cand, t *taste, c *choice) {
	a := &s.p.acts[i]
	m := &a.modes[n.mode]
	if !m.mayStart(n.start) || a.to >= 0 && n.end > s.bound(&s.p.d.Spans[a.to]) {
		return
	}
	if _, ok := s.fits(a, m, n.pos, n.n); !ok {
		return
	}
	if _, ok := s.spanAdds(i, n); ok {
		s.score(i, m, n, t, c)
	}
}

func (s *state) score(i int32, m *mode, n cand, t *taste, c *choice) {
	a := &s.p.acts[i]
	score := s.adds(i, m, n)
	if a.guide != nil {
		score += a.guide[n.end]
	}
	if a.from >= 0 || a.to >= 0 {
		if span, lo, hi, was := s.spanWith(i, n); span != nil {
			score += spanCost(span, n.mode, lo, hi) + t.hold*span.Hold*Cost(hi-lo+1)
			if was >= 0 {
				score -= spanCost(span, n.mode, lo, was)
			}
		}
	}
	if t.noise > 0 {
		score += Cost(t.rng.Int64N(int64(t.noise)))
	}
	c.better(n, score, a.late)
}

// roomForSpan narrows the window of an activity whose span's other end stands
// already, so that every bucket between them has room.
func (s *state) roomForSpan(a *activity, m int32, lo, hi Slot) (Slot, Slot) {
	if a.from >= 0 {
		span := &s.p.d.Spans[a.from]
		if to := s.at[span.To]; to.mode >= 0 {
			lo = max(lo, s.afterFull(span, m, to.end))
		}
	}
	if a.to >= 0 {
		span := &s.p.d.Spans[a.to]
		if span.From == Standing {
			lo = max(lo, span.Begin)
			hi = min(hi, s.overfull(span)*s.p.grain[span.On[m].Resource]-1, s.bound(span))
		} else if s.at[span.From].mode >= 0 {
			hi = min(hi, s.beforeFull(span, m, s.at[span.From].start))
		}
	}
	return lo, hi
}

// afterFull gives the first slot after the last full bucket up to slot by.
func (s *state) afterFull(span *Span, m int32, by Slot) Slot {
	r := span.On[m].Resource
	used, capacity, g := s.used[r], s.p.d.Resources[r].Capacity, s.p.grain[r]
	for b := by / g; b >= 0; b-- {
		if used[b] >= capacity[b] {
			return (b + 1) * g
		}
	}
	return 0
}

// beforeFull gives the last slot before the first full bucket from slot on.
func (s *state) beforeFull(span *Span, m int32, from Slot) Slot {
	r := span.On[m].Resource
	used, capacity, g := s.used[r], s.p.d.Resources[r].Capacity, s.p.grain[r]
	for b := from / g; int(b) < len(used); b++ {
		if used[b] >= capacity[b] {
			return b*g - 1
		}
	}
	return s.p.d.Slots - 1
}

// placeGroup puts a group's missing activities in, unit by unit.
func (s *state) placeGroup(g int32, t *taste) {
	gr := &s.p.groups[g]
	for k := range gr.units {
		u := &gr.units[k]
		placed := s.place(u, t)
		if !placed && u.most {
			s.makeRoom(gr, k, t)
		}
		if placed {
			s.anchor(u, t)
		}
	}
}

// anchor tries a unit the other way round: the place that was agreed for one of
// its tied activities first, the others around it. place chooses the first
// activity's start without knowing what that will cost the others.
func (s *state) anchor(u *unit, t *taste) {
	if len(u.anchors) == 0 {
		return
	}
	s.stood = s.stood[:0]
	for _, i := range u.acts {
		s.stood = append(s.stood, s.at[i])
	}
	before := s.cost
	for _, a := range u.anchors {
		if s.at[a.i] == a.c || s.pinnedIn(u) {
			continue
		}
		s.removeFrom(u, 0)
		if s.may(a.i, a.c) {
			s.put(a.i, a.c)
			if s.place(u, t) && s.cost < before {
				return
			}
		}
		s.removeFrom(u, 0)
		for n, i := range u.acts {
			if c := s.stood[n]; c.mode >= 0 {
				s.put(i, c)
			}
		}
	}
}

func (s *state) pinnedIn(u *unit) bool {
	for _, i := range u.acts {
		if s.pinned[i] {
			return true
		}
	}
	return false
}

// place puts a unit's missing activities in, all or none.
func (s *state) place(u *unit, t *taste) bool {
	pivot, at := int32(-1), 0
	for k, i := range u.acts {
		if s.at[i].mode < 0 {
			pivot, at = i, k
			break
		}
	}
	if pivot < 0 {
		return true
	}
	if s.placeFrom(u, pivot, at, t) {
		return true
	}
	return u.most && t.width > 1 && s.placeFrom(u, pivot, at, &s.soonest)
}

// placeFrom tries starts of a unit's first missing activity until the others
// have room too.
func (s *state) placeFrom(u *unit, pivot int32, at int, t *taste) bool {
	only := int32(-1)
	if u.tied[at] {
		only = s.tiedMode(u)
	}
	w, ok := s.window(pivot)
	if !ok {
		return false
	}
	for w.from <= w.to {
		c := s.best(pivot, w, only, t)
		if !c.found {
			return false
		}
		s.put(pivot, c.cand)
		again, ok := s.placeRest(u, at+1, t)
		if ok {
			return true
		}
		s.takeOut(pivot)
		if again >= s.p.d.Slots && t.width > 1 { // later is no help: try the earliest there is
			t = &s.soonest
			continue
		}
		w.from = max(again, c.start+1)
	}
	return false
}

// tiedMode gives the mode that a placed activity binds the tied ones to.
func (s *state) tiedMode(u *unit) int32 {
	for k, i := range u.acts {
		if u.tied[k] && s.at[i].mode >= 0 {
			return s.at[i].mode
		}
	}
	return -1
}

// placeRest puts in what is missing after the first one. When that fails,
// again is the slot from which the first one should be tried next.
func (s *state) placeRest(u *unit, k int, t *taste) (again Slot, ok bool) {
	only := s.tiedMode(u)
	if only >= 0 || u.modes <= 1 {
		return s.placeInMode(u, k, max(only, -1), t)
	}
	again = s.p.d.Slots
	best, bestCost := int32(-1), Cost(0)
	saves := s.absentFrom(u, k)
	for n, m := range u.cheap {
		if best >= 0 && s.cost+u.least[n]-saves > bestCost {
			break
		}
		next, ok := s.placeInMode(u, k, m, t)
		if !ok {
			again = min(again, next)
			continue
		}
		cost := s.thought(u, t)
		if best < 0 || cost < bestCost {
			best, bestCost = m, cost
		}
		s.removeFrom(u, k)
	}
	if best < 0 {
		return again, false
	}
	return s.placeInMode(u, k, best, t) // with noise this is another draw, which may fail
}

// absentFrom is what the unit's activities from position k on cost while they
// are left out.
func (s *state) absentFrom(u *unit, k int) (cost Cost) {
	for _, i := range u.acts[min(k, len(u.acts)):] {
		if s.at[i].mode < 0 {
			cost += s.p.acts[i].absent + s.p.acts[i].stay
		}
	}
	return cost
}

// thought is the plan's cost with what the unit's spans are thought to cost
// others.
func (s *state) thought(u *unit, t *taste) Cost {
	cost := s.cost
	for _, i := range u.acts {
		if a := &s.p.acts[i]; a.to >= 0 && s.at[i].mode >= 0 {
			if span, lo, hi, _ := s.spanWith(i, s.at[i]); span != nil {
				cost += t.hold * span.Hold * Cost(hi-lo+1)
			}
		}
	}
	return cost
}

// placeInMode puts in the missing activities from position k on, the tied ones
// in mode only. It leaves nothing behind when it fails.
func (s *state) placeInMode(u *unit, k int, only int32, t *taste) (again Slot, ok bool) {
	for n := k; n < len(u.acts); n++ {
		i := u.acts[n]
		if s.at[i].mode >= 0 {
			continue
		}
		mode := int32(-1)
		if u.tied[n] {
			mode = only
		}
		w, ok := s.window(i)
		if !ok {
			return s.p.d.Slots, false
		}
		c := s.best(i, w, mode, t)
		if !c.found {
			again = s.whenRoom(i, mode, w)
			s.removeFrom(u, k)
			return again, false
		}
		s.put(i, c.cand)
	}
	return 0, true
}

// whenRoom tells from which slot the unit's first activity should be tried
// again, when another found no room in its window. One that comes before the
// first could be placed later than now; the first then has to follow it. Of
// one that must come soon after the first nothing is known but that later may
// help.
func (s *state) whenRoom(i, mode int32, w window) Slot {
	last := s.p.d.Slots - 1
	switch {
	case w.startBy < last:
		return 0
	case w.to == last: // nothing bounds it from behind: later is no help
		return s.p.d.Slots
	}
	if c, ok := s.soonestIn(i, mode, window{from: w.from, startBy: last, to: last}); ok {
		return c.end + 1
	}
	return s.p.d.Slots + 1
}

// soonestIn gives the place in a window that ends first.
func (s *state) soonestIn(i, mode int32, w window) (best cand, found bool) {
	a := &s.p.acts[i]
	for mi := range int32(len(a.modes)) {
		if mode >= 0 && mi != mode {
			continue
		}
		m := &a.modes[mi]
		first, last := s.positions(a, mi, w)
		for pos := first; pos <= last; {
			n := m.length(pos)
			next, ok := s.fits(a, m, pos, n)
			if ok {
				if end := m.cal.open[pos+n-1]; !found || end < best.end {
					best, found = m.cand(mi, pos, n), true
				}
				break
			}
			pos = next
		}
	}
	return best, found
}

// removeFrom takes out the unit's activities from position k on.
func (s *state) removeFrom(u *unit, k int) {
	for n := len(u.acts) - 1; n >= k; n-- {
		if i := u.acts[n]; s.at[i].mode >= 0 {
			s.takeOut(i)
		}
	}
}
