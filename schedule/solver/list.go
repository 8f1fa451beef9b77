package solver

import (
	"context"
	"math/rand/v2"
	"slices"
)

// network is the plain problem of the literature: one mode, constant capacity,
// always open, only the makespan counts. A schedule is then a list of
// activities, each started as early as the list so far allows (serial schedule
// generation, Kolisch 1996), and the search is a genetic one over lists
// (Hartmann 1998) in which every list is justified: shifted right from its end
// and left again (Valls, Ballestin and Quintanilla 2005). Each generation and
// each of the two passes counts as one schedule, as the literature counts.
type network struct {
	p        *problem
	n        int
	dur      []Slot
	uses     [][]use
	before   [][]Link
	after    [][]Link
	release  []Slot
	capacity []Amount
	free     []Amount // by slot and resource
	used     Slot     // slots of free that are not full capacity
	start    []Slot
	byStart  []int32
	bound    Slot
}

// plain gives the network when the problem is a plain one, else nil.
func (p *problem) plain() *network {
	if p.d.Makespan <= 0 || len(p.d.Spans) > 0 || len(p.acts) == 0 {
		return nil
	}
	n := &network{p: p, n: len(p.acts)}
	for r := range p.d.Resources {
		res := &p.d.Resources[r]
		c := slices.Min(res.Capacity)
		if p.grain[r] != 1 || res.Idle != nil || res.Tour != nil || c != slices.Max(res.Capacity) {
			return nil
		}
		n.capacity = append(n.capacity, c)
	}
	need := Slot(0)
	for i := range p.acts {
		a, d := &p.acts[i], &p.d.Activities[i]
		m := &a.modes[0]
		if len(a.modes) > 1 || m.cost != 0 || m.startCost != nil || a.slotCost != nil || a.endCost != nil ||
			d.Pin != nil || d.Keep != nil || len(m.cal.open) != int(p.d.Slots) || len(a.unit.acts) > 1 {
			return nil
		}
		need += Slot(m.n)
		for _, l := range a.before {
			need += l.Lag
		}
		for _, u := range m.uses {
			if u.amount > n.capacity[u.res] {
				return nil
			}
		}
		release := max(d.Release, m.release)
		need = max(need, need+release)
		n.dur, n.uses, n.release = append(n.dur, Slot(m.n)), append(n.uses, m.uses), append(n.release, release)
		n.before, n.after = append(n.before, a.before), append(n.after, a.after)
	}
	if need > p.d.Slots { // a list might run off the line
		return nil
	}
	n.free = make([]Amount, int(p.d.Slots)*len(n.capacity))
	n.start, n.byStart = make([]Slot, n.n), make([]int32, n.n)
	n.used = p.d.Slots
	n.bound = Bound(p.d)
	return n
}

func (n *network) reset() {
	r := len(n.capacity)
	if r == 0 {
		return
	}
	rows := n.free[:int(n.used)*r]
	copy(rows, n.capacity)
	for done := r; done < len(rows); done *= 2 { // the row, doubled until it is all
		copy(rows[done:], rows[:done])
	}
	n.used = 0
}

func (n *network) take(i int32, at Slot) {
	r := len(n.capacity)
	for x := at; x < at+n.dur[i]; x++ {
		row := n.free[int(x)*r : int(x)*r+r]
		for _, u := range n.uses[i] {
			row[u.res] -= u.amount
		}
	}
	n.used = max(n.used, at+n.dur[i])
	n.start[i] = at
}

func (n *network) room(i int32, x Slot) bool {
	r := len(n.capacity)
	row := n.free[int(x)*r : int(x)*r+r]
	for _, u := range n.uses[i] {
		if row[u.res] < u.amount {
			return false
		}
	}
	return true
}

// forward starts each activity of a list as early as possible and gives the
// makespan. The list must keep the order of precedence.
func (n *network) forward(list []int32) Slot {
	n.reset()
	end := Slot(0)
	for _, i := range list {
		at := n.release[i]
		for _, l := range n.before[i] {
			at = max(at, n.start[l.Activity]+n.dur[l.Activity]+l.Lag)
		}
		for x := at; x < at+n.dur[i]; x++ {
			if !n.room(i, x) {
				at = x + 1
			}
		}
		n.take(i, at)
		end = max(end, at+n.dur[i])
	}
	return end
}

