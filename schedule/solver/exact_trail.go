package solver

import "slices"

// prover holds the windows of all activities and of the end of the plan (the
// sink), and the trail of how they were narrowed.
//
// A window's two edges are treated alike: side 2i is the start of activity i,
// side 2i+1 the start with its sign turned. A side's bound only rises, a literal
// says that it is at least some value, and the opposite of "side s at least v"
// is "side s^1 at least 1-v".
type prover struct {
	*relaxed
	sink      int
	bound     []int32 // by side
	last      []int32 // by side: its latest step on the trail, -1 = none
	trail     []step
	head      int     // steps before it have been passed on
	levels    []int32 // by level from 1: the first step after the decision's
	edges     [][]edge
	rivals    [][]int32 // by activity: those it cannot run side by side with, which may come in either order
	tables    []timeTable
	stale     []bool // by table: windows have changed since it was made
	unweighed []bool // by table: it was made since its loads were looked at
	broken    bool   // there is no plan of the length asked for

	clauses   []*clause
	watchers  [][][]*clause // by side and value above the first bound: clauses in which the opposite is watched
	floor     []int32       // by side: the first bound
	conflict  []literal     // all true, and together impossible
	conflicts int
	since     int // conflicts since the search began anew
	most      int // clauses to keep
	order     cuts
	phase     []int32 // by activity: the start it had last
	near      []Slot  // by activity: a start near which a plan of any length is looked for; nil = the shortest is
	analysis
}

// literal says that a side's bound is at least value.
type literal struct{ side, value int32 }

func (l literal) opposite() literal { return literal{l.side ^ 1, 1 - l.value} }

// step is one narrowing of a window.
type step struct {
	side     int32
	was, now int32
	why      reason
	previous int32 // step of the same side
}

// edge carries a bound on: side to is at least the bound of the one it stands
// at, plus lag.
type edge struct {
	to, lag int32
}

// reason says why a step was made.
type reason struct {
	kind   reasonKind
	a, b   int32
	clause *clause
}

type reasonKind uint8

const (
	decided  reasonKind = iota
	carried             // by an edge from side a with lag b
	rivalled            // by rival a; what shuts out the other order has edge b
	crowded             // by table a in slot b
	learnt              // by a clause
)

// newProver makes the windows for plans between two lengths.
func newProver(r *relaxed, least, most Slot) *prover {
	p := &prover{relaxed: r, sink: r.n, most: 4000}
	sides := 2 * (r.n + 1)
	p.edges, p.last = make([][]edge, sides), make([]int32, sides)
	p.stale, p.unweighed = make([]bool, len(r.capacity)), make([]bool, len(r.capacity))
	for i := range r.n {
		p.bound = append(p.bound, int32(r.head[i]), -int32(most-r.tail[i]-r.dur[i]))
		p.link(i, p.sink, r.dur[i])
		for _, l := range r.before[i] {
			p.link(l.Activity, i, r.dur[l.Activity]+l.Lag)
		}
	}
	p.bound = append(p.bound, int32(least), -int32(most))
	p.rivals = make([][]int32, r.n)
	for _, pair := range r.pairs() {
		p.rivals[pair[0]] = append(p.rivals[pair[0]], pair[1])
		p.rivals[pair[1]] = append(p.rivals[pair[1]], pair[0])
	}
	p.floor = append(p.floor, p.bound...)
	p.watchers = make([][][]*clause, sides)
	for s := range sides {
		p.last[s] = -1
		width := -p.bound[s] - p.bound[s^1]
		if width < 0 {
			p.broken = true
			return p
		}
		p.watchers[s] = make([][]*clause, width+2)
	}
	p.phase = make([]int32, r.n+1)
	for i := range p.phase {
		p.phase[i] = p.bound[2*i]
	}
	p.tables = r.timeTables(most)
	for k := range p.tables {
		p.stale[k] = true
	}
	p.order = newCuts(p.bound)
	p.analysis = newAnalysis(sides)
	for s := range sides { // pass the first bounds on
		for _, e := range p.edges[s] {
			p.broken = p.broken || !p.raise(e.to, p.bound[s]+e.lag, reason{kind: carried, a: int32(s), b: e.lag})
		}
	}
	return p
}

func (p *prover) link(before, after int, gap Slot) {
	p.edges[2*before] = append(p.edges[2*before], edge{int32(2 * after), int32(gap)})
	p.edges[2*after+1] = append(p.edges[2*after+1], edge{int32(2*before + 1), int32(gap)})
}

func (p *prover) holds(l literal) bool { return p.bound[l.side] >= l.value }

func (p *prover) level() int { return len(p.levels) }

// raise narrows a window. false = nothing is left of it, and why stands in
// conflict.
func (p *prover) raise(side, to int32, why reason) bool {
	if to <= p.bound[side] {
		return true
	}
	p.trail = append(p.trail, step{side, p.bound[side], to, why, p.last[side]})
	p.last[side] = int32(len(p.trail) - 1)
	p.bound[side] = to
	if other := p.bound[side^1]; to+other > 0 {
		k := p.last[side]
		p.conflict = append(p.explain(p.conflict[:0], k, literal{side, 1 - other}), literal{side ^ 1, other})
		return false
	}
	return true
}

// backTo undoes all steps of higher levels.
func (p *prover) backTo(level int) {
	if level >= p.level() {
		return
	}
	for len(p.trail) > int(p.levels[level]) {
		s := p.trail[len(p.trail)-1]
		if s.side&1 == 0 {
			p.phase[s.side/2] = p.bound[s.side]
		}
		p.bound[s.side], p.last[s.side] = s.was, s.previous
		p.trail = p.trail[:len(p.trail)-1]
	}
	p.levels = p.levels[:level]
	p.head = min(p.head, len(p.trail))
	p.order.putBack(level)
	for k := range p.stale {
		p.stale[k] = true
	}
}

