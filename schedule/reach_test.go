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

// One degree of a meridian on a sphere of the mean radius 6371.0088 km (IUGG,
// Moritz 2000) is 6371.0088 x pi / 180 = 111.1951 km.
const kmPerDegree = 111.1951

// north puts a scaffold firm's yard so many km north of a job's site, with a
// reach in km.
func north(f *schedule.ScaffoldFirm, j schedule.Job, km float64, reach int) {
	f.YardLat, f.YardLon, f.ReachKm = j.Site.Lat+km/kmPerDegree, j.Site.Lon, reach
}

func TestTheAreaIsACircleOnTheEarth(t *testing.T) {
	t.Parallel()
	j := house(1)
	for _, c := range []struct {
		km    float64
		reach int
		goes  bool
	}{{29.9, 30, true}, {30.1, 30, false}, {41, 30, false}, {41, 0, true}, {0, 1, true}, {2000, 1000, false}} {
		var f schedule.ScaffoldFirm
		north(&f, j, c.km, c.reach)
		if got := f.GoesTo(weather.Point{Lat: j.Site.Lat, Lon: j.Site.Lon}); got != c.goes {
			t.Errorf("%v km away, goes %d km: %v", c.km, c.reach, got)
		}
	}
}

// Of two scaffold firms the dear one is asked where the cheap one does not go, and
// the plan, the explanation, the clash and the validator say so with number and
// limit.
func TestAScaffoldFirmStaysInItsArea(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	dear := scaffolder(1)
	dear.VisitPrice = s.ScaffoldFirms[0].VisitPrice + 100_00
	s.ScaffoldFirms = append(s.ScaffoldFirms, dear)
	near := plan(t, s, 60, 1)
	if v := find(near, s.Jobs[0].ID, schedule.ScaffoldErection); v == nil || v.ScaffoldFirm != s.ScaffoldFirms[0].ID {
		t.Fatalf("the cheap firm goes anywhere and is not asked: %+v", v)
	}
	north(&s.ScaffoldFirms[0], s.Jobs[0], 41, 30)
	const why = "Northgate's yard is 41 km away, it goes 30 km"
	p := plan(t, s, 60, 1)
	mustHold(t, s, p)
	for _, k := range []schedule.StageKind{schedule.ScaffoldErection, schedule.ScaffoldStrike} {
		if v := find(p, s.Jobs[0].ID, k); v == nil || v.ScaffoldFirm != dear.ID {
			t.Errorf("%s: %+v", k, v)
		}
	}
	if !slices.ContainsFunc(schedule.Validate(s, near), func(v schedule.Violation) bool {
		return v.Rule == "in the scaffold firm's area" && strings.Contains(v.Say, "it is 41.0 km from the yard of Northgate, which goes 30 km")
	}) {
		t.Error("a plan with the far firm is found sound")
	}
	x, err := schedule.Explain(s, p, s.Jobs[0].ID, schedule.ScaffoldErection)
	if err != nil || !slices.ContainsFunc(x.Crews, func(o schedule.Other) bool { return o.Say() == "Northgate cannot do it: "+why+"." }) {
		t.Errorf("why not by the other: %+v, %v", x.Crews, err)
	}
	clash, err := schedule.MinimalClash(s, p, schedule.Request{Job: s.Jobs[0].ID, Stage: schedule.ScaffoldErection, Who: s.ScaffoldFirms[0].ID})
	if err != nil || !slices.ContainsFunc(clash, func(r schedule.Reason) bool { return r.Say() == why && r.Source == "terms of Northgate" }) {
		t.Errorf("asked for the far firm: %v, %v", clash, err)
	}
	s.Pins = []schedule.Pin{{ID: id(8, 1), Job: s.Jobs[0].ID, Stage: schedule.ScaffoldErection, Kind: schedule.PinBy, Who: s.ScaffoldFirms[0].ID, On: civil.NoDate}}
	p = plan(t, s, 60, 1)
	mustHold(t, s, p)
	if i := slices.IndexFunc(p.Unplanned, func(u schedule.Unplanned) bool { return u.Stage == schedule.ScaffoldErection }); i < 0 || !strings.Contains(p.Unplanned[i].Why, why) {
		t.Errorf("pinned to the far firm: %+v", p.Unplanned)
	}
}

