package schedule

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"toeboard/schedule/solver"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Explanation answers three questions about one stage of a plan: why then, why
// not sooner, why by these people. For a stage that is left out it says what
// stands in its way. Every claim is about the plan as it is, all other jobs
// staying where they are.
type Explanation struct {
	Job    uuid.UUID
	Ref    string
	Stage  StageKind
	Visit  *Visit    // nil = it has no place in the plan, or none that the facts still allow. Its Why says what of it is kept for weather
	Lost   *Visit    // a place that the plan gives it and that the facts no longer allow
	Then   []Instead // what bound the start: the last stretch that was impossible, the cheapest sooner start, the next later one
	Sooner []Instead // of a visit that is held, why; else earlier starts, from the planned one backwards, grouped by what stands in the way; the twelve nearest stretches
	Crews  []Other   // everybody else who might do it, of many the nearest crews or cheapest scaffold firms
	Unsaid int       // how many more might do it, of whom nothing is said
	Clash  []Reason  // of a stage without a place: the facts that stand against it
	Open   *Instead  // of one without a place against which nothing stands: the best place for it; nil = none was found
}

// Instead is a stretch of other starts and what speaks against them: reasons
// that make them impossible, or what the plan would cost more.
type Instead struct {
	From, To civil.HalfDay // first half-days, both inclusive
	Best     civil.HalfDay // the cheapest of them; NoHalfDay = none is possible
	Reasons  []Reason      // why they are impossible; beside a price, what explains it
	More     Pence         // what the plan would cost more with the best of them; negative = less
	Items    []CostDiff

	with Plan // the plan with the best of them
}

// Possible tells whether the plan could have it so.
func (i Instead) Possible() bool { return i.Best.Known() }

// Say writes it in one sentence.
func (i Instead) Say() string {
	when := i.From.Short()
	switch {
	case len(i.Reasons) == 1 && i.Reasons[0].Rule == RuleHeld && i.Reasons[0].Limit == i.From.String() && i.From == i.To:
		return capital(i.Reasons[0].Say()) + "."
	case i.Possible():
		when = i.Best.Short()
	case i.To != i.From:
		when += " to " + i.To.Short()
	}
	if !i.Possible() {
		return capital(fmt.Sprintf("%s is not possible: %s.", when, sayAll(i.Reasons)))
	}
	return capital(when + " " + sayMore(i.More, i.Items, i.Reasons))
}

func sayMore(more Pence, items []CostDiff, why []Reason) string {
	said := "would cost the same"
	switch {
	case more > 0:
		said = fmt.Sprintf("would cost %s more: %s", more, sayDiff(items))
	case more < 0:
		said = fmt.Sprintf("would cost %s less (%s); the search did not find it", -more, sayDiff(items))
	}
	if len(why) > 0 {
		said += "; " + sayAll(why)
	}
	return said + "."
}

// Other is somebody else who might do a stage.
type Other struct {
	ID      uuid.UUID
	Name    string
	At      civil.HalfDay // when they could start; NoHalfDay = they cannot at all
	Same    bool          // at the same time as planned
	Reasons []Reason      // why not at that time; beside a price, what explains it
	More    Pence
	Items   []CostDiff

	with Plan // the plan in which they do it
}

// Say writes it in one sentence.
func (o Other) Say() string {
	switch {
	case !o.At.Known():
		return capital(fmt.Sprintf("%s cannot do it: %s.", o.Name, sayAll(o.Reasons)))
	case o.Same:
		return capital(o.Name + " " + sayMore(o.More, o.Items, o.Reasons))
	}
	return capital(fmt.Sprintf("%s cannot come then: %s; from %s it %s", o.Name, sayAll(o.Reasons), o.At.Short(), sayMore(o.More, o.Items, nil)))
}

