package schedule_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// lines gives what a plan costs by item, and the sentences.
func lines(c schedule.Cost, item schedule.CostItem) (sum schedule.Pence, say string) {
	for _, l := range c.Lines {
		if l.Item == item {
			sum += l.Amount
			say += l.Why + "\n"
		}
	}
	return sum, say
}

// one is a firm with one job and a plan of it, made by hand: scaffold up on Mon
// 14 Dec, roof work Tue 15 am to Wed 16 am, first fix Tue 15 am, second fix
// Thu 17 am, commissioning Fri 18 pm, strike Mon 21 am.
func one(t *testing.T) (schedule.Snapshot, schedule.Plan) {
	t.Helper()
	s := firm(t, 1)
	s.Days = 21
	j := s.Jobs[0]
	crew := func(k schedule.StageKind, c uuid.UUID, day int, half civil.Half, n int) schedule.Visit {
		v := schedule.Visit{Job: j.ID, Stage: k, Crew: c}
		for h := civil.On(2026, 12, day).In(half); len(v.HalfDays) < n; h++ {
			v.HalfDays = append(v.HalfDays, h)
		}
		return v
	}
	p := schedule.Plan{FirstDay: s.FirstDay, Days: s.Days, Visits: []schedule.Visit{
		{Job: j.ID, Stage: schedule.ScaffoldErection, ScaffoldFirm: id(4, 0), HalfDays: []civil.HalfDay{civil.On(2026, 12, 14).In(civil.Morning)}},
		crew(schedule.RoofWork, id(2, 1), 15, civil.Morning, 3),
		crew(schedule.FirstFix, id(3, 1), 15, civil.Morning, 1),
		crew(schedule.SecondFix, id(3, 1), 17, civil.Morning, 1),
		crew(schedule.Commissioning, id(3, 1), 18, civil.Afternoon, 1),
		{Job: j.ID, Stage: schedule.ScaffoldStrike, ScaffoldFirm: id(4, 0), HalfDays: []civil.HalfDay{civil.On(2026, 12, 21).In(civil.Morning)}},
	}}
	mustHold(t, s, p)
	return s, p
}

