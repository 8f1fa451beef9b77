package schedule_test

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// wanted makes a job that a customer asks for, with a forecast for its roof.
func wanted(s schedule.Snapshot, n int, p float64) (schedule.Snapshot, schedule.Job) {
	j := house(n)
	s.Outlooks = append(slices.Clone(s.Outlooks), forecast(j, s.FirstDay, s.Days, func(civil.HalfDay) float64 { return p })...)
	return s, j
}

func heldFor(o schedule.Offer, j schedule.Job, until time.Time) schedule.HeldOffer {
	h := schedule.HeldOffer{ID: j.ID, For: "Mr Bird", Job: j, Visits: o.Visits, Until: until, State: schedule.OfferHeld}
	return h
}

// An offer is a sound plan: with its visits in the published plan every rule is
// kept and the plan costs what the offer says, and nothing that is published
// moves. Held, no other offer and no later plan takes its place; taken, the next
// plan has the job just there.
func TestOffersAreKept(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
		offered(t, seed, BuildExample(seed, rapid.IntRange(1, 9).Draw(t, "jobs"), rapid.IntRange(2, 6).Draw(t, "crews"), rapid.IntRange(20, 40).Draw(t, "days")))
	})
}

// In this firm a plan without the job that the customer took would cost less than
// the cheapest with it.
func TestATakenOfferIsNotDroppedForMoney(t *testing.T) {
	t.Parallel()
	offered(t, 0x79d, BuildExample(0x79d, 8, 5, 22))
}

// offered offers places for a job beside a firm's plan, holds the best, plans
// again, and lets the customer take it.
func offered(t rapid.TB, seed uint64, s schedule.Snapshot) {
	p, _, err := schedule.SearchCost(s, 60, seed)
	if err != nil {
		t.Fatal(err)
	}
	s = publish(s, p, 1)
	s.Frozen = 0
	s, j := wanted(s, 90, 0.7)
	s, second := wanted(s, 91, 0.7)
	offers, no, err := schedule.Offers(s, j, 3)
	if err != nil {
		t.Fatal(err)
	}
	if (len(offers) == 0) == (len(no) == 0) {
		t.Fatalf("%d offers, and %v stands in the way", len(offers), no)
	}
	if len(offers) == 0 {
		return
	}
	with := s
	with.Jobs = append(slices.Clone(s.Jobs), j)
	now := schedule.Laid(s, *s.Base)
	for i, o := range offers {
		plan := schedule.Laid(with, *s.Base)
		plan.Visits = append(plan.Visits, o.Visits...)
		plan.Unplanned = slices.DeleteFunc(plan.Unplanned, func(u schedule.Unplanned) bool { return u.Job == j.ID })
		for _, b := range broken(with, plan) {
			t.Errorf("offer %d breaks %s", i, b)
		}
		if more := schedule.Price(with, plan).Total - schedule.Price(s, now).Total; more != o.More {
			t.Errorf("offer %d says %s, it costs %s", i, o.More, more)
		}
		if v := find(schedule.Plan{Visits: o.Visits}, j.ID, schedule.RoofWork); v == nil || v.First().Date() != o.On {
			t.Errorf("offer %d is for %s, its roof work %+v", i, o.On.Short(), v)
		}
		if i > 0 && o.More+o.Wait < offers[i-1].More+offers[i-1].Wait || len(o.Visits) != len(j.Stages) {
			t.Errorf("offer %d costs %s after %s, with %d visits", i, o.More, offers[i-1].More, len(o.Visits))
		}
	}
	best := heldFor(offers[0], j, s.Now.Add(72*time.Hour))
	if free := schedule.StillFree(s, best.Visits); len(free) > 0 {
		t.Errorf("the best offer is not free: %s", free[0].Say())
	}
	held := s
	held.Bookings = slices.Clone(s.Bookings)
	held.Hold([]schedule.HeldOffer{best})
	if free := schedule.StillFree(held, best.Visits); len(free) == 0 {
		t.Error("what is held is free")
	}
	others, _, err := schedule.Offers(held, second, 10)
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range others {
		apart(t, "another offer", o.Visits, best.Visits)
	}
	later, err := schedule.Solve(context.Background(), held, schedule.Stop{Schedules: 60}, seed+1)
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range schedule.Validate(held, later) {
		t.Errorf("planned beside a held offer: %s: %s", b.Rule, b.Say)
	}
	apart(t, "a later plan", later.Visits, best.Visits)
	taken(t, held, best, seed)
}

