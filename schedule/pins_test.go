package schedule_test

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// pinAny fixes something at random, sensible or not.
func pinAny(r *rand.Rand, s schedule.Snapshot, n int) schedule.Pin {
	j := s.Jobs[r.IntN(len(s.Jobs))]
	p := schedule.Pin{ID: id(11, n), Job: j.ID, Kind: schedule.PinKinds[r.IntN(len(schedule.PinKinds))], Stage: schedule.StageKinds[r.IntN(6)],
		On: civil.NoDate, Why: "a test", SetBy: "somebody", SetAt: s.Now}
	if p.Kind == schedule.PinStays || p.Kind == schedule.PinLeftOut || p.Kind == schedule.PinNotBefore && r.IntN(2) == 0 {
		p.Stage = schedule.StageUnknown
	}
	if p.Kind.HasDay() {
		p.On, p.Half = s.FirstDay+civil.Date(r.IntN(s.Days+4)-2), civil.Half(r.IntN(2))
	}
	if p.Kind.HasWho() {
		p.Who = s.Crews[r.IntN(len(s.Crews))].ID
		if p.Stage.Trade() == schedule.ScaffoldTrade {
			p.Who = s.ScaffoldFirms[r.IntN(len(s.ScaffoldFirms))].ID
		}
	}
	return p
}

// Whatever people fix, the plan keeps it or says what stands against it; it
// breaks no rule for a pin, and the search's cost stays the price.
func TestPinsAreKeptOrNamed(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
		r := rand.New(rand.NewPCG(seed, 11))
		s := BuildExample(seed, rapid.IntRange(1, 10).Draw(t, "jobs"), rapid.IntRange(2, 6).Draw(t, "crews"), rapid.IntRange(7, 40).Draw(t, "days"))
		ownRates(r, &s)
		for week := range 3 {
			s.Pins = nil
			for n := range r.IntN(6) {
				s.Pins = append(s.Pins, pinAny(r, s, n))
			}
			p, cost, err := schedule.SearchCost(s, 30, seed)
			if err != nil {
				t.Fatal(err)
			}
			if cost != p.Cost.Total {
				t.Errorf("round %d: the search kept %s, Price says %s", week, cost, p.Cost.Total)
			}
			for _, b := range schedule.Validate(s, p) {
				t.Errorf("round %d: %s: %s; pinned %+v", week, b.Rule, b.Say, s.Pins)
			}
			sentences(t, p)
			states := schedule.PinStates(s, p)
			if len(states) != len(s.Pins) {
				t.Fatalf("%d pins, %d answers", len(s.Pins), len(states))
			}
			for i, st := range states {
				if st.Pin.ID != s.Pins[i].ID || st.Answer == schedule.PinUnknown || len(st.Why) < 8 || !strings.HasSuffix(st.Why, ".") {
					t.Errorf("round %d: %s (%s): %s %q", week, st.Pin.Kind, st.Pin.Stage, st.Answer, st.Why)
				}
			}
			s = live(r, publish(s, p, week+1), 1+r.IntN(5))
		}
	})
}

// pinned is a firm with three houses and one pin on the first.
func pinned(t *testing.T, p schedule.Pin) (schedule.Snapshot, schedule.Plan) {
	t.Helper()
	s := firm(t, 3)
	s.Crews = append(s.Crews, roofCrew(2), sparks(2))
	s.ScaffoldFirms = append(s.ScaffoldFirms, scaffolder(1))
	p.ID, p.Job, p.Why, p.SetBy = id(11, 1), s.Jobs[0].ID, "a test", "somebody"
	s.Pins = []schedule.Pin{p}
	made := plan(t, s, 200, 1)
	mustHold(t, s, made)
	return s, made
}

