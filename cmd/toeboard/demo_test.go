package main

import (
	"context"
	"testing"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
)

// Whatever the season, the demo's first morning shows a crew that is clear, one
// that only its own people hold, and one that a lapsed inspection holds; and
// the plan leaves no job out without a reason.
func TestTheFirstMorningShowsClearUnsignedAndLapsed(t *testing.T) {
	for _, day := range []string{"2026-11-26", "2026-12-15", "2027-01-12", "2027-03-30", "2027-06-10"} {
		t.Run(day, func(t *testing.T) {
			h := openHouseOn(t, civil.MustParse(day), nil)
			mornings, err := h.service.Mornings(context.Background(), h.scen.firm.ID, h.day)
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("sky %d", h.state.Sky)
			held := map[string][]string{}
			for _, m := range mornings {
				if !m.Snapshot.Outdoors {
					continue
				}
				held[m.Job.Ref] = holding(m.Decision)
			}
			for i, want := range [][]string{{}, {"B06", "B08", "B19"}, {"B02", "B06", "B08", "B19"}} {
				ref := h.scen.standing[i].ref
				got, there := held[ref]
				if !there {
					t.Errorf("nobody is sent to the roof of %s", ref)
					continue
				}
				if len(got) != len(want) {
					t.Errorf("%s is held by %v, want %v", ref, got, want)
				}
				for k := range min(len(got), len(want)) {
					if got[k] != want[k] {
						t.Errorf("%s is held by %v, want %v", ref, got, want)
						break
					}
				}
			}
		})
	}
}

// The demo has something to see of pins, promises and confirmations: both pins
// are kept by the published plan, most customers and not all know their day, and
// the days that were confirmed are those that are published.
func TestTheDemoShowsWhatIsFixedAndWhatCustomersKnow(t *testing.T) {
	h := openHouseOn(t, civil.MustParse("2026-12-15"), nil)
	ctx, firm := context.Background(), h.scen.firm.ID
	plan, err := h.schedule.CurrentPlan(ctx, firm)
	if err != nil {
		t.Fatal(err)
	}
	snap, err := h.schedule.Snapshot(ctx, firm, h.now(), plan.FirstDay, plan.Days)
	if err != nil {
		t.Fatal(err)
	}
	states := schedule.PinStates(snap, plan)
	for _, s := range states {
		if s.Answer != schedule.PinKept || s.Pin.Why == "" {
			t.Errorf("a pin (%s) %s: %s", s.Pin.Why, s.Answer, s.Why)
		}
	}
	told, untold, confirmed := 0, 0, 0
	for _, j := range snap.Jobs {
		if j.PromiseTold {
			told++
		} else {
			untold++
		}
		for _, c := range j.Confirmed {
			confirmed++
			for _, v := range plan.Visits {
				if v.Job == j.ID && v.Stage == c.Stage && v.First().Date() != c.On {
					t.Errorf("%s is confirmed for %s and published for %s", j.Ref, c.On, v.First())
				}
			}
		}
	}
	if len(states) != 2 || told <= untold || untold == 0 || confirmed != confirmedDays {
		t.Errorf("%d pins, %d told, %d not told, %d confirmed", len(states), told, untold, confirmed)
	}
}

// holding lists the codes that keep a crew from starting, in order of code.
func holding(d safety.Decision) []string {
	var codes []string
	for _, c := range d.Conditions {
		if !c.Advice && c.State != safety.Met {
			codes = append(codes, c.Code)
		}
	}
	return codes
}
