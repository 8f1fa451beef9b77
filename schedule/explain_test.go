package schedule_test

import (
	"strings"
	"testing"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// up marks a job's scaffold as standing since a day, of Northgate.
func up(s *schedule.Snapshot, n int, since civil.Date) {
	st := &s.Jobs[n].Stages[0]
	st.State, st.StartedOn, st.DoneOn = schedule.StateDone, since, since
	s.Bookings = append(s.Bookings, schedule.Booking{ID: id(7, n), Job: s.Jobs[n].ID, ScaffoldFirm: id(4, 0), UID: s.Jobs[n].Ref, State: schedule.BookingErected,
		ErectOn: since, StrikeOn: since + 30, OfferedOn: civil.NoDate})
}

// sky sets the chance of a task at a job by half-day.
func sky(s *schedule.Snapshot, n int, task weather.Task, p func(civil.HalfDay) weather.Chance) {
	for i := range s.Outlooks {
		o := &s.Outlooks[i]
		if o.Site == s.Jobs[n].Site.ID && o.Task == task {
			for k := range o.Chances {
				o.Chances[k] = p(o.First + civil.HalfDay(k))
			}
		}
	}
}

// offers lets the scaffold firm offer another day for the first job.
func offers(s *schedule.Snapshot, asked, offered civil.Date) {
	s.Bookings = []schedule.Booking{{ID: id(7, 1), Job: s.Jobs[0].ID, ScaffoldFirm: id(4, 0), UID: "1", State: schedule.BookingCountered,
		ErectOn: asked, StrikeOn: asked + 9, OfferedOn: offered}}
}

// fairFrom is a chance of p before a day and of 90 % from it on.
func fairFrom(day civil.Date, p float64) func(civil.HalfDay) weather.Chance {
	return func(h civil.HalfDay) weather.Chance {
		if h.Date() < day {
			return known(p)
		}
		return known(0.9)
	}
}

func known(p float64) weather.Chance { return weather.Chance{Known: true, P: p, Basis: "test"} }

func consent(k schedule.StageKind, state schedule.ConsentState, expected civil.Date) schedule.Consent {
	return schedule.Consent{Kind: schedule.GridConnection, Stage: k, State: state, ExpectedOn: expected, GrantedOn: civil.NoDate}
}

// Each case binds one stage in one way; the sentence must name what binds it,
// with its numbers.
func TestWhyNamesWhatBinds(t *testing.T) {
	t.Parallel()
	dec := func(d int) civil.Date { return civil.On(2026, 12, d) }
	for _, c := range []struct {
		what  string
		jobs  int
		stage schedule.StageKind
		start string // "" = it must have no place
		set   func(t *testing.T, s *schedule.Snapshot)
		say   []string
	}{
		{"nothing", 1, schedule.FirstFix, "Mon 7 Dec am", func(*testing.T, *schedule.Snapshot) {}, []string{"plan starts on Mon 7 Dec"}},
		{"notice", 1, schedule.ScaffoldErection, "Mon 14 Dec am", func(*testing.T, *schedule.Snapshot) {},
			[]string{"Northgate needs 5 working days' notice", "Mon 14 Dec"}},
		{"the stage before", 1, schedule.RoofWork, "Mon 14 Dec pm", func(*testing.T, *schedule.Snapshot) {},
			[]string{"Northgate needs 5 working days' notice", "Mon 14 Dec am"}},
		{"strike after roof work", 1, schedule.ScaffoldStrike, "Wed 16 Dec am", func(*testing.T, *schedule.Snapshot) {}, []string{"oof work ends on Tue 15 Dec pm"}},
		{"weather", 1, schedule.RoofWork, "Thu 10 Dec am", func(_ *testing.T, s *schedule.Snapshot) {
			up(s, 0, firstMonday-3)
			sky(s, 0, weather.PanelCarrying, func(h civil.HalfDay) weather.Chance {
				if h.Date() < dec(10) {
					return known(0.38)
				}
				return known(0.9)
			})
		}, []string{"14% chance of fit weather throughout roof work from Mon 7 Dec am", "81% from Thu 10 Dec am"}}, // 0.38 x 0.38 and 0.9 x 0.9: the lower of each day
		{"weather that is hardly fit", 1, schedule.RoofWork, "Thu 10 Dec am", func(_ *testing.T, s *schedule.Snapshot) {
			up(s, 0, firstMonday-3)
			s.Firm.Rates.LeastChance = 0
			sky(s, 0, weather.PanelCarrying, fairFrom(dec(10), 0.03)) // 0.0009 over two days
		}, []string{"Under 1% chance of fit weather throughout roof work from Mon 7 Dec am"}},
		{"weather below the least chance", 1, schedule.RoofWork, "Thu 10 Dec am", func(_ *testing.T, s *schedule.Snapshot) {
			up(s, 0, firstMonday-3)
			sky(s, 0, weather.PanelCarrying, fairFrom(dec(10), 0.09))
		}, []string{"the chance of weather for roof work on Wed 9 Dec pm is 9%, and the firm plans on no less than 10%"}},
		{"weather at the least chance", 1, schedule.RoofWork, "Thu 10 Dec am", func(_ *testing.T, s *schedule.Snapshot) {
			up(s, 0, firstMonday-3)
			sky(s, 0, weather.PanelCarrying, fairFrom(dec(10), 0.1))
		}, []string{"1% chance of fit weather throughout roof work from Mon 7 Dec am", "81% from Thu 10 Dec am"}}, // 0.1 x 0.1
		{"no weather for the scaffold", 1, schedule.RoofWork, "Thu 17 Dec pm", func(_ *testing.T, s *schedule.Snapshot) {
			sky(s, 0, weather.ScaffoldErection, fairFrom(dec(17), 0.09))
		}, []string{"he chance of weather for scaffold erection on Wed 16 Dec pm is 9%, and the firm plans on no less than 10%, so a scaffold is up on Thu 17 Dec am at the soonest"}},
		{"kit", 1, schedule.RoofWork, "Wed 16 Dec am", func(_ *testing.T, s *schedule.Snapshot) {
			s.Jobs[0].Kit = []schedule.Kit{{Item: "battery", Quantity: 1, DueOn: dec(15), ArrivedOn: civil.NoDate}}
		}, []string{"battery", "Tue 15 Dec"}},
		{"ready", 1, schedule.FirstFix, "Fri 18 Dec am", func(_ *testing.T, s *schedule.Snapshot) { s.Jobs[0].ReadyOn = dec(18) }, []string{"ready on Fri 18 Dec"}},
		{"consent", 1, schedule.Commissioning, "Tue 22 Dec am", func(_ *testing.T, s *schedule.Snapshot) {
			s.Jobs[0].Consents = []schedule.Consent{consent(schedule.Commissioning, schedule.ConsentApplied, dec(22))}
		}, []string{"grid connection", "expected on Tue 22 Dec"}},
		{"the crew elsewhere", 2, schedule.FirstFix, "Thu 10 Dec am", func(_ *testing.T, s *schedule.Snapshot) {
			s.Jobs = s.Jobs[:2]
			s.Jobs[1].Stages = []schedule.Stage{{Kind: schedule.Commissioning, HalfDays: 6, State: schedule.StateStarted, StartedOn: firstMonday - 3, DoneOn: civil.NoDate}}
		}, []string{"no electrical crew is free sooner", "Electrical 1 is at J-002 until Wed 9 Dec pm"}},
		{"the lead away", 1, schedule.FirstFix, "Wed 9 Dec am", func(_ *testing.T, s *schedule.Snapshot) {
			s.Crews[1].Members[0].Absences = []schedule.Absence{{From: dec(7), Until: dec(8), Reason: "leave"}}
		}, []string{"no electrical crew is free sooner", "the lead of Electrical 1 is away on Tue 8 Dec"}},
		{"begun", 1, schedule.RoofWork, "Mon 7 Dec am", func(_ *testing.T, s *schedule.Snapshot) {
			up(s, 0, firstMonday-7)
			s.Jobs[0].Stages[1].State, s.Jobs[0].Stages[1].StartedOn = schedule.StateStarted, dec(4)
		}, []string{"In progress since Fri 4 Dec", "Roof 1"}},
		{"booked", 1, schedule.ScaffoldErection, "Wed 9 Dec am", func(_ *testing.T, s *schedule.Snapshot) {
			s.Bookings = []schedule.Booking{{ID: id(7, 1), Job: s.Jobs[0].ID, ScaffoldFirm: id(4, 0), UID: "1", State: schedule.BookingConfirmed, ErectOn: dec(9), StrikeOn: dec(18), OfferedOn: civil.NoDate}}
		}, []string{"Booked with Northgate for Wed 9 Dec", "5 working days"}},
		{"an offer", 1, schedule.ScaffoldErection, "Wed 16 Dec am", func(_ *testing.T, s *schedule.Snapshot) { offers(s, dec(14), dec(16)) },
			[]string{"Northgate offers Wed 16 Dec"}},
		{"a refused day", 1, schedule.ScaffoldErection, "Tue 15 Dec am", func(_ *testing.T, s *schedule.Snapshot) {
			offers(s, dec(14), civil.NoDate)
			s.Bookings[0].State = schedule.BookingRefused
		}, []string{"Northgate cannot do Mon 14 Dec"}},
		{"an offer within the notice", 1, schedule.ScaffoldErection, "Wed 9 Dec am", func(_ *testing.T, s *schedule.Snapshot) { offers(s, dec(8), dec(9)) },
			[]string{"Northgate offers Wed 9 Dec"}},
		{"roof work after an offer", 1, schedule.RoofWork, "Wed 16 Dec pm", func(_ *testing.T, s *schedule.Snapshot) { offers(s, dec(14), dec(16)) },
			[]string{"Northgate offers Wed 16 Dec, so a scaffold is up on Wed 16 Dec am at the soonest"}},
		{"an offer after the plan", 1, schedule.RoofWork, "", func(_ *testing.T, s *schedule.Snapshot) { offers(s, dec(14), dec(31)+40) },
			[]string{"Northgate offers Tue 9 Feb, after Sun 17 Jan, the plan's last day"}},
		{"every set stands", 2, schedule.RoofWork, "Fri 18 Dec pm", func(_ *testing.T, s *schedule.Snapshot) {
			s.ScaffoldFirms[0].Sets = 1
			up(s, 1, firstMonday-7)
			s.Jobs[1].Stages[1].State, s.Jobs[1].Stages[1].DoneOn = schedule.StateDone, firstMonday-3
			s.Jobs[1].Consents = []schedule.Consent{consent(schedule.ScaffoldStrike, schedule.ConsentApplied, dec(17))}
			s.ScaffoldFirms[0].GangsPerDay = 3
			sky(s, 0, weather.PanelCarrying, func(civil.HalfDay) weather.Chance { return known(0.98) }) // as good as sure: no reserve
		}, []string{"Northgate has its only set standing until after Thu 17 Dec", "Fri 18 Dec"}},
		{"no gang", 2, schedule.RoofWork, "Tue 15 Dec pm", func(_ *testing.T, s *schedule.Snapshot) {
			s.ScaffoldFirms[0].GangsPerDay = 1
			s.Bookings = []schedule.Booking{{ID: id(7, 1), Job: id(5, 77), ScaffoldFirm: id(4, 0), UID: "1", State: schedule.BookingSent, ErectOn: dec(14), StrikeOn: dec(30), OfferedOn: civil.NoDate}}
			s.Jobs = s.Jobs[:1]
		}, []string{"Northgate has no gang free until after Mon 14 Dec"}},

		{"consent refused", 1, schedule.RoofWork, "", func(_ *testing.T, s *schedule.Snapshot) {
			s.Jobs[0].Consents = []schedule.Consent{consent(schedule.RoofWork, schedule.ConsentRefused, civil.NoDate)}
		}, []string{"grid connection", "refused"}},
		{"consent unknown", 1, schedule.Commissioning, "", func(_ *testing.T, s *schedule.Snapshot) {
			s.Jobs[0].Consents = []schedule.Consent{consent(schedule.Commissioning, schedule.ConsentApplied, civil.NoDate)}
		}, []string{"grid connection, applied", "nobody knows yet when"}},
		{"consent too late", 1, schedule.Commissioning, "", func(_ *testing.T, s *schedule.Snapshot) {
			s.Jobs[0].Consents = []schedule.Consent{consent(schedule.Commissioning, schedule.ConsentApplied, dec(31)+30)}
		}, []string{"expected on Sat 30 Jan", "plan ends on Sun 17 Jan"}},
		{"kit unknown", 1, schedule.SecondFix, "", func(_ *testing.T, s *schedule.Snapshot) {
			s.Jobs[0].Kit = []schedule.Kit{{Item: "battery", Quantity: 1, DueOn: civil.NoDate, ArrivedOn: civil.NoDate}}
		}, []string{"battery", "no delivery date"}},
		{"handed on", 1, schedule.Commissioning, "", func(_ *testing.T, s *schedule.Snapshot) {
			s.Jobs[0].Kit = []schedule.Kit{{Item: "battery", Quantity: 1, DueOn: civil.NoDate, ArrivedOn: civil.NoDate}}
		}, []string{"Waits for", "battery", "no delivery date"}},
		{"weather unknown", 1, schedule.RoofWork, "", func(_ *testing.T, s *schedule.Snapshot) {
			sky(s, 0, weather.PanelCarrying, func(h civil.HalfDay) weather.Chance {
				if h.Half() == civil.Afternoon {
					return weather.Chance{}
				}
				return known(0.9)
			})
		}, []string{"chance of weather", "not known for 3 half-days in a row", "never taken as good"}},
		{"no crew", 1, schedule.RoofWork, "", func(_ *testing.T, s *schedule.Snapshot) { s.Crews = s.Crews[1:] }, []string{"no roof crew"}},
		{"no lead", 1, schedule.FirstFix, "", func(_ *testing.T, s *schedule.Snapshot) { s.Crews[1].Members[0].Skills[0].Until = dec(4) },
			[]string{"No electrical crew has a competent lead (electrical) present", "Sun 17 Jan"}},
		{"no scaffold firm", 1, schedule.RoofWork, "", func(_ *testing.T, s *schedule.Snapshot) { s.ScaffoldFirms[0].Active = false }, []string{"no scaffold firm"}},
		{"whose scaffold", 1, schedule.ScaffoldStrike, "", func(_ *testing.T, s *schedule.Snapshot) {
			s.ScaffoldFirms = append(s.ScaffoldFirms, scaffolder(1))
			up(s, 0, firstMonday-7)
			s.Bookings = nil
		}, []string{"no booking says which scaffold firm's"}},
		{"out of order", 1, schedule.FirstFix, "", func(_ *testing.T, s *schedule.Snapshot) {
			s.Jobs[0].Stages[3].State, s.Jobs[0].Stages[3].DoneOn = schedule.StateDone, dec(4)
		}, []string{"Second fix is done", "first fix is not marked done"}},
		{"the sets are out to the end", 1, schedule.RoofWork, "", func(_ *testing.T, s *schedule.Snapshot) {
			s.ScaffoldFirms[0].Sets = 1
			s.Bookings = []schedule.Booking{{ID: id(7, 1), Job: id(5, 77), ScaffoldFirm: id(4, 0), UID: "1", State: schedule.BookingErected, ErectOn: dec(1), StrikeOn: dec(31) + 60, OfferedOn: civil.NoDate}}
		}, []string{"No scaffold firm has a gang and a set free", "Sun 17 Jan"}},
	} {
		t.Run(c.what, func(t *testing.T) {
			t.Parallel()
			s := firm(t, c.jobs)
			c.set(t, &s)
			p := plan(t, s, 200, 1)
			mustHold(t, s, p)
			v := find(p, s.Jobs[0].ID, c.stage)
			say := ""
			switch {
			case v == nil && c.start == "":
				for _, u := range p.Unplanned {
					if u.Job == s.Jobs[0].ID && u.Stage == c.stage {
						say = u.Why
					}
				}
			case v == nil || c.start == "":
				t.Fatalf("%s: planned is %t, which is wrong: %v", c.stage, v != nil, p.Unplanned)
			default:
				say = v.Why
				if got := v.First().Short(); got != c.start {
					t.Errorf("%s starts on %s, %s was to be expected: %s", c.stage, got, c.start, say)
				}
			}
			for _, want := range c.say {
				if !strings.Contains(say, want) {
					t.Errorf("%q is not in %q", want, say)
				}
			}
		})
	}
}