func TestEachKindOfPinIsKept(t *testing.T) {
	t.Parallel()
	wednesday := firstMonday + 16 // in the third week
	for _, c := range []struct {
		pin  schedule.Pin
		kept func(s schedule.Snapshot, p schedule.Plan) bool
	}{
		{schedule.Pin{Kind: schedule.PinStart, Stage: schedule.RoofWork, On: wednesday, Half: civil.Afternoon}, func(s schedule.Snapshot, p schedule.Plan) bool {
			return find(p, s.Jobs[0].ID, schedule.RoofWork).First() == wednesday.In(civil.Afternoon)
		}},
		{schedule.Pin{Kind: schedule.PinOn, Stage: schedule.FirstFix, On: wednesday}, func(s schedule.Snapshot, p schedule.Plan) bool {
			return find(p, s.Jobs[0].ID, schedule.FirstFix).First().Date() == wednesday
		}},
		{schedule.Pin{Kind: schedule.PinNotBefore, Stage: schedule.Commissioning, On: wednesday}, func(s schedule.Snapshot, p schedule.Plan) bool {
			return find(p, s.Jobs[0].ID, schedule.Commissioning).First().Date() >= wednesday
		}},
		{schedule.Pin{Kind: schedule.PinNotAfter, Stage: schedule.FirstFix, On: firstMonday + 1}, func(s schedule.Snapshot, p schedule.Plan) bool {
			return find(p, s.Jobs[0].ID, schedule.FirstFix).Last().Date() <= firstMonday+1
		}},
		{schedule.Pin{Kind: schedule.PinNotBefore, On: wednesday}, func(s schedule.Snapshot, p schedule.Plan) bool {
			return !slices.ContainsFunc(p.Visits, func(v schedule.Visit) bool { return v.Job == s.Jobs[0].ID && v.First().Date() < wednesday })
		}},
		{schedule.Pin{Kind: schedule.PinBy, Stage: schedule.SecondFix, Who: id(3, 2)}, func(s schedule.Snapshot, p schedule.Plan) bool {
			return find(p, s.Jobs[0].ID, schedule.SecondFix).Crew == id(3, 2)
		}},
		{schedule.Pin{Kind: schedule.PinNotBy, Stage: schedule.RoofWork, Who: id(2, 1)}, func(s schedule.Snapshot, p schedule.Plan) bool {
			return find(p, s.Jobs[0].ID, schedule.RoofWork).Crew == id(2, 2)
		}},
		{schedule.Pin{Kind: schedule.PinBy, Stage: schedule.ScaffoldErection, Who: id(4, 1)}, func(s schedule.Snapshot, p schedule.Plan) bool {
			return find(p, s.Jobs[0].ID, schedule.ScaffoldErection).ScaffoldFirm == id(4, 1) && find(p, s.Jobs[0].ID, schedule.ScaffoldStrike).ScaffoldFirm == id(4, 1)
		}},
		{schedule.Pin{Kind: schedule.PinLeftOut}, func(s schedule.Snapshot, p schedule.Plan) bool {
			return !slices.ContainsFunc(p.Visits, func(v schedule.Visit) bool { return v.Job == s.Jobs[0].ID })
		}},
	} {
		t.Run(string(c.pin.Kind)+" "+c.pin.Stage.Key(), func(t *testing.T) {
			t.Parallel()
			s, p := pinned(t, c.pin)
			states := schedule.PinStates(s, p)
			if !c.kept(s, p) || states[0].Answer != schedule.PinKept {
				t.Errorf("not kept: %s %q", states[0].Answer, states[0].Why)
			}
			if c.pin.Kind == schedule.PinNotAfter { // it is early anyway: put it off by hand
				shift(find(p, s.Jobs[0].ID, c.pin.Stage), 14)
				if !slices.ContainsFunc(schedule.Validate(s, p), func(v schedule.Violation) bool { return v.Rule == "pins are kept" }) {
					t.Error("the validator does not see that a week later is too late")
				}
				return
			}
			free := s
			free.Pins = nil
			if loose := plan(t, free, 200, 1); c.kept(free, loose) {
				t.Error("it is so without the pin too, so this test says nothing")
			} else if slices.ContainsFunc(schedule.Validate(s, loose), func(v schedule.Violation) bool { return v.Rule == "pins are kept" }) == false {
				t.Error("the validator does not see that the plan without the pin breaks it")
			}
		})
	}
}

// A job pinned as published stays in its weeks, however dear.
func TestAJobPinnedAsPublishedStays(t *testing.T) {
	t.Parallel()
	s := firm(t, 4)
	s = publish(s, plan(t, s, 60, 1), 1)
	for i := range s.Jobs {
		s.Jobs[i].PromisedOn = s.FirstDay + 3 // late, all of them
	}
	s.Pins = []schedule.Pin{{ID: id(11, 1), Job: s.Jobs[3].ID, Kind: schedule.PinStays, On: civil.NoDate, Why: "x", SetBy: "y"}}
	s.Jobs[3].PromisedOn, s.Firm.Rates.LatePerDay, s.Firm.Rates.LateTold = s.FirstDay, 2000_00, 2000_00
	p := plan(t, s, 400, 1)
	mustHold(t, s, p)
	for _, was := range s.Base.Visits {
		if is := find(p, was.Job, was.Stage); was.Job == s.Jobs[3].ID && (is == nil || !slices.Equal(is.HalfDays, was.HalfDays)) {
			t.Errorf("%s moved from %s", was.Stage, was.First().Short())
		}
	}
	if st := schedule.PinStates(s, p)[0]; st.Answer != schedule.PinKept {
		t.Errorf("%s: %s", st.Answer, st.Why)
	}
}

