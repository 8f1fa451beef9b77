package api

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/archive"
	"toeboard/weather/civil"
)

// experience gives what a firm's chances rest on beside the forecast: the
// climate, and what its kept forecasts taught.
func (s *Service) experience(ctx context.Context, firm uuid.UUID) (weather.Climate, weather.Shrinkage, error) {
	climate, err := s.archive.Climate(ctx, firm)
	if err != nil {
		return climate, weather.Shrinkage{}, err
	}
	c, err := s.archive.Calibration(ctx, firm)
	return climate, c.Learnt, err
}

// Lesson is what kept forecasts were worth, with what it teaches.
type Lesson struct {
	weather.Lesson
	Version  int // of what was kept; 0 = there was nothing to learn from
	Shrink   weather.Shrinkage
	Outcomes []weather.Outcome
}

// Calibrate holds the forecasts that were kept since an instant against what
// then happened, for roof work at every site of an open job, keeps what that
// teaches as a new version, and gives it. With nothing to learn from nothing is
// kept. What was learnt can only bring chances closer to the climate.
func (s *Service) Calibrate(ctx context.Context, firm uuid.UUID, by string, since time.Time) (Lesson, error) {
	read, outcomes, err := s.outcomes(ctx, firm, since.UTC())
	if err != nil || len(outcomes) == 0 {
		return Lesson{Lesson: read}, err
	}
	lesson := Lesson{Outcomes: outcomes}
	lesson.Lesson, lesson.Shrink = weather.Teach(outcomes)
	lesson.Since, lesson.Sites, lesson.Forecasts, lesson.Readings = read.Since, read.Sites, read.Forecasts, read.Readings
	lesson.Version, err = s.archive.SaveCalibration(ctx, firm, archive.Calibration{Learnt: lesson.Shrink, Lesson: lesson.Lesson, Outcomes: len(outcomes), MadeBy: by, MadeAt: s.now()})
	return lesson, err
}

// outcomes reads the kept forecasts of each site with an open job, and the wind
// that its crews read.
func (s *Service) outcomes(ctx context.Context, firm uuid.UUID, since time.Time) (read weather.Lesson, all []weather.Outcome, err error) {
	read.Since = since
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return read, nil, err
	}
	ask := weather.Kept{Task: weather.RoofCovering, Hours: f.Hours}
	if ask.Loc, err = f.Location(); err != nil {
		return read, nil, fmt.Errorf("read the firm's zone: %w", err)
	}
	jobs, err := s.schedule.Jobs(ctx, firm)
	if err != nil {
		return read, nil, err
	}
	limits, err := s.archive.Limits(ctx, firm)
	if err != nil {
		return read, nil, err
	}
	if ask.Climate, err = s.archive.Climate(ctx, firm); err != nil {
		return read, nil, err
	}
	seen := map[uuid.UUID]bool{}
	for _, j := range jobs {
		if seen[j.Site.ID] {
			continue
		}
		seen[j.Site.ID] = true
		ask.Place = placeOfSite(j.Site)
		if ask.Readings, err = s.gustsReadAt(ctx, firm, jobsAt(jobs, j.Site.ID), since); err != nil {
			return read, nil, err
		}
		list, err := s.hindcast(ctx, firm, j, limits, ask, &read)
		if err != nil {
			return read, nil, fmt.Errorf("site of %s: %w", j.Ref, err)
		}
		all = append(all, list...)
	}
	return read, all, nil
}

// hindcast reads one site's kept forecasts back.
func (s *Service) hindcast(ctx context.Context, firm uuid.UUID, j schedule.Job, limits weather.Limits, ask weather.Kept, read *weather.Lesson) ([]weather.Outcome, error) {
	h, err := weather.NewHindcast(limits, ask)
	if err != nil {
		return nil, err
	}
	err = s.archive.EachSince(ctx, firm, j.Site.ID, read.Since, func(a archive.Answer) {
		if series := s.read(a); len(series.Members) > 0 {
			h.Add(series)
			read.Forecasts++
		}
	})
	list, stopped := h.Outcomes()
	if read.Readings += stopped; len(list) > 0 {
		read.Sites++
	}
	return list, err
}

// gustsReadAt gives the gusts that crews read at some jobs.
func (s *Service) gustsReadAt(ctx context.Context, firm uuid.UUID, jobs []schedule.Job, since time.Time) (all []weather.GustReading, err error) {
	for _, j := range jobs {
		gusts, err := s.safety.SkyGusts(ctx, firm, j.ID, since)
		if err != nil {
			return nil, err
		}
		for _, g := range gusts {
			all = append(all, weather.GustReading{At: g.At, MS: g.GustMS})
		}
	}
	return all, nil
}

// SetClimate counts an hourly record and makes it the firm's climate. The
// record's clock is read in the firm's zone.
func (s *Service) SetClimate(ctx context.Context, firm uuid.UUID, record weather.Member, of, by string) (version int, rows []weather.ClimateRow, err error) {
	f, loc, err := s.firmAndZone(ctx, firm)
	if err != nil {
		return 0, nil, err
	}
	limits, err := s.archive.Limits(ctx, firm)
	if err != nil {
		return 0, nil, err
	}
	hours := f.Hours
	if hours == (civil.Hours{}) {
		hours = civil.UsualHours
	}
	if rows, err = weather.CountClimate(record, limits, hours, loc); err != nil {
		return 0, nil, err
	}
	version, err = s.archive.SetClimate(ctx, firm, of, rows, by, s.now())
	return version, rows, err
}