func apart(t rapid.TB, what string, visits, held []schedule.Visit) {
	for _, v := range visits {
		for _, h := range held {
			if v.Crew != uuid.Nil && v.Crew == h.Crew && slices.ContainsFunc(v.HalfDays, func(at civil.HalfDay) bool { return slices.Contains(h.HalfDays, at) }) {
				t.Errorf("%s has the crew of %s on %s", what, h.Stage, v.First().Short())
			}
		}
	}
}

func taken(t rapid.TB, s schedule.Snapshot, h schedule.HeldOffer, seed uint64) {
	job, pins := h.AsJob("Imogen Thackray", s.Now)
	if job.PromisedOn != h.Done() || !job.PromiseTold {
		t.Errorf("promised is %s, the offer ends on %s", job.PromisedOn.Short(), h.Done().Short())
	}
	s.Jobs = append(slices.Clone(s.Jobs), job)
	s.Pins = append(slices.Clone(s.Pins), pins...)
	s.Bookings = slices.DeleteFunc(slices.Clone(s.Bookings), func(b schedule.Booking) bool { return b.Job == h.ID })
	s.Hold([]schedule.HeldOffer{h})
	p, err := schedule.Solve(context.Background(), s, schedule.Stop{Schedules: 60}, seed+2)
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range schedule.Validate(s, p) {
		t.Errorf("planned with the taken offer: %s: %s", b.Rule, b.Say)
	}
	for _, was := range h.Visits {
		is := find(p, h.ID, was.Stage)
		if was.Crew == uuid.Nil || is == nil {
			continue
		}
		if !slices.Equal(is.HalfDays, was.HalfDays) || is.Crew != was.Crew {
			t.Errorf("%s was offered for %s, the plan has %s", was.Stage, was.First().Short(), is.First().Short())
		}
	}
	if v := find(p, h.ID, schedule.RoofWork); v == nil {
		t.Errorf("the taken job's roof work has no place: %+v", p.Unplanned)
	}
	// Until that plan is published the place is kept from other offers.
	if free := schedule.StillFree(s, h.Visits); len(free) == 0 {
		t.Error("taken and in no published plan, its place is free")
	}
}

func TestOffersRefuse(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s, j := wanted(s, 90, 0.8)
	if _, _, err := schedule.Offers(s, j, 5); err == nil {
		t.Error("offers without a published plan")
	}
	s = publish(s, plan(t, s, 30, 1), 1)
	if _, _, err := schedule.Offers(s, j, 0); err == nil {
		t.Error("no offers asked for, and none refused")
	}
	// Nobody for the roof: there is no place, and it says why.
	s.Crews = s.Crews[1:]
	offers, no, err := schedule.Offers(s, j, 5)
	if err != nil || len(offers) != 0 || len(no) == 0 || no[0].Say() == "" {
		t.Errorf("%d offers, %v, %v", len(offers), no, err)
	}
}

// Where somebody can be reached is whatever was written down: an address, a
// number, or a longer word.
func TestATakenOfferKeepsWhereTheCustomerIsReached(t *testing.T) {
	long := "at work until five, then by his neighbour at number nine, who has the key"
	for contact, want := range map[string][3]string{
		"":                  {},
		"01632 960131":      {"", "01632 960131", ""},
		"bird@mail.example": {"bird@mail.example", "", ""},
		long:                {"", "", "To be reached: " + long},
	} {
		h := schedule.HeldOffer{ID: id(12, 1), For: "Mr Bird", Contact: contact, Job: schedule.Job{Customer: schedule.Customer{Name: "a customer"}}}
		j, _ := h.AsJob("Imogen Thackray", time.Time{})
		if got := [3]string{j.Customer.Email, j.Customer.Phone, j.Note}; got != want || j.Customer.Name != "Mr Bird" {
			t.Errorf("%q became %q of %q", contact, got, j.Customer.Name)
		}
	}
}

// A roof 150 km off costs more to reach than to build, and the offer says so;
// one beside a crew's home does not. The kilometre is priced high here so that
// travel is more than half.
func TestAnOfferSaysWhenTheRoofIsFarOff(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s.Firm.Rates.TravelPerKm = 3_00
	s = publish(s, plan(t, s, 60, 1), 1)
	for north, want := range map[float64]bool{0: false, 1.35: true} { // degrees of latitude, 111 km each
		asked, j := wanted(s, 90, 0.9)
		j.Site.Lat, j.Site.Lon = s.Crews[0].HomeLat+north, s.Crews[0].HomeLon
		offers, no, err := schedule.Offers(asked, j, 1)
		if err != nil || len(offers) == 0 {
			t.Fatalf("no offer: %v, %v", no, err)
		}
		if got := strings.Contains(offers[0].Why, "is travel, on any day"); got != want {
			t.Errorf("%.2f degrees off: %q", north, offers[0].Why)
		}
	}
}
