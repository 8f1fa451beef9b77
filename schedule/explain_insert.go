package schedule

import (
	"context"
	"slices"

	"toeboard/schedule/solver"
	"toeboard/weather"
)

// alone is the kernel's problem for one job, everything of the other jobs
// staying where the plan has it: their crews, gangs and sets are taken, and a
// crew's way to the job is priced by where it is on the same day.
type alone struct {
	desk *desk
	i    int
	data solver.Data
	acts []int // by activity of data: that of the desk
}

// insertSchedules is how many schedules a job is tried in. It is one group, so
// the first is the careful build and the others try other tastes.
const insertSchedules = 40

func (d *desk) alone(i int) *alone {
	p := &alone{desk: d, i: i, data: solver.Data{Slots: d.data.Slots, Calendars: d.data.Calendars, Trip: d.data.Trip, Makespan: d.data.Makespan}}
	own := map[int]int{} // by activity of the desk
	for a := range d.acts {
		if d.acts[a].work == i {
			own[a] = len(p.acts)
			p.acts = append(p.acts, a)
		}
	}
	p.resources()
	for _, a := range p.acts {
		p.data.Activities = append(p.data.Activities, p.activity(a, own))
	}
	for _, g := range d.data.Groups {
		if len(g) == 0 || len(g[0].Activities) == 0 || d.acts[g[0].Activities[0]].work != i {
			continue
		}
		var group solver.Group
		for _, u := range g {
			group = append(group, solver.Unit{Activities: renumber(u.Activities, own), Tied: renumber(u.Tied, own)})
		}
		p.data.Groups = append(p.data.Groups, group)
	}
	for _, s := range d.data.Spans {
		if to, mine := own[s.To]; mine {
			s.To = to
			if s.From >= 0 {
				s.From = own[s.From]
			}
			p.data.Spans = append(p.data.Spans, s)
		}
	}
	for _, h := range d.data.Handovers {
		if first, mine := own[h.First]; mine {
			p.data.Handovers = append(p.data.Handovers, solver.Handover{First: first, Second: own[h.Second], Cost: h.Cost})
		}
	}
	return p
}

func renumber(list []int, own map[int]int) (out []int) {
	for _, a := range list {
		out = append(out, own[a])
	}
	return out
}

// resources takes from everybody what the other jobs take.
func (p *alone) resources() {
	d := p.desk
	r := d.room(p.i, ask{}, nil) // gangs and sets without the job
	p.data.Resources = slices.Clone(d.data.Resources)
	for c := range d.crews {
		res := &p.data.Resources[c]
		res.Tour, res.Capacity, res.Idle = nil, slices.Clone(res.Capacity), slices.Clone(res.Idle)
		for s, a := range d.at[c] {
			if a >= 0 && d.acts[a].work != p.i {
				res.Capacity[s] = 0
				if res.Idle != nil {
					res.Idle[s] = 0
				}
			}
		}
	}
	for f := range d.firms {
		for of, table := range map[int][][]int{d.gangs(f): r.gangs, d.sets(f): r.sets} {
			all := d.firms[f].GangsPerDay
			if of == d.sets(f) {
				all = d.firms[f].Sets
			}
			res := &p.data.Resources[of]
			res.Capacity = slices.Clone(res.Capacity)
			for day := range res.Capacity {
				res.Capacity[day] = solver.Amount(all - table[f][day])
			}
		}
	}
}

func (p *alone) activity(a int, own map[int]int) solver.Activity {
	d := p.desk
	act := d.data.Activities[a]
	act.After = slices.Clone(act.After)
	for k := range act.After {
		act.After[k].Activity = own[act.After[k].Activity]
	}
	act.Pin = d.pinned(a)
	if at := d.placed[a]; at.Mode >= 0 && act.Pin == nil {
		act.Keep = &solver.At{Mode: at.Mode, Start: at.Start}
	}
	act.Modes = slices.Clone(act.Modes)
	for m := range act.Modes {
		if d.acts[a].kind.Trade() != ScaffoldTrade {
			act.Modes[m].StartCost = p.withTravel(a, m)
		}
	}
	if w := &d.work[p.i]; d.acts[a].kind == ScaffoldStrike && !w.together() {
		act.EndCost = p.strikeInTime(a, act.EndCost)
	}
	return act
}

