package main

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"time"

	"github.com/google/uuid"
	"github.com/robfig/cron/v3"

	"toeboard/api"
	"toeboard/migrations/queue"
	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/archive"
	"toeboard/web"
)

// rooms are the stores and the service on one database.
type rooms struct {
	schedule *schedule.Store
	safety   *safety.Store
	service  *api.Service
}

// wire builds the rooms on an open database. adjust may change what the service
// is built from.
func wire(db *database, now func() time.Time, baseURL string, log *slog.Logger, adjust ...func(*api.Deps)) (rooms, error) {
	pages, err := web.New()
	if err != nil {
		return rooms{}, err
	}
	jobs, err := queue.New(db.pool, log)
	if err != nil {
		return rooms{}, err
	}
	r := rooms{schedule: schedule.NewStore(db.pool, newID), safety: safety.NewStore(db.pool, newID)}
	deps := api.Deps{
		Pool: db.pool, Schedule: r.schedule, Safety: r.safety, Archive: archive.NewStore(db.pool, newID), Queue: jobs,
		Web: pages, Now: now, IDs: newID, Log: log, ParseForecast: parsers(), BaseURL: baseURL, At: crashPoint,
	}
	for _, a := range adjust {
		a(&deps)
	}
	r.service, err = api.New(deps)
	return r, err
}

// crashPoint ends the process as a kill does where TOEBOARD_CRASH_AT names the
// point: tests look at what is left.
func crashPoint(point string) {
	if os.Getenv("TOEBOARD_CRASH_AT") != point {
		return
	}
	if me, err := os.FindProcess(os.Getpid()); err == nil {
		me.Kill()
	}
	select {} // nothing more is done on the way
}

// rounds are what the service does by the clock. Cron decides only when; what
// is done is safe to do twice, since two instances may both be awake. What goes
// out of the house is done by StartRounds, which puts a job {kind, firm, local
// date} into the queue beside a row with that key, so that neither a second
// instance nor a night on which the clocks change does it twice.
type rounds struct {
	rooms
	fetch api.Sources     // nil: no weather service may be asked
	warn  api.GetWarnings // nil: nobody may ask for warnings
	only  uuid.UUID       // one firm's rounds alone; uuid.Nil = every firm's
	log   *slog.Logger
}

// start starts the rounds and gives what ends them: it waits for those under
// way.
func (r rounds) start(ctx context.Context) (stop func(), err error) {
	c := cron.New(cron.WithLocation(time.UTC), cron.WithChain(cron.SkipIfStillRunning(cron.DiscardLogger)))
	for spec, do := range map[string]func(context.Context, uuid.UUID) error{
		"7 * * * *":     r.forecasts, // not on the full hour, when everybody asks
		"22,52 * * * *": r.warnings,
		"41 3 * * *":    r.service.Sweep,
		"11 2 * * *":    r.signHead,
		"31 1 * * 0":    r.service.LearnFromForecasts, // reading some weeks of forecasts back takes minutes
		"* * * * *":     r.service.StartRounds,
		"*/2 * * * *":   r.service.WatchLoneWork,
	} {
		if _, err := c.AddFunc(spec, func() { r.each(ctx, do) }); err != nil {
			return nil, err
		}
	}
	r.each(ctx, r.service.WatchLoneWork) // nobody else may have looked while this instance was down
	c.Start()
	return func() { <-c.Stop().Done() }, nil
}

// each does one round for every firm; one firm's failure keeps no other
// waiting.
func (r rounds) each(ctx context.Context, do func(context.Context, uuid.UUID) error) {
	firms, err := r.schedule.Firms(ctx)
	if err != nil {
		r.log.Error("read which firms there are", "error", err)
		return
	}
	for _, f := range firms {
		if r.only != uuid.Nil && r.only != f.ID {
			continue
		}
		if err := do(ctx, f.ID); err != nil && ctx.Err() == nil {
			r.log.Error("round", "firm", f.ID, "error", err)
		}
	}
}

func (r rounds) forecasts(ctx context.Context, firm uuid.UUID) error {
	if r.fetch == nil {
		return nil
	}
	n, err := r.service.RefreshForecasts(ctx, firm, r.fetch)
	r.log.Info("forecasts read", "firm", firm, "sites", n)
	events, noticed := r.service.NoticeGusts(ctx, firm)
	if events > 0 {
		r.log.Info("gusts noticed at scaffolds", "firm", firm, "events", events)
	}
	return errors.Join(err, noticed)
}

// signHead signs the night's head of a firm's log of records.
func (r rounds) signHead(ctx context.Context, firm uuid.UUID) error {
	_, err := r.service.SignHead(ctx, firm)
	return err
}

func (r rounds) warnings(ctx context.Context, firm uuid.UUID) error {
	if r.warn == nil {
		return nil
	}
	return r.service.RefreshWarnings(ctx, firm, r.warn)
}
