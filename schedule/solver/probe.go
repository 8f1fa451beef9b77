package solver

// Probe asks a finished plan what would have happened elsewhere.
type Probe struct{ s *state }

// NewProbe holds placements that Verify accepts.
func NewProbe(d Data, placed []Placement) (*Probe, error) {
	p, err := prepare(&d)
	if err != nil {
		return nil, err
	}
	s := newState(p)
	for i, at := range placed {
		if at.Mode >= 0 {
			if c, ok := p.acts[i].at(At{at.Mode, at.Start}); ok {
				s.put(int32(i), c)
			}
		}
	}
	return &Probe{s}, nil
}

// Move tells whether one placed activity alone could stand elsewhere, all
// others as they are, and what the plan would then cost more.
func (p *Probe) Move(activity int, to At) (more Cost, ok bool) {
	i := int32(activity)
	was := p.s.at[i]
	c, ok := p.s.p.acts[i].at(to)
	if was.mode < 0 || !ok {
		return 0, false
	}
	before := p.s.cost
	p.s.takeOut(i)
	if ok = p.s.may(i, c); ok {
		p.s.put(i, c)
		more, ok = p.s.cost-before, !p.s.anyLingers()
		p.s.takeOut(i)
	}
	p.s.put(i, was)
	return more, ok
}
