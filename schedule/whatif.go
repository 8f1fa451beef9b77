package schedule

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"toeboard/schedule/solver"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// ChangeKind is what a what-if changes.
type ChangeKind string

// The kinds of changes.
const (
	ChangePin     ChangeKind = "pin"      // Job, Stage, On; Who = by whom, Nil = anybody
	ChangeCrew    ChangeKind = "add_crew" // Who: a crew like this one is added
	ChangeDrop    ChangeKind = "drop_job" // Job
	ChangePromise ChangeKind = "promise"  // Job is promised for On
	ChangeHire    ChangeKind = "hire"     // Who: this scaffold firm gives Weeks more weeks in its price
	ChangeAbsence ChangeKind = "absence"  // Who (a crew's lead, or a person) is away from On to Until
)

// ChangeKinds lists every kind in the order in which they are shown.
var ChangeKinds = []ChangeKind{ChangePin, ChangePromise, ChangeDrop, ChangeAbsence, ChangeCrew, ChangeHire}

// Change is one thing that is otherwise than in the facts. Nothing of it is
// saved.
type Change struct {
	Kind      ChangeKind
	Job       uuid.UUID
	Stage     StageKind
	Who       uuid.UUID // crew, person or scaffold firm
	On, Until civil.Date
	Weeks     int
}

// WhatIf is what a change does: two searches of the same length with the same
// seed, both from the published plan, one on the facts and one on the changed
// ones.
type WhatIf struct {
	Words     []string // what was changed, in words
	Without   Plan     // as the plan would be without the change
	With      Plan     // and with it
	More      Pence    // what it costs more with the change; negative = less
	Items     []CostDiff
	InTime    [2]int   // promises whose day the plan itself keeps, without and with
	Promises  [2]int   // of how many
	Late      []string // references of jobs whose promise is planned in time without and not with
	Saved     []string // the other way round
	Moved     [2]int   // published visits that move or fall out, without and with
	Moves     []Move   // those with the change, beside the published plan
	LeftOut   [2]int   // stages without a place
	Lost      []string // pins that are not kept, in words
	Clash     []Reason // the facts that stand against them in the plan without the change, a smallest set for each
	Schedules int
	Seed      uint64
	Noise     Pence // by how much the cost without the change differs between two seeds
}

// Say writes the answer in one sentence.
func (w WhatIf) Say() string {
	cost := "costs the same"
	switch {
	case w.More > 0:
		cost = "costs " + w.More.String() + " more"
	case w.More < 0:
		cost = "costs " + (-w.More).String() + " less"
	}
	return fmt.Sprintf("%s: the plan %s, has %d of %d promises in time (%d of %d without it), moves %s (%d without it) and leaves out %s (%d without it).",
		capital(listed(w.Words)), cost, w.InTime[1], w.Promises[1], w.InTime[0], w.Promises[0], visits(w.Moved[1]), w.Moved[0], stages(w.LeftOut[1]), w.LeftOut[0])
}

func visits(n int) string { return numbered(n, "published visit") }
func stages(n int) string { return numbered(n, "stage") }

