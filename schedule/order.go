package schedule

import (
	"cmp"
	"slices"
	"strings"

	"toeboard/weather/civil"
)

// order is the order in which crews, scaffold firms and jobs are read. People are
// shown them by name. The search takes them by what they are: among places that
// cost the same the first goes, so a plan would come out otherwise when somebody
// is renamed. By name go only those that differ in nothing of that.
type order struct{ byFacts bool }

func (o order) crews(f *facts) func(a, b *Crew) int {
	days := map[*Crew]string{}
	return func(a, b *Crew) int {
		c := 0
		if o.byFacts {
			c = cmp.Or(cmp.Compare(a.Trade, b.Trade), cmp.Compare(a.HomeLat, b.HomeLat), cmp.Compare(a.HomeLon, b.HomeLon), cmp.Compare(a.HalfDayCost, b.HalfDayCost))
			if c == 0 {
				c = strings.Compare(f.daysOf(a, days), f.daysOf(b, days))
			}
		}
		return cmp.Or(c, strings.Compare(a.Name, b.Name), compareIDs(a.ID, b.ID))
	}
}

// daysOf writes on which days of the plan a crew's lead is there.
func (f *facts) daysOf(c *Crew, known map[*Crew]string) string {
	text, ok := known[c]
	if !ok {
		days := make([]byte, f.s.Days)
		for i := range days {
			if days[i] = '0'; leads(c, f.s.FirstDay+civil.Date(i)) {
				days[i] = '1'
			}
		}
		text = string(days)
		known[c] = text
	}
	return text
}

func (o order) firms(a, b *ScaffoldFirm) int {
	c := 0
	if o.byFacts {
		c = cmp.Or(cmp.Compare(a.VisitPrice, b.VisitPrice), cmp.Compare(a.WeeklyHire, b.WeeklyHire), cmp.Compare(a.IncludedWeeks, b.IncludedWeeks),
			cmp.Compare(a.GangsPerDay, b.GangsPerDay), cmp.Compare(a.Sets, b.Sets), cmp.Compare(a.ErectNotice, b.ErectNotice), cmp.Compare(a.StrikeNotice, b.StrikeNotice),
			cmp.Compare(a.DaysOff, b.DaysOff), cmp.Compare(a.ReachKm, b.ReachKm), cmp.Compare(a.YardLat, b.YardLat), cmp.Compare(a.YardLon, b.YardLon),
			cmp.Compare(a.CancelNotice, b.CancelNotice), cmp.Compare(a.CancelCharge, b.CancelCharge), cmp.Compare(a.GustLimit, b.GustLimit))
	}
	return cmp.Or(c, strings.Compare(a.Name, b.Name), compareIDs(a.ID, b.ID))
}

func (o order) jobs(a, b work) int {
	x, y, c := a.job, b.job, 0
	if o.byFacts {
		c = cmp.Or(cmp.Compare(x.PromisedOn, y.PromisedOn), cmp.Compare(x.ReadyOn, y.ReadyOn), cmp.Compare(x.Site.Lat, y.Site.Lat), cmp.Compare(x.Site.Lon, y.Site.Lon),
			slices.CompareFunc(x.Stages, y.Stages, func(k, l Stage) int {
				return cmp.Or(cmp.Compare(k.Kind, l.Kind), cmp.Compare(k.State, l.State), cmp.Compare(k.HalfDays, l.HalfDays))
			}))
	}
	return cmp.Or(c, strings.Compare(x.Ref, y.Ref), compareIDs(x.ID, y.ID))
}
