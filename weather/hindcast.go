package weather

import (
	"slices"
	"time"

	"toeboard/weather/civil"
)

// Kept asks what kept forecasts of one place were worth.
type Kept struct {
	Place   Place
	Task    Task
	Panel   *Panel
	Hours   civil.Hours
	Loc     *time.Location
	Climate Climate
}

// Outcomes holds the chances that kept forecasts of a place gave for working
// half-days, climate and shrinkage left out, against what then happened. What
// happened is read from the first forecast fetched after the half-day's end
// whose own hours cover it: services fill the hours that have passed by
// analysis. Half-days of which it does not know everything, and those that are
// dark anyway, are left out. For each half-day and lead day only the last
// forecast fetched counts, so that an hour of many fetches counts once. The
// order of the forecasts does not matter.
func Outcomes(kept []Series, l Limits, k Kept) ([]Outcome, error) {
	rs, err := rulesFor(l, k.Place, k.Task, k.Panel)
	if err != nil {
		return nil, err
	}
	series := slices.Clone(kept)
	slices.SortStableFunc(series, func(a, b Series) int { return a.FetchedAt.Compare(b.FetchedAt) })
	light := daylightAt(k.Place, k.Loc)
	var out []Outcome
	for _, h := range k.halfDays(series) {
		from, to := k.Hours.Window(h, k.Loc)
		from, to, lit := light.cut(from, to, newOdds(&rs, &Series{}, from).darkMargin)
		if !lit {
			continue
		}
		ran := rs.whatHappened(series, from, to)
		climate := k.Climate.chance(&rs, from.In(k.Loc))
		if ran == Unknown || !climate.Known {
			continue
		}
		out = append(out, rs.chancesGiven(series, from, to, climate.P, ran == Go)...)
	}
	return out, nil
}

// halfDays lists the half-days that the forecasts speak of, those of weekends too.
func (k Kept) halfDays(series []Series) (list []civil.HalfDay) {
	first, last := time.Time{}, time.Time{}
	for i := range series {
		for _, m := range series[i].Members {
			if n := len(m.Hours); n > 0 {
				if first.IsZero() || m.Hours[0].From.Before(first) {
					first = m.Hours[0].From
				}
				last = later(last, m.Hours[n-1].From)
			}
		}
	}
	if first.IsZero() {
		return nil
	}
	for h := civil.DateOf(first, k.Loc).In(civil.Morning); h <= civil.DateOf(last, k.Loc).In(civil.Afternoon); h++ {
		list = append(list, h)
	}
	return list
}

// whatHappened reads the first series fetched after a window that covers it.
func (rs *rules) whatHappened(series []Series, from, to time.Time) Verdict {
	for i := range series {
		s := &series[i]
		if s.FetchedAt.Before(to) || len(s.Members) == 0 {
			continue
		}
		if v := rs.passes(&s.Members[0], from, to); v != Unknown {
			return v
		}
	}
	return Unknown
}

// chancesGiven gives the chance of a window that each lead day's last forecast
// gave.
func (rs *rules) chancesGiven(series []Series, from, to time.Time, climate float64, ran bool) (out []Outcome) {
	at := map[int]int{}
	for i := range series {
		s := &series[i]
		lead := from.Sub(s.FetchedAt).Hours() / 24
		if lead < 0 {
			break
		}
		o := newOdds(rs, s, s.FetchedAt)
		if len(s.Members) == 0 || to.After(o.horizon) {
			continue
		}
		c := o.forecast(from, to, lead)
		if !c.Known {
			continue
		}
		given := Outcome{Lead: int(lead), P: c.P, Climate: climate, Ran: ran}
		if n, ok := at[given.Lead]; ok {
			out[n] = given
			continue
		}
		at[given.Lead] = len(out)
		out = append(out, given)
	}
	return out
}
