package solver

import (
	"math/bits"
	"slices"
)

// cand is a place for an activity: a mode and a stretch of open slots.
type cand struct {
	mode       int32
	pos        int32 // of the first slot in the calendar's open slots
	n          int32 // open slots
	start, end Slot
	worked     Slot // the last of as many slots as the work has: up to there it is travelled to
}

// state is a plan in the making. Putting an activity in and taking it out
// again leaves everything as it was, cost included.
type state struct {
	p      *problem
	at     []cand     // by activity; mode -1 = not placed
	used   [][]Amount // by resource and bucket
	chosen [][]Amount // the same without standing spans, for resources that have any
	taken  [][]uint64 // by resource of one unit: a bit for each slot that has no room
	holder [][]int32  // by resource of one unit and slot: the activity there, -1 = none
	lasts  []int32    // by slot: activities that end there
	last   Slot       // the last slot used, -1 = none
	cost   Cost
	pinned []bool  // by activity: its pin holds
	floor  []floor // by activity: set for a moment while makeRoom tries again

	soonest taste  // the first start that fits
	low     []Cost // by slot, for best: what a start there or later costs at least, ways and travel aside
	memory  memory
	stood   []cand // for anchor

	measured Place   // what these are of; -1 = nothing
	home     []Cost  // by resource: the trip from its home
	reach    Cost    // homes farther than this are far
	near     []int32 // the nearest of them
	isNear   []bool  // by resource
	until    []Slot  // by resource: the last slot in which it has work, -1 = none
}

func newState(p *problem) *state {
	s := &state{p: p, measured: -1, home: make([]Cost, len(p.grain)), isNear: make([]bool, len(p.grain)), until: make([]Slot, len(p.grain)), low: make([]Cost, p.d.Slots+1), taken: make([][]uint64, len(p.grain)), at: make([]cand, len(p.acts)), lasts: make([]int32, p.d.Slots),
		used: make([][]Amount, len(p.grain)), chosen: make([][]Amount, len(p.grain)), holder: make([][]int32, len(p.grain)), pinned: make([]bool, len(p.acts)), floor: make([]floor, len(p.acts)), soonest: taste{width: 1}}
	for r := range p.d.Resources {
		s.used[r] = make([]Amount, len(p.d.Resources[r].Capacity))
		if p.unary[r] {
			s.holder[r] = make([]int32, p.d.Slots)
			s.taken[r] = make([]uint64, (p.d.Slots+63)/64)
		}
	}
	for _, span := range p.d.Spans {
		if r := span.On[0].Resource; span.From == Standing {
			s.chosen[r] = make([]Amount, len(s.used[r]))
		}
	}
	s.clear()
	return s
}

// clear takes everything out, pins too.
func (s *state) clear() {
	s.cost, s.last = 0, -1
	clear(s.lasts)
	clear(s.pinned)
	for i := range s.at {
		s.at[i] = cand{mode: -1}
		s.cost += s.p.acts[i].absent
	}
	for r := range s.used {
		clear(s.used[r])
		clear(s.chosen[r])
		s.until[r] = -1
		clear(s.taken[r])
		for b := range s.used[r] {
			s.takes(int32(r), Slot(b))
		}
		for i := range s.holder[r] {
			s.holder[r][i] = -1
		}
		for _, c := range s.p.d.Resources[r].Idle {
			s.cost += c
		}
	}
	for i := range s.p.d.Spans {
		if span := &s.p.d.Spans[i]; span.From == Standing {
			lo, hi := s.bucket(span, 0, span.Begin), s.lastBucket(span, 0)
			s.hold(span, 0, lo, hi, 1)
			s.cost += spanCost(span, 0, lo, hi)
		}
	}
}

func (s *state) lastBucket(span *Span, m int32) Slot {
	return Slot(len(s.used[span.On[m].Resource]) - 1)
}

func (s *state) bucket(span *Span, m int32, at Slot) Slot {
	return at / s.p.grain[span.On[m].Resource]
}

func spanCost(span *Span, m int32, lo, hi Slot) Cost {
	if c := span.On[m].Cost; c != nil {
		return c[hi-lo+1]
	}
	return 0
}

