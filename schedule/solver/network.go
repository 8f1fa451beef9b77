package solver

import "slices"

// network is the plain problem of the literature: one mode, constant capacity,
// always open, only the makespan counts. It reads the same from either end:
// with the links turned round, a schedule made from the end is one made from
// the start (a right-justified schedule is a left-justified one of the
// mirrored project). All search works on the two sides alike.
//
// A release is an activity of its own here, which takes as long, needs nothing
// and comes before the one released, so that it is kept from both ends.
type network struct {
	p     *problem
	named int    // the caller's activities come first, then those that stand for releases
	dur   []Slot // by activity
	load  []int64
	need  []uint64 // by activity and word: what it takes of each resource
	room  []uint64 // by word: what a slot has
	guard uint64   // the highest bit of each lane
	words int      // words for one slot
	slots Slot
	sides [2]side
	bound Slot
}

// side is a project seen from its start (0) or from its end (1).
type side struct {
	from  []int32 // by activity: where its links begin
	links []link
	tail  []Slot // by activity: longest path from its end to the end of the project
}

// link says that an activity ends before, with so many free slots between.
type link struct {
	act int32
	lag Slot
}

func (s *side) before(i int32) []link { return s.links[s.from[i]:s.from[i+1]] }

// plain gives the network when the problem is a plain one, else nil.
func (p *problem) plain() *network {
	if p.d.Makespan <= 0 || len(p.d.Spans) > 0 || len(p.acts) == 0 {
		return nil
	}
	capacity := make([]Amount, len(p.d.Resources))
	for r := range p.d.Resources {
		res := &p.d.Resources[r]
		capacity[r] = slices.Min(res.Capacity)
		if p.grain[r] != 1 || res.Idle != nil || res.Tour != nil || capacity[r] != slices.Max(res.Capacity) {
			return nil
		}
	}
	length, released := Slot(0), Slot(0)
	for i := range p.acts {
		if !p.plainActivity(i, capacity) {
			return nil
		}
		a := &p.acts[i]
		length += Slot(a.modes[0].n)
		for _, l := range a.before {
			length += l.Lag
		}
		released = max(released, p.released(i))
	}
	if length+released > p.d.Slots { // a list might run off the line
		return nil
	}
	n := &network{p: p, slots: p.d.Slots, bound: Bound(p.d)}
	n.pack(capacity)
	n.join()
	n.weigh(capacity)
	return n
}

// plainActivity tells whether only the activity's length, links, release and
// uses matter, and it can be placed at all.
func (p *problem) plainActivity(i int, capacity []Amount) bool {
	a, d := &p.acts[i], &p.d.Activities[i]
	m := &a.modes[0]
	if len(a.modes) > 1 || m.cost != 0 || m.startCost != nil || m.share != nil || a.slotCost != nil || a.endCost != nil ||
		d.Pin != nil || d.Keep != nil || len(m.cal.open) != int(p.d.Slots) || len(a.unit.acts) > 1 {
		return false
	}
	for _, u := range m.uses {
		if u.amount > capacity[u.res] {
			return false
		}
	}
	return true
}

func (p *problem) released(i int) Slot {
	return max(p.d.Activities[i].Release, p.acts[i].modes[0].release)
}

// pack writes uses and capacities as lanes of machine words. The highest bit of
// a lane is always set in what is free: taking more than there is borrows it,
// so one subtraction and one comparison ask all resources of a word at once
// (Lamport 1975, "Multiple byte processing with full-word instructions").
func (n *network) pack(capacity []Amount) {
	lane := 16
	if len(capacity) > 0 && slices.Max(capacity) >= 1<<15 {
		lane = 32
	}
	per := 64 / lane
	n.words = max(1, (len(capacity)+per-1)/per)
	for k := range per {
		n.guard |= 1 << (lane*k + lane - 1)
	}
	n.room = make([]uint64, n.words)
	for w := range n.room {
		n.room[w] = n.guard
	}
	for r, c := range capacity {
		n.room[r/per] += uint64(c) << (r % per * lane)
	}
	n.named = len(n.p.acts)
	n.need = make([]uint64, n.named*n.words)
	for i := range n.p.acts {
		m := &n.p.acts[i].modes[0]
		n.dur = append(n.dur, Slot(m.n))
		for _, u := range m.uses {
			r := int(u.res)
			n.need[i*n.words+r/per] += uint64(u.amount) << (r % per * lane)
		}
	}
}

// join writes the links as seen from both ends, and adds the releases.
func (n *network) join() {
	before := make([][]link, n.named)
	for i := range n.p.acts {
		for _, l := range n.p.acts[i].before {
			before[i] = append(before[i], link{int32(l.Activity), l.Lag})
		}
		if release := n.p.released(i); release > 0 {
			before[i] = append(before[i], link{int32(len(n.dur)), 0})
			before = append(before, nil)
			n.dur = append(n.dur, release)
			n.need = append(n.need, make([]uint64, n.words)...)
		}
	}
	after := make([][]link, len(before))
	for i, ls := range before {
		for _, l := range ls {
			after[l.act] = append(after[l.act], link{int32(i), l.lag})
		}
	}
	n.sides = [2]side{newSide(before), newSide(after)}
	order := n.order()
	n.tails(&n.sides[1], order)
	slices.Reverse(order)
	n.tails(&n.sides[0], order)
}

func newSide(before [][]link) side {
	s := side{from: make([]int32, len(before)+1), tail: make([]Slot, len(before))}
	for i, ls := range before {
		s.links = append(s.links, ls...)
		s.from[i+1] = int32(len(s.links))
	}
	return s
}

// order gives the activities in an order of precedence.
func (n *network) order() []int32 {
	waits, list := make([]int, len(n.dur)), make([]int32, 0, len(n.dur))
	for i := range waits {
		if waits[i] = len(n.sides[0].before(int32(i))); waits[i] == 0 {
			list = append(list, int32(i))
		}
	}
	for k := 0; k < len(list); k++ {
		for _, l := range n.sides[1].before(list[k]) {
			if waits[l.act]--; waits[l.act] == 0 {
				list = append(list, l.act)
			}
		}
	}
	return list
}

// tails needs each activity in the order before those that it waits for.
func (n *network) tails(s *side, order []int32) {
	for _, i := range order {
		for _, l := range s.before(i) {
			s.tail[l.act] = max(s.tail[l.act], s.tail[i]+n.dur[i]+l.lag)
		}
	}
}

// weigh gives each activity the sum of the shares that it takes of its
// resources while it lasts, in ten-thousandths.
func (n *network) weigh(capacity []Amount) {
	n.load = make([]int64, len(n.dur))
	for i := range n.p.acts {
		for _, u := range n.p.acts[i].modes[0].uses {
			n.load[i] += 10_000 * int64(u.amount) / int64(max(1, capacity[u.res]))
		}
	}
}
