package api

import (
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/web"
)

// stagePins gives what people fixed about a stage that has not begun, and whether
// its visit is so; v nil = it has no place in the plan shown. What has begun goes
// on, whatever is pinned.
func stagePins(pins []schedule.Pin, d directory, job uuid.UUID, st schedule.Stage, v *schedule.Visit, loc *time.Location) (list web.StagePins) {
	if st.State != schedule.StatePlanned {
		return nil
	}
	for _, p := range pins {
		if !p.About(job, st.Kind) {
			continue
		}
		kept := v == nil && p.Kind == schedule.PinLeftOut || v != nil && p.KeptBy(*v)
		list = append(list, web.StagePin{Words: p.Words(d.name), By: p.SetBy, At: stamped(p.SetAt, loc), Why: p.Why, Kept: kept})
	}
	return list
}

// visitPins is stagePins of a visit on the board.
func visitPins(b Board, j schedule.Job, v *schedule.Visit) web.StagePins {
	st, _ := j.Stage(v.Stage)
	return stagePins(b.Pins, b.directory, j.ID, st, v, b.Location)
}
