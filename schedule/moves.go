package schedule

import (
	"cmp"
	"slices"
	"strings"

	"github.com/google/uuid"

	"toeboard/schedule/solver"
	"toeboard/weather/civil"
)

// Move is one visit that a draft has elsewhere than the published plan, and
// what that buys.
type Move struct {
	Job   uuid.UUID
	Ref   string
	Stage StageKind
	From  Visit  // as published
	To    *Visit // nil = taken out
	Whom  []string

	With   []string   // the moves that would have to be undone with it: "J-002 roof work"
	Forced []Reason   // why it could not have stayed; then nothing has a price
	Buys   Pence      // what the draft costs less than with this move and those undone; 0 or less = nothing
	Items  []CostDiff // of that difference, with the move against without: less is saved
}

// Say writes what a move buys in one sentence.
func (m Move) Say() string {
	with := ""
	if len(m.With) > 0 {
		with = ", with " + listed(m.With) + ","
	}
	switch {
	case len(m.Forced) > 0:
		return capital("It could not stay: " + sayAll(m.Forced) + ".")
	case m.Buys > 0:
		return capital("The move" + with + " saves " + m.Buys.String() + ": " + sayDiff(m.Items) + ".")
	}
	return capital("The move" + with + " saves nothing.")
}

// Moves lists what a draft moves of the published plan in the snapshot, by job
// reference and stage. Each is priced against the draft in which it is undone,
// together with those moves that stand in the way of that. Visits in progress
// and appointments that the scaffold firm agreed to move are told as forced.
func Moves(s Snapshot, draft Plan) []Move {
	if s.Base == nil {
		return nil
	}
	b := newUndo(&s, draft)
	var list []Move
	for i := range b.work {
		for _, k := range StageKinds {
			if was := b.published(i, k); was != nil && b.differs(i, k, was) {
				list = append(list, b.move(i, k, was))
			}
		}
	}
	slices.SortStableFunc(list, func(x, y Move) int { return cmp.Or(strings.Compare(x.Ref, y.Ref), cmp.Compare(x.Stage, y.Stage)) })
	return list
}

// Settled gives the draft without the moves that buy nothing: each is undone
// when the plan then costs no more. What it gives costs at most what the draft
// does, and keeps every rule that the draft keeps.
func Settled(s Snapshot, draft Plan) Plan {
	if s.Base == nil || len(Validate(s, draft)) > 0 {
		return draft
	}
	b := newUndo(&s, draft)
	changed := false
	for i := range b.work {
		for _, k := range StageKinds {
			was := b.published(i, k)
			if was == nil || !b.differs(i, k, was) {
				continue
			}
			placed, _, ok := b.undo(i, k)
			if !ok {
				continue
			}
			if cost := b.priced(placed); cost.Total <= b.cost.Total {
				b.desk.explainer = layOn(b.model, placed)
				b.cost, changed = cost, true
			}
		}
	}
	if !changed {
		return draft
	}
	out := draft
	out.Visits, out.Unplanned = nil, nil
	b.write(&out, solver.Result{Placed: b.placed})
	out.Cost = Price(s, out)
	if out.Cost.Total > draft.Cost.Total || len(Validate(s, out)) > 0 {
		return draft
	}
	return out
}

// undo asks what a draft would be with a move undone.
type undo struct {
	*desk
	base map[jobStage]*solver.At // where the published visits stand; nil = they cannot any more
	cost Cost
	who  map[jobStage]*Visit
}

func newUndo(s *Snapshot, draft Plan) *undo {
	d := layOut(s, draft)
	b := &undo{desk: d, base: map[jobStage]*solver.At{}, who: map[jobStage]*Visit{}}
	b.cost = d.priced(d.placed)
	at := map[uuid.UUID]int{}
	for i := range d.work {
		at[d.work[i].job.ID] = i
	}
	for n := range s.Base.Visits {
		v := &s.Base.Visits[n]
		i, open := at[v.Job]
		if !open || !d.work[i].open(v.Stage) || len(v.HalfDays) == 0 || v.First() < s.FirstDay.In(civil.Morning) {
			continue
		}
		key := jobStage{i, v.Stage}
		b.who[key] = v
		if a := d.index[i][v.Stage]; a >= 0 {
			b.base[key] = d.as(a, v)
		}
	}
	return b
}

// published gives a visit that the published plan has from the first day on.
func (b *undo) published(i int, k StageKind) *Visit { return b.who[jobStage{i, k}] }

// differs tells whether the draft has a published visit elsewhere, or not.
func (b *undo) differs(i int, k StageKind, was *Visit) bool {
	a := b.index[i][k]
	if a < 0 || b.placed[a].Mode < 0 {
		return true
	}
	is := b.visitAt(a, b.placed[a])
	return !is.Stays(was)
}

func (b *undo) move(i int, k StageKind, was *Visit) Move {
	w, a := &b.work[i], b.index[i][k]
	m := Move{Job: w.job.ID, Ref: w.job.Ref, Stage: k, From: *was}
	if a >= 0 && b.placed[a].Mode >= 0 {
		is := b.visitAt(a, b.placed[a])
		m.To = &is
	}
	m.Whom = b.disturbed(w.job, was, m.To)
	placed, with, ok := b.undo(i, k)
	if !ok {
		m.Forced = b.whyForced(i, k, was)
		return m
	}
	for _, key := range with {
		m.With = append(m.With, b.work[key.work].job.Ref+" "+key.kind.String())
	}
	without := b.priced(placed)
	m.Buys = without.Total - b.cost.Total
	_, m.Items = diffCosts(without, b.cost)
	return m
}

