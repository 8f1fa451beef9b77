package weather

import (
	"fmt"
	"math"
	"time"
)

// Low sun in the crew's eyes. The model is ours, no source was found: the sun
// shines on a roof face from the side to which the face looks. Who stands on it
// and turns to the eaves, to take a module over the edge or to go to the ladder,
// has a low sun from there ahead; one behind the ridge is hidden by the roof.
const (
	glareHeight = 15.0 // [degrees] up to which the sun stands low
	glareAside  = 30.0 // [degrees] to either side of where the face looks
	overcast    = 87.5 // [%] of cloud from which nobody is dazzled: seven eighths
	glareStep   = 10 * time.Minute
	notAhead    = 90.0 // [degrees] that stand for a sun that dazzles nobody
)

// onTheRoof tells whether a task is done on the roof's face itself.
func (t Task) onTheRoof() bool { return t == RoofCovering || t == PanelCarrying || t == Rails }

// sunRule is the caution for low sun; ok only for work on a roof face of which
// it is known where it looks. Nothing is assumed of any other.
func (p Place) sunRule(task Task) (r rule, ok bool) {
	if !p.Faces.Known || !task.onTheRoof() {
		return rule{}, false
	}
	row := Limit{Task: task, Quantity: LowSun, Caution: Is(glareHeight), Unit: LowSun.Unit(), Mark: FirmsOwn,
		Source: fmt.Sprintf("sun within %.0f° of where the roof face looks (%.0f° from north), sky not overcast; a model of ours, no source", glareAside, p.Faces.N)}
	return rule{Limit: row, name: ruleName(row, task), source: row.Source}, true
}

// sunAhead gives how low the sun stands [degrees] while it is ahead of who
// looks out over a step's eaves, looked for every ten minutes; 90 when it is up
// there at no time or the sky is overcast throughout. A cloud cover that is not
// known hides no sun.
func (p Place) sunAhead(h *Hour, from, to time.Time) Value {
	if !p.Faces.Known {
		return Value{}
	}
	lowest := notAhead
	if h.Cloud.Known && h.Cloud.N >= overcast {
		return Is(lowest)
	}
	for t := from; t.Before(to); t = t.Add(glareStep) {
		height, azimuth := SunPosition(t, p.Lat, p.Lon)
		if height > 0 && math.Abs(math.Remainder(azimuth-p.Faces.N, 360)) <= glareAside {
			lowest = min(lowest, height)
		}
	}
	return Is(lowest)
}
