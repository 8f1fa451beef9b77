package solver

import (
	"context"
	"math/rand/v2"
	"slices"
)

// Solve looks for a plan of low cost. The same data, stop and seed give the
// same plan; a larger number of schedules never gives a dearer one, because a
// longer search begins with the same steps as a shorter one. When the context
// ends first, the best plan so far is returned.
//
// Problems that are only about the makespan go to a genetic search over lists
// (list.go), all others to ruin and recreate: take some groups out, put them
// back in another order or with another taste, keep what is good.
func Solve(ctx context.Context, d Data, stop Stop, seed uint64) (Result, error) {
	p, err := prepare(&d)
	if err != nil {
		return Result{}, err
	}
	if net := p.plain(); net != nil && p.onlyTime() {
		return net.solve(ctx, stop, seed), nil
	}
	s := newSearch(p, seed)
	s.construct(ctx, stop)
	s.improve(ctx, stop)
	return s.result(), nil
}

type search struct {
	*state
	rng       *rand.Rand
	best      []cand
	bestCost  Cost
	first     Cost
	schedules int
	scale     Cost // how much money matters here: the mean cost of leaving an activity out / 16
	taste     taste
	out       []int32 // groups taken out, in the order in which they go back
	ruined    []int32 // the same, in the order in which they were taken
	saved     []cand  // what they were, in the order of their activities
	pool      []int32
}

// widest is how many starts in each mode are weighed in a careful build.
const widest = 40

func newSearch(p *problem, seed uint64) *search {
	s := &search{state: newState(p), rng: rand.New(rand.NewPCG(seed, 0x7065_6e63_65)), bestCost: Never}
	for i := range p.acts {
		s.scale += p.acts[i].absent
	}
	s.scale = max(1, s.scale/Cost(16*max(1, len(p.acts))))
	s.taste = taste{rng: s.rng}
	return s
}

// construct builds one schedule by each priority rule and keeps the best.
func (s *search) construct(ctx context.Context, stop Stop) {
	careful := taste{width: widest, hold: 1, rng: s.rng}
	s.pin()
	pins := slices.Clone(s.at)
	for r, order := range s.orders() {
		if r > 0 {
			if s.schedules >= stop.Schedules || ctx.Err() != nil {
				break
			}
			s.restore(pins)
		}
		s.keep(order)
		for _, g := range order {
			s.placeGroup(g, &careful)
		}
		s.schedules++
		s.note()
	}
	s.first = s.bestCost
}

// orders gives the groups in the order of each priority rule: as the plan that
// this one starts from had them, by slack before the due slot, by due slot, by
// earliest start, the largest first, the smallest first.
func (s *search) orders() [][]int32 {
	gs := s.p.groups
	var orders [][]int32
	by := func(key func(g *group) Slot) {
		order := make([]int32, len(gs))
		for i := range order {
			order[i] = int32(i)
		}
		slices.SortStableFunc(order, func(a, b int32) int { return int(key(&gs[a]) - key(&gs[b])) })
		orders = append(orders, order)
	}
	by(func(g *group) Slot { return g.kept })
	by(func(g *group) Slot { return g.due - g.work })
	by(func(g *group) Slot { return g.due })
	by(func(g *group) Slot { return g.first })
	by(func(g *group) Slot { return -g.work })
	by(func(g *group) Slot { return g.work })
	return orders
}

// pin places what is pinned, those first that others wait for. A pin that does
// not fit beside those before it is given up: its activity is free.
func (s *search) pin() {
	s.clear()
	order, _ := s.p.order()
	for _, i := range order {
		if at := s.p.d.Activities[i].Pin; at != nil {
			if c, ok := s.p.acts[i].at(*at); ok && s.may(i, c) {
				s.put(i, c)
				s.pinned[i] = true
			}
		}
	}
}

// keep puts whole units where they were in the plan that this one starts from,
// as far as they still fit there. Groups that end a standing span come first:
// until it is ended it takes its resource to the end of the line.
func (s *search) keep(order []int32) {
	for _, standing := range []bool{true, false} {
		for _, g := range order {
			gr := &s.p.groups[g]
			for k := range gr.units {
				if gr.standing == standing {
					s.keepUnit(&gr.units[k])
				}
			}
		}
	}
}