// Explain answers for one stage of a plan on the facts of a snapshot. The plan
// is the published one or a draft; of one made some days ago it takes what is
// still to come.
func Explain(s Snapshot, p Plan, job uuid.UUID, k StageKind) (Explanation, error) {
	d := layOut(&s, p)
	i, err := d.find(job)
	if err != nil {
		return Explanation{}, err
	}
	w := &d.work[i]
	if !w.open(k) {
		return Explanation{}, fault.Bad("stage", k.Key(), "a stage of "+w.job.Ref+" that is still to be done")
	}
	x := Explanation{Job: job, Ref: w.job.Ref, Stage: k}
	for _, v := range d.loose {
		if v.Job == job && v.Stage == k {
			x.Lost = &v
		}
	}
	a := d.index[i][k]
	if a < 0 || d.placed[a].Mode < 0 {
		any := ask{kind: k, lo: 0, hi: d.data.Slots + beyond - 1, who: -1, by: d.data.Slots + beyond}
		if x.Lost != nil {
			any.lo, any.hi = d.slot(x.Lost.First()), d.slot(x.Lost.First())
		}
		if x.Clash = d.against(i, any); len(x.Clash) == 0 && a >= 0 {
			q := &questions{desk: d, i: i, a: a, alone: d.alone(i), cost: d.priced(d.placed)}
			x.Open = q.open(any)
		}
		return x, nil
	}
	v := d.visitAt(a, d.placed[a])
	v.Why = d.reserveWords(w, &v)
	x.Visit = &v
	q := &questions{desk: d, i: i, a: a, alone: d.alone(i), cost: d.priced(d.placed)}
	if held, ok := q.stays(); ok {
		x.Sooner, x.Then = []Instead{held}, []Instead{held}
	} else {
		x.Sooner = q.sooner()
		x.Then = q.then(x.Sooner)
	}
	x.Crews, x.Unsaid = q.byOthers()
	return x, nil
}

// against names what stands against an ask: the facts, and what cannot be
// otherwise when it alone is enough.
func (d *desk) against(i int, q ask) []Reason {
	facts := d.clash(i, q)
	if facts == nil {
		return nil
	}
	list := d.reasons(i, q, facts)
	if len(facts) == 0 || len(facts) == 1 && facts[0].rule == RuleAsked {
		list = append(list, d.given(i, q)...)
	}
	return list
}

// unasked is against without the ask itself, where anything else stands there.
func (d *desk) unasked(i int, q ask) []Reason {
	list := d.against(i, q)
	return slices.DeleteFunc(list, func(r Reason) bool { return r.Rule == RuleAsked && len(list) > 1 })
}

// given says what cannot be otherwise: nobody works that day, the stages before
// take their time, another trade does it.
func (d *desk) given(i int, q ask) []Reason {
	w := &d.work[i]
	if day := d.halfDay(q.lo).Date(); q.hi < d.data.Slots && d.halfDay(q.hi).Date() == day && !d.days.is(day) {
		return []Reason{{RuleGate, "nobody works on " + day.Short(), "", day.String(), "date", "calendar"}}
	}
	n := 0
	for _, before := range w.before(q.kind) {
		if w.open(before) {
			n += w.left(before, d.s.FirstDay)
		}
	}
	if n > 0 {
		list := []Reason{{RulePlanStart, "plan", "", d.s.FirstDay.String(), "date", "plan"}}
		for _, before := range w.before(q.kind) {
			if w.open(before) {
				list = append(list, Reason{RuleOrder, before.String(), fmt.Sprint(w.left(before, d.s.FirstDay)), "", "half-days", "job " + w.job.Ref})
			}
		}
		return list
	}
	return []Reason{{RuleGate, fmt.Sprintf("%s is work for a %s crew or firm of its own", q.kind, q.kind.Trade()), "", "", "", "calendar"}}
}

// questions are those about one placed stage.
type questions struct {
	*desk
	i, a  int
	alone *alone
	cost  Cost
}

func (q *questions) askAt(s solver.Slot, who int) ask {
	return ask{kind: q.acts[q.a].kind, lo: s, hi: s, who: who, by: q.data.Slots + beyond}
}

// stretches is how many stretches of earlier starts are told.
const stretches = 12

// sooner goes back through the earlier starts. Neighbours against which the
// same facts stand are one stretch. Each is asked with all facts as well: one may
// be possible because of another fact, as where a lead is away on the days whose
// weather forbids the work, so that the visit goes on after them.
func (q *questions) sooner() (list []Instead) {
	var facts []fact
	cur := -1
	for s := q.placed[q.a].Start - 1; s >= 0; s-- {
		h := q.halfDay(s)
		if !q.workable(s) {
			continue
		}
		at := q.askAt(s, -1)
		if cur >= 0 && !list[cur].Possible() && !q.room(q.i, at, set(facts)).fits() && !q.room(q.i, at, nil).fits() {
			list[cur].From = h
			continue
		}
		facts = q.clash(q.i, at)
		if len(list) == stretches && (facts != nil || !list[cur].Possible()) {
			break
		}
		if facts == nil {
			if cur < 0 || !list[cur].Possible() {
				list, cur = append(list, Instead{From: h, To: h, Best: h}), cur+1
			}
			list[cur].From = h
			continue
		}
		list, cur = append(list, Instead{From: h, To: h, Best: civil.NoHalfDay}), cur+1
	}
	for n := range list {
		q.fill(&list[n])
	}
	return list
}

