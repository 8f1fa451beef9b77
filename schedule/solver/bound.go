package solver

// Bound gives a number of slots below which no plan of all activities can go:
// the longest path, or for some resource the work divided by its largest
// capacity.
func Bound(d *Data) Slot {
	bound := criticalPath(d)
	for r := range d.Resources {
		res := &d.Resources[r]
		if res.Grain > 1 {
			continue
		}
		work, capacity := Cost(0), Amount(0)
		for _, c := range res.Capacity {
			capacity = max(capacity, c)
		}
		for i := range d.Activities {
			least := Never
			for _, m := range d.Activities[i].Modes {
				w := Cost(0)
				for _, u := range m.Uses {
					if u.Resource == r {
						w += Cost(u.Amount) * Cost(m.Slots)
					}
				}
				least = min(least, w)
			}
			work += least
		}
		if capacity > 0 {
			bound = max(bound, Slot((work+Cost(capacity)-1)/Cost(capacity)))
		}
	}
	return bound
}

// CriticalPath gives the length of the longest path of activities, each in its
// shortest mode, with releases and lags, as if resources were without end and
// every slot open: what the literature measures long schedules against. Data
// with a circle gives the longest path outside it.
func CriticalPath(d *Data) Slot { return criticalPath(d) }

// criticalPath gives the length of the longest path of activities, each in its
// shortest mode, with releases and lags, as if resources were without end and
// every slot open. Data with a circle gives the longest path outside it.
func criticalPath(d *Data) Slot {
	waits := make([]int, len(d.Activities))
	after := make([][]Link, len(d.Activities))
	var list []int
	for i, a := range d.Activities {
		for _, l := range a.After {
			after[l.Activity] = append(after[l.Activity], Link{Activity: i, Lag: l.Lag})
		}
		if waits[i] = len(a.After); waits[i] == 0 {
			list = append(list, i)
		}
	}
	end, path := make([]Slot, len(d.Activities)), Slot(0)
	for k := 0; k < len(list); k++ {
		i := list[k]
		a := &d.Activities[i]
		start := a.Release
		for _, l := range a.After {
			start = max(start, end[l.Activity]+l.Lag)
		}
		best := Slot(-1)
		for _, m := range a.Modes {
			if e := max(start, m.Release) + m.Slots; best < 0 || e < best {
				best = e
			}
		}
		end[i] = best
		path = max(path, best)
		for _, l := range after[i] {
			if waits[l.Activity]--; waits[l.Activity] == 0 {
				list = append(list, l.Activity)
			}
		}
	}
	return path
}
