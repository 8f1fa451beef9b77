package schedule

import (
	"context"

	"github.com/google/uuid"
)

// PinCost is what a pin adds to the cost of the plan, as far as a quick search
// can tell.
type PinCost struct {
	Pin  uuid.UUID
	More Pence // at least 0: without a pin nothing is forbidden that was allowed
}

// PinCosts searches a plan with all pins and one without each in turn, all from
// the published plan and for as many schedules, and gives the differences. The
// searches are short, so what they say is a hint and no proof. When the context
// ends, it gives those that were worked out.
func PinCosts(ctx context.Context, s Snapshot, schedules int, seed uint64) ([]PinCost, error) {
	with, err := searchAgain(ctx, s, schedules, seed)
	if err != nil {
		return nil, err
	}
	var list []PinCost
	for i := range s.Pins {
		if ctx.Err() != nil {
			break
		}
		less := s
		less.Pins = append(append([]Pin(nil), s.Pins[:i]...), s.Pins[i+1:]...)
		without, err := searchAgain(ctx, less, schedules, seed)
		if err != nil {
			return nil, err
		}
		if ctx.Err() == nil {
			list = append(list, PinCost{s.Pins[i].ID, max(0, with-without)})
		}
	}
	return list, nil
}

// searchAgain gives the cost of a plan that is searched anew, also when the
// published one has all these facts.
func searchAgain(ctx context.Context, s Snapshot, schedules int, seed uint64) (Pence, error) {
	if s.Base != nil {
		base := *s.Base
		base.Hash = [32]byte{}
		s.Base = &base
	}
	p, err := Solve(ctx, s, Stop{Schedules: schedules}, seed)
	return p.Cost.Total, err
}
