package main

import (
	"cmp"
	"math"
	"slices"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// byRule plans as a person with a wall planner may (common practice, no
// source): what is begun goes on, what is booked stays; then job by job in the
// order of the promised day, the first crew that is free, the scaffold as late
// before the roof and as soon after it as it fits. Days on which the forecast
// is worse than even are avoided while it reaches. It shares nothing with the
// planner but the facts, and no plan of it is repaired afterwards.
func byRule(s schedule.Snapshot) schedule.Plan {
	w := newWall(s)
	jobs := slices.Clone(s.Jobs)
	slices.SortStableFunc(jobs, func(a, b schedule.Job) int { return cmp.Compare(due(a), due(b)) })
	for i := range jobs {
		w.begun(&jobs[i])
	}
	for i := range jobs {
		w.stays(&jobs[i])
	}
	for i := range jobs {
		w.job(&jobs[i])
	}
	plan := schedule.Plan{State: schedule.Draft, FirstDay: s.FirstDay, Days: s.Days, Hash: s.HashOf(), Visits: w.visits}
	for i := range jobs {
		for _, st := range jobs[i].Stages {
			if w.open(&jobs[i], st.Kind) && w.at[stageKey{jobs[i].ID, st.Kind}] == nil {
				plan.Unplanned = append(plan.Unplanned, schedule.Unplanned{Job: jobs[i].ID, Stage: st.Kind, Why: "The rule finds no place for it."})
			}
		}
	}
	plan.Cost = schedule.Price(s, plan)
	return plan
}

func due(j schedule.Job) civil.Date {
	if !j.PromisedOn.Known() {
		return civil.Date(1 << 30)
	}
	return j.PromisedOn
}

type stageKey struct {
	job  uuid.UUID
	kind schedule.StageKind
}

type outlookKey struct {
	site uuid.UUID
	task weather.Task
}

// wall is the planner on the wall: who is where when.
type wall struct {
	s        schedule.Snapshot
	last     civil.HalfDay
	crews    map[schedule.Trade][]schedule.Crew
	there    map[uuid.UUID]map[civil.HalfDay]bool // by crew: half-days in which it can work
	busy     map[uuid.UUID]map[civil.HalfDay]bool
	gangs    map[uuid.UUID]map[civil.Date]int // by scaffold firm: visits on a day
	sets     map[uuid.UUID]map[civil.Date]int // scaffolds standing
	outlooks map[outlookKey]*schedule.Outlook
	bookings map[uuid.UUID]*schedule.Booking
	visits   []schedule.Visit
	at       map[stageKey][]civil.HalfDay
}

func newWall(s schedule.Snapshot) *wall {
	w := &wall{s: s, last: (s.FirstDay + civil.Date(s.Days) - 1).In(civil.Afternoon), crews: map[schedule.Trade][]schedule.Crew{}, there: map[uuid.UUID]map[civil.HalfDay]bool{},
		busy: map[uuid.UUID]map[civil.HalfDay]bool{}, gangs: map[uuid.UUID]map[civil.Date]int{}, sets: map[uuid.UUID]map[civil.Date]int{},
		outlooks: map[outlookKey]*schedule.Outlook{}, bookings: map[uuid.UUID]*schedule.Booking{}, at: map[stageKey][]civil.HalfDay{}}
	for _, c := range s.Crews {
		w.crews[c.Trade] = append(w.crews[c.Trade], c)
		w.there[c.ID], w.busy[c.ID] = map[civil.HalfDay]bool{}, map[civil.HalfDay]bool{}
		for h := s.FirstDay.In(civil.Morning); h <= w.last; h++ {
			w.there[c.ID][h] = w.working(h.Date()) && led(c, h.Date())
		}
	}
	for _, f := range s.ScaffoldFirms {
		w.gangs[f.ID], w.sets[f.ID] = map[civil.Date]int{}, map[civil.Date]int{}
	}
	for i := range s.Outlooks {
		w.outlooks[outlookKey{s.Outlooks[i].Site, s.Outlooks[i].Task}] = &s.Outlooks[i]
	}
	for i := range s.Bookings {
		if b := &s.Bookings[i]; b.Live() {
			w.bookings[b.Job] = b
			if b.State == schedule.BookingErected {
				w.stand(b.ScaffoldFirm, s.FirstDay, w.last.Date(), 1)
			}
		}
	}
	return w
}

func led(c schedule.Crew, d civil.Date) bool {
	skill := "electrical"
	if c.Trade == schedule.RoofTrade {
		skill = "lead_roof"
	}
	return c.Active && slices.ContainsFunc(c.Members, func(m schedule.Membership) bool {
		return m.Lead && m.Person.Active && m.On(d) && m.Holds(skill, d)
	})
}

func (w *wall) working(d civil.Date) bool { return schedule.WorkingDay(d, w.s.Holidays) }

func (w *wall) stand(firm uuid.UUID, from, to civil.Date, n int) {
	for d := from; d <= to; d++ {
		w.sets[firm][d] += n
	}
}

// open tells whether a stage is still to be done.
func (w *wall) open(j *schedule.Job, k schedule.StageKind) bool {
	st, ok := j.Stage(k)
	if b := w.bookings[j.ID]; k == schedule.ScaffoldErection && b != nil && b.State == schedule.BookingErected {
		return false
	}
	return ok && st.State != schedule.StateDone
}

// ready gives the first day that the job's gates leave a stage; false = none.
func (w *wall) ready(j *schedule.Job, k schedule.StageKind) (civil.Date, bool) {
	first := max(w.s.FirstDay, j.ReadyOn)
	for _, c := range j.Consents {
		on := c.ExpectedOn
		if c.State == schedule.ConsentGranted {
			on = c.GrantedOn
		}
		if c.Stage != k {
			continue
		}
		if c.State == schedule.ConsentRefused || !on.Known() || c.State != schedule.ConsentGranted && on < w.s.FirstDay {
			return first, false
		}
		first = max(first, on)
	}
	for _, kit := range j.Kit {
		switch {
		case k != schedule.RoofWork && k != schedule.SecondFix:
		case kit.ArrivedOn.Known():
			first = max(first, kit.ArrivedOn)
		case !kit.DueOn.Known() || kit.DueOn < w.s.FirstDay:
			return first, false
		default:
			first = max(first, kit.DueOn+1)
		}
	}
	return first, true
}

// fit tells whether the weather lets an outdoor stage be planned in a half-day.
// careful avoids what the forecast holds for worse than even.
func (w *wall) fit(j *schedule.Job, k schedule.StageKind, h civil.HalfDay, careful bool) bool {
	if k.Task() == weather.Indoors {
		return true
	}
	o := w.outlooks[outlookKey{j.Site.ID, k.Task()}]
	if o == nil {
		return false
	}
	c := o.At(h)
	least := float64(w.s.Firm.Rates.LeastChance) / 100
	if careful && h.Date() < w.s.FirstDay+forecastDays {
		least = max(least, 0.5)
	}
	return c.Known && c.P >= least
}

// row gives n half-days in a row from a half-day on, in which somebody is
// there; nil when one of them is taken or the weather is against it.
func (w *wall) row(j *schedule.Job, k schedule.StageKind, from civil.HalfDay, n int, careful bool, there, free func(civil.HalfDay) bool) (list []civil.HalfDay) {
	if !there(from) {
		return nil
	}
	for h := from; h <= w.last; h++ {
		switch {
		case !there(h):
			continue
		case !free(h) || !w.fit(j, k, h, careful):
			return nil
		}
		if list = append(list, h); len(list) == n {
			return list
		}
	}
	return nil
}

func (w *wall) crewRow(j *schedule.Job, k schedule.StageKind, crew uuid.UUID, from civil.HalfDay, n int, careful bool) []civil.HalfDay {
	if k == schedule.RoofWork {
		n = w.keeps(j, crew, from, n)
	}
	return w.row(j, k, from, n, careful, func(h civil.HalfDay) bool { return w.there[crew][h] }, func(h civil.HalfDay) bool { return !w.busy[crew][h] })
}

func (w *wall) firmRow(j *schedule.Job, k schedule.StageKind, f schedule.ScaffoldFirm, from civil.HalfDay, n int, careful bool) []civil.HalfDay {
	return w.row(j, k, from, n, careful, func(h civil.HalfDay) bool { return w.working(h.Date()) && f.Works(h.Date()) },
		func(h civil.HalfDay) bool { return w.gangs[f.ID][h.Date()] < f.GangsPerDay })
}

func (w *wall) put(j *schedule.Job, k schedule.StageKind, crew, firm uuid.UUID, at []civil.HalfDay) {
	w.visits = append(w.visits, schedule.Visit{Job: j.ID, Stage: k, Crew: crew, ScaffoldFirm: firm, HalfDays: at, Why: "By the rule."})
	w.at[stageKey{j.ID, k}] = at
	day := civil.NoDate
	for _, h := range at {
		if crew != uuid.Nil {
			w.busy[crew][h] = true
		} else if h.Date() != day {
			day = h.Date()
			w.gangs[firm][day]++
		}
	}
}

// soonest gives a stage to the first crew of its trade that is free.
func (w *wall) soonest(j *schedule.Job, k schedule.StageKind, from civil.HalfDay) bool {
	st, _ := j.Stage(k)
	for _, careful := range []bool{true, false} {
		for h := from; h <= w.last; h++ {
			for _, c := range w.crews[k.Trade()] {
				if at := w.crewRow(j, k, c.ID, h, st.HalfDays, careful); at != nil {
					w.put(j, k, c.ID, uuid.Nil, at)
					return true
				}
			}
		}
	}
	return false
}

// begun goes on with what has started.
func (w *wall) begun(j *schedule.Job) {
	for _, st := range j.Stages {
		if st.State == schedule.StateStarted && st.Kind.Trade() != schedule.ScaffoldTrade {
			w.soonest(j, st.Kind, w.s.FirstDay.In(civil.Morning))
		}
	}
}

func (w *wall) firm(id uuid.UUID) schedule.ScaffoldFirm {
	i := slices.IndexFunc(w.s.ScaffoldFirms, func(f schedule.ScaffoldFirm) bool { return f.ID == id })
	return w.s.ScaffoldFirms[i]
}

// stays keeps bookings that are inside their notice: the firm could not be asked
// for another day.
func (w *wall) stays(j *schedule.Job) {
	b := w.bookings[j.ID]
	if b == nil || b.State == schedule.BookingCountered {
		return
	}
	f := w.firm(b.ScaffoldFirm)
	near := func(on civil.Date, notice int) bool {
		return on >= w.s.FirstDay && on < schedule.AddWorkingDays(w.s.FirstDay, notice, w.s.Holidays)
	}
	if w.open(j, schedule.ScaffoldErection) && near(b.ErectOn, f.ErectNotice) && w.scaffoldable(j) {
		w.onDay(j, schedule.ScaffoldErection, f, b.ErectOn)
	}
	if w.open(j, schedule.ScaffoldStrike) && !w.open(j, schedule.RoofWork) && near(b.StrikeOn, f.StrikeNotice) {
		w.onDay(j, schedule.ScaffoldStrike, f, b.StrikeOn)
	}
}

// scaffoldable tells whether no gate keeps the scaffold's three stages shut.
func (w *wall) scaffoldable(j *schedule.Job) bool {
	for _, k := range []schedule.StageKind{schedule.ScaffoldErection, schedule.RoofWork, schedule.ScaffoldStrike} {
		if on, ok := w.ready(j, k); !ok || on > w.last.Date() {
			return false
		}
	}
	return true
}

func (w *wall) onDay(j *schedule.Job, k schedule.StageKind, f schedule.ScaffoldFirm, on civil.Date) bool {
	ready, ok := w.ready(j, k)
	st, _ := j.Stage(k)
	if !ok || on < ready {
		return false
	}
	at := w.firmRow(j, k, f, on.In(civil.Morning), st.HalfDays, false)
	if at == nil {
		return false
	}
	w.put(j, k, uuid.Nil, f.ID, at)
	if k == schedule.ScaffoldErection {
		w.stand(f.ID, on, w.last.Date(), 1)
	}
	return true
}

// job finds places for all that is left of a job.
func (w *wall) job(j *schedule.Job) {
	b := w.bookings[j.ID]
	switch {
	case b != nil && b.State == schedule.BookingErected || w.at[stageKey{j.ID, schedule.ScaffoldErection}] != nil:
		w.underScaffold(j, b)
	case w.open(j, schedule.ScaffoldErection) && w.scaffoldable(j):
		w.scaffolded(j, b)
	}
	for _, k := range []schedule.StageKind{schedule.FirstFix, schedule.SecondFix, schedule.Commissioning} {
		if from, ok := w.after(j, k); ok && w.open(j, k) && w.at[stageKey{j.ID, k}] == nil {
			w.soonest(j, k, from)
		}
	}
}

// after gives the first half-day that its gates and what it waits for leave a
// stage; false = none.
func (w *wall) after(j *schedule.Job, k schedule.StageKind) (civil.HalfDay, bool) {
	on, ok := w.ready(j, k)
	from := on.In(civil.Morning)
	for _, b := range k.After() {
		at := w.at[stageKey{j.ID, b}]
		switch {
		case !w.open(j, b):
		case at == nil:
			return from, false
		default:
			from = max(from, at[len(at)-1]+1)
		}
	}
	return from, ok
}

// underScaffold works on a roof whose scaffold stands or comes, then has it
// struck: on the booked day if that fits, else as soon as it does.
func (w *wall) underScaffold(j *schedule.Job, b *schedule.Booking) {
	if from, ok := w.after(j, schedule.RoofWork); ok && w.open(j, schedule.RoofWork) && w.at[stageKey{j.ID, schedule.RoofWork}] == nil {
		w.soonest(j, schedule.RoofWork, from)
	}
	from, ok := w.after(j, schedule.ScaffoldStrike)
	if !ok || !w.open(j, schedule.ScaffoldStrike) || w.at[stageKey{j.ID, schedule.ScaffoldStrike}] != nil {
		return
	}
	f := w.firm(b.ScaffoldFirm)
	if from <= b.StrikeOn.In(civil.Morning) && b.StrikeOn >= w.s.FirstDay && w.onDay(j, schedule.ScaffoldStrike, f, b.StrikeOn) {
		w.stand(f.ID, b.StrikeOn+1, w.last.Date(), -1)
		return
	}
	if at := w.strike(j, f, from); at != nil {
		w.put(j, schedule.ScaffoldStrike, uuid.Nil, f.ID, at)
		w.stand(f.ID, at[len(at)-1].Date()+1, w.last.Date(), -1)
	}
}

// strike gives the first half-days in which a scaffold can come down.
func (w *wall) strike(j *schedule.Job, f schedule.ScaffoldFirm, from civil.HalfDay) []civil.HalfDay {
	st, _ := j.Stage(schedule.ScaffoldStrike)
	asked := schedule.AddWorkingDays(w.s.FirstDay, f.StrikeNotice, w.s.Holidays).In(civil.Morning)
	for h := max(from, asked); h <= w.last; h++ {
		if at := w.firmRow(j, schedule.ScaffoldStrike, f, h, st.HalfDays, true); at != nil {
			return at
		}
	}
	return nil
}

// scaffolded finds the first roof crew that is free at a time when a scaffold
// can be up: as late before it and down as soon after it as it fits. A booked or
// offered day is kept.
func (w *wall) scaffolded(j *schedule.Job, b *schedule.Booking) {
	ready, _ := w.after(j, schedule.FirstFix) // the job's own gate
	if on, ok := w.ready(j, schedule.RoofWork); ok {
		ready = max(ready, on.In(civil.Morning))
	}
	roof, _ := j.Stage(schedule.RoofWork)
	for _, careful := range []bool{true, false} {
		for h := ready; h <= w.last; h++ {
			for _, c := range w.crews[schedule.RoofTrade] {
				at := w.crewRow(j, schedule.RoofWork, c.ID, h, roof.HalfDays, careful)
				if at != nil && w.around(j, b, c.ID, at, careful) {
					return
				}
			}
		}
	}
}

// around puts a scaffold around a roof's half-days if some firm can.
func (w *wall) around(j *schedule.Job, b *schedule.Booking, crew uuid.UUID, roof []civil.HalfDay, careful bool) bool {
	for _, f := range w.s.ScaffoldFirms {
		if b != nil && f.ID != b.ScaffoldFirm {
			continue
		}
		erect := w.erection(j, b, f, roof[0], careful)
		if erect == nil {
			continue
		}
		w.gangs[f.ID][erect[0].Date()]++ // while the strike is looked for
		strike := w.strike(j, f, roof[len(roof)-1]+1)
		w.gangs[f.ID][erect[0].Date()]--
		if strike == nil || !w.hasSet(f, erect[0].Date(), strike[len(strike)-1].Date()) {
			continue
		}
		w.put(j, schedule.ScaffoldErection, uuid.Nil, f.ID, erect)
		w.put(j, schedule.RoofWork, crew, uuid.Nil, roof)
		w.put(j, schedule.ScaffoldStrike, uuid.Nil, f.ID, strike)
		w.stand(f.ID, erect[0].Date(), strike[len(strike)-1].Date(), 1)
		return true
	}
	return false
}

// earliest is how many days before the roof work a scaffold is put up at most.
const earliest = 21

func (w *wall) erection(j *schedule.Job, b *schedule.Booking, f schedule.ScaffoldFirm, before civil.HalfDay, careful bool) []civil.HalfDay {
	st, _ := j.Stage(schedule.ScaffoldErection)
	ready, ok := w.ready(j, schedule.ScaffoldErection)
	if !ok {
		return nil
	}
	first := max(ready, schedule.AddWorkingDays(w.s.FirstDay, f.ErectNotice, w.s.Holidays)).In(civil.Morning)
	if b != nil {
		on := b.ErectOn
		if b.State == schedule.BookingCountered {
			on = b.OfferedOn
		}
		if on >= ready && on >= w.s.FirstDay {
			at := w.firmRow(j, schedule.ScaffoldErection, f, on.In(civil.Morning), st.HalfDays, false)
			if at != nil && at[len(at)-1] < before {
				return at
			}
			return nil
		}
	}
	for h := before - 1; h >= max(first, before-2*earliest); h-- {
		if at := w.firmRow(j, schedule.ScaffoldErection, f, h, st.HalfDays, careful); at != nil && at[len(at)-1] < before {
			return at
		}
	}
	return nil
}

func (w *wall) hasSet(f schedule.ScaffoldFirm, from, to civil.Date) bool {
	for d := from; d <= to; d++ {
		if w.sets[f.ID][d] >= f.Sets {
			return false
		}
	}
	return true
}

// keeps gives how many half-days of a crew roof work of n half-days takes from
// one on: past the forecast each counts by its chance, until no more than half a
// half-day is missing (schedule/MODEL.md, section 2).
func (w *wall) keeps(j *schedule.Job, crew uuid.UUID, from civil.HalfDay, n int) int {
	o := w.outlooks[outlookKey{j.Site.ID, schedule.RoofWork.Task()}]
	left, took := 10_000*n-5_000, 0
	for h := from; h <= w.last && left > 0 && o != nil; h++ {
		switch {
		case !w.there[crew][h]:
			continue
		case h.Date() < w.s.FirstDay+weather.ForecastDays:
			left -= 10_000
		case o.At(h).Known:
			left -= int(math.Round(1e4 * o.At(h).P))
		}
		took++
	}
	if left > 0 {
		return 2*w.s.Days + 1 // the plan ends before
	}
	return max(took, n)
}