func (s *search) keepUnit(u *unit) {
	for n, i := range u.acts {
		if s.at[i].mode >= 0 {
			continue
		}
		c := s.p.acts[i].keep
		if tied := s.tiedMode(u); c.mode < 0 || u.tied[n] && tied >= 0 && c.mode != tied || !s.may(i, c) {
			s.removeFrom(u, 0)
			return
		}
		s.put(i, c)
	}
}

// note remembers the plan when it is the best so far.
func (s *search) note() {
	if s.cost >= s.bestCost {
		return
	}
	s.bestCost = s.cost
	s.best = append(s.best[:0], s.at...)
}

// restore makes the plan what it was.
func (s *search) restore(at []cand) {
	for i := range s.at {
		if s.at[i].mode >= 0 && s.at[i] != at[i] {
			s.takeOut(int32(i))
		}
	}
	for i, c := range at {
		if c.mode >= 0 && s.at[i].mode < 0 {
			s.put(int32(i), c)
		}
	}
}

// cycle is how many schedules it takes for the search to grow strict: at its
// start a plan that is dearer by scale is accepted, at its end none.
const cycle = 4000

func (s *search) improve(ctx context.Context, stop Stop) {
	if len(s.p.groups) == 0 {
		return
	}
	s.restore(s.best)
	for n := 0; s.schedules < stop.Schedules && ctx.Err() == nil; n++ {
		if n%cycle == 0 && n > 0 {
			s.restore(s.best)
		}
		left := float64(cycle-n%cycle) / cycle
		s.step(Cost(left * left * float64(s.scale)))
		s.schedules++
	}
}

// step ruins and recreates, and takes back what came out too dear.
func (s *search) step(slack Cost) {
	before := s.cost
	s.choose()
	s.saved = s.saved[:0]
	for _, g := range s.out {
		for _, i := range s.p.groups[g].acts {
			s.saved = append(s.saved, s.at[i])
			if s.at[i].mode >= 0 && !s.pinned[i] {
				s.takeOut(i)
			}
		}
	}
	s.ruined = append(s.ruined[:0], s.out...) // saved follows this order
	s.sortOut()
	s.pickTaste()
	good := s.rebuild()
	if good && s.cost <= before+slack {
		s.note()
		return
	}
	s.undo()
}

// rebuild puts the groups back. It is spoilt when a standing span can no longer
// end before others begin, or something is left out that another group's waits
// for.
func (s *search) rebuild() bool {
	for _, g := range s.out {
		s.placeGroup(g, &s.taste)
	}
	for _, g := range s.out {
		for _, i := range s.p.groups[g].acts {
			a := &s.p.acts[i]
			if s.at[i].mode < 0 && s.awaited(a) {
				return false
			}
			if a.to >= 0 && s.at[i].mode < 0 {
				if span := &s.p.d.Spans[a.to]; span.From == Standing && int(s.overfull(span)) < len(s.used[span.On[0].Resource]) {
					return false
				}
			}
		}
	}
	return true
}

// awaited tells whether one that is placed waits for the activity.
func (s *search) awaited(a *activity) bool {
	for _, l := range a.after {
		if s.at[l.Activity].mode >= 0 {
			return true
		}
	}
	return false
}

func (s *search) undo() {
	for _, g := range s.ruined {
		for _, i := range s.p.groups[g].acts {
			if s.at[i].mode >= 0 && !s.pinned[i] {
				s.takeOut(i)
			}
		}
	}
	k := 0
	for _, g := range s.ruined {
		for _, i := range s.p.groups[g].acts {
			if c := s.saved[k]; c.mode >= 0 && !s.pinned[i] {
				s.put(i, c)
			}
			k++
		}
	}
}

// pickTaste draws how the groups are put back.
func (s *search) pickTaste() {
	s.taste.width = [...]int{1, 4, 12, widest}[s.rng.IntN(4)]
	s.taste.hold = [...]Cost{0, 1, 1, 4}[s.rng.IntN(4)]
	s.taste.noise = [...]Cost{0, 0, s.scale / 8, s.scale, 4 * s.scale}[s.rng.IntN(5)]
}

