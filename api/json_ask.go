package api

import (
	"context"
	"math"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// What is asked of a plan, in JSON: why, what if, when can you come.

func reasonView(r schedule.Reason) Reason {
	return Reason{Rule: string(r.Rule), Subject: r.Subject, Value: r.Value, Limit: r.Limit, Unit: r.Unit, Source: r.Source, Say: r.Say()}
}

func diffView(d schedule.CostDiff) CostDiff {
	return CostDiff{Item: string(d.Item), MorePence: int64(d.More)}
}

func startView(n schedule.Instead) OtherStart {
	v := OtherStart{From: n.From.String(), To: n.To.String(), Possible: n.Possible(), Reasons: mapped(n.Reasons, reasonView), Say: n.Say()}
	if n.Possible() {
		v.Best, v.MorePence, v.Items = new(n.Best.String()), new(int64(n.More)), new(mapped(n.Items, diffView))
	}
	return v
}

func whoView(o schedule.Other) OtherWho {
	v := OtherWho{ID: o.ID, Name: o.Name, SameTime: o.Same, Reasons: mapped(o.Reasons, reasonView), Say: o.Say()}
	if o.At.Known() {
		v.At, v.MorePence, v.Items = new(o.At.String()), new(int64(o.More)), new(mapped(o.Items, diffView))
	}
	return v
}

func visitOrNone(v *schedule.Visit, d directory) *Visit {
	if v == nil {
		return nil
	}
	return new(visitView(*v, d))
}

func moveView(m schedule.Move, d directory) PlanMove {
	return PlanMove{JobRef: m.Ref, Stage: StageKind(m.Stage.Key()), From: visitView(m.From, d), To: visitOrNone(m.To, d),
		Disturbs: mapped(m.Whom, same), With: mapped(m.With, same), Forced: mapped(m.Forced, reasonView), BuysPence: int64(m.Buys),
		Items: mapped(m.Items, diffView), Say: m.Say()}
}

func same(s string) string { return s }

// ExplainStage answers why a stage stands where it does.
func (j *jsonServer) ExplainStage(ctx context.Context, r ExplainStageRequestObject) (ExplainStageResponseObject, error) {
	k, err := schedule.StageFromKey(string(r.Stage))
	if err != nil {
		return nil, err
	}
	x, err := j.Explain(ctx, callerOf(ctx).Firm, r.Ref, k, valueOf(r.Params.Plan) == "draft")
	if err != nil {
		return nil, err
	}
	v := Explanation{JobRef: x.Job.Ref, Stage: r.Stage, PlanID: x.Plan.ID, Visit: visitOrNone(x.Visit, x.directory), Lost: visitOrNone(x.Lost, x.directory),
		Then: mapped(x.Then, startView), Sooner: mapped(x.Sooner, startView), Others: mapped(x.Crews, whoView), OthersUnsaid: x.Unsaid, Clash: mapped(x.Clash, reasonView)}
	if x.Open != nil {
		v.Open = new(startView(*x.Open))
		v.Open.Say = x.SayOpen()
	}
	if x.Move != nil {
		v.Move = new(moveView(*x.Move, x.directory))
	}
	return ExplainStage200JSONResponse(v), nil
}

// DraftMoves lists what the newest draft moves.
func (j *jsonServer) DraftMoves(ctx context.Context, _ DraftMovesRequestObject) (DraftMovesResponseObject, error) {
	moves, d, err := j.Moves(ctx, callerOf(ctx).Firm)
	if err != nil {
		return nil, err
	}
	return DraftMoves200JSONResponse{Moves: mapped(moves, func(m schedule.Move) PlanMove { return moveView(m, d) })}, nil
}

// WhatIf answers what some changes would do.
func (j *jsonServer) WhatIf(ctx context.Context, r WhatIfRequestObject) (WhatIfResponseObject, error) {
	firm := callerOf(ctx).Firm
	d, err := j.directory(ctx, firm)
	if err != nil {
		return nil, err
	}
	var changes []schedule.Change
	for _, c := range r.Body.Changes {
		k := schedule.Change{Kind: schedule.ChangeKind(c.Kind), Who: valueOf(c.Who), On: civil.NoDate, Until: civil.NoDate, Weeks: valueOf(c.Weeks)}
		if c.On != nil {
			k.On = *c.On
		}
		if c.Until != nil {
			k.Until = *c.Until
		}
		if c.Stage != nil {
			if k.Stage, err = schedule.StageFromKey(string(*c.Stage)); err != nil {
				return nil, err
			}
		}
		if c.JobRef != nil {
			if k.Job = d.idOf(*c.JobRef); k.Job == uuid.Nil {
				return nil, fault.Missing("job", *c.JobRef)
			}
		}
		changes = append(changes, k)
	}
	w, _, err := j.Service.WhatIf(ctx, firm, changes)
	if err != nil {
		return nil, err
	}
	pair := func(n [2]int) WithoutWith { return WithoutWith{Without: n[0], With: n[1]} }
	return WhatIf200JSONResponse{Words: mapped(w.Words, same), Say: w.Say(), WithoutPence: int64(w.Without.Cost.Total), WithPence: int64(w.With.Cost.Total),
		Items: mapped(w.Items, diffView), Promises: pair(w.Promises), InTime: pair(w.InTime), Moved: pair(w.Moved), LeftOut: pair(w.LeftOut),
		BrokenPromises: mapped(w.Late, same), SavedPromises: mapped(w.Saved, same), Lost: mapped(w.Lost, same), Clash: mapped(w.Clash, reasonView),
		Moves:     mapped(w.Moves, func(m schedule.Move) PlanMove { return moveView(m, d) }),
		Schedules: w.Schedules, Seed: int64(w.Seed), NoisePence: int64(w.Noise)}, nil
}

// idOf finds a job by its reference; Nil = there is none.
func (d directory) idOf(ref string) uuid.UUID {
	for _, j := range d.jobs {
		if j.Ref == ref {
			return j.ID
		}
	}
	return uuid.Nil
}

func questionOf(q OfferQuestion) (OfferAsk, error) {
	a := OfferAsk{Postcode: valueOf(q.Postcode), Lat: math.NaN(), Lon: math.NaN(), Terrain: string(q.Terrain), HeightM: q.WorkingHeightM,
		Modules: q.Modules, ModuleM2: q.ModuleM2, HalfDays: map[schedule.StageKind]int{}, ReadyOn: civil.NoDate, Best: 5}
	if q.Lat != nil && q.Lon != nil {
		a.Lat, a.Lon = *q.Lat, *q.Lon
	}
	if q.ReadyOn != nil {
		a.ReadyOn = *q.ReadyOn
	}
	if q.Best != nil {
		a.Best = *q.Best
	}
	for _, st := range q.Stages {
		k, err := schedule.StageFromKey(string(st.Kind))
		if err != nil {
			return a, err
		}
		if a.HalfDays[k] > 0 {
			return a, fault.Bad("stages", k.Key(), "each stage once")
		}
		a.HalfDays[k] = st.HalfDays
	}
	return a, nil
}

// FindOffers gives the best places for a new job.
func (j *jsonServer) FindOffers(ctx context.Context, r FindOffersRequestObject) (FindOffersResponseObject, error) {
	ask, err := questionOf(*r.Body)
	if err != nil {
		return nil, err
	}
	found, err := j.Service.FindOffers(ctx, callerOf(ctx).Firm, ask)
	if err != nil {
		return nil, err
	}
	return FindOffers200JSONResponse{Place: found.Place, Sky: found.Sky, No: mapped(found.No, reasonView),
		Offers: mapped(found.Offers, func(o schedule.Offer) FoundOffer {
			v := FoundOffer{On: o.On, DoneOn: optionalDate(o.Done), MorePence: int64(o.More), Items: mapped(o.Items, diffView), Say: o.Why,
				Visits: mapped(o.Visits, func(x schedule.Visit) Visit { return newJobVisit(x, found.Job, found.directory) })}
			if roof := o.Roof(); roof != nil {
				v.Chance = optional(roof.Chance.P, roof.Chance.Known)
			}
			return v
		})}, nil
}

// newJobVisit is a visit of a job that nobody has saved.
func newJobVisit(v schedule.Visit, job schedule.Job, d directory) Visit {
	out := visitView(v, d)
	out.JobRef, out.ReserveHalfDays = job.Ref, reserveOf(v, job)
	return out
}

func heldOfferView(h schedule.HeldOffer, d directory) HeldOffer {
	return HeldOffer{ID: h.ID, For: h.For, Contact: optionalText(h.Contact), State: HeldOfferState(h.State), On: optionalDate(h.On()), DoneOn: optionalDate(h.Done()),
		MorePence: int64(h.More), Until: h.Until.UTC(), ToldBy: h.ToldBy, ToldAt: h.ToldAt.UTC(),
		Visits: mapped(h.Visits, func(x schedule.Visit) Visit { return newJobVisit(x, h.Job, d) })}
}

// ListOffers gives what is held.
func (j *jsonServer) ListOffers(ctx context.Context, _ ListOffersRequestObject) (ListOffersResponseObject, error) {
	firm := callerOf(ctx).Firm
	held, err := j.HeldOffers(ctx, firm)
	if err != nil {
		return nil, err
	}
	d, err := j.directory(ctx, firm)
	if err != nil {
		return nil, err
	}
	return ListOffers200JSONResponse{Offers: mapped(held, func(h schedule.HeldOffer) HeldOffer { return heldOfferView(h, d) })}, nil
}

// HoldOffer keeps a place for a customer.
func (j *jsonServer) HoldOffer(ctx context.Context, r HoldOfferRequestObject) (HoldOfferResponseObject, error) {
	c := callerOf(ctx)
	ask, err := questionOf(r.Body.Question)
	if err != nil {
		return nil, err
	}
	h, err := j.Service.HoldOffer(ctx, c.Firm, HoldAsk{ID: recordID(ctx), For: r.Body.For, Contact: valueOf(r.Body.Contact), Days: valueOf(r.Body.Days),
		Question: ask, On: r.Body.On}, c.Name)
	if err != nil {
		return nil, err
	}
	d, err := j.directory(ctx, c.Firm)
	if err != nil {
		return nil, err
	}
	return HoldOffer201JSONResponse(heldOfferView(h, d)), nil
}

// TakeOffer makes a job of a held place.
func (j *jsonServer) TakeOffer(ctx context.Context, r TakeOfferRequestObject) (TakeOfferResponseObject, error) {
	c := callerOf(ctx)
	_, job, err := j.Service.TakeOffer(ctx, c.Firm, r.OfferID, r.Body.JobRef, c.Name)
	if err != nil {
		return nil, err
	}
	return TakeOffer201JSONResponse(jobView(job, nil)), nil
}

// ReleaseOffer gives a held place free.
func (j *jsonServer) ReleaseOffer(ctx context.Context, r ReleaseOfferRequestObject) (ReleaseOfferResponseObject, error) {
	c := callerOf(ctx)
	h, err := j.Service.ReleaseOffer(ctx, c.Firm, r.OfferID, c.Name)
	if err != nil {
		return nil, err
	}
	d, err := j.directory(ctx, c.Firm)
	if err != nil {
		return nil, err
	}
	return ReleaseOffer200JSONResponse(heldOfferView(h, d)), nil
}
