package solver

// A standing span may hold a bucket that is over-full only as long as it has
// to: it lingers when its end could come before that bucket, everything else
// staying where it is. To end it sooner frees room and takes none from others,
// so every plan can be mended, one span after the other.

// soonestEnd gives the first place of the activity that ends a standing span,
// everything else as it is. The activity is not placed when it is asked.
func (s *state) soonestEnd(span *Span) (best cand, found bool) {
	i := int32(span.To)
	w, ok := s.window(i)
	if !ok {
		return best, false
	}
	a := &s.p.acts[i]
	m := &a.modes[0]
	for pos := int32(0); int(pos) < len(m.cal.open); pos++ {
		n := m.length(pos)
		if n == 0 {
			break
		}
		c := m.cand(0, pos, n)
		if c.start > w.startBy || c.end > w.to {
			return best, false
		}
		if c.start < span.Begin || !w.holds(c) || !m.mayStart(c.start) {
			continue
		}
		if _, ok := s.fits(a, m, c.pos, c.n); ok {
			return c, true
		}
	}
	return best, false
}

// overfilled tells whether a resource has a bucket from lo to hi that holds
// more than there is room for.
func (s *state) overfilled(r int, lo, hi Slot) bool {
	used, capacity := s.used[r], s.p.d.Resources[r].Capacity
	for b := lo; b <= hi; b++ {
		if used[b] > capacity[b] {
			return true
		}
	}
	return false
}

// bound gives the last slot in which a standing span that is not ended yet may
// end without lingering, as far as is known before the others are ended.
func (s *state) bound(span *Span) Slot {
	last := s.p.d.Slots - 1
	if span.From != Standing {
		return last
	}
	r := span.On[0].Resource
	if !s.overfilled(r, s.bucket(span, 0, span.Begin), s.lastBucket(span, 0)) {
		return last
	}
	c, ok := s.soonestEnd(span)
	if !ok {
		return last
	}
	used, capacity := s.used[r], s.p.d.Resources[r].Capacity
	for b := s.bucket(span, 0, c.end) + 1; int(b) < len(used); b++ {
		if used[b] > capacity[b] {
			return b*s.p.grain[r] - 1
		}
	}
	return last
}

// sooner gives a place for the end of a standing span that lingers.
func (s *state) sooner(span *Span) (c cand, lingers bool) {
	i := int32(span.To)
	was, hi := s.at[i], s.lastBucket(span, 0)
	if was.mode >= 0 {
		hi = s.bucket(span, 0, was.end)
	}
	r := span.On[0].Resource
	if s.pinned[i] || !s.overfilled(r, s.bucket(span, 0, span.Begin), hi) {
		return c, false
	}
	if was.mode >= 0 {
		s.takeOut(i)
		defer s.put(i, was)
	}
	c, ok := s.soonestEnd(span)
	return c, ok && s.overfilled(r, s.bucket(span, 0, c.end)+1, hi)
}

// anyLingers tells whether any standing span does.
func (s *state) anyLingers() bool {
	for i := range s.p.d.Spans {
		if span := &s.p.d.Spans[i]; span.From == Standing {
			if _, lingers := s.sooner(span); lingers {
				return true
			}
		}
	}
	return false
}

// settle ends every standing span that lingers as soon as it can be, until none
// does: what one leaves can let another end sooner.
func (s *state) settle() {
	for again := true; again; {
		again = false
		for i := range s.p.d.Spans {
			span := &s.p.d.Spans[i]
			if span.From != Standing {
				continue
			}
			c, lingers := s.sooner(span)
			if !lingers {
				continue
			}
			if again = true; s.at[span.To].mode >= 0 {
				s.takeOut(int32(span.To))
			}
			s.put(int32(span.To), c)
		}
	}
}