// choose draws the groups to take out: some at random, near in time, of one
// resource, near in place, or around one that is not wholly placed.
func (s *search) choose() {
	n := 1 + min(s.rng.IntN(8), s.rng.IntN(8), len(s.p.groups)-1)
	s.out = s.out[:0]
	seed := int32(s.rng.IntN(len(s.p.groups)))
	switch s.rng.IntN(8) {
	case 0, 1:
		s.near(seed, n, func(g int32) bool { return true })
	case 2, 3, 4:
		at := s.start(seed)
		window := Slot(4 + s.rng.IntN(24))
		s.near(seed, n, func(g int32) bool { d := s.start(g) - at; return d <= window && d >= -window })
	case 5, 6:
		r := s.resourceOf(seed)
		s.near(seed, n, func(g int32) bool { return s.usesResource(g, r) })
	default:
		if g, ok := s.incomplete(); ok {
			seed = g
		}
		at := s.p.groups[seed].first
		window := Slot(8 + s.rng.IntN(40))
		s.near(seed, n, func(g int32) bool { d := s.start(g) - at; return d <= window && d >= -window/4 })
	}
}

// near takes out seed and n-1 others that are like it.
func (s *search) near(seed int32, n int, like func(g int32) bool) {
	s.out = append(s.out, seed)
	s.pool = s.pool[:0]
	for g := range int32(len(s.p.groups)) {
		if g != seed && like(g) {
			s.pool = append(s.pool, g)
		}
	}
	for k := 1; k < n && len(s.pool) > 0; k++ {
		i := s.rng.IntN(len(s.pool))
		s.out = append(s.out, s.pool[i])
		s.pool[i] = s.pool[len(s.pool)-1]
		s.pool = s.pool[:len(s.pool)-1]
	}
}

// start gives the first slot of a group, or where it could begin.
func (s *search) start(g int32) Slot {
	first := s.p.d.Slots
	for _, i := range s.p.groups[g].acts {
		if s.at[i].mode >= 0 {
			first = min(first, s.at[i].start)
		}
	}
	if first == s.p.d.Slots {
		return s.p.groups[g].first
	}
	return first
}

func (s *search) resourceOf(g int32) int32 {
	acts := s.p.groups[g].acts
	i := acts[s.rng.IntN(len(acts))]
	if c := s.at[i]; c.mode >= 0 {
		if uses := s.p.acts[i].modes[c.mode].uses; len(uses) > 0 {
			return uses[0].res
		}
	}
	return -1
}

func (s *search) usesResource(g, r int32) bool {
	for _, i := range s.p.groups[g].acts {
		if c := s.at[i]; c.mode >= 0 {
			for _, u := range s.p.acts[i].modes[c.mode].uses {
				if u.res == r {
					return true
				}
			}
		}
	}
	return false
}

// incomplete draws a group of which something is left out.
func (s *search) incomplete() (int32, bool) {
	s.pool = s.pool[:0]
	for g := range int32(len(s.p.groups)) {
		for _, i := range s.p.groups[g].acts {
			if s.at[i].mode < 0 {
				s.pool = append(s.pool, g)
				break
			}
		}
	}
	if len(s.pool) == 0 {
		return 0, false
	}
	return s.pool[s.rng.IntN(len(s.pool))], true
}

// sortOut puts the groups taken out into the order in which they go back.
func (s *search) sortOut() {
	switch s.rng.IntN(4) {
	case 0:
		slices.SortStableFunc(s.out, func(a, b int32) int { return int(s.p.groups[a].due - s.p.groups[b].due) })
	case 1:
		// as drawn: the one the others were chosen around goes first
	default:
		s.rng.Shuffle(len(s.out), func(i, j int) { s.out[i], s.out[j] = s.out[j], s.out[i] })
	}
}

func (s *search) result() Result {
	r := Result{Placed: make([]Placement, len(s.best)), Cost: s.bestCost, Schedules: s.schedules, First: s.first}
	for i, c := range s.best {
		r.Placed[i] = Placement{Mode: int(c.mode), Start: c.start, End: c.end}
		if c.mode < 0 {
			r.Placed[i] = Placement{Mode: -1}
		}
		if s.p.d.Activities[i].Pin != nil && !s.pinned[i] {
			r.Unpinned = append(r.Unpinned, i)
		}
	}
	return r
}
