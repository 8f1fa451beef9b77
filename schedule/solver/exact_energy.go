package solver

import "slices"

// loads looks for a stretch of time in which more work must be done than the
// resource can: what must run there by the time table, and what is left of the
// activities whose whole window lies in it (the overload check of time-table
// edge-finding: Vilim 2011; explained as in Schutt, Feydt and Stuckey 2013).
// false = there is one, and why stands in conflict.
func (p *prover) loads(k int) bool {
	t := &p.tables[k]
	t.sum = append(t.sum[:0], 0)
	for _, u := range t.use {
		t.sum = append(t.sum, t.sum[len(t.sum)-1]+Cost(u))
	}
	t.work = t.work[:0]
	for _, i := range t.users {
		w := stretch{from: p.bound[2*i], to: -p.bound[2*i+1] + int32(p.dur[i])}
		fixed := max(0, w.from+int32(p.dur[i])-(w.to-int32(p.dur[i])))
		if w.free = Cost(p.need[i][k]) * Cost(int32(p.dur[i])-fixed); w.free > 0 {
			t.work = append(t.work, w)
		}
	}
	slices.SortStableFunc(t.work, func(a, b stretch) int { return int(b.from - a.from) })
	for n, last := range t.work {
		if slices.ContainsFunc(t.work[:n], func(w stretch) bool { return w.to == last.to }) {
			continue
		}
		work, to := Cost(0), last.to
		for _, w := range t.work {
			if w.to > to {
				continue
			}
			if work += w.free; work+t.sum[to]-t.sum[w.from] > Cost(t.capacity)*Cost(to-w.from) {
				p.overload(k, w.from, to)
				return false
			}
		}
	}
	return true
}

// stretch is the window of an activity and its work beside what must run.
type stretch struct {
	from, to int32
	free     Cost
}

// overload explains that a stretch holds too much: each activity lies in it for
// some slots wherever it starts. What is not needed for the sum is left out.
func (p *prover) overload(k int, from, to int32) {
	t := &p.tables[k]
	spare := -Cost(t.capacity)*Cost(to-from) - 1
	for _, i := range t.users {
		spare += Cost(p.need[i][k]) * Cost(p.inside(i, from, to))
	}
	p.conflict = p.conflict[:0]
	for n := len(t.users) - 1; n >= 0; n-- { // the smallest first
		i := t.users[n]
		slots, need := p.inside(i, from, to), Cost(p.need[i][k])
		less := min(Cost(slots), spare/need)
		slots -= int32(less)
		if spare -= less * need; slots > 0 {
			p.conflict = append(p.conflict, literal{2 * i, from + slots - int32(p.dur[i])}, literal{2*i + 1, slots - to})
		}
	}
}

// inside gives the slots that an activity lies in a stretch at least.
func (p *prover) inside(i, from, to int32) int32 {
	n := int32(p.dur[i])
	return max(0, min(n, to-from, p.bound[2*i]+n-from, to+p.bound[2*i+1]))
}