// hold adds a span's unit to its buckets, or takes it from them.
func (s *state) hold(span *Span, m int32, lo, hi Slot, sign Amount) {
	r := span.On[m].Resource
	for b := lo; b <= hi; b++ {
		s.used[r][b] += sign
		s.takes(int32(r), b)
		if s.chosen[r] != nil && span.From != Standing {
			s.chosen[r][b] += sign
		}
	}
}

// overfull gives the first bucket that holds more than there is room for, of
// which the plan chose at least one: what stood from the start is no fault.
func (s *state) overfull(span *Span) Slot {
	r := span.On[0].Resource
	used, capacity := s.used[r], s.p.d.Resources[r].Capacity
	for b := range used {
		if used[b] > capacity[b] && s.chosen[r][b] > 0 {
			return Slot(b)
		}
	}
	return Slot(len(used))
}

// fits tells whether an activity may stand at a candidate as far as its own
// tables and the resources go; order and spans are the caller's. When it may
// not, next is the first position from which it is worth looking again.
func (s *state) fits(a *activity, m *mode, pos, n int32) (next int32, ok bool) {
	open := m.cal.open[pos : pos+n]
	if m.startCost != nil && m.startCost[open[0]] >= Never || a.startCost != nil && a.startCost[open[0]] >= Never {
		return pos + 1, false
	}
	if next, ok := m.unbroken(pos, n); !ok {
		return next, false
	}
	for _, costs := range [2][]Cost{a.slotCost, m.slotCost} {
		if costs == nil {
			continue
		}
		for i := len(open) - 1; i >= 0; i-- {
			if costs[open[i]] >= Never {
				return pos + int32(i) + 1, false
			}
		}
	}
	if a.endCost != nil && a.endCost[open[len(open)-1]] >= Never {
		return pos + 1, false
	}
	for _, u := range m.uses {
		used, capacity := s.used[u.res], s.p.d.Resources[u.res].Capacity
		for i := len(open) - 1; i >= 0; i-- {
			b := open[i]
			if u.grain > 1 {
				b /= u.grain
			}
			if used[b]+u.amount > capacity[b] {
				return pos + int32(i) + 1, false
			}
		}
	}
	return pos, true
}

// adds gives what placing the activity there adds to the cost; the activity
// is not placed when it is asked.
func (s *state) adds(i int32, m *mode, c cand) Cost {
	a := &s.p.acts[i]
	open := m.cal.open[c.pos : c.pos+c.n]
	cost := m.cost - a.absent
	if a.startCost != nil {
		cost += a.startCost[c.start]
	}
	if a.stay != 0 && slices.Contains(a.was, c) {
		cost -= a.stay
	}
	if m.startCost != nil {
		cost += m.startCost[c.start]
	}
	if a.endCost != nil {
		cost += a.endCost[c.end]
	}
	if a.slotCost != nil {
		for _, x := range open {
			cost += a.slotCost[x]
		}
	}
	if m.slotCost != nil {
		for _, x := range open {
			cost += m.slotCost[x]
		}
	}
	for _, h := range a.hands {
		if s.changesHands(m, h.other) {
			cost += h.cost
		}
	}
	if m.idle != nil {
		for _, x := range open {
			cost -= m.idle[x]
		}
	}
	if m.tour >= 0 {
		cost += s.tourAdds(i, m, c)
	}
	return cost
}

// changesHands tells whether somebody else does the other activity, where it
// is placed, than does one in mode m.
func (s *state) changesHands(m *mode, other int32) bool {
	at := s.at[other]
	if at.mode < 0 || m.who == 0 {
		return false
	}
	who := s.p.acts[other].modes[at.mode].who
	return who != 0 && who != m.who
}