// strikeInTime forbids a strike after others need the set.
func (p *alone) strikeInTime(a int, costs []solver.Cost) []solver.Cost {
	r := p.desk.room(p.i, ask{}, nil)
	out := make([]solver.Cost, p.data.Slots)
	copy(out, costs)
	for s := range out {
		if !r.downInTime(a, 0, solver.Slot(s)) {
			out[s] = solver.Never
		}
	}
	return out
}

// withTravel adds to what a start costs what the crew then drives more.
func (p *alone) withTravel(a, mode int) []solver.Cost {
	d := p.desk
	m := d.data.Activities[a].Modes[mode]
	costs := make([]solver.Cost, p.data.Slots)
	copy(costs, m.StartCost)
	crew, place := d.acts[a].ways[mode], d.data.Activities[a].Place
	home := d.data.Resources[crew].Tour
	if home == nil {
		return costs
	}
	open := d.data.Calendars[m.Calendar]
	for s := range costs {
		if costs[s] >= solver.Never || !open[s] {
			continue
		}
		n := solver.Slot(0)
		for x := solver.Slot(s); x < p.data.Slots && n < m.Slots; {
			day := x / 2 * 2
			with, without := home.Home, home.Home
			for y := day; y < min(day+2, p.data.Slots); y++ {
				switch other := d.at[crew][y]; {
				case other >= 0 && d.acts[other].work != p.i && d.inReserve(other, y):
					// kept for it, and nobody drives there
				case other >= 0 && d.acts[other].work != p.i:
					at := d.data.Activities[other].Place
					costs[s] += d.trip(with, at) - d.trip(without, at)
					with, without = at, at
				case y >= x && open[y] && n < m.Slots:
					costs[s] += d.trip(with, place)
					with = place
					n++
				}
			}
			costs[s] += d.trip(with, home.Home) - d.trip(without, home.Home)
			x = day + 2
		}
	}
	return costs
}

func (d *desk) trip(from, to solver.Place) solver.Cost {
	if from == to {
		return 0
	}
	return d.data.Trip(from, to)
}

// best looks for the cheapest place of the whole job in which the ask holds.
// The placements are the desk's with the job's own replaced.
//
// Where its strike leaves a gang by which another job's scaffold could come down
// sooner, and would have to (MODEL.md 3.3), the job's own strike stays where the
// plan has it, or there is no place.
func (p *alone) best(q ask) (placed []solver.Placement, ok bool) {
	placed, _, ok = p.cheapest(q)
	if !ok || !p.leavesLingering(placed) {
		return placed, ok
	}
	d := p.desk
	strike := d.index[p.i][ScaffoldStrike]
	x := slices.Index(p.acts, strike)
	if q.kind == ScaffoldStrike || x < 0 || d.placed[strike].Mode < 0 {
		return nil, false
	}
	was := p.data.Activities[x]
	at := d.placed[strike]
	p.hold(&p.data.Activities[x], ask{lo: at.Start, hi: at.Start, who: d.acts[strike].ways[at.Mode]}, d.acts[strike].ways)
	placed, _, ok = p.cheapest(q)
	p.data.Activities[x] = was
	return placed, ok && !p.leavesLingering(placed)
}

// leavesLingering tells whether some scaffold that stands by the facts would stay
// on a day on which its firm has too few sets, though it could be down by then.
func (p *alone) leavesLingering(placed []solver.Placement) bool {
	d := p.desk
	for f, firm := range d.firms {
		if slices.ContainsFunc(d.stand[f], func(sets int) bool { return sets > firm.Sets }) {
			return lingers(d.s, d.planOf(placed))
		}
	}
	return false
}