// Where nobody goes nothing is planned, and the reason names each. A firm that
// confirmed the booking comes all the same; one that was only asked does not.
func TestNobodyGoesThere(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s = publish(s, plan(t, s, 60, 1), 1)
	s.ScaffoldFirms = slices.Clone(s.ScaffoldFirms)
	north(&s.ScaffoldFirms[0], s.Jobs[0], 41, 30)
	p := plan(t, s, 60, 1)
	mustHold(t, s, p)
	i := slices.IndexFunc(p.Unplanned, func(u schedule.Unplanned) bool { return u.Stage == schedule.ScaffoldErection })
	if i < 0 || p.Unplanned[i].Why != "No scaffold firm goes there: Northgate's yard is 41 km away, it goes 30 km." {
		t.Errorf("asked, outside the area: %+v", p.Unplanned)
	}
	s.Bookings[0].State = schedule.BookingConfirmed
	p = plan(t, s, 60, 1)
	mustHold(t, s, p)
	if v := find(p, s.Jobs[0].ID, schedule.ScaffoldErection); v == nil || v.First().Date() != s.Bookings[0].ErectOn {
		t.Errorf("confirmed, and not planned: %+v", p.Unplanned)
	}
}

// No place is offered where no scaffold firm goes, and the answer says so.
func TestOffersKeepTheArea(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s = publish(s, plan(t, s, 60, 1), 1)
	s, j := wanted(s, 90, 0.9)
	for reach, want := range map[int]bool{30: false, 50: true} {
		s.ScaffoldFirms = slices.Clone(s.ScaffoldFirms)
		north(&s.ScaffoldFirms[0], j, 41, reach)
		offers, no, err := schedule.Offers(s, j, 2)
		if err != nil || len(offers) > 0 != want {
			t.Fatalf("goes %d km: %d offers, %v, %v", reach, len(offers), no, err)
		}
		if !want && !slices.ContainsFunc(no, func(r schedule.Reason) bool {
			return strings.Contains(r.Say(), "Northgate's yard is 41 km away, it goes 30 km")
		}) {
			t.Errorf("the reason is not said: %v", no)
		}
	}
}

// A visit given up inside the cancel notice, by hand: the erection is confirmed for
// a day; two working days before it, with a notice of 3 and a charge of £90, giving
// it up costs the moved booking of £120 (the start value) and £90.
func TestCancellingCosts(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s.ScaffoldFirms[0].ErectNotice = 0
	s = publish(s, plan(t, s, 60, 1), 1)
	b := &s.Bookings[0]
	b.State = schedule.BookingConfirmed
	s.ScaffoldFirms = slices.Clone(s.ScaffoldFirms)
	f := &s.ScaffoldFirms[0]
	f.CancelCharge = 90_00
	given := schedule.Plan{FirstDay: s.FirstDay, Days: s.Days}
	cost := func() (sum schedule.Pence, said string) {
		for _, l := range schedule.Price(s, given).Lines {
			if l.Item == schedule.Moved && l.Stage == schedule.ScaffoldErection && strings.Contains(l.Why, "is agreed with") {
				sum, said = sum+l.Amount, l.Why
			}
		}
		return sum, said
	}
	ahead := 0
	for schedule.AddWorkingDays(s.FirstDay, ahead, s.Holidays) < b.ErectOn {
		ahead++
	}
	for notice, want := range map[int]schedule.Pence{0: 120_00, ahead: 120_00, ahead + 1: 210_00} {
		f.CancelNotice = notice
		sum, said := cost()
		if sum != want || strings.Contains(said, "charges £90.00 of it for a visit given up within") != (want > 120_00) {
			t.Errorf("%d working days before, notice %d: %s, %s", ahead, notice, sum, said)
		}
	}
	f.CancelNotice = ahead + 1
	changes := schedule.Rebook(s, given, s.Bookings, s.Now, uuid.New)
	short := schedule.ShortNotices(changes, s.Jobs, s.ScaffoldFirms, s.Holidays, s.FirstDay)
	if len(short) != 1 || !strings.Contains(short[0].Why, "inside its cancel notice of") || !strings.Contains(short[0].Why, "it charges £") {
		t.Errorf("nobody is asked: %+v", short)
	}
	f.CancelNotice = 0
	if short := schedule.ShortNotices(changes, s.Jobs, s.ScaffoldFirms, s.Holidays, s.FirstDay); len(short) != 0 {
		t.Errorf("no notice runs, and somebody is asked: %+v", short)
	}
}