// workable tells whether anybody might start a stage in a slot.
func (q *questions) workable(s solver.Slot) bool {
	if q.days.is(q.halfDay(s).Date()) {
		return true
	}
	for _, m := range q.data.Activities[q.a].Modes {
		if q.data.Calendars[m.Calendar][s] {
			return true
		}
	}
	return false
}

func set(facts []fact) map[fact]bool {
	on := map[fact]bool{}
	for _, f := range facts {
		on[f] = true
	}
	return on
}

// fill gives a stretch its reasons, or its price.
func (q *questions) fill(n *Instead) {
	if !n.Possible() {
		at := q.askAt(q.slot(n.To), -1)
		at.lo = q.slot(n.From)
		if n.Reasons = q.unasked(q.i, at); len(n.Reasons) == 0 { // each start by itself is impossible
			at.lo = at.hi
			n.Reasons = q.unasked(q.i, at)
		}
		return
	}
	q.price(n, q.slot(n.From), q.slot(n.To))
}

// price finds the cheapest start of a stretch. The room says that there is one;
// should the search find none, the stretch is told without a price.
func (q *questions) price(n *Instead, lo, hi solver.Slot) {
	at := q.askAt(lo, -1)
	at.hi = hi
	placed, ok := q.alone.best(at)
	if !ok {
		n.Reasons, n.Best = []Reason{q.unfound()}, civil.NoHalfDay
		return
	}
	n.Best = q.halfDay(placed[q.a].Start)
	n.with = q.planOf(placed)
	n.More, n.Items = diffCosts(q.cost, Price(*q.s, n.with))
	n.Reasons = q.sky(placed)
}

// unfound says why a start for which there is room is not found: a scaffold that
// stands may have to come down before, when it can (MODEL.md 3.3).
func (q *questions) unfound() Reason {
	if w := &q.work[q.i]; q.acts[q.a].kind == ScaffoldStrike && !w.together() && w.owner >= 0 {
		f := q.firms[w.owner]
		return Reason{RuleGate, fmt.Sprintf("%s has more scaffolds standing than its %s, so this one would have to come down before, as soon as it can", f.Name, numbered(f.Sets, "set")),
			"", fmt.Sprint(f.Sets), "sets", "terms of " + f.Name}
	}
	return Reason{RuleGate, "it would be possible, and the search found no place for the rest of the job", "", "", "", "search"}
}

// sky compares the chances of another start and the planned one.
func (q *questions) sky(placed []solver.Placement) []Reason {
	then, now := q.visitAt(q.a, placed[q.a]), q.visitAt(q.a, q.placed[q.a])
	if !then.Chance.Known || !now.Chance.Known || percent(then.Chance) == percent(now.Chance) {
		return nil
	}
	trim := func(v Visit) string { return strings.TrimSuffix(percent(v.Chance), "%") }
	return []Reason{{RuleChance, q.acts[q.a].kind.String(), trim(then), trim(now), "percent", "forecast"}}
}

// stays says why a visit is held where it is, whatever else would fit.
func (q *questions) stays() (Instead, bool) {
	h, held := q.held[q.a]
	if !held || q.pinned(q.a) == nil {
		return Instead{}, false
	}
	at := q.halfDay(q.placed[q.a].Start)
	why := Reason{RuleHeld, q.acts[q.a].kind.String(), h.why, at.String(), "half-day", "published plan or booking"}
	return Instead{From: at, To: at, Best: civil.NoHalfDay, Reasons: []Reason{why}}, true
}

// then picks what bound the start: the nearest impossible stretch, the cheapest
// sooner start, and the next later one.
func (q *questions) then(sooner []Instead) (list []Instead) {
	if n := slices.IndexFunc(sooner, func(n Instead) bool { return !n.Possible() }); n >= 0 {
		list = append(list, sooner[n])
	}
	cheapest := -1
	for n, other := range sooner {
		if other.Possible() && (cheapest < 0 || other.More < sooner[cheapest].More) {
			cheapest = n
		}
	}
	if cheapest >= 0 {
		list = append(list, sooner[cheapest])
	}
	if later, ok := q.later(); ok {
		list = append(list, later)
	}
	return list
}

// laterDays bounds how far on a later start is looked for.
const laterDays = 14

