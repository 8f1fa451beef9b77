package schedule

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/google/uuid"

	"toeboard/schedule/solver"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Request asks whether one stage of a job could be done in some way, the rest
// of the plan staying as it is.
type Request struct {
	Job   uuid.UUID
	Stage StageKind
	On    civil.Date    // it starts on this date; NoDate or 0 = on any
	At    civil.HalfDay // it starts in this half-day; NoHalfDay or 0 = in any of On
	Who   uuid.UUID     // crew or scaffold firm; Nil = anybody
	By    civil.Date    // the job is commissioned by this date; NoDate or 0 = by any
}

// MinimalClash names the facts that stand against a request: a smallest set in
// the sense that without any one of them the request could be granted. nil when
// it can be granted as things are. The rest of the plan stays as it is: a crew
// that is at another job is one of the facts, and so is the request itself.
//
// Facts are left out one at a time; one without which the request still cannot
// be granted is left out for good. What cannot be otherwise (the order of the
// stages and how long they take, working days) is taken as given.
func MinimalClash(s Snapshot, p Plan, q Request) ([]Reason, error) {
	d := layOut(&s, p)
	i, err := d.find(q.Job)
	if err != nil {
		return nil, err
	}
	a, err := d.asked(i, q)
	if err != nil {
		return nil, err
	}
	return d.reasons(i, a, d.clash(i, a)), nil
}

// asked brings a request to slots.
func (d *desk) asked(i int, q Request) (ask, error) {
	a := ask{kind: q.Stage, lo: 0, hi: d.data.Slots + beyond - 1, who: -1, by: d.data.Slots + beyond}
	if !d.work[i].open(q.Stage) {
		return a, fault.Bad("stage", q.Stage.Key(), "a stage of the job that is still to be done")
	}
	if q.On.Known() && q.On != 0 {
		a.lo, a.hi = d.slot(q.On.In(civil.Morning)), d.slot(q.On.In(civil.Afternoon))
	}
	if q.At.Known() && q.At != 0 {
		a.lo, a.hi = d.slot(q.At), d.slot(q.At)
	}
	if a.lo < 0 || a.lo >= d.data.Slots {
		return a, fault.Bad("on", d.halfDay(a.lo).Date().String(), fmt.Sprintf("a day from %s to %s", d.s.FirstDay, d.last))
	}
	if q.By.Known() && q.By != 0 {
		a.by = d.slot(q.By.In(civil.Afternoon))
	}
	if q.Who == uuid.Nil {
		return a, nil
	}
	if a.who = d.crew(q.Who); q.Stage.Trade() == ScaffoldTrade {
		a.who = d.firm(q.Who)
	}
	if a.who < 0 {
		return a, fault.Missing("crew or scaffold firm", q.Who.String())
	}
	return a, nil
}

// rankOf orders facts by how soon they are left out: a clash is told by the
// job's own facts where they are enough, and by other people's work last.
var rankOf = map[Rule]int{RuleElsewhere: 0, RuleTaken: 0, RuleGangs: 1, RuleSets: 2, RuleAway: 3, RuleDayOff: 3, RuleOffer: 4, RuleSky: 5, RuleNotice: 6, RulePlanEnd: 7,
	RuleHeld: 8, RulePin: 8, RuleGate: 9, RuleReady: 10, RuleConsent: 11, RuleKit: 12, RuleBlocked: 13, RulePromise: 14, RuleAsked: 15}

func sortFacts(met map[fact]bool) (list []fact) {
	for f := range met {
		list = append(list, f)
	}
	slices.SortFunc(list, func(a, b fact) int {
		return cmp.Or(cmp.Compare(rankOf[a.rule], rankOf[b.rule]), cmp.Compare(a.kind, b.kind), cmp.Compare(a.who, b.who))
	})
	return list
}

// clash gives an irreducible set of facts against an ask; nil when it can be.
func (d *desk) clash(i int, a ask) []fact {
	r := d.room(i, a, nil)
	if r.fits() {
		return nil
	}
	core := r.met
	var drop func(list []fact)
	drop = func(list []fact) { // many at once, where none of them is needed
		less := maps.Clone(core)
		for _, f := range list {
			delete(less, f)
		}
		if len(less) == len(core) {
			return
		}
		if next := d.room(i, a, less); !next.fits() {
			core = next.met
		} else if len(list) > 1 {
			drop(list[:len(list)/2])
			drop(list[len(list)/2:])
		}
	}
	drop(sortFacts(core))
	list := sortFacts(core)
	slices.Reverse(list) // what is asked first
	return list
}

