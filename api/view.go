package api

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/web"
)

// The rooms' types as the pages show them.

func webDay(d civil.Date) web.Day {
	if !d.Known() {
		return ""
	}
	return web.Day(d.String())
}

func webHalf(h civil.HalfDay) web.Half {
	return web.Half{Day: webDay(h.Date()), PM: h.Half() == civil.Afternoon}
}

func webHalves(all []civil.HalfDay) []web.Half { return mapped(all, webHalf) }

func webChance(c weather.Chance) web.Chance {
	return web.Chance{Known: c.Known, P: c.P, Basis: c.Basis}
}

func webNum(v weather.Value) web.Num { return web.Num{N: v.N, Known: v.Known} }

func webSky(v weather.Verdict) web.Sky {
	switch v {
	case weather.Go:
		return web.SkyGo
	case weather.Caution:
		return web.SkyCaution
	case weather.Stop:
		return web.SkyStop
	default:
		return web.SkyUnknown
	}
}

// outdoor tells whether the weather decides over a stage.
func outdoor(k schedule.StageKind) bool { return k.Task().Outdoor() }

func webMark(k schedule.StageKind) web.Mark {
	switch k {
	case schedule.ScaffoldErection:
		return web.MarkErect
	case schedule.ScaffoldStrike:
		return web.MarkStrike
	case schedule.RoofWork:
		return web.MarkOutdoor
	case schedule.FirstFix, schedule.SecondFix:
		return web.MarkIndoor
	case schedule.Commissioning:
		return web.MarkCommission
	default:
		return web.MarkUnknown
	}
}

// outdoorChance is the chance a page shows: indoors there is none to show.
func outdoorChance(v schedule.Visit) web.Chance {
	if !outdoor(v.Stage) {
		return web.Chance{}
	}
	return webChance(v.Chance)
}

func jobHref(ref string) string {
	if ref == "" {
		return ""
	}
	return "/jobs/" + pathPart(ref)
}

// shortPlace is the street of an address: its first line, up to the comma.
func shortPlace(address string) string {
	line, _, _ := strings.Cut(address, "\n")
	street, _, _ := strings.Cut(line, ",")
	return strings.TrimSpace(street)
}

// stamped writes an instant as the firm's clock shows it; "" for none.
func stamped(t time.Time, loc *time.Location) string {
	if t.IsZero() {
		return ""
	}
	return t.In(loc).Format("Mon 2 Jan 15:04")
}

// localTime gives an instant in the firm's zone; the zero time stays zero.
func localTime(t time.Time, loc *time.Location) time.Time {
	if t.IsZero() {
		return t
	}
	return t.In(loc)
}

func planHead(p schedule.Plan, loc *time.Location) web.PlanHead {
	return web.PlanHead{
		Version: p.Version, MadeBy: p.MadeBy, PublishedBy: p.PublishedBy, PublishedAt: stamped(p.PublishedAt, loc),
		Seed: decimal(p.Seed), Schedules: p.Schedules,
	}
}

// webCost groups the lines by item, the dearest item first.
func webCost(c schedule.Cost) web.Cost {
	out := web.Cost{Total: web.Money(c.Total)}
	at := map[schedule.CostItem]int{}
	for _, l := range c.Lines {
		i, ok := at[l.Item]
		if !ok {
			i = len(out.Items)
			at[l.Item] = i
			out.Items = append(out.Items, web.CostItem{Item: string(l.Item)})
		}
		out.Items[i].Amount += web.Money(l.Amount)
		out.Items[i].Lines = append(out.Items[i].Lines, web.CostLine{Amount: web.Money(l.Amount), Why: l.Why})
	}
	slices.SortStableFunc(out.Items, func(a, b web.CostItem) int { return cmp.Compare(b.Amount, a.Amount) })
	return out
}

// webUnplanned lists the stages without a place, first those whose day a person
// fixed.
func webUnplanned(all []schedule.Unplanned, d directory, pins []schedule.Pin) []web.Unplanned {
	list := mapped(all, func(u schedule.Unplanned) web.Unplanned {
		j := d.jobs[u.Job]
		told := slices.ContainsFunc(pins, func(p schedule.Pin) bool { return p.Tells() && p.About(u.Job, u.Stage) })
		return web.Unplanned{Ref: j.Ref, Href: jobHref(j.Ref), Place: shortPlace(j.Site.Address), Stage: u.Stage.String(), Why: u.Why, Told: told}
	})
	slices.SortStableFunc(list, func(a, b web.Unplanned) int {
		switch {
		case a.Told == b.Told:
			return 0
		case a.Told:
			return -1
		}
		return 1
	})
	return list
}

// bookingWords is a booking's state as the office reads it.
func bookingWords(b schedule.Booking) string {
	switch b.State {
	case schedule.BookingWanted, schedule.BookingSent:
		return "asked for, not confirmed yet"
	case schedule.BookingCountered:
		return "other day offered: " + b.OfferedOn.Short()
	case schedule.BookingRefused:
		return "they cannot do " + b.ErectOn.Short() + ": plan again, or ring them"
	case schedule.BookingErected:
		return "standing"
	case schedule.BookingInspected:
		return "standing, inspected"
	case schedule.BookingOffHire:
		return "standing, wanted down " + b.StrikeOn.Short()
	default:
		return b.State.String()
	}
}

// crewPeople names who is in a crew on a day, the lead first.
func crewPeople(c schedule.Crew, d civil.Date) string {
	var lead, others []string
	for _, m := range c.Members {
		switch {
		case !m.On(d):
		case m.Lead:
			lead = append(lead, m.Person.Name+" (lead)")
		default:
			others = append(others, m.Person.Name)
		}
	}
	slices.Sort(others)
	return strings.Join(append(lead, others...), ", ")
}

// inCrew tells whether a person is in a crew on a day, and whether they lead
// it. Whoever is away that day is not in it.
func inCrew(c schedule.Crew, person uuid.UUID, d civil.Date) (in, leads bool) {
	for _, m := range c.Members {
		if m.Person.ID == person && m.On(d) {
			in, leads = true, leads || m.Lead
		}
	}
	return in, leads
}
