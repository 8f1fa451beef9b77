package solver

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
)

// problem is Data made ready: indexes resolved, open slots listed, earliest
// starts and the cost of what follows worked out once.
type problem struct {
	d        *Data
	cals     []calendar
	acts     []activity
	groups   []group
	grain    []Slot // by resource
	trips    trips
	idle     [][]Cost // by resource and slot: the most that idle costs from there on; nil = none
	unary    []bool   // by resource: one unit at most, in buckets of one slot
	single   []int32  // those resources
	topo     []int32  // the activities, each after those it waits for
	sets     map[waysKey]*ways
	anyTour  bool
	negative bool // some span costs less than nothing
}

// forgone is what leaving out a vital activity counts besides in the search,
// where it is dearer than all that a plan can cost. No cost that is told has it.
const forgone Cost = 1 << 42

// mostVital is how many vital activities there may be, so that no sum reaches
// Never.
const mostVital = 1 << 17

// money gives what a plan costs without what the search counts for vital
// activities that are left out.
func (p *problem) money(cost Cost, at []cand) Cost {
	for i := range at {
		if at[i].mode < 0 && p.acts[i].vital {
			cost -= forgone
		}
	}
	return cost
}

type calendar struct {
	open []Slot   // the open slots, ascending
	bits []uint64 // by slot: open
	at   []int32  // by slot: index in open of the first one at or after it
	is   []bool
}

type activity struct {
	*ways
	before            []Link // must end before this starts
	after             []Link // start after this ends
	head              Slot   // no earlier start can be, whatever the plan
	startCost         []Cost
	slotCost          []Cost
	endCost           []Cost
	guide             []Cost // by last slot: what the activities that follow will cost at best; nil = 0
	absent            Cost   // with forgone when it is vital
	vital             bool
	place             Place
	late              bool
	keep              cand
	was               []cand
	stay              Cost
	from, to          int32 // the span that it begins or ends, -1 = none
	hands             []hand
	most              bool  // a link that it is part of has a Most
	travels           bool  // it has modes of a resource that travels
	shortest, longest int32 // slots of its shortest and its longest mode
	unit              *unit
	group             int32
}

// ways is the modes of an activity made ready. Activities that were given the
// same slices of modes and shares have it in common.
type ways struct {
	modes []mode
	ends  []Slot // by slot: the earliest last slot when it starts there or later; Slots = it does not fit
}

type waysKey struct {
	modes *Mode
	share *Part
	short Part
}

type mode struct {
	cal       *calendar
	n         int32  // slots of work; no fewer does it take
	longest   int32  // slots that it takes at most
	share     []Part // by slot: what it brings; nil = Whole in each
	work      Part   // where share is given: what its slots must bring
	uses      []use
	cost      Cost
	release   Slot
	also      []Slot
	startCost []Cost
	slotCost  []Cost
	whole     bool
	who       int
	idle      []Cost
	tour      int32 // the travelling resource it uses, -1 = none
	unary     int32 // the one resource it uses when that has one unit at most, -1 = others
	least     Cost  // no less do its own costs come to
	idleMost  []Cost
}

// hand is a handover seen from one of its activities.
type hand struct {
	other int32
	cost  Cost
}

type use struct {
	res    int32
	amount Amount
	grain  Slot
}

type unit struct {
	acts    []int32
	tied    []bool   // by position in acts
	modes   int      // of the tied ones
	most    bool     // one of them is part of a link with a Most
	anchors []agreed // places agreed for the tied ones
	cheap   []int32  // the modes of the tied ones, the cheapest first,
	least   []Cost   // and what placing all of the unit then costs at least
}

type group struct {
	units []unit
	acts  []int32
	vital bool // one of its activities is
	first Slot // least head
	due   Slot // last slot that costs no more than the best, least over the activities
	work  Slot // slots of work
	kept  Slot // least Keep start; after the line when it has none

	standing bool // it ends a standing span
	most     bool // one of its activities is part of a link with a Most
}

