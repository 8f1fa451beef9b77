package weather

import (
	"time"

	"toeboard/weather/civil"
)

// Ahead asks for the chances of many half-days at one place.
type Ahead struct {
	Place   Place
	Tasks   []Task
	Panel   *Panel
	First   civil.HalfDay
	N       int // half-days from First on, in a row
	Hours   civil.Hours
	Loc     *time.Location
	Now     time.Time
	Climate Climate
	Shrink  Shrinkage
}

// Outlook gives the chance of every task on every half-day, as [task][half-day]
// in the order of Tasks. It is ChanceOf for all of them with the limits and the
// sun asked once; a series without members leaves the climate.
func Outlook(s Series, l Limits, a Ahead) [][]Chance {
	light := daylightAt(a.Place, a.Loc)
	out := make([][]Chance, len(a.Tasks))
	for i, task := range a.Tasks {
		out[i] = a.chances(s, l, task, light)
	}
	return out
}

// chances gives the row of one task.
func (a Ahead) chances(s Series, l Limits, task Task, light *daylight) []Chance {
	row := make([]Chance, max(0, a.N))
	same := func(c Chance) []Chance {
		for i := range row {
			row[i] = c
		}
		return row
	}
	if task == Indoors {
		return same(Chance{Known: true, P: mostChance, Basis: "indoors"})
	}
	if a.Loc == nil || a.Now.IsZero() {
		return same(Chance{Basis: "the question has no zone or no present"})
	}
	rs, err := rulesFor(l, a.Place, task, a.Panel)
	if err != nil {
		return same(Chance{Basis: err.Error()})
	}
	o := newOdds(&rs, &s, a.Now)
	for i := range row {
		from, to := a.Hours.Window(a.First+civil.HalfDay(i), a.Loc)
		row[i] = o.of(Ask{
			Work:    Work{Place: a.Place, Task: task, Panel: a.Panel, From: from, To: to, Loc: a.Loc, Now: a.Now},
			Climate: a.Climate,
			Shrink:  a.Shrink,
		}, light)
	}
	return row
}
