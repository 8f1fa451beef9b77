package api

import (
	"context"
	"errors"
	"strings"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// InductionInput is what is recorded of an induction. PIN is that of whoever was
// inducted: without it nothing is recorded.
type InductionInput struct {
	On      civil.Date
	GivenBy string
	Covered []string
	PIN     string
}

// Induct keeps what somebody was told when they started, as they say by their
// own PIN on the phone of their crew's lead or in the office.
func (s *Service) Induct(ctx context.Context, by Caller, id, person uuid.UUID, in InductionInput) (safety.Induction, error) {
	p, err := s.personOf(ctx, by.Firm, person)
	if err != nil {
		return safety.Induction{}, err
	}
	leads, err := s.leads(ctx, by, person)
	if err != nil {
		return safety.Induction{}, err
	}
	if !leads && !may(by.Role, ChangePeople) {
		return safety.Induction{}, &fault.Error{Kind: fault.Forbidden, Field: "induction", Value: p.Name, Want: "whoever leads this person's crew today, or the office, records it"}
	}
	today := civil.DateOf(s.now(), by.Location)
	i := safety.Induction{ID: id, Person: person, On: in.On, GivenBy: strings.TrimSpace(in.GivenBy), Covered: in.Covered, Proof: safety.ByPIN, RecordedBy: by.Person, At: s.now()}
	if err := errors.Join(i.Check(p.Name, today)...); err != nil {
		return i, err
	}
	if err := s.checkPIN(ctx, by.Firm, person, p.Name, in.PIN); err != nil {
		return i, err
	}
	return s.safety.AddInduction(ctx, by.Firm, safety.Person{ID: p.ID, Name: p.Name}, i, today)
}

// leads tells whether the caller leads a crew today in which a person is.
func (s *Service) leads(ctx context.Context, by Caller, person uuid.UUID) (bool, error) {
	crews, err := s.schedule.Crews(ctx, by.Firm)
	if err != nil {
		return false, err
	}
	today := civil.DateOf(s.now(), by.Location)
	for _, k := range crews {
		_, leads := inCrew(k, by.Person, today)
		if in, _ := inCrew(k, person, today); in && leads && person != by.Person {
			return true, nil
		}
	}
	return false, nil
}

// Member is somebody who works here, with what they may do and were told.
type Member struct {
	schedule.Person
	Can      []safety.Competence
	Told     []safety.Induction
	NotTold  []safety.Topic // by today
	MayTell  bool           // the caller may record an induction of this person
	NotFitOn bool           // declared today not to be fit; why is never known
}

// PeopleNow lists whom the caller may see: the office everybody who works here,
// a lead the crew of today, anybody else themselves.
func (s *Service) PeopleNow(ctx context.Context, by Caller) ([]Member, error) {
	people, err := s.schedule.People(ctx, by.Firm)
	if err != nil {
		return nil, err
	}
	told, err := s.safety.Inductions(ctx, by.Firm)
	if err != nil {
		return nil, err
	}
	today := civil.DateOf(s.now(), by.Location)
	unfit, err := s.safety.NotFitOn(ctx, by.Firm, today)
	if err != nil {
		return nil, err
	}
	all := []Member{}
	for _, p := range people {
		leads, err := s.leads(ctx, by, p.ID)
		if err != nil {
			return nil, err
		}
		office := may(by.Role, ChangePeople)
		if !p.Active || p.ID != by.Person && !leads && !office {
			continue
		}
		n := Member{Person: p, Told: told[p.ID], MayTell: leads || office, NotFitOn: unfit[p.ID]}
		if n.Can, err = s.safety.CompetencesOf(ctx, by.Firm, p.ID); err != nil {
			return nil, err
		}
		n.NotTold = safety.NotCovered(safety.Person{ID: p.ID, Name: p.Name, Inductions: n.Told}, today)
		all = append(all, n)
	}
	return all, nil
}

// SaveCompetence keeps what somebody may do.
func (s *Service) SaveCompetence(ctx context.Context, by Caller, person uuid.UUID, k safety.Competence) error {
	if _, err := s.personOf(ctx, by.Firm, person); err != nil {
		return err
	}
	if k.Evidence = strings.TrimSpace(k.Evidence); k.Evidence == "" {
		return fault.Bad("evidence", "", "which card or certificate, seen by whom")
	}
	return s.safety.SaveCompetence(ctx, by.Firm, person, k)
}
