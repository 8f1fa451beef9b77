package weather

import (
	"math/rand/v2"
	"time"

	"toeboard/weather/civil"
)

// Passing says of one task at one place in which of a number of possible
// futures each half-day lets the whole of it run. Future 3 is the same weather
// in every row that was made with the same draws. A half-day of which no future
// knows anything is not known, and passes in none.
type Passing struct {
	First   civil.HalfDay // of the row
	Futures int           // how many
	words   int           // for one half-day
	bits    []uint64      // by half-day, one bit for each future
	known   []bool        // by half-day
}

// NewPassing makes a row of n half-days from what at says of each half-day in
// each future, 0 to futures-1: whether it passes, and whether that is known.
// What is not known does not pass.
func NewPassing(first civil.HalfDay, n, futures int, at func(h civil.HalfDay, future int) (passes, known bool)) Passing {
	p := emptyPassing(first, n, futures)
	for i := range p.known {
		for f := range p.Futures {
			passes, known := at(first+civil.HalfDay(i), f)
			p.known[i] = p.known[i] || known
			if passes && known {
				p.set(i, f)
			}
		}
	}
	return p
}

// emptyPassing is a row of which nothing is known.
func emptyPassing(first civil.HalfDay, n, futures int) Passing {
	n, futures = max(0, n), max(0, futures)
	words := (futures + 63) / 64
	return Passing{First: first, Futures: futures, words: words, bits: make([]uint64, n*words), known: make([]bool, n)}
}

func (p *Passing) set(i, future int) { p.bits[i*p.words+future/64] |= 1 << (future % 64) }

// HalfDays is how many the row has.
func (p *Passing) HalfDays() int { return len(p.known) }

// In tells whether a half-day passes in a future; outside the row none does.
func (p *Passing) In(h civil.HalfDay, future int) bool {
	i := int(h - p.First)
	if i < 0 || i >= len(p.known) || future < 0 || future >= p.Futures {
		return false
	}
	return p.bits[i*p.words+future/64]>>(future%64)&1 == 1
}

// Known tells whether any future knows a half-day.
func (p *Passing) Known(h civil.HalfDay) bool {
	i := int(h - p.First)
	return i >= 0 && i < len(p.known) && p.known[i]
}

// And gives the row in which two tasks both pass. What either does not know is
// not known. Rows of another first half-day or number of futures share nothing.
func (p Passing) And(q Passing) Passing {
	out := emptyPassing(p.First, p.HalfDays(), p.Futures)
	if p.First != q.First || p.Futures != q.Futures {
		return out
	}
	for i := range min(p.HalfDays(), q.HalfDays()) {
		out.known[i] = p.known[i] && q.known[i]
		for w := range out.words {
			out.bits[i*p.words+w] = p.bits[i*p.words+w] & q.bits[i*p.words+w]
		}
	}
	return out
}

// FuturesOf is how many futures an ensemble of so many members makes: each
// member equally often, and 50 at the least, so that a tenth of them is a
// number worth naming.
func FuturesOf(members int) int {
	const least = 50
	if members < 1 {
		return least
	}
	return (least + members - 1) / members * members
}

// Draws are what the futures of one firm have in common at all its sites. The
// model is ours:
//
//   - Within the forecast a future is one member of the ensemble, the same one
//     at every site, for every task and half-day: future f is member f modulo
//     their number.
//   - A member is trusted only as far as a chance is (see forecastWeight): each
//     future leaves its member at a lead time of its own, and these are spread
//     evenly over the 2 to 12 days in which the weight falls from one to none.
//     So the share of futures that still follow the forecast is the weight.
//   - What kept forecasts taught (see Shrinkage) is taken alike: each future has
//     a trust of its own, spread evenly from 0 to 1, and follows its member only
//     while that lies below the share that is kept at the lead time.
//   - After that, and where there is no forecast, a future has a rank on each
//     day, and a half-day passes when the rank lies below the climate's chance
//     for its task, terrain, month and half. Sites of one firm lie close
//     together, so one rank holds for all of them, and for both halves of a day:
//     a bad day is bad for every crew, which makes the spread wider, not
//     narrower. The ranks of a day are (i+0.5)/n, each held by one future: the
//     share that passes is the climate's chance to within 1/n.
//   - From day to day a future keeps its rank with the probability persistence;
//     the others exchange theirs. Where the chance stays the same, that is also
//     the correlation of one day's passing with the next day's.
//
// A single run has no members: its futures pass when their rank lies below the
// run's chance.
//
// Where the worse of several services counts, a half-day at a site is drawn from
// the members of the one whose chance is the smallest there, which is the chance
// that a plan counts on.
type Draws struct {
	first   civil.Date
	futures int
	ranks   []float64 // by day, then future: above 0 and below 1
	leaves  []float64 // [days] of lead time at which a future leaves its member
	trusts  []float64 // above 0 and below 1: follows its member while more is kept
}

