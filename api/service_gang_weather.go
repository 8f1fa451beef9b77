package api

import (
	"context"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// What the sky allows the gang of a scaffold firm.

// gangDay is the next day on which a booked scaffold firm comes, and what the sky
// allows it then.
type gangDay struct {
	task weather.Task
	day  civil.Date
	sky  weather.Judgement
}

// nextGang gives the day on which a booking's gang comes next, and what for; NoDate =
// it does not come any more.
func nextGang(b schedule.Booking) (weather.Task, civil.Date) {
	switch {
	case !b.Live():
		return weather.ScaffoldErection, civil.NoDate
	case b.State.Stands():
		return weather.ScaffoldStrike, b.StrikeOn
	default:
		return weather.ScaffoldErection, b.ErectOn
	}
}

// gangWeather judges the next day on which a booking's gang comes, by the limits
// of the firm as its scaffold firm tightens them; nil when that day is over or lies
// past the forecast.
func (s *Service) gangWeather(ctx context.Context, firm uuid.UUID, j schedule.Job, b schedule.Booking, gang schedule.ScaffoldFirm, today civil.Date) (*gangDay, error) {
	task, day := nextGang(b)
	if !day.Known() || day < today || day >= today+weather.ForecastDays {
		return nil, nil
	}
	sky, err := s.scaffoldWeather(ctx, firm, j, gang, task, day)
	return &gangDay{task, day, sky}, err
}

// scaffoldWeather judges a working day for the erection or the strike of a job's
// scaffold; day civil.NoDate is today.
func (s *Service) scaffoldWeather(ctx context.Context, firm uuid.UUID, j schedule.Job, gang schedule.ScaffoldFirm, task weather.Task, day civil.Date) (weather.Judgement, error) {
	return s.dayWeather(ctx, firm, j, day, func(series weather.Series, limits weather.Limits, w weather.Work) weather.Judgement {
		w.Task, w.Panel = task, nil
		return weather.Judge(series, limitsOf(gang, limits), w)
	})
}
