package api

import (
	"context"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
)

const (
	daysPastPlan = 42 // how far past a plan's last day it is replayed: what is late is finished there
	futuresSeed  = 1  // of the draws past the forecast: the same for every plan, so that plans are compared under the same weather
)

// SnapshotWithFutures is Snapshot with the possible weathers of its sites: those
// of the members of the forecasts that its chances rest on, as far as the firm's
// own kept forecasts say that they are to be trusted, and past them the firm's
// climate's, for every site and outdoor task, to six weeks past the plan's last
// day. Both are of one reading of the forecasts, in which each member was judged
// once.
func (s *Service) SnapshotWithFutures(ctx context.Context, firm uuid.UUID, days int) (snap schedule.Snapshot, futures schedule.Futures, err error) {
	snap, list, err := s.look(ctx, firm, days)
	return snap, futuresOf(list, snap), err
}

func futuresOf(list []siteLook, snap schedule.Snapshot) schedule.Futures {
	members := 0
	for _, l := range list {
		members = max(members, l.members)
	}
	days := snap.Days + daysPastPlan
	out := schedule.Futures{N: weather.FuturesOf(members)}
	draws := weather.NewDraws(snap.FirstDay, days, out.N, futuresSeed)
	for _, l := range list {
		rows := l.look.Futures(draws, 2*days)
		rows[2] = rows[2].And(rows[3]) // roof work keeps the limits of both its tasks
		for i, t := range outdoorTasks[:3] {
			out.Rows = append(out.Rows, schedule.FutureRow{Site: l.site, Task: t, Passing: rows[i]})
		}
		for _, g := range l.gangs {
			for i, passing := range g.look.Futures(draws, 2*days) {
				out.Rows = append(out.Rows, schedule.FutureRow{Site: l.site, By: g.firm, Task: gangTasks[i], Passing: passing})
			}
		}
	}
	return out
}
