package main

import (
	"context"
	"fmt"
	"os"
	"time"

	"toeboard/api"
)

type serveVerb struct {
	NoRounds bool `help:"Do not run the rounds here, nor make plans: another process runs 'toeboard work'."`
}

// Run serves every firm in the database until it is told to stop.
func (v serveVerb) Run(ctx context.Context, s *Settings) error {
	log := s.logger(os.Stderr)
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return err
	}
	defer closeAll(log, db)
	l, err := listen(s.Listen, false)
	if err != nil {
		return err
	}
	defer l.Close()
	base := s.PublicURL
	if base == "" {
		base = "http://" + l.Addr().String()
	}
	mails, err := s.post()
	if err != nil {
		return err
	}
	r, err := wire(db, now, base, log, s.runTimes, s.skies, mails)
	if err != nil {
		return err
	}
	if err := s.keysOutside(r.safety); err != nil {
		return err
	}
	if !v.NoRounds {
		stopWork, err := r.service.Work()
		if err != nil {
			return err
		}
		defer stopWork()
		stop, err := rounds{rooms: r, fetch: s.sourcesOrNone(log.Warn), warn: s.warner(now), log: log}.start(ctx)
		if err != nil {
			return err
		}
		defer stop()
	}
	log.Info("serving", "address", base)
	return serveUntilLost(ctx, db, l, r.service.Handler(), log)
}

// now is the real clock, in UTC.
func now() time.Time { return time.Now().UTC() }

// sourcesOrNone gives the weather clients, or none with a warning: the service
// runs without forecasts, and every roof is then unknown.
func (s *Settings) sourcesOrNone(warn func(string, ...any)) api.Sources {
	all, err := s.sources(now)
	if err != nil {
		warn("no forecasts are read, so no outdoor work will be clear", "because", err)
		return nil
	}
	return all
}

type workVerb struct{}

// Run runs the rounds and works the queue until it is told to stop, with one
// turn of the rounds at once to begin with.
func (workVerb) Run(ctx context.Context, s *Settings) error {
	log := s.logger(os.Stderr)
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return err
	}
	defer closeAll(log, db)
	mails, err := s.post()
	if err != nil {
		return err
	}
	r, err := wire(db, now, s.PublicURL, log, s.runTimes, s.skies, mails)
	if err != nil {
		return err
	}
	if err := s.keysOutside(r.safety); err != nil {
		return err
	}
	stopWork, err := r.service.Work()
	if err != nil {
		return err
	}
	defer stopWork()
	log.Info("working")
	turn := rounds{rooms: r, fetch: s.sourcesOrNone(log.Warn), warn: s.warner(now), log: log}
	stop, err := turn.start(ctx)
	if err != nil {
		return err
	}
	defer stop()
	turn.each(ctx, turn.forecasts)
	turn.each(ctx, turn.warnings)
	select {
	case <-ctx.Done():
		return nil
	case <-db.lost():
		return fmt.Errorf("the private database ended by itself: see %s", db.private.LogFile())
	}
}
