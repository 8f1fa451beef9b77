package solver

import (
	"context"
	"sync"
)

// team is searches side by side over one problem. They work in rounds of so
// many schedules each, and after each round those that are behind go on from
// the best plan. Who does what depends on counts alone, so the answer is the
// same on one core and on many.
type team struct {
	p      *problem
	stop   Stop
	all    []*search
	made   int
	first  Cost
	bound  Cost // no plan costs less; known once bounds is through
	bounds sync.WaitGroup
	rounds int
	best   *search
}

func newTeam(p *problem, stop Stop, seed uint64) *team {
	t := &team{p: p, stop: stop}
	t.bounds.Go(func() { t.bound = p.costBound() }) // beside the first plan
	for k := range max(1, stop.Workers) {
		t.all = append(t.all, newSearch(p, seed+uint64(k)*0x9e37_79b9_7f4a_7c15))
	}
	t.best = t.all[0]
	return t
}

// round is how many schedules each search makes before they compare.
const round = 100

func (t *team) run(ctx context.Context) {
	t.construct(ctx)
	if len(t.p.groups) == 0 {
		return
	}
	for t.made < t.stop.Schedules && ctx.Err() == nil {
		left := t.stop.Schedules - t.made
		t.each(func(k int, s *search) {
			n := min(round, (left+len(t.all)-1-k)/len(t.all))
			for ; n > 0 && ctx.Err() == nil; n-- {
				s.advance()
			}
		})
		t.compare(ctx)
	}
}

// each lets all searches do something at the same time.
func (t *team) each(do func(k int, s *search)) {
	if len(t.all) == 1 {
		do(0, t.all[0])
		return
	}
	var wait sync.WaitGroup
	for k, s := range t.all {
		wait.Go(func() { do(k, s) })
	}
	wait.Wait()
}

// construct builds one schedule by each priority rule, each search its share.
// The first of all is always made.
func (t *team) construct(ctx context.Context) {
	for r, rules := 0, t.p.rules(); r < rules; r += len(t.all) {
		if r > 0 && (t.made >= t.stop.Schedules || ctx.Err() != nil) {
			break
		}
		t.each(func(k int, s *search) {
			if r+k < rules && (r+k == 0 || r+k < t.stop.Schedules) {
				s.build(ctx, t.p.rule(r+k), r+k == 0)
				if r+k == 0 {
					t.tellFirst(s)
				}
			}
		})
		t.count()
		t.tell()
	}
	t.first = t.p.money(t.best.bestCost, t.best.best)
	for _, s := range t.all {
		if s != t.best {
			s.adopt(t.best)
		} else {
			s.restore()
		}
	}
}

// tellFirst tells of the first plan as soon as it stands, while others are still
// being built and the bound may not be known.
func (t *team) tellFirst(s *search) {
	if t.stop.Progress != nil && len(t.all) > 1 && s.bestCost < Never {
		t.stop.Progress(Progress{Schedules: 1, Best: t.p.money(s.bestCost, s.best)})
	}
}

// count adds up what was made and finds the best.
func (t *team) count() {
	t.bounds.Wait()
	t.made = 0
	for _, s := range t.all {
		t.made += s.schedules
		if s.bestCost < t.best.bestCost {
			t.best = s
		}
	}
}

// compare lets those that are behind go on from the best plan, now and then.
func (t *team) compare(ctx context.Context) {
	t.count()
	if t.rounds++; t.rounds%4 == 0 {
		for _, s := range t.all {
			if s.bestCost > t.best.bestCost {
				s.adopt(t.best)
			}
		}
	}
	t.tell()
}

// tell reports how far the search is.
func (t *team) tell() {
	if t.stop.Progress != nil {
		t.stop.Progress(Progress{Schedules: t.made, Best: t.p.money(t.best.bestCost, t.best.best), Bound: t.bound})
	}
}

func (t *team) result() Result {
	b := t.best
	r := Result{Placed: make([]Placement, len(b.best)), Cost: t.p.money(b.bestCost, b.best), Schedules: t.made, First: t.first, Bound: t.bound}
	for i, c := range b.best {
		r.Placed[i] = Placement{Mode: int(c.mode), Start: c.start, End: c.end}
		if c.mode < 0 {
			r.Placed[i] = Placement{Mode: -1}
		}
		if t.p.d.Activities[i].Pin != nil && !b.pinned[i] {
			r.Unpinned = append(r.Unpinned, i)
		}
	}
	return r
}