// Each amount is worked out by hand from the formulas of MODEL.md.
func TestPriceWorkedByHand(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		what   string
		item   schedule.CostItem
		change func(s *schedule.Snapshot, p *schedule.Plan)
		want   schedule.Pence
		say    string
	}{
		{"no promise", schedule.Lateness, func(*schedule.Snapshot, *schedule.Plan) {}, 0, ""},
		{"on the promised day", schedule.Lateness, func(s *schedule.Snapshot, _ *schedule.Plan) { s.Jobs[0].PromisedOn = civil.On(2026, 12, 18) }, 0, ""},
		// Mon 14 to Fri 18 December: 14, 15, 16, 17 and 18 are working days after Fri 11.
		{"a week late", schedule.Lateness, func(s *schedule.Snapshot, _ *schedule.Plan) { s.Jobs[0].PromisedOn = civil.On(2026, 12, 11) }, 5 * 60_00, "5 working days"},
		{"a week late, told", schedule.Lateness, func(s *schedule.Snapshot, _ *schedule.Plan) {
			s.Jobs[0].PromisedOn, s.Jobs[0].PromiseTold = civil.On(2026, 12, 11), true
		}, 5 * 90_00, "promised (and told)"},
		// Fri 18 December is the 12th working day after Wed 2: five at 60.00, five at 66.00, two at 72.00.
		{"two weeks late and more", schedule.Lateness, func(s *schedule.Snapshot, _ *schedule.Plan) { s.Jobs[0].PromisedOn = civil.On(2026, 12, 2) },
			5*60_00 + 5*66_00 + 2*72_00, "12 working days after the promised Wed 2 Dec, at £60.00 each in the first week and 10% more in each that follows"},
		{"no growth", schedule.Lateness, func(s *schedule.Snapshot, _ *schedule.Plan) {
			s.Jobs[0].PromisedOn, s.Firm.Rates.LateGrowth = civil.On(2026, 12, 2), 0
		}, 12 * 60_00, "12 working days"},
		// Stands Mon 14 to Mon 21: 8 days. Erection 1, roof work 3, strike 1 half-days: 2.5, so 3 days. 5 idle days.
		{"a scaffold that waits", schedule.ScaffoldIdle, func(*schedule.Snapshot, *schedule.Plan) {}, 5 * 4_00, "for 3 days of work; 5 days of its included weeks stand idle"},
		// One week is included: 7 days less 3; the eighth day is hired.
		{"a scaffold that waits, its week over", schedule.ScaffoldIdle, func(s *schedule.Snapshot, _ *schedule.Plan) { s.ScaffoldFirms[0].IncludedWeeks = 1 }, 4 * 4_00, "4 days"},
		{"nothing included, nothing idle", schedule.ScaffoldIdle, func(s *schedule.Snapshot, _ *schedule.Plan) { s.ScaffoldFirms[0].IncludedWeeks = 0 }, 0, ""},
		{"one electrical crew", schedule.Handovers, func(*schedule.Snapshot, *schedule.Plan) {}, 0, ""},
		{"another crew for second fix", schedule.Handovers, func(s *schedule.Snapshot, p *schedule.Plan) {
			s.Crews = append(s.Crews, sparks(2))
			find(*p, s.Jobs[0].ID, schedule.SecondFix).Crew = id(3, 2)
		}, 2 * 40_00, "Electrical 2"}, // and back again for commissioning
		{"another crew for commissioning", schedule.Handovers, func(s *schedule.Snapshot, p *schedule.Plan) {
			s.Crews = append(s.Crews, sparks(2))
			find(*p, s.Jobs[0].ID, schedule.Commissioning).Crew = id(3, 2)
		}, 40_00, "Electrical 2"},
		{"a first fix that is done, by whom the published plan says", schedule.Handovers, func(s *schedule.Snapshot, p *schedule.Plan) {
			basedOn(s, p, schedule.FirstFix, -20)
			s.Crews = append(s.Crews, sparks(2))
			s.Base.Visits[2].Crew = id(3, 2)
			st := &s.Jobs[0].Stages[2]
			st.State, st.DoneOn = schedule.StateDone, firstMonday-3
			p.Visits = slices.Delete(p.Visits, 2, 3)
		}, 40_00, "first fix is done by Electrical 2, second fix by Electrical 1"},
		{"a week without Saturdays", schedule.Overtime, func(*schedule.Snapshot, *schedule.Plan) {}, 0, ""},
		// Roof work on Thu 17, Fri 18 and Sat 19 am: 260.00 x 150 %.
		{"a Saturday", schedule.Overtime, func(s *schedule.Snapshot, p *schedule.Plan) {
			s.Firm.Rates.OvertimePercent = 150
			find(*p, s.Jobs[0].ID, schedule.RoofWork).HalfDays = []civil.HalfDay{civil.On(2026, 12, 18).In(civil.Morning),
				civil.On(2026, 12, 18).In(civil.Afternoon), civil.On(2026, 12, 19).In(civil.Morning)}
		}, 390_00, "1 half-day on Saturdays, each at 150% of £260.00"},
		// Not commissioned: to the last day, Sun 27 December; 21 to 24 are working days after Fri 18, Christmas Day is none.
		{"never", schedule.Lateness, func(s *schedule.Snapshot, p *schedule.Plan) {
			s.Jobs[0].PromisedOn = civil.On(2026, 12, 18)
			drop(p, s.Jobs[0].ID, schedule.Commissioning)
		}, 4 * 60_00, "4 working days"},
		{"left out", schedule.NotPlanned, func(s *schedule.Snapshot, p *schedule.Plan) { drop(p, s.Jobs[0].ID, schedule.Commissioning) }, 500_00, "commissioning"},
		{"left out since it cannot be", schedule.NotPlanned, func(s *schedule.Snapshot, p *schedule.Plan) {
			drop(p, s.Jobs[0].ID, schedule.Commissioning)
			s.Jobs[0].Consents = []schedule.Consent{{Kind: schedule.GridConnection, Stage: schedule.Commissioning, State: schedule.ConsentApplied, ExpectedOn: civil.NoDate, GrantedOn: civil.NoDate}}
		}, 0, ""},
		// An erection left out still has its scaffold to pay for.
		{"no scaffold", schedule.NotPlanned, func(s *schedule.Snapshot, p *schedule.Plan) {
			for _, k := range []schedule.StageKind{schedule.ScaffoldErection, schedule.RoofWork, schedule.ScaffoldStrike, schedule.Commissioning} {
				drop(p, s.Jobs[0].ID, k)
			}
		}, 4*500_00 + 800_00, "still to be paid"},
		// From Sat 19 December on a half-day counts 0.2: three half-days of roof work and a half, each with 0.8 / 0.2 lost, 3.5 x 4 x 220.00, which is more than 500.00.
		{"no scaffold in winter", schedule.NotPlanned, func(s *schedule.Snapshot, p *schedule.Plan) {
			sky(s, 0, weather.PanelCarrying, func(civil.HalfDay) weather.Chance { return known(0.2) })
			s.Days = 30
			for _, k := range []schedule.StageKind{schedule.ScaffoldErection, schedule.RoofWork, schedule.ScaffoldStrike, schedule.Commissioning} {
				drop(p, s.Jobs[0].ID, k)
			}
		}, 3*500_00 + 3080_00 + 800_00, "the weather of its 3 half-days of work, which would cost less in any place of the plan, is still to come"},
		{"erect and strike", schedule.ScaffoldVisits, func(*schedule.Snapshot, *schedule.Plan) {}, 800_00, "Northgate"},
		{"within the included weeks", schedule.ScaffoldHire, func(*schedule.Snapshot, *schedule.Plan) {}, 0, ""},
		// Mon 14 to Mon 21 December, both inclusive: 8 days, 2 weeks begun, 1 included.
		{"a second week", schedule.ScaffoldHire, func(s *schedule.Snapshot, _ *schedule.Plan) { s.ScaffoldFirms[0].IncludedWeeks = 1 }, 45_00, "2 weeks begun"},
		// To Sun 20 December: exactly 7 days, one week.
		{"seven days are one week", schedule.ScaffoldHire, func(s *schedule.Snapshot, p *schedule.Plan) {
			s.ScaffoldFirms[0].IncludedWeeks = 1
			p.Visits[5].HalfDays[0] -= 2
		}, 0, ""},
		// Erection and strike at 0.8: 2 x 0.2 x 180; roof work 3 x 0.2 x 220.
		{"weather", schedule.WeatherRisk, func(*schedule.Snapshot, *schedule.Plan) {}, 2*36_00 + 3*44_00, "80%"},
		// Three half-days on two days: 0.8 x 0.8 that both are fit.
		{"what the chances are of", schedule.WeatherRisk, func(*schedule.Snapshot, *schedule.Plan) {}, 2*36_00 + 3*44_00,
			"chance of fit weather 80%, 80%, 80%, one half-day after the other, at £220.00 a lost half-day; 64% that all are fit, the worse half of each day multiplied."},
		{"unknown weather counts as none", schedule.WeatherRisk, func(s *schedule.Snapshot, _ *schedule.Plan) { s.Outlooks = nil }, 2*180_00 + 3*220_00, "unknown"},
		{"published elsewhere, near", schedule.Moved, func(s *schedule.Snapshot, p *schedule.Plan) { basedOn(s, p, schedule.FirstFix, -2*4) }, 90_00, "first fix"}, // Fri 11, within a week of Mon 7
		// Thu 17 to Tue 15, 8 days after Mon 7: 20 of the 21 steps from 28 days to 7. 25.00 + 65.00 x 20/21 = 86.90.
		{"published elsewhere, a step further", schedule.Moved, func(s *schedule.Snapshot, p *schedule.Plan) { basedOn(s, p, schedule.FirstFix, 2*2) }, 86_90, "first fix"},
		// Read on Sat 21 November, Tue 15 is 24 days off: 4 of 21 steps. 25.00 + 65.00 x 4/21 = 37.38.
		{"published elsewhere, farther", schedule.Moved, func(s *schedule.Snapshot, p *schedule.Plan) {
			s.Now = civil.On(2026, 11, 21).At(7, 0, time.UTC)
			basedOn(s, p, schedule.FirstFix, 2*2)
		}, 37_38, "first fix"},
		{"published elsewhere, far", schedule.Moved, func(s *schedule.Snapshot, p *schedule.Plan) {
			s.Now = civil.On(2026, 11, 10).At(7, 0, time.UTC)
			basedOn(s, p, schedule.FirstFix, 2*2)
		}, 25_00, "first fix"}, // 35 days off
		{"a day that the customer confirmed", schedule.Moved, func(s *schedule.Snapshot, p *schedule.Plan) {
			basedOn(s, p, schedule.FirstFix, 2*2)
			s.Jobs[0].Confirmed = []schedule.Confirmation{{Stage: schedule.FirstFix, On: civil.On(2026, 12, 17)}}
		}, 86_90 + 150_00, "confirmed"},
		{"a day confirmed that is not the published one", schedule.Moved, func(s *schedule.Snapshot, p *schedule.Plan) {
			basedOn(s, p, schedule.FirstFix, 2*2)
			s.Jobs[0].Confirmed = []schedule.Confirmation{{Stage: schedule.FirstFix, On: civil.On(2026, 12, 16)}}
		}, 86_90, "first fix"},
		{"published as it is", schedule.Moved, func(s *schedule.Snapshot, p *schedule.Plan) { basedOn(s, p, schedule.FirstFix, 0) }, 0, ""},
		{"published with another crew", schedule.Moved, func(s *schedule.Snapshot, p *schedule.Plan) {
			basedOn(s, p, schedule.FirstFix, 0)
			s.Base.Visits[2].Crew = id(3, 9)
		}, 86_90, "nobody known"},
		// Another crew on the day that the customer confirmed is the same day.
		{"another crew on the confirmed day", schedule.Moved, func(s *schedule.Snapshot, p *schedule.Plan) {
			basedOn(s, p, schedule.FirstFix, 0)
			s.Base.Visits[2].Crew = id(3, 9)
			s.Jobs[0].Confirmed = []schedule.Confirmation{{Stage: schedule.FirstFix, On: civil.On(2026, 12, 15)}}
		}, 86_90, "nobody known"},
		{"agreed for another day", schedule.Moved, func(s *schedule.Snapshot, _ *schedule.Plan) {
			s.Bookings = []schedule.Booking{{ID: id(7, 1), Job: s.Jobs[0].ID, ScaffoldFirm: id(4, 0), UID: "1", State: schedule.BookingConfirmed,
				ErectOn: civil.On(2026, 12, 15), StrikeOn: civil.On(2026, 12, 21), OfferedOn: civil.NoDate}}
		}, 120_00, "Northgate"},
		// A scaffold that stands since Mon 30 November, before any plan: its strike is
		// agreed with who took it in, the plan has Mon 21.
		{"the strike of a standing scaffold", schedule.Moved, func(s *schedule.Snapshot, _ *schedule.Plan) { standing(s, civil.On(2026, 12, 22)) }, 120_00,
			"scaffold strike on Mon 21 Dec is not what was agreed with Northgate"},
		{"the strike of a standing scaffold on its day", schedule.Moved, func(s *schedule.Snapshot, _ *schedule.Plan) { standing(s, civil.On(2026, 12, 21)) }, 0, ""},
		{"a strike that had no day", schedule.Moved, func(s *schedule.Snapshot, p *schedule.Plan) {
			standing(s, civil.On(2026, 12, 22))
			basedOn(s, p, schedule.FirstFix, 0)
			drop(s.Base, s.Jobs[0].ID, schedule.ScaffoldStrike)
		}, 0, ""},
		{"asked for another day, not agreed", schedule.Moved, func(s *schedule.Snapshot, _ *schedule.Plan) {
			s.Bookings = []schedule.Booking{{ID: id(7, 1), Job: s.Jobs[0].ID, ScaffoldFirm: id(4, 0), UID: "1", State: schedule.BookingSent,
				ErectOn: civil.On(2026, 12, 15), StrikeOn: civil.On(2026, 12, 22), OfferedOn: civil.NoDate}}
		}, 0, ""},
	} {
		t.Run(c.what, func(t *testing.T) {
			t.Parallel()
			s, p := one(t)
			c.change(&s, &p)
			cost := schedule.Price(s, p)
			got, say := lines(cost, c.item)
			if got != c.want {
				t.Errorf("%s costs %s, by hand %s\n%s", c.item, got, c.want, say)
			}
			if !strings.Contains(say, c.say) {
				t.Errorf("%q is not in %q", c.say, say)
			}
			total := schedule.Pence(0)
			for _, l := range cost.Lines {
				total += l.Amount
			}
			if total != cost.Total {
				t.Errorf("lines sum to %s, total %s", total, cost.Total)
			}
		})
	}
}