// reasons puts a clash into reasons with their numbers. A set without facts is
// what cannot be otherwise.
func (d *desk) reasons(i int, a ask, facts []fact) (list []Reason) {
	r := d.room(i, a, set(facts))
	r.hits = map[fact][]solver.Slot{}
	r.fits()
	for _, f := range facts {
		list = append(list, r.reason(f))
	}
	if why, far := d.tooFar(i, a); far && facts != nil {
		list = append(list, why)
	}
	return list
}

// tooFar says that the scaffold firm that is asked for does not go to the job.
func (d *desk) tooFar(i int, a ask) (why Reason, far bool) {
	if a.who < 0 || a.kind.Trade() != ScaffoldTrade || !slices.Contains(d.beyondReach(&d.work[i]), a.who) {
		return why, false
	}
	return d.reasonReach(i, a.who), true
}

func (d *desk) reasonReach(i, firm int) Reason {
	f := d.firms[firm]
	return Reason{RuleReach, f.Name, f.kmAway(siteOf(d.work[i].job)), fmt.Sprint(f.ReachKm), "km", "terms of " + f.Name}
}

func (r *room) reason(f fact) Reason {
	d, i, a := r.desk, r.i, r.ask
	w, src := &d.work[i], "job "+d.work[i].job.Ref
	switch f.rule {
	case RulePlanEnd:
		return Reason{f.rule, "plan", "", d.last.String(), "date", "plan"}
	case RuleAsked:
		return d.reasonAsked(i, a)
	case RulePromise:
		return Reason{f.rule, w.job.Ref, "", d.halfDay(a.by).Date().String(), "date", "asked for"}
	case RuleBlocked:
		return Reason{f.rule, f.kind.String(), w.blocked[f.kind].why, "", "", src}
	case RuleHeld:
		h := d.held[d.index[i][f.kind]]
		return Reason{f.rule, f.kind.String(), h.why, h.slots[0].String(), "half-day", "published plan or booking"}
	case RulePin:
		return Reason{f.rule, f.kind.String(), strings.TrimPrefix(d.pinWords(w, f.kind), "Pinned: "), "", "", "pins of " + w.job.Ref}
	case RuleSky:
		return d.reasonSky(i, f.kind, d.whoseSky(i, f.kind, a), max(0, min(a.lo, d.data.Slots-1)))
	case RuleAway, RuleDayOff, RuleElsewhere, RuleTaken, RuleGangs, RuleSets, RuleNotice, RuleOffer:
		return r.reasonWho(f)
	}
	for _, g := range d.gates(i, f.kind) {
		if g.fact == f {
			return g.why
		}
	}
	return Reason{Rule: f.rule, Subject: f.kind.String(), Source: src}
}

func (d *desk) reasonAsked(i int, a ask) Reason {
	r := Reason{RuleAsked, a.kind.String(), "", "", "date", "asked for"}
	switch {
	case a.hi >= d.data.Slots:
	case a.lo == a.hi:
		r.Limit, r.Unit = d.halfDay(a.lo).String(), "half-day"
	default:
		r.Limit = d.halfDay(a.lo).Date().String()
	}
	if a.who >= 0 {
		name := ""
		if a.kind.Trade() == ScaffoldTrade {
			name = d.firms[a.who].Name
		} else {
			name = d.crews[a.who].Name
		}
		if r.Limit == "" {
			r.Limit, r.Unit = name, "who"
		} else {
			r.Value = name
		}
	}
	return r
}

// whoseSky gives the scaffold firm of whose weather is told: the one that is asked
// for, else the first that could come; -1 for a crew's work.
func (d *desk) whoseSky(i int, k StageKind, a ask) int {
	switch who := d.firmsFor(&d.work[i]); {
	case k.Trade() != ScaffoldTrade:
		return -1
	case a.kind.Trade() == ScaffoldTrade && a.who >= 0:
		return a.who
	case len(who) > 0:
		return who[0]
	}
	return -1
}

// reasonSky names the first half-day from a slot on whose chance forbids it.
func (d *desk) reasonSky(i int, k StageKind, who int, from solver.Slot) Reason {
	o := d.chancesBy(&d.work[i], k, who)
	r := Reason{RuleSky, k.String() + d.limitWords(k, who), "", fmt.Sprint(d.s.Firm.Rates.LeastChance), "", "forecast"}
	if o == nil {
		return r
	}
	for s := from; s < d.data.Slots; s++ {
		h := d.halfDay(s)
		c := o.At(h)
		if !d.days.is(h.Date()) || d.fit(c) {
			continue
		}
		if r.Unit = h.String(); c.Known {
			r.Value = fmt.Sprintf("%.0f", 100*c.P)
		}
		return r
	}
	return r
}
