package api

import (
	"context"
	"slices"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
)

// Due lists what is due after the jobs of a firm, the nearest last day first,
// what was sent at the end.
func (s *Service) Due(ctx context.Context, firm uuid.UUID) ([]safety.Due, civil.Date, error) {
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return nil, civil.NoDate, err
	}
	loc, err := f.Location()
	if err != nil {
		return nil, civil.NoDate, err
	}
	holidays, err := s.schedule.Holidays(ctx, firm)
	if err != nil {
		return nil, civil.NoDate, err
	}
	records, err := s.safety.RecordsOf(ctx, firm, safety.Incident, safety.Notification)
	if err != nil {
		return nil, civil.NoDate, err
	}
	jobs, err := s.schedule.Jobs(ctx, firm)
	if err != nil {
		return nil, civil.NoDate, err
	}
	working := func(d civil.Date, n int) civil.Date { return schedule.AddWorkingDays(d, n, holidays) }
	all := []safety.Due{}
	for _, j := range jobs {
		facts := safety.DueFacts{JobRef: j.Ref, Division: f.Division, Commissioned: civil.NoDate, Location: loc}
		if stage, ok := j.Stage(schedule.Commissioning); ok && stage.State == schedule.StateDone {
			facts.Commissioned = stage.DoneOn
		}
		for _, r := range records {
			if r.Job == j.ID {
				facts.Records = append(facts.Records, r)
			}
		}
		if !facts.Commissioned.Known() && len(facts.Records) == 0 {
			continue
		}
		if facts.Facts, _, err = s.safety.Facts(ctx, firm, j.ID); err != nil {
			return nil, civil.NoDate, err
		}
		all = append(all, safety.DueList(facts, working)...)
	}
	last := func(d safety.Due) civil.Date {
		if d.Deadline.Known() {
			return d.Deadline
		}
		return d.Began
	}
	slices.SortStableFunc(all, func(a, b safety.Due) int {
		if a.Sent.Known() != b.Sent.Known() {
			return map[bool]int{true: 1, false: -1}[a.Sent.Known()]
		}
		return int(last(a)) - int(last(b))
	})
	return all, civil.DateOf(s.now(), loc), nil
}
