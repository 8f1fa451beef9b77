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
// job: the scaffold cannot come along, or the chance of weather forbids it.
func (e *explainer) whyNoRoom(a int, b bound, beside solver.At) string {
	q := e.askAt(a, beside)
	q.who = -1
	d := &desk{explainer: e}
	reasons := d.unasked(e.acts[a].work, q)
	when := e.halfDay(beside.Start).Short()
	if len(reasons) == 0 {
		return e.whyBusy(a, b)
	}
	return fmt.Sprintf("%s, but %s is not possible: %s.", capital(b.why), when, sayAll(reasons))
}
