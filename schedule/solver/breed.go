package solver

import (
	"context"
	"math"
	"math/rand/v2"
)

// breeding is a genetic search with two stocks, one of schedules made from the
// start and one of schedules made from the end (bi-population, Debels and
// Vanhoucke 2007). Parents from one give children to the other, so each child
// is justified by the very pass that makes it, and costs one schedule or, where
// it begins like a parent, the rest of one.
type breeding struct {
	*board
	rng    *rand.Rand
	budget int // schedules that this search may expect to make
	stocks [2]stock
	turn   int // the stock whose members are mothers,
	mother int // and the one whose turn it is
	idle   int // children in a row that changed nothing
	since  int // activities placed when these stocks were begun
	kid    individual
	best   []Slot // starts of the best schedule, from the project's start
	span   Slot   // its makespan
	first  Slot   // that of the first schedule
	target int    // activities that may be placed so far
	sampler
	crosser
}

// individual is one schedule.
type individual struct {
	list   []int32 // by end, the last first: the order in which the other side makes it
	end    []Slot  // by activity, from the side that made it
	span   Slot
	strain int64
	mark   uint64
	again  []Slot // by activity: its end when the other side makes list as it stands,
	known  int    // found so far for so many first ones of it
}

// opening says that a list begins with the same activities as the list of an
// individual, so that they stand where that list has them.
type opening struct {
	of   *individual // nil when same is 0
	same int
}

// known is how many first activities need not be placed again.
func (o opening) known() int {
	if o.same == 0 {
		return 0
	}
	return min(o.same, o.of.known)
}

// learn keeps the end of the activity at a place in the list for the next time.
func (o opening) learn(at int, i int32, end Slot) {
	if at < o.same {
		o.of.again[i], o.of.known = end, at+1
	}
}

// better is less makespan, then less strain.
func (a *individual) better(b *individual) bool {
	return a.span < b.span || a.span == b.span && a.strain < b.strain
}

// stock holds schedules of one side.
type stock struct {
	all   []individual
	size  int // individuals of all that are in use
	most  int // as many may be
	worst int
}

func newBreeding(n *network, budget int, rng *rand.Rand) *breeding {
	b := &breeding{board: newBoard(n), rng: rng, budget: budget, span: n.slots + 1,
		kid: blanks(n, 1)[0], sampler: newSampler(n), crosser: newCrosser(n)}
	for k := range b.stocks {
		b.stocks[k].all = blanks(n, members(budget, n.named))
	}
	b.begin()
	return b
}

// blanks gives so many individuals, which share two pieces of memory.
func blanks(n *network, many int) []individual {
	all, l := make([]individual, many), len(n.dur)
	list, end := make([]int32, many*l), make([]Slot, 2*many*l)
	for k := range all {
		all[k] = individual{list: list[k*l : (k+1)*l], end: end[2*k*l : (2*k+1)*l], again: end[(2*k+1)*l : (2*k+2)*l]}
	}
	return all
}

// members is how many schedules live side by side in a stock at first when so
// many of so many activities are to be made. Too few are soon all alike, too
// many do not come to their end, and small projects are sooner alike. Measured
// at 1,000, 5,000 and 50,000 schedules of 30, 60 and 120 activities.
func members(schedules, activities int) int {
	n := 0
	switch s := max(schedules, 100); {
	case s <= 1000:
		n = 7 + s*25/1000
	case s <= 5000:
		n = 32 + (s-1000)*76/4000
	default:
		n = 108 + (min(s, 50_000)-5000)*432/45_000
	}
	return int(float64(n) * min(2, max(1, math.Pow(120/float64(activities), 0.6))))
}

// most is how many may live in a stock by now: fewer and fewer, down to a quarter
// of the first when the budget is spent. So a search looks around at first and
// is thorough in the end: 33.53 instead of 33.77% above the critical path after
// 1,000 schedules of 120 activities.
func (b *breeding) most(s *stock) int {
	left := b.budget*len(b.dur) - b.since
	gone := min(left, b.placed-b.since)
	return max(3, len(s.all)-len(s.all)*3*gone/(4*max(1, left)))
}

// begin empties the stocks.
func (b *breeding) begin() {
	for k := range b.stocks {
		s := &b.stocks[k]
		s.size, s.worst, s.most = 0, 0, len(s.all)
	}
	b.turn, b.mother, b.idle, b.since = 0, 0, 0, b.placed
}

