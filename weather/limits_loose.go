package weather

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// startLimits are the limits a firm starts with, read once.
var startLimits = sync.OnceValue(DefaultLimits)

// Loosened says in a sentence for each level of these limits that lets through
// more than what a firm starts with; none when all are as tight or tighter. A
// firm may set its own, but it sees what it does, and so does whoever is judged
// by it.
func (l Limits) Loosened() []string {
	var say []string
	for _, task := range OutdoorTasks() {
		for q := WindMean; int(q) < len(quantities); q++ {
			start, had := startLimits().find(task, q)
			if !had {
				continue
			}
			now, has := l.find(task, q)
			subject := now.subject()
			if !has {
				now, subject = Limit{Task: task, Quantity: q, Unit: start.Unit}, Limit{Task: task, Quantity: q}.subject()
			}
			if why := now.looserThan(start); why != "" && !slices.Contains(say, subject+": "+why) {
				say = append(say, subject+": "+why)
			}
		}
	}
	return say
}

// Looser says what the row lets through more than what a firm starts with for
// its task; "" when nothing.
func (row Limit) Looser() string {
	tasks := []Task{row.Task}
	if row.Task == Outdoors {
		tasks = OutdoorTasks()
	}
	for _, task := range tasks {
		if start, had := startLimits().find(task, row.Quantity); had {
			if why := row.looserThan(start); why != "" {
				return why
			}
		}
	}
	return ""
}

// looserThan names the levels that let through more than those of a start row.
func (row Limit) looserThan(start Limit) string {
	var say []string
	add := func(what string, now, was Value) {
		if was.Known && (!now.Known || row.beyondLevel(now.N, was.N)) {
			say = append(say, fmt.Sprintf("%s %s is looser than the start value %s", what, row.Level(now), start.Level(was)))
		}
	}
	add("caution", row.firstLevel(), start.firstLevel())
	add("stop", row.Stop, start.Stop)
	if row.Quantity == RecentRain && row.Hours < start.Hours && (row.Caution.Known || row.Stop.Known) {
		say = append(say, "hours "+strconv.Itoa(row.Hours)+" are fewer than the start value "+strconv.Itoa(start.Hours))
	}
	return strings.Join(say, ", ")
}

// firstLevel is the level of a row that says something first: its caution, else
// its stop. A row without a caution that stops sooner is no looser.
func (row Limit) firstLevel() Value {
	if row.Caution.Known {
		return row.Caution
	}
	return row.Stop
}

// beyondLevel tells whether a level is met later than another.
func (row Limit) beyondLevel(a, b float64) bool {
	if row.Quantity.LowStops() {
		return a < b
	}
	return a > b
}

// With gives the limits with one row in the place of that of the same task and
// quantity, or added to them; a row without any level takes it out. The version
// stays that which was looked at.
func (l Limits) With(row Limit) Limits {
	out := Limits{Version: l.Version}
	none, placed := !row.Caution.Known && !row.Stop.Known, false
	for _, old := range l.Rows {
		switch {
		case old.Task != row.Task || old.Quantity != row.Quantity:
			out.Rows = append(out.Rows, old)
		case !none:
			out.Rows, placed = append(out.Rows, row), true
		}
	}
	if !none && !placed {
		out.Rows = append(out.Rows, row)
	}
	return out
}

// Quantities gives every quantity that a limit may be set for.
func Quantities() []Quantity {
	var all []Quantity
	for q := WindMean; int(q) < len(quantities); q++ {
		if q != OfficialWarning && q != LowSun {
			all = append(all, q)
		}
	}
	return all
}
