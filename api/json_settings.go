package api

import (
	"context"
	"encoding/json"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// What the office sets for the planner, in JSON: rates, distances, pins, and
// what customers know.

// GetRates gives the rates in force.
func (j *jsonServer) GetRates(ctx context.Context, _ GetRatesRequestObject) (GetRatesResponseObject, error) {
	v, err := j.ratesInForce(ctx, callerOf(ctx).Firm)
	return GetRates200JSONResponse(v), err
}

// SetRates stores rates as the next version.
func (j *jsonServer) SetRates(ctx context.Context, r SetRatesRequestObject) (SetRatesResponseObject, error) {
	c := callerOf(ctx)
	text, err := json.Marshal(r.Body.Rates)
	if err != nil {
		return nil, err
	}
	rates, err := schedule.ParseRates(text)
	if err != nil {
		return nil, err
	}
	if _, err := j.schedule.SetRates(ctx, c.Firm, rates, r.Body.Version, c.Name, j.now()); err != nil {
		return nil, err
	}
	v, err := j.ratesInForce(ctx, c.Firm)
	return SetRates200JSONResponse(v), err
}

func (j *jsonServer) ratesInForce(ctx context.Context, firm uuid.UUID) (RatesInForce, error) {
	in, err := j.schedule.Rates(ctx, firm)
	if err != nil {
		return RatesInForce{}, err
	}
	set, err := j.schedule.RatesHistory(ctx, firm)
	if err != nil {
		return RatesInForce{}, err
	}
	v := RatesInForce{Version: in.Version, History: []RatesVersion{}}
	for i, changes := range ratesChanges(set) {
		v.History = append(v.History, RatesVersion{Version: set[i].Version, SetBy: set[i].SetBy, SetAt: set[i].SetAt.UTC(), Changes: mapped(changes, same)})
	}
	return v, json.Unmarshal(schedule.RatesJSON(in.Rates), &v.Rates) // one spelling of names on both sides
}

// GetDistances gives the distances in force.
func (j *jsonServer) GetDistances(ctx context.Context, _ GetDistancesRequestObject) (GetDistancesResponseObject, error) {
	v, err := j.distancesInForce(ctx, callerOf(ctx).Firm)
	return GetDistances200JSONResponse(v), err
}

// SetDistances stores distances in place of those in force.
func (j *jsonServer) SetDistances(ctx context.Context, r SetDistancesRequestObject) (SetDistancesResponseObject, error) {
	c := callerOf(ctx)
	legs := mapped(r.Body.Legs, func(l Leg) schedule.Leg { return schedule.Leg{From: l.From, To: l.To, Km: l.Km} })
	if _, err := j.schedule.SetTravel(ctx, c.Firm, legs, r.Body.Version, c.Name, j.now()); err != nil {
		return nil, err
	}
	v, err := j.distancesInForce(ctx, c.Firm)
	return SetDistances200JSONResponse(v), err
}

func (j *jsonServer) distancesInForce(ctx context.Context, firm uuid.UUID) (DistancesInForce, error) {
	in, err := j.schedule.Travel(ctx, firm)
	if err != nil {
		return DistancesInForce{}, err
	}
	jobs, err := j.schedule.Jobs(ctx, firm)
	if err != nil {
		return DistancesInForce{}, err
	}
	crews, err := j.schedule.Crews(ctx, firm)
	if err != nil {
		return DistancesInForce{}, err
	}
	return DistancesInForce{Version: in.Version, Legs: mapped(in.Legs, func(l schedule.Leg) Leg { return Leg{From: l.From, To: l.To, Km: l.Km} }),
		UnknownPlaces: mapped(schedule.UnknownPlaces(in.Legs, crews, jobs), same), SetBy: optionalText(in.SetBy), SetAt: optionalTime(in.SetAt)}, nil
}

// ---------------------------------------------------------------- pins

// ListPins gives what people fixed, with what became of it.
func (j *jsonServer) ListPins(ctx context.Context, r ListPinsRequestObject) (ListPinsResponseObject, error) {
	firm := callerOf(ctx).Firm
	fates, err := j.pinFates(ctx, firm, valueOf(r.Params.Costs))
	if err != nil {
		return nil, err
	}
	d, err := j.directory(ctx, firm)
	if err != nil {
		return nil, err
	}
	return ListPins200JSONResponse{Pins: mapped(fates.pins(), func(p pinFate) Pin { return pinView(p, d) })}, nil
}

// SetPin keeps what a person fixed.
func (j *jsonServer) SetPin(ctx context.Context, r SetPinRequestObject) (SetPinResponseObject, error) {
	c := callerOf(ctx)
	wish, err := wishedPin(*r.Body)
	if err != nil {
		return nil, err
	}
	wish.ID, wish.SetBy, wish.SetAt = recordID(ctx), c.Name, j.now()
	set, err := j.schedule.SetPin(ctx, c.Firm, r.Body.JobRef, wish)
	if err != nil {
		return nil, err
	}
	fates, err := j.pinFates(ctx, c.Firm, false)
	if err != nil {
		return nil, err
	}
	d, err := j.directory(ctx, c.Firm)
	if err != nil {
		return nil, err
	}
	return SetPin201JSONResponse(pinView(fates.of(set), d)), nil
}

// wishedPin reads a wish. What its kind does not speak of is refused, not
// dropped.
func wishedPin(w PinWish) (p schedule.Pin, err error) {
	p = schedule.Pin{Kind: schedule.PinKind(w.Kind), Who: valueOf(w.Who), On: civil.NoDate, Why: w.Why}
	if w.Stage != nil {
		if p.Stage, err = schedule.StageFromKey(string(*w.Stage)); err != nil {
			return p, err
		}
	}
	if w.On != nil {
		p.On = *w.On
	}
	if valueOf(w.Half) == HalfAfternoon {
		p.Half = civil.Afternoon
	}
	switch {
	case w.On != nil && !p.Kind.HasDay():
		return p, fault.Bad("on", w.On.String(), "no day: a pin of kind "+string(w.Kind)+" names none")
	case w.Who != nil && !p.Kind.HasWho():
		return p, fault.Bad("who", w.Who.String(), "nobody: a pin of kind "+string(w.Kind)+" names none")
	case (w.Half != nil) != (p.Kind == schedule.PinStart):
		return p, fault.Bad("half", string(valueOf(w.Half)), "morning or afternoon with kind start, and only there")
	}
	return p, nil
}

func pinView(f pinFate, d directory) Pin {
	p := f.Pin
	v := Pin{ID: p.ID, JobRef: d.jobs[p.Job].Ref, Kind: PinKind(p.Kind), On: optionalDate(p.On), Who: optionalID(p.Who), Says: p.Words(d.name), Why: p.Why,
		SetBy: p.SetBy, SetAt: p.SetAt.UTC(), State: PinState(f.Answer.String()), StateSays: f.PinState.Why}
	if p.Stage != schedule.StageUnknown {
		v.Stage = new(StageKind(p.Stage.Key()))
	}
	if p.Kind == schedule.PinStart {
		v.Half = new(Half(p.Half.String()))
	}
	if f.cost != nil {
		v.CostPence = new(int64(*f.cost))
	}
	return v
}

// RemovePin takes a pin away.
func (j *jsonServer) RemovePin(ctx context.Context, r RemovePinRequestObject) (RemovePinResponseObject, error) {
	c := callerOf(ctx)
	err := j.schedule.RemovePin(ctx, c.Firm, r.PinID, c.Name, valueOf(r.Params.Why), j.now())
	if err != nil && fault.KindOf(err) != fault.Conflict { // it is away already, which is what is asked for
		return nil, err
	}
	return RemovePin204Response{}, nil
}

// ---------------------------------------------------------------- what customers know

// TellPromise records whether the customer was told the promised day.
func (j *jsonServer) TellPromise(ctx context.Context, r TellPromiseRequestObject) (TellPromiseResponseObject, error) {
	firm := callerOf(ctx).Firm
	if err := j.schedule.TellPromise(ctx, firm, r.Ref, r.Body.Told); err != nil {
		return nil, err
	}
	v, err := j.jobNow(ctx, firm, r.Ref)
	return TellPromise200JSONResponse(v), err
}

// ConfirmVisit records a day that the customer confirmed for a stage.
func (j *jsonServer) ConfirmVisit(ctx context.Context, r ConfirmVisitRequestObject) (ConfirmVisitResponseObject, error) {
	v, err := j.confirm(ctx, r.Ref, r.Stage, r.Body.On)
	return ConfirmVisit200JSONResponse(v), err
}

// UnconfirmVisit takes the customer's word back.
func (j *jsonServer) UnconfirmVisit(ctx context.Context, r UnconfirmVisitRequestObject) (UnconfirmVisitResponseObject, error) {
	v, err := j.confirm(ctx, r.Ref, r.Stage, civil.NoDate)
	return UnconfirmVisit200JSONResponse(v), err
}

func (j *jsonServer) confirm(ctx context.Context, ref string, stage StageKind, on civil.Date) (Job, error) {
	c := callerOf(ctx)
	k, err := schedule.StageFromKey(string(stage))
	if err != nil {
		return Job{}, err
	}
	if err := j.schedule.ConfirmVisit(ctx, c.Firm, ref, k, on, c.Name, j.now()); err != nil {
		return Job{}, err
	}
	return j.jobNow(ctx, c.Firm, ref)
}

// jobNow gives a job as it is now with its assessment.
func (j *jsonServer) jobNow(ctx context.Context, firm uuid.UUID, ref string) (Job, error) {
	job, err := j.schedule.Job(ctx, firm, ref)
	if err != nil {
		return Job{}, err
	}
	a, err := j.assessmentOf(ctx, firm, job.ID)
	if err != nil {
		return Job{}, err
	}
	return jobView(job, a), nil
}
