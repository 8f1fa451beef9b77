package solver

import (
	"math"
	"slices"
)

// costBound gives a cost below which no plan of the problem can go; 0 when that
// says nothing.
//
// Every activity is taken alone, at the cheapest of its ways and starts, as if
// all resources were without end: a tour of two slots costs at least the way
// home from each slot that is worked. The idle slots of those who cost idle
// couple the activities; they are uncoupled by a price (Lagrangian relaxation,
// Fisher 1981): of each slot of a resource at most price is saved by working
// in it,
//
//	bound = sum over resources and slots of min(idle, price)
//	      + sum over activities of min(absent, its least cost - what it saves at most at that price)
//
// which holds for any price. Resources that the same activities may use have
// one price, and the best of some prices is taken for each such class.
func (p *problem) costBound() Cost {
	b := newBounding(p)
	bound := Cost(0)
	for c := range b.classes {
		best := Cost(math.MinInt64)
		for _, price := range b.prices(c) {
			best = max(best, b.at(c, price))
		}
		bound += best
	}
	return max(bound, 0)
}

type bounding struct {
	p       *problem
	classes []class
	saves   []Cost // by slot: what working in it saves at most
	low     []Cost // by slot
}

// class is resources that the same activities may use, and these; the first
// class is of the activities whose resources cost no idle.
type class struct {
	resources []int32
	acts      []int32
	ways      []Cost // by position in acts: what its cheapest mode costs, with travel
}

func newBounding(p *problem) *bounding {
	b := &bounding{p: p, saves: make([]Cost, p.d.Slots), low: make([]Cost, p.d.Slots+1)}
	root := make([]int32, len(p.grain))
	for r := range root {
		root[r] = int32(r)
	}
	find := func(r int32) int32 {
		for root[r] != r {
			root[r] = root[root[r]]
			r = root[r]
		}
		return r
	}
	idler := map[*ways]int32{} // by modes: a resource of theirs that costs idle
	for _, set := range p.sets {
		idler[set] = -1
		for k := range set.modes {
			for _, u := range set.modes[k].uses {
				if p.d.Resources[u.res].Idle == nil {
					continue
				}
				if idler[set] < 0 {
					idler[set] = u.res
				}
				root[find(u.res)] = find(idler[set])
			}
		}
	}
	b.classes = make([]class, 1)
	of := map[int32]int{}
	for r := range p.grain {
		if p.d.Resources[r].Idle == nil {
			continue
		}
		c, ok := of[find(int32(r))]
		if !ok {
			c = len(b.classes)
			of[find(int32(r))] = c
			b.classes = append(b.classes, class{})
		}
		b.classes[c].resources = append(b.classes[c].resources, int32(r))
	}
	for i := range p.acts {
		c := 0
		if r := idler[p.acts[i].ways]; r >= 0 {
			c = of[find(r)]
		}
		b.classes[c].acts = append(b.classes[c].acts, int32(i))
		b.classes[c].ways = append(b.classes[c].ways, b.cheapest(int32(i)))
	}
	return b
}

// cheapest gives what the cheapest mode of an activity costs, with the travel
// and the span that no plan can do it without.
func (b *bounding) cheapest(i int32) Cost {
	a := &b.p.acts[i]
	best := Never
	for k := range a.modes {
		m := &a.modes[k]
		cost := m.least + b.travel(m, a.place)
		if a.to >= 0 {
			if on := b.p.d.Spans[a.to].On[k].Cost; on != nil {
				cost += slices.Min(on[1:])
			}
		}
		best = min(best, cost)
	}
	return best
}

// travel gives the least that a stop adds to all tours that it is part of.
// Where a tour has two slots each stop is the first or the last of its tour; in
// longer ones the stops between cost what they cost.
func (b *bounding) travel(m *mode, place Place) Cost {
	if m.tour < 0 {
		return 0
	}
	tour := b.p.d.Resources[m.tour].Tour
	if tour.Slots > 2 {
		return 0
	}
	trip, _ := b.p.trips.of(tour.Home, place) // without a row: nothing, which is below any
	return trip * Cost(m.n) * Cost(3-tour.Slots)
}

// prices lists the prices that are tried for a class: nothing, and some that
// its idle slots cost.
func (b *bounding) prices(c int) []Cost {
	var all []Cost
	for _, r := range b.classes[c].resources {
		for _, idle := range b.p.d.Resources[r].Idle {
			if idle > 0 && idle < Never {
				all = append(all, idle)
			}
		}
	}
	list := []Cost{0}
	if len(all) == 0 {
		return list
	}
	slices.Sort(all)
	const tries = 16
	for k := 1; k <= tries; k++ {
		list = append(list, all[(len(all)-1)*k/tries])
	}
	return slices.Compact(list)
}

// at gives a class's part of the bound at a price.
func (b *bounding) at(c int, price Cost) (sum Cost) {
	cl := &b.classes[c]
	clear(b.saves)
	for _, r := range cl.resources {
		for s, idle := range b.p.d.Resources[r].Idle {
			saved := min(idle, price)
			sum += saved
			b.saves[s] = max(b.saves[s], saved)
		}
	}
	for k, i := range cl.acts {
		sum += b.activity(i, cl.ways[k])
	}
	return sum
}

// activity gives the least that an activity adds: left out, staying where it
// was, or at the cheapest start.
func (b *bounding) activity(i int32, way Cost) Cost {
	a, p := &b.p.acts[i], b.p
	out := b.p.d.Activities[i].Absent
	if a.to >= 0 {
		if span := &p.d.Spans[a.to]; span.From == Standing && span.On[0].Cost != nil {
			lo := span.Begin / p.grain[span.On[0].Resource]
			out += span.On[0].Cost[len(p.d.Resources[span.On[0].Resource].Capacity)-int(lo)]
		}
	}
	best := out
	// Backwards over starts: the slots after the first are taken as cheap as any
	// later one, the end as cheap as any from the earliest on.
	slots := p.d.Slots
	b.low[slots] = Never
	for x := slots - 1; x >= 0; x-- {
		end := Cost(0)
		if a.endCost != nil {
			end = a.endCost[x]
		}
		b.low[x] = min(b.low[x+1], end)
	}
	later := Never
	for x := slots - 1; x >= a.head; x-- {
		each := -b.saves[x]
		if a.slotCost != nil {
			each += a.slotCost[x]
		}
		later = min(later, each)
		e := a.ends[x]
		if e >= slots || each >= Never/2 {
			continue
		}
		cost := way + each + b.low[e] + min(later*Cost(a.shortest-1), later*Cost(a.longest-1))
		if a.startCost != nil {
			cost += a.startCost[x]
		}
		best = min(best, cost)
	}
	for _, c := range a.was {
		best = min(best, b.staying(a, c))
	}
	return best
}

// staying gives what an activity adds at a place that is worth staying at.
func (b *bounding) staying(a *activity, c cand) Cost {
	m := &a.modes[c.mode]
	cost := m.least + b.travel(m, a.place) - a.stay
	if a.to >= 0 {
		if on := b.p.d.Spans[a.to].On[c.mode].Cost; on != nil {
			cost += slices.Min(on[1:])
		}
	}
	for _, x := range m.cal.open[c.pos : c.pos+c.n] {
		cost -= b.saves[x]
		if a.slotCost != nil {
			cost += a.slotCost[x]
		}
	}
	if a.startCost != nil {
		cost += a.startCost[c.start]
	}
	if a.endCost != nil {
		cost += a.endCost[c.end]
	}
	return cost
}