// persistence is how likely a future keeps its rank from one day to the next.
// The typical year's correlation of one workable half-day with the same half of
// the next day, months taken apart, is near it; a test counts it.
const persistence = 0.17

// NewDraws draws for so many days from a first one on. The same seed gives the
// same draws, and more days begin with those of fewer.
func NewDraws(first civil.Date, days, futures int, seed uint64) Draws {
	d := Draws{first: first, futures: futures, leaves: make([]float64, futures), trusts: make([]float64, futures)}
	for f, i := range rand.New(rand.NewPCG(seed, 0x7472757374)).Perm(futures) { // of its own stream, so that the rest is drawn as without it
		d.trusts[f] = midpoint(i, futures)
	}
	rng := rand.New(rand.NewPCG(seed, 0x66757475726573))
	for f, i := range rng.Perm(futures) {
		d.leaves[f] = leadTrusted + (leadNone-leadTrusted)*midpoint(i, futures)
	}
	today := make([]float64, futures)
	for f, i := range rng.Perm(futures) {
		today[f] = midpoint(i, futures)
	}
	var moving []int
	for range days {
		d.ranks = append(d.ranks, today...)
		moving = moving[:0]
		for f := range futures {
			if rng.Float64() >= persistence {
				moving = append(moving, f)
			}
		}
		rng.Shuffle(len(moving), func(i, j int) { today[moving[i]], today[moving[j]] = today[moving[j]], today[moving[i]] })
	}
	return d
}

func midpoint(i, of int) float64 { return (float64(i) + 0.5) / float64(of) }

// on gives the ranks of a day; none outside the days drawn.
func (d *Draws) on(day civil.Date) []float64 {
	i := int(day-d.first) * d.futures
	if i < 0 || i+d.futures > len(d.ranks) {
		return nil
	}
	return d.ranks[i : i+d.futures]
}

// Futures gives for every task, in the order of Tasks, the half-days that pass
// in each future. What Outlook calls unknown is unknown here too.
func Futures(s Series, l Limits, a Ahead, d Draws) []Passing { return NewLook(s, l, a).Futures(d, a.N) }

// Futures gives for every task which of n half-days from First on pass in each
// future.
func (k *Look) Futures(d Draws, n int) []Passing {
	out := make([]Passing, len(k.tasks))
	for i := range k.tasks {
		out[i] = k.passing(i, &d, n)
	}
	return out
}

// passing gives the row of one task.
func (k *Look) passing(task int, d *Draws, n int) Passing {
	row := emptyPassing(k.ahead.First, n, d.futures)
	if same := k.tasks[task].same; same != nil {
		return NewPassing(k.ahead.First, n, d.futures, func(civil.HalfDay, int) (bool, bool) { return same.Known, same.Known })
	}
	o := k.tasks[task].odds
	for i := range row.known {
		ask := k.ask(task, i)
		ranks := d.on((k.ahead.First + civil.HalfDay(i)).Date())
		from, to, lit := k.light.cut(ask.From, ask.To, o.darkMargin)
		switch {
		case ranks == nil:
		case !lit:
			row.known[i] = true // dark in every future
		default:
			by := o
			if len(o.beside) > 0 {
				_, by = o.of(ask, k.light)
			}
			by.draw(&row, i, ranks, d, from, to, ask)
		}
	}
	return row
}

// draw settles one half-day of a row, whose window is cut to daylight already,
// by the members of the service whose chance counts there.
func (o *odds) draw(row *Passing, i int, ranks []float64, d *Draws, from, to time.Time, a Ask) {
	climate := a.Climate.chance(o.rules, from.In(a.Loc))
	if o.tooOld != "" || len(o.series.Members) == 0 || to.After(o.horizon) {
		row.known[i] = climate.Known
		for f, rank := range ranks {
			if climate.Known && rank < climate.P {
				row.set(i, f)
			}
		}
		return
	}
	lead := max(0, from.Sub(a.Now).Hours()/24)
	h := o.hear(from, to, lead)
	if row.known[i] = h.known > 0 || h.run.Known; !row.known[i] {
		return
	}
	keep := a.Shrink.keep(lead)
	for f, rank := range ranks {
		pass := rank < climate.P
		if !climate.Known || lead < d.leaves[f] && d.trusts[f] < keep {
			pass = h.in(f, rank)
		}
		if pass {
			row.set(i, f)
		}
	}
}

// in tells whether a window passes in a future: what its member says, and of a
// single run whether the future's rank lies below the run's chance.
func (h heard) in(future int, rank float64) bool {
	if len(h.passes) == 0 {
		return rank < h.run.P
	}
	return h.passes[future%len(h.passes)]
}
