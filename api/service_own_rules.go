package api

import (
	"context"
	"strings"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// ExceptRule records an exception from a rule of the firm's own for a crew's
// work at a job, today. The database asks whether the firm names this person.
func (s *Service) ExceptRule(ctx context.Context, by Caller, id, crew uuid.UUID, ref string, day civil.Date, code, reason string) (Judged, error) {
	m, err := s.Morning(ctx, by.Firm, crew, ref, day)
	if err != nil {
		return m, err
	}
	if today := civil.DateOf(s.now(), by.Location); day != today {
		return m, fault.Bad("day", day.String(), "today, "+today.String()+": an exception is of the morning itself")
	}
	if _, err := s.safety.RecordException(ctx, by.Firm, safety.Exception{ID: id, Crew: crew, Job: m.Job.ID, Day: day, Code: code, Reason: strings.TrimSpace(reason), By: by.Person, At: s.now()}); err != nil {
		return m, err
	}
	return s.Decide(ctx, by.Firm, crew, ref, day)
}

// SetOwnRule makes a condition that only advises binding for the firm, or not,
// and names who may except from it.
func (s *Service) SetOwnRule(ctx context.Context, by Caller, r safety.OwnRule) (safety.OwnRule, error) {
	r.SetBy, r.SetAt, r.Why = by.Person, s.now(), strings.TrimSpace(r.Why)
	if r.Holder.ID != uuid.Nil {
		p, err := s.personOf(ctx, by.Firm, r.Holder.ID)
		if err != nil {
			return r, err
		}
		can, err := s.safety.CompetencesOf(ctx, by.Firm, p.ID)
		if err != nil {
			return r, err
		}
		if !safety.MayExcept(safety.Person{ID: p.ID, Competences: can}, civil.DateOf(s.now(), by.Location)) {
			return r, fault.Bad("holder", p.Name, "somebody competent today to lead roof work, for electrical work or to inspect scaffold")
		}
	}
	return s.safety.SetOwnRule(ctx, by.Firm, r)
}
