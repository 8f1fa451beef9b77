package api

import (
	"context"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/fault"
)

// MakePlan has a draft made and waits for it a while.
func (j *jsonServer) MakePlan(ctx context.Context, r MakePlanRequestObject) (MakePlanResponseObject, error) {
	c := callerOf(ctx)
	run, own, err := j.StartRun(ctx, c.Firm, askOf(ctx, *r.Body))
	if err != nil {
		return nil, err
	}
	if !own {
		return nil, &refusal{kind: conflict, detail: runSince(run, j.now(), c.Location) + ": ask for it at " + runAddress(run.ID) + ", wait for it, or stop it"}
	}
	if run, err = j.Await(ctx, c.Firm, run.ID, j.times.Program); err != nil {
		return nil, err
	}
	if !run.Ended() {
		return MakePlan202JSONResponse{Body: runView(run), Headers: MakePlan202ResponseHeaders{Location: new(runAddress(run.ID))}}, nil
	}
	p, err := j.planOf(ctx, c.Firm, run)
	if err != nil {
		return nil, err
	}
	d, err := j.directory(ctx, c.Firm)
	if err != nil {
		return nil, err
	}
	return MakePlan201JSONResponse{Body: planView(p, d), Headers: MakePlan201ResponseHeaders{Location: new(apiBase + "/plans/" + p.ID.String())}}, nil
}

// askOf is a wish with what holds where nothing is said. The run's identifier is
// made from the request's key: the same request sent again is the same run.
func askOf(ctx context.Context, w PlanWish) RunAsk {
	a := RunAsk{ID: recordID(ctx), By: callerOf(ctx).Name, Why: valueOf(w.Why), Seed: defaultSeed, Schedules: DefaultSchedules, Workers: 1}
	if w.Seed != nil {
		a.Seed = uint64(*w.Seed)
	}
	if w.Schedules != nil {
		a.Schedules = *w.Schedules
	}
	if w.Aim != nil {
		a.Aim = schedule.Aim(*w.Aim)
	}
	if w.Workers != nil {
		a.Workers = *w.Workers
	}
	return a
}

func runAddress(id uuid.UUID) string { return apiBase + "/plan-runs/" + id.String() }

// CurrentPlanRun gives the run that is under way.
func (j *jsonServer) CurrentPlanRun(ctx context.Context, _ CurrentPlanRunRequestObject) (CurrentPlanRunResponseObject, error) {
	r, err := j.RunUnderWay(ctx, callerOf(ctx).Firm)
	if err != nil {
		return nil, err
	}
	if r == nil {
		return nil, &fault.Error{Kind: fault.NotFound, Field: "run", Want: "no plan is being made now"}
	}
	return CurrentPlanRun200JSONResponse(runView(*r)), nil
}

// GetPlanRun gives a run.
func (j *jsonServer) GetPlanRun(ctx context.Context, r GetPlanRunRequestObject) (GetPlanRunResponseObject, error) {
	run, err := j.Run(ctx, callerOf(ctx).Firm, r.RunID)
	if err != nil {
		return nil, err
	}
	return GetPlanRun200JSONResponse(runView(run)), nil
}

// StopPlanRun ends a run.
func (j *jsonServer) StopPlanRun(ctx context.Context, r StopPlanRunRequestObject) (StopPlanRunResponseObject, error) {
	c := callerOf(ctx)
	if _, err := j.StopRun(ctx, c.Firm, r.RunID, c.Name, valueOf(r.Params.Keep)); err != nil {
		return nil, err
	}
	run, err := j.Await(ctx, c.Firm, r.RunID, stopPatience)
	if err != nil {
		return nil, err
	}
	return StopPlanRun200JSONResponse(runView(run)), nil
}

func runView(r schedule.Run) PlanRun {
	v := PlanRun{ID: r.ID, State: RunState(r.State), AskedBy: r.AskedBy, AskedAt: r.AskedAt, Seed: int64(r.Seed), Schedules: r.Schedules,
		Workers: r.Workers, Generated: r.Generated, BestPence: (*int64)(r.Best), BoundPence: (*int64)(r.Bound)}
	if r.Aim != "" {
		v.Aim = new(PlanAim(r.Aim))
	}
	v.Why, v.Reason = optionalText(r.Why), optionalText(r.Reason)
	v.BeganAt, v.EndedAt = optionalTime(r.BeganAt), optionalTime(r.EndedAt)
	if r.Plan != uuid.Nil {
		v.PlanID = &r.Plan
	}
	return v
}
