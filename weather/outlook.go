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
func Outlook(s Series, l Limits, a Ahead) [][]Chance { return NewLook(s, l, a).Chances(a.N) }

// Look is a forecast held against the limits of some tasks over the half-days
// ahead. Chances and Futures ask the same members the same thing: each member is
// judged once for a half-day and task, whichever asks first. It is not for
// several goroutines at once.
type Look struct {
	ahead Ahead
	light *daylight
	tasks []taskLook
}

// taskLook is the part of one task.
type taskLook struct {
	rules rules
	odds  *odds
	same  *Chance // what holds for every half-day, without any forecast
}

// NewLook takes a forecast of the place that is asked about. What stands in the
// way of an answer, such as a terrain that nobody knows, is in every answer.
func NewLook(s Series, l Limits, a Ahead) *Look {
	k := &Look{ahead: a, light: daylightAt(a.Place, a.Loc), tasks: make([]taskLook, len(a.Tasks))}
	for i, task := range a.Tasks {
		t := &k.tasks[i]
		switch {
		case task == Indoors:
			t.same = &Chance{Known: true, P: mostChance, Basis: "indoors"}
		case a.Loc == nil || a.Now.IsZero():
			t.same = &Chance{Basis: "the question has no zone or no present"}
		default:
			var err error
			if t.rules, err = rulesFor(l, a.Place, task, a.Panel); err != nil {
				t.same = &Chance{Basis: err.Error()}
				continue
			}
			t.odds = newOdds(&t.rules, &s, a.Now)
		}
	}
	return k
}

// Chances gives the chance of every task on each of n half-days from First on,
// as [task][half-day].
func (k *Look) Chances(n int) [][]Chance {
	out := make([][]Chance, len(k.tasks))
	for i := range k.tasks {
		out[i] = make([]Chance, max(0, n))
		for h := range out[i] {
			if same := k.tasks[i].same; same != nil {
				out[i][h] = *same
				continue
			}
			out[i][h], _ = k.tasks[i].odds.of(k.ask(i, h), k.light)
		}
	}
	return out
}

// ask is the question about one task on one half-day, counted from First.
func (k *Look) ask(task, half int) Ask {
	a := &k.ahead
	from, to := a.Hours.Window(a.First+civil.HalfDay(half), a.Loc)
	return Ask{
		Work:    Work{Place: a.Place, Task: a.Tasks[task], Panel: a.Panel, From: from, To: to, Loc: a.Loc, Now: a.Now},
		Climate: a.Climate,
		Shrink:  a.Shrink,
	}
}