// cheapest is best with the cost that the search kept: comparable between asks
// of the same job, and nothing more.
func (p *alone) cheapest(q ask) (placed []solver.Placement, cost solver.Cost, ok bool) {
	d := p.desk
	data := p.data
	data.Activities = slices.Clone(p.data.Activities)
	x := slices.IndexFunc(p.acts, func(a int) bool { return d.acts[a].kind == q.kind })
	if x < 0 {
		return nil, 0, false
	}
	if pin := data.Activities[x].Pin; pin != nil {
		if pin.Start < q.lo || pin.Start > q.hi || q.who >= 0 && d.acts[p.acts[x]].ways[pin.Mode] != q.who {
			return nil, 0, false
		}
	}
	p.hold(&data.Activities[x], q, d.acts[p.acts[x]].ways)
	in := func(r solver.Result) bool {
		return r.Placed[x].Mode >= 0 && r.Placed[x].Start >= q.lo && r.Placed[x].Start <= q.hi
	}
	r, err := solver.Solve(context.Background(), data, solver.Stop{Schedules: insertSchedules}, 1)
	for _, just := range []bool{false, true} {
		if err == nil && !in(r) && p.fromRoom(&data, q, just) {
			r, err = solver.Solve(context.Background(), data, solver.Stop{Schedules: insertSchedules}, 1)
		}
	}
	if err != nil || !in(r) || len(r.Unpinned) > 0 {
		return nil, 0, false
	}
	placed = slices.Clone(d.placed)
	for n, a := range p.acts {
		placed[a] = r.Placed[n]
	}
	if strike := d.index[p.i][ScaffoldStrike]; strike >= 0 && placed[strike].Mode < 0 && !d.work[p.i].together() {
		return placed, r.Cost, d.room(p.i, q, nil).downInTime(strike, 0, d.data.Slots-1)
	}
	return placed, r.Cost, true
}

// fromRoom lets the search begin with the place that the room found, which the
// search by itself may miss, or with just it lets it start stages nowhere else;
// false when there is none.
func (p *alone) fromRoom(data *solver.Data, q ask, just bool) bool {
	r := p.desk.room(p.i, q, nil)
	if !r.fits() {
		return false
	}
	for n, a := range p.acts {
		act := &data.Activities[n]
		act.Keep = nil
		if at := r.ends[p.desk.acts[a].kind]; at.known && at.ok && at.Start < data.Slots && at.End < data.Slots && act.Pin == nil {
			if just {
				p.hold(act, ask{kind: p.desk.acts[a].kind, lo: at.Start, hi: at.Start, who: p.desk.acts[a].ways[at.Mode]}, p.desk.acts[a].ways)
			}
			act.Keep = &solver.At{Mode: at.Mode, Start: at.Start}
		}
	}
	return true
}

// elsewhere is what a start costs that is not asked for and yet has to be known
// as possible: more than any plan.
const elsewhere solver.Cost = 1 << 40

// hold forbids every start but those that are asked for. A scaffold that stands
// may have to come down as soon as it can (MODEL.md 3.3), so other starts of its
// strike stay possible: else one that lingers would look like the soonest.
func (p *alone) hold(act *solver.Activity, q ask, ways []int) {
	act.Keep = nil
	act.Modes = slices.Clone(act.Modes)
	not := solver.Never
	if w := &p.desk.work[p.i]; q.kind == ScaffoldStrike && !w.together() {
		not = elsewhere
	}
	for m := range act.Modes {
		costs := make([]solver.Cost, p.data.Slots)
		copy(costs, act.Modes[m].StartCost)
		for s := range costs {
			if solver.Slot(s) < q.lo || solver.Slot(s) > q.hi || q.who >= 0 && ways[m] != q.who {
				costs[s] = max(costs[s], not)
			}
		}
		act.Modes[m].StartCost = costs
	}
}

func homeOf(c *Crew) weather.Point { return weather.Point{Lat: c.HomeLat, Lon: c.HomeLon} }
