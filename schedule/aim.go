package schedule

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"toeboard/weather/fault"
)

// Aim is what the office wants of a plan, over all the futures that may come.
type Aim string

// The aims.
const (
	LowestCost        Aim = "least_cost"          // one search by the firm's rates; the start value
	CheapestOnAverage Aim = "cheapest_on_average" // the least mean cost over the futures
	KeepsPromises     Aim = "keeps_promises"      // most promises kept in the mean, then the least mean cost
)

// Aims lists every aim in the order in which they are offered.
var Aims = []Aim{LowestCost, CheapestOnAverage, KeepsPromises}

// String writes the aim in words.
func (a Aim) String() string {
	switch a {
	case CheapestOnAverage:
		return "cheapest on average"
	case KeepsPromises:
		return "keeps promises"
	default:
		return "by the firm's rates"
	}
}

// AimFromKey reads an aim; empty is LowestCost.
func AimFromKey(key string) (Aim, error) {
	a := Aim(key)
	switch {
	case key == "":
		return LowestCost, nil
	case slices.Contains(Aims, a):
		return a, nil
	}
	return LowestCost, fault.Bad("aim", key, "one of least_cost, cheapest_on_average, keeps_promises")
}

// Choice says which plans were compared and why this one was taken.
type Choice struct {
	Aim      Aim         `json:"aim"`
	Compared []Candidate `json:"compared"` // each plan once, the one taken first
	Say      string      `json:"say"`      // one sentence
}

// Candidate is one plan that was compared.
type Candidate struct {
	How       string  `json:"how"`        // how it was searched for
	Cost      Pence   `json:"cost_pence"` // as planned, by the firm's rates
	Mean      Pence   `json:"mean_pence"` // over the futures
	Known     bool    `json:"mean_known"` // false = nobody can say what it costs over the futures, and Mean says nothing
	Kept      float64 `json:"promises_kept"`
	Promises  int     `json:"promises"`
	CannotSay int     `json:"promises_unknown"`
	told      int     // told stages that it leaves out: fewer go before all else
}

// leaning is one way to search: by facts that lean to one side. The plan that
// comes out is priced and replayed by the facts as they are.
type leaning struct {
	how  string
	lean func(*Snapshot)
}

// leanings are the candidates of every aim (ours; the numbers are chosen, not
// measured).
var leanings = []leaning{
	{"by the firm's rates", func(*Snapshot) {}},
	{"lateness counted twice", func(s *Snapshot) { s.lateTimes(2) }},
	{"lateness counted four times", func(s *Snapshot) { s.lateTimes(4) }},
	{"every promise a week earlier", func(s *Snapshot) { s.promisesEarlier(5) }},
	{"lost half-days counted three times", func(s *Snapshot) {
		s.Firm.Rates.LostRoofHalfDay = times(s.Firm.Rates.LostRoofHalfDay, 3)
		s.Firm.Rates.LostScaffoldVisit = times(s.Firm.Rates.LostScaffoldVisit, 3)
	}},
}

func times(p Pence, n Pence) Pence { return min(p*n, mostPence) }

func (s *Snapshot) lateTimes(n Pence) {
	s.Firm.Rates.LatePerDay, s.Firm.Rates.LateTold = times(s.Firm.Rates.LatePerDay, n), times(s.Firm.Rates.LateTold, n)
}

// promisesEarlier moves every promise that is still to come by some working
// days, not before the first day.
func (s *Snapshot) promisesEarlier(days int) {
	s.Jobs = slices.Clone(s.Jobs)
	for i := range s.Jobs {
		if on := s.Jobs[i].PromisedOn; on.Known() && on > s.FirstDay {
			s.Jobs[i].PromisedOn = max(s.FirstDay, AddWorkingDays(on, -days, s.Holidays))
		}
	}
}

// SolveFor makes the plan that serves an aim best over the futures: it searches
// for several, each with an equal part of the budget and its eye on something
// else, replays each, and takes the best. LowestCost is Solve. The answer carries
// what the plan comes to over the futures (Plan.Replay) and what was compared
// (Plan.Choice). The same snapshot, futures, aim, stop and seed give the same
// plan; of plans that are as good, the first is taken.
//
// When the context ends, it chooses among those that it has.
func SolveFor(ctx context.Context, s Snapshot, f Futures, aim Aim, stop Stop, seed uint64) (Plan, error) {
	if aim == LowestCost {
		p, err := Solve(ctx, s, stop, seed)
		if err != nil {
			return Plan{}, err
		}
		return replayed(s, Settled(s, p), f), nil // no move that buys nothing
	}
	c := &contest{s: s, f: f, aim: aim, stop: stop}
	for _, l := range leanings {
		if len(c.plans) > 0 && ctx.Err() != nil {
			break
		}
		if err := c.add(ctx, l, seed); err != nil {
			return Plan{}, err
		}
	}
	return c.take(), nil
}

// replayed puts beside a plan what it comes to.
func replayed(s Snapshot, p Plan, f Futures) Plan {
	if f.N > 0 {
		out := Replay(s, p, f)
		p.Replay = &out
	}
	return p
}