// What no pin can do: consents, kit, weather and closed days stand, and the
// clash is named with its number.
func TestAPinGivesWayToFactsAndIsNamed(t *testing.T) {
	t.Parallel()
	day := firstMonday + 9 // a Wednesday
	for _, c := range []struct {
		what   string
		pin    schedule.Pin
		change func(s *schedule.Snapshot)
		says   string
	}{
		{"kit to come", schedule.Pin{Kind: schedule.PinStart, Stage: schedule.SecondFix, On: day}, func(s *schedule.Snapshot) {
			s.Jobs[0].Kit = []schedule.Kit{{Item: "battery", Quantity: 1, DueOn: day, ArrivedOn: civil.NoDate}}
		}, "but the kit (battery) is due on Wed 16 Dec"},
		{"a consent to come", schedule.Pin{Kind: schedule.PinNotAfter, Stage: schedule.Commissioning, On: day}, func(s *schedule.Snapshot) {
			s.Jobs[0].Consents = []schedule.Consent{{Kind: schedule.GridConnection, Stage: schedule.Commissioning, State: schedule.ConsentApplied, ExpectedOn: day + 1, GrantedOn: civil.NoDate}}
		}, "but the consent (grid connection) is expected on Thu 17 Dec"},
		{"a Sunday", schedule.Pin{Kind: schedule.PinOn, Stage: schedule.FirstFix, On: firstMonday + 6}, func(*schedule.Snapshot) {}, "nobody works on Sun 13 Dec"},
		{"unknown weather", schedule.Pin{Kind: schedule.PinStart, Stage: schedule.RoofWork, On: day}, func(s *schedule.Snapshot) {
			chanceOf(s, s.Jobs[0], day.In(civil.Morning), weather.Chance{})
		}, "an unknown chance is never taken as good"},
		{"hopeless weather", schedule.Pin{Kind: schedule.PinStart, Stage: schedule.RoofWork, On: day}, func(s *schedule.Snapshot) {
			chanceOf(s, s.Jobs[0], day.In(civil.Morning), weather.Chance{Known: true, P: 0.02})
		}, "is 2%, and the firm plans on no less than 10%"},
		{"no notice", schedule.Pin{Kind: schedule.PinOn, Stage: schedule.ScaffoldErection, On: firstMonday + 1}, func(*schedule.Snapshot) {}, "Mon 14 Dec is the first day that it can"},
		{"nobody left", schedule.Pin{Kind: schedule.PinNotBy, Stage: schedule.FirstFix, Who: id(3, 1)}, func(*schedule.Snapshot) {}, "nobody else could do first fix"},
	} {
		s := firm(t, 1)
		c.pin.ID, c.pin.Job, c.pin.Why, c.pin.SetBy = id(11, 1), s.Jobs[0].ID, "a test", "somebody"
		c.change(&s)
		s.Pins = []schedule.Pin{c.pin}
		p := plan(t, s, 30, 1)
		mustHold(t, s, p)
		st := schedule.PinStates(s, p)[0]
		if st.Answer != schedule.PinClashes || !strings.Contains(st.Why, c.says) || !strings.Contains(st.Why, "inned") {
			t.Errorf("%s: %s %q, want %q", c.what, st.Answer, st.Why, c.says)
		}
		if find(p, s.Jobs[0].ID, c.pin.Stage) != nil {
			t.Errorf("%s: planned all the same", c.what)
		}
		if charge, _ := lines(p.Cost, schedule.NotPlanned); charge < 500_00 {
			t.Errorf("%s: a plan must not become cheaper by a pin: %s charged", c.what, charge)
		}
	}
}