// backward ends each activity as late as the makespan and its successors
// allow, the last to end first.
func (n *network) backward(makespan Slot) {
	for i := range n.byStart {
		n.byStart[i] = int32(i)
	}
	slices.SortFunc(n.byStart, func(a, b int32) int {
		if d := (n.start[b] + n.dur[b]) - (n.start[a] + n.dur[a]); d != 0 {
			return int(d)
		}
		return int(b - a)
	})
	n.reset()
	for _, i := range n.byStart {
		end := makespan
		for _, l := range n.after[i] {
			end = min(end, n.start[l.Activity]-l.Lag)
		}
		for x := end - 1; x >= end-n.dur[i]; x-- {
			if !n.room(i, x) {
				end = x
			}
		}
		n.take(i, end-n.dur[i])
	}
}

// justify makes a list into a schedule, shifts it right and left, writes the
// list of its starts back, and gives the makespan. It generates 3 schedules.
func (n *network) justify(list []int32) Slot {
	makespan := n.forward(list)
	n.backward(makespan)
	n.sortByStart(list)
	makespan = n.forward(list)
	n.sortByStart(list)
	return makespan
}

func (n *network) sortByStart(list []int32) {
	slices.SortFunc(list, func(a, b int32) int {
		if d := n.start[a] - n.start[b]; d != 0 {
			return int(d)
		}
		return int(a - b)
	})
}

// individual is one list and what came of it.
type individual struct {
	list     []int32
	makespan Slot
	mark     uint64 // of its starts: two of the same mark are taken for the same schedule
}

// members is how many lists live side by side.
const members = 40

type breeding struct {
	*network
	rng       *rand.Rand
	all       []individual
	best      []Slot
	makespan  Slot
	first     Slot
	schedules int
	child     individual
	has       []bool
	waits     []int32
	ready     []int32
	latest    []Slot
}

func (n *network) solve(ctx context.Context, stop Stop, seed uint64) Result {
	b := &breeding{network: n, rng: rand.New(rand.NewPCG(seed, 0x6c69_7374)), makespan: n.p.d.Slots + 1,
		child: individual{list: make([]int32, n.n)}, has: make([]bool, n.n), waits: make([]int32, n.n),
		latest: n.latestStarts()}
	done := func() bool {
		return b.schedules > 0 && (b.schedules >= stop.Schedules || b.makespan <= n.bound || ctx.Err() != nil)
	}
	for !done() {
		b.populate(done)
		for idle := 0; idle < 8*members && !done(); idle++ {
			if b.breed() {
				idle = 0
			}
		}
		b.all = b.all[:0]
	}
	r := Result{Placed: make([]Placement, n.n), Cost: n.p.d.Makespan * Cost(b.makespan), First: n.p.d.Makespan * Cost(b.first), Schedules: b.schedules}
	for i, s := range b.best {
		r.Placed[i] = Placement{Start: s, End: s + n.dur[i] - 1}
	}
	return r
}

// latestStarts gives each activity's latest start when the project ends at the
// length of its longest path.
func (n *network) latestStarts() []Slot {
	order, _ := n.p.order()
	late := make([]Slot, n.n)
	path := criticalPath(n.p.d)
	for k := len(order) - 1; k >= 0; k-- {
		i := order[k]
		end := path
		for _, l := range n.after[i] {
			end = min(end, late[l.Activity]-l.Lag)
		}
		late[i] = end - n.dur[i]
	}
	return late
}

// populate fills the breeding stock with lists drawn with a bias to small
// latest start (regret-based sampling, Drexl 1991); the first has no chance in it.
func (b *breeding) populate(done func() bool) {
	for k := 0; len(b.all) < members && !done(); k++ {
		list := make([]int32, 0, b.n)
		list = b.sample(list, k == 0 && b.schedules == 0)
		if b.schedules == 0 {
			b.first = b.forward(list)
		}
		ind := individual{list: list}
		b.evaluate(&ind)
		b.all = append(b.all, ind)
	}
}

