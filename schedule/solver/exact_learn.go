package solver

import "slices"

// clause is what a dead end taught: at least one of the literals must hold. The
// first two are watched.
type clause struct {
	literals []literal
	spread   int // levels it spans: few = worth keeping
}

// analysis is the explanation of a dead end while it is worked out.
type analysis struct {
	wanted []int32 // by side: the value that must hold for the dead end to follow
	at     []int32 // by side: the step that made it hold, -1 = nothing is wanted
	sides  []int32 // those with a wanted value
	open   int     // of them on the highest level
	parts  []literal
	seen   []bool // by level
}

func newAnalysis(sides int) analysis {
	a := analysis{wanted: make([]int32, sides), at: make([]int32, sides)}
	for s := range a.at {
		a.at[s] = -1
	}
	return a
}

// madeBy gives the step that made a literal hold; -1 = it held from the start.
func (p *prover) madeBy(l literal) int32 {
	if l.value <= p.floor[l.side] {
		return -1
	}
	k := p.last[l.side]
	for k >= 0 && p.trail[k].was >= l.value {
		k = p.trail[k].previous
	}
	return k
}

// want adds a literal that holds to the explanation, unless it holds without
// any decision or a stronger one is there.
func (p *prover) want(l literal) {
	k := p.madeBy(l)
	if k < p.levels[0] {
		return
	}
	s := l.side
	if p.at[s] < 0 {
		p.sides = append(p.sides, s)
	} else if p.wanted[s] >= l.value {
		return
	}
	top := p.levels[p.level()-1]
	if k >= top && p.at[s] < top {
		p.open++
	}
	p.wanted[s], p.at[s] = l.value, k
}

func (p *prover) drop(s int32) {
	if p.at[s] >= p.levels[p.level()-1] {
		p.open--
	}
	p.at[s] = -1
	k := slices.Index(p.sides, s)
	p.sides[k] = p.sides[len(p.sides)-1]
	p.sides = p.sides[:len(p.sides)-1]
}

// learn explains the dead end back to the one literal on the highest level from
// which all follows (the first unique implication point), keeps the explanation
// as a clause, goes back to where it says something new, and says it.
func (p *prover) learn() {
	p.open = 0
	for _, l := range p.conflict {
		p.want(l)
	}
	for p.lowerLevel() {
		p.clearWanted()
		for _, l := range p.conflict {
			p.want(l)
		}
	}
	if p.open == 0 { // it follows from no decision at all
		p.broken = true
		return
	}
	k := int32(len(p.trail) - 1)
	for ; ; k-- {
		s := p.trail[k].side
		if p.at[s] != k {
			continue
		}
		if p.open == 1 {
			break
		}
		l := literal{s, p.wanted[s]}
		p.order.bump(l)
		p.drop(s)
		p.parts = p.explain(p.parts[:0], k, l)
		for _, part := range p.parts {
			p.want(part)
		}
	}
	p.keep(p.trail[k].side)
}

// lowerLevel goes one level back when nothing on the highest one takes part in
// the dead end.
func (p *prover) lowerLevel() bool {
	if p.open > 0 || p.level() <= 1 {
		return false
	}
	conflict := slices.Clone(p.conflict)
	p.clearWanted()
	p.backTo(p.level() - 1)
	p.conflict = conflict
	return true
}

func (p *prover) clearWanted() {
	for _, s := range p.sides {
		p.at[s] = -1
	}
	p.sides, p.open = p.sides[:0], 0
}

// keep makes the clause and says what follows from it.
func (p *prover) keep(top int32) {
	p.shorten(top)
	c := &clause{literals: []literal{{top, p.wanted[top]}}}
	for _, s := range p.sides {
		if s != top {
			c.literals = append(c.literals, literal{s, p.wanted[s]})
		}
	}
	back, second := 0, 1
	p.seen = append(p.seen[:0], make([]bool, p.level()+1)...)
	for k := range c.literals {
		l := c.literals[k]
		p.order.bump(l)
		level := p.levelOf(p.at[l.side])
		if !p.seen[level] {
			p.seen[level] = true
			c.spread++
		}
		if k > 0 && level > back {
			back, second = level, k
		}
		c.literals[k] = l.opposite()
	}
	p.order.age()
	p.clearWanted()
	p.backTo(back)
	first := c.literals[0]
	if len(c.literals) > 1 {
		c.literals[1], c.literals[second] = c.literals[second], c.literals[1]
		p.watch(c)
		p.clauses = append(p.clauses, c)
	}
	p.broken = !p.raise(first.side, first.value, reason{kind: learnt, clause: c})
}

// shorten leaves out literals that follow from the others.
func (p *prover) shorten(top int32) {
	for n := len(p.sides) - 1; n >= 0; n-- {
		s := p.sides[n]
		if s == top || p.trail[p.at[s]].why.kind == decided {
			continue
		}
		l := literal{s, p.wanted[s]}
		p.parts = p.explain(p.parts[:0], p.at[s], l)
		follows := !slices.ContainsFunc(p.parts, func(q literal) bool {
			k := p.madeBy(q)
			return k >= p.levels[0] && (p.at[q.side] < 0 || q.side == s || p.wanted[q.side] < q.value)
		})
		if follows {
			p.drop(s)
		}
	}
}

