package api

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/web"
)

// How far and how finely a plume looks.
const (
	plumeDays = 7
	plumeStep = 3 * time.Hour
)

// plume draws what the members of the newest forecast spread over at a job's
// roof from today on, against a limit; nil without members to spread.
func (s *Service) plume(ctx context.Context, firm uuid.UUID, j schedule.Job, limit web.Num, loc *time.Location) (*web.Plume, error) {
	series, err := s.forecastOf(ctx, firm, j.Site.ID)
	if err != nil || len(series.Members) < 2 {
		return nil, err
	}
	stop := weather.Value{}
	if limit.Known {
		stop = weather.Is(limit.N)
	}
	from := civil.DateOf(s.now(), loc).At(0, 0, loc)
	steps, err := weather.Plume(series, placeOfSite(j.Site), stop, from, from.AddDate(0, 0, plumeDays), plumeStep)
	if err != nil {
		return nil, nil // a place that cannot be judged has no plume; the strip says why
	}
	p := &web.Plume{Place: fmt.Sprintf("%s m above ground, %s", decimalOf(j.Site.WorkingHeightM), terrainWords(j.Site.Terrain)), LimitMS: limit, Members: len(series.Members)}
	for _, st := range steps {
		p.Steps = append(p.Steps, web.PlumeStep{From: st.From.In(loc), Low: webNum(st.Low), Middle: webNum(st.Middle), High: webNum(st.High), Over: webNum(st.Over)})
	}
	return p, nil
}
