package schedule_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// By hand, with one scaffold firm and chances of 80% (fair): within its own gust
// limit half of that is left, 40%, so the erection's weather risk is 60% of £120.00
// (the start value of a lost scaffold visit) instead of 20%, and where the firm
// plans on no less than 50% it is not planned at all. The reason names the limit.
func TestAGustLimitCountsForItsFirm(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s.ScaffoldFirms = slices.Clone(s.ScaffoldFirms)
	s.Firm.Rates.LostScaffoldVisit = 120_00
	risk := func(s schedule.Snapshot) (sum schedule.Pence, said string) {
		t.Helper()
		p := plan(t, s, 60, 1)
		mustHold(t, s, p)
		for _, l := range p.Cost.Lines {
			if l.Item == schedule.WeatherRisk && strings.Contains(l.Why, "scaffold erection") {
				sum, said = l.Amount, l.Why
			}
		}
		return sum, said
	}
	if sum, _ := risk(s); sum != 24_00 {
		t.Errorf("without a limit of its own: %s", sum)
	}
	withGust(&s, 0, 0.5)
	if sum, said := risk(s); sum != 72_00 || !strings.Contains(said, "within Northgate's own limit of 12.5 m/s gust 40%") {
		t.Errorf("within its limit: %s, %s", sum, said)
	}
	s.Firm.Rates.LeastChance = 50
	p := plan(t, s, 60, 1)
	mustHold(t, s, p)
	if v := find(p, s.Jobs[0].ID, schedule.ScaffoldErection); v != nil {
		t.Errorf("planned on 40%%: %+v", v)
	}
	// A second firm without a limit of its own comes instead, though it is dearer.
	dear := scaffolder(1)
	dear.VisitPrice += 100_00
	s.ScaffoldFirms = append(s.ScaffoldFirms, dear)
	p = plan(t, s, 60, 1)
	mustHold(t, s, p)
	v := find(p, s.Jobs[0].ID, schedule.ScaffoldErection)
	if v == nil || v.ScaffoldFirm != dear.ID {
		t.Fatalf("the firm without a limit is not asked: %+v", p.Unplanned)
	}
	clash, err := schedule.MinimalClash(s, p, schedule.Request{Job: s.Jobs[0].ID, Stage: schedule.ScaffoldErection, Who: s.ScaffoldFirms[0].ID})
	if err != nil || !slices.ContainsFunc(clash, func(r schedule.Reason) bool {
		return strings.Contains(r.Say(), "scaffold erection within Northgate's own limit of 12.5 m/s gust is 40%")
	}) {
		t.Errorf("why not the other: %v, %v", clash, err)
	}
	wrong := p
	wrong.Visits = slices.Clone(p.Visits)
	for i := range wrong.Visits {
		if wrong.Visits[i].ScaffoldFirm == dear.ID {
			wrong.Visits[i].ScaffoldFirm = s.ScaffoldFirms[0].ID
		}
	}
	if !slices.ContainsFunc(schedule.Validate(s, wrong), func(v schedule.Violation) bool {
		return v.Rule == "no outdoor work on a chance below the firm's least" && v.Stage == schedule.ScaffoldErection
	}) {
		t.Error("a plan on too small a chance is found sound")
	}
}

// A gust limit of which nobody worked out the chances is not the firm's own: nothing
// is known, and nothing is planned. One half-day that is not known is left alone.
func TestAnUnknownGustIsNeverGood(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s.ScaffoldFirms = slices.Clone(s.ScaffoldFirms)
	s.ScaffoldFirms[0].GustLimit = 12.5
	p := plan(t, s, 30, 1)
	mustHold(t, s, p)
	if v := find(p, s.Jobs[0].ID, schedule.ScaffoldErection); v != nil {
		t.Errorf("planned on nothing: %+v", v)
	}
	withGust(&s, 0, 1)
	free := find(plan(t, s, 30, 1), s.Jobs[0].ID, schedule.ScaffoldErection)
	if free == nil {
		t.Fatal("no erection on 80%")
	}
	for i := range s.Outlooks {
		if o := &s.Outlooks[i]; o.By != uuid.Nil && o.Task == weather.ScaffoldErection {
			for _, h := range []civil.HalfDay{free.First().Date().In(civil.Morning), free.First().Date().In(civil.Afternoon)} {
				o.Chances[h-o.First] = weather.Chance{}
			}
		}
	}
	p = plan(t, s, 30, 1)
	mustHold(t, s, p)
	if v := find(p, s.Jobs[0].ID, schedule.ScaffoldErection); v == nil || v.First().Date() == free.First().Date() {
		t.Errorf("planned on a day that is not known: %+v", v)
	}
}
