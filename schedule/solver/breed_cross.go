package solver

import "math/rand/v2"

// crosser makes the list of a child from two schedules.
type crosser struct {
	dur   []Slot
	work  []int64 // by activity: what it takes of its resources in each slot
	hours []int64 // by slot: what was taken before it
	order []int32
	has   []bool
}

func newCrosser(n *network) crosser {
	return crosser{dur: n.dur, work: n.load, hours: make([]int64, n.slots+1), order: make([]int32, 0, len(n.dur)), has: make([]bool, len(n.dur))}
}

// cross keeps from the mother the order of a stretch of time in which its
// resources are busy, where good decisions are dear, and has the rest from the
// father (peak crossover, Valls, Ballestin and Quintanilla 2008; Debels and
// Vanhoucke 2007). Both lists keep the precedence of the other side, so the
// child's does. It begins as one of them does.
func (c *crosser) cross(rng *rand.Rand, mother, father *individual) ([]int32, opening) {
	from, to := c.peak(rng, mother)
	clear(c.has)
	kid := append(c.order[:0], father.list[:from]...)
	for _, i := range kid {
		c.has[i] = true
	}
	for _, i := range mother.list {
		if len(kid) >= to {
			break
		}
		if !c.has[i] {
			c.has[i] = true
			kid = append(kid, i)
		}
	}
	for _, i := range father.list {
		if !c.has[i] {
			kid = append(kid, i)
		}
	}
	if from == 0 {
		return kid, opening{mother, to}
	}
	return kid, opening{father, from}
}

// peak draws a length of three to six tenths of the makespan and takes the
// busiest of four stretches of it. It gives their positions in the list: those
// activities that end in the stretch.
func (c *crosser) peak(rng *rand.Rand, m *individual) (from, to int) {
	const tries = 4
	span := int(m.span)
	length := max(1, span*3/10+rng.IntN(span*3/10+1))
	hours := c.hours[:span+1]
	c.addUp(hours, m)
	most, at := int64(-1), 0
	for range tries {
		x := rng.IntN(span - length + 1)
		if work := hours[x+length] - hours[x]; work > most {
			most, at = work, x
		}
	}
	for ; to < len(m.list) && m.end[m.list[to]] > Slot(at); to++ {
		if m.end[m.list[to]] > Slot(at+length) {
			from = to + 1
		}
	}
	return from, to
}

// addUp writes what the schedule took of its resources before each slot.
func (c *crosser) addUp(hours []int64, m *individual) {
	clear(hours)
	dur := c.dur
	for i, e := range m.end {
		hours[e-dur[i]] += c.work[i]
		hours[e] -= c.work[i]
	}
	taken, rate := int64(0), int64(0)
	for x := range hours {
		rate, hours[x] = rate+hours[x], taken
		taken += rate
	}
}

// shift moves one activity, drawn by chance, to another place in the list
// between those that it waits for and those that wait for it (Bouleimen and
// Lecocq 2003). It gives how many first activities stand where they stood.
func (c *crosser) shift(rng *rand.Rand, before, after *side, list []int32) int {
	p := rng.IntN(len(list))
	i, lo, hi := list[p], p, p
	for lo > 0 && !linked(before, i, list[lo-1]) {
		lo--
	}
	for hi+1 < len(list) && !linked(after, i, list[hi+1]) {
		hi++
	}
	if lo == hi {
		return len(list)
	}
	q := lo + rng.IntN(hi-lo)
	if q >= p {
		q++
		copy(list[p:q], list[p+1:q+1])
	} else {
		copy(list[q+1:p+1], list[q:p])
	}
	list[q] = i
	return min(p, q)
}

// linked tells whether j comes directly before i.
func linked(s *side, i, j int32) bool {
	for _, l := range s.before(i) {
		if l.act == j {
			return true
		}
	}
	return false
}