// prepare checks the data and makes it ready. It names what is wrong.
func prepare(d *Data) (*problem, error) {
	if d.Slots < 1 {
		return nil, fmt.Errorf("solver: %d slots, at least 1 is needed", d.Slots)
	}
	p := &problem{d: d, sets: map[waysKey]*ways{}}
	if err := errors.Join(p.readCalendars(), p.readResources()); err != nil {
		return nil, err
	}
	if err := p.readActivities(); err != nil {
		return nil, err
	}
	if err := errors.Join(p.readGroups(), p.readSpans(), p.readHandovers()); err != nil {
		return nil, err
	}
	order, err := p.order()
	if err != nil {
		return nil, err
	}
	p.topo = order
	p.heads(order)
	p.guides(order)
	p.trips = newTrips(p)
	p.summarise()
	p.sortModes()
	return p, nil
}

func (p *problem) readCalendars() error {
	for i, c := range p.d.Calendars {
		if len(c) != int(p.d.Slots) {
			return fmt.Errorf("solver: calendar %d has %d slots, the time line %d", i, len(c), p.d.Slots)
		}
		cal := calendar{is: c, at: make([]int32, len(c)+1), bits: make([]uint64, (len(c)+63)/64)}
		for s, open := range c {
			cal.at[s] = int32(len(cal.open))
			if open {
				cal.open = append(cal.open, Slot(s))
				cal.bits[s/64] |= 1 << (s % 64)
			}
		}
		cal.at[len(c)] = int32(len(cal.open))
		p.cals = append(p.cals, cal)
	}
	return nil
}

func (p *problem) readResources() error {
	for i, r := range p.d.Resources {
		g := max(r.Grain, 1)
		p.grain = append(p.grain, g)
		if want := int((p.d.Slots + g - 1) / g); len(r.Capacity) != want {
			return fmt.Errorf("solver: resource %d has capacity for %d buckets, %d are needed", i, len(r.Capacity), want)
		}
		unary := g == 1
		for _, c := range r.Capacity {
			unary = unary && c <= 1
		}
		p.unary = append(p.unary, unary)
		if unary {
			p.single = append(p.single, int32(i))
		}
		p.idle = append(p.idle, mostFrom(r.Idle))
		if (r.Idle != nil || r.Tour != nil) && !unary {
			return fmt.Errorf("solver: resource %d travels or costs idle, so its capacity must be at most 1 in buckets of 1 slot", i)
		}
		if r.Idle != nil && len(r.Idle) != int(p.d.Slots) {
			return fmt.Errorf("solver: resource %d has %d idle costs, the time line %d slots", i, len(r.Idle), p.d.Slots)
		}
		if r.Tour != nil {
			p.anyTour = true
			if r.Tour.Slots < 1 || r.Tour.Home < 0 || p.d.Trip == nil {
				return fmt.Errorf("solver: resource %d travels, so it needs a tour of at least 1 slot, a home and Trip", i)
			}
		}
	}
	return nil
}

func (p *problem) readActivities() error {
	p.acts = make([]activity, len(p.d.Activities))
	for i := range p.d.Activities {
		if err := p.readActivity(i); err != nil {
			return fmt.Errorf("solver: activity %d: %w", i, err)
		}
	}
	if n := p.vitals(); n > mostVital {
		return fmt.Errorf("solver: %d vital activities, at most %d may be", n, mostVital)
	}
	for i, a := range p.d.Activities {
		for _, l := range a.After {
			p.acts[l.Activity].after = append(p.acts[l.Activity].after, Link{i, l.Lag, l.Most})
			if l.Most > 0 {
				p.acts[i].most, p.acts[l.Activity].most = true, true
			}
		}
	}
	return nil
}

func (p *problem) vitals() (n int) {
	for i := range p.acts {
		if p.acts[i].vital {
			n++
		}
	}
	return n
}

