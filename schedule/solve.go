package schedule

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"sync"

	"toeboard/schedule/solver"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Solve makes a plan from a snapshot. The same snapshot, stop and seed give the
// same plan, whatever the order of jobs, crews and firms in it; more schedules
// never give a dearer one. When the context ends first, it gives the best plan
// so far. The plan has its visits, cost, unplanned stages and hash; identifier
// and time of making are the caller's.
//
// A published plan is the start: visits stay where moving them does not pay. A
// snapshot that differs in nothing from the one that the published plan was
// made from gives that plan again, unless more schedules are asked for.
//
// A snapshot that cannot be planned is refused, each fault named.
func Solve(ctx context.Context, s Snapshot, stop Stop, seed uint64) (Plan, error) {
	if err := s.check(); err != nil {
		return Plan{}, err
	}
	plan := Plan{State: Draft, FirstDay: s.FirstDay, Days: s.Days, Seed: seed}
	var hashing sync.WaitGroup
	hashing.Go(func() { plan.Hash = s.HashOf() }) // beside the model: of a large firm it takes a second
	if s.Base != nil {
		hashing.Wait()
		plan.Base = s.Base.ID
		if again, ok := asPublished(&s, plan, stop); ok {
			return again, nil
		}
	}
	m := newModel(&s)
	r, err := solver.Solve(ctx, m.data, m.stop(stop), seed)
	if err != nil {
		return Plan{}, fmt.Errorf("planning: %w", err)
	}
	hashing.Wait()
	plan.Schedules = r.Schedules
	m.write(&plan, r)
	plan.Cost = Price(s, plan)
	return cheaperAsPublished(&s, plan), nil
}

// cheaperAsPublished gives the published plan's places where they still keep
// every rule and are better than what the search came to: what an event holds
// can lead a short search away from a plan that needed no change.
func cheaperAsPublished(s *Snapshot, plan Plan) Plan {
	if s.Base == nil || s.Base.FirstDay != s.FirstDay || s.Base.Days != s.Days {
		return plan
	}
	kept := plan
	kept.Visits, kept.Unplanned = slices.Clone(s.Base.Visits), slices.Clone(s.Base.Unplanned)
	if kept.Cost = Price(*s, kept); s.better(&kept, &plan) && len(Validate(*s, kept)) == 0 {
		return kept
	}
	return plan
}

// stop hands a stop on to the kernel; what no placing changes is added to the
// costs it reports.
func (m *model) stop(s Stop) solver.Stop {
	k := solver.Stop{Schedules: s.Schedules, Workers: s.Workers}
	if s.Progress != nil {
		k.Progress = func(p solver.Progress) {
			told := Progress{Schedules: p.Schedules, Of: s.Schedules, Best: Pence(p.Best) + m.fixed}
			if p.Bound > 0 {
				told.Bound = Pence(p.Bound) + m.fixed
			}
			s.Progress(told)
		}
	}
	return k
}

// asPublished gives the published plan again when nothing has changed since it
// was made.
func asPublished(s *Snapshot, plan Plan, stop Stop) (Plan, bool) {
	b := s.Base
	if b.Hash != plan.Hash || stop.Schedules > b.Schedules || b.FirstDay != s.FirstDay || b.Days != s.Days || !newFacts(s).bookedAsPublished() {
		return plan, false
	}
	plan.Seed, plan.Schedules = b.Seed, b.Schedules
	plan.Visits, plan.Unplanned = slices.Clone(b.Visits), slices.Clone(b.Unplanned)
	plan.Cost = Price(*s, plan)
	return plan, len(Validate(*s, plan)) == 0
}

// write puts the kernel's placements into words and dates.
func (m *model) write(plan *Plan, r solver.Result) {
	e := newExplainer(m, r)
	for _, i := range m.byRef() {
		for _, k := range StageKinds {
			w := &m.work[i]
			if !w.open(k) {
				continue
			}
			a := m.index[i][k]
			switch {
			case a < 0:
				plan.Unplanned = append(plan.Unplanned, Unplanned{Job: w.job.ID, Stage: k, Why: w.blocked[k].why})
			case r.Placed[a].Mode < 0:
				why := e.whyNot(a)
				if pins := m.pinWords(w, k); pins != "" {
					why = pins + ". " + why
				}
				plan.Unplanned = append(plan.Unplanned, Unplanned{Job: w.job.ID, Stage: k, Why: why})
			default:
				plan.Visits = append(plan.Visits, m.visit(e, a, r.Placed[a]))
			}
		}
	}
}

// byRef gives the indexes of the jobs in the order of their references.
func (m *model) byRef() []int {
	list := make([]int, len(m.work))
	for i := range list {
		list[i] = i
	}
	slices.SortFunc(list, func(a, b int) int { return order{}.jobs(m.work[a], m.work[b]) })
	return list
}

