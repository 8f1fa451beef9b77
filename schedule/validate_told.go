package schedule

import (
	"slices"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// ruleTold is the rule that a stage whose start or day a person fixed is not
// left out while it could stand there alone.
const ruleTold = "what was told is kept"

// told checks that no stage of a crew whose start or day is pinned is left out
// though one that the pins let do it is free then and nothing stands in its way.
// What other visits would have to make room for is not looked at.
func (v *validation) told() {
	for i := range v.s.Pins {
		p := &v.s.Pins[i]
		j := v.byID[p.Job]
		if j == nil || p.Kind != PinStart && p.Kind != PinOn || p.Stage.Trade() == ScaffoldTrade {
			continue
		}
		st, has := v.stage(j, p.Stage)
		if !has || st.State != StatePlanned || v.get(j, p.Stage) != nil || v.overtaken(j, p.Stage) {
			continue
		}
		if x := v.freePlace(j, st); x != nil {
			v.say(ruleTold, j, p.Stage, "it is pinned to %s and left out, though %s is free from %s on and nothing stands in its way.", p.On.Short(), v.crew(x.Crew).Name, x.First().Short())
		}
	}
}

// freePlace looks for half-days in which a stage could be put into the plan as
// it is; nil = there are none.
func (v *validation) freePlace(j *Job, st Stage) *Visit {
	for i := range v.s.Crews {
		c := &v.s.Crews[i]
		if !c.Active || c.Trade != st.Kind.Trade() {
			continue
		}
		for _, saturdays := range []bool{false, true} {
			for h := v.s.FirstDay.In(civil.Morning); h <= v.lastDay.In(civil.Afternoon); h++ {
				x := &Visit{Job: j.ID, Stage: st.Kind, Crew: c.ID, HalfDays: v.from(j, st, c, h, saturdays)}
				if len(x.HalfDays) > 0 && v.standsAlone(j, x) {
					return x
				}
			}
		}
	}
	return nil
}

// from gives the half-days that a stage takes of a crew from one on; nil when
// the crew does not work in it or the plan ends before.
func (v *validation) from(j *Job, st Stage, c *Crew, first civil.HalfDay, saturdays bool) (list []civil.HalfDay) {
	for h := first; h <= v.lastDay.In(civil.Afternoon); h++ {
		if here := present(c, h.Date()) && (v.work.is(h.Date()) || saturdays && v.overtime(h.Date())); here {
			if list = append(list, h); v.asLong(j, st.Kind, st.HalfDays, list) {
				return list
			}
		} else if h == first {
			return nil
		}
	}
	return nil
}

// standsAlone tells whether a visit more keeps every rule beside the others.
func (v *validation) standsAlone(j *Job, x *Visit) bool {
	for i := range v.s.Pins {
		p := &v.s.Pins[i]
		if p.Job == j.ID && (p.Stage == StageUnknown || v.about(p, x.Stage)) && v.breaks(j, p, x) != "" {
			return false
		}
	}
	for _, g := range v.gates(j, x.Stage) {
		if !g.on.Known() || x.First().Date() < g.on {
			return false
		}
	}
	for _, h := range x.HalfDays {
		if v.s.heldAt(x.Crew, h) != nil || x.Stage.Task() != weather.Indoors && !v.workable(v.chance(j, x.Stage, h)) {
			return false
		}
	}
	for _, other := range v.visits {
		if other.Crew == x.Crew && overlap(other.HalfDays, x.HalfDays) {
			return false
		}
		if other.Job == j.ID && slices.Contains(v.waitsFor(j, other.Stage), x.Stage) && other.First() <= x.Last() {
			return false
		}
	}
	for _, b := range v.waitsFor(j, x.Stage) {
		st, _ := v.stage(j, b)
		before := v.get(j, b)
		switch {
		case st.State == StateDone && st.DoneOn < x.First().Date():
		case st.State == StateDone, before == nil, len(before.HalfDays) == 0, before.Last() >= x.First():
			return false
		}
	}
	return true
}
