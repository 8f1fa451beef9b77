package solver

// Bound gives a number of slots below which no plan of all activities can go.
// It is the best of what can be worked out in few milliseconds:
//
//   - the longest path, and the path bent round what cannot lie beside it
//     (bound_path.go; Stinson, Davis and Khumawala 1978);
//   - the work divided by the capacity, of all activities and of those between
//     a head and a tail (bound_load.go; Carlier 1982 for one machine);
//   - activities of which no two can run side by side (bound_pack.go; the node
//     packing of Mingozzi, Maniezzo, Ricciardelli and Bianco 1998);
//   - lengths that lead to a contradiction (bound_refute.go; the destructive
//     improvement of Klein and Scholl 1999).
//
// Calendars, modes, releases and changing capacity are relaxed, never ignored
// the wrong way: the bound holds for all Data. The same data give the same bound.
func Bound(d *Data) Slot {
	r := relax(d)
	bound := max(r.path(), r.load())
	if r.circle || r.n > mostRelaxed {
		return bound
	}
	r.relate()
	bound = max(bound, r.bentPath(), r.packing())
	return r.refuteFrom(bound, cheapWork)
}

// mostRelaxed is the number of activities up to which pairs of them are looked
// at: the tables grow with its square.
const mostRelaxed = 600

// CriticalPath gives the length of the longest path of activities, each in its
// shortest mode, with releases and lags, as if resources were without end and
// every slot open: what the literature measures long schedules against. Data
// with a circle gives the longest path outside it.
func CriticalPath(d *Data) Slot { return criticalPath(d) }

func criticalPath(d *Data) Slot {
	free := *d
	free.Calendars, free.Resources = nil, nil
	return relax(&free).path()
}

// relaxed is a problem made easier, so that what bounds it bounds the real one
// too: every activity in its shortest mode with the least demand of any of its
// modes, capacity as large as it ever is. An activity that may bridge closed
// time demands nothing, since another may work in the gap; its work still
// counts in the load.
type relaxed struct {
	n        int
	dur      []Slot
	head     []Slot // no earlier start can be
	tail     []Slot // at least so much follows its end
	need     [][]Amount
	work     [][]Cost // by activity and resource: least slots times amount in any mode
	before   [][]Link
	after    [][]Link
	capacity []Amount // by resource; 0 = not looked at
	order    []int    // each after those it waits for
	circle   bool     // some wait for each other: order is without them
	apart    [][]bool // two that never run side by side: one waits for the other, or a resource cannot hold both
	waits    [][]bool // apart because the first waits for the second, directly or not
}

func relax(d *Data) *relaxed {
	r := &relaxed{n: len(d.Activities), capacity: make([]Amount, len(d.Resources))}
	for k := range d.Resources {
		if d.Resources[k].Grain <= 1 {
			for _, c := range d.Resources[k].Capacity {
				r.capacity[k] = max(r.capacity[k], c)
			}
		}
	}
	always := alwaysOpen(d)
	for i := range d.Activities {
		r.add(&d.Activities[i], always)
	}
	for i, links := range r.before {
		for _, l := range links {
			r.after[l.Activity] = append(r.after[l.Activity], Link{Activity: i, Lag: l.Lag})
		}
	}
	r.sort()
	r.heads(d)
	r.tails()
	return r
}

// alwaysOpen tells of each calendar whether it has no closed slot.
func alwaysOpen(d *Data) []bool {
	always := make([]bool, len(d.Calendars))
	for k, c := range d.Calendars {
		always[k] = true
		for _, open := range c {
			always[k] = always[k] && open
		}
	}
	return always
}