func (m *model) visit(e *explainer, a int, at solver.Placement) Visit {
	act := m.acts[a]
	w := &m.work[act.work]
	v := Visit{Job: w.job.ID, Stage: act.kind, HalfDays: m.halfDaysAt(a, solver.At{Mode: at.Mode, Start: at.Start})}
	if act.kind.Trade() == ScaffoldTrade {
		v.ScaffoldFirm = m.firms[act.ways[at.Mode]].ID
	} else {
		v.Crew = m.crews[act.ways[at.Mode]].ID
	}
	if o := m.chancesBy(w, act.kind, act.ways[at.Mode]); o != nil {
		v.Chance = visitChance(v.HalfDays, o, w.left(act.kind, m.s.FirstDay))
	}
	v.Why = e.why(a)
	reserve := m.reserveWords(w, &v)
	if m.startIsPinned(w, act.kind, v.HalfDays) && !m.stays[jobStage{act.work, act.kind}] {
		v.Why = m.pinWords(w, act.kind) + "."
	}
	if no := m.moved[jobStage{act.work, act.kind}]; no != "" {
		v.Why = no + " " + v.Why
	}
	if reserve != "" {
		v.Why += " " + reserve
	}
	return v
}

// startIsPinned tells whether a pin, and nothing else, says when a visit starts.
func (m *model) startIsPinned(w *work, k StageKind, slots []civil.HalfDay) bool {
	return slices.ContainsFunc(w.pins, func(p *Pin) bool {
		return p.bears(k) && w.planned(k) && (p.Kind == PinStart || p.Kind == PinOn || p.Kind == PinNotBefore && slots[0].Date() == p.On)
	})
}

// leastChance keeps a visit's chance away from 0 and 1, which no forecast is.
const leastChance = 0.001

// visitChance is the chance that the weather lets the work of a visit be done in
// it: that at least n of its half-days are fit, all of them where none is kept in
// reserve. Weather is much the same for both halves of a day: one day decides
// both, each by its own chance; from one day to the next it is taken as
// independent, which is on the careful side. Unknown when any half-day's chance
// is.
func visitChance(halfDays []civil.HalfDay, o *Outlook, n int) weather.Chance {
	c := weather.Chance{Known: len(halfDays) > 0}
	n = min(n, len(halfDays))
	done := make([]float64, n+1) // by half-days that are done: how likely
	done[0] = 1
	for i := 0; i < len(halfDays); {
		first := o.At(halfDays[i])
		worst, best, same := first.P, first.P, 1
		if !first.Known {
			return weather.Chance{}
		}
		if i+1 < len(halfDays) && halfDays[i+1].Date() == halfDays[i].Date() {
			second := o.At(halfDays[i+1])
			if !second.Known {
				return weather.Chance{}
			}
			worst, best, same = min(worst, second.P), max(best, second.P), 2
		}
		for k := n; k >= 0; k-- { // the fullest first: what a day adds comes from below
			p := done[k]
			if done[k] = p * (1 - best); k == n {
				done[k] = p
				continue
			}
			done[min(n, k+1)] += p * (best - worst)
			done[min(n, k+same)] += p * worst
		}
		c.Basis = first.Basis
		i += same
	}
	c.P = min(max(done[n], leastChance), 1-leastChance)
	switch {
	case len(halfDays) > n:
		c.Basis = fmt.Sprintf("that %d of %d half-days are fit (%s)", n, len(halfDays), c.Basis)
	case len(halfDays) > 1:
		c.Basis = fmt.Sprintf("the lower chance of each day, multiplied (%s)", c.Basis)
	}
	return c
}

// check refuses a snapshot that cannot be planned.
func (s *Snapshot) check() error {
	c := &snapshotCheck{}
	if !s.FirstDay.Known() {
		c.add("first day", s.FirstDay.String(), "the first day to plan")
	}
	if s.Days < 1 || s.Days > 400 {
		c.add("days", strconv.Itoa(s.Days), "1 to 400 days")
	}
	if s.Frozen < 0 || s.Frozen > 60 {
		c.add("frozen days", strconv.Itoa(s.Frozen), "0 to 60 working days")
	}
	if _, err := s.Firm.Location(); err != nil {
		c.add("time zone", s.Firm.TimeZone, "a zone of the IANA list, such as Europe/London")
	}
	if len(c.bad) == 0 && !s.Now.IsZero() && s.FirstDay < s.today() {
		c.add("first day", s.FirstDay.String(), fmt.Sprintf("today, %s, or later: the past is not planned", s.today()))
	}
	c.rates(s.Firm.Rates)
	c.firms(s)
	c.jobs(s)
	c.outlooks(s)
	for _, l := range s.Travel {
		if !(l.Km >= 0 && l.Km <= mostKm) {
			c.add("km from "+l.From+" to "+l.To, fmt.Sprint(l.Km), fmt.Sprintf("0 to %d km by road", mostKm))
		}
	}
	return errors.Join(c.bad...)
}