func (p *problem) readActivity(i int) error {
	a, slots := &p.d.Activities[i], int(p.d.Slots)
	if len(a.Modes) == 0 {
		return errors.New("has no mode")
	}
	if a.Place < 0 || a.Release < 0 {
		return errors.New("place and release must not be negative")
	}
	if a.Stay < 0 {
		return fmt.Errorf("staying saves %d, 0 or more is needed", a.Stay)
	}
	for _, table := range [][]Cost{a.StartCost, a.SlotCost, a.EndCost} {
		if table != nil && len(table) != slots {
			return fmt.Errorf("a table of %d costs for %d slots", len(table), slots)
		}
	}
	if a.Share != nil && (len(a.Share) != slots || slices.Min(a.Share) < 0 || slices.Max(a.Share) > Whole) || a.Short < 0 || a.Short >= Whole {
		return fmt.Errorf("shares for %d slots of %d, and %d may be missing: each slot has a share from 0 to %d, and less than that may be missing", len(a.Share), slots, a.Short, Whole)
	}
	set, err := p.readWays(a.Modes, a.Share, a.Short)
	if err != nil {
		return err
	}
	act := activity{ways: set, before: a.After, startCost: a.StartCost, slotCost: a.SlotCost, endCost: a.EndCost, absent: a.Absent, vital: a.Vital,
		place: a.Place, late: a.Late, from: -1, to: -1, keep: cand{mode: -1}}
	if a.Vital {
		act.absent += forgone
	}
	for _, l := range a.After {
		if l.Activity < 0 || l.Activity >= len(p.acts) || l.Activity == i || l.Lag < 0 {
			return fmt.Errorf("cannot come after activity %d with lag %d", l.Activity, l.Lag)
		}
		if l.Most < 0 || l.Most > 0 && l.Most <= l.Lag {
			return fmt.Errorf("cannot come at most %d slots after activity %d with %d free between them", l.Most, l.Activity, l.Lag)
		}
	}
	act.shortest, act.longest = act.modes[0].n, act.modes[0].longest
	for k := range act.modes {
		act.travels = act.travels || act.modes[k].tour >= 0
		act.shortest, act.longest = min(act.shortest, act.modes[k].n), max(act.longest, act.modes[k].longest)
	}
	for _, at := range []*At{a.Pin, a.Keep} {
		if at == nil {
			continue
		}
		c, ok := act.at(*at)
		if !ok {
			return fmt.Errorf("pinned or kept in mode %d from slot %d, where it does not fit its calendar", at.Mode, at.Start)
		}
		if at == a.Keep {
			act.keep = c
		}
	}
	for _, at := range a.Was {
		c, ok := act.at(at)
		if !ok {
			return fmt.Errorf("worth staying in mode %d from slot %d, where it does not fit its calendar", at.Mode, at.Start)
		}
		act.was, act.stay = append(act.was, c), a.Stay
	}
	p.acts[i] = act
	return nil
}

// readWays makes modes ready, once for each slice of them and of shares.
func (p *problem) readWays(modes []Mode, share []Part, short Part) (*ways, error) {
	key := waysKey{modes: &modes[0]}
	if share != nil {
		key.share, key.short = &share[0], short
	}
	if set := p.sets[key]; set != nil && len(set.modes) == len(modes) {
		return set, nil
	}
	set := &ways{modes: make([]mode, len(modes))}
	for j := range modes {
		m, err := p.readMode(&modes[j])
		if err != nil {
			return nil, fmt.Errorf("mode %d: %w", j, err)
		}
		if share != nil {
			m.share, m.work = share, Part(m.n)*Whole-short
		}
		set.modes[j] = m
	}
	set.readEnds(p.d.Slots)
	p.sets[key] = set
	return set, nil
}

// readEnds works out the earliest last slot by start.
func (set *ways) readEnds(slots Slot) {
	set.ends = make([]Slot, slots+1)
	for s := range set.ends {
		set.ends[s] = slots
	}
	for j := range set.modes {
		m := &set.modes[j]
		end := slots
		for pos := m.lastBefore(int32(len(m.cal.open))); pos >= 0; pos-- {
			n := m.length(pos)
			m.longest = max(m.longest, n)
			s := m.cal.open[pos]
			if s < m.release {
				continue
			}
			if _, ok := m.unbroken(pos, n); ok {
				end = m.cal.open[pos+n-1]
			}
			set.ends[s] = min(set.ends[s], end)
		}
		for _, s := range m.also {
			if s < m.release && m.cal.is[s] {
				set.ends[s] = min(set.ends[s], m.endFrom(s, slots))
			}
		}
	}
	for s := slots - 1; s >= 0; s-- {
		set.ends[s] = min(set.ends[s], set.ends[s+1])
	}
}

// mostFrom gives the largest cost from each slot on.
func mostFrom(table []Cost) []Cost {
	if table == nil {
		return nil
	}
	out := slices.Clone(table)
	for s := len(out) - 2; s >= 0; s-- {
		out[s] = max(out[s], out[s+1])
	}
	return out
}