// standing makes the first job's scaffold stand, to come down on a day.
func standing(s *schedule.Snapshot, strike civil.Date) {
	s.Bookings = []schedule.Booking{{ID: id(7, 1), Job: s.Jobs[0].ID, ScaffoldFirm: id(4, 0), UID: "1", State: schedule.BookingErected,
		ErectOn: civil.On(2026, 11, 30), StrikeOn: strike, OfferedOn: civil.NoDate}}
}

// basedOn publishes the plan with one visit some half-days off.
func basedOn(s *schedule.Snapshot, p *schedule.Plan, k schedule.StageKind, by int) {
	base := *p
	base.Visits = append([]schedule.Visit(nil), p.Visits...)
	for i := range base.Visits {
		if base.Visits[i].Stage == k {
			shift(&base.Visits[i], by)
		}
	}
	s.Base = &base
}

// One degree of a great circle on the mean sphere is 6371.0088 km x pi / 180 =
// 111.195 km (IUGG radius; the same figure stands in every haversine table).
func TestTravelOneDegree(t *testing.T) {
	t.Parallel()
	s, p := one(t)
	s.Jobs[0].Site.Lat, s.Jobs[0].Site.Lon = 53, 0
	s.Crews[0].HomeLat, s.Crews[0].HomeLon = 52, 0 // roof work on two days: there and back twice
	s.Crews[1].HomeLat, s.Crews[1].HomeLon = 53, 0 // lives there
	got, say := lines(schedule.Price(s, p), schedule.Travel)
	const leg = 130_10 // 111.195 km x 1.3 x 90 p = 13009.8 p, rounded
	if got != 4*leg {
		t.Errorf("travel %s, by hand %s: %s", got, schedule.Pence(4*leg), say)
	}
	// A second job on the way round: home, north, east, home on the same day.
	s.Jobs = append(s.Jobs, house(2))
	s.Jobs[1].Site.Lat, s.Jobs[1].Site.Lon = 53, 1
	p.Visits = append(p.Visits, schedule.Visit{Job: s.Jobs[1].ID, Stage: schedule.RoofWork, Crew: id(2, 1), HalfDays: []civil.HalfDay{civil.On(2026, 12, 16).In(civil.Afternoon)}})
	more, _ := lines(schedule.Price(s, p), schedule.Travel)
	// By the spherical law of cosines, which the code does not use: 66.918 km
	// east along 53N, and 130.176 km home from 53N 1E.
	const east, back = 78_29, 152_31
	if want := schedule.Pence(3*leg + east + back); more != want {
		t.Errorf("travel with a second place %s, by hand %s", more, want)
	}
}

