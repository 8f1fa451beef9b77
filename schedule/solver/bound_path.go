package solver

// path gives the length of the longest path.
func (r *relaxed) path() (length Slot) {
	for _, i := range r.order {
		length = max(length, r.head[i]+r.dur[i]+r.tail[i])
	}
	return length
}

// bentPath gives the bound of the critical sequence (Stinson, Davis and
// Khumawala 1978). While an activity runs, the longest path goes on only in
// parts that can lie beside it, and in one stretch; for what is left of the
// activity the path stands still.
func (r *relaxed) bentPath() Slot {
	length := r.path()
	chain, on := r.longestChain(length)
	bent := Slot(0)
	for j := range r.n {
		if on[j] {
			continue
		}
		stretch, longest := Slot(0), Slot(0)
		for _, part := range chain {
			if part.activity >= 0 && r.apart[j][part.activity] {
				stretch = 0
				continue
			}
			stretch += part.length
			longest = max(longest, stretch)
		}
		bent = max(bent, r.dur[j]-longest)
	}
	return length + bent
}

// part is a piece of the longest path: an activity, or with -1 a wait that
// anything may lie beside.
type part struct {
	activity int
	length   Slot
}

// longestChain gives one longest path from slot 0 to its end.
func (r *relaxed) longestChain(length Slot) (chain []part, on []bool) {
	on = make([]bool, r.n)
	at, from := -1, Slot(0)
	for _, i := range r.order {
		if r.head[i]+r.dur[i]+r.tail[i] == length && (at < 0 || r.head[i] < r.head[at]) {
			at = i
		}
	}
	for at >= 0 {
		i := at
		if wait := r.head[i] - from; wait > 0 {
			chain = append(chain, part{-1, wait})
		}
		chain, on[i] = append(chain, part{i, r.dur[i]}), true
		at, from = -1, r.head[i]+r.dur[i]
		for _, l := range r.after[i] {
			if j := l.Activity; r.head[j]+r.dur[j]+r.tail[j] == length && l.Lag+r.dur[j]+r.tail[j] == r.tail[i] && at < 0 {
				at = j
			}
		}
	}
	return chain, on
}