func (p *problem) readMode(m *Mode) (mode, error) {
	slots := int(p.d.Slots)
	switch {
	case m.Calendar < 0 || m.Calendar >= len(p.cals):
		return mode{}, fmt.Errorf("no calendar %d", m.Calendar)
	case m.Slots < 1:
		return mode{}, fmt.Errorf("takes %d slots, at least 1 is needed", m.Slots)
	case m.StartCost != nil && len(m.StartCost) != slots:
		return mode{}, fmt.Errorf("a table of %d costs for %d slots", len(m.StartCost), slots)
	case m.SlotCost != nil && len(m.SlotCost) != slots:
		return mode{}, fmt.Errorf("a table of %d costs for %d slots", len(m.SlotCost), slots)
	case m.Who < 0:
		return mode{}, fmt.Errorf("done by %d, 0 or more is needed", m.Who)
	}
	out := mode{cal: &p.cals[m.Calendar], n: int32(m.Slots), longest: int32(m.Slots), cost: m.Cost, release: m.Release, also: m.Also, startCost: m.StartCost,
		slotCost: m.SlotCost, whole: m.Whole, who: m.Who, tour: -1, unary: -1, least: m.Cost}
	if m.StartCost != nil {
		out.least += slices.Min(m.StartCost)
	}
	if m.SlotCost != nil {
		if least := slices.Min(m.SlotCost); least < Never { // else no start of it is allowed, and what it costs is never asked
			out.least += least * Cost(m.Slots)
		}
	}
	if len(m.Uses) == 1 && m.Uses[0].Amount == 1 && m.Uses[0].Resource >= 0 && m.Uses[0].Resource < len(p.unary) && p.unary[m.Uses[0].Resource] {
		out.unary = int32(m.Uses[0].Resource)
	}
	for _, u := range m.Uses {
		if u.Resource < 0 || u.Resource >= len(p.d.Resources) || u.Amount < 1 {
			return mode{}, fmt.Errorf("uses %d of resource %d", u.Amount, u.Resource)
		}
		out.uses = append(out.uses, use{int32(u.Resource), u.Amount, p.grain[u.Resource]})
		r := p.d.Resources[u.Resource]
		if r.Idle == nil && r.Tour == nil {
			continue
		}
		if out.tour >= 0 || out.idle != nil {
			return mode{}, errors.New("uses two resources that travel or cost idle")
		}
		out.idle, out.idleMost = r.Idle, p.idle[u.Resource]
		if r.Tour != nil {
			out.tour = int32(u.Resource)
		}
	}
	for _, s := range m.Also {
		if s < 0 || int(s) >= slots {
			return mode{}, fmt.Errorf("may start in slot %d, which is not on the line", s)
		}
	}
	return out, nil
}

// at finds the candidate that starts in a slot in a mode, when the calendar
// has room for it there.
func (a *activity) at(at At) (cand, bool) {
	if at.Mode < 0 || at.Mode >= len(a.modes) || at.Start < 0 {
		return cand{mode: -1}, false
	}
	m := &a.modes[at.Mode]
	if int(at.Start) >= len(m.cal.is) || !m.cal.is[at.Start] {
		return cand{mode: -1}, false
	}
	pos := m.cal.at[at.Start]
	n := m.length(pos)
	if n == 0 {
		return cand{mode: -1}, false
	}
	if _, ok := m.unbroken(pos, n); !ok {
		return cand{mode: -1}, false
	}
	return m.cand(int32(at.Mode), pos, n), true
}

// length gives how many open slots the mode takes from a position on, 0 when
// the calendar has not so many. The later a start, the later the end.
func (m *mode) length(pos int32) int32 {
	if m.share == nil {
		if int(pos+m.n) > len(m.cal.open) {
			return 0
		}
		return m.n
	}
	left := m.work
	for k, s := range m.cal.open[pos:] {
		if left -= m.share[s]; left <= 0 {
			return int32(k) + 1
		}
	}
	return 0
}

// lastBefore gives the last position from which the mode ends before a position;
// below 0 when there is none.
func (m *mode) lastBefore(limit int32) int32 {
	if m.share == nil {
		return limit - m.n
	}
	left := m.work
	for pos := limit - 1; pos >= 0; pos-- {
		if left -= m.share[m.cal.open[pos]]; left <= 0 {
			return pos
		}
	}
	return -1
}

func (m *mode) cand(mode, pos, n int32) cand {
	return cand{mode: mode, pos: pos, n: n, start: m.cal.open[pos], end: m.cal.open[pos+n-1], worked: m.cal.open[pos+m.n-1]}
}

// unbroken tells whether the mode's n slots from a position on are neighbours,
// where they must be. When they are not, next is the first position after the
// last closed slot among them.
func (m *mode) unbroken(pos, n int32) (next int32, ok bool) {
	if !m.whole || m.cal.open[pos+n-1]-m.cal.open[pos] == Slot(n-1) {
		return pos, true
	}
	for next = pos + n - 1; m.cal.open[next] == m.cal.open[next-1]+1; {
		next--
	}
	return next, false
}

func (p *problem) readGroups() error {
	groups := p.d.Groups
	if groups == nil {
		for i := range p.d.Activities {
			groups = append(groups, Group{{Activities: []int{i}}})
		}
	}
	groups = p.bound(groups)
	seen := make([]bool, len(p.acts))
	p.groups = make([]group, len(groups))
	for g, units := range groups {
		p.groups[g].units = make([]unit, len(units))
		for k, u := range units {
			out := &p.groups[g].units[k]
			for _, a := range u.Activities {
				if a < 0 || a >= len(p.acts) || seen[a] {
					return fmt.Errorf("solver: group %d: activity %d is missing or in two units", g, a)
				}
				seen[a] = true
				p.acts[a].unit, p.acts[a].group = out, int32(g)
				out.most = out.most || p.acts[a].most
				out.acts = append(out.acts, int32(a))
				out.tied = append(out.tied, false)
				if p.d.Activities[a].Pin != nil && len(u.Activities) > 1 {
					return fmt.Errorf("solver: activity %d is pinned, so it must be alone in its unit", a)
				}
			}
			if err := p.tie(out, u.Tied); err != nil {
				return fmt.Errorf("solver: group %d: %w", g, err)
			}
			p.groups[g].acts = append(p.groups[g].acts, out.acts...)
			p.groups[g].most = p.groups[g].most || out.most
		}
	}
	for a, ok := range seen {
		if !ok {
			return fmt.Errorf("solver: activity %d is in no group", a)
		}
	}
	return nil
}

func (p *problem) tie(u *unit, tied []int) error {
	for _, t := range tied {
		found := false
		for i, a := range u.acts {
			if int(a) == t {
				u.tied[i], found = true, true
			}
		}
		if !found {
			return fmt.Errorf("activity %d is tied but not of the unit", t)
		}
		n := len(p.acts[t].modes)
		if u.modes != 0 && u.modes != n {
			return fmt.Errorf("activity %d has %d modes, another tied to it %d", t, n, u.modes)
		}
		u.modes = n
	}
	return nil
}

func (p *problem) readSpans() error {
	for i, s := range p.d.Spans {
		bad := s.To < 0 || s.To >= len(p.acts) || s.From < Standing || s.From >= len(p.acts) || s.From == s.To
		if bad || p.acts[s.To].to >= 0 || (s.From >= 0 && p.acts[s.From].from >= 0) {
			return fmt.Errorf("solver: span %d from activity %d to %d: each must exist and bound one span", i, s.From, s.To)
		}
		modes := len(p.acts[s.To].modes)
		if len(s.On) != modes || (s.From == Standing && modes != 1) {
			return fmt.Errorf("solver: span %d names %d resources for %d modes", i, len(s.On), modes)
		}
		if s.Begin < 0 || s.Begin >= p.d.Slots {
			return fmt.Errorf("solver: span %d begins in slot %d, which is not on the line", i, s.Begin)
		}
		for _, on := range s.On {
			if on.Resource < 0 || on.Resource >= len(p.grain) {
				return fmt.Errorf("solver: span %d: no resource %d", i, on.Resource)
			}
			p.negative = p.negative || len(on.Cost) > 0 && slices.Min(on.Cost) < 0
			if need := len(p.d.Resources[on.Resource].Capacity) + 1; on.Cost != nil && len(on.Cost) < need {
				return fmt.Errorf("solver: span %d has %d costs by length, %d are needed", i, len(on.Cost), need)
			}
		}
		p.acts[s.To].to = int32(i)
		if s.From == Standing {
			continue
		}
		p.acts[s.From].from = int32(i)
		if p.acts[s.From].unit != p.acts[s.To].unit || !p.tiedTogether(s.From, s.To) {
			return fmt.Errorf("solver: span %d: activities %d and %d must be tied in one unit", i, s.From, s.To)
		}
	}
	return nil
}

