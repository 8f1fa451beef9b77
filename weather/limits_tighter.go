package weather

// WithGust gives these limits with a gust from which on some tasks stop, set by
// somebody who does the work: source says who. It tightens and never loosens: a
// stop that is lower already stays as it is, and a caution that would lie above the
// new stop comes down to it. stop is in m/s at the working height; one that is not
// known changes nothing.
func (l Limits) WithGust(stop Value, source string, tasks ...Task) Limits {
	if !stop.Known {
		return l
	}
	out := Limits{Version: l.Version}
	own := map[Task]Limit{}
	for _, t := range tasks {
		row, has := l.find(t, WindGust)
		switch {
		case !has:
			row = Limit{Task: t, Quantity: WindGust, Stop: stop, Unit: WindGust.Unit(), Source: source, Mark: FirmsOwn}
		case row.Stop.Known && row.Stop.N <= stop.N:
			continue
		default:
			row.Task, row.Stop, row.Source, row.Mark = t, stop, source, FirmsOwn
			if row.Caution.Known && row.Caution.N > stop.N {
				row.Caution = stop
			}
		}
		own[t] = row
	}
	for _, row := range l.Rows {
		if _, is := own[row.Task]; !is || row.Quantity != WindGust {
			out.Rows = append(out.Rows, row)
		}
	}
	for _, t := range tasks {
		if row, is := own[t]; is {
			out.Rows = append(out.Rows, row)
		}
	}
	return out
}
