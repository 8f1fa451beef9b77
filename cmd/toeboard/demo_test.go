package main

import (
	"context"
	"testing"

	"toeboard/safety"
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
