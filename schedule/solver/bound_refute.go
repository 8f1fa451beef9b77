package solver

// refuteFrom raises a bound as long as plans of that length lead to a
// contradiction: the destructive improvement of Klein and Scholl 1999. work
// bounds the elementary steps, so the answer does not depend on a clock.
func (r *relaxed) refuteFrom(bound Slot, work int) Slot {
	w := &windows{relaxed: r, left: work, pairs: r.pairs()}
	for w.refuted(bound) {
		bound++
	}
	return bound
}

// cheapWork is the number of elementary steps that Bound may take: some three
// milliseconds.
const cheapWork = 1_000_000

// windows are the starts that are left to each activity when the plan has a
// given length.
type windows struct {
	*relaxed
	first, last []Slot // earliest and latest start
	length      Slot
	pairs       [][2]int32
	use         []Amount // by slot, of one resource
	left        int      // elementary steps
	changed     bool
	starts      []Slot
	ends        []Slot
}

// pairs lists those that wait for each other in one order or the other.
func (r *relaxed) pairs() (pairs [][2]int32) {
	for i := range r.n {
		for j := range i {
			if r.apart[i][j] && !r.waits[i][j] && !r.waits[j][i] {
				pairs = append(pairs, [2]int32{int32(i), int32(j)})
			}
		}
	}
	return pairs
}

// refuted tells whether no plan can have this length, as far as it is seen
// with the work that is left.
func (w *windows) refuted(length Slot) bool {
	w.length = length
	w.first = append(w.first[:0], w.head...)
	w.last = w.last[:0]
	for i := range w.n {
		w.last = append(w.last, length-w.tail[i]-w.dur[i])
		if w.last[i] < w.first[i] {
			return true
		}
	}
	w.changed = true
	for w.changed && w.left > 0 {
		w.changed = false
		if !w.links() || !w.disjoint() || !w.profiles() {
			return true
		}
		if !w.changed && !w.energies() {
			return true
		}
	}
	return false
}

// raise and lower narrow a window; false = nothing is left of it.
func (w *windows) raise(i int, to Slot) bool {
	if to > w.first[i] {
		w.first[i], w.changed = to, true
	}
	return w.first[i] <= w.last[i]
}

func (w *windows) lower(i int, to Slot) bool {
	if to < w.last[i] {
		w.last[i], w.changed = to, true
	}
	return w.first[i] <= w.last[i]
}

// links lets those that wait for each other push their windows.
func (w *windows) links() bool {
	w.left -= 4 * w.n
	for _, i := range w.order {
		for _, l := range w.before[i] {
			if !w.raise(i, w.first[l.Activity]+w.dur[l.Activity]+l.Lag) {
				return false
			}
		}
	}
	for k := len(w.order) - 1; k >= 0; k-- {
		i := w.order[k]
		for _, l := range w.after[i] {
			if !w.lower(i, w.last[l.Activity]-l.Lag-w.dur[i]) {
				return false
			}
		}
	}
	return true
}

// disjoint settles pairs that cannot run side by side when only one order is
// left (immediate selection, Carlier and Pinson 1989).
func (w *windows) disjoint() bool {
	w.left -= len(w.pairs)
	for _, p := range w.pairs {
		i, j := int(p[0]), int(p[1])
		ij, ji := w.first[i]+w.dur[i] <= w.last[j], w.first[j]+w.dur[j] <= w.last[i]
		switch {
		case !ij && !ji:
			return false
		case !ji && (!w.raise(j, w.first[i]+w.dur[i]) || !w.lower(i, w.last[j]-w.dur[i])):
			return false
		case !ij && (!w.raise(i, w.first[j]+w.dur[j]) || !w.lower(j, w.last[i]-w.dur[j])):
			return false
		}
	}
	return true
}

// profiles adds up by slot what must run there wherever it starts (between the
// latest start and the earliest end), and moves the others out of slots that
// are full.
func (w *windows) profiles() bool {
	for k, capacity := range w.capacity {
		if capacity > 0 && !w.profile(k, capacity) {
			return false
		}
	}
	return true
}

func (w *windows) profile(k int, capacity Amount) bool {
	w.use = append(w.use[:0], make([]Amount, w.length)...)
	w.left -= int(w.length) + w.n
	for i := range w.n {
		if w.need[i][k] == 0 {
			continue
		}
		for s := w.last[i]; s < w.first[i]+w.dur[i]; s++ {
			if w.use[s] += w.need[i][k]; w.use[s] > capacity {
				return false
			}
		}
	}
	for i := range w.n {
		if w.need[i][k] > 0 && w.dur[i] > 0 && !w.fit(i, w.need[i][k], capacity) {
			return false
		}
	}
	return true
}

// fit moves the window of one activity past full slots. What it must use itself
// was known when the profile was made, so its own part is in slots from own on.
func (w *windows) fit(i int, need, capacity Amount) bool {
	w.left -= 2 * int(w.dur[i])
	own, ownEnd := w.last[i], w.first[i]+w.dur[i]
	full := func(s Slot) bool {
		used := w.use[s]
		if s >= own && s < ownEnd {
			used -= need
		}
		return used+need > capacity
	}
	first := w.first[i]
	for s := first; s < first+w.dur[i] && first <= w.last[i]; s++ {
		if full(s) {
			first = s + 1
		}
	}
	if !w.raise(i, first) {
		return false
	}
	end := w.last[i] + w.dur[i]
	for s := end - 1; s >= end-w.dur[i] && end-w.dur[i] >= w.first[i]; s-- {
		if full(s) {
			end = s
		}
	}
	return w.lower(i, end-w.dur[i])
}

// energies holds the work that must lie in a stretch of time, however the
// activities are shifted, against what the stretch can hold (energetic
// reasoning, Baptiste, Le Pape and Nuijten 1999), for the stretches from an
// earliest start to a latest end.
func (w *windows) energies() bool {
	for k, capacity := range w.capacity {
		if capacity > 0 && !w.energy(k, Cost(capacity)) {
			return false
		}
	}
	return true
}

func (w *windows) energy(k int, capacity Cost) bool {
	w.starts, w.ends = w.starts[:0], w.ends[:0]
	for i := range w.n {
		if w.need[i][k] > 0 {
			w.starts, w.ends = insert(w.starts, w.first[i]), insert(w.ends, w.last[i]+w.dur[i])
		}
	}
	for _, from := range w.starts {
		for _, to := range w.ends {
			if to <= from {
				continue
			}
			if w.left -= w.n; w.left <= 0 {
				return true
			}
			work := Cost(0)
			for i := range w.n {
				if inside := min(w.dur[i], to-from, w.first[i]+w.dur[i]-from, to-w.last[i]); inside > 0 {
					work += Cost(inside) * Cost(w.need[i][k])
				}
			}
			if work > capacity*Cost(to-from) {
				return false
			}
		}
	}
	return true
}

// insert adds a value to an unsorted set.
func insert(set []Slot, s Slot) []Slot {
	for _, x := range set {
		if x == s {
			return set
		}
	}
	return append(set, s)
}