func TestIdleFadesOverThePlan(t *testing.T) {
	t.Parallel()
	s, p := one(t)
	// 7 to 27 December 2026: 14 working days, since Christmas Day is none. The
	// electrical crew costs 180.00 a half-day; half of it counts on the first
	// day and a fourteenth less on each that follows: 90.00 x (14-n)/14.
	idle := 0
	busy := map[int]int{6: 1, 8: 1, 9: 1} // Tue 15, Thu 17, Fri 18: one half-day each
	for n := range 14 {
		idle += (2 - busy[n]) * (90_00 * (14 - n) / 14)
	}
	got := schedule.Pence(0)
	for _, l := range schedule.Price(s, p).Lines {
		if l.Item == schedule.IdleCrew && l.Crew == id(3, 1) {
			got = l.Amount
			if !strings.Contains(l.Why, "25 of 28") {
				t.Errorf("%q should count 25 of 28 half-days", l.Why)
			}
		}
	}
	if got != schedule.Pence(idle) {
		t.Errorf("idle %s, by hand %s", got, schedule.Pence(idle))
	}
}

func TestChanceOfAVisit(t *testing.T) {
	t.Parallel()
	s, _ := one(t)
	p := plan(t, s, 20, 1)
	for _, v := range p.Visits {
		outdoors := v.Stage == schedule.RoofWork || v.Stage == schedule.ScaffoldErection || v.Stage == schedule.ScaffoldStrike
		if v.Chance.Known != outdoors {
			t.Errorf("%s: chance known is %t", v.Stage, v.Chance.Known)
		}
		days := map[civil.Date]bool{}
		for _, h := range v.HalfDays {
			days[h.Date()] = true
		}
		want := 1.0 // the lower chance of each day, multiplied
		for range days {
			want *= 0.8
		}
		if outdoors && (v.Chance.P < want-1e-9 || v.Chance.P > want+1e-9) {
			t.Errorf("%s over %d days: chance %v, want %v", v.Stage, len(days), v.Chance.P, want)
		}
	}
	s.Firm.Rates.LeastChance = 0
	for i := range s.Outlooks {
		for k := range s.Outlooks[i].Chances {
			s.Outlooks[i].Chances[k] = weather.Chance{Known: true, P: 0.0001}
		}
	}
	for _, v := range plan(t, s, 20, 1).Visits {
		if v.Chance.Known && (v.Chance.P < 0.001 || v.Chance.P > 0.999) {
			t.Errorf("%s: chance %v should stay away from 0 and 1", v.Stage, v.Chance.P)
		}
	}
}