// A pin frees a published visit of the frozen days: a person's word goes before
// the rule. A booking inside its notice it does not free.
func TestAPinAndWhatStays(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	s = publish(s, plan(t, s, 60, 1), 1)
	fix := find(*s.Base, s.Jobs[0].ID, schedule.FirstFix)
	s.FirstDay = fix.First().Date()
	s.Now = s.FirstDay.At(5, 0, time.UTC)
	s.Pins = []schedule.Pin{{ID: id(11, 1), Job: s.Jobs[0].ID, Kind: schedule.PinNotBefore, Stage: schedule.FirstFix, On: s.FirstDay + 3, Why: "x", SetBy: "y"}}
	p := plan(t, s, 60, 1)
	mustHold(t, s, p)
	if v := find(p, s.Jobs[0].ID, schedule.FirstFix); v == nil || v.First().Date() < s.FirstDay+3 {
		t.Errorf("a frozen visit should go where its pin sends it: %+v", v)
	}
	erect := find(*s.Base, s.Jobs[0].ID, schedule.ScaffoldErection).First().Date()
	s.FirstDay, s.Pins[0].Stage, s.Pins[0].On = erect-3, schedule.ScaffoldErection, erect+7
	s.Now = s.FirstDay.At(5, 0, time.UTC)
	p = plan(t, s, 60, 1)
	mustHold(t, s, p)
	st := schedule.PinStates(s, p)[0]
	if v := find(p, s.Jobs[0].ID, schedule.ScaffoldErection); v == nil || v.First().Date() != erect {
		t.Errorf("an erection booked inside its notice is a fact: %+v", p.Unplanned)
	} else if st.Answer != schedule.PinClashes || !strings.Contains(st.Why, "inside the scaffold firm's notice") {
		t.Errorf("the clash is not named: %s %q", st.Answer, st.Why)
	}
}

// A pin that was set after the plan was made waits for the next one, unless a
// fact stands against it whatever is planned.
func TestAPinSetAfterThePlanWaits(t *testing.T) {
	t.Parallel()
	s := firm(t, 1)
	p := plan(t, s, 60, 1)
	p.MadeAt = s.Now
	day := find(p, s.Jobs[0].ID, schedule.RoofWork).First().Date()
	for want, c := range map[schedule.PinAnswer]struct {
		on    civil.Date
		after time.Duration
		says  string
	}{
		schedule.PinWaits: {day + 7, time.Hour, "set after this plan"},
		schedule.PinKept:  {day, time.Hour, "is planned from"},
	} {
		s.Pins = []schedule.Pin{{ID: id(11, 1), Job: s.Jobs[0].ID, Kind: schedule.PinOn, Stage: schedule.RoofWork, On: c.on, Why: "x", SetBy: "y", SetAt: s.Now.Add(c.after)}}
		if st := schedule.PinStates(s, p)[0]; st.Answer != want || !strings.Contains(st.Why, c.says) {
			t.Errorf("on %s it %s: %s", c.on.Short(), st.Answer, st.Why)
		}
	}
	// Set before, it clashes; and so does a Sunday, which no plan can keep.
	s.Pins[0].On, s.Pins[0].SetAt = day+7, s.Now.Add(-time.Hour)
	if st := schedule.PinStates(s, p)[0]; st.Answer != schedule.PinClashes {
		t.Errorf("set before the plan it %s: %s", st.Answer, st.Why)
	}
	sunday := day + civil.Date(7-day.Weekday())
	s.Pins[0].On, s.Pins[0].SetAt = sunday, s.Now.Add(time.Hour)
	if st := schedule.PinStates(s, p)[0]; st.Answer != schedule.PinClashes || !strings.Contains(st.Why, "nobody works on "+sunday.Short()) {
		t.Errorf("a Sunday %s: %s", st.Answer, st.Why)
	}
}

func TestWhatAPinCanBe(t *testing.T) {
	t.Parallel()
	j := house(1)
	j.Stages = j.Stages[:5] // no strike
	good := schedule.Pin{Kind: schedule.PinStart, Stage: schedule.RoofWork, On: firstMonday, Why: "the road is closed"}
	if err := good.Check(j, schedule.TradeUnknown); err != nil {
		t.Errorf("a good pin: %v", err)
	}
	for field, change := range map[string]func(p *schedule.Pin){
		"kind":  func(p *schedule.Pin) { p.Kind = "never" },
		"stage": func(p *schedule.Pin) { p.Stage = schedule.ScaffoldStrike },
		"day":   func(p *schedule.Pin) { p.On = civil.NoDate },
		"why":   func(p *schedule.Pin) { p.Why = " " },
		"who":   func(p *schedule.Pin) { p.Kind, p.Who = schedule.PinBy, uuid.Nil },
	} {
		p := good
		change(&p)
		if err := p.Check(j, schedule.ElectricalTrade); err == nil || !strings.Contains(err.Error(), field) {
			t.Errorf("%s: %v", field, err)
		}
	}
}
