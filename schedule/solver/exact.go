package solver

import "context"

// Proof is what Prove found out.
type Proof struct {
	Bound     Slot        // no plan of all activities is shorter
	Placed    []Placement // a plan of just that length; nil = none was found
	Conflicts int         // dead ends met on the way
}

// Prove raises the bound of Bound by exact search, as far as so many dead ends
// (conflicts) allow, and no further than upper, the length of a plan that is
// known. A Bound that equals upper proves that plan to be the shortest; a Placed
// plan is the shortest there is.
//
// It is lazy clause generation for the plain problem (Schutt, Feydt, Stuckey
// and Wallace 2011, "Explaining the cumulative propagator"): the windows of the
// activities are narrowed by what waits for what, by pairs that cannot run side
// by side and by the time table of what must run; each dead end is explained,
// and the explanation is kept as a clause that no plan may break. The length is
// tried from below. What the plain problem has not (calendars, modes, changing
// capacity) is relaxed as in Bound, so the bound holds for all Data; a plan is
// given only when Verify accepts it.
//
// The same data, upper and conflicts give the same proof unless the context
// ends first.
func Prove(ctx context.Context, d *Data, upper Slot, conflicts int) Proof {
	return proveFrom(ctx, d, min(Bound(d), upper), upper, conflicts)
}

// proveFrom is Prove with a bound that is known.
func proveFrom(ctx context.Context, d *Data, least, upper Slot, conflicts int) Proof {
	proof := Proof{Bound: least}
	r := relax(d)
	if r.circle || r.n == 0 || r.n > mostProved || upper > mostLength || proof.Bound >= upper {
		return proof
	}
	r.relate()
	p := newProver(r, proof.Bound, upper-1)
	starts := p.search(ctx, conflicts)
	proof.Bound, proof.Conflicts = p.length(upper), p.conflicts
	if starts != nil {
		proof.Placed = asPlan(d, r, starts)
	}
	return proof
}

// Larger problems are left to Bound: the tables grow with activities times
// length.
const (
	mostProved = 300
	mostLength = 5000
)

// asPlan gives the starts as a plan when they are one, else nil.
func asPlan(d *Data, r *relaxed, starts []Slot) []Placement {
	placed := make([]Placement, r.n)
	for i, s := range starts {
		placed[i] = Placement{Start: s, End: s + r.dur[i] - 1}
		if placed[i].End >= d.Slots {
			return nil
		}
	}
	v := Result{Placed: placed}
	for i := range placed {
		if d.Activities[i].Modes[0].Slots != r.dur[i] {
			return nil
		}
	}
	if v.Cost = Price(*d, placed); len(Verify(*d, v)) > 0 {
		return nil
	}
	return placed
}

// search looks for starts of the least length that is not refuted yet, raises
// the length when it is, and gives the first starts found. It ends when the
// conflicts are used up.
func (p *prover) search(ctx context.Context, conflicts int) []Slot {
	restart := 0
	for !p.broken {
		if p.propagate() {
			if p.decide() {
				continue
			}
			return p.starts()
		}
		if p.level() == 0 {
			p.broken = true
			break
		}
		p.learn()
		if p.conflicts++; p.conflicts >= conflicts || ctx.Err() != nil {
			p.backTo(0)
			p.broken = p.broken || !p.propagate()
			break
		}
		if p.since++; p.since >= 64*luby(restart) {
			p.since = 0
			restart++
			p.backTo(0)
			p.aim()
			p.forget()
		}
	}
	return nil
}

// aim lets the next decisions lead to the plan near which one is looked for.
func (p *prover) aim() {
	for i, s := range p.near {
		p.phase[i] = int32(s)
	}
}

// luby gives the sequence 1 1 2 1 1 2 4 ... by which searches are begun anew
// (Luby, Sinclair and Zuckerman 1993).
func luby(k int) int {
	size, power := 1, 1
	for size < k+1 {
		size, power = 2*size+1, 2*power
	}
	for size-1 != k {
		size /= 2
		power /= 2
		if k >= size {
			k -= size
		}
	}
	return power
}

// length gives the least length that is not refuted.
func (p *prover) length(upper Slot) Slot {
	if p.broken {
		return upper
	}
	p.backTo(0)
	return Slot(p.bound[2*p.sink])
}

// starts gives where the activities stand when all windows are single slots.
func (p *prover) starts() []Slot {
	starts := make([]Slot, p.sink)
	for i := range starts {
		starts[i] = Slot(p.bound[2*i])
	}
	return starts
}