// disturbed names whom a move disturbs: the customer, and the crews or scaffold
// firms of both places.
func (b *undo) disturbed(j *Job, was, is *Visit) []string {
	whom := []string{j.Customer.Name}
	for _, v := range []*Visit{was, is} {
		if v == nil {
			continue
		}
		name := ""
		if c := b.crew(v.Crew); c >= 0 {
			name = b.crews[c].Name
		} else if f := b.firm(v.ScaffoldFirm); f >= 0 {
			name = b.firms[f].Name
		}
		if name != "" && !slices.Contains(whom, name) {
			whom = append(whom, name)
		}
	}
	return slices.DeleteFunc(whom, func(s string) bool { return s == "" })
}

// whyForced says why a visit could not stay.
func (b *undo) whyForced(i int, k StageKind, was *Visit) []Reason {
	w := &b.work[i]
	if w.base[k] == nil && w.booking != nil && k.Trade() == ScaffoldTrade {
		return []Reason{{RuleHeld, k.String(), "another day or firm was agreed with the scaffold firm since it was published", was.First().String(), "half-day", "booking"}}
	}
	q := ask{kind: k, lo: b.slot(was.First()), hi: b.slot(was.First()), who: b.crew(was.Crew), by: b.data.Slots + beyond}
	if k.Trade() == ScaffoldTrade {
		q.who = b.firm(was.ScaffoldFirm)
	}
	list := b.against(i, q)
	if len(list) > 1 {
		list = slices.DeleteFunc(list, func(r Reason) bool { return r.Rule == RuleAsked })
	}
	if len(list) == 0 {
		list = []Reason{{RuleGate, "other appointments of the published plan stood in its way and could not stay either", "", "", "", "draft"}}
	}
	return list
}

// undo puts a visit back where it was published, and with it those moves that
// stand in the way. ok is false when something stands in the way that was not
// moved, or when the whole would break a rule.
func (b *undo) undo(i int, k StageKind) (placed []solver.Placement, with []jobStage, ok bool) {
	back := map[jobStage]bool{{i, k}: true}
	for {
		for key := range back {
			if b.base[key] == nil || b.pinned(b.index[key.work][key.kind]) != nil {
				return nil, nil, false
			}
		}
		placed = b.backTo(back)
		more, stuck := b.inTheWay(placed, back)
		if stuck {
			return nil, nil, false
		}
		if len(more) == 0 {
			break
		}
		for _, key := range more {
			back[key] = true
		}
	}
	for key := range back {
		if key != (jobStage{i, k}) {
			with = append(with, key)
		}
	}
	slices.SortFunc(with, func(x, y jobStage) int { return cmp.Or(cmp.Compare(x.work, y.work), cmp.Compare(x.kind, y.kind)) })
	p := b.planOf(placed)
	p.Cost = Price(*b.s, p)
	return placed, with, len(Validate(*b.s, p)) == 0
}

func (b *undo) backTo(back map[jobStage]bool) []solver.Placement {
	placed := slices.Clone(b.placed)
	for key := range back {
		a, at := b.index[key.work][key.kind], b.base[key]
		list := b.halfDaysAt(a, *at)
		placed[a] = solver.Placement{Mode: at.Mode, Start: at.Start, End: b.slot(list[len(list)-1])}
	}
	return placed
}

// inTheWay lists the moves that clash with what was put back. stuck means that
// something clashes that was not moved.
func (b *undo) inTheWay(placed []solver.Placement, back map[jobStage]bool) (more []jobStage, stuck bool) {
	add := func(a int) {
		key := jobStage{b.acts[a].work, b.acts[a].kind}
		if was := b.published(key.work, key.kind); was == nil || b.base[key] == nil || !b.differs(key.work, key.kind, was) {
			stuck = true
			return
		}
		if !slices.Contains(more, key) {
			more = append(more, key)
		}
	}
	for key := range back {
		a := b.index[key.work][key.kind]
		for other := range placed {
			their := jobStage{b.acts[other].work, b.acts[other].kind}
			if other != a && !back[their] && placed[other].Mode >= 0 && b.clashes(placed, a, other) {
				add(other)
			}
		}
	}
	slices.SortFunc(more, func(x, y jobStage) int { return cmp.Or(cmp.Compare(x.work, y.work), cmp.Compare(x.kind, y.kind)) })
	return more, stuck
}

// clashes tells whether two placed activities cannot both be: the same crew in
// the same half-day, the wrong order, or two firms at one scaffold.
func (b *undo) clashes(placed []solver.Placement, a, other int) bool {
	x, y := b.acts[a], b.acts[other]
	p, q := placed[a], placed[other]
	if x.work == y.work {
		for _, l := range b.data.Activities[a].After {
			if l.Activity == other && q.End >= p.Start {
				return true
			}
		}
		for _, l := range b.data.Activities[other].After {
			if l.Activity == a && p.End >= q.Start {
				return true
			}
		}
		return x.kind.Trade() == ScaffoldTrade && y.kind.Trade() == ScaffoldTrade && x.ways[p.Mode] != y.ways[q.Mode]
	}
	if x.kind.Trade() == ScaffoldTrade || x.kind.Trade() != y.kind.Trade() || x.ways[p.Mode] != y.ways[q.Mode] {
		return false // gangs and sets are counted at the end
	}
	return p.Start <= q.End && q.Start <= p.End
}
