package solver

// board makes schedules from lists, and is what that takes of memory. A schedule
// generated is as many activities placed as there are, as Debels and Vanhoucke
// (2007) count: a pass of justification is one more, and a pass that is given up
// or that begins with what is known counts for the share that it places.
type board struct {
	*network
	free   []uint64 // by slot and word: the room that is left
	used   Slot     // slots of free that are not full room
	end    []Slot   // by activity: the slot after its last, in the schedule made last
	placed int      // activities placed by all passes
	count  []int32
}

func newBoard(n *network) *board {
	return &board{network: n, free: make([]uint64, int(n.slots)*n.words), used: n.slots,
		end: make([]Slot, len(n.dur)), count: make([]int32, n.slots+2)}
}

// serial starts each activity of a list as early as those before it in the list
// allow and gives the makespan (serial schedule generation, Kolisch 1996). The
// list must keep the precedence of the side. It gives up, with a number above
// limit, as soon as an activity and the path after it go beyond limit.
//
// The first activities of the list stand where the opening has them, which
// counts as one placed. What it does not know yet is placed and written into it.
func (b *board) serial(s *side, list []int32, limit Slot, o opening) (makespan Slot) {
	b.clear()
	known := o.known()
	if known > 0 {
		b.placed++
	}
	for k, i := range list {
		var end Slot
		if k < known {
			end = o.of.again[i]
			b.take(i, end-b.dur[i])
		} else {
			end = b.place(s, i)
			o.learn(k, i, end)
		}
		if end+s.tail[i] > limit {
			b.used = b.slots
			return limit + 1
		}
		b.end[i] = end
		makespan = max(makespan, end)
	}
	b.used = makespan
	return makespan
}

// place takes the earliest room for an activity behind those that it waits for
// and gives its end.
func (b *board) place(s *side, i int32) Slot {
	at := Slot(0)
	for _, l := range s.before(i) {
		at = max(at, b.end[l.act]+l.lag)
	}
	b.placed++
	if b.words == 1 {
		at = b.fit(i, at)
	} else {
		at = b.fitWide(i, at)
	}
	return at + b.dur[i]
}

// made is how many schedules the placed activities come to, rounded up.
func (b *board) made() int { return (b.placed + len(b.dur) - 1) / len(b.dur) }

func (b *board) clear() {
	rows := b.free[:int(b.used)*b.words]
	if b.words == 1 {
		room := b.room[0]
		for x := range rows {
			rows[x] = room
		}
		return
	}
	for x := 0; x < len(rows); x += b.words {
		copy(rows[x:], b.room)
	}
}

// fit takes the earliest room for an activity from a slot on. It looks at each
// slot once: from the end of where the activity might stand back to what is
// known to have room, and behind the first slot that has none it begins anew.
func (b *board) fit(i int32, at Slot) Slot {
	d, need, guard, free := b.dur[i], b.need[i], b.guard, b.free
	for known := at; ; {
		x := at + d - 1
		for x >= known && (free[x]-need)&guard == guard {
			x--
		}
		if x < known {
			break
		}
		known, at = at+d, x+1
	}
	b.take(i, at)
	return at
}

// fitWide is fit for resources that take more than one word.
func (b *board) fitWide(i int32, at Slot) Slot {
	d, w := b.dur[i], Slot(b.words)
	need := b.need[i*int32(w) : (i+1)*int32(w)]
	for x := at; x < at+d; x++ {
		for k, n := range need {
			if (b.free[x*w+Slot(k)]-n)&b.guard != b.guard {
				at = x + 1
				break
			}
		}
	}
	b.take(i, at)
	return at
}

// take takes the room for an activity from a slot on.
func (b *board) take(i int32, at Slot) {
	w := b.words
	need, taken := b.need[int(i)*w:(int(i)+1)*w], b.free[int(at)*w:int(at+b.dur[i])*w]
	if w == 1 {
		for x := range taken {
			taken[x] -= need[0]
		}
		return
	}
	for x := 0; x < len(taken); x += w {
		for k, n := range need {
			taken[x+k] -= n
		}
	}
}

// byEnd writes the activities of the schedule made last by their ends, the last
// first. Seen from the other side that is a list that keeps precedence, and
// made into a schedule there it is the same plan justified (Valls, Ballestin
// and Quintanilla 2005): never longer.
func (b *board) byEnd(list []int32, makespan Slot) {
	count := b.count[:makespan+2]
	clear(count)
	for _, e := range b.end {
		count[makespan-e+1]++
	}
	for x := 1; x < len(count); x++ {
		count[x] += count[x-1]
	}
	for i, e := range b.end {
		list[count[makespan-e]] = int32(i)
		count[makespan-e]++
	}
}

// mark tells schedules apart: two of one mark are taken for the same (FNV-1a
// over the ends).
func (b *board) mark() uint64 {
	m := uint64(14695981039346656037)
	for _, e := range b.end {
		m = (m ^ uint64(e)) * 1099511628211
	}
	return m
}