// propagate passes every step on until nothing follows any more. false = a dead
// end, and why stands in conflict.
func (p *prover) propagate() bool {
	for {
		for p.head < len(p.trail) {
			s := p.trail[p.head]
			p.head++
			if !p.passOn(s) {
				return false
			}
		}
		if k := slices.Index(p.stale, true); k >= 0 {
			p.stale[k], p.unweighed[k] = false, true
			if !p.crowd(k) {
				return false
			}
			continue
		}
		k := slices.Index(p.unweighed, true) // only when nothing else narrows: it takes longer
		if k < 0 {
			return true
		}
		p.unweighed[k] = false
		if !p.loads(k) {
			return false
		}
	}
}

func (p *prover) passOn(s step) bool {
	for x := s.was + 1; x <= s.now; x++ {
		if !p.notify(literal{s.side, x}) {
			return false
		}
	}
	for _, e := range p.edges[s.side] {
		if !p.raise(e.to, s.now+e.lag, reason{kind: carried, a: s.side, b: e.lag}) {
			return false
		}
	}
	i := s.side / 2
	if int(i) == p.sink {
		return true
	}
	for k := range p.tables {
		if p.need[i][k] > 0 {
			p.stale[k] = true
		}
	}
	for _, j := range p.rivals[i] {
		if !p.settle(i, j) || !p.settle(j, i) {
			return false
		}
	}
	return true
}

// settle puts j before i when i cannot come before j any more.
func (p *prover) settle(i, j int32) bool {
	lastJ := -p.bound[2*j+1]
	if p.bound[2*i]+int32(p.dur[i]) <= lastJ {
		return true
	}
	why := reason{kind: rivalled, a: j, b: lastJ}
	if !p.raise(2*i, p.bound[2*j]+int32(p.dur[j]), why) {
		return false
	}
	why = reason{kind: rivalled, a: i, b: lastJ}
	return p.raise(2*j+1, p.bound[2*i+1]+int32(p.dur[j]), why)
}

// timeTable is one resource with those that use it.
type timeTable struct {
	capacity Amount
	users    []int32 // the greatest demand first
	use      []Amount
	sum      []Cost    // of use before each slot
	work     []stretch // of the users, the latest start of a window first
	tried    []bool    // by slot: stretches to its beginning have been looked at
}

func (r *relaxed) timeTables(most Slot) []timeTable {
	tables := make([]timeTable, len(r.capacity))
	for k := range tables {
		t := &tables[k]
		t.capacity, t.use, t.sum, t.tried = r.capacity[k], make([]Amount, most+1), make([]Cost, most+2), make([]bool, most+2)
		for i := range r.n {
			if r.capacity[k] > 0 && r.need[i][k] > 0 {
				t.users = append(t.users, int32(i))
			}
		}
		sortByNeed(t.users, func(i int32) Amount { return r.need[i][k] })
		for _, i := range t.users {
			t.work = append(t.work, stretch{activity: i})
		}
	}
	return tables
}

func sortByNeed(users []int32, need func(i int32) Amount) {
	for k := 1; k < len(users); k++ { // insertion keeps equals in order; there are few
		for m := k; m > 0 && need(users[m]) > need(users[m-1]); m-- {
			users[m], users[m-1] = users[m-1], users[m]
		}
	}
}

// must gives the slots in which an activity runs wherever it starts: from its
// latest start to before its earliest end.
func (p *prover) must(i int32) (from, to int32) {
	return -p.bound[2*i+1], p.bound[2*i] + int32(p.dur[i])
}

// crowd adds up what must run and moves the others past slots in which they
// have no room.
func (p *prover) crowd(k int) bool {
	t := &p.tables[k]
	clear(t.use)
	highest := Amount(0)
	for _, i := range t.users {
		from, to := p.must(i)
		for s := from; s < to; s++ {
			if t.use[s] += p.need[i][k]; t.use[s] > highest {
				if highest = t.use[s]; highest > t.capacity {
					p.conflict = p.cover(p.conflict[:0], k, s, t.capacity, -1, int32(len(p.trail)))
					return false
				}
			}
		}
	}
	for _, i := range t.users {
		if p.need[i][k]+highest <= t.capacity {
			break // the others demand less
		}
		if !p.squeeze(k, i) {
			return false
		}
	}
	return true
}

// squeeze moves both edges of one window, slot by slot so that each step has a
// short reason.
func (p *prover) squeeze(k int, i int32) bool {
	t, need, n := &p.tables[k], p.need[i][k], int32(p.dur[i])
	own, ownEnd := p.must(i)
	full := func(s int32) bool { return (s < own || s >= ownEnd) && t.use[s]+need > t.capacity }
	for s := p.bound[2*i] + n - 1; s >= p.bound[2*i]; s-- {
		if full(s) {
			if !p.raise(2*i, s+1, reason{kind: crowded, a: int32(k), b: s}) {
				return false
			}
			s = p.bound[2*i] + n // go on behind it
		}
	}
	for s := -p.bound[2*i+1]; s < -p.bound[2*i+1]+n; s++ {
		if full(s) {
			if !p.raise(2*i+1, n-s, reason{kind: crowded, a: int32(k), b: s}) {
				return false
			}
			s = -p.bound[2*i+1] - 1
		}
	}
	return true
}