// run makes so many schedules more, fewer when the best can not be bettered or
// the context ends. It begins none for which less than a whole one is left.
func (b *breeding) run(ctx context.Context, more int) {
	b.target += more * len(b.dur)
	for k := 0; b.placed+len(b.dur) <= b.target; k++ {
		if b.span <= b.bound || b.placed > 0 && k%32 == 0 && ctx.Err() != nil {
			return
		}
		b.step()
	}
}

// step makes one schedule or the rest of one: while the first stock is not full
// one drawn by chance, then a child.
func (b *breeding) step() {
	from, to := &b.stocks[b.turn], &b.stocks[1-b.turn]
	if b.turn == 0 && to.size == 0 && b.mother == 0 && from.size < len(from.all) {
		first := b.placed == 0
		b.sample(b.rng, first)
		b.decode(0, b.drawn, b.slots, opening{})
		if first {
			b.first = b.kid.span
		}
		from.add(&b.kid)
		return
	}
	to.shrink(b.most(to))
	limit := b.slots
	if to.size == to.most {
		limit = to.all[to.worst].span // a child that is longer is not kept
	}
	order, like := b.cross(b.rng, &from.all[b.mother], b.father(from))
	like.same = min(like.same, b.shift(b.rng, &b.sides[1-b.turn], &b.sides[b.turn], order))
	b.decode(1-b.turn, order, limit, like)
	if b.idle++; to.admit(&b.kid) {
		b.idle = 0
	}
	if b.mother++; b.mother == from.size {
		b.turn, b.mother = 1-b.turn, 0
	}
	if b.idle > 4*len(from.all) { // all are alike
		b.begin()
	}
}

// decode makes an order into the schedule kid, and keeps it when it is the best.
func (b *breeding) decode(turn int, order []int32, limit Slot, like opening) {
	s := &b.sides[turn]
	kid := &b.kid
	if kid.span = b.serial(s, order, limit, like); kid.span > limit {
		return
	}
	b.byEnd(kid.list, kid.span)
	copy(kid.end, b.end)
	kid.mark = b.mark()
	kid.known = 0
	kid.strain = strain(s, kid)
	if kid.span < b.span {
		b.span = kid.span
		b.best = b.best[:0]
		for i, e := range b.end[:b.named] {
			if turn == 0 {
				b.best = append(b.best, e-b.dur[i])
			} else { // read from the end
				b.best = append(b.best, kid.span-e)
			}
		}
	}
}

// strain tells which of two schedules of one makespan is nearer to a shorter
// one: that in which fewer activities are late, or nearly so, for a path that
// ends with the project. It is the sum of the squares of how many of the last
// ten slots before that each takes.
func strain(s *side, ind *individual) (sum int64) {
	const near = 10
	for i, e := range ind.end {
		if over := int64(e + s.tail[i] - ind.span + near); over > 0 {
			sum += over * over
		}
	}
	return sum
}

// add takes an individual into a stock that is not full, and leaves another in
// its place.
func (s *stock) add(ind *individual) {
	s.all[s.size], *ind = *ind, s.all[s.size]
	s.size++
	s.findWorst()
}

// admit takes an individual in when it is not there already and the stock is
// not full or has a worse one, which it replaces.
func (s *stock) admit(ind *individual) bool {
	full := s.size == s.most
	if full && !ind.better(&s.all[s.worst]) {
		return false
	}
	for k := range s.all[:s.size] {
		if s.all[k].mark == ind.mark {
			return false
		}
	}
	if !full {
		s.add(ind)
		return true
	}
	s.all[s.worst], *ind = *ind, s.all[s.worst]
	s.findWorst()
	return true
}

// shrink lets the worst go until no more than most are left.
func (s *stock) shrink(most int) {
	for s.most = most; s.size > most; s.findWorst() {
		s.size--
		s.all[s.worst], s.all[s.size] = s.all[s.size], s.all[s.worst]
	}
}

func (s *stock) findWorst() {
	s.worst = 0
	for k := range s.all[:s.size] {
		if s.all[s.worst].better(&s.all[k]) {
			s.worst = k
		}
	}
}

// top is the best individual of a stock that is not empty.
func (s *stock) top() *individual {
	best := 0
	for k := range s.all[:s.size] {
		if s.all[k].better(&s.all[best]) {
			best = k
		}
	}
	return &s.all[best]
}

// father is the best of two drawn from a stock, without the mother when there
// is another.
func (b *breeding) father(s *stock) *individual {
	if s.size == 1 {
		return &s.all[0]
	}
	x := (b.mother + 1 + b.rng.IntN(s.size-1)) % s.size
	y := (b.mother + 1 + b.rng.IntN(s.size-1)) % s.size
	if s.all[y].better(&s.all[x]) {
		x = y
	}
	return &s.all[x]
}
