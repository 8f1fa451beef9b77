package solver

import "slices"

// roomTries bounds how often a group is put together anew because an activity
// that must come soon after another found no room.
const roomTries = 8

// makeRoom is for a unit that found no place although others of its group are
// placed, when a longest lag binds it to one of them. It moves that one later,
// to where the unit has room, with all that was placed since, and tries again.
// When that does not help everything stays as it was.
func (s *state) makeRoom(gr *group, k int, t *taste) {
	from := s.boundTo(gr, k)
	if from == k {
		return
	}
	saved := s.standing(gr, from, k)
	back := func() {
		s.lift(gr, from, k)
		for _, h := range saved {
			s.put(h.i, h.c)
		}
	}
	defer s.lowerFloors(gr)
	for range roomTries {
		if !s.raiseFloors(&gr.units[k], gr) {
			break
		}
		s.lift(gr, from, k)
		all := true
		for j := from; j <= k && all; j++ {
			all = s.place(&gr.units[j], t)
			if !all && j < k {
				back()
				return
			}
		}
		if all {
			return
		}
	}
	back()
}

// boundTo gives the first unit before k that a longest lag binds to unit k and
// that may be moved; k when there is none.
func (s *state) boundTo(gr *group, k int) int {
	for j := range k {
		for _, i := range gr.units[j].acts {
			if s.at[i].mode >= 0 && !s.pinned[i] && s.binds(i, &gr.units[k]) {
				return j
			}
		}
	}
	return k
}

func (s *state) binds(i int32, u *unit) bool {
	for _, links := range [2][]Link{s.p.acts[i].before, s.p.acts[i].after} {
		for _, l := range links {
			if l.Most > 0 && s.p.acts[l.Activity].unit == u {
				return true
			}
		}
	}
	return false
}

// stood is where an activity stood.
type stood struct {
	i int32
	c cand
}

// standing lists what may be moved of the units from one to before another.
func (s *state) standing(gr *group, from, to int) (list []stood) {
	for j := from; j < to; j++ {
		for _, i := range gr.units[j].acts {
			if s.at[i].mode >= 0 && !s.pinned[i] {
				list = append(list, stood{i, s.at[i]})
			}
		}
	}
	return list
}

// lift takes these out.
func (s *state) lift(gr *group, from, to int) {
	for _, h := range s.standing(gr, from, to) {
		s.takeOut(h.i)
	}
}

// raiseFloors looks for the first places of a unit's activities with no regard
// to the longest lags, and moves up the floors of those that the lags bind them
// to. It tells whether any moved.
func (s *state) raiseFloors(u *unit, gr *group) (moved bool) {
	last := s.p.d.Slots - 1
	for _, i := range u.acts {
		if s.at[i].mode >= 0 {
			continue
		}
		w, ok := s.window(i)
		if !ok {
			return false
		}
		a := &s.p.acts[i]
		if c, ok := s.soonestIn(i, -1, window{from: w.from, startBy: last, to: last}); ok {
			for _, l := range a.before {
				if f := &s.floor[l.Activity]; l.Most > 0 && s.free(l, gr) && c.start-l.Most > f.end {
					f.end, moved = c.start-l.Most, true
				}
			}
		}
		if c, ok := s.soonestIn(i, -1, window{from: w.from, startBy: last, endFrom: w.endFrom, to: last}); ok {
			for _, l := range a.after {
				if f := &s.floor[l.Activity]; l.Most > 0 && s.free(l, gr) && c.end+1+l.Lag > f.start {
					f.start, moved = c.end+1+l.Lag, true
				}
			}
		}
	}
	return moved
}

// free tells whether a linked activity is of the group and not pinned.
func (s *state) free(l Link, gr *group) bool {
	if s.pinned[l.Activity] {
		return false
	}
	for k := range gr.units {
		if s.p.acts[l.Activity].unit == &gr.units[k] {
			return true
		}
	}
	return false
}

func (s *state) lowerFloors(gr *group) {
	for _, i := range gr.acts {
		s.floor[i] = floor{}
	}
}

// bound makes one group of those that longest lags bind to each other, so that
// the search moves them together. What others wait for comes first in it.
func (p *problem) bound(groups []Group) []Group {
	of := make([]int, len(p.acts)) // by activity: its group
	for g, units := range groups {
		for _, u := range units {
			for _, i := range u.Activities {
				if i >= 0 && i < len(of) {
					of[i] = g
				}
			}
		}
	}
	into := make([]int, len(groups))
	for g := range into {
		into[g] = g
	}
	root := func(g int) int {
		for into[g] != g {
			into[g] = into[into[g]]
			g = into[g]
		}
		return g
	}
	merged := false
	for i := range p.acts {
		for _, l := range p.acts[i].before {
			if a, b := root(of[i]), root(of[l.Activity]); l.Most > 0 && a != b {
				into[max(a, b)], merged = min(a, b), true
			}
		}
	}
	if !merged {
		return groups
	}
	order, err := p.order()
	if err != nil { // a circle, which is told later
		return groups
	}
	out, done := make([]Group, len(groups)), make([]bool, len(groups))
	for _, i := range order {
		if g := of[i]; !done[g] {
			done[g] = true
			out[root(g)] = append(out[root(g)], groups[g]...)
		}
	}
	return slices.DeleteFunc(out, func(g Group) bool { return g == nil })
}
