package weather

import (
	"fmt"
	"math"
	"time"
)

// Bounds of a chance: a forecast is never certain.
const (
	leastChance = 0.005
	mostChance  = 1 - leastChance
)

// Ask is a Work with the climate to fall back on.
type Ask struct {
	Work
	Climate Climate   // the zero value knows nothing
	Shrink  Shrinkage // what kept chances taught; the zero value nothing
}

// ChanceOf gives the chance that the weather lets the whole window run: no step
// of it at a stop.
//
// With several members it is the share of those whose whole window passes,
// never a product of hourly chances, as (i+1)/(m+2) so that a small ensemble
// does not claim certainty. A member that does not know counts as not passing;
// when no member knows, the chance is unknown.
//
// A single run is dressed with the usual error of such forecasts, see
// dressedRun. With lead time the chance is blended into the climate, see
// forecastWeight. Beyond the last hour that any member knows, or when the
// forecast is too old to count, only the climate is left; with neither the
// chance is unknown.
//
// The window is first cut to daylight, see Work.WithinDaylight; what is left must
// be at least three quarters of it.
func ChanceOf(s Series, l Limits, a Ask) Chance {
	if a.Task == Indoors {
		return Chance{Known: true, P: mostChance, Basis: "indoors"}
	}
	rs, err := rulesFor(l, a.Place, a.Task, a.Panel)
	if err != nil {
		return Chance{Basis: err.Error()}
	}
	if a.Loc == nil || !a.To.After(a.From) || a.To.Sub(a.From) > longestWindow || a.Now.IsZero() {
		return Chance{Basis: "the question has no window, no zone or no present"}
	}
	c, _ := newOdds(&rs, &s, a.Now).of(a, daylightAt(a.Place, a.Loc))
	return c
}

// odds are what chances at one place for one task need.
type odds struct {
	rules   *rules
	series  *Series
	horizon time.Time // end of the last step that any member knows
	tooOld  string    // why the forecast no longer counts, or empty
	beside  []*odds   // of the services beside
	heard   map[window]heard

	darkMargin float64 // [min] of daylight that must be left at both ends
}

// window is a stretch of time [Unix s], the end exclusive.
type window struct{ from, to int64 }

// heard is what the members of one service say of a window.
type heard struct {
	passes []bool // by member; one that does not know does not pass
	known  int    // how many members know
	run    Chance // of a single run, which has no members
}

func newOdds(rs *rules, s *Series, now time.Time) *odds {
	o := &odds{rules: rs, series: s, horizon: horizon(s), tooOld: rs.tooOld(s, now), heard: map[window]heard{}}
	for i := range s.Beside {
		o.beside = append(o.beside, newOdds(rs, &s.Beside[i], now))
	}
	for i := range rs.hourly {
		if rs.hourly[i].Quantity == Daylight {
			o.darkMargin = rs.hourly[i].Stop.N
		}
	}
	return o
}

// tooOld says why a forecast no longer counts, "" when it does.
func (rs *rules) tooOld(s *Series, now time.Time) (why string) {
	for i := range rs.whole {
		r := &rs.whole[i]
		var v Value
		switch {
		case r.Quantity == FetchAge:
			v = age(now, s.FetchedAt)
		case r.Quantity == RunAge && !s.ModelRun.IsZero():
			v = age(now, s.ModelRun)
		default:
			continue
		}
		if len(s.Members) > 0 && r.level(v) == Unknown {
			why = fmt.Sprintf("forecast too old (%.0f h, limit %.0f h)", v.N, r.Stop.N)
			if !v.Known {
				why = "forecast of unknown age"
			}
		}
	}
	return why
}

// horizon gives the end of the last step for which any member gives a mean
// wind and rain: long-range models fill their last days with nothing.
func horizon(s *Series) time.Time {
	last := time.Time{}
	for i := range s.Members {
		hours := s.Members[i].Hours
		for k := len(hours) - 1; k >= 0; k-- {
			if h := &hours[k]; h.Rain.Known && (h.WindMean.Known || h.WindGust.Known) {
				last = later(last, h.From.Add(h.Span))
				break
			}
		}
	}
	return last
}

