package schedule

import (
	"context"

	"github.com/google/uuid"

	"toeboard/schedule/solver"
	"toeboard/weather/civil"
)

// SearchCost plans a snapshot and gives beside the plan the cost that the
// search itself kept, and how many schedules it generated; tests hold it
// against Price and measure with it.
func SearchCost(s Snapshot, schedules int, seed uint64) (Plan, Pence, error) {
	m := newModel(&s)
	r, err := solver.Solve(context.Background(), m.data, solver.Stop{Schedules: schedules}, seed)
	if err != nil {
		return Plan{}, 0, err
	}
	plan := Plan{State: Draft, FirstDay: s.FirstDay, Days: s.Days, Seed: seed, Schedules: r.Schedules, Hash: s.HashOf()}
	m.write(&plan, r)
	plan.Cost = Price(s, plan)
	return plan, Pence(r.Cost) + m.fixed, nil
}

// ReplayedVisits gives a plan's visits as one future would have them: the
// half-days that are worked by the last day replayed. cost is what the plan
// comes to in it, lost how many half-days the weather takes.
func ReplayedVisits(s Snapshot, p Plan, f Futures, future int) (visits []Visit, cost Pence, lost int) {
	r := newReplay(&s, &p, &f)
	at := map[int32]*Visit{}
	r.told = func(a, slot int32) {
		if at[a] == nil {
			v := p.Visits[r.ops[a].visit]
			v.HalfDays = nil
			at[a] = &v
		}
		at[a].HalfDays = append(at[a].HalfDays, r.half(slot))
	}
	u := r.newRun()
	u.live(future)
	for a := range int32(len(r.ops)) {
		if at[a] != nil {
			visits = append(visits, *at[a])
		}
	}
	for _, n := range u.lost {
		lost += int(n)
	}
	return visits, u.cost, lost
}

// SetsOn counts as the validator does the scaffolds of a firm that stand on a
// day, bookings of other jobs included, and the erections and strikes on it.
func SetsOn(s Snapshot, visits []Visit, firm uuid.UUID, d civil.Date) (sets, gangs int) {
	p := Plan{FirstDay: s.FirstDay, Days: s.Days, Visits: visits}
	v := &validation{s: &s, p: &p, work: newWorkdays(s.Holidays), today: s.today(), lastDay: s.lastDay(), frozenTo: s.frozenUntil()}
	v.read()
	f := v.firm(firm)
	chosen, given := v.sets(f, d)
	sets = chosen + given
	chosen, given = v.gangs(f, d, func(*Visit) bool { return true })
	return sets, chosen + given
}

// ChanceWords writes a chance as sentences do.
var ChanceWords = percent

// Today is the day on which a snapshot's facts were read.
func (s *Snapshot) Today() civil.Date { return s.today() }

// RoofVisit gives the half-days that roof work of a job takes of a crew from one
// on, whatever else is planned; none when the crew is away or the plan ends.
func RoofVisit(s Snapshot, job, crew uuid.UUID, at civil.HalfDay) []civil.HalfDay {
	f := newFacts(&s)
	for i := range f.work {
		if c := f.crew(crew); f.work[i].job.ID == job && f.work[i].open(RoofWork) && f.works(f.crews[c], at.Date()) {
			return (&holding{facts: f}).openFrom(&f.work[i], held{work: i, kind: RoofWork, who: c}, at)
		}
	}
	return nil
}

// VisitChance is the chance that work of n half-days is done in some.
var VisitChance = visitChance
