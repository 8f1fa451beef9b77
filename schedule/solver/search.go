package solver

import (
	"cmp"
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
// (list.go) and, in a long search, to an exact one (finish.go). All others go to
// ruin and recreate: take some groups out, put them back in another order or
// with another taste, keep what is good.
func Solve(ctx context.Context, d Data, stop Stop, seed uint64) (Result, error) {
	p, err := prepare(&d)
	if err != nil {
		return Result{}, err
	}
	if p.onlyTime() {
		if net := p.plain(); net != nil {
			return net.solve(ctx, stop, seed), nil
		}
	}
	t := newTeam(p, stop, seed)
	t.run(ctx)
	return t.result(), nil
}

// search is one search: a plan in the making and the best that it has seen.
type search struct {
	*state
	rng       *rand.Rand
	best      []cand
	bestCost  Cost
	changed   []int32 // activities that may stand elsewhere than in best
	isChanged []bool
	schedules int
	steps     int
	scale     Cost // how much money matters here: the mean cost of leaving an activity out / 16

	taste  taste
	out    []int32 // groups taken out, in the order in which they go back
	ruined []int32 // the same, in the order in which they were taken
	saved  []cand  // what they were, in the order of their activities
	mark   []int32 // by group: the stamp of the step that took it
	stamp  int32
	nears  []near
	hot    []int32 // groups that the plan could not keep as they were
	heat   int     // seeds still to be drawn among them

	ruin, size, order, width, noise, hold habit
}

// widest is how many starts in each mode are weighed in a careful build.
const widest = 40

// narrower is how many are in that of many groups: there a first plan takes
// long, and hundreds of others have a place near the best start.
const narrower = 12

func newSearch(p *problem, seed uint64) *search {
	s := &search{state: newState(p), rng: rand.New(rand.NewPCG(seed, 0x7065_6e63_65)), bestCost: Never,
		isChanged: make([]bool, len(p.acts)), mark: make([]int32, len(p.groups)),
		ruin: newHabit(4, 8, 6, 3, 4, 4, 4), size: newHabit(4, 4, 4, 2), order: newHabit(4, 4, 8, 4),
		width: newHabit(4, 4, 4, 4), noise: newHabit(12, 4, 4), hold: newHabit(4, 8, 4)}
	for i := range p.acts {
		s.scale += p.d.Activities[i].Absent
	}
	s.scale = max(1, s.scale/Cost(16*max(1, len(p.acts))))
	s.taste = taste{rng: s.rng}
	return s
}

// build makes a schedule from nothing: what is pinned, what can stay as it was
// in the plan that this one starts from, then group by group. The context may
// end it unless must is set; it then tells false.
func (s *search) build(ctx context.Context, order []int32, must bool) bool {
	careful := taste{width: widest, hold: 1, rng: s.rng}
	if len(s.p.groups) > many {
		careful.width, careful.close = narrower, true
	}
	s.pin()
	s.keep(order)
	for _, g := range order {
		if !must && ctx.Err() != nil {
			return false
		}
		s.placeGroup(g, &careful)
	}
	s.settle()
	s.schedules++
	s.note()
	return true
}

// rules is how many priority rules there are; of many groups only the first
// manyRules are tried, since each takes as long as thousands of steps, and the
// others are seldom better.
const (
	rules     = 4
	many      = 1000
	manyRules = 2
)

func (p *problem) rules() int {
	if len(p.groups) > many {
		return manyRules
	}
	return rules
}

// rule gives the groups in the order of a priority rule: as the plan that this
// one starts from had them, by due slot, by earliest start, the smallest first;
// among equals by slack before the due slot. Those with a vital activity go before
// all others.
func (p *problem) rule(r int) []int32 {
	key := [rules]func(g *group) Slot{
		func(g *group) Slot { return g.kept },
		func(g *group) Slot { return g.due },
		func(g *group) Slot { return g.first },
		func(g *group) Slot { return g.work },
	}[r]
	order := make([]int32, len(p.groups))
	for i := range order {
		order[i] = int32(i)
	}
	other := func(g int32) int {
		if p.groups[g].vital {
			return 0
		}
		return 1
	}
	slack := func(g int32) int { return int(p.groups[g].due - p.groups[g].work) }
	slices.SortStableFunc(order, func(a, b int32) int {
		return cmp.Or(other(a)-other(b), int(key(&p.groups[a])-key(&p.groups[b])), slack(a)-slack(b))
	})
	return order
}

// pin places what is pinned, those first that others wait for. A pin that does
// not fit beside those before it is given up: its activity is free.
func (s *search) pin() {
	s.clear()
	for _, i := range s.p.topo {
		if at := s.p.d.Activities[i].Pin; at != nil {
			if c, ok := s.p.acts[i].at(*at); ok && s.may(i, c) {
				s.put(i, c)
				s.pinned[i] = true
			}
		}
	}
	for i := range s.at {
		s.touch(int32(i))
	}
}

// keep puts whole units where they were in the plan that this one starts from,
// as far as they still fit there. Groups that end a standing span come first:
// until it is ended it takes its resource to the end of the line.
func (s *search) keep(order []int32) {
	s.hot = s.hot[:0]
	for _, standing := range []bool{true, false} {
		for _, g := range order {
			gr := &s.p.groups[g]
			if gr.standing != standing {
				continue
			}
			all := true
			for k := range gr.units {
				all = s.keepUnit(&gr.units[k]) && all
			}
			if !all {
				s.hot = append(s.hot, g)
			}
		}
	}
	if s.heat = 0; 2*len(s.hot) < len(s.p.groups) {
		s.heat = 40 * len(s.hot)
	}
}

func (s *search) keepUnit(u *unit) bool {
	for n, i := range u.acts {
		if s.at[i].mode >= 0 {
			continue
		}
		c := s.p.acts[i].keep
		if tied := s.tiedMode(u); c.mode < 0 || u.tied[n] && tied >= 0 && c.mode != tied || !s.may(i, c) {
			s.removeFrom(u, 0)
			return false
		}
		s.put(i, c)
	}
	return true
}

// touch remembers that an activity may no longer stand where best has it.
func (s *search) touch(i int32) {
	if !s.isChanged[i] {
		s.isChanged[i] = true
		s.changed = append(s.changed, i)
	}
}

// note remembers the plan when it is the best so far.
func (s *search) note() bool {
	if s.cost >= s.bestCost {
		return false
	}
	s.bestCost = s.cost
	if s.best == nil {
		s.best = slices.Clone(s.at)
	}
	for _, i := range s.changed {
		s.best[i] = s.at[i]
		s.isChanged[i] = false
	}
	s.changed = s.changed[:0]
	return true
}

// restore goes back to the best plan.
func (s *search) restore() {
	for _, i := range s.changed {
		if s.at[i].mode >= 0 && s.at[i] != s.best[i] {
			s.takeOut(i)
		}
	}
	for _, i := range s.changed {
		if c := s.best[i]; c.mode >= 0 && s.at[i].mode < 0 {
			s.put(i, c)
		}
		s.isChanged[i] = false
	}
	s.changed = s.changed[:0]
}

// adopt takes another search's best plan for its own.
func (s *search) adopt(from *search) {
	for i := range s.at {
		s.touch(int32(i))
	}
	s.best, s.bestCost = append(s.best[:0], from.best...), from.bestCost
	copy(s.pinned, from.pinned)
	s.restore()
}

// A cycle is how many schedules it takes for the search to grow strict: at its
// start a plan that is dearer by a quarter of scale is accepted, at its end
// none. Cycles grow, so that a short search has been through some and a long one
// wanders.
const (
	firstCycle = 500
	lastCycle  = 8000
)

// cycleAt gives how far a step is within its cycle, and how long that is.
func cycleAt(step int) (in, length int) {
	length = firstCycle
	for step >= length && length < lastCycle {
		step -= length
		length *= 2
	}
	return step % length, length
}

// advance makes one step.
func (s *search) advance() {
	in, length := cycleAt(s.steps)
	if in == 0 {
		s.restore()
	}
	left := float64(length-in) / float64(length)
	s.step(Cost(left * left * float64(s.scale) / 4))
	s.steps++
	s.schedules++
}

// step ruins and recreates, and takes back what came out too dear.
func (s *search) step(slack Cost) {
	before := s.cost
	s.choose(s.ruin.draw(s.rng), s.drawSize())
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
	s.sortOut(s.order.draw(s.rng))
	s.pickTaste()
	points := int64(0)
	if s.rebuild() && s.cost <= before+slack {
		if s.cost < before {
			points = 2
		}
		for _, g := range s.ruined {
			for _, i := range s.p.groups[g].acts {
				s.touch(i)
			}
		}
		if s.note() {
			points = 6
		}
	} else {
		s.undo()
	}
	for _, h := range [...]*habit{&s.ruin, &s.size, &s.order, &s.width, &s.noise, &s.hold} {
		h.reward(points)
	}
}

func (s *search) drawSize() int {
	switch s.size.draw(s.rng) {
	case 0:
		return 1
	case 1:
		return 2
	case 2:
		return 3 + s.rng.IntN(2)
	default:
		return 5 + s.rng.IntN(5)
	}
}

// rebuild puts the groups back. It is spoilt when a standing span can no longer
// end before others begin, or lingers, or something is left out that another
// group's waits for.
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
	return !s.anyLingers()
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
	s.taste.width = [...]int{1, 4, 12, widest}[s.width.draw(s.rng)]
	s.taste.hold = [...]Cost{0, 1, 4}[s.hold.draw(s.rng)]
	s.taste.noise = [...]Cost{0, s.scale / 32, s.scale / 8}[s.noise.draw(s.rng)]
}

// sortOut puts the groups taken out into the order in which they go back.
func (s *search) sortOut(order int) {
	switch order {
	case 0:
		slices.SortStableFunc(s.out, func(a, b int32) int { return int(s.p.groups[a].due - s.p.groups[b].due) })
	case 1:
		// as drawn: the one the others were chosen around goes first
	case 2:
		s.rng.Shuffle(len(s.out), func(i, j int) { s.out[i], s.out[j] = s.out[j], s.out[i] })
	default: // the one around which the others were chosen goes last
		slices.Reverse(s.out)
	}
}
