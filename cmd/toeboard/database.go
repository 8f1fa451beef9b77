package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"

	"toeboard/migrations"
	"toeboard/migrations/localpg"
)

// database is the Postgres in use: somebody's own by its address, or a private
// one that this process started and stops.
type database struct {
	url     string
	private *localpg.Server // nil when DATABASE_URL was given
	pool    *pgxpool.Pool   // as the service's role
}

// openDatabase starts a private server unless one was named, migrates database
// name and opens the service's pool on it.
func openDatabase(ctx context.Context, s *Settings, name string, log io.Writer) (*database, error) {
	db := &database{url: s.DatabaseURL}
	if db.url == "" {
		if err := db.startPrivate(ctx, s, name, log); err != nil {
			return nil, err
		}
	}
	if err := db.ready(ctx); err != nil {
		db.Close()
		return nil, err
	}
	return db, nil
}

func (db *database) startPrivate(ctx context.Context, s *Settings, name string, log io.Writer) error {
	server, err := localpg.Start(ctx, localpg.Options{Dir: s.DataDir, Durable: true, NextIfBusy: true, Log: log})
	if err != nil {
		return err
	}
	db.private = server
	if err := server.EnsureDatabase(ctx, name); err != nil {
		db.Close()
		return fmt.Errorf("make the database %s: %w", name, err)
	}
	db.url = server.URL(name)
	return nil
}

// leastConns is how many connections the pool may hold on the smallest machine:
// pages must not wait for the queue, which takes a few.
const leastConns = 12

func (db *database) ready(ctx context.Context) error {
	if err := migrations.Up(ctx, db.url); err != nil {
		return fmt.Errorf("bring the database to this program's schema: %w", err)
	}
	pool, err := migrations.Service(ctx, db.url, func(c *pgxpool.Config) { c.MaxConns = max(c.MaxConns, leastConns) })
	if err != nil {
		return err
	}
	db.pool = pool
	return nil
}

// Close closes the pool and stops a private server.
func (db *database) Close() error {
	if db.pool != nil {
		db.pool.Close()
	}
	if db.private == nil {
		return nil
	}
	return db.private.Stop()
}

// lost is closed when a private server ends by itself; nil never is.
func (db *database) lost() <-chan struct{} {
	if db.private == nil {
		return nil
	}
	return db.private.Done()
}

// newID gives identifiers in order of time (RFC 9562 version 7): the one place
// they come from.
func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

// closeAll closes and reports, for deferred ends whose failure a person should
// still read.
func closeAll(log *slog.Logger, db *database) {
	if err := db.Close(); err != nil {
		log.Error("stop the private database", "error", err)
	}
}
