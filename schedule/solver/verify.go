package solver

import (
	"fmt"
	"slices"
)

// Verify checks a result against the data without any of the search's code:
// it walks the tables slot by slot, counts every use again, and adds the cost
// up from the formula. It returns what is wrong, each in a sentence; nothing
// when all is right.
func Verify(d Data, r Result) []string {
	v := &verifier{d: &d, placed: r.Placed}
	if len(r.Placed) != len(d.Activities) {
		return []string{fmt.Sprintf("%d placements for %d activities", len(r.Placed), len(d.Activities))}
	}
	v.slots = make([][]Slot, len(r.Placed))
	for i := range r.Placed {
		v.activity(i)
	}
	if len(v.wrong) > 0 {
		return v.wrong
	}
	v.links()
	v.units()
	v.spans()
	v.resources()
	v.lingering()
	if cost := v.cost(); cost != r.Cost {
		v.say("the cost is %d, the result says %d", cost, r.Cost)
	}
	return v.wrong
}

// Price adds up what placements cost, from the formula at the head of this
// package and not the way the search does it. The placements must be on the
// line and fit their calendars; nothing else is asked of them.
func Price(d Data, placed []Placement) Cost {
	v := &verifier{d: &d, placed: placed, slots: make([][]Slot, len(placed))}
	for i := range placed {
		v.activity(i)
	}
	return v.cost()
}

type verifier struct {
	d      *Data
	placed []Placement
	slots  [][]Slot // by activity: the slots it is worked in
	wrong  []string
}

func (v *verifier) say(format string, args ...any) {
	v.wrong = append(v.wrong, fmt.Sprintf(format, args...))
}

func cell(table []Cost, s Slot) Cost {
	if table == nil {
		return 0
	}
	return table[s]
}

// activity checks one activity by itself and lists its slots.
func (v *verifier) activity(i int) {
	a, at := &v.d.Activities[i], v.placed[i]
	if at.Mode < 0 {
		return
	}
	if at.Mode >= len(a.Modes) || at.Start < 0 || at.End >= v.d.Slots || at.End < at.Start {
		v.say("activity %d stands in mode %d, slots %d to %d: there is no such place", i, at.Mode, at.Start, at.End)
		return
	}
	m := &a.Modes[at.Mode]
	for s := at.Start; s <= at.End; s++ {
		if v.d.Calendars[m.Calendar][s] {
			v.slots[i] = append(v.slots[i], s)
			if cell(a.SlotCost, s) >= Never || cell(m.SlotCost, s) >= Never {
				v.say("activity %d is worked in slot %d, which is forbidden", i, s)
			}
		}
	}
	if n := len(v.slots[i]); n == 0 || v.slots[i][0] != at.Start || v.slots[i][n-1] != at.End || !v.enough(a, m, v.slots[i]) || v.enough(a, m, v.slots[i][:n-1]) {
		v.say("activity %d is work of %d slots, it has %d from %d to %d", i, m.Slots, n, at.Start, at.End)
		return
	}
	if m.Whole && int(at.End-at.Start) != len(v.slots[i])-1 {
		v.say("activity %d is broken by closed slots between %d and %d, in mode %d it must be whole", i, at.Start, at.End, at.Mode)
	}
	early := at.Start < m.Release
	for _, s := range m.Also {
		if s == at.Start {
			early = false
		}
	}
	if early || at.Start < a.Release {
		v.say("activity %d starts in slot %d, released for %d and %d in its mode", i, at.Start, a.Release, m.Release)
	}
	if cell(a.StartCost, at.Start) >= Never || cell(m.StartCost, at.Start) >= Never || cell(a.EndCost, at.End) >= Never {
		v.say("activity %d may not start in slot %d or end in slot %d", i, at.Start, at.End)
	}
}

// enough tells whether some slots bring the work of a mode.
func (v *verifier) enough(a *Activity, m *Mode, slots []Slot) bool {
	if a.Share == nil {
		return len(slots) >= int(m.Slots)
	}
	sum := int64(a.Short)
	for _, s := range slots {
		sum += int64(a.Share[s])
	}
	return sum >= int64(m.Slots)*int64(Whole)
}

func (v *verifier) links() {
	for i, a := range v.d.Activities {
		if v.placed[i].Mode < 0 {
			continue
		}
		for _, l := range a.After {
			before := v.placed[l.Activity]
			if before.Mode < 0 {
				v.say("activity %d is placed though %d before it is not", i, l.Activity)
			} else if v.placed[i].Start <= before.End+l.Lag {
				v.say("activity %d starts in slot %d, %d before it ends in %d and wants %d free", i, v.placed[i].Start, l.Activity, before.End, l.Lag)
			} else if l.Most > 0 && v.placed[i].Start > before.End+l.Most {
				v.say("activity %d starts in slot %d, %d before it ends in %d and wants it at most %d slots later", i, v.placed[i].Start, l.Activity, before.End, l.Most)
			}
		}
	}
}

func (v *verifier) units() {
	for _, g := range v.d.Groups {
		for _, u := range g {
			placed, mode := 0, -1
			for _, i := range u.Activities {
				if v.placed[i].Mode >= 0 {
					placed++
				}
			}
			if placed != 0 && placed != len(u.Activities) {
				v.say("%d of the %d activities of a unit (%v) are placed", placed, len(u.Activities), u.Activities)
			}
			for _, i := range u.Tied {
				m := v.placed[i].Mode
				if m >= 0 && mode >= 0 && m != mode {
					v.say("activities %v are tied but in modes %d and %d", u.Tied, mode, m)
				}
				mode = max(mode, m)
			}
		}
	}
}

// spanAt gives the resource and the buckets that a span holds; ok is false
// when it holds none.
func (v *verifier) spanAt(s Span) (on SpanOn, lo, hi int, ok bool) {
	to := v.placed[s.To]
	if s.From != Standing && (to.Mode < 0 || v.placed[s.From].Mode < 0) {
		return SpanOn{}, 0, 0, false
	}
	on = s.On[max(to.Mode, 0)]
	grain := int(max(v.d.Resources[on.Resource].Grain, 1))
	hi = len(v.d.Resources[on.Resource].Capacity) - 1
	if to.Mode >= 0 {
		hi = int(to.End) / grain
	}
	lo = int(s.Begin) / grain
	if s.From != Standing {
		lo = int(v.placed[s.From].Start) / grain
	}
	return on, lo, hi, true
}

func (v *verifier) spans() {
	for i, s := range v.d.Spans {
		if _, lo, hi, ok := v.spanAt(s); ok && hi < lo {
			v.say("span %d ends in bucket %d, before it begins in %d", i, hi, lo)
		}
	}
}

func (v *verifier) resources() {
	for r := range v.d.Resources {
		res := &v.d.Resources[r]
		grain := int(max(res.Grain, 1))
		used, chosen := make([]Amount, len(res.Capacity)), make([]bool, len(res.Capacity))
		for i, slots := range v.slots {
			touched := map[int]bool{}
			for _, s := range slots {
				touched[int(s)/grain] = true
			}
			for b := range touched {
				for _, u := range v.d.Activities[i].Modes[v.placed[i].Mode].Uses {
					if u.Resource == r {
						used[b] += u.Amount
						chosen[b] = true
					}
				}
			}
		}
		for _, s := range v.d.Spans {
			if on, lo, hi, ok := v.spanAt(s); ok && on.Resource == r {
				for b := lo; b <= hi; b++ {
					used[b]++
					chosen[b] = chosen[b] || s.From != Standing
				}
			}
		}
		for b := range used {
			if chosen[b] && used[b] > res.Capacity[b] {
				v.say("resource %d is used %d times in bucket %d, it has %d", r, used[b], b, res.Capacity[b])
			}
		}
	}
}

func (v *verifier) cost() (cost Cost) {
	last := Slot(-1)
	busy := make([]map[Slot]bool, len(v.d.Resources))  // by resource: slots in use
	away := make([]map[Slot]Place, len(v.d.Resources)) // by resource and slot: where it travels to
	for r := range busy {
		busy[r], away[r] = map[Slot]bool{}, map[Slot]Place{}
	}
	for i := range v.d.Activities {
		a, at := &v.d.Activities[i], v.placed[i]
		if at.Mode < 0 {
			cost += a.Absent
			continue
		}
		m := &a.Modes[at.Mode]
		cost += m.Cost + cell(a.StartCost, at.Start) + cell(m.StartCost, at.Start) + cell(a.EndCost, at.End)
		if slices.Contains(a.Was, At{at.Mode, at.Start}) {
			cost -= a.Stay
		}
		last = max(last, at.End)
		for n, s := range v.slots[i] {
			cost += cell(a.SlotCost, s) + cell(m.SlotCost, s)
			for _, u := range m.Uses {
				if busy[u.Resource][s] = true; n < int(m.Slots) {
					away[u.Resource][s] = a.Place
				}
			}
		}
	}
	for r := range v.d.Resources {
		res := &v.d.Resources[r]
		for s, c := range res.Idle {
			if !busy[r][Slot(s)] {
				cost += c
			}
		}
		if res.Tour != nil {
			cost += v.travel(res.Tour, away[r])
		}
	}
	for _, s := range v.d.Spans {
		if on, lo, hi, ok := v.spanAt(s); ok && lo <= hi {
			cost += cell(on.Cost, Slot(hi-lo+1))
		}
	}
	for _, h := range v.d.Handovers {
		if v.who(h.First) != v.who(h.Second) && v.who(h.First) != 0 && v.who(h.Second) != 0 {
			cost += h.Cost
		}
	}
	return cost + v.d.Makespan*Cost(last+1)
}

// who gives who does an activity, 0 when it is left out.
func (v *verifier) who(i int) int {
	if at := v.placed[i]; at.Mode >= 0 {
		return v.d.Activities[i].Modes[at.Mode].Who
	}
	return 0
}

func (v *verifier) travel(t *Tour, busy map[Slot]Place) (cost Cost) {
	for from := Slot(0); from < v.d.Slots; from += t.Slots {
		at := t.Home
		for s := from; s < from+t.Slots; s++ {
			if to, ok := busy[s]; ok && to != at {
				cost += v.d.Trip(at, to)
				at = to
			}
		}
		if at != t.Home {
			cost += v.d.Trip(at, t.Home)
		}
	}
	return cost
}

// lingering checks that no standing span holds a bucket that is over-full when
// its end, everything else as it is, could have come before it. An activity
// where it is pinned could not.
func (v *verifier) lingering() {
	for i, s := range v.d.Spans {
		on, lo, hi, ok := v.spanAt(s)
		if s.From != Standing || !ok {
			continue
		}
		to, at := &v.d.Activities[s.To], v.placed[s.To]
		if to.Pin != nil && at.Mode == to.Pin.Mode && at.Start == to.Pin.Start {
			continue
		}
		used := v.usedOf(on.Resource)
		for b := hi; b >= lo; b-- {
			if used[b] <= v.d.Resources[on.Resource].Capacity[b] {
				continue
			}
			if end, ok := v.couldEnd(i, b); ok {
				v.say("span %d holds bucket %d, which is over-full, and could end in slot %d", i, b, end)
			}
			break
		}
	}
}

// usedOf counts by bucket what a resource holds.
func (v *verifier) usedOf(r int) []Amount {
	res := &v.d.Resources[r]
	grain := Slot(max(res.Grain, 1))
	used := make([]Amount, len(res.Capacity))
	for i, slots := range v.slots {
		last := Slot(-1)
		for _, s := range slots {
			if s/grain == last {
				continue
			}
			last = s / grain
			for _, u := range v.d.Activities[i].Modes[v.placed[i].Mode].Uses {
				if u.Resource == r {
					used[last] += u.Amount
				}
			}
		}
	}
	for _, s := range v.d.Spans {
		if on, lo, hi, ok := v.spanAt(s); ok && on.Resource == r {
			for b := lo; b <= hi; b++ {
				used[b]++
			}
		}
	}
	return used
}

// couldEnd tries every start of the activity that ends a standing span, and
// gives the end of one that lies before a bucket and that nothing forbids.
func (v *verifier) couldEnd(span, before int) (end Slot, ok bool) {
	s := v.d.Spans[span]
	m := &v.d.Activities[s.To].Modes[0]
	open := v.d.Calendars[m.Calendar]
	grain := int(max(v.d.Resources[s.On[0].Resource].Grain, 1))
	for start := s.Begin; start < v.d.Slots; start++ {
		if !open[start] {
			continue
		}
		var slots []Slot
		for end = start; end < v.d.Slots; end++ {
			if open[end] {
				slots = append(slots, end)
			}
			if v.enough(&v.d.Activities[s.To], m, slots) {
				break
			}
		}
		if end == v.d.Slots || int(end)/grain >= before {
			return 0, false
		}
		other := verifier{d: v.d, placed: slices.Clone(v.placed), slots: slices.Clone(v.slots)}
		other.placed[s.To], other.slots[s.To] = Placement{0, start, end}, nil
		if other.activity(s.To); len(other.wrong) > 0 {
			continue
		}
		if other.links(); len(other.wrong) == 0 && other.roomAt(s.To) {
			return end, true
		}
	}
	return 0, false
}

// roomAt tells whether what an activity uses has room where it stands.
func (v *verifier) roomAt(i int) bool {
	for _, u := range v.d.Activities[i].Modes[v.placed[i].Mode].Uses {
		res := &v.d.Resources[u.Resource]
		used := v.usedOf(u.Resource)
		for _, s := range v.slots[i] {
			if b := s / Slot(max(res.Grain, 1)); used[b] > res.Capacity[b] {
				return false
			}
		}
	}
	return true
}
