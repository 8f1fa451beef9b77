package schedule

import (
	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// Futures are possible weathers for every site and outdoor task of a snapshot:
// future f is the same weather in all rows. They are no part of a Snapshot, since
// no plan rests on them: a plan is replayed over them.
type Futures struct {
	N    int // how many
	Rows []FutureRow
}

// FutureRow is what the futures hold for one site and one outdoor task. It
// should reach some weeks past the plan's last day: what is late is finished
// there.
type FutureRow struct {
	Site    uuid.UUID
	By      uuid.UUID // the scaffold firm whose gust limit it keeps; Nil = no firm's own
	Task    weather.Task
	Passing weather.Passing
}

// until is the last whole day that any row covers; NoDate without rows.
func (f *Futures) until() civil.Date {
	last := civil.NoDate
	for i := range f.Rows {
		p := &f.Rows[i].Passing
		if n := p.HalfDays(); n > 0 {
			last = max(last, (p.First + civil.HalfDay(n) - 2).Date())
		}
	}
	return last
}
