package api

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/fault"
)

// Explained is one stage of a plan with the answers to why.
type Explained struct {
	directory
	Job   schedule.Job
	Plan  schedule.Plan // the one that was asked about
	Draft bool          // it is the newest draft
	Has   bool          // there is a draft to ask about
	schedule.Explanation
	Move *schedule.Move // what the draft's move of it buys; nil = it moves nothing
	Pins []schedule.Pin // of all jobs
}

// Explain answers why a stage stands where it does: in the newest draft, or in
// the published plan.
func (s *Service) Explain(ctx context.Context, firm uuid.UUID, ref string, k schedule.StageKind, ofDraft bool) (Explained, error) {
	x := Explained{Draft: ofDraft}
	var err error
	if x.Job, err = s.schedule.Job(ctx, firm, ref); err != nil {
		return x, err
	}
	if x.directory, err = s.directory(ctx, firm); err != nil {
		return x, err
	}
	draft, err := s.draftNow(ctx, firm)
	if err != nil {
		return x, err
	}
	x.Has = draft != nil
	snap, plan, err := s.onDesk(ctx, firm, draft, ofDraft)
	if err != nil {
		return x, err
	}
	x.Plan, x.Pins = plan, snap.Pins
	if x.Explanation, err = schedule.Explain(snap, plan, x.Job.ID, k); err != nil {
		return x, err
	}
	if !ofDraft {
		return x, nil
	}
	for _, m := range schedule.Moves(snap, plan) {
		if m.Job == x.Job.ID && m.Stage == k {
			x.Move = &m
		}
	}
	return x, nil
}

// draftNow gives the newest draft; nil when the published plan is newer or there
// is none.
func (s *Service) draftNow(ctx context.Context, firm uuid.UUID) (*schedule.Plan, error) {
	draft, err := orNone(s.schedule.NewestDraft(ctx, firm))
	if err != nil || draft == nil {
		return nil, err
	}
	current, err := s.current(ctx, firm)
	if err != nil || current != nil && draft.Version < current.Version {
		return nil, err
	}
	return draft, nil
}

// onDesk reads the facts as they are and gives the plan that is asked about. A
// draft is held against the facts from its own first day on, while that can
// still be planned.
func (s *Service) onDesk(ctx context.Context, firm uuid.UUID, draft *schedule.Plan, ofDraft bool) (schedule.Snapshot, schedule.Plan, error) {
	if !ofDraft {
		snap, err := s.Snapshot(ctx, firm, planDays)
		if err == nil && snap.Base == nil {
			none := noPlan
			err = &none
		}
		if err != nil {
			return snap, schedule.Plan{}, err
		}
		return snap, *snap.Base, nil
	}
	if draft == nil {
		return schedule.Snapshot{}, schedule.Plan{}, &fault.Error{Kind: fault.NotFound, Field: "draft", Want: "there is no draft newer than the published plan: make one"}
	}
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return schedule.Snapshot{}, schedule.Plan{}, err
	}
	first, err := firstPlannable(f, s.now())
	if err != nil {
		return schedule.Snapshot{}, schedule.Plan{}, err
	}
	days := draft.Days - int(max(first, draft.FirstDay)-draft.FirstDay)
	if days < 1 {
		return schedule.Snapshot{}, schedule.Plan{}, fault.Changed("draft", fmt.Sprint(draft.Version), "its last day has passed: plan again")
	}
	snap, err := s.snapshotFrom(ctx, firm, max(first, draft.FirstDay), days)
	return snap, *draft, err
}

// Moves lists what the newest draft moves of the published plan, and what each
// move buys.
func (s *Service) Moves(ctx context.Context, firm uuid.UUID) ([]schedule.Move, directory, error) {
	draft, err := s.draftNow(ctx, firm)
	if err != nil {
		return nil, directory{}, err
	}
	snap, plan, err := s.onDesk(ctx, firm, draft, true)
	if err != nil {
		return nil, directory{}, err
	}
	d, err := s.directory(ctx, firm)
	return schedule.Moves(snap, plan), d, err
}

// whatIfSchedules is the budget of each search of a what-if: an answer in about
// a second for 20 crews and 200 jobs.
const whatIfSchedules = 250

// WhatIf answers what some changes would do. It reads, and writes nothing.
func (s *Service) WhatIf(ctx context.Context, firm uuid.UUID, changes []schedule.Change) (schedule.WhatIf, schedule.Snapshot, error) {
	snap, err := s.Snapshot(ctx, firm, planDays)
	if err != nil {
		return schedule.WhatIf{}, snap, err
	}
	w, err := schedule.Ask(ctx, snap, changes, whatIfSchedules, defaultSeed)
	return w, snap, err
}
