package solver

import (
	"math"
	"sync/atomic"
)

// trips remembers what trips cost. Asking the caller may be slow (a great
// circle takes some 100 ns, a search asks some hundred times a placing), so a
// trip is asked for once: the first time that it is needed. Searches side by
// side share the table; two that miss at the same time write the same number.
//
// With more places than a table can hold, only trips from and to homes have
// one. The rest goes through a small memory of each state's own.
type trips struct {
	ask    func(from, to Place) Cost
	places int
	row    []int32 // by place: its row in the table, -1 = none
	table  []int32 // by row and place; unasked = not asked yet
}

const (
	unasked  = -1
	mostRows = 16 << 20 // entries of the table: 64 MB
)

func newTrips(p *problem) trips {
	t := trips{ask: p.d.Trip}
	if !p.anyTour {
		return t
	}
	for _, r := range p.d.Resources {
		if r.Tour != nil {
			t.places = max(t.places, int(r.Tour.Home)+1)
		}
	}
	for i := range p.acts {
		t.places = max(t.places, int(p.acts[i].place)+1)
	}
	t.row = make([]int32, t.places)
	rows := int32(0)
	for i := range t.row {
		if t.row[i] = -1; t.places*t.places <= mostRows {
			t.row[i] = int32(i)
			rows++
		}
	}
	for _, r := range p.d.Resources {
		if r.Tour != nil && t.row[r.Tour.Home] < 0 && (int(rows)+1)*t.places <= mostRows {
			t.row[r.Tour.Home] = rows
			rows++
		}
	}
	t.table = make([]int32, int(rows)*t.places)
	for i := range t.table {
		t.table[i] = unasked
	}
	return t
}

// memory is a state's own memory of trips that have no row.
type memory struct {
	keys  []uint64
	costs []Cost
}

const memorySize = 1 << 16

// of gives what a trip costs; ok is false when it has no row.
func (t *trips) of(from, to Place) (c Cost, ok bool) {
	if from == to {
		return 0, true
	}
	if from > to {
		from, to = to, from
	}
	row, col := t.row[from], to
	if row < 0 {
		row, col = t.row[to], from
	}
	if row < 0 {
		return 0, false
	}
	at := &t.table[int(row)*t.places+int(col)]
	if c := atomic.LoadInt32(at); c != unasked {
		return Cost(c), true
	}
	c = t.ask(from, to)
	if c >= 0 && c <= math.MaxInt32 {
		atomic.StoreInt32(at, int32(c))
	}
	return c, true
}

func (s *state) trip(from, to Place) Cost {
	if c, ok := s.p.trips.of(from, to); ok {
		return c
	}
	return s.remember(min(from, to), max(from, to))
}

func (s *state) remember(from, to Place) Cost {
	m := &s.memory
	if m.keys == nil {
		m.keys, m.costs = make([]uint64, memorySize), make([]Cost, memorySize)
	}
	key := uint64(to)<<32 | uint64(from)
	at := (key * 0x9e3779b97f4a7c15) >> 48
	if m.keys[at] != key {
		m.keys[at], m.costs[at] = key, s.p.trips.ask(from, to)
	}
	return m.costs[at]
}
