package schedule

import (
	"fmt"

	"toeboard/schedule/solver"
)

// fits gives the test whether the whole job could have a place in which a stage
// stands so, everything of the other jobs staying where it is.
func (e *explainer) fits(a int) func(int, solver.At) bool {
	var r *room
	return func(_ int, at solver.At) bool {
		if !e.free(a, at) { // the same question asked cheaply
			return false
		}
		if r == nil {
			r = (&desk{explainer: e}).room(e.acts[a].work, ask{}, nil)
			r.met = nil
		}
		r.ask, r.ends = e.askAt(a, at), [stageCount]reached{}
		if _, ok := r.stands(a, at.Mode, at.Start); !ok {
			return false
		}
		r.stay()
		return r.fits()
	}
}

func (e *explainer) askAt(a int, at solver.At) ask {
	return ask{kind: e.acts[a].kind, lo: at.Start, hi: at.Start, who: e.acts[a].ways[at.Mode], by: e.data.Slots + beyond}
}

// whyNoRoom says why a half-day in which somebody is free will not do for the
// job: the scaffold cannot come along, or the chance of weather forbids it. Of
// hundreds who could come it asks only of the one that is free: each other is a
// fact against it, and to find which of them are needed takes as long as the
// plan.
func (e *explainer) whyNoRoom(a int, b bound, beside solver.At) string {
	q, by := e.askAt(a, beside), ""
	if many := len(e.acts[a].ways) > mostOthers; many && e.acts[a].kind.Trade() == ScaffoldTrade {
		by = " by " + e.firms[q.who].Name
	} else if many {
		by = " by " + e.crews[q.who].Name
	} else {
		q.who = -1
	}
	d := &desk{explainer: e}
	reasons := d.unasked(e.acts[a].work, q)
	when := e.halfDay(beside.Start).Short()
	if len(reasons) == 0 {
		return e.whyBusy(a, b)
	}
	return fmt.Sprintf("%s, but %s is not possible%s: %s.", capital(b.why), when, by, sayAll(reasons))
}
