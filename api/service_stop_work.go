package api

import (
	"context"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// noReasonYet stands where somebody stopped the work and had no time to say why.
const noReasonYet = "reason not given yet"

// StopWork stops the work at a job at once. Why may be said later, with another
// stop.
func (s *Service) StopWork(ctx context.Context, by Caller, id uuid.UUID, jobRef, reason string) (safety.StopWork, error) {
	j, err := s.schedule.Job(ctx, by.Firm, jobRef)
	if err != nil {
		return safety.StopWork{}, err
	}
	if strings.TrimSpace(reason) == "" {
		reason = noReasonYet
	}
	return s.safety.StopWork(ctx, by.Firm, safety.StopWork{ID: id, Job: j.ID, Reason: reason, ByID: by.Person, At: s.now()})
}

// LiftStop lifts a stop that somebody else called at a job. A lift that the same
// person recorded already is the same lift.
func (s *Service) LiftStop(ctx context.Context, by Caller, jobRef string, stop uuid.UUID, why string) (time.Time, error) {
	j, err := s.schedule.Job(ctx, by.Firm, jobRef)
	if err != nil {
		return time.Time{}, err
	}
	was, err := s.stopAt(ctx, by.Firm, j.ID, stop)
	if err != nil {
		return time.Time{}, err
	}
	if was.LiftedByID == by.Person && was.LiftWhy == why {
		return was.LiftedAt, nil
	}
	if err := s.mayLift(ctx, by, j.ID); err != nil {
		return time.Time{}, err
	}
	now := s.now()
	return now, s.safety.LiftStop(ctx, by.Firm, stop, by.Person, why, now)
}

// mayLift refuses who may not lift a stop at a job: the office may, and the lead
// of a crew that works there today. That it is another person than the one who
// stopped the work is the database's rule.
func (s *Service) mayLift(ctx context.Context, by Caller, job uuid.UUID) error {
	if err := by.need(LiftAStop); err != nil {
		return err
	}
	if by.Role == schedule.Office {
		return nil
	}
	r, err := s.readDay(ctx, by.Firm, civil.DateOf(s.now(), by.Location))
	if err != nil {
		return err
	}
	for _, w := range r.works() {
		if _, leads := inCrew(w.crew, by.Person, r.day); leads && w.job.ID == job {
			return nil
		}
	}
	return &fault.Error{Kind: fault.Forbidden, Field: "stop", Want: "only the office and the lead of a crew that works at this job today lift a stop"}
}

func (s *Service) stopAt(ctx context.Context, firm, job, stop uuid.UUID) (safety.StopWork, error) {
	all, err := s.safety.Stops(ctx, firm, job)
	if err != nil {
		return safety.StopWork{}, err
	}
	for _, w := range all {
		if w.ID == stop {
			return w, nil
		}
	}
	return safety.StopWork{}, fault.Missing("stop", stop.String())
}
