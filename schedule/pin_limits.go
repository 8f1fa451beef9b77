package schedule

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"toeboard/weather/civil"
)

// pinFacts is what tells whether a new pin can ever be kept.
type pinFacts struct {
	today    civil.Date // in the firm's zone
	holidays []Holiday
	overtime bool           // Saturdays may be worked
	booked   bool           // the job's scaffold is booked: its day is for the booking to say
	firms    []ScaffoldFirm // who could be asked for a scaffold
	others   []Pin          // live ones
}

// checkAgainst refuses a pin that no plan could ever keep: a day that is over or
// on which nobody works, an erection before anybody's notice, and what contradicts
// another pin of the job. A bound, such as not before, may lie on any day to come.
func (p Pin) checkAgainst(f pinFacts) error {
	c := &bounds{}
	switch {
	case !p.Kind.HasDay():
	case p.On < f.today:
		c.add("day", p.On.String(), f.today.String()+" or later: it is over")
	case (p.Kind == PinStart || p.Kind == PinOn) && !p.workable(f):
		c.add("day", p.On.String(), "a working day: nobody works on "+p.day())
	case (p.Kind == PinStart || p.Kind == PinOn) && p.Stage.Trade() == ScaffoldTrade && f.allOff(p.On):
		c.add("day", p.On.String(), fmt.Sprintf("a day on which a scaffold firm works: none does on %ss", p.On.Weekday()))
	case p.Stage == ScaffoldErection && p.Kind != PinNotBefore && !f.booked:
		if s, first := f.firstErection(); first.Known() && p.On < first {
			c.add("day", p.On.String(), fmt.Sprintf("%s or later: the shortest notice for an erection is %s, of %s", first, workingDays(s.ErectNotice), s.Name))
		}
	}
	for _, o := range f.others {
		if field, value := p.contradicts(o); field != "" {
			c.add(field, value, fmt.Sprintf("one that goes with the pin (%s) on the same job: take that pin away first", o.Why))
			break
		}
	}
	return errors.Join(c.bad...)
}

func (p Pin) workable(f pinFacts) bool {
	saturday := f.overtime && p.Stage.Trade() != ScaffoldTrade && p.On.Weekday() == time.Saturday &&
		!slices.ContainsFunc(f.holidays, func(h Holiday) bool { return h.Day == p.On })
	return saturday || WorkingDay(p.On, f.holidays)
}

// allOff tells whether there are scaffold firms and a day is a day off of each.
func (f pinFacts) allOff(d civil.Date) bool {
	return len(f.firms) > 0 && !slices.ContainsFunc(f.firms, func(s ScaffoldFirm) bool { return s.Works(d) })
}

// firstErection gives the first day that a scaffold firm could still be asked
// for, and whose notice that is; NoDate = there is no scaffold firm.
func (f pinFacts) firstErection() (who ScaffoldFirm, first civil.Date) {
	first = civil.NoDate
	for _, s := range f.firms {
		if on := AddWorkingDays(f.today, s.ErectNotice, f.holidays); !first.Known() || on < first {
			who, first = s, on
		}
	}
	return who, first
}

// contradicts tells which field of a pin leaves a plan no way to keep another,
// too; "" = none.
func (p Pin) contradicts(o Pin) (field, value string) {
	if o.Job != p.Job {
		return "", ""
	}
	lo, hi := p.starts()
	from, to := o.starts()
	alike := p.Stage == o.Stage || p.Stage == StageUnknown || o.Stage == StageUnknown
	yard := p.Stage.Trade() == ScaffoldTrade && o.Stage.Trade() == ScaffoldTrade // one firm does both
	switch {
	case alike && p.Kind.HasDay() && o.Kind.HasDay() && max(lo, from) > min(hi, to):
		return "day", p.On.String()
	case (p.Stage == o.Stage || yard) && p.Kind.HasWho() && o.Kind.HasWho() && p.Kind != o.Kind && p.Who == o.Who,
		yard && p.Kind == PinBy && o.Kind == PinBy && p.Who != o.Who:
		return "who", "for " + p.Stage.String()
	case p.Kind == PinStays && o.Kind == PinLeftOut, p.Kind == PinLeftOut && o.Kind == PinStays:
		return "kind", string(p.Kind)
	}
	return "", ""
}

// starts gives the first and the last half-day in which a stage may start by
// the pin.
func (p Pin) starts() (lo, hi civil.HalfDay) {
	lo, hi = math.MinInt32, math.MaxInt32
	if p.Kind == PinStart {
		return p.On.In(p.Half), p.On.In(p.Half)
	}
	if p.Kind == PinOn || p.Kind == PinNotBefore {
		lo = p.On.In(civil.Morning)
	}
	if p.Kind == PinOn || p.Kind == PinNotAfter {
		hi = p.On.In(civil.Afternoon)
	}
	return lo, hi
}

// day writes the pin's day, with its year when it was set in another.
func (p Pin) day() string {
	if year, _, _ := p.On.Civil(); p.On.Known() && !p.SetAt.IsZero() && year != p.SetAt.Year() {
		return fmt.Sprintf("%s %d", p.On.Short(), year)
	}
	return p.On.Short()
}