// of gives the chance of one window, the smallest that the series and those
// beside it give, and whose it is. One that does not reach the window says
// nothing.
func (o *odds) of(a Ask, light *daylight) (c Chance, by *odds) {
	c, by = o.alone(a, light), o
	for _, b := range o.beside {
		if b.tooOld != "" || len(b.series.Members) == 0 || a.To.After(b.horizon) {
			continue
		}
		if other := b.alone(a, light); c.Known && other.Known && other.P < c.P {
			c, by = other, b
			c.Basis += ", by " + b.series.Provider
		}
	}
	return c, by
}

// alone gives the chance of one window by the series itself.
func (o *odds) alone(a Ask, light *daylight) Chance {
	from, to, lit := light.cut(a.From, a.To, o.darkMargin)
	if !lit {
		return Chance{Known: true, P: leastChance, Basis: light.whyDark(a.From)}
	}
	climate := a.Climate.chance(o.rules, from.In(a.Loc))
	if o.tooOld != "" {
		return only(climate, o.tooOld+": ")
	}
	if len(o.series.Members) == 0 || to.After(o.horizon) {
		return only(climate, "")
	}
	lead := math.Max(0, from.Sub(a.Now).Hours()/24)
	forecast := o.forecast(from, to, lead)
	if !forecast.Known || !climate.Known {
		return forecast
	}
	forecast = a.Shrink.Apply(forecast, climate, lead)
	return blend(forecast, climate, forecastWeight(lead))
}

// only gives the climate's chance where no forecast reaches.
func only(climate Chance, why string) Chance {
	if !climate.Known {
		climate.Basis = "no forecast reaches this far and no climate is known for it"
	}
	climate.Basis = why + climate.Basis
	return climate
}

// hear asks each member about a window, once however often it is asked.
func (o *odds) hear(from, to time.Time, lead float64) heard {
	key := window{from.Unix(), to.Unix()}
	if h, known := o.heard[key]; known {
		return h
	}
	var h heard
	members := o.series.Members
	if len(members) == 1 {
		h.run = o.dressedRun(&members[0], from, to, lead)
	} else {
		h.passes = make([]bool, len(members))
		for i := range members {
			verdict := o.rules.passes(&members[i], from, to)
			h.passes[i] = verdict == Go || verdict == Caution
			if verdict != Unknown {
				h.known++
			}
		}
	}
	o.heard[key] = h
	return h
}

// forecast gives the members' chance.
func (o *odds) forecast(from, to time.Time, lead float64) Chance {
	h := o.hear(from, to, lead)
	of := len(h.passes)
	switch {
	case of == 0:
		return h.run
	case h.known == 0:
		return Chance{Basis: fmt.Sprintf("none of %d forecast members knows these hours", of)}
	}
	passed := 0
	for _, passes := range h.passes {
		if passes {
			passed++
		}
	}
	return Chance{
		Known: true,
		P:     float64(passed+1) / float64(of+2),
		Basis: fmt.Sprintf("%d of %d forecast members", passed, of),
	}
}

// blend mixes a forecast's chance with the climate's.
func blend(forecast, climate Chance, weight float64) Chance {
	percent := math.Round(100 * weight)
	switch percent {
	case 100:
		return forecast
	case 0:
		return climate
	}
	p := weight*forecast.P + (1-weight)*climate.P
	return Chance{Known: true, P: bounded(p), Basis: fmt.Sprintf("%s (weight %.0f%%), %s", forecast.Basis, percent, climate.Basis)}
}

// forecastWeight says how much of a chance is the forecast's by lead time
// [days]: all of it for two days, none after twelve, a straight line between.
// Declared, until chances and what then happened have been kept long enough to
// learn it; that forecasts of single days lose their skill towards ten days is
// common knowledge, no source.
func forecastWeight(lead float64) float64 {
	return min(1, max(0, (leadNone-lead)/(leadNone-leadTrusted)))
}

// ForecastDays is the lead time from which a chance is all the climate's.
const ForecastDays = 12

