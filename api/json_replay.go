package api

import (
	"context"
	"strings"

	"toeboard/schedule"
	"toeboard/weather/fault"
)

// GetReplay gives what a plan comes to over the weather that may come.
func (j *jsonServer) GetReplay(ctx context.Context, r GetReplayRequestObject) (GetReplayResponseObject, error) {
	firm := callerOf(ctx).Firm
	p, err := j.schedule.Plan(ctx, firm, r.PlanID)
	if err != nil {
		return nil, err
	}
	if p.Replay == nil {
		return nil, &fault.Error{Kind: fault.NotFound, Field: "replay", Value: r.PlanID.String(), Want: "this plan was not replayed: plan again"}
	}
	d, err := j.directory(ctx, firm)
	if err != nil {
		return nil, err
	}
	return GetReplay200JSONResponse(replayView(p, d)), nil
}

func replayView(p schedule.Plan, d directory) Replay {
	r := p.Replay
	v := Replay{PlanID: p.ID, Futures: r.Futures, FirstDay: r.From, LastDay: r.Until, Promises: r.Promises, PromisesKept: r.Kept,
		PromisesUnknown: r.CannotSay, LostHalfDays: r.Lost,
		Jobs: mapped(r.Jobs, func(j schedule.JobReplay) JobReplay { return jobReplayView(j, d) })}
	items := mapped(r.Kind, func(i schedule.CostItem) string { return string(i) })
	v.ReplayedItems = &items
	if r.Cost.Known {
		v.Cost = &CostSpread{MeanPence: int64(r.Cost.Mean), P10Pence: int64(r.Cost.P10), P90Pence: int64(r.Cost.P90)}
	}
	if c := p.Choice; c != nil {
		v.Choice = &PlanChoice{Aim: PlanAim(c.Aim), Says: c.Say, Compared: mapped(c.Compared, comparedView)}
	}
	return v
}

func jobReplayView(j schedule.JobReplay, d directory) JobReplay {
	return JobReplay{JobID: j.Job, JobRef: d.jobs[j.Job].Ref, Finish: JobReplayFinish(strings.ReplaceAll(string(j.Finish), " ", "_")), Why: optionalText(j.Why),
		PlannedOn: optionalDate(j.Planned), P10On: optionalDate(j.P10), P50On: optionalDate(j.P50), P90On: optionalDate(j.P90),
		PromisedOn: optionalDate(j.Promised), PromiseChance: optional(j.Chance.P, j.Chance.Known), PromiseBasis: optionalText(j.Chance.Basis),
		HirePence: int64(j.Hire), LostHalfDays: j.Lost}
}

func comparedView(c schedule.Candidate) ComparedPlan {
	return ComparedPlan{How: c.How, CostPence: int64(c.Cost), MeanPence: optional(int64(c.Mean), c.Known), PromisesKept: c.Kept, Promises: c.Promises, PromisesUnknown: c.CannotSay}
}