// levelOf gives the level of a step.
func (p *prover) levelOf(k int32) int {
	level, _ := slices.BinarySearch(p.levels, k+1)
	return level
}

// explain gives literals from which l follows; step k made it hold.
func (p *prover) explain(parts []literal, k int32, l literal) []literal {
	switch why := p.trail[k].why; why.kind {
	case carried:
		return append(parts, literal{why.a, l.value - why.b})
	case rivalled:
		return p.explainRival(parts, l, why)
	case crowded:
		return p.explainCrowd(parts, k, why)
	case learnt:
		for _, q := range why.clause.literals {
			if q.side != l.side || q.value < l.value {
				parts = append(parts, q.opposite())
			}
		}
	}
	return parts
}

// explainRival: one comes after the other because it cannot come before it.
func (p *prover) explainRival(parts []literal, l literal, why reason) []literal {
	i, j := l.side/2, why.a // j pushes i
	late, early := j, i     // on side 0 the pusher cannot come late enough, on side 1 the pushed
	gap := int32(p.dur[j])
	if l.side&1 == 1 {
		late, early, gap = i, j, int32(p.dur[i])
	}
	parts = append(parts, literal{2*j + l.side&1, l.value - gap})
	return append(parts, literal{2*late + 1, -why.b}, literal{2 * early, why.b - int32(p.dur[early]) + 1})
}

// explainCrowd: the activity has no room in a slot in which others must run.
func (p *prover) explainCrowd(parts []literal, k int32, why reason) []literal {
	s := p.trail[k].side
	i, r := s/2, int(why.a)
	if s&1 == 0 {
		parts = append(parts, literal{s, why.b - int32(p.dur[i]) + 1})
	} else {
		parts = append(parts, literal{s, -why.b})
	}
	return p.cover(parts, r, why.b, p.tables[r].capacity-p.need[i][r], i, k)
}

// cover names activities that must run in a slot by the steps before k and
// together demand more than is left; first those of which that is known without
// any decision.
func (p *prover) cover(parts []literal, r int, slot int32, left Amount, not, k int32) []literal {
	for _, free := range []bool{true, false} {
		for _, i := range p.tables[r].users {
			if i == not {
				continue
			}
			from, to := literal{2 * i, slot - int32(p.dur[i]) + 1}, literal{2*i + 1, -slot}
			if !p.holds(from) || !p.holds(to) {
				continue
			}
			known := max(p.madeBy(from), p.madeBy(to))
			if known >= k || free != (len(p.levels) == 0 || known < p.levels[0]) {
				continue
			}
			if !free {
				parts = append(parts, from, to)
			}
			if left -= p.need[i][r]; left < 0 {
				return parts
			}
		}
	}
	return parts
}

// watch puts a clause under the first two of its literals.
func (p *prover) watch(c *clause) {
	for _, l := range c.literals[:2] {
		p.watchUnder(c, l)
	}
}

func (p *prover) watchUnder(c *clause, l literal) {
	o := l.opposite()
	k := o.value - p.floor[o.side]
	p.watchers[o.side][k] = append(p.watchers[o.side][k], c)
}

// notify tells the clauses that the opposite of one of their literals holds.
func (p *prover) notify(l literal) bool {
	k := l.value - p.floor[l.side]
	list := p.watchers[l.side][k]
	if len(list) == 0 {
		return true
	}
	gone, kept := l.opposite(), list[:0]
	for n, c := range list {
		if c.literals[0] == gone {
			c.literals[0], c.literals[1] = c.literals[1], c.literals[0]
		}
		first := c.literals[0]
		if p.holds(first) || !p.rewatch(c) {
			kept = append(kept, c)
			if p.holds(first) {
				continue
			}
			if p.holds(first.opposite()) || !p.raise(first.side, first.value, reason{kind: learnt, clause: c}) {
				p.conflict = p.conflict[:0]
				for _, q := range c.literals {
					p.conflict = append(p.conflict, q.opposite())
				}
				kept = append(kept, list[n+1:]...)
				p.watchers[l.side][k] = kept
				return false
			}
		}
	}
	p.watchers[l.side][k] = kept
	return true
}

// rewatch finds another literal to watch than the second.
func (p *prover) rewatch(c *clause) bool {
	for k := 2; k < len(c.literals); k++ {
		if q := c.literals[k]; !p.holds(q.opposite()) {
			c.literals[1], c.literals[k] = q, c.literals[1]
			p.watchUnder(c, q)
			return true
		}
	}
	return false
}

// forget drops the worse half of the clauses when there are too many. Only
// without decisions: then no step's reason is needed any more.
func (p *prover) forget() {
	if len(p.clauses) < p.most {
		return
	}
	slices.SortStableFunc(p.clauses, func(a, b *clause) int { return a.spread - b.spread })
	p.clauses = p.clauses[:len(p.clauses)/2]
	p.most += p.most / 10
	for s := range p.watchers {
		for k := range p.watchers[s] {
			p.watchers[s][k] = p.watchers[s][k][:0]
		}
	}
	for _, c := range p.clauses {
		p.watch(c)
	}
}
