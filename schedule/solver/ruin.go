package solver

import "slices"

// The ways to draw the groups that are taken out together. Each begins with a
// seed and adds groups that it may pay to place anew with it. None looks at all
// groups, so that a step takes no longer in a large problem.
const (
	ruinAnywhere   = iota // any others
	ruinTime              // at work at about the same time
	ruinCrew              // of the same resource, before and after it
	ruinPlace             // near by
	ruinPlaceTime         // near by at about the same time
	ruinIncomplete        // around one that is not wholly placed: at work when it could be
	ruinDear              // the dearest of a few, and those at about its time
	ruins
)

// sampled is how many groups are looked at to find some that are near.
const sampled = 48

// choose fills out with about n groups.
func (s *search) choose(op, n int) {
	s.out = s.out[:0]
	s.stamp++
	n = min(n, len(s.p.groups))
	if s.cost >= forgone && s.rng.IntN(2) == 0 {
		s.unseat(s.forsaken(), n)
		return
	}
	seed := s.seed()
	switch op {
	case ruinAnywhere:
		s.take(seed)
	case ruinTime:
		s.take(seed)
		at := s.start(seed)
		w := Slot(2 + s.rng.IntN(20))
		s.sweep(n, at-w, at+w)
	case ruinCrew:
		s.take(seed)
		s.string(seed, n)
	case ruinPlace:
		s.take(seed)
		s.nearest(seed, n, 0)
	case ruinPlaceTime:
		s.take(seed)
		s.nearest(seed, n, 8)
	case ruinIncomplete:
		if g, ok := s.incomplete(); ok {
			seed = g
		}
		s.take(seed)
		at := s.p.groups[seed].first
		s.sweep(n, at, at+Slot(8+s.rng.IntN(40)))
	case ruinDear:
		for range 6 {
			if g := s.anyGroup(); s.dear(g) > s.dear(seed) {
				seed = g
			}
		}
		s.take(seed)
		at := s.start(seed)
		w := Slot(2 + s.rng.IntN(16))
		s.sweep(n, at-w, at+w/2)
	}
	for tries := 0; len(s.out) < n && tries < 2*n; tries++ {
		s.take(s.anyGroup())
	}
}

// forsaken draws a group of which a vital activity is left out.
func (s *search) forsaken() (g int32) {
	seen := 0
	for k := range s.p.groups {
		if s.p.groups[k].vital && s.lacks(int32(k)) {
			if seen++; s.rng.IntN(seen) == 0 {
				g = int32(k)
			}
		}
	}
	return g
}

func (s *search) lacks(g int32) bool {
	for _, i := range s.p.groups[g].acts {
		if s.at[i].mode < 0 && s.p.acts[i].vital {
			return true
		}
	}
	return false
}

// unseat takes out a group, and those that have the slots in which its vital
// activities that are left out may stand.
func (s *search) unseat(g int32, n int) {
	s.take(g)
	for _, i := range s.p.groups[g].acts {
		a := &s.p.acts[i]
		if s.at[i].mode >= 0 || !a.vital {
			continue
		}
		m := &a.modes[s.rng.IntN(len(a.modes))]
		if m.unary < 0 || len(m.cal.open) == 0 {
			continue
		}
		from := s.rng.IntN(len(m.cal.open))
		for k := range m.cal.open {
			pos := int32((from + k) % len(m.cal.open))
			if x := m.cal.open[pos]; m.startCost != nil && m.startCost[x] >= Never || a.startCost != nil && a.startCost[x] >= Never {
				continue
			}
			for _, x := range m.cal.open[pos : pos+m.length(pos)] {
				if h := s.holder[m.unary][x]; h >= 0 {
					s.take(s.p.acts[h].group)
				}
			}
			break
		}
	}
	for tries := 0; len(s.out) < n && tries < 2*n; tries++ {
		s.take(s.anyGroup())
	}
}

func (s *search) anyGroup() int32 { return int32(s.rng.IntN(len(s.p.groups))) }

// seed draws the group to begin with; while the plan that the search starts
// from has just been disturbed, often one that the disturbance touched.
func (s *search) seed() int32 {
	if len(s.hot) > 0 && s.heat > 0 {
		s.heat--
		if s.rng.IntN(4) > 0 {
			return s.hot[s.rng.IntN(len(s.hot))]
		}
	}
	return s.anyGroup()
}

// take adds a group once.
func (s *search) take(g int32) {
	if s.mark[g] != s.stamp {
		s.mark[g] = s.stamp
		s.out = append(s.out, g)
	}
}

// sweep adds groups that are at work between two slots, drawn from what the
// resources of one unit do then.
func (s *search) sweep(n int, from, to Slot) {
	from, to = max(from, 0), min(to, s.p.d.Slots-1)
	if len(s.p.single) == 0 || from > to {
		s.drift(n, from, to)
		return
	}
	for tries := 0; len(s.out) < n && tries < 4*n+8; tries++ {
		r := s.p.single[s.rng.IntN(len(s.p.single))]
		x := from + Slot(s.rng.IntN(int(to-from)+1))
		for ; x <= to && s.holder[r][x] < 0; x++ {
		}
		if x <= to {
			s.take(s.p.acts[s.holder[r][x]].group)
		}
	}
}

// drift is sweep where no resource says who is at work.
func (s *search) drift(n int, from, to Slot) {
	for tries := 0; len(s.out) < n && tries < sampled; tries++ {
		if g := s.anyGroup(); s.start(g) >= from && s.start(g) <= to {
			s.take(g)
		}
	}
}

// string adds the groups that a resource of the seed works on before and after
// it.
func (s *search) string(seed int32, n int) {
	acts := s.p.groups[seed].acts
	i := acts[s.rng.IntN(len(acts))]
	for tries := 0; tries < len(acts) && !s.travels(i); tries++ {
		i = acts[s.rng.IntN(len(acts))]
	}
	if !s.travels(i) {
		return
	}
	c := s.at[i]
	holder := s.holder[s.p.acts[i].modes[c.mode].unary]
	for lo, hi := c.start-1, c.end+1; len(s.out) < n && (lo >= 0 || int(hi) < len(holder)); lo, hi = lo-1, hi+1 {
		if lo >= 0 && holder[lo] >= 0 && s.rng.IntN(4) > 0 {
			s.take(s.p.acts[holder[lo]].group)
		}
		if int(hi) < len(holder) && holder[hi] >= 0 && s.rng.IntN(4) > 0 {
			s.take(s.p.acts[holder[hi]].group)
		}
	}
}

// travels tells whether an activity is placed with a resource of one unit.
func (s *search) travels(i int32) bool {
	c := s.at[i]
	return c.mode >= 0 && s.p.acts[i].modes[c.mode].unary >= 0
}

type near struct {
	g   int32
	far Cost
}

// nearest adds those of some drawn groups whose places are nearest to the
// seed's; with weight above 0, a slot between their starts counts as much as
// 1/weight of the mean trip.
func (s *search) nearest(seed int32, n int, weight Slot) {
	if !s.p.anyTour {
		return
	}
	s.nears = s.nears[:0]
	place, at := s.placeOf(seed), s.start(seed)
	var sum Cost
	for range min(sampled, 2*len(s.p.groups)) {
		g := s.anyGroup()
		if s.mark[g] == s.stamp {
			continue
		}
		far := s.trip(place, s.placeOf(g))
		sum += far
		s.nears = append(s.nears, near{g, far})
	}
	if weight > 0 && len(s.nears) > 0 {
		mean := sum / Cost(len(s.nears))
		for k := range s.nears {
			apart := s.start(s.nears[k].g) - at
			s.nears[k].far += Cost(max(apart, -apart)) * mean / Cost(weight)
		}
	}
	slices.SortFunc(s.nears, func(a, b near) int {
		switch {
		case a.far != b.far:
			if a.far < b.far {
				return -1
			}
			return 1
		}
		return int(a.g - b.g)
	})
	for _, x := range s.nears {
		if len(s.out) >= n {
			return
		}
		if s.rng.IntN(5) > 0 {
			s.take(x.g)
		}
	}
}

func (s *search) placeOf(g int32) Place { return s.p.acts[s.p.groups[g].acts[0]].place }

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

// dear gives what a group costs as far as it is its own: late ends, slots,
// what is left out.
func (s *search) dear(g int32) (cost Cost) {
	for _, i := range s.p.groups[g].acts {
		a, c := &s.p.acts[i], s.at[i]
		if c.mode < 0 {
			cost += a.absent
			continue
		}
		if a.endCost != nil {
			cost += a.endCost[c.end]
		}
		if a.slotCost != nil {
			cost += a.slotCost[c.start] * Cost(c.n)
		}
	}
	return cost
}

// incomplete draws some groups and gives one of which something is left out.
func (s *search) incomplete() (int32, bool) {
	for range sampled {
		g := s.anyGroup()
		for _, i := range s.p.groups[g].acts {
			if s.at[i].mode < 0 {
				return g, true
			}
		}
	}
	return 0, false
}
