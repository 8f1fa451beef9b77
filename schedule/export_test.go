package schedule

import (
	"context"

	"toeboard/schedule/solver"
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
