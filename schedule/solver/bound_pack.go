package solver

// packing gives the length of a set of activities of which no two run side by
// side, from the least head in it to the least tail: the bound LB3 of Mingozzi,
// Maniezzo, Ricciardelli and Bianco 1998, which packs nodes by their weight. A
// heaviest set is hard to find, so one is grown from each activity, taking
// each time the one that leaves most to choose from.
func (r *relaxed) packing() (bound Slot) {
	free := make([]int, 0, r.n)
	for seed := range r.n {
		free = free[:0]
		for j := range r.n {
			if r.apart[seed][j] {
				free = append(free, j)
			}
		}
		head, tail, sum := r.head[seed], r.tail[seed], r.dur[seed]
		bound = max(bound, head+sum+tail)
		for len(free) > 0 {
			next := r.heaviest(free)
			head, tail, sum = min(head, r.head[next]), min(tail, r.tail[next]), sum+r.dur[next]
			bound = max(bound, head+sum+tail)
			kept := free[:0]
			for _, j := range free {
				if r.apart[next][j] {
					kept = append(kept, j)
				}
			}
			free = kept
		}
	}
	return bound
}

// heaviest gives the activity that together with those it leaves free is
// longest; among equals the first.
func (r *relaxed) heaviest(free []int) int {
	best, most := free[0], Slot(-1)
	for _, i := range free {
		sum := r.dur[i]
		for _, j := range free {
			if r.apart[i][j] {
				sum += r.dur[j]
			}
		}
		if sum > most {
			best, most = i, sum
		}
	}
	return best
}
