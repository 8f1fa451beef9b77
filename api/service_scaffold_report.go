package api

import (
	"context"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/weather/fault"
)

// ReportScaffold records a handover or inspection of a job's scaffold.
func (s *Service) ReportScaffold(ctx context.Context, by Caller, id uuid.UUID, jobRef string, r safety.ScaffoldReport) (time.Time, error) {
	j, err := s.schedule.Job(ctx, by.Firm, jobRef)
	if err != nil {
		return time.Time{}, err
	}
	r.ID, r.Job, r.RecordedBy, r.RecordedAt = id, j.ID, by.Name, s.now()
	if _, err = s.safety.AddReport(ctx, by.Firm, r); alreadyThere(err) {
		return s.sameReport(ctx, by.Firm, r)
	}
	return r.RecordedAt, err
}

// sameReport tells when a report was recorded that is sent again, and refuses
// one with other content.
func (s *Service) sameReport(ctx context.Context, firm uuid.UUID, r safety.ScaffoldReport) (time.Time, error) {
	all, err := s.safety.Reports(ctx, firm, r.Job)
	if err != nil {
		return time.Time{}, err
	}
	for _, was := range all {
		r.At, r.RecordedAt = kept(r.At), was.RecordedAt
		if was == r {
			return was.RecordedAt, nil
		}
	}
	return time.Time{}, otherContent("report", r.ID)
}

// kept is an instant as the database keeps it.
func kept(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

// RecordEvent records something that could have affected a scaffold.
func (s *Service) RecordEvent(ctx context.Context, by Caller, id uuid.UUID, jobRef string, e safety.ScaffoldEvent) (time.Time, error) {
	j, err := s.schedule.Job(ctx, by.Firm, jobRef)
	if err != nil {
		return time.Time{}, err
	}
	e.ID, e.Job, e.By, e.RecordedAt = id, j.ID, by.Name, s.now()
	if e.At.After(e.RecordedAt) {
		return time.Time{}, fault.Bad("event_at", e.At.In(by.Location).Format("2006-01-02 15:04"), "a time that has passed")
	}
	if _, err = s.safety.AddEvent(ctx, by.Firm, e); alreadyThere(err) {
		return s.sameEvent(ctx, by.Firm, e)
	}
	return e.RecordedAt, err
}

// sameEvent is sameReport for an event.
func (s *Service) sameEvent(ctx context.Context, firm uuid.UUID, e safety.ScaffoldEvent) (time.Time, error) {
	all, err := s.safety.Events(ctx, firm, e.Job)
	if err != nil {
		return time.Time{}, err
	}
	for _, was := range all {
		e.At, e.RecordedAt = kept(e.At), was.RecordedAt
		if was == e {
			return was.RecordedAt, nil
		}
	}
	return time.Time{}, otherContent("event", e.ID)
}
