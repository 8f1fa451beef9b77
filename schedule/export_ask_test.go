package schedule

import (
	"toeboard/schedule/solver"
	"toeboard/weather/civil"
)

// With gives the plan of which an explanation tells the price.
func (i Instead) With() Plan { return i.with }

// With gives the plan in which somebody else does it.
func (o Other) With() Plan { return o.with }

// Laid gives the plan as it lies on the desk.
func Laid(s Snapshot, p Plan) Plan {
	d := layOut(&s, p)
	return d.planOf(d.placed)
}

// RoomAndSearch asks the exact test and the search whether a stage could start
// in a half-day.
func RoomAndSearch(s Snapshot, p Plan, q Request, at civil.HalfDay) (room, search bool) {
	d := layOut(&s, p)
	i, err := d.find(q.Job)
	if err != nil {
		panic(err)
	}
	a, err := d.asked(i, q)
	if err != nil {
		panic(err)
	}
	_, _, search = d.alone(i).cheapest(a)
	return d.room(i, a, nil).fits(), search
}

// Undone gives the draft with a move undone, and those that it takes along.
func Undone(s Snapshot, draft Plan, m Move) (Plan, bool) {
	b := newUndo(&s, draft)
	i, err := b.find(m.Job)
	if err != nil {
		panic(err)
	}
	placed, _, ok := b.undo(i, m.Stage)
	if !ok {
		return Plan{}, false
	}
	return b.planOf(placed), true
}

// WithStart gives the plan in which a stage starts as asked, everything of the
// other jobs staying where it is.
func WithStart(s Snapshot, p Plan, q Request) (Plan, bool) {
	d := layOut(&s, p)
	i, err := d.find(q.Job)
	if err != nil {
		panic(err)
	}
	a, err := d.asked(i, q)
	if err != nil {
		panic(err)
	}
	placed, ok := d.alone(i).best(a)
	if !ok {
		return Plan{}, false
	}
	return d.planOf(placed), true
}

// QuickAndExact asks of each stage of a plan whether it could start sooner, by
// the quick test of why it starts when it does and by the exact one.
func QuickAndExact(s Snapshot, p Plan, told func(k StageKind, at civil.HalfDay, quick, exact bool)) {
	d := layOut(&s, p)
	for a, at := range d.placed {
		quick := d.fits(a)
		for start := solver.Slot(0); at.Mode >= 0 && start < at.Start; start++ {
			for mode := range d.acts[a].ways {
				q := solver.At{Mode: mode, Start: start}
				told(d.acts[a].kind, d.halfDay(start), quick(a, q), d.free(a, q) && d.room(d.acts[a].work, d.askAt(a, q), nil).fits())
			}
		}
	}
}