// sample draws a list that keeps precedence.
func (b *breeding) sample(list []int32, greedy bool) []int32 {
	b.ready = b.ready[:0]
	for i := range b.n {
		if b.waits[i] = int32(len(b.before[i])); b.waits[i] == 0 {
			b.ready = append(b.ready, int32(i))
		}
	}
	for len(b.ready) > 0 {
		k := b.draw(greedy)
		i := b.ready[k]
		b.ready = slices.Delete(b.ready, k, k+1)
		list = append(list, i)
		for _, l := range b.after[i] {
			if b.waits[l.Activity]--; b.waits[l.Activity] == 0 {
				b.ready = append(b.ready, int32(l.Activity))
			}
		}
	}
	return list
}

func (b *breeding) draw(greedy bool) int {
	least, most := b.latest[b.ready[0]], b.latest[b.ready[0]]
	pick := 0
	for k, i := range b.ready {
		if b.latest[i] < least {
			least, pick = b.latest[i], k
		}
		most = max(most, b.latest[i])
	}
	if greedy {
		return pick
	}
	sum := 0
	for _, i := range b.ready {
		sum += int(most-b.latest[i]) + 1
	}
	x := b.rng.IntN(sum)
	for k, i := range b.ready {
		if x -= int(most-b.latest[i]) + 1; x < 0 {
			return k
		}
	}
	return len(b.ready) - 1
}

// evaluate justifies an individual and keeps its schedule when it is the best.
func (b *breeding) evaluate(ind *individual) {
	ind.makespan = b.justify(ind.list)
	b.schedules += 3
	ind.mark = 14695981039346656037 // FNV-1a over the starts
	for _, s := range b.start {
		ind.mark = (ind.mark ^ uint64(s)) * 1099511628211
	}
	if ind.makespan < b.makespan {
		b.makespan = ind.makespan
		b.best = append(b.best[:0], b.start...)
	}
}

// breed makes one child and lets it replace the worst. It tells whether the
// best schedule became better.
func (b *breeding) breed() bool {
	before := b.makespan
	mother, father := b.tournament(), b.tournament()
	b.cross(mother, father)
	b.mutate()
	b.evaluate(&b.child)
	worst := 0
	for k := range b.all {
		if b.all[k].mark == b.child.mark {
			return b.makespan < before
		}
		if b.all[k].makespan > b.all[worst].makespan {
			worst = k
		}
	}
	if b.child.makespan <= b.all[worst].makespan {
		b.child, b.all[worst] = b.all[worst], b.child
	}
	return b.makespan < before
}

func (b *breeding) tournament() *individual {
	x, y := &b.all[b.rng.IntN(len(b.all))], &b.all[b.rng.IntN(len(b.all))]
	if y.makespan < x.makespan {
		return y
	}
	return x
}

// cross takes the start and the end of the list from the mother, the middle in
// the father's order (two-point crossover). Precedence holds in both, so it
// holds in the child.
func (b *breeding) cross(mother, father *individual) {
	clear(b.has)
	from, to := b.rng.IntN(b.n+1), b.rng.IntN(b.n+1)
	if from > to {
		from, to = to, from
	}
	child := append(b.child.list[:0], mother.list[:from]...)
	for _, i := range child {
		b.has[i] = true
	}
	for _, i := range father.list {
		if len(child) == to {
			break
		}
		if !b.has[i] {
			b.has[i] = true
			child = append(child, i)
		}
	}
	for _, i := range mother.list {
		if !b.has[i] {
			child = append(child, i)
		}
	}
	b.child.list = child
}

// mutate swaps neighbours in one place of ten, where precedence allows.
func (b *breeding) mutate() {
	list := b.child.list
	for k := 0; k+1 < len(list); k++ {
		if b.rng.IntN(10) == 0 && !b.follows(list[k+1], list[k]) {
			list[k], list[k+1] = list[k+1], list[k]
		}
	}
}

func (b *breeding) follows(i, j int32) bool {
	for _, l := range b.before[i] {
		if int32(l.Activity) == j {
			return true
		}
	}
	return false
}
