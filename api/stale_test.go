package api

import (
	"context"
	"testing"

	"github.com/google/uuid"

	"toeboard/schedule"
)

// A job that came after a draft is named as new; one that the draft leaves out
// or plans is not, whatever stands against it.
func TestAJobThatCameAfterTheDraft(t *testing.T) {
	ids := [6]uuid.UUID{}
	var snap schedule.Snapshot
	var broken []schedule.Violation
	for i := range ids {
		ids[i] = uuid.UUID{15: byte(i + 1)}
		snap.Jobs = append(snap.Jobs, schedule.Job{ID: ids[i], Ref: "Q-" + string(rune('1'+i))})
		broken = append(broken, schedule.Violation{Job: ids[i], Say: "it is neither planned nor listed as left out."})
	}
	draft := schedule.Plan{Visits: []schedule.Visit{{Job: ids[0]}}, Unplanned: []schedule.Unplanned{{Job: ids[1]}}}
	for n, want := range map[int]string{
		0: "", 2: "", 3: "Q-3 is new: plan again", 5: "Q-3, Q-4 and Q-5 are new: plan again", 6: "4 jobs are new, among them Q-3: plan again",
	} {
		if got := newSince(snap, draft, broken[:n]); got != want {
			t.Errorf("of %d: %q, want %q", n, got, want)
		}
	}
}

func TestTheProposalNamesAJobThatCameAfterIt(t *testing.T) {
	s := newScene(t)
	s.works()
	a := s.by(s.office)
	a.json("POST", "/plans", nil, map[string]any{"schedules": 50}).want(201)
	j := s.q2
	j.ID, j.Site.ID, j.Customer.ID, j.Ref = uuid.New(), uuid.New(), uuid.New(), "Q-3"
	must(t, s.schedule.SaveJob(context.Background(), s.firm, j, "office", s.clock()))
	a.get("/plan").want(200).says("Q-3 is new: plan again")
}
