package weather

import (
	"slices"
	"time"

	"toeboard/weather/civil"
)

// Kept asks what kept forecasts of one place were worth.
type Kept struct {
	Place    Place
	Task     Task
	Panel    *Panel
	Hours    civil.Hours
	Loc      *time.Location
	Climate  Climate
	Readings []GustReading // of the wind at the work, any order
}

// GustReading is a gust that somebody read at the work.
type GustReading struct {
	At time.Time
	MS float64 // [m/s]
}

// Hindcast holds the chances that kept forecasts of a place gave for working
// half-days, climate and shrinkage left out, against what then happened. It
// takes one forecast at a time, in the order in which they were fetched, and
// remembers chances only, so that a year of them needs no more room than a week.
//
// What happened is read from the first forecast fetched after the half-day's end
// whose own hours cover it: services fill the hours that have passed by
// analysis. A gust read at the work at or above its limit stopped it, whatever
// the analysis says; a lower one proves nothing. Half-days of which nobody knows
// everything, and those that are dark anyway, are left out. For each half-day
// and lead day only the last forecast fetched counts, so that an hour of many
// fetches counts once.
type Hindcast struct {
	kept  Kept
	rules rules
	light *daylight
	days  map[civil.HalfDay]*hindDay
	order []civil.HalfDay
}

// hindDay is what is known of one half-day.
type hindDay struct {
	from, to time.Time // within daylight
	lit      bool
	climate  Chance
	given    map[int]float64 // by lead day
	leads    []int           // of given, in the order in which they came
	ran      Verdict
}

// NewHindcast makes an empty one. It refuses a place, a task or limits that
// cannot be judged.
func NewHindcast(l Limits, k Kept) (*Hindcast, error) {
	rs, err := rulesFor(l, k.Place, k.Task, k.Panel)
	if err != nil {
		return nil, err
	}
	return &Hindcast{kept: k, rules: rs, light: daylightAt(k.Place, k.Loc), days: map[civil.HalfDay]*hindDay{}}, nil
}

// Add takes the next forecast.
func (h *Hindcast) Add(s Series) {
	h.rules.forget()
	first, last, any := s.reach()
	if !any {
		return
	}
	horizon := horizon(&s)
	for d := civil.DateOf(first, h.kept.Loc).In(civil.Morning); d <= civil.DateOf(last, h.kept.Loc).In(civil.Afternoon); d++ {
		day := h.day(d)
		if !day.lit {
			continue
		}
		if day.ran == Unknown && !s.FetchedAt.Before(day.to) {
			day.ran = h.rules.passes(&s.Members[0], day.from, day.to)
		}
		if lead := day.from.Sub(s.FetchedAt).Hours() / 24; lead >= 0 && !day.to.After(horizon) {
			o := newOdds(&h.rules, &s, s.FetchedAt)
			if c := o.forecast(day.from, day.to, lead); c.Known {
				day.give(int(lead), c.P)
			}
		}
	}
}

func (d *hindDay) give(lead int, p float64) {
	if _, had := d.given[lead]; !had {
		d.leads = append(d.leads, lead)
	}
	d.given[lead] = p
}

func (h *Hindcast) day(d civil.HalfDay) *hindDay {
	if day, ok := h.days[d]; ok {
		return day
	}
	day := &hindDay{given: map[int]float64{}}
	day.from, day.to = h.kept.Hours.Window(d, h.kept.Loc)
	day.from, day.to, day.lit = h.light.cut(day.from, day.to, newOdds(&h.rules, &Series{}, day.from).darkMargin)
	day.climate = h.kept.Climate.chance(&h.rules, day.from.In(h.kept.Loc))
	h.days[d] = day
	h.order = append(h.order, d)
	return day
}

// Outcomes gives what has come to be known, by half-day, and how many readings
// stopped one of them.
func (h *Hindcast) Outcomes() (out []Outcome, stopped int) {
	order := slices.Clone(h.order)
	slices.Sort(order)
	for _, d := range order {
		day := h.days[d]
		if !day.lit || !day.climate.Known || len(day.leads) == 0 {
			continue
		}
		ran := day.ran
		if h.readToStop(day) {
			ran = Stop
			stopped++
		}
		if ran == Unknown {
			continue
		}
		for _, lead := range day.leads {
			out = append(out, Outcome{Lead: lead, P: day.given[lead], Climate: day.climate.P, Ran: ran == Go})
		}
	}
	return out, stopped
}

// readToStop tells whether somebody read a gust at or above the limit.
func (h *Hindcast) readToStop(day *hindDay) bool {
	for i := range h.rules.hourly {
		r := &h.rules.hourly[i]
		if r.Quantity != WindGust || !r.Stop.Known {
			continue
		}
		return slices.ContainsFunc(h.kept.Readings, func(g GustReading) bool {
			return !g.At.Before(day.from) && g.At.Before(day.to) && g.MS >= r.Stop.N
		})
	}
	return false
}

// reach gives the starts of the first and the last step that any member has.
func (s *Series) reach() (first, last time.Time, any bool) {
	for _, m := range s.Members {
		n := len(m.Hours)
		if n == 0 {
			continue
		}
		if !any || m.Hours[0].From.Before(first) {
			first = m.Hours[0].From
		}
		last, any = later(last, m.Hours[n-1].From), true
	}
	return first, last, any
}

// Outcomes is a Hindcast of forecasts that are at hand, in any order.
func Outcomes(kept []Series, l Limits, k Kept) ([]Outcome, error) {
	h, err := NewHindcast(l, k)
	if err != nil {
		return nil, err
	}
	series := slices.Clone(kept)
	slices.SortStableFunc(series, func(a, b Series) int { return a.FetchedAt.Compare(b.FetchedAt) })
	for _, s := range series {
		h.Add(s)
	}
	out, _ := h.Outcomes()
	return out, nil
}