func (r *relaxed) add(a *Activity, always []bool) {
	dur, need, work := Slot(0), make([]Amount, len(r.capacity)), make([]Cost, len(r.capacity))
	for m := range a.Modes {
		amounts, takes := make([]Amount, len(r.capacity)), a.Modes[m].Slots
		for _, u := range a.Modes[m].Uses {
			if u.Resource < len(amounts) {
				amounts[u.Resource] += u.Amount
			}
		}
		gaps := a.Modes[m].Calendar < len(always) && !always[a.Modes[m].Calendar]
		if m == 0 {
			dur = takes
		}
		dur = min(dur, takes)
		for k, amount := range amounts {
			w := Cost(amount) * Cost(takes)
			if gaps {
				amount = 0
			}
			if m == 0 {
				need[k], work[k] = amount, w
			}
			need[k], work[k] = min(need[k], amount), min(work[k], w)
		}
	}
	r.dur, r.need, r.work = append(r.dur, dur), append(r.need, need), append(r.work, work)
	r.before, r.after = append(r.before, a.After), append(r.after, nil)
}

func (r *relaxed) sort() {
	waits := make([]int, r.n)
	for i := range r.n {
		if waits[i] = len(r.before[i]); waits[i] == 0 {
			r.order = append(r.order, i)
		}
	}
	for k := 0; k < len(r.order); k++ {
		for _, l := range r.after[r.order[k]] {
			if waits[l.Activity]--; waits[l.Activity] == 0 {
				r.order = append(r.order, l.Activity)
			}
		}
	}
	r.circle = len(r.order) < r.n
}

// heads gives each activity the earliest start that releases, calendars and
// those before it allow.
func (r *relaxed) heads(d *Data) {
	r.head = make([]Slot, r.n)
	end := make([]Slot, r.n) // earliest, exclusive
	for _, i := range r.order {
		a := &d.Activities[i]
		from := a.Release
		for _, l := range r.before[i] {
			from = max(from, end[l.Activity]+l.Lag)
		}
		first := true
		for m := range a.Modes {
			start := a.Modes[m].startFrom(from)
			e := a.Modes[m].endFrom(d, start)
			if first || start < r.head[i] {
				r.head[i] = start
			}
			if first || e < end[i] {
				end[i] = e
			}
			first = false
		}
	}
}

// startFrom gives the first slot at or after from in which the mode may start
// as far as its release goes.
func (m *Mode) startFrom(from Slot) Slot {
	start := max(from, m.Release)
	for _, s := range m.Also {
		if s >= from {
			start = min(start, s)
		}
	}
	return start
}

// endFrom gives the slot after the last of m.Slots open ones from start on.
// What finds no room on the line counts as if the line went on, open.
func (m *Mode) endFrom(d *Data, start Slot) Slot {
	if m.Calendar >= len(d.Calendars) {
		return start + m.Slots
	}
	open, left := d.Calendars[m.Calendar], m.Slots
	for s := start; int(s) < len(open); s++ {
		if open[s] {
			if left--; left == 0 {
				return s + 1
			}
		}
	}
	return max(start, Slot(len(open))) + left
}

func (r *relaxed) tails() {
	r.tail = make([]Slot, r.n)
	for k := len(r.order) - 1; k >= 0; k-- {
		i := r.order[k]
		for _, l := range r.after[i] {
			r.tail[i] = max(r.tail[i], l.Lag+r.dur[l.Activity]+r.tail[l.Activity])
		}
	}
}

// relate fills in which pairs never run side by side.
func (r *relaxed) relate() {
	cells := make([]bool, 2*r.n*r.n)
	row := func() []bool {
		one := cells[:r.n:r.n]
		cells = cells[r.n:]
		return one
	}
	for range r.n {
		r.apart, r.waits = append(r.apart, row()), append(r.waits, row())
	}
	for _, i := range r.order {
		for _, l := range r.before[i] {
			r.waits[i][l.Activity] = true
			for j, w := range r.waits[l.Activity] {
				r.waits[i][j] = r.waits[i][j] || w
			}
		}
	}
	for i := range r.n {
		for j := range i {
			both := r.waits[i][j] || r.waits[j][i] || r.tooMuch(i, j)
			r.apart[i][j], r.apart[j][i] = both, both
		}
	}
}

// tooMuch tells whether two activities together demand more than there is.
func (r *relaxed) tooMuch(i, j int) bool {
	for k, c := range r.capacity {
		if a, b := r.need[i][k], r.need[j][k]; c > 0 && a > 0 && b > 0 && a+b > c {
			return true
		}
	}
	return false
}