// later prices the next start after the planned one.
func (q *questions) later() (Instead, bool) {
	start := q.placed[q.a].Start
	for s := start + 1; s < min(q.data.Slots, start+1+2*laterDays); s++ {
		if !q.workable(s) || !q.room(q.i, q.askAt(s, -1), nil).fits() {
			continue
		}
		n := Instead{From: q.halfDay(s), To: q.halfDay(s), Best: q.halfDay(s)}
		q.price(&n, s, s)
		return n, n.Possible()
	}
	return Instead{}, false
}

// mostOthers is of how many others it is told whether they might do a stage. A
// firm of some dozen crews has fewer; of hundreds nobody reads, and each costs the
// price of a plan.
const mostOthers = 12

// byOthers compares with everybody else who might do the stage; of many with the
// crews whose homes are nearest, or the scaffold firms whose visits cost least.
func (q *questions) byOthers() (list []Other, unsaid int) {
	act := q.acts[q.a]
	planned := act.ways[q.placed[q.a].Mode]
	var others []int
	for _, who := range act.ways {
		if who != planned && !slices.Contains(others, who) {
			others = append(others, who)
		}
	}
	if len(others) > mostOthers {
		slices.SortStableFunc(others, func(a, b int) int { return cmp.Compare(q.farOff(a), q.farOff(b)) })
		others, unsaid = others[:mostOthers], len(others)-mostOthers
	}
	for _, who := range others {
		list = append(list, q.other(who, planned))
	}
	if act.kind.Trade() == ScaffoldTrade {
		far := q.beyondReach(&q.work[q.i])
		for _, who := range far[:min(len(far), max(0, mostOthers-len(others)))] {
			list = append(list, Other{ID: q.firms[who].ID, Name: q.firms[who].Name, At: civil.NoHalfDay, Reasons: []Reason{q.reasonReach(q.i, who)}})
		}
		unsaid += max(0, len(far)-max(0, mostOthers-len(others)))
	}
	slices.SortStableFunc(list, func(a, b Other) int {
		rank := func(o Other) int {
			switch {
			case !o.At.Known():
				return 2
			case !o.Same:
				return 1
			}
			return 0
		}
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a.More, b.More))
	})
	return list, unsaid
}

// farOff is by what many others are told in order: how far a crew's home is from
// the job [km], or what a scaffold firm's visits cost [pence].
func (q *questions) farOff(who int) float64 {
	if q.acts[q.a].kind.Trade() == ScaffoldTrade {
		return float64(q.firms[who].VisitPrice)
	}
	return homeOf(q.crews[who]).KmTo(siteOf(q.work[q.i].job))
}

func (q *questions) other(who, planned int) Other {
	o := Other{At: civil.NoHalfDay}
	scaffold := q.acts[q.a].kind.Trade() == ScaffoldTrade
	if scaffold {
		o.ID, o.Name = q.firms[who].ID, q.firms[who].Name
	} else {
		o.ID, o.Name = q.crews[who].ID, q.crews[who].Name
	}
	same := q.askAt(q.placed[q.a].Start, who)
	reasons := q.against(q.i, same)
	if _, held := q.stays(); held {
		free := same
		free.loose = true
		if real := q.against(q.i, free); real != nil {
			reasons = real
		}
	}
	if o.Same = reasons == nil; !o.Same {
		o.Reasons = slices.DeleteFunc(reasons, func(r Reason) bool { return r.Rule == RuleAsked && len(reasons) > 1 })
		same.lo, same.hi = 0, q.data.Slots-1
	}
	placed, ok := q.alone.best(same)
	if !ok {
		if o.Same {
			o.Reasons = []Reason{{RuleGate, "the search found no place for the rest of the job", "", "", "", "search"}}
		}
		o.Same = false
		return o
	}
	o.At = q.halfDay(placed[q.a].Start)
	o.with = q.planOf(placed)
	o.More, o.Items = diffCosts(q.cost, Price(*q.s, o.with))
	if o.Same && !scaffold {
		o.Reasons = q.further(who, planned)
	}
	return o
}

// further compares how far two crews' homes are from the job, by road.
func (q *questions) further(who, planned int) []Reason {
	site := siteOf(q.work[q.i].job)
	km := func(c int) float64 {
		return homeOf(q.crews[c]).KmTo(site) * q.s.Firm.Rates.RoadFactor
	}
	return []Reason{{RuleDistance, q.crews[who].Name, fmt.Sprintf("%.0f", km(who)), fmt.Sprintf("%.0f", km(planned)), "road km", "homes of the crews"}}
}
