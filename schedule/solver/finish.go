package solver

import "context"

// A long search of a plain problem turns to the exact search (exact.go) once in
// each stretch of so many schedules, for the last part of it. There it is asked
// for any plan shorter than the best, which it looks for near the best; when
// there is none, the best is proven and all search ends. A dead end is counted
// as one schedule generated: it is one partial plan, built until nothing can
// follow, though it takes several times as long.
//
// Measured on PSPLIB: of 1,000 or 5,000 schedules none can be spared. At 50,000
// the mean deviation falls from 0.008 to 0.000% on J30, from 10.70 to 10.62% on
// J60, both with a tenth, and from 30.13 to 30.03% on 52 instances of J120, with
// a fifth, where it takes three times as long.
const (
	finishStretch = 50_000
	finishLeast   = 20_000 // schedules below which there is no exact search
	finishLarge   = 60     // activities above which it has a fifth of a stretch
)

// finisher is the exact search that a search turns to, and goes on with the
// next time.
type finisher struct {
	net     *network
	stretch int // schedules, dead ends among them; 0 = there is no exact search
	share   int // dead ends at the end of a stretch
	until   int // dead ends that may have been met by now
	exact   *prover
}

func newFinisher(n *network, budget int) finisher {
	f := finisher{net: n}
	if budget < finishLeast || n.named > mostProved || n.slots > mostLength {
		return f
	}
	f.stretch = min(budget, finishStretch)
	if f.share = f.stretch / 10; n.named > finishLarge {
		f.share = f.stretch / 5
	}
	return f
}

// bred is how many of a budget are left to the genetic search.
func (f *finisher) bred(budget int) int {
	if f.stretch == 0 {
		return budget
	}
	return budget - budget/f.stretch*f.share
}

// ahead gives how many schedules are to be made before the next turn of the
// exact search, when so many have been.
func (f *finisher) ahead(made, left int) int {
	if f.stretch == 0 {
		return left
	}
	return min(left, f.stretch-f.share-made%f.stretch)
}

// due tells whether it is the turn of the exact search.
func (f *finisher) due(made int) bool {
	return f.stretch > 0 && made%f.stretch == f.stretch-f.share
}

// met counts the dead ends.
func (f *finisher) met() int {
	if f.exact == nil {
		return 0
	}
	return f.exact.conflicts
}

// run makes the best plan shorter and shorter until its share of dead ends, and
// no more than left, is used up, the context ends or it is proven that there is
// nothing shorter.
func (f *finisher) run(ctx context.Context, b *breeding, left int) {
	p := f.prover(b.span)
	f.until += min(f.share, left)
	for p.shorter(b.span) {
		p.near = append(p.near[:0], b.best...)
		p.aim()
		starts := p.search(ctx, f.until)
		if starts == nil {
			break
		}
		if asPlan(f.net.p.d, p.relaxed, starts) == nil { // not the same problem: it proves nothing
			f.stretch = 0
			return
		}
		b.take(starts)
	}
	f.net.bound = max(f.net.bound, p.length(b.span))
}

// prover makes the exact search when it is asked for the first time.
func (f *finisher) prover(span Slot) *prover {
	if f.exact == nil {
		r := relax(f.net.p.d)
		r.relate()
		f.exact = newProver(r, f.net.bound, span-1)
	}
	return f.exact
}

// shorter asks for plans of less than so many slots from now on. false = there
// are none.
func (p *prover) shorter(span Slot) bool {
	p.backTo(0)
	p.broken = p.broken || !p.raise(int32(2*p.sink+1), -int32(span-1), reason{kind: decided})
	return !p.broken
}

// take keeps a plan of another search as the best.
func (b *breeding) take(starts []Slot) {
	b.best, b.span = append(b.best[:0], starts...), 0
	for i, s := range starts {
		b.span = max(b.span, s+b.dur[i])
	}
}
