package weather

import (
	"fmt"
	"math"
)

// Outcome is one chance as it was given, and what then happened.
type Outcome struct {
	Lead    int     // [days] from when the chance was given to the half-day, 0 = the same day
	P       float64 // the chance given, 0 to 1
	Climate float64 // the climate's chance of that half-day, 0 to 1
	Ran     bool    // the weather let the work run
}

// Score is the Brier score of a set of chances and its parts after Murphy 1973:
// Brier = Reliability - Resolution + Uncertainty, where chances of equal value
// are one group. Skill is against always giving the observed share.
type Score struct {
	N           int     `json:"n"`
	Brier       float64 `json:"brier"`
	Reliability float64 `json:"reliability"` // how far chances are from what happened: 0 is best
	Resolution  float64 `json:"resolution"`  // how well they tell good from bad: more is better
	Uncertainty float64 `json:"uncertainty"` // of the weather itself
	Skill       Value   `json:"skill"`       // 1 - Brier/Uncertainty; unknown when the weather never varied
}

// group is the outcomes of one chance, or of one range of chances.
type group struct {
	n, ran int
	p      float64 // sum of chances
}

// BrierScore scores a set. An empty set gives the zero Score.
func BrierScore(list []Outcome) Score {
	s := Score{N: len(list)}
	if s.N == 0 {
		return s
	}
	groups, ran := map[float64]group{}, 0
	for _, o := range list {
		g := groups[o.P]
		g.n++
		d := o.P
		if o.Ran {
			g.ran++
			ran++
			d = 1 - o.P
		}
		groups[o.P] = g
		s.Brier += d * d
	}
	n := float64(s.N)
	share := float64(ran) / n
	for p, g := range groups {
		of := float64(g.ran) / float64(g.n)
		s.Reliability += float64(g.n) * (p - of) * (p - of)
		s.Resolution += float64(g.n) * (of - share) * (of - share)
	}
	s.Brier, s.Reliability, s.Resolution, s.Uncertainty = s.Brier/n, s.Reliability/n, s.Resolution/n, share*(1-share)
	if s.Uncertainty > 0 {
		s.Skill = Is(1 - s.Brier/s.Uncertainty)
	}
	return s
}

// Bin is one point of a reliability diagram: chances between From and To, what
// they were on average, and how often the work ran, with the 90% interval of
// that share (Wilson 1927).
type Bin struct {
	From float64 `json:"from"`
	To   float64 `json:"to"`
	N    int     `json:"n"`
	P    float64 `json:"p"`    // mean of the chances given
	Ran  float64 `json:"ran"`  // share that ran
	Low  float64 `json:"low"`  // of the interval
	High float64 `json:"high"` // of the interval
}

// ReliabilityDiagram puts chances into so many bins of equal width; bins
// without any are left out.
func ReliabilityDiagram(list []Outcome, bins int) []Bin {
	groups := make([]group, max(1, bins))
	for _, o := range list {
		g := &groups[min(len(groups)-1, max(0, int(o.P*float64(len(groups)))))]
		g.n++
		g.p += o.P
		if o.Ran {
			g.ran++
		}
	}
	var out []Bin
	for i, g := range groups {
		if g.n == 0 {
			continue
		}
		low, high := wilson(g.ran, g.n)
		out = append(out, Bin{
			From: float64(i) / float64(len(groups)), To: float64(i+1) / float64(len(groups)), N: g.n,
			P: g.p / float64(g.n), Ran: float64(g.ran) / float64(g.n), Low: low, High: high,
		})
	}
	return out
}

// wilson gives the 90% score interval of a share (Wilson 1927), z = 1.6449.
func wilson(ran, n int) (low, high float64) {
	const z = 1.6448536269514722
	p, m := float64(ran)/float64(n), float64(n)
	mid := p + z*z/(2*m)
	half := z * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return max(0, (mid-half)/(1+z*z/m)), min(1, (mid+half)/(1+z*z/m))
}

// leadsLearnt is how many lead days have a weight of their own.
const leadsLearnt = 15

// Shrinkage is what kept chances taught: by lead day, how much of a chance's
// distance from the climate is kept. The zero value has learnt nothing and
// keeps all of it.
type Shrinkage struct {
	Learnt bool                 `json:"learnt"`
	Keep   [leadsLearnt]float64 `json:"keep"` // 0 to 1
	N      [leadsLearnt]int     `json:"n"`    // outcomes it was learnt from
}

// Before anything was kept all of a distance is kept; so many half-days at a
// usual distance of so much count for that, so that a lucky week teaches little.
const (
	priorHalfDays = 40.0
	priorDistance = 0.2
)

// Learn finds by lead day the weight w for which climate + w (chance - climate)
// would have had the least Brier score, which is a straight line through the
// origin fitted by least squares, held towards 1 by a prior and within 0 to 1:
// it can only make a forecast say less. Leads beyond the last count there.
func Learn(list []Outcome) Shrinkage {
	const prior = priorHalfDays * priorDistance * priorDistance
	var xy, xx [leadsLearnt]float64
	s := Shrinkage{Learnt: len(list) > 0}
	for _, o := range list {
		lead := min(max(o.Lead, 0), leadsLearnt-1)
		ran := 0.0
		if o.Ran {
			ran = 1
		}
		x := o.P - o.Climate
		xy[lead] += x * (ran - o.Climate)
		xx[lead] += x * x
		s.N[lead]++
	}
	for lead := range s.Keep {
		s.Keep[lead] = min(1, max(0, (xy[lead]+prior)/(xx[lead]+prior)))
	}
	return s
}

// Apply shrinks a chance towards the climate's. Where either is not known, the
// chance is given back as it is.
func (s Shrinkage) Apply(c, climate Chance, lead float64) Chance {
	keep := s.keep(lead)
	if !c.Known || !climate.Known || keep >= 1 {
		return c
	}
	c.P = bounded(climate.P + keep*(c.P-climate.P))
	c.Basis = fmt.Sprintf("%s, %.0f%% of its distance from the climate kept by what was learnt", c.Basis, 100*keep)
	return c
}

// keep is the share of a distance that is kept at a lead time [days].
func (s Shrinkage) keep(lead float64) float64 {
	if !s.Learnt {
		return 1
	}
	return s.Keep[min(max(int(lead), 0), leadsLearnt-1)]
}
