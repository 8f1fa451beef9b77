package api

import (
	"context"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// IssueAssessment makes a risk assessment from a job's facts as they are now
// and stores it as the next version. When the version in force says the same
// already and is not due for review, it is that one.
func (s *Service) IssueAssessment(ctx context.Context, firm uuid.UUID, jobRef, by string) (safety.AssessmentInForce, error) {
	j, err := s.schedule.Job(ctx, firm, jobRef)
	if err != nil {
		return safety.AssessmentInForce{}, err
	}
	facts, _, err := s.safety.Facts(ctx, firm, j.ID)
	if err != nil {
		return safety.AssessmentInForce{}, err
	}
	site, err := s.safety.SiteHazards(ctx, firm, j.ID)
	if err != nil {
		return safety.AssessmentInForce{}, err
	}
	lib, err := s.Library(ctx, firm)
	if err != nil {
		return safety.AssessmentInForce{}, err
	}
	made := safety.AssessSite(facts, lib, site)
	due, err := s.reviewDue(ctx, firm)
	if err != nil {
		return safety.AssessmentInForce{}, err
	}
	base := 0
	current, err := s.safety.CurrentAssessment(ctx, firm, j.ID)
	switch {
	case err == nil && current.BodyHash == made.Hash() && !due(current):
		return current, nil
	case err == nil:
		base = current.Version
	case fault.KindOf(err) != fault.NotFound:
		return safety.AssessmentInForce{}, err
	}
	return s.safety.IssueAssessment(ctx, firm, j.ID, made, base, by, s.now())
}

// reviewDue tells of an assessment whether it is due for review today.
func (s *Service) reviewDue(ctx context.Context, firm uuid.UUID) (func(safety.AssessmentInForce) bool, error) {
	_, loc, err := s.firmAndZone(ctx, firm)
	if err != nil {
		return nil, err
	}
	today := civil.DateOf(s.now(), loc)
	return func(a safety.AssessmentInForce) bool { return a.ReviewDue(today, loc) }, nil
}

// ApproveAssessment approves one version, which must be the one in force.
func (s *Service) ApproveAssessment(ctx context.Context, firm uuid.UUID, jobRef string, assessment, person uuid.UUID) (safety.AssessmentInForce, error) {
	j, err := s.schedule.Job(ctx, firm, jobRef)
	if err != nil {
		return safety.AssessmentInForce{}, err
	}
	current, err := s.safety.CurrentAssessment(ctx, firm, j.ID)
	if err != nil {
		return safety.AssessmentInForce{}, err
	}
	if current.ID != assessment {
		return safety.AssessmentInForce{}, fault.Changed("assessment", "", "another version is in force now: read it before you approve it")
	}
	if err := s.safety.Approve(ctx, firm, assessment, person, s.now()); err != nil {
		return safety.AssessmentInForce{}, err
	}
	return s.safety.CurrentAssessment(ctx, firm, j.ID)
}
