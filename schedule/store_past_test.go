package schedule_test

import (
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// A day keeps the plan that it began with: a plan made in the course of a day
// begins on the next one.
func TestThePlanThatWasInForceOnADay(t *testing.T) {
	s := newScene(t)
	publish := func(base uuid.UUID, first civil.Date, at time.Time) uuid.UUID {
		p, err := s.store.SavePlan(ctx, s.firm, schedule.Plan{Base: base, FirstDay: first, Days: 60, Visits: s.chain(0, 0, dec(10), dec(15)), MadeBy: "Imogen", MadeAt: at})
		s.must(err)
		p, _, err = s.store.Publish(ctx, s.firm, p.ID, "Imogen", at, nil)
		s.must(err)
		return p.ID
	}
	at := func(d civil.Date, hour, minute int) time.Time { return d.At(hour, minute, time.UTC) } // London in December
	early := publish(uuid.Nil, dec(3), at(dec(3), 6, 30))
	fixed := publish(early, dec(3), at(dec(3), 6, 45)) // before the day's work: it begins on that day
	midday := publish(fixed, dec(4), at(dec(3), 10, 15))
	late := publish(midday, dec(4), at(dec(5), 9, 0)) // backdated: nobody worked by it on the 4th
	s.must(func() error {
		_, err := s.store.SavePlan(ctx, s.firm, schedule.Plan{Base: late, FirstDay: dec(3), Days: 60, MadeBy: "x", MadeAt: at(dec(3), 5, 0)})
		return err
	}())
	for _, c := range []struct {
		day  civil.Date
		want uuid.UUID
	}{{dec(3), fixed}, {dec(4), midday}, {dec(5), late}, {dec(20), late}} {
		got, err := s.store.PlanOn(ctx, s.firm, c.day)
		if err != nil || got.ID != c.want || len(got.Visits) == 0 {
			t.Errorf("%s: %v with %d visits, %v; want %v", c.day, got.ID, len(got.Visits), err, c.want)
		}
	}
	_, err := s.store.PlanOn(ctx, s.firm, dec(2))
	wantKind(t, "a day before every plan", err, fault.NotFound)
	_, err = s.store.PlanOn(ctx, s.firm, civil.NoDate)
	wantKind(t, "no day", err, fault.Invalid)
}