func (p *problem) readHandovers() error {
	for i, h := range p.d.Handovers {
		if min(h.First, h.Second) < 0 || max(h.First, h.Second) >= len(p.acts) || h.First == h.Second || h.Cost < 0 {
			return fmt.Errorf("solver: handover %d from activity %d to %d costs %d: two activities and a cost of 0 or more are needed", i, h.First, h.Second, h.Cost)
		}
		p.acts[h.First].hands = append(p.acts[h.First].hands, hand{int32(h.Second), h.Cost})
		p.acts[h.Second].hands = append(p.acts[h.Second].hands, hand{int32(h.First), h.Cost})
	}
	return nil
}

// onlyTime tells whether the data has nothing that the search over lists does
// not know: handovers, longest lags, costs and calendars of modes.
func (p *problem) onlyTime() bool {
	for i := range p.acts {
		a := &p.acts[i]
		if a.most || len(a.hands) > 0 || a.startCost != nil {
			return false
		}
		for k := range a.modes {
			if a.modes[k].slotCost != nil || a.modes[k].whole || a.modes[k].share != nil {
				return false
			}
		}
	}
	return true
}

func (p *problem) tiedTogether(a, b int) bool {
	n := 0
	u := p.acts[a].unit
	for i, x := range u.acts {
		if (int(x) == a || int(x) == b) && u.tied[i] {
			n++
		}
	}
	return n == 2
}

// order lists the activities so that each comes after those it waits for.
func (p *problem) order() ([]int32, error) {
	waits := make([]int, len(p.acts))
	var list []int32
	for i := range p.acts {
		if waits[i] = len(p.acts[i].before); waits[i] == 0 {
			list = append(list, int32(i))
		}
	}
	for k := 0; k < len(list); k++ {
		for _, l := range p.acts[list[k]].after {
			if waits[l.Activity]--; waits[l.Activity] == 0 {
				list = append(list, int32(l.Activity))
			}
		}
	}
	if len(list) < len(p.acts) {
		return nil, fmt.Errorf("solver: %d activities wait for each other in a circle", len(p.acts)-len(list))
	}
	return list, nil
}

// endFrom gives the last slot of a run of open slots from s on, slots when
// there is no such run.
func (m *mode) endFrom(s, slots Slot) Slot {
	if s >= slots {
		return slots
	}
	for pos := m.cal.at[s]; int(pos) < len(m.cal.open); {
		n := m.length(pos)
		if n == 0 {
			return slots
		}
		next, ok := m.unbroken(pos, n)
		if ok {
			return m.cal.open[pos+n-1]
		}
		pos = next
	}
	return slots
}

// heads works out the earliest start of each activity.
func (p *problem) heads(order []int32) {
	end := make([]Slot, len(p.acts))
	for _, i := range order {
		a := &p.acts[i]
		a.head = p.d.Activities[i].Release
		for _, l := range a.before {
			a.head = max(a.head, end[l.Activity]+1+l.Lag)
		}
		end[i] = a.ends[min(a.head, p.d.Slots)]
	}
}

// guides works out, by last slot of each activity, the dearest end cost that
// an activity after it must then have at least. It steers placing towards due
// dates that lie further down the chain. Activities whose followers are alike
// share a guide.
func (p *problem) guides(order []int32) {
	type key struct {
		set        *ways
		end, guide *Cost
		absent     Cost
		lag        Slot
	}
	known := map[key][]Cost{}
	for k := len(order) - 1; k >= 0; k-- {
		a := &p.acts[order[k]]
		shared := false
		for _, l := range a.after {
			b := &p.acts[l.Activity]
			if b.endCost == nil && b.guide == nil {
				continue
			}
			of := key{b.ways, first(b.endCost), first(b.guide), b.absent, l.Lag}
			table := known[of]
			if table == nil {
				table = p.guide(b, l.Lag)
				known[of] = table
			}
			if a.guide == nil {
				a.guide, shared = table, true
				continue
			}
			if shared {
				a.guide, shared = slices.Clone(a.guide), false
			}
			for s, c := range table {
				a.guide[s] = max(a.guide[s], c)
			}
		}
	}
}

