package schedule

import (
	"cmp"
	"slices"

	"github.com/google/uuid"

	"toeboard/schedule/solver"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// desk is a plan laid out on the facts of a snapshot, so that it can be asked
// what would have happened elsewhere.
type desk struct {
	*explainer
	plan  Plan
	loose []Visit // visits of the plan that the facts no longer allow where they are
}

// layOut puts a plan on the desk. Of a plan that was made some days ago it
// takes what is still to come.
func layOut(s *Snapshot, p Plan) *desk {
	m := newModel(s)
	placed := make([]solver.Placement, len(m.acts))
	for a := range placed {
		placed[a] = solver.Placement{Mode: -1}
	}
	d := &desk{plan: p}
	first := s.FirstDay.In(civil.Morning)
	at := map[uuid.UUID]int{}
	for i := range m.work {
		at[m.work[i].job.ID] = i
	}
	for _, v := range p.Visits {
		i, known := at[v.Job]
		if !known || len(v.HalfDays) == 0 || v.Last() < first || !m.work[i].open(v.Stage) {
			continue // done, or its day has passed
		}
		v.HalfDays = slices.DeleteFunc(slices.Clone(v.HalfDays), func(h civil.HalfDay) bool { return h < first })
		a := m.index[i][v.Stage]
		if a < 0 {
			d.loose = append(d.loose, v)
			continue
		}
		where := m.as(a, &v)
		if where == nil {
			d.loose = append(d.loose, v)
			continue
		}
		now := m.halfDaysAt(a, *where)
		placed[a] = solver.Placement{Mode: where.Mode, Start: where.Start, End: m.slot(now[len(now)-1])}
	}
	d.explainer = layOn(m, placed)
	return d
}

// find finds a job on the desk, or says that it is not open.
func (d *desk) find(job uuid.UUID) (int, error) {
	i := slices.IndexFunc(d.work, func(w work) bool { return w.job.ID == job })
	if i < 0 {
		return -1, fault.Missing("open job", job.String())
	}
	return i, nil
}

// planOf gives the plan that has just these placements.
func (d *desk) planOf(placed []solver.Placement) Plan {
	p := Plan{State: Draft, Base: d.plan.Base, FirstDay: d.s.FirstDay, Days: d.s.Days}
	for i := range d.work {
		for _, k := range StageKinds {
			if !d.work[i].open(k) {
				continue
			}
			a := d.index[i][k]
			if a < 0 || placed[a].Mode < 0 {
				p.Unplanned = append(p.Unplanned, Unplanned{Job: d.work[i].job.ID, Stage: k, Why: "It has no place here."})
				continue
			}
			p.Visits = append(p.Visits, d.visitAt(a, placed[a]))
		}
	}
	return p
}

func (d *desk) visitAt(a int, at solver.Placement) Visit {
	act := d.acts[a]
	w := &d.work[act.work]
	v := Visit{Job: w.job.ID, Stage: act.kind, HalfDays: d.halfDaysAt(a, solver.At{Mode: at.Mode, Start: at.Start})}
	if act.kind.Trade() == ScaffoldTrade {
		v.ScaffoldFirm = d.firms[act.ways[at.Mode]].ID
	} else {
		v.Crew = d.crews[act.ways[at.Mode]].ID
	}
	if o := d.chancesBy(w, act.kind, act.ways[at.Mode]); o != nil {
		v.Chance = visitChance(v.HalfDays, o, w.left(act.kind, d.s.FirstDay))
	}
	return v
}

// priced is what placements cost by the facts as they are.
func (d *desk) priced(placed []solver.Placement) Cost { return Price(*d.s, d.planOf(placed)) }

// CostDiff is by how much one item of the cost differs.
type CostDiff struct {
	Item CostItem `json:"item"`
	More Pence    `json:"more_pence"` // negative = less
}

// diffCosts gives by how much one cost is more than another, the item that
// differs most first; items that do not differ are left out.
func diffCosts(than, is Cost) (more Pence, items []CostDiff) {
	was, now := than.By(), is.By()
	for item, sum := range now {
		if sum != was[item] {
			items = append(items, CostDiff{item, sum - was[item]})
		}
	}
	for item, sum := range was {
		if _, both := now[item]; !both && sum != 0 {
			items = append(items, CostDiff{item, -sum})
		}
	}
	slices.SortFunc(items, func(a, b CostDiff) int {
		return cmp.Or(cmp.Compare(max(b.More, -b.More), max(a.More, -a.More)), cmp.Compare(a.Item, b.Item))
	})
	return is.Total - than.Total, items
}

// sayDiff writes the items: "weather risk £132.00 more, idle crew £20.00 less".
func sayDiff(items []CostDiff) string {
	var said []string
	for _, d := range items {
		if d.More > 0 {
			said = append(said, string(d.Item)+" "+d.More.String()+" more")
		} else {
			said = append(said, string(d.Item)+" "+(-d.More).String()+" less")
		}
	}
	return listed(said)
}
