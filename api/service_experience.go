package api

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

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

// Lesson is what kept forecasts were worth: all of them, and by lead day.
type Lesson struct {
	Version  int // of what was kept; 0 = there was nothing to learn from
	Since    time.Time
	Sites    int
	All      weather.Score
	ByLead   []LeadLesson // of the lead days for which there is any
	Shrink   weather.Shrinkage
	Outcomes []weather.Outcome
}

// LeadLesson is the part of a Lesson for one lead day.
type LeadLesson struct {
	Lead  int
	Score weather.Score
	Bins  []weather.Bin
	Keep  float64 // share of a chance's distance from the climate that is kept
}

// bins is how many points a reliability diagram has.
const bins = 5

// Calibrate holds the forecasts that were kept since an instant against what
// then happened, for roof work at every site of an open job, keeps what that
// teaches as a new version, and gives it. With nothing to learn from nothing is
// kept. What was learnt can only bring chances closer to the climate.
func (s *Service) Calibrate(ctx context.Context, firm uuid.UUID, by string, since time.Time) (Lesson, error) {
	lesson := Lesson{Since: since.UTC()}
	outcomes, sites, err := s.outcomes(ctx, firm, since)
	if err != nil {
		return lesson, err
	}
	lesson.Sites, lesson.Outcomes, lesson.All = sites, outcomes, weather.BrierScore(outcomes)
	if len(outcomes) == 0 {
		return lesson, nil
	}
	lesson.Shrink = weather.Learn(outcomes)
	lesson.ByLead = byLead(outcomes, lesson.Shrink)
	lesson.Version, err = s.archive.SaveCalibration(ctx, firm, archive.Calibration{Learnt: lesson.Shrink, Outcomes: len(outcomes), MadeBy: by, MadeAt: s.now()})
	return lesson, err
}

func byLead(outcomes []weather.Outcome, learnt weather.Shrinkage) (list []LeadLesson) {
	of := map[int][]weather.Outcome{}
	last := 0
	for _, o := range outcomes {
		lead := min(o.Lead, len(learnt.Keep)-1)
		of[lead] = append(of[lead], o)
		last = max(last, lead)
	}
	for lead := 0; lead <= last; lead++ {
		if len(of[lead]) > 0 {
			list = append(list, LeadLesson{Lead: lead, Score: weather.BrierScore(of[lead]), Bins: weather.ReliabilityDiagram(of[lead], bins), Keep: learnt.Keep[lead]})
		}
	}
	return list
}

// outcomes reads the kept forecasts of each site with an open job.
func (s *Service) outcomes(ctx context.Context, firm uuid.UUID, since time.Time) (all []weather.Outcome, sites int, err error) {
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return nil, 0, err
	}
	loc, err := f.Location()
	if err != nil {
		return nil, 0, fmt.Errorf("read the firm's zone: %w", err)
	}
	jobs, err := s.schedule.Jobs(ctx, firm)
	if err != nil {
		return nil, 0, err
	}
	limits, err := s.archive.Limits(ctx, firm)
	if err != nil {
		return nil, 0, err
	}
	climate, err := s.archive.Climate(ctx, firm)
	if err != nil {
		return nil, 0, err
	}
	seen := map[uuid.UUID]bool{}
	for _, j := range jobs {
		if seen[j.Site.ID] {
			continue
		}
		seen[j.Site.ID] = true
		kept, err := s.archive.Since(ctx, firm, j.Site.ID, since)
		if err != nil {
			return nil, 0, err
		}
		var series []weather.Series
		for _, a := range kept {
			if r := s.read(a); len(r.Members) > 0 {
				series = append(series, r)
			}
		}
		list, err := weather.Outcomes(series, limits, weather.Kept{
			Place: placeOfSite(j.Site), Task: weather.RoofCovering, Hours: f.Hours, Loc: loc, Climate: climate,
		})
		if err != nil {
			return nil, 0, fmt.Errorf("site of %s: %w", j.Ref, err)
		}
		if len(list) > 0 {
			sites++
		}
		all = append(all, list...)
	}
	return all, sites, nil
}

// SetClimate counts an hourly record and makes it the firm's climate. The
// record's clock is read in the firm's zone.
func (s *Service) SetClimate(ctx context.Context, firm uuid.UUID, record weather.Member, of, by string) (version int, rows []weather.ClimateRow, err error) {
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return 0, nil, err
	}
	loc, err := f.Location()
	if err != nil {
		return 0, nil, fmt.Errorf("read the firm's zone: %w", err)
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
