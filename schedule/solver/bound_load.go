package solver

import "slices"

// load gives, over all resources, heads and tails, the slots that the work of
// the activities with at least that head and at least that tail takes, between
// the head and the tail: the bound of Carlier 1982 for one machine, with the
// work divided by the capacity.
func (r *relaxed) load() (bound Slot) {
	byHead := slices.Clone(r.order)
	slices.SortStableFunc(byHead, func(a, b int) int { return int(r.head[b] - r.head[a]) })
	tails := slices.Clone(r.tail)
	slices.Sort(tails)
	tails = slices.Compact(tails)
	if r.n > mostRelaxed {
		tails = tails[:1]
	}
	for k, capacity := range r.capacity {
		if capacity == 0 {
			continue
		}
		for _, tail := range tails {
			work := Cost(0)
			for _, i := range byHead {
				if r.tail[i] >= tail && r.work[i][k] > 0 {
					work += r.work[i][k]
					bound = max(bound, r.head[i]+tail+Slot((work+Cost(capacity)-1)/Cost(capacity)))
				}
			}
		}
	}
	return bound
}