type snapshotCheck struct{ bad []error }

func (c *snapshotCheck) add(field, value, want string) {
	c.bad = append(c.bad, fault.Bad(field, value, want))
}

func (c *snapshotCheck) pence(field string, p Pence) {
	if p < 0 || p > mostPence {
		c.add(field, p.String(), "from £0 to "+mostPence.String())
	}
}

func (c *snapshotCheck) rates(r Rates) {
	if err := r.Check(); err != nil {
		c.bad = append(c.bad, err)
	}
}

func (c *snapshotCheck) firms(s *Snapshot) {
	seen := map[any]bool{}
	once := func(what, name string, id any) {
		if seen[id] {
			c.add(what, name, "each "+what+" once")
		}
		seen[id] = true
	}
	for _, crew := range s.Crews {
		once("crew", crew.Name, crew.ID)
		c.pence("half-day cost of "+crew.Name, crew.HalfDayCost)
		c.place("home of "+crew.Name, crew.HomeLat, crew.HomeLon)
		if crew.Trade != RoofTrade && crew.Trade != ElectricalTrade {
			c.add("trade of "+crew.Name, crew.Trade.String(), "roof or electrical")
		}
	}
	for _, f := range s.ScaffoldFirms {
		once("scaffold firm", f.Name, f.ID)
		c.pence("visit price of "+f.Name, f.VisitPrice)
		c.pence("weekly hire of "+f.Name, f.WeeklyHire)
		for field, n := range map[string]int{"gangs a day": f.GangsPerDay, "sets": f.Sets, "erect notice": f.ErectNotice, "strike notice": f.StrikeNotice, "cancel notice": f.CancelNotice, "included weeks": f.IncludedWeeks} {
			if n < 0 || n > 1000 {
				c.add(field+" of "+f.Name, strconv.Itoa(n), "0 to 1000")
			}
		}
		c.pence("charge for cancelling of "+f.Name, f.CancelCharge)
		if f.ReachKm < 0 || f.ReachKm > mostReachKm {
			c.add("reach of "+f.Name, strconv.Itoa(f.ReachKm), fmt.Sprintf("1 to %d km from its yard, or 0 for anywhere", mostReachKm))
		}
		c.place("yard of "+f.Name, f.YardLat, f.YardLon)
		if !(f.GustLimit == 0 || f.GustLimit >= leastGust && f.GustLimit <= mostGust) {
			c.add("gust limit of "+f.Name, fmt.Sprint(f.GustLimit), fmt.Sprintf("%d to %d m/s, or 0 for none of its own", leastGust, mostGust))
		}
		if !f.DaysOff.valid() {
			c.add("days off of "+f.Name, strconv.Itoa(int(f.DaysOff)), "none to four of Monday to Friday, as 0 to 30")
		}
	}
}

func (c *snapshotCheck) place(field string, lat, lon float64) {
	if !(lat >= -90 && lat <= 90 && lon >= -180 && lon <= 180) {
		c.add(field, fmt.Sprintf("%v, %v", lat, lon), "latitude -90 to 90, longitude -180 to 180 degrees")
	}
}

func (c *snapshotCheck) jobs(s *Snapshot) {
	seen := map[any]bool{}
	for i := range s.Jobs {
		j := &s.Jobs[i]
		if seen[j.ID] {
			c.add("job", j.Ref, "each job once")
		}
		seen[j.ID] = true
		c.place("site of "+j.Ref, j.Site.Lat, j.Site.Lon)
		kinds := map[StageKind]bool{}
		for _, st := range j.Stages {
			field := fmt.Sprintf("%s of %s", st.Kind, j.Ref)
			if st.Kind.Trade() == TradeUnknown || kinds[st.Kind] {
				c.add(field, strconv.Itoa(int(st.Kind)), "a known stage, each once")
			}
			kinds[st.Kind] = true
			if st.HalfDays < 1 || st.HalfDays > 40 {
				c.add(field, strconv.Itoa(st.HalfDays), "1 to 40 half-days")
			}
			if st.State < StatePlanned || st.State > StateDone {
				c.add(field, strconv.Itoa(int(st.State)), "planned, started or done")
			}
		}
	}
}

func (c *snapshotCheck) outlooks(s *Snapshot) {
	for _, o := range s.Outlooks {
		for i, chance := range o.Chances {
			if chance.Known && !(chance.P > 0 && chance.P < 1) {
				c.add(fmt.Sprintf("chance of %s on %s", o.Task.Doing(), (o.First+civil.HalfDay(i)).Short()), fmt.Sprint(chance.P), "above 0 and below 1")
				break
			}
		}
	}
	slices.SortStableFunc(c.bad, func(a, b error) int { return cmp.Compare(a.Error(), b.Error()) })
}
