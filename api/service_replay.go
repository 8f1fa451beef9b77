package api

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

const (
	daysPastPlan = 42 // how far past a plan's last day it is replayed: what is late is finished there
	futuresSeed  = 1  // of the draws past the forecast: the same for every plan, so that plans are compared under the same weather
)

// Futures gives the possible weathers of a snapshot's sites: those of the
// newest forecasts' members, as far as the firm's own kept forecasts say that
// they are to be trusted, and past them the firm's climate's, for every site and
// outdoor task, to six weeks past the plan's last day.
func (s *Service) Futures(ctx context.Context, firm uuid.UUID, snap schedule.Snapshot) (schedule.Futures, error) {
	loc, err := snap.Firm.Location()
	if err != nil {
		return schedule.Futures{}, fmt.Errorf("read the firm's zone: %w", err)
	}
	forecast, err := s.newestForecasts(ctx, firm) // the first service's members; another beside it makes no future
	if err != nil {
		return schedule.Futures{}, err
	}
	limits, err := s.archive.Limits(ctx, firm)
	if err != nil {
		return schedule.Futures{}, err
	}
	climate, learnt, err := s.experience(ctx, firm)
	if err != nil {
		return schedule.Futures{}, err
	}
	members := 0
	for _, j := range snap.Jobs {
		members = max(members, len(forecast(j.Site.ID).Members))
	}
	days := snap.Days + daysPastPlan
	out := schedule.Futures{N: weather.FuturesOf(members)}
	draws := weather.NewDraws(snap.FirstDay, days, out.N, futuresSeed)
	ahead := weather.Ahead{Tasks: []weather.Task{weather.ScaffoldErection, weather.ScaffoldStrike, weather.PanelCarrying, weather.RoofCovering},
		First: snap.FirstDay.In(civil.Morning), N: 2 * days, Hours: snap.Firm.Hours, Loc: loc, Now: snap.Now, Climate: climate, Shrink: learnt}
	seen := map[uuid.UUID]bool{}
	for _, j := range snap.Jobs {
		if seen[j.Site.ID] {
			continue
		}
		seen[j.Site.ID] = true
		ahead.Place, ahead.Panel = placeOfSite(j.Site), largestModule(jobsAt(snap.Jobs, j.Site.ID))
		rows := weather.Futures(forecast(j.Site.ID), limits, ahead, draws)
		rows[2] = rows[2].And(rows[3]) // roof work keeps the limits of both its tasks
		for i, t := range ahead.Tasks[:3] {
			out.Rows = append(out.Rows, schedule.FutureRow{Site: j.Site.ID, Task: t, Passing: rows[i]})
		}
	}
	return out, nil
}
