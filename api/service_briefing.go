package api

import (
	"context"
	"maps"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// The records of a morning. Each method takes the identifier of the record it
// makes: the edge makes it from the request's key, so that a retry after a lost
// answer meets its own row. A row with other content is refused: what somebody
// corrected must never be answered as if it had been taken.

// BriefingInput is what a crew lead found on the morning.
type BriefingInput struct {
	Crew       uuid.UUID
	JobRef     string
	Day        civil.Date
	Assessment uuid.UUID // the version that was read out
	Checks     map[string]safety.Answer
	GustMS     weather.Value // [m/s] read on site
}

// HoldBriefing records what the lead of the crew found, today, and keeps the
// decision as it is then.
func (s *Service) HoldBriefing(ctx context.Context, by Caller, id uuid.UUID, in BriefingInput) (Judged, error) {
	m, k, err := s.atWork(ctx, by, in.Crew, in.JobRef, in.Day)
	if err != nil {
		return Judged{}, err
	}
	if _, leads := inCrew(k, by.Person, in.Day); !leads {
		return Judged{}, &fault.Error{Kind: fault.Forbidden, Field: "briefing", Want: "only the lead of crew " + k.Name + " holds its briefing"}
	}
	now := s.now()
	if today := civil.DateOf(now, by.Location); in.Day != today {
		return Judged{}, fault.Bad("day", in.Day.String(), "today, "+today.String()+": a briefing is held on the morning itself")
	}
	b := safety.Briefing{ID: id, Crew: in.Crew, Job: m.Job.ID, Day: in.Day, Assessment: in.Assessment, Checks: in.Checks, GustMS: in.GustMS, By: by.Person, At: now}
	if _, err = s.safety.SaveBriefing(ctx, by.Firm, b); alreadyThere(err) {
		err = s.sameBriefing(ctx, by.Firm, b)
	}
	if err != nil {
		return Judged{}, err
	}
	if b.GustMS.Known {
		if _, err := s.noticeAt(ctx, by.Firm, m.Job); err != nil {
			return Judged{}, err
		}
	}
	return s.Decide(ctx, by.Firm, in.Crew, in.JobRef, in.Day)
}

// sameBriefing refuses a briefing whose identity one with other content has.
func (s *Service) sameBriefing(ctx context.Context, firm uuid.UUID, b safety.Briefing) error {
	was, err := s.safety.Briefing(ctx, firm, b.ID)
	if err != nil {
		return err
	}
	if was.Crew != b.Crew || was.Job != b.Job || was.Day != b.Day || was.Assessment != b.Assessment || was.By != b.By ||
		was.GustMS != b.GustMS || !maps.Equal(was.Checks, b.Checks) {
		return otherContent("briefing", b.ID)
	}
	return nil
}

// otherContent refuses a record sent again with other content: the first try
// was recorded, though its sender was not told so, and stands until a new one is
// made.
func otherContent(what string, id uuid.UUID) error {
	return &fault.Error{Kind: fault.Conflict, Field: what, Value: id.String(),
		Want: "your first try was recorded and says something else: look at it, then record this as a new one"}
}

// atWork finds a crew's work at a job, for somebody who may see it.
func (s *Service) atWork(ctx context.Context, by Caller, crew uuid.UUID, jobRef string, day civil.Date) (Judged, schedule.Crew, error) {
	m, err := s.Morning(ctx, by.Firm, crew, jobRef, day)
	if err != nil {
		return Judged{}, schedule.Crew{}, err
	}
	return m, m.Crew, ownCrew(by, m.Crew, day)
}
