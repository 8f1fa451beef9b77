package schedule

import (
	"slices"

	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// lingers tells whether a plan leaves any scaffold lingering.
func lingers(s *Snapshot, p Plan) bool {
	v := newValidation(s, &p)
	before := len(v.broken)
	for i := range s.ScaffoldFirms {
		v.lingering(&s.ScaffoldFirms[i])
	}
	return len(v.broken) > before
}

// lingering finds scaffolds that the facts put up and the plan leaves standing
// on a day on which their firm has too few sets, though they could be down by
// then with everything else where the plan has it. That they stand on the days
// before is no fault: nobody could bring them down sooner.
func (v *validation) lingering(f *ScaffoldFirm) {
	var over []civil.Date
	for d := v.s.FirstDay; d <= v.lastDay; d++ {
		if chosen, given := v.sets(f, d); chosen+given > f.Sets {
			over = append(over, d)
		}
	}
	if over == nil {
		return
	}
	for _, j := range v.yard(f).jobs {
		when := slices.DeleteFunc(slices.Clone(over), func(d civil.Date) bool {
			there, byFacts := v.scaffoldOn(j, f, d)
			return !there || !byFacts
		})
		if len(when) == 0 {
			continue
		}
		down, ok := v.downBy(j, f)
		if i := slices.IndexFunc(when, func(d civil.Date) bool { return d > down }); ok && i >= 0 {
			chosen, given := v.sets(f, when[i])
			v.say(ruleSets, j, ScaffoldStrike, "its scaffold stands on %s, when %s has %d scaffolds for %d sets, and could be down on %s.",
				when[i].Short(), f.Name, chosen+given, f.Sets, down.Short())
		}
	}
}

// downBy gives the first day on which a strike could be over with everything
// else where the plan has it; none where the strike had to stay where it is or
// can have no place.
func (v *validation) downBy(j *Job, f *ScaffoldFirm) (civil.Date, bool) {
	st, has := v.stage(j, ScaffoldStrike)
	x := v.get(j, ScaffoldStrike)
	if !has || st.State != StatePlanned || v.overtaken(j, ScaffoldStrike) || x != nil && v.fixed(x) {
		return civil.NoDate, false
	}
	here := v.gangDays(f)
	var run []civil.HalfDay
	for h := v.s.FirstDay.In(civil.Morning); h.Date() <= v.lastDay; h++ {
		if !here(h.Date()) {
			continue
		}
		run = append(run, h)
		for len(run) > 1 && v.asLong(j, ScaffoldStrike, st.HalfDays, run[1:]) {
			run = run[1:]
		}
		if v.asLong(j, ScaffoldStrike, st.HalfDays, run) && v.mayBeStruck(j, f, x, run) {
			return h.Date(), true
		}
	}
	return civil.NoDate, false
}

// mayBeStruck tells whether a strike could be in some half-days: gates, notice,
// weather, order, gangs and pins. x is where the plan has it, nil = nowhere.
func (v *validation) mayBeStruck(j *Job, f *ScaffoldFirm, x *Visit, at []civil.HalfDay) bool {
	day := at[0].Date()
	for _, g := range v.gates(j, ScaffoldStrike) {
		if !g.on.Known() || day < g.on {
			return false
		}
	}
	if v.noNotice(j, ScaffoldStrike, f, day) != "" || !v.mayFollow(j, at[0]) {
		return false
	}
	for _, h := range at {
		if ScaffoldStrike.Task() != weather.Indoors && !v.workable(v.chanceBy(j, ScaffoldStrike, f.ID, h)) {
			return false
		}
		if chosen, given := v.gangs(f, h.Date(), func(o *Visit) bool { return o != x }); chosen+given >= f.GangsPerDay {
			return false
		}
	}
	there := &Visit{Job: j.ID, Stage: ScaffoldStrike, Crew: uuid.Nil, ScaffoldFirm: f.ID, HalfDays: at}
	return !slices.ContainsFunc(v.s.Pins, func(p Pin) bool {
		return p.Job == j.ID && (p.Stage == StageUnknown || v.about(&p, ScaffoldStrike)) && v.breaks(j, &p, there) != ""
	})
}

// mayFollow tells whether all that a strike waits for is over before a half-day.
func (v *validation) mayFollow(j *Job, first civil.HalfDay) bool {
	for _, b := range v.waitsFor(j, ScaffoldStrike) {
		st, _ := v.stage(j, b)
		switch x := v.get(j, b); {
		case st.State == StateDone:
			if first.Date() <= st.DoneOn && st.DoneOn >= v.s.FirstDay {
				return false
			}
		case b == ScaffoldErection && v.overtaken(j, b):
			if st.State == StatePlanned && !v.open(j, RoofWork) {
				return false // nobody marked the erection, and the strike is left out with it until somebody does
			}
		case x == nil || len(x.HalfDays) == 0 || first <= x.Last():
			return false
		}
	}
	return true
}
