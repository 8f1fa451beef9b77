package api

import (
	"context"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/weather/civil"
)

// SetSigningPin sets the PIN with which a person signs.
func (j *jsonServer) SetSigningPin(ctx context.Context, r SetSigningPinRequestObject) (SetSigningPinResponseObject, error) {
	if err := j.Service.SetPIN(ctx, callerOf(ctx), r.PersonID, r.Body.Pin, valueOf(r.Body.Password)); err != nil {
		return nil, err
	}
	return SetSigningPin204Response{}, nil
}

func basisShown(b SigningBasis) safety.Basis {
	return safety.Basis{Assessment: b.Assessment, Crew: b.Crew, Scaffold: b.Scaffold, Tasks: b.Tasks, Forecast: b.Forecast}
}

func signingBasis(b safety.Basis) SigningBasis {
	return SigningBasis{Assessment: b.Assessment, Crew: b.Crew, Scaffold: b.Scaffold, Tasks: b.Tasks, Forecast: b.Forecast}
}

func signedBefore(m Judged, person uuid.UUID) *SignedBefore {
	b, before := m.Before[person]
	if !before {
		return nil
	}
	return &SignedBefore{Version: b.Version, Day: b.Day, Changed: append([]string{}, b.Changed...)}
}

// ListPeople tells who works here, what they may do and were told.
func (j *jsonServer) ListPeople(ctx context.Context, _ ListPeopleRequestObject) (ListPeopleResponseObject, error) {
	caller := callerOf(ctx)
	people, err := j.Service.PeopleNow(ctx, caller)
	if err != nil {
		return nil, err
	}
	set, err := j.Service.accounts.pinsSet(ctx, caller.Firm)
	if err != nil {
		return nil, err
	}
	today := civil.DateOf(j.Service.now(), caller.Location)
	return ListPeople200JSONResponse(mapped(people, func(p Member) PersonNow {
		_, hasPIN := set[p.ID]
		inducted := ConditionStateMet
		if len(p.NotTold) > 0 {
			inducted = ConditionStateNotMet
		}
		return PersonNow{ID: p.ID, Name: p.Name, Role: Role(p.Role), PinSet: hasPIN, NotFitToday: p.NotFitOn, Inducted: inducted, Inductions: mapped(p.Told, inductionView),
			NotInductedIn: mapped(p.NotTold, func(t safety.Topic) InductionTopic { return InductionTopic(t.Key) }),
			Competences: mapped(p.Can, func(k safety.Competence) Competence {
				return Competence{Kind: CompetenceKind(k.Kind), Words: safety.CompetenceWords(k.Kind), From: k.From, Until: optionalDate(k.Until), Evidence: k.Evidence, State: competenceState(k, today)}
			})}
	})), nil
}

func inductionView(i safety.Induction) Induction {
	return Induction{ID: i.ID, On: i.On, GivenBy: i.GivenBy, Statement: i.Statement, At: i.At.UTC(),
		Covered: mapped(i.Covered, func(key string) InductionTopic { return InductionTopic(key) })}
}

// SaveCompetence records what somebody may do.
func (j *jsonServer) SaveCompetence(ctx context.Context, r SaveCompetenceRequestObject) (SaveCompetenceResponseObject, error) {
	k := safety.Competence{Kind: string(r.Body.Kind), From: r.Body.From, Until: civil.NoDate, Evidence: r.Body.Evidence}
	if r.Body.Until != nil {
		k.Until = *r.Body.Until
	}
	if err := j.Service.SaveCompetence(ctx, callerOf(ctx), r.PersonID, k); err != nil {
		return nil, err
	}
	return SaveCompetence204Response{}, nil
}

// AddInduction records what somebody new was told.
func (j *jsonServer) AddInduction(ctx context.Context, r AddInductionRequestObject) (AddInductionResponseObject, error) {
	covered := mapped(r.Body.Covered, func(t InductionTopic) string { return string(t) })
	i, err := j.Service.Induct(ctx, callerOf(ctx), recordID(ctx), r.PersonID, InductionInput{On: r.Body.On, GivenBy: r.Body.GivenBy, Covered: covered, PIN: r.Body.Pin})
	if err != nil {
		return nil, err
	}
	return AddInduction201JSONResponse(inductionView(i)), nil
}