const (
	leadTrusted = 2.0          // [days] up to which a chance is all the forecast's
	leadNone    = ForecastDays // [days] from which it is all the climate's
)

func bounded(p float64) float64 { return min(mostChance, max(leastChance, p)) }

// Errors of a single run, declared. The wind's comes from a national service's
// statement that 92% of its next-day forecasts are within 5 knots: a standard
// deviation of 2.57 / 1.75 = 1.47 m/s at one day. Its growth with lead time,
// the gust's larger error, and the figures for rain and temperature are ours.
const (
	windError       = 1.20 // [m/s] at no lead, 1.47 at one day
	windErrorPerDay = 0.27 // [m/s]
	gustErrorTimes  = 1.5
	tempError       = 1.5  // [K] at no lead
	tempErrorPerDay = 0.3  // [K]
	dryIsDry        = 0.92 // a dry window turns out dry, at no lead
	wetIsDry        = 0.15 // a wet window turns out dry, at no lead
	perDay          = 0.03 // by which both lose towards each other a day
	stormPasses     = 0.10 // a window with a thunderstorm in it runs all the same
)

// dressedRun gives the chance of a single run: the probability that its worst
// wind and lowest temperature stay on the right side of their limits, given the
// usual error at that lead time, times the probability of rain staying away.
// Within one quantity the worst step decides; steps are not multiplied. Kept
// between 5% and 95%: one run knows no more.
func (o *odds) dressedRun(m *Member, from, to time.Time, lead float64) Chance {
	d := dressing{rules: o.rules, lead: lead, wind: 1, temp: 1, storm: 1}
	eachStep(m, from, to, func(s step) bool { return d.add(s) })
	if d.unknown {
		return Chance{Basis: "the forecast does not know these hours"}
	}
	p := d.wind * d.temp * d.storm * d.dry()
	return Chance{Known: true, P: min(0.95, max(0.05, p)), Basis: fmt.Sprintf("one forecast run, %.0f days ahead", lead)}
}

type dressing struct {
	rules             *rules
	lead              float64
	wind, temp, storm float64
	unknown           bool
	rainStop          bool
	chanceSteps       int // steps with a probability of rain
	steps             int
	rainChance        float64 // the highest of any step
}

// add takes one step in, and gives false when something about it is unknown.
func (d *dressing) add(s step) bool {
	d.steps++
	for i := range d.rules.hourly {
		r := &d.rules.hourly[i]
		if !r.Stop.Known || r.Quantity == Daylight {
			continue
		}
		v, _ := d.rules.read(r, s)
		if !v.Known {
			d.unknown = true
			return false
		}
		d.weigh(r, v.N)
	}
	if c := s.hour().RainChance; c.Known {
		d.chanceSteps++
		d.rainChance = max(d.rainChance, c.N)
	}
	return true
}

func (d *dressing) weigh(r *rule, value float64) {
	wind := windError + windErrorPerDay*d.lead
	switch r.Quantity {
	case WindMean:
		d.wind = min(d.wind, normal((r.Stop.N-value)/(wind*d.rules.factors.mean)))
	case WindGust:
		d.wind = min(d.wind, normal((r.Stop.N-value)/(gustErrorTimes*wind*d.rules.factors.gust)))
	case Temperature:
		d.temp = min(d.temp, normal((value-r.Stop.N)/(tempError+tempErrorPerDay*d.lead)))
	case Rain, RecentRain:
		d.rainStop = d.rainStop || r.level(Is(value)) == Stop
	default:
		if r.level(Is(value)) == Stop {
			d.storm = stormPasses
		}
	}
}

// dry gives the probability that rain does not stop the work.
func (d *dressing) dry() float64 {
	p := max(0.5, dryIsDry-perDay*d.lead)
	if d.rainStop {
		p = min(0.5, wetIsDry+perDay*d.lead)
	}
	if d.chanceSteps == d.steps && d.steps > 0 {
		p = min(p, 1-d.rainChance)
	}
	return p
}

// normal is the standard normal distribution.
func normal(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }
