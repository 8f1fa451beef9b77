package solver

// loads looks for a stretch of time in which more work must be done than the
// resource can: what must run there by the time table, and what is left of the
// activities whose whole window lies in it (the overload check of time-table
// edge-finding: Vilim 2011; explained as in Schutt, Feydt and Stuckey 2013).
// false = there is one, and why stands in conflict.
func (p *prover) loads(k int) bool {
	t := &p.tables[k]
	for s, u := range t.use {
		t.sum[s+1] = t.sum[s] + Cost(u)
	}
	p.weigh(k)
	clear(t.tried)
	for _, last := range t.work {
		to := last.to
		if last.free == 0 || t.tried[to] {
			continue
		}
		t.tried[to] = true
		work := Cost(0)
		for _, w := range t.work {
			if w.to > to || w.free == 0 {
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
	activity int32
	from, to int32
	free     Cost
}

// weigh brings the windows of a table's users up to date. They are nearly in
// order since the last time, so insertion is the quickest way to sort them.
func (p *prover) weigh(k int) {
	t := &p.tables[k]
	for n := range t.work {
		i := t.work[n].activity
		takes := int32(p.dur[i])
		w := stretch{activity: i, from: p.bound[2*i], to: -p.bound[2*i+1] + takes}
		w.free = Cost(p.need[i][k]) * Cost(min(takes, w.to-w.from-takes))
		at := n
		for ; at > 0 && t.work[at-1].from < w.from; at-- {
			t.work[at] = t.work[at-1]
		}
		t.work[at] = w
	}
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
