package weather

import (
	"slices"
	"time"
)

// PlumeStep is what an ensemble says of the gust in one step, at the work.
type PlumeStep struct {
	From, To          time.Time // UTC
	Low, Middle, High Value     // [m/s] of one, five and nine members in ten no member is higher (nearest rank)
	Over              Value     // [0..1] share of the members whose gust is at a limit or above
	Known             int       // members that know the step
}

// Plume gives for each step of a window what the members of a series spread
// over: gusts at the place's terrain and working height, estimated from the
// mean where a member gives none, against a limit [m/s]. A step that fewer than
// five members know is not known.
func Plume(s Series, p Place, limit Value, from, to time.Time, step time.Duration) ([]PlumeStep, error) {
	factors, err := p.factors()
	if err != nil {
		return nil, err
	}
	var out []PlumeStep
	for at := from.UTC(); at.Before(to) && step > 0; at = at.Add(step) {
		ps := PlumeStep{From: at, To: earlier(at.Add(step), to.UTC())}
		var gusts []float64
		for i := range s.Members {
			if g := highestGust(&s.Members[i], ps.From, ps.To); g.Known {
				gusts = append(gusts, g.N*factors.gust)
			}
		}
		ps.spread(gusts, limit)
		out = append(out, ps)
	}
	return out, nil
}

func (ps *PlumeStep) spread(gusts []float64, limit Value) {
	if ps.Known = len(gusts); ps.Known < fewestMembers {
		return
	}
	slices.Sort(gusts)
	rank := func(tenths int) Value { return Is(gusts[(tenths*len(gusts)+9)/10-1]) }
	ps.Low, ps.Middle, ps.High = rank(1), rank(5), rank(9)
	if limit.Known {
		over := 0
		for _, g := range gusts {
			if g >= limit.N {
				over++
			}
		}
		ps.Over = Is(float64(over) / float64(len(gusts)))
	}
}

// highestGust gives the highest gust of a member within a window, at 10 m in the
// open; unknown when any step of it is.
func highestGust(m *Member, from, to time.Time) Value {
	most := Value{}
	eachStep(m, from, to, func(s step) bool {
		h := s.hour()
		g, _ := gustOrEstimate(h.WindMean, h.WindGust)
		if !g.Known {
			most = Value{}
			return false
		}
		if !most.Known || g.N > most.N {
			most = g
		}
		return true
	})
	return most
}