// tourAdds gives the extra travel of the tours that the activity touches.
func (s *state) tourAdds(i int32, m *mode, c cand) (cost Cost) {
	tour := s.p.d.Resources[m.tour].Tour
	holder, done := s.holder[m.tour], Slot(-1)
	for _, x := range m.cal.open[c.pos : c.pos+m.n] {
		t := x / tour.Slots
		if t == done {
			continue
		}
		done = t
		from, with, without := t*tour.Slots, tour.Home, tour.Home
		for y := from; y < min(from+tour.Slots, Slot(len(holder))); y++ {
			h := holder[y]
			if h >= 0 && h != i {
				if y > s.at[h].worked {
					continue
				}
				at := s.p.acts[h].place
				if with != without {
					cost += s.trip(with, at) - s.trip(without, at)
				}
				with, without = at, at
				continue
			}
			if y >= c.start && y <= c.worked && m.cal.is[y] {
				cost += s.trip(with, s.p.acts[i].place)
				with = s.p.acts[i].place
			}
		}
		if with != without {
			cost += s.trip(with, tour.Home) - s.trip(without, tour.Home)
		}
	}
	return cost
}

// spanAdds gives what a span's length adds once the activity that bounds it
// stands at c, and whether its resource has room.
func (s *state) spanAdds(i int32, c cand) (cost Cost, ok bool) {
	span, lo, hi, was := s.spanWith(i, c)
	if span == nil {
		return 0, true
	}
	if hi < lo {
		return 0, false
	}
	if was >= 0 { // it stood to the end of the line and shrinks; others may have been placed in its tail
		return spanCost(span, c.mode, lo, hi) - spanCost(span, c.mode, lo, was), hi < s.overfull(span)
	}
	r := span.On[c.mode].Resource
	used, capacity := s.used[r], s.p.d.Resources[r].Capacity
	for b := lo; b <= hi; b++ {
		if used[b] >= capacity[b] {
			return 0, false
		}
	}
	return spanCost(span, c.mode, lo, hi), true
}

// spanWith gives the span that stands once activity i is at c, its buckets,
// and the last bucket it held before (-1 = it did not stand).
func (s *state) spanWith(i int32, c cand) (span *Span, lo, hi, was Slot) {
	a := &s.p.acts[i]
	switch {
	case a.to >= 0:
		span = &s.p.d.Spans[a.to]
		hi = s.bucket(span, c.mode, c.end)
		if span.From == Standing {
			return span, s.bucket(span, c.mode, span.Begin), hi, s.lastBucket(span, c.mode)
		}
		if s.at[span.From].mode < 0 {
			return nil, 0, 0, -1
		}
		return span, s.bucket(span, c.mode, s.at[span.From].start), hi, -1
	case a.from >= 0:
		span = &s.p.d.Spans[a.from]
		if s.at[span.To].mode < 0 {
			return nil, 0, 0, -1
		}
		return span, s.bucket(span, c.mode, c.start), s.bucket(span, c.mode, s.at[span.To].end), -1
	}
	return nil, 0, 0, -1
}

// put places an activity that fits there.
func (s *state) put(i int32, c cand) {
	a := &s.p.acts[i]
	m := &a.modes[c.mode]
	cost := s.adds(i, m, c)
	if span, lo, hi, was := s.spanWith(i, c); span != nil {
		if was >= 0 {
			cost += spanCost(span, c.mode, lo, hi) - spanCost(span, c.mode, lo, was)
			s.hold(span, c.mode, hi+1, was, -1)
		} else {
			cost += spanCost(span, c.mode, lo, hi)
			s.hold(span, c.mode, lo, hi, 1)
		}
	}
	s.mark(i, m, c, 1)
	s.at[i] = c
	s.cost += cost + s.p.d.Makespan*Cost(s.ended(c.end, 1))
}

// takeOut undoes put.
func (s *state) takeOut(i int32) {
	c := s.at[i]
	a := &s.p.acts[i]
	m := &a.modes[c.mode]
	s.at[i].mode = -1
	s.mark(i, m, c, -1)
	cost := s.adds(i, m, c)
	if span, lo, hi, was := s.spanWith(i, c); span != nil {
		if was >= 0 {
			cost += spanCost(span, c.mode, lo, hi) - spanCost(span, c.mode, lo, was)
			s.hold(span, c.mode, hi+1, was, 1)
		} else {
			cost += spanCost(span, c.mode, lo, hi)
			s.hold(span, c.mode, lo, hi, -1)
		}
	}
	s.cost += s.p.d.Makespan*Cost(s.ended(c.end, -1)) - cost
}