func numbered(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// Ask answers what some changes would do. schedules is the budget of each
// search. Nothing is saved. A plan of either side that is sound and cheaper on
// the other side's facts is taken there as well, so that a change which only
// helps never looks as if it cost.
func Ask(ctx context.Context, s Snapshot, changes []Change, schedules int, seed uint64) (WhatIf, error) {
	if err := s.check(); err != nil {
		return WhatIf{}, err
	}
	changed, words, err := s.changed(changes)
	if err != nil {
		return WhatIf{}, err
	}
	if err := changed.check(); err != nil {
		return WhatIf{}, err
	}
	w := WhatIf{Words: words, Schedules: schedules, Seed: seed}
	if w.Without, err = again(ctx, s, schedules, seed); err != nil {
		return WhatIf{}, err
	}
	if w.With, err = again(ctx, changed, schedules, seed); err != nil {
		return WhatIf{}, err
	}
	other, err := again(ctx, s, schedules, seed+1)
	if err != nil {
		return WhatIf{}, err
	}
	w.Noise = max(w.Without.Cost.Total-other.Cost.Total, other.Cost.Total-w.Without.Cost.Total)
	for range 2 { // what one side found may help the other, and that the first again
		w.Without = better(s, w.Without, w.With, other)
		w.With = better(changed, w.With, w.Without, other)
	}
	w.compare(s, changed)
	if len(w.Lost) > 0 {
		w.Clash = clashes(s, w.Without, changes)
	}
	return w, nil
}

// again plans whether the facts have changed since the published plan or not:
// both sides of a comparison search for as long.
func again(ctx context.Context, s Snapshot, schedules int, seed uint64) (Plan, error) {
	m := newModel(&s)
	r, err := solver.Solve(ctx, m.data, solver.Stop{Schedules: schedules}, seed)
	if err != nil {
		return Plan{}, fmt.Errorf("planning: %w", err)
	}
	p := Plan{State: Draft, FirstDay: s.FirstDay, Days: s.Days, Seed: seed, Schedules: r.Schedules}
	if s.Base != nil {
		p.Base = s.Base.ID
	}
	m.write(&p, r)
	p.Cost = Price(s, p)
	return p, nil
}

// better takes another plan's visits where they are sound by these facts and
// the better plan.
func better(s Snapshot, p Plan, others ...Plan) Plan {
	open := map[jobKey]bool{}
	for _, j := range s.Jobs {
		for _, st := range j.Stages {
			open[jobKey{j.ID, st.Kind}] = st.State != StateDone && j.State == JobOpen
		}
	}
	for _, o := range others {
		o.Visits = slices.DeleteFunc(slices.Clone(o.Visits), func(v Visit) bool { return !open[jobKey{v.Job, v.Stage}] })
		o.Unplanned = slices.DeleteFunc(slices.Clone(o.Unplanned), func(u Unplanned) bool { return !open[jobKey{u.Job, u.Stage}] })
		if o.Cost = Price(s, o); s.better(&o, &p) && len(Validate(s, o)) == 0 {
			p = o
		}
	}
	return p
}

type jobKey struct {
	job   uuid.UUID
	stage StageKind
}

func (w *WhatIf) compare(s, changed Snapshot) {
	w.More, w.Items = diffCosts(w.Without.Cost, w.With.Cost)
	var kept [2]map[string]bool
	for side, of := range [2]struct {
		s Snapshot
		p Plan
	}{{s, w.Without}, {changed, w.With}} {
		kept[side] = map[string]bool{}
		done := map[uuid.UUID]civil.Date{}
		for _, v := range of.p.Visits {
			if v.Stage == Commissioning {
				done[v.Job] = v.Last().Date()
			}
		}
		for _, j := range of.s.Jobs {
			if st, has := j.Stage(Commissioning); !j.PromisedOn.Known() || j.State != JobOpen || !has || st.State == StateDone {
				continue
			}
			w.Promises[side]++
			if on, planned := done[j.ID]; planned && on <= j.PromisedOn {
				w.InTime[side]++
				kept[side][j.Ref] = true
			}
		}
		w.LeftOut[side] = len(of.p.Unplanned)
	}
	for _, j := range changed.Jobs {
		switch without, with := kept[0][j.Ref], kept[1][j.Ref]; {
		case without && !with:
			w.Late = append(w.Late, j.Ref)
		case with && !without:
			w.Saved = append(w.Saved, j.Ref)
		}
	}
	w.Moved[0], w.Moves = len(moved(s, w.Without)), moved(changed, w.With)
	w.Moved[1] = len(w.Moves)
	for _, p := range changed.Pins[len(s.Pins):] {
		if v := visitOf(&w.With, p.Job, p.Stage); p.Kind != PinLeftOut && (v == nil || !p.allows(v.HalfDays) || !p.allowsWho(v.Crew) && !p.allowsWho(v.ScaffoldFirm)) {
			w.Lost = append(w.Lost, p.Words(changed.nameOf))
		}
	}
}

// clashes names what stands against each asked start, the rest of the plan
// staying as it is.
func clashes(s Snapshot, p Plan, changes []Change) (list []Reason) {
	d := layOut(&s, p)
	for _, c := range changes {
		if c.Kind != ChangePin {
			continue
		}
		i, err := d.find(c.Job)
		if err != nil {
			continue // a job of which nothing is left to do was refused before
		}
		if a, err := d.asked(i, Request{Job: c.Job, Stage: c.Stage, On: c.On, Who: c.Who}); err == nil {
			list = append(list, d.unasked(i, a)...)
		}
	}
	return list
}

// moved lists the moves of a plan without their prices.
func moved(s Snapshot, p Plan) (list []Move) {
	if s.Base == nil {
		return nil
	}
	b := newUndo(&s, p)
	for i := range b.work {
		for _, k := range StageKinds {
			if was := b.published(i, k); was != nil && b.differs(i, k, was) {
				m := Move{Job: b.work[i].job.ID, Ref: b.work[i].job.Ref, Stage: k, From: *was, To: visitOf(&p, b.work[i].job.ID, k)}
				m.Whom = b.disturbed(b.work[i].job, was, m.To)
				list = append(list, m)
			}
		}
	}
	return list
}

// changed gives the snapshot with the changes in it, and what they are in words.
// The snapshot itself stays as it is.
func (s Snapshot) changed(changes []Change) (Snapshot, []string, error) {
	var words []string
	var bad []error
	if len(changes) == 0 {
		return s, nil, fault.Bad("change", "", "at least one: "+kindsInWords())
	}
	s.Jobs, s.Crews, s.ScaffoldFirms, s.Pins = slices.Clone(s.Jobs), slices.Clone(s.Crews), slices.Clone(s.ScaffoldFirms), slices.Clip(slices.Clone(s.Pins))
	for _, c := range changes {
		said, err := s.apply(c)
		words, bad = append(words, said), append(bad, err)
	}
	return s, words, errors.Join(bad...)
}

func kindsInWords() string {
	var list []string
	for _, k := range ChangeKinds {
		list = append(list, string(k))
	}
	return strings.Join(list, ", ")
}

func (s *Snapshot) apply(c Change) (string, error) {
	switch c.Kind {
	case ChangePin, ChangeDrop, ChangePromise:
		i := slices.IndexFunc(s.Jobs, func(j Job) bool { return j.ID == c.Job })
		if i < 0 {
			return "", fault.Missing("open job", c.Job.String())
		}
		return s.applyToJob(c, &s.Jobs[i])
	case ChangeCrew, ChangeAbsence:
		return s.applyToCrew(c)
	case ChangeHire:
		i := slices.IndexFunc(s.ScaffoldFirms, func(f ScaffoldFirm) bool { return f.ID == c.Who })
		if i < 0 {
			return "", fault.Missing("scaffold firm", c.Who.String())
		}
		if c.Weeks < 1 || c.Weeks > 52 {
			return "", fault.Bad("weeks", fmt.Sprint(c.Weeks), "1 to 52")
		}
		s.ScaffoldFirms[i].IncludedWeeks += c.Weeks
		return fmt.Sprintf("%s gives %s more of hire in its price", s.ScaffoldFirms[i].Name, weeks(c.Weeks)), nil
	default:
		return "", fault.Bad("kind", string(c.Kind), "one of "+kindsInWords())
	}
}

func (s *Snapshot) applyToJob(c Change, j *Job) (string, error) {
	switch c.Kind {
	case ChangeDrop:
		j.State = JobCancelled
		return j.Ref + " is dropped", nil
	case ChangePromise:
		if !c.On.Known() || c.On == 0 {
			return "", fault.Bad("on", "", "the day that would be promised")
		}
		was := "nothing was promised before"
		if j.PromisedOn.Known() {
			was = "before: " + j.PromisedOn.Short()
		}
		j.PromisedOn = c.On
		return fmt.Sprintf("%s is promised for %s (%s)", j.Ref, c.On.Short(), was), nil
	}
	if st, has := j.Stage(c.Stage); !has || st.State != StatePlanned {
		return "", fault.Bad("stage", c.Stage.Key(), "a stage of "+j.Ref+" that has not begun")
	}
	if !c.On.Known() || c.On < s.FirstDay || c.On > s.lastDay() {
		return "", fault.Bad("on", c.On.String(), fmt.Sprintf("a day from %s to %s", s.FirstDay, s.lastDay()))
	}
	s.Pins = append(s.Pins, Pin{Job: j.ID, Stage: c.Stage, Kind: PinOn, On: c.On, Why: "what if"})
	said := fmt.Sprintf("%s of %s starts on %s", c.Stage, j.Ref, c.On.Short())
	if c.Who != uuid.Nil {
		s.Pins = append(s.Pins, Pin{Job: j.ID, Stage: c.Stage, Kind: PinBy, Who: c.Who, On: civil.NoDate, Why: "what if"})
		said += " by " + s.nameOf(c.Who)
	}
	return said, nil
}

func (s *Snapshot) applyToCrew(c Change) (string, error) {
	i := slices.IndexFunc(s.Crews, func(k Crew) bool {
		return k.ID == c.Who || c.Kind == ChangeAbsence && slices.ContainsFunc(k.Members, func(m Membership) bool { return m.Person.ID == c.Who })
	})
	if i < 0 {
		return "", fault.Missing("crew", c.Who.String())
	}
	k := s.Crews[i]
	if c.Kind == ChangeCrew {
		k.ID = uuid.NewSHA1(k.ID, []byte("what if"))
		for n := 0; slices.ContainsFunc(s.Crews, func(x Crew) bool { return x.ID == k.ID }); n++ {
			k.ID = uuid.NewSHA1(k.ID, []byte("again"))
		}
		was := k.Name
		k.Name += " again"
		s.Crews = append(s.Crews, k)
		return "a second crew like " + was + " is there", nil
	}
	if !c.On.Known() || !c.Until.Known() || c.Until < c.On {
		return "", fault.Bad("until", c.Until.String(), "the last day away, not before the first")
	}
	k.Members = slices.Clone(k.Members)
	name := ""
	for n := range k.Members {
		m := &k.Members[n]
		if m.Person.ID == c.Who || c.Who == k.ID && m.Lead {
			m.Absences = append(slices.Clone(m.Absences), Absence{From: c.On, Until: c.Until, Reason: "what if"})
			name = m.Person.Name
		}
	}
	if name == "" {
		return "", fault.Missing("lead", k.Name)
	}
	s.Crews[i] = k
	return fmt.Sprintf("%s (%s) is away from %s to %s", name, k.Name, c.On.Short(), c.Until.Short()), nil
}