func first(table []Cost) *Cost {
	if table == nil {
		return nil
	}
	return &table[0]
}

// guide gives, by last slot of an activity, what the end of b after it costs
// at least.
func (p *problem) guide(b *activity, lag Slot) []Cost {
	table := make([]Cost, p.d.Slots)
	for s := range table {
		e, c := p.d.Slots, Cost(0)
		if from := Slot(s) + 1 + lag; from < p.d.Slots {
			e = b.ends[from]
		}
		if e >= p.d.Slots {
			e, c = p.d.Slots-1, b.absent
		}
		table[s] = c + b.costAfter(e)
	}
	return table
}

func (a *activity) costAfter(end Slot) (c Cost) {
	if a.endCost != nil && a.endCost[end] < Never {
		c += a.endCost[end]
	}
	if a.guide != nil {
		c += a.guide[end]
	}
	return c
}

// summarise works out by group what the priority rules sort by.
func (p *problem) summarise() {
	for g := range p.groups {
		gr := &p.groups[g]
		gr.first, gr.due, gr.kept = p.d.Slots, p.d.Slots, p.d.Slots
		for _, i := range gr.acts {
			a := &p.acts[i]
			gr.vital = gr.vital || a.vital
			gr.first = min(gr.first, a.head)
			gr.work += Slot(a.modes[0].n)
			if a.to >= 0 && p.d.Spans[a.to].From == Standing {
				gr.standing = true
			}
			if a.keep.mode >= 0 {
				gr.kept = min(gr.kept, a.keep.start)
			}
			for s := len(a.endCost) - 1; s >= 0; s-- {
				if a.endCost[s] <= a.endCost[0] {
					gr.due = min(gr.due, Slot(s))
					break
				}
			}
		}
	}
}

// agreed is a place of an activity that somebody counts on.
type agreed struct {
	i int32
	c cand
}

// anchor lists what was agreed for the tied activities of a unit: the starts
// that they may have though their modes are released later.
func (p *problem) anchor(u *unit) {
	for k, i := range u.acts {
		a := &p.acts[i]
		if !u.tied[k] || len(u.acts) == 1 {
			continue
		}
		for m := range a.modes {
			for _, x := range a.modes[m].also {
				if c, ok := a.at(At{m, x}); ok {
					u.anchors = append(u.anchors, agreed{i, c})
				}
			}
		}
	}
}

// sortModes lists the modes of tied activities by what they cost at least.
func (p *problem) sortModes() {
	for g := range p.groups {
		for k := range p.groups[g].units {
			u := &p.groups[g].units[k]
			p.anchor(u)
			if u.modes > 1 {
				p.sortModesOf(u)
			}
		}
	}
}

func (p *problem) sortModesOf(u *unit) {
	least := make([]Cost, u.modes)
	for k, i := range u.acts {
		floors := p.floors(&p.acts[i])
		all := Never
		for _, floor := range floors {
			all = min(all, floor)
		}
		for m := range least {
			if u.tied[k] {
				least[m] += floors[m]
			} else {
				least[m] += all
			}
		}
	}
	u.cheap, u.least = make([]int32, u.modes), make([]Cost, u.modes)
	for m := range u.cheap {
		u.cheap[m] = int32(m)
	}
	slices.SortStableFunc(u.cheap, func(a, b int32) int { return cmp.Compare(least[a], least[b]) })
	for n, m := range u.cheap {
		if u.least[n] = least[m]; p.negative {
			u.least[n] = -Never
		}
	}
}

// floors gives by mode what an activity costs at least, wherever it stands,
// travel aside and beside what leaving it out costs.
func (p *problem) floors(a *activity) []Cost {
	fixed, each := Cost(0), Cost(0)
	if a.startCost != nil {
		fixed += slices.Min(a.startCost)
	}
	if a.slotCost != nil {
		each = slices.Min(a.slotCost)
	}
	if a.endCost != nil {
		fixed += slices.Min(a.endCost)
	}
	floors := make([]Cost, len(a.modes))
	for k := range a.modes {
		m := &a.modes[k]
		floors[k] = m.least + fixed + min(each*Cost(m.n), each*Cost(m.longest))
		if m.idleMost != nil {
			floors[k] -= m.idleMost[0] * Cost(m.longest)
		}
	}
	return floors
}
