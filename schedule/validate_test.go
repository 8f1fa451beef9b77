package schedule_test

import (
	"slices"
	"testing"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// sound is a firm and a plan of it in which nothing is wrong: J-001 to J-006
// are planned whole, J-007 has begun, and a plan was published before.
func sound(t testing.TB) (schedule.Snapshot, schedule.Plan) {
	t.Helper()
	s := firm(t, 7)
	s.Crews = append(s.Crews, roofCrew(2), sparks(2))
	s.ScaffoldFirms = append(s.ScaffoldFirms, scaffolder(1))
	seven := &s.Jobs[6]
	seven.Stages[0].State, seven.Stages[0].StartedOn, seven.Stages[0].DoneOn = schedule.StateDone, firstMonday-7, firstMonday-7
	s.Bookings = []schedule.Booking{{ID: id(7, 7), Job: seven.ID, ScaffoldFirm: id(4, 0), UID: "7@toeboard.invalid", State: schedule.BookingErected,
		ErectOn: firstMonday - 7, StrikeOn: firstMonday + 9, OfferedOn: civil.NoDate}}
	s = publish(s, plan(t, s, 60, 1), 1)
	began := slices.IndexFunc(s.Base.Visits, func(v schedule.Visit) bool { return v.Job == seven.ID && v.Stage == schedule.RoofWork })
	s.FirstDay = s.Base.Visits[began].First().Date()
	if s.Base.Visits[began].First().Half() == civil.Morning {
		s.FirstDay++
	}
	for !schedule.WorkingDay(s.FirstDay, s.Holidays) {
		s.FirstDay++
	}
	s.Now = s.FirstDay.At(7, 0, london(t))
	seven.Stages[1].State, seven.Stages[1].StartedOn = schedule.StateStarted, s.Base.Visits[began].First().Date()
	for _, v := range s.Base.Visits { // what came before is done
		for i := range s.Jobs {
			if s.Jobs[i].ID == v.Job && v.Last() < s.FirstDay.In(civil.Morning) {
				st := &s.Jobs[i].Stages[v.Stage-1]
				st.State, st.StartedOn, st.DoneOn = schedule.StateDone, v.First().Date(), v.Last().Date()
			}
		}
	}
	for _, st := range s.Jobs[2].Stages {
		if st.State != schedule.StatePlanned {
			t.Fatalf("%s of %s has begun, and the table below breaks that job's plan: take another seed for the base plan", st.Kind, s.Jobs[2].Ref)
		}
	}
	p := plan(t, s, 60, 1)
	mustHold(t, s, p)
	for _, j := range s.Jobs[:6] {
		for _, k := range schedule.StageKinds {
			if st, _ := j.Stage(k); st.State == schedule.StatePlanned && find(p, j.ID, k) == nil {
				t.Fatalf("%s of %s is not planned in what should be an easy plan", k, j.Ref)
			}
		}
	}
	return s, p
}

func find(p schedule.Plan, job uuid.UUID, k schedule.StageKind) *schedule.Visit {
	for i := range p.Visits {
		if p.Visits[i].Job == job && p.Visits[i].Stage == k {
			return &p.Visits[i]
		}
	}
	return nil
}

// drop takes a visit out and lists its stage as left out.
func drop(p *schedule.Plan, job uuid.UUID, k schedule.StageKind) {
	p.Visits = slices.DeleteFunc(p.Visits, func(v schedule.Visit) bool { return v.Job == job && v.Stage == k })
	p.Unplanned = append(p.Unplanned, schedule.Unplanned{Job: job, Stage: k, Why: "taken out for a test."})
}

func shift(v *schedule.Visit, by int) {
	v.HalfDays = slices.Clone(v.HalfDays)
	for i := range v.HalfDays {
		v.HalfDays[i] += civil.HalfDay(by)
	}
}

func TestValidateNamesEveryBrokenRule(t *testing.T) {
	t.Parallel()
	const roof, first, second, commission = schedule.RoofWork, schedule.FirstFix, schedule.SecondFix, schedule.Commissioning
	const erect, strike = schedule.ScaffoldErection, schedule.ScaffoldStrike
	for _, c := range []struct {
		what, rule string
		broken     func(s *schedule.Snapshot, p *schedule.Plan)
	}{
		{"another horizon", "the plan's days", func(_ *schedule.Snapshot, p *schedule.Plan) { p.Days++ }},
		{"after the last day", "the plan's days", func(s *schedule.Snapshot, p *schedule.Plan) { shift(find(*p, s.Jobs[1].ID, strike), 2*p.Days) }},
		{"before the first day", "the plan's days", func(s *schedule.Snapshot, p *schedule.Plan) { shift(find(*p, s.Jobs[1].ID, erect), -60) }},
		{"a plan that begins in the past", "the plan's days", func(s *schedule.Snapshot, _ *schedule.Plan) { s.Now = s.Now.AddDate(0, 0, 1) }},
		{"a job nobody knows", "known jobs and stages", func(_ *schedule.Snapshot, p *schedule.Plan) { p.Visits[0].Job = id(5, 999) }},
		{"a closed job", "known jobs and stages", func(s *schedule.Snapshot, _ *schedule.Plan) { s.Jobs[2].State = schedule.JobDone }},
		{"a stage the job has not", "known jobs and stages", func(s *schedule.Snapshot, _ *schedule.Plan) { s.Jobs[2].Stages = s.Jobs[2].Stages[:5] }},
		{"a stage that is done", "known jobs and stages", func(s *schedule.Snapshot, _ *schedule.Plan) {
			s.Jobs[2].Stages[0].State, s.Jobs[2].Stages[0].DoneOn = schedule.StateDone, firstMonday
		}},
		{"left out of a job nobody knows", "known jobs and stages", func(_ *schedule.Snapshot, p *schedule.Plan) {
			p.Unplanned = append(p.Unplanned, schedule.Unplanned{Job: id(5, 999), Stage: roof, Why: "no."})
		}},
		{"twice", "each stage once", func(_ *schedule.Snapshot, p *schedule.Plan) { p.Visits = append(p.Visits, p.Visits[3]) }},
		{"planned and left out", "each stage once", func(s *schedule.Snapshot, p *schedule.Plan) {
			p.Unplanned = append(p.Unplanned, schedule.Unplanned{Job: s.Jobs[2].ID, Stage: first, Why: "no."})
		}},
		{"told and dropped", "what was told is kept", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := *find(*p, s.Jobs[2].ID, commission)
			drop(p, s.Jobs[2].ID, commission)
			s.Pins = append(s.Pins, schedule.Pin{Job: v.Job, Stage: commission, Kind: schedule.PinStart, On: v.First().Date(), Half: v.First().Half(), Why: "told to the customer"})
		}},
		{"forgotten", "every open stage accounted for", func(s *schedule.Snapshot, p *schedule.Plan) {
			drop(p, s.Jobs[2].ID, commission)
			p.Unplanned = p.Unplanned[:len(p.Unplanned)-1]
		}},
		{"left out without a reason", "every open stage accounted for", func(s *schedule.Snapshot, p *schedule.Plan) {
			drop(p, s.Jobs[2].ID, commission)
			p.Unplanned[len(p.Unplanned)-1].Why = " "
		}},
		{"no half-days", "half-days in order", func(s *schedule.Snapshot, p *schedule.Plan) { find(*p, s.Jobs[2].ID, commission).HalfDays = nil }},
		{"out of order", "half-days in order", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := find(*p, s.Jobs[2].ID, roof)
			v.HalfDays = slices.Clone(v.HalfDays)
			slices.Reverse(v.HalfDays)
		}},
		{"too short", "as long as the stage", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := find(*p, s.Jobs[2].ID, roof)
			v.HalfDays = v.HalfDays[:2]
		}},
		{"too long", "as long as the stage", func(s *schedule.Snapshot, _ *schedule.Plan) { s.Jobs[2].Stages[1].HalfDays = 2 }},
		{"a started stage longer than what is left", "as long as the stage", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := find(*p, s.Jobs[6].ID, roof)
			v.HalfDays = append(slices.Clone(v.HalfDays), v.Last()+1)
		}},
		{"nobody", "who does it", func(s *schedule.Snapshot, p *schedule.Plan) { find(*p, s.Jobs[2].ID, roof).Crew = uuid.Nil }},
		{"a crew and a scaffold firm", "who does it", func(s *schedule.Snapshot, p *schedule.Plan) { find(*p, s.Jobs[2].ID, roof).ScaffoldFirm = id(4, 0) }},
		{"a crew that is no more", "who does it", func(s *schedule.Snapshot, _ *schedule.Plan) {
			for i := range s.Crews {
				s.Crews[i].Active = false
			}
		}},
		{"a scaffold firm that is no more", "who does it", func(s *schedule.Snapshot, _ *schedule.Plan) {
			s.ScaffoldFirms[0].Active, s.ScaffoldFirms[1].Active = false, false
		}},
		{"a scaffold firm nobody knows", "who does it", func(s *schedule.Snapshot, p *schedule.Plan) { find(*p, s.Jobs[2].ID, erect).ScaffoldFirm = id(4, 9) }},
		{"roofers at the meter", "a crew of the trade", func(s *schedule.Snapshot, p *schedule.Plan) {
			find(*p, s.Jobs[2].ID, second).Crew = find(*p, s.Jobs[2].ID, roof).Crew
		}},
		{"a holiday", "working days only", func(s *schedule.Snapshot, p *schedule.Plan) {
			s.Holidays = append(s.Holidays, schedule.Holiday{Day: find(*p, s.Jobs[2].ID, second).First().Date()})
		}},
		{"a Sunday", "working days only", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := find(*p, s.Jobs[2].ID, commission)
			shift(v, 2*(7-int(v.First().Date().Weekday())))
		}},
		{"the lead on leave", "a competent lead present", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := find(*p, s.Jobs[2].ID, roof)
			away(s, v.Crew, v.First().Date())
		}},
		{"the lead's competence lapsed", "a competent lead present", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := find(*p, s.Jobs[2].ID, roof)
			for i := range s.Crews {
				if s.Crews[i].ID == v.Crew {
					s.Crews[i].Members[0].Skills[0].Until = v.Last().Date() - 1
				}
			}
		}},
		{"competent, but not the lead", "a competent lead present", func(s *schedule.Snapshot, _ *schedule.Plan) { s.Crews[0].Members[0].Lead = false }},
		{"the lead has left the firm", "a competent lead present", func(s *schedule.Snapshot, _ *schedule.Plan) { s.Crews[0].Members[0].Person.Active = false }},
		{"a hole in the middle", "one visit without gaps", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := find(*p, s.Jobs[2].ID, roof)
			v.HalfDays = []civil.HalfDay{v.HalfDays[0], v.HalfDays[1], v.HalfDays[2] + 2}
		}},
		{"in two places", "one crew, one place", func(s *schedule.Snapshot, p *schedule.Plan) {
			a, b := find(*p, s.Jobs[2].ID, commission), find(*p, s.Jobs[3].ID, commission)
			a.Crew, a.HalfDays = b.Crew, b.HalfDays
		}},
		{"more erections than gangs", "gangs a day", func(s *schedule.Snapshot, _ *schedule.Plan) {
			s.ScaffoldFirms[0].GangsPerDay, s.ScaffoldFirms[1].GangsPerDay = 0, 0
		}},
		{"a gang that another job's booking has", "gangs a day", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := find(*p, s.Jobs[2].ID, erect)
			for n := range 2 {
				s.Bookings = append(s.Bookings, schedule.Booking{ID: id(7, 90+n), Job: id(5, 90+n), ScaffoldFirm: v.ScaffoldFirm, UID: "x",
					State: schedule.BookingSent, ErectOn: v.First().Date(), StrikeOn: v.First().Date() + 3})
			}
		}},
		{"more scaffolds than sets", "sets standing", func(s *schedule.Snapshot, _ *schedule.Plan) {
			s.ScaffoldFirms[0].Sets, s.ScaffoldFirms[1].Sets = 0, 0
		}},
		{"roof work before the scaffold", "order of stages", func(s *schedule.Snapshot, p *schedule.Plan) {
			v, up := find(*p, s.Jobs[2].ID, roof), find(*p, s.Jobs[2].ID, erect)
			v.HalfDays = []civil.HalfDay{up.First(), up.First() + 1, up.First() + 2}
		}},
		{"strike in the half-day in which roof work ends", "order of stages", func(s *schedule.Snapshot, p *schedule.Plan) {
			find(*p, s.Jobs[2].ID, strike).HalfDays = []civil.HalfDay{find(*p, s.Jobs[2].ID, roof).Last()}
		}},
		{"commissioned before second fix", "order of stages", func(s *schedule.Snapshot, p *schedule.Plan) {
			find(*p, s.Jobs[2].ID, commission).HalfDays = []civil.HalfDay{find(*p, s.Jobs[2].ID, second).First()}
		}},
		{"second fix without the first", "order of stages", func(s *schedule.Snapshot, p *schedule.Plan) { drop(p, s.Jobs[2].ID, first) }},
		{"on the day on which the stage before is done", "order of stages", func(s *schedule.Snapshot, p *schedule.Plan) {
			st := &s.Jobs[2].Stages[2]
			st.State, st.DoneOn = schedule.StateDone, find(*p, s.Jobs[2].ID, second).First().Date()
			p.Visits = slices.DeleteFunc(p.Visits, func(v schedule.Visit) bool { return v.Job == s.Jobs[2].ID && v.Stage == first })
		}},
		{"up for ever", "scaffold from erection to strike", func(s *schedule.Snapshot, p *schedule.Plan) { drop(p, s.Jobs[2].ID, strike) }},
		{"up for nothing", "scaffold from erection to strike", func(s *schedule.Snapshot, p *schedule.Plan) { drop(p, s.Jobs[2].ID, roof) }},
		{"nothing to strike", "scaffold from erection to strike", func(s *schedule.Snapshot, p *schedule.Plan) { drop(p, s.Jobs[2].ID, erect) }},
		{"another firm strikes", "one scaffold firm a job", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := find(*p, s.Jobs[2].ID, strike)
			v.ScaffoldFirm = other2(v.ScaffoldFirm)
		}},
		{"another firm strikes what stands", "one scaffold firm a job", func(s *schedule.Snapshot, p *schedule.Plan) {
			find(*p, s.Jobs[6].ID, strike).ScaffoldFirm = id(4, 1)
		}},
		{"not ready", "not before the job is ready", func(s *schedule.Snapshot, p *schedule.Plan) {
			s.Jobs[2].ReadyOn = find(*p, s.Jobs[2].ID, commission).First().Date() + 1
		}},
		{"consent refused", "not before the consent", func(s *schedule.Snapshot, _ *schedule.Plan) {
			s.Jobs[2].Consents = []schedule.Consent{{Kind: schedule.Landlord, Stage: roof, State: schedule.ConsentRefused, ExpectedOn: civil.NoDate, GrantedOn: civil.NoDate}}
		}},
		{"consent without a day", "not before the consent", func(s *schedule.Snapshot, _ *schedule.Plan) {
			s.Jobs[2].Consents = []schedule.Consent{{Kind: schedule.Landlord, Stage: roof, State: schedule.ConsentApplied, ExpectedOn: civil.NoDate, GrantedOn: civil.NoDate}}
		}},
		{"consent later", "not before the consent", func(s *schedule.Snapshot, p *schedule.Plan) {
			s.Jobs[2].Consents = []schedule.Consent{{Kind: schedule.GridConnection, Stage: commission, State: schedule.ConsentApplied,
				ExpectedOn: find(*p, s.Jobs[2].ID, commission).First().Date() + 1, GrantedOn: civil.NoDate}}
		}},
		{"consent overdue", "not before the consent", func(s *schedule.Snapshot, _ *schedule.Plan) {
			s.Jobs[2].Consents = []schedule.Consent{{Kind: schedule.Landlord, Stage: commission, State: schedule.ConsentApplied, ExpectedOn: s.FirstDay - 1, GrantedOn: civil.NoDate}}
		}},
		{"kit overdue", "not before the kit", func(s *schedule.Snapshot, _ *schedule.Plan) {
			s.Jobs[2].Kit = []schedule.Kit{{Item: "battery", Quantity: 1, DueOn: s.FirstDay - 1, ArrivedOn: civil.NoDate}}
		}},
		{"kit without a day", "not before the kit", func(s *schedule.Snapshot, _ *schedule.Plan) {
			s.Jobs[2].Kit = []schedule.Kit{{Item: "modules", Quantity: 10, DueOn: civil.NoDate, ArrivedOn: civil.NoDate}}
		}},
		{"kit on the day itself", "not before the kit", func(s *schedule.Snapshot, p *schedule.Plan) {
			for i := range s.Jobs[:6] { // the first job whose second fix is still to come
				if v := find(*p, s.Jobs[i].ID, second); v != nil {
					s.Jobs[i].Kit = []schedule.Kit{{Item: "battery", Quantity: 1, DueOn: v.First().Date(), ArrivedOn: civil.NoDate}}
					return
				}
			}
		}},
		{"too little notice to erect", "notice to the scaffold firm", func(s *schedule.Snapshot, p *schedule.Plan) {
			s.Bookings, s.Base = nil, nil
			s.ScaffoldFirms[0].ErectNotice, s.ScaffoldFirms[1].ErectNotice = 20, 20
		}},
		{"too little notice to strike", "notice to the scaffold firm", func(s *schedule.Snapshot, p *schedule.Plan) {
			s.Bookings, s.Base = nil, nil
			s.ScaffoldFirms[0].StrikeNotice, s.ScaffoldFirms[1].StrikeNotice = 25, 25
		}},
		{"a day the scaffold firm refused", "notice to the scaffold firm", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := find(*p, s.Jobs[2].ID, erect)
			s.Bookings = append(slices.DeleteFunc(slices.Clone(s.Bookings), func(b schedule.Booking) bool { return b.Job == s.Jobs[2].ID }),
				schedule.Booking{ID: id(7, 50), Job: s.Jobs[2].ID, ScaffoldFirm: v.ScaffoldFirm, UID: "y", State: schedule.BookingCountered,
					ErectOn: v.First().Date(), StrikeOn: v.First().Date() + 9, OfferedOn: v.First().Date() + 4})
		}},
		{"a day the scaffold firm cannot do", "notice to the scaffold firm", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := find(*p, s.Jobs[2].ID, erect)
			s.Bookings = append(slices.DeleteFunc(slices.Clone(s.Bookings), func(b schedule.Booking) bool { return b.Job == s.Jobs[2].ID }),
				schedule.Booking{ID: id(7, 50), Job: s.Jobs[2].ID, ScaffoldFirm: v.ScaffoldFirm, UID: "y", State: schedule.BookingRefused,
					ErectOn: v.First().Date(), StrikeOn: v.First().Date() + 9, OfferedOn: civil.NoDate})
		}},
		{"sooner than the scaffold firm offers", "notice to the scaffold firm", func(s *schedule.Snapshot, p *schedule.Plan) {
			s.ScaffoldFirms[0].ErectNotice, s.ScaffoldFirms[1].ErectNotice = 0, 0
			v := find(*p, s.Jobs[2].ID, erect)
			s.Bookings = append(slices.DeleteFunc(slices.Clone(s.Bookings), func(b schedule.Booking) bool { return b.Job == s.Jobs[2].ID }),
				schedule.Booking{ID: id(7, 50), Job: s.Jobs[2].ID, ScaffoldFirm: v.ScaffoldFirm, UID: "y", State: schedule.BookingCountered,
					ErectOn: v.First().Date() - 1, StrikeOn: v.First().Date() + 9, OfferedOn: v.First().Date() + 1})
		}},
		{"no outlook", "no outdoor work on an unknown chance", func(s *schedule.Snapshot, _ *schedule.Plan) { s.Outlooks = nil }},
		{"one half-day unknown", "no outdoor work on an unknown chance", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := find(*p, s.Jobs[2].ID, roof)
			for i := range s.Outlooks {
				if o := &s.Outlooks[i]; o.Site == s.Jobs[2].Site.ID && o.Task == weather.PanelCarrying {
					o.Chances[v.HalfDays[1]-o.First] = weather.Chance{}
				}
			}
		}},
		{"one half-day hopeless", "no outdoor work on a chance below the firm's least", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := find(*p, s.Jobs[2].ID, roof)
			for i := range s.Outlooks {
				if o := &s.Outlooks[i]; o.Site == s.Jobs[2].Site.ID && o.Task == weather.PanelCarrying {
					o.Chances[v.HalfDays[1]-o.First].P = 0.099
				}
			}
		}},
		{"a firm that asks for more", "no outdoor work on a chance below the firm's least", func(s *schedule.Snapshot, _ *schedule.Plan) { s.Firm.Rates.LeastChance = 81 }},
		{"a Saturday that nobody pays for", "working days only", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := find(*p, s.Jobs[2].ID, commission)
			shift(v, 2*(6-int(v.First().Date().Weekday())))
		}},
		{"scaffolders on a Saturday", "working days only", func(s *schedule.Snapshot, p *schedule.Plan) {
			s.Firm.Rates.OvertimePercent = 150
			v := find(*p, s.Jobs[2].ID, strike)
			shift(v, 2*(6-int(v.First().Date().Weekday())))
		}},
		{"certain weather", "a chance is above 0 and below 1", func(_ *schedule.Snapshot, p *schedule.Plan) {
			p.Visits[0].Chance = weather.Chance{Known: true, P: 1}
		}},
		{"another crew takes over", "what has started carries on", func(s *schedule.Snapshot, p *schedule.Plan) {
			v := find(*p, s.Jobs[6].ID, roof)
			v.Crew = map[uuid.UUID]uuid.UUID{id(2, 1): id(2, 2), id(2, 2): id(2, 1)}[v.Crew]
		}},
		{"started and put off", "what has started carries on", func(s *schedule.Snapshot, p *schedule.Plan) { shift(find(*p, s.Jobs[6].ID, roof), 14) }},
		{"a frozen visit moved", "frozen days stay as published", func(s *schedule.Snapshot, p *schedule.Plan) {
			for _, v := range s.Base.Visits {
				if v.First() >= s.FirstDay.In(civil.Morning) && v.First().Date() <= s.FirstDay+1 && (v.Stage == first || v.Stage == second || v.Stage == commission) {
					shift(find(*p, v.Job, v.Stage), 14)
					return
				}
			}
		}},
		{"a booking moved inside its notice", "bookings inside their notice stay", func(s *schedule.Snapshot, p *schedule.Plan) {
			s.Frozen = 0
			for i := range s.ScaffoldFirms { // so long a notice that every booking lies inside it
				s.ScaffoldFirms[i].ErectNotice = 20
			}
			for _, b := range s.Bookings {
				if v := find(*p, b.Job, erect); v != nil && b.State == schedule.BookingWanted && b.ErectOn >= s.FirstDay && v.First().Date() == b.ErectOn {
					shift(find(*p, b.Job, erect), 14)
					return
				}
			}
		}},
		{"a false total", "the cost adds up", func(_ *schedule.Snapshot, p *schedule.Plan) { p.Cost.Total++ }},
	} {
		t.Run(c.what, func(t *testing.T) {
			t.Parallel()
			s, p := sound(t)
			c.broken(&s, &p)
			var rules []string
			for _, b := range schedule.Validate(s, p) {
				rules = append(rules, b.Rule)
				if len(b.Say) < 12 {
					t.Errorf("%s says only %q", b.Rule, b.Say)
				}
			}
			if !slices.Contains(rules, c.rule) {
				t.Errorf("%q is not named; named: %q", c.rule, rules)
			}
		})
	}
}

func other2(firm uuid.UUID) uuid.UUID {
	if firm == id(4, 0) {
		return id(4, 1)
	}
	return id(4, 0)
}

func away(s *schedule.Snapshot, crew uuid.UUID, on civil.Date) {
	for i := range s.Crews {
		if s.Crews[i].ID == crew {
			s.Crews[i].Members[0].Absences = append(s.Crews[i].Members[0].Absences, schedule.Absence{From: on, Until: on, Reason: "flu"})
		}
	}
}