// contest is several plans for one aim.
type contest struct {
	s         Snapshot
	f         Futures
	aim       Aim
	stop      Stop
	plans     []Plan
	how       []string
	generated int
}

// add searches for one plan more; one that is there already is not added.
func (c *contest) add(ctx context.Context, l leaning, seed uint64) error {
	leant := c.s
	l.lean(&leant)
	stop := c.stop
	stop.Schedules = max(1, c.stop.Schedules/len(leanings))
	stop.Progress = c.progress()
	p, err := Solve(ctx, leant, stop, seed)
	if err != nil {
		return err
	}
	c.generated += stop.Schedules
	p.Hash, p.Cost = c.s.HashOf(), Price(c.s, p)
	for i := range c.plans {
		if samePlan(&c.plans[i], &p) {
			return nil
		}
	}
	c.plans, c.how = append(c.plans, replayed(c.s, p, c.f)), append(c.how, l.how)
	return nil
}

// progress tells how far the whole contest is. Costs of a search that leans are
// not the firm's; told is the best plan that is finished.
func (c *contest) progress() func(Progress) {
	if c.stop.Progress == nil {
		return nil
	}
	return func(p Progress) {
		told := Progress{Schedules: c.generated + p.Schedules, Of: c.stop.Schedules, Best: p.Best}
		for i := range c.plans {
			if i == 0 || c.plans[i].Cost.Total < told.Best {
				told.Best = c.plans[i].Cost.Total
			}
		}
		c.stop.Progress(told)
	}
}

func samePlan(a, b *Plan) bool {
	return slices.EqualFunc(a.Visits, b.Visits, func(x, y Visit) bool {
		return x.Job == y.Job && x.Stage == y.Stage && x.Crew == y.Crew && x.ScaffoldFirm == y.ScaffoldFirm && sameHalfDays(x.HalfDays, y.HalfDays)
	})
}

// take chooses the best and says what it was held against.
func (c *contest) take() Plan {
	if c.f.N == 0 {
		p := c.plans[0]
		p.Choice = &Choice{Aim: c.aim, Say: "Nobody can say which plan is best over the weather to come: no future is known. This one is by the firm's rates."}
		return p
	}
	best := 0
	for i := range c.plans {
		if c.better(c.candidate(i), c.candidate(best)) {
			best = i
		}
	}
	p := c.plans[best]
	choice := Choice{Aim: c.aim, Compared: []Candidate{c.candidate(best)}}
	for i := range c.plans {
		if i != best {
			choice.Compared = append(choice.Compared, c.candidate(i))
		}
	}
	choice.Say = choice.sentence()
	p.Choice = &choice
	return p
}

func (c *contest) candidate(i int) Candidate {
	r := c.plans[i].Replay
	return Candidate{How: c.how[i], Cost: c.plans[i].Cost.Total, Mean: r.Cost.Mean, Known: r.Cost.Known, Kept: r.Kept, Promises: r.Promises, CannotSay: r.CannotSay, told: c.s.toldLeftOut(&c.plans[i])}
}

func (c *contest) better(a, b Candidate) bool {
	if a.told != b.told {
		return a.told < b.told
	}
	if c.aim == KeepsPromises && a.Kept != b.Kept {
		return a.Kept > b.Kept
	}
	if a.Known != b.Known {
		return a.Known // a cost that nobody can say is never the least
	}
	return a.Mean < b.Mean
}

// sentence says what was compared and what the choice costs or keeps.
func (c *Choice) sentence() string {
	mine := c.Compared[0]
	cost := "at " + mine.Mean.String() + ", the mean of the futures"
	if !mine.Known {
		cost = "and nobody can say at what cost"
	}
	var b strings.Builder
	if len(c.Compared) == 1 {
		fmt.Fprintf(&b, "There was one plan to take; it keeps %.1f of %d promises %s.", mine.Kept, mine.Promises, cost)
	} else {
		fmt.Fprintf(&b, "%d plans were compared; this one (%s) keeps %.1f of %d promises %s%s.", len(c.Compared), mine.How, mine.Kept, mine.Promises, cost, c.against())
	}
	if mine.CannotSay > 0 {
		fmt.Fprintf(&b, " Of %d more promises nobody can say.", mine.CannotSay)
	}
	return b.String()
}

// against holds the choice against the best by the other aim.
func (c *Choice) against() string {
	mine, other := c.Compared[0], c.Compared[0]
	for _, o := range c.Compared[1:] {
		if !mine.Known || !o.Known {
			continue
		}
		if c.Aim == KeepsPromises && o.Mean < other.Mean || c.Aim == CheapestOnAverage && o.Kept > other.Kept {
			other = o
		}
	}
	switch {
	case !mine.Known:
		return ""
	case other == mine && c.Aim == KeepsPromises:
		return ", and none is cheaper"
	case other == mine:
		return ", and none keeps more"
	case c.Aim == KeepsPromises:
		return fmt.Sprintf("; that is %s more than the cheapest, which keeps %.1f", mine.Mean-other.Mean, other.Kept)
	default:
		return fmt.Sprintf("; the one that keeps most keeps %.1f and costs %s more", other.Kept, other.Mean-mine.Mean)
	}
}
