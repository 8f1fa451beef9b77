package schedule

import (
	"encoding/binary"
	"slices"

	"github.com/google/uuid"

	"toeboard/schedule/solver"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// model is the snapshot as the kernel wants it: half-days as slots, stages as
// activities, crews and scaffold firms as resources and modes.
type model struct {
	*facts
	rules   *prices
	data    solver.Data
	acts    []act
	index   [][stageCount]int   // by work and stage: its activity, -1 = none
	held    map[int]held        // by activity
	stays   map[jobStage]bool   // those that are held
	moved   map[jobStage]string // why a visit that was to stay does not
	fixed   Pence               // costs that no placing changes
	sky     map[skyKey][]solver.Cost
	late    [][]solver.Cost           // by crew and slot: what overtime costs; nil = no crew works overtime
	same    map[sharedKey]shared      // modes that several stages have
	tables  map[string][]solver.Cost  // of costs, by their bytes
	shares  map[string][]solver.Part  // of what half-days bring, by their bytes
	hires   map[hireKey][]solver.Cost // by number of days
	comeIn  []int                     // by scaffold firm: the calendar of its gangs
	scratch []byte
}

// act is the stage that an activity stands for. ways gives, by mode, the index
// of the crew or scaffold firm.
type act struct {
	work int
	kind StageKind
	ways []int
}

type skyKey struct {
	outlook outlookKey
	rate    Pence
}

func newModel(s *Snapshot) *model {
	f := readFacts(s, order{byFacts: true})
	m := &model{facts: f, rules: newPrices(f), held: map[int]held{}, stays: map[jobStage]bool{}, sky: map[skyKey][]solver.Cost{},
		same: map[sharedKey]shared{}, tables: map[string][]solver.Cost{}, shares: map[string][]solver.Part{}, hires: map[hireKey][]solver.Cost{}, index: make([][stageCount]int, len(f.work))}
	m.data.Slots = solver.Slot(2 * s.Days)
	m.addCrews()
	m.addFirms()
	m.addSaturdays()
	m.addDaysOff()
	places := m.addPlaces()
	stay, moved := m.holds()
	m.moved = moved
	for _, h := range stay {
		m.stays[jobStage{h.work, h.kind}] = true
	}
	m.notHeld()
	for i := range m.work {
		m.addJob(i, places[m.work[i].job.ID])
	}
	for _, h := range stay {
		m.pin(h)
	}
	m.reserve()
	return m
}

func (m *model) slot(h civil.HalfDay) solver.Slot {
	return solver.Slot(h - m.s.FirstDay.In(civil.Morning))
}

func (m *model) halfDay(s solver.Slot) civil.HalfDay {
	return m.s.FirstDay.In(civil.Morning) + civil.HalfDay(s)
}

// notHeld reads the pins of a job again whose erection or strike was booked
// inside its notice and could not stay there: they bind now.
func (m *model) notHeld() {
	for i := range m.work {
		w, again := &m.work[i], false
		for k := range w.near {
			if w.near[k] && !m.stays[jobStage{i, StageKind(k)}] {
				w.near[k], again = false, true
			}
		}
		if again {
			m.readPinned(w)
		}
	}
}

// addCrews makes each crew a calendar and a resource of one, which travels from
// its home and costs idle.
func (m *model) addCrews() {
	for i, c := range m.crews {
		open, idle, one := make(solver.Calendar, m.data.Slots), make([]solver.Cost, m.data.Slots), make([]solver.Amount, m.data.Slots)
		for s := range open {
			h := m.halfDay(solver.Slot(s))
			one[s] = 1
			if open[s] = m.works(c, h.Date()); open[s] {
				idle[s] = solver.Cost(m.rules.idle(c, h.Date()))
			}
		}
		m.data.Calendars = append(m.data.Calendars, open)
		m.data.Resources = append(m.data.Resources, solver.Resource{Capacity: one, Idle: idle, Tour: &solver.Tour{Home: solver.Place(i), Slots: 2}})
	}
}

// addFirms gives the scaffold firms one calendar of working days (addDaysOff
// adds those of their own), and each its gangs and its sets by day.
func (m *model) addFirms() {
	open := make(solver.Calendar, m.data.Slots)
	for s := range open {
		open[s] = m.days.is(m.halfDay(solver.Slot(s)).Date())
	}
	m.data.Calendars = append(m.data.Calendars, open)
	for i, f := range m.firms {
		gangs, sets := make([]solver.Amount, m.s.Days), make([]solver.Amount, m.s.Days)
		for d := range gangs {
			gangs[d], sets[d] = solver.Amount(f.GangsPerDay), solver.Amount(f.Sets)
		}
		m.takeByOthers(i, gangs, sets)
		m.data.Resources = append(m.data.Resources, solver.Resource{Grain: 2, Capacity: gangs}, solver.Resource{Grain: 2, Capacity: sets})
	}
}

// addSaturdays gives each crew a second calendar, with Saturdays, when the firm
// pays for overtime. A stage is done by the one or by the other.
func (m *model) addSaturdays() {
	if m.rules.rates.OvertimePercent == 0 {
		return
	}
	for _, c := range m.crews {
		open, cost := make(solver.Calendar, m.data.Slots), make([]solver.Cost, m.data.Slots)
		for s := range open {
			d := m.halfDay(solver.Slot(s)).Date()
			open[s], cost[s] = m.worksLate(c, d), solver.Cost(m.rules.overtime(c, d))
		}
		m.data.Calendars = append(m.data.Calendars, open)
		m.late = append(m.late, cost)
	}
}

// addDaysOff gives each scaffold firm with days off a calendar of its own; the
// others share one.
func (m *model) addDaysOff() {
	m.comeIn = slices.Repeat([]int{len(m.crews)}, len(m.firms))
	for i, f := range m.firms {
		if f.DaysOff == 0 {
			continue
		}
		open := make(solver.Calendar, m.data.Slots)
		for s := range open {
			open[s] = m.comes(i, m.halfDay(solver.Slot(s)).Date())
		}
		m.comeIn[i] = len(m.data.Calendars)
		m.data.Calendars = append(m.data.Calendars, open)
	}
}

func (m *model) gangs(firm int) int { return len(m.crews) + 2*firm }
func (m *model) sets(firm int) int  { return len(m.crews) + 2*firm + 1 }

// takeByOthers takes from a scaffold firm's capacity what bookings of jobs
// outside the plan use.
func (m *model) takeByOthers(firm int, gangs, sets []solver.Amount) {
	take := func(of []solver.Amount, from, to civil.Date) {
		for d := max(from, m.s.FirstDay); d <= min(to, m.last); d++ {
			of[d-m.s.FirstDay]--
		}
	}
	for _, b := range m.others {
		if m.firm(b.ScaffoldFirm) != firm {
			continue
		}
		if b.State != BookingErected {
			take(gangs, b.ErectOn, b.ErectOn)
		}
		if b.StrikeOn != b.ErectOn || b.State == BookingErected {
			take(gangs, b.StrikeOn, b.StrikeOn)
		}
		take(sets, b.ErectOn, max(b.StrikeOn, m.s.FirstDay))
	}
}

// addPlaces numbers the homes of the crews and the sites, and prices the trips
// between them.
func (m *model) addPlaces() map[uuid.UUID]solver.Place {
	var points []weather.Point
	for _, c := range m.crews {
		points = append(points, weather.Point{Lat: c.HomeLat, Lon: c.HomeLon})
	}
	at := make(map[uuid.UUID]solver.Place, len(m.work))
	for i := range m.work {
		at[m.work[i].job.ID] = solver.Place(len(points))
		points = append(points, siteOf(m.work[i].job))
	}
	m.data.Trip = func(a, b solver.Place) solver.Cost { return solver.Cost(m.rules.trip(points[a], points[b])) }
	return at
}

// addJob makes the activities of a job, in the units in which they are placed.
func (m *model) addJob(i int, place solver.Place) {
	w := &m.work[i]
	m.index[i] = [stageCount]int{}
	for k := range m.index[i] {
		m.index[i][k] = -1
	}
	for _, k := range StageKinds {
		if !w.open(k) {
			continue
		}
		if w.blocked[k].why != "" {
			m.fixed += m.rules.absent(w, k, w.blocked[k].pin)
			continue
		}
		m.index[i][k] = len(m.acts)
		m.addStage(i, k, place)
	}
	at := &m.index[i]
	var group solver.Group
	if w.together() && at[ScaffoldErection] >= 0 {
		unit := solver.Unit{Activities: []int{at[ScaffoldStrike], at[ScaffoldErection]}, Tied: []int{at[ScaffoldStrike], at[ScaffoldErection]}}
		if at[RoofWork] >= 0 { // first the roof work: its day matters most
			unit.Activities = append([]int{at[RoofWork]}, unit.Activities...)
		}
		group = append(group, unit)
		m.addSpan(w, at[ScaffoldErection], at[ScaffoldStrike])
	} else {
		for _, k := range []StageKind{ScaffoldErection, RoofWork, ScaffoldStrike} {
			if at[k] >= 0 {
				group = append(group, solver.Unit{Activities: []int{at[k]}})
			}
		}
		if (w.standing || w.coming) && w.owner >= 0 {
			m.addSpan(w, solver.Standing, at[ScaffoldStrike])
		}
	}
	for _, k := range []StageKind{FirstFix, SecondFix, Commissioning} {
		if at[k] >= 0 {
			group = append(group, solver.Unit{Activities: []int{at[k]}})
		}
	}
	m.addHandovers(w, at)
	if group != nil {
		m.data.Groups = append(m.data.Groups, group)
	}
}

// addHandovers prices that two stages that are still to be done are done by two
// crews.
func (m *model) addHandovers(w *work, at *[stageCount]int) {
	for _, k := range []StageKind{SecondFix, Commissioning} {
		if before := w.handsOver(k); at[k] >= 0 && at[before] >= 0 && m.rules.rates.Handover > 0 {
			m.data.Handovers = append(m.data.Handovers, solver.Handover{First: at[before], Second: at[k], Cost: solver.Cost(m.rules.rates.Handover)})
		}
	}
}

func (m *model) addStage(i int, k StageKind, place solver.Place) {
	w := &m.work[i]
	a := solver.Activity{
		Release:  max(0, m.slot(w.release[k].on.In(civil.Morning))),
		SlotCost: m.weatherCosts(w, k, -1),
		Absent:   solver.Cost(m.rules.absent(w, k, true)),
		Vital:    w.told(k),
		Place:    place,
		Late:     k == ScaffoldErection,
	}
	if m.ownSky(k) { // the weather hangs on who does it, so its modes have it
		a.SlotCost = nil
	}
	if k == Commissioning {
		a.EndCost = m.latenessCosts(w)
	}
	if w.planned(k) {
		for _, before := range w.before(k) {
			if w.open(before) {
				a.After = append(a.After, solver.Link{Activity: m.index[i][before]})
			}
		}
	}
	if reserves(k) {
		a.Share, a.Short = m.shareOf(w, k), solver.Part(reserveShort)
	}
	same := m.modesOf(i, k)
	a.Modes = same.modes
	m.acts = append(m.acts, act{i, k, same.ways})
	m.data.Activities = append(m.data.Activities, a)
	m.addMoves(len(m.acts) - 1)
	m.addPins(len(m.acts) - 1)
}

// shared is the modes of a stage and who does it in each. Stages of the same
// length that the same crews or scaffold firms may do share them: a large firm
// has hundreds of modes for each of its stages.
type shared struct {
	ways  []int
	modes []solver.Mode
}

type sharedKey struct {
	kind    StageKind
	planned bool
	n       int
	did     uuid.UUID // the crew that handed over, where that has a price
	who     string    // those who may do it
}

func (m *model) modesOf(i int, k StageKind) shared {
	w := &m.work[i]
	if k.Trade() == ScaffoldTrade && (w.booking != nil || w.base[k] != nil || w.refused != nil || m.ownSky(k)) { // its modes know the booked day and the refused ones
		return m.makeModes(w, k, m.mayDo(i, k, m.firmsFor(w)))
	}
	could := m.crewsFor
	if k.Trade() == ScaffoldTrade {
		could = func(w *work, _ StageKind) []int { return m.firmsFor(w) }
	}
	who := m.mayDo(i, k, could(w, k))
	key := sharedKey{kind: k, planned: w.planned(k), n: w.left(k, m.s.FirstDay), who: string(m.whoKey(who))}
	if before := w.handsOver(k); before != StageUnknown {
		key.did = w.did[before]
	}
	same, ok := m.same[key]
	if !ok {
		same = m.makeModes(w, k, who)
		m.same[key] = same
	}
	return same
}

// shareOf gives by slot what a half-day is expected to bring of a stage's work.
// Sites under one climate share it.
func (m *model) shareOf(w *work, k StageKind) []solver.Part {
	share := make([]solver.Part, m.data.Slots)
	m.scratch = m.scratch[:0]
	for s := range share {
		share[s] = solver.Part(m.brings(w, k, m.halfDay(solver.Slot(s))))
		m.scratch = binary.AppendVarint(m.scratch, int64(share[s]))
	}
	if known, ok := m.shares[string(m.scratch)]; ok {
		return known
	}
	m.shares[string(m.scratch)] = share
	return share
}

// whoKey writes those who may do a stage as the bytes of a key.
func (m *model) whoKey(who []int) []byte {
	m.scratch = m.scratch[:0]
	for _, c := range who {
		m.scratch = binary.AppendUvarint(m.scratch, uint64(c))
	}
	return m.scratch
}

// once gives a table of costs that is the same as one that was made before in
// its stead: many jobs were promised for the same day, many visits cost the
// same to move.
func (m *model) once(costs []solver.Cost) []solver.Cost {
	m.scratch = m.scratch[:0]
	for _, c := range costs {
		m.scratch = binary.AppendVarint(m.scratch, int64(c))
	}
	if known, ok := m.tables[string(m.scratch)]; ok {
		return known
	}
	m.tables[string(m.scratch)] = costs
	return costs
}

func (m *model) makeModes(w *work, k StageKind, who []int) (out shared) {
	if k.Trade() == ScaffoldTrade {
		out.ways = who
		for _, f := range who {
			out.modes = append(out.modes, m.firmMode(w, k, f))
		}
		return out
	}
	for _, c := range who {
		mode := m.crewMode(w, k, c)
		out.modes, out.ways = append(out.modes, mode), append(out.ways, c)
		if m.late != nil {
			mode.Calendar, mode.SlotCost = len(m.crews)+1+c, m.late[c]
			out.modes, out.ways = append(out.modes, mode), append(out.ways, c)
		}
	}
	return out
}

// mayDo narrows those who could do a stage to those whom the pins let; whoever
// does a held one is a fact.
func (m *model) mayDo(i int, k StageKind, could []int) []int {
	if w := &m.work[i]; w.planned(k) && !m.stays[jobStage{i, k}] {
		return m.whoMay(w, k, could)
	}
	return could
}

// addPins forbids the starts that a person's pins do not allow.
func (m *model) addPins(a int) {
	act, d := m.acts[a], &m.data.Activities[a]
	w := &m.work[act.work]
	if !w.planned(act.kind) || m.stays[jobStage{act.work, act.kind}] || !w.pinned(act.kind, PinStart, PinOn, PinNotBefore, PinNotAfter) {
		return
	}
	d.Modes = slices.Clone(d.Modes) // others may share them
	for mode := range d.Modes {
		costs := make([]solver.Cost, m.data.Slots)
		copy(costs, d.Modes[mode].StartCost)
		for s := range costs {
			if slots := m.halfDaysAt(a, solver.At{Mode: mode, Start: solver.Slot(s)}); slots != nil && !w.mayIn(act.kind, slots) {
				costs[s] = solver.Never
			}
		}
		d.Modes[mode].StartCost = costs
	}
}

func (m *model) crewMode(w *work, k StageKind, c int) solver.Mode {
	mode := solver.Mode{Calendar: c, Slots: solver.Slot(w.left(k, m.s.FirstDay)), Uses: []solver.Use{{Resource: c, Amount: 1}}, Who: c + 1}
	if before := w.handsOver(k); before != StageUnknown {
		mode.Cost = solver.Cost(m.rules.handover(w.did[before], m.crews[c].ID))
	}
	return mode
}

func (m *model) firmMode(w *work, k StageKind, f int) solver.Mode {
	mode := solver.Mode{Calendar: m.comeIn[f], Slots: solver.Slot(w.left(k, m.s.FirstDay)), Uses: []solver.Use{{Resource: m.gangs(f), Amount: 1}}}
	if m.ownSky(k) {
		mode.SlotCost = m.weatherCosts(w, k, f)
	}
	if k == ScaffoldErection {
		mode.Cost = solver.Cost(m.firms[f].VisitPrice)
	}
	if !w.planned(k) {
		mode.Cost = 0 // it began: its price is no longer the plan's to choose
		return mode
	}
	mode.Release = max(0, m.slot(m.firstAsked(w, k, f).In(civil.Morning)))
	if on, firm, ok := m.booked(w, k); ok && firm == f && on >= m.s.FirstDay && on <= m.last {
		mode.Also = []solver.Slot{m.slot(on.In(civil.Morning)), m.slot(on.In(civil.Afternoon))}
	}
	return mode
}

// weatherCosts gives by slot what the weather is expected to cost an outdoor
// stage; nil indoors. A half-day whose chance is not known, or below the firm's
// least, is forbidden.
func (m *model) weatherCosts(w *work, k StageKind, who int) []solver.Cost {
	o := m.chancesBy(w, k, who)
	if o == nil {
		return nil
	}
	key := skyKey{outlookKey{w.job.Site.ID, k.Task(), uuid.Nil}, m.rules.lost(k)}
	if k.Trade() == ScaffoldTrade && who >= 0 && m.firms[who].GustLimit > 0 {
		key.outlook.by = m.firms[who].ID
	}
	if costs := m.sky[key]; costs != nil {
		return costs
	}
	costs := make([]solver.Cost, m.data.Slots)
	for s := range costs {
		c := o.At(m.halfDay(solver.Slot(s)))
		costs[s] = solver.Cost(m.rules.weather(c, k))
		if !m.fit(c) {
			costs[s] = solver.Never
		}
	}
	m.sky[key] = costs
	return costs
}

func (m *model) latenessCosts(w *work) []solver.Cost {
	if !w.job.PromisedOn.Known() {
		return nil
	}
	costs := make([]solver.Cost, m.data.Slots)
	for s := range costs {
		costs[s] = solver.Cost(m.rules.late(w.job, m.halfDay(solver.Slot(s)).Date()))
	}
	return m.once(costs)
}

// addMoves prices every start by what it moves: the published visit, except
// where it stays, and the day confirmed with the scaffold firm. The place as
// published is kept in mind.
func (m *model) addMoves(a int) {
	act, d := m.acts[a], &m.data.Activities[a]
	w, k := &m.work[act.work], act.kind
	if !w.planned(k) || w.base[k] == nil && w.booking == nil && w.refused == nil {
		return
	}
	if b := w.base[k]; b != nil {
		d.Keep = m.as(a, b)
		d.StartCost = make([]solver.Cost, m.data.Slots)
		for s := range d.StartCost {
			d.StartCost[s] = solver.Cost(m.rules.moved(w, b, m.halfDay(solver.Slot(s)).Date()))
		}
		for mode := range d.Modes { // an ordinary day and one with overtime have the same half-days
			if at := m.asIn(a, mode, b); at != nil {
				d.Was, d.Stay = append(d.Was, *at), d.StartCost[at.Start]
			}
		}
		d.StartCost = m.once(d.StartCost)
	}
	if k.Trade() == ScaffoldTrade && (w.booking != nil || w.refused != nil) {
		for mode := range d.Modes {
			d.Modes[mode].StartCost = m.bookingCosts(w, k, act.ways[mode])
		}
	}
}

// bookingCosts prices the starts of a scaffold firm beside those agreed.
func (m *model) bookingCosts(w *work, k StageKind, firm int) []solver.Cost {
	costs := make([]solver.Cost, m.data.Slots)
	for s := range costs {
		d := m.halfDay(solver.Slot(s)).Date()
		costs[s] = solver.Cost(m.rules.bookingMoved(w, k, m.firms[firm].ID, d))
		if m.refused(w, k, firm, d) {
			costs[s] = solver.Never
		}
	}
	return m.once(costs)
}

// as gives the mode and start that stand for a visit; nil when no place in the
// model has just its half-days.
func (m *model) as(a int, v *Visit) *solver.At {
	for mode := range m.acts[a].ways {
		if at := m.asIn(a, mode, v); at != nil {
			return at
		}
	}
	return nil
}

// asIn is as for one mode.
func (m *model) asIn(a, mode int, v *Visit) *solver.At {
	if v == nil {
		return nil
	}
	who := m.acts[a].ways[mode]
	if v.Stage.Trade() == ScaffoldTrade && m.firms[who].ID != v.ScaffoldFirm ||
		v.Stage.Trade() != ScaffoldTrade && m.crews[who].ID != v.Crew {
		return nil
	}
	at := solver.At{Mode: mode, Start: m.slot(v.First())}
	if !begins(m.halfDaysAt(a, at), v.HalfDays) {
		return nil
	}
	return &at
}

func sameHalfDays(a, b []civil.HalfDay) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// halfDaysAt lists the half-days of an activity in a mode from a start; none
// when the calendar has no room there.
func (m *model) halfDaysAt(a int, at solver.At) (list []civil.HalfDay) {
	act := &m.data.Activities[a]
	mode := act.Modes[at.Mode]
	open := m.data.Calendars[mode.Calendar]
	if at.Start < 0 || at.Start >= m.data.Slots || !open[at.Start] {
		return nil
	}
	left := solver.Part(mode.Slots)*solver.Whole - act.Short
	for s := at.Start; s < m.data.Slots; s++ {
		if !open[s] {
			continue
		}
		list = append(list, m.halfDay(s))
		if left -= shareAt(act, s); left <= 0 {
			return list
		}
	}
	return nil
}

// shareAt is what a slot brings of an activity's work.
func shareAt(a *solver.Activity, s solver.Slot) solver.Part {
	if a.Share == nil || int(s) >= len(a.Share) {
		return solver.Whole
	}
	return a.Share[s]
}

// setWorth is what a day of a standing set is thought to be worth to other
// jobs. It only steers placing: a scaffold goes up no earlier than it helps.
const setWorth = 3_00

// hireKey is what the price of a scaffold's standing depends on: the firm, the
// days of work on it and those that it stood before the plan.
type hireKey struct{ firm, work, before int }

// addSpan holds a set from erection to strike. A scaffold that stands is held
// from the first day and one that comes from its day, to the last day of the
// plan when nothing brings it down.
func (m *model) addSpan(w *work, from, to int) {
	if to < 0 { // its set is taken and its hire runs to the end
		sets := m.data.Resources[m.sets(w.owner)].Capacity
		for d := max(w.since, m.s.FirstDay); d <= m.last; d++ {
			sets[d-m.s.FirstDay]--
		}
		m.fixed += m.rules.standing(w, m.firms[w.owner], w.since, m.last)
		return
	}
	span := solver.Span{From: from, To: to, Hold: setWorth}
	since, first := m.s.FirstDay, m.s.FirstDay // the first day that is hired, and that is on the line
	if from == solver.Standing {
		since, first = w.since, max(first, w.since)
		span.Begin = m.slot(first.In(civil.Morning))
	}
	for _, f := range m.acts[to].ways {
		key := hireKey{f, w.scaffoldDays(), int(first - since)}
		cost := m.hires[key]
		if cost == nil {
			cost = make([]solver.Cost, m.s.Days+1)
			for n := 1; n <= m.s.Days; n++ {
				cost[n] = solver.Cost(m.rules.standing(w, m.firms[f], since, first+civil.Date(n)-1))
			}
			m.hires[key] = cost
		}
		span.On = append(span.On, solver.SpanOn{Resource: m.sets(f), Cost: cost})
	}
	m.data.Spans = append(m.data.Spans, span)
}

func (m *model) pin(h held) {
	a := m.index[h.work][h.kind]
	for mode, who := range m.acts[a].ways {
		at := solver.At{Mode: mode, Start: m.slot(h.slots[0])}
		if who == h.who && sameHalfDays(m.halfDaysAt(a, at), h.slots) {
			m.data.Activities[a].Pin = &at
			m.held[a] = h
			return
		}
	}
}

func siteOf(j *Job) weather.Point { return weather.Point{Lat: j.Site.Lat, Lon: j.Site.Lon} }
