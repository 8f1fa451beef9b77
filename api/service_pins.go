package api

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
)

// pinFates is what people fixed, beside what became of it in the published plan.
type pinFates struct {
	snap   schedule.Snapshot
	plan   *schedule.Plan // published; nil = none yet
	states []schedule.PinState
	costs  []schedule.PinCost // of those that were worked out
}

// pinFate is a pin, what became of it, and what it costs; nil = not known.
type pinFate struct {
	schedule.PinState
	cost *schedule.Pence
}

const (
	mostPinDays  = 84              // how far the facts reach by which pins are judged while no plan is published
	pinCostTime  = 8 * time.Second // for working out what the pins cost
	pinSchedules = 150             // for each search: a hint, no proof
	noPlanForPin = "No plan is published yet."
)

// pinFates reads the pins and what became of them; withCosts also searches what
// each costs, for at most pinCostTime.
func (s *Service) pinFates(ctx context.Context, firm uuid.UUID, withCosts bool) (pinFates, error) {
	var f pinFates
	var err error
	if f.plan, err = s.current(ctx, firm); err != nil {
		return f, err
	}
	days := mostPinDays
	if f.plan != nil {
		days = f.plan.Days
	}
	if f.snap, err = s.Snapshot(ctx, firm, days); err != nil {
		return f, err
	}
	if f.plan == nil {
		for _, p := range f.snap.Pins {
			f.states = append(f.states, schedule.PinState{Pin: p, Why: noPlanForPin})
		}
		return f, nil
	}
	f.states = schedule.PinStates(f.snap, *f.plan)
	if withCosts && len(f.snap.Pins) > 0 {
		limited, stop := context.WithTimeout(ctx, pinCostTime)
		defer stop()
		// What is not worked out, in time or at all, is not known.
		f.costs, err = schedule.PinCosts(limited, f.snap, pinSchedules, 1)
		if err != nil && ctx.Err() != nil {
			return f, ctx.Err()
		}
	}
	return f, nil
}

// pins lists them in the order in which they were set.
func (f pinFates) pins() []pinFate {
	return mapped(f.states, func(s schedule.PinState) pinFate {
		p := pinFate{PinState: s}
		if i := slices.IndexFunc(f.costs, func(c schedule.PinCost) bool { return c.Pin == s.Pin.ID }); i >= 0 {
			p.cost = &f.costs[i].More
		}
		return p
	})
}

// of finds a pin among them; of one that went meanwhile nothing is known.
func (f pinFates) of(pin schedule.Pin) pinFate {
	for _, p := range f.pins() {
		if p.Pin.ID == pin.ID {
			return p
		}
	}
	return pinFate{PinState: schedule.PinState{Pin: pin, Why: "It was taken away again."}}
}

// name names a crew or a scaffold firm.
func (d directory) name(id uuid.UUID) string {
	if c, ok := d.crews[id]; ok {
		return c.Name
	}
	return d.firms[id].Name
}

// ratesChanges says of each version that the firm set, the newest first, what it
// changed of the one before it.
func ratesChanges(set []schedule.RatesVersion) (list [][]string) {
	for i, v := range set {
		older := schedule.DefaultRates()
		if i+1 < len(set) {
			older = set[i+1].Rates
		}
		list = append(list, v.Changes(older))
	}
	return list
}