// mark writes an activity into its resources, or wipes it out.
func (s *state) mark(i int32, m *mode, c cand, sign Amount) {
	open := m.cal.open[c.pos : c.pos+c.n]
	for _, u := range m.uses {
		used, done := s.used[u.res], Slot(-1)
		for _, x := range open {
			if b := x / u.grain; b != done {
				used[b] += sign * u.amount
				s.takes(u.res, b)
				if s.chosen[u.res] != nil {
					s.chosen[u.res][b] += sign * u.amount
				}
				done = b
			}
		}
	}
	holder := i
	if sign < 0 {
		holder = -1
	}
	for _, u := range m.uses {
		if by := s.holder[u.res]; by != nil {
			for _, x := range open {
				by[x] = holder
			}
			if c.end < s.until[u.res] {
				continue
			}
			s.until[u.res] = c.end
			for x := &s.until[u.res]; *x >= 0 && by[*x] < 0; {
				*x--
			}
		}
	}
}

// takes keeps the bit of a bucket that has no room.
func (s *state) takes(r int32, b Slot) {
	if taken := s.taken[r]; taken != nil {
		if bit := uint64(1) << (b % 64); s.used[r][b] >= s.p.d.Resources[r].Capacity[b] {
			taken[b/64] |= bit
		} else {
			taken[b/64] &^= bit
		}
	}
}

// nextFree gives the first slot from one on that a calendar has open and a
// resource of one unit has free; slots when there is none.
func (s *state) nextFree(cal *calendar, taken []uint64, from Slot) Slot {
	if from >= s.p.d.Slots {
		return s.p.d.Slots
	}
	w := int(from / 64)
	free := (cal.bits[w] &^ taken[w]) >> (from % 64) << (from % 64)
	for free == 0 {
		if w++; w == len(taken) {
			return s.p.d.Slots
		}
		free = cal.bits[w] &^ taken[w]
	}
	return Slot(w*64 + bits.TrailingZeros64(free))
}

// ended counts the activities that end in a slot and gives by how much the
// last slot used has moved.
func (s *state) ended(end Slot, sign int32) Slot {
	before := s.last
	s.lasts[end] += sign
	s.last = max(s.last, end)
	for s.last >= 0 && s.lasts[s.last] == 0 {
		s.last--
	}
	return s.last - before
}

// window bounds where an activity may stand: its first slot from and startBy
// bound, its last slot endFrom and to, all inclusive.
type window struct{ from, startBy, endFrom, to Slot }

func (w window) holds(c cand) bool {
	return c.start >= w.from && c.start <= w.startBy && c.end >= w.endFrom && c.end <= w.to
}

// floor raises the beginning of an activity's window.
type floor struct{ start, end Slot }

// window bounds an activity by its placed neighbours. ok is false when one it
// waits for is left out for good.
func (s *state) window(i int32) (w window, ok bool) {
	a := &s.p.acts[i]
	last := s.p.d.Slots - 1
	w = window{from: max(a.head, s.floor[i].start), startBy: last, endFrom: s.floor[i].end, to: last}
	for _, l := range a.before {
		b := s.at[l.Activity]
		if b.mode < 0 {
			if s.p.acts[l.Activity].unit != a.unit {
				return w, false
			}
			continue
		}
		w.from = max(w.from, b.end+1+l.Lag)
		if l.Most > 0 {
			w.startBy = min(w.startBy, b.end+l.Most)
		}
	}
	for _, l := range a.after {
		if b := s.at[l.Activity]; b.mode >= 0 {
			w.to = min(w.to, b.start-1-l.Lag)
			if l.Most > 0 {
				w.endFrom = max(w.endFrom, b.start-l.Most)
			}
		}
	}
	return w, true
}

// may tells whether an activity may stand at c in the plan as it is.
func (s *state) may(i int32, c cand) bool {
	a := &s.p.acts[i]
	w, ok := s.window(i)
	if !ok || !w.holds(c) || !a.modes[c.mode].mayStart(c.start) {
		return false
	}
	if _, ok := s.fits(a, &a.modes[c.mode], c.pos, c.n); !ok {
		return false
	}
	_, ok = s.spanAdds(i, c)
	return ok
}

func (m *mode) mayStart(at Slot) bool {
	if at >= m.release {
		return true
	}
	for _, x := range m.also {
		if x == at {
			return true
		}
	}
	return false
}
