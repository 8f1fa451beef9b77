package solver

import (
	"context"
	"math/rand/v2"
	"sync"
)

// apart is how many schedules each search makes between two exchanges.
const apart = 1000

// solve runs as many searches side by side as there are workers, each with its
// share of the schedules and chances of its own. After each stretch the best of
// each goes to the next (island model). Searches meet by counts and never by
// the clock, so the answer depends on seed, schedules and workers alone, unless
// the context ends the search.
func (n *network) solve(ctx context.Context, stop Stop, seed uint64) Result {
	budget := max(1, stop.Schedules)
	f := newFinisher(n, budget)
	islands := make([]*breeding, min(max(1, stop.Workers), budget))
	for k := range islands {
		islands[k] = newBreeding(n, f.bred(budget)/len(islands), rand.New(rand.NewPCG(seed, 0x6c69_7374+uint64(k))))
	}
	a := archipelago{islands, f, stop.Progress}
	for made := 0; made < budget; {
		a.run(ctx, min(a.finisher.ahead(made, budget-made), apart*len(islands)))
		if made = a.made(); a.finisher.due(made) && a.best().span > n.bound && ctx.Err() == nil {
			a.finisher.run(ctx, a.best(), budget-made)
			made = a.made()
		}
		a.tell()
		if a.best().span <= n.bound || ctx.Err() != nil {
			break
		}
		a.exchange()
	}
	return a.result()
}

type archipelago struct {
	islands  []*breeding
	finisher finisher
	progress func(Progress)
}

// run shares so many schedules among the islands.
func (a *archipelago) run(ctx context.Context, schedules int) {
	var wait sync.WaitGroup
	for k, b := range a.islands {
		n := schedules / len(a.islands)
		if k < schedules%len(a.islands) {
			n++
		}
		if k == len(a.islands)-1 {
			b.run(ctx, n)
			break
		}
		wait.Go(func() { b.run(ctx, n) })
	}
	wait.Wait()
}

func (a *archipelago) made() (sum int) {
	for _, b := range a.islands {
		sum += b.made()
	}
	return sum + a.finisher.met()
}

func (a *archipelago) best() *breeding {
	best := a.islands[0]
	for _, b := range a.islands {
		if b.span < best.span {
			best = b
		}
	}
	return best
}

// exchange gives the best of each island to the next.
func (a *archipelago) exchange() {
	if len(a.islands) == 1 {
		return
	}
	for k, b := range a.islands {
		next := a.islands[(k+1)%len(a.islands)]
		for side := range b.stocks {
			if s := &b.stocks[side]; s.size > 0 {
				next.welcome(side, s.top())
			}
		}
	}
}

// welcome takes a copy of a guest into a stock that is full and has a worse one.
func (b *breeding) welcome(side int, guest *individual) {
	if s := &b.stocks[side]; s.size == s.most {
		b.kid.copy(guest)
		s.admit(&b.kid)
	}
}

func (a *individual) copy(b *individual) {
	copy(a.list, b.list)
	copy(a.end, b.end)
	a.span, a.strain, a.mark, a.known = b.span, b.strain, b.mark, 0
}

func (a *archipelago) tell() {
	if a.progress != nil {
		b := a.best()
		a.progress(Progress{Schedules: a.made(), Best: b.cost(b.span), Bound: b.cost(b.bound)})
	}
}

func (n *network) cost(makespan Slot) Cost { return n.p.d.Makespan * Cost(makespan) }

func (a *archipelago) result() Result {
	b := a.best()
	r := Result{Placed: make([]Placement, b.named), Cost: b.cost(b.span), First: b.cost(a.islands[0].first),
		Schedules: a.made(), Bound: b.cost(b.bound)}
	for i, s := range b.best {
		r.Placed[i] = Placement{Start: s, End: s + b.dur[i] - 1}
	}
	return r
}
