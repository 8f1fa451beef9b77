package migrations

import (
	"context"
	"fmt"
	"log/slog"
	"strconv"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"
)

// QueueSchema is where the queue's tables stand, apart from ours: River brings
// and numbers its own migrations.
const QueueSchema = "queue"

// grantQueue lets the service's role work the queue, not migrate it.
const grantQueue = `
	DO $$
	DECLARE t text;
	BEGIN
	  FOR t IN SELECT c.relname FROM pg_class c WHERE c.relnamespace = 'queue'::regnamespace AND c.relkind = 'r' AND c.relname <> 'river_migration'
	  LOOP
	    EXECUTE format('GRANT SELECT, INSERT, UPDATE, DELETE ON queue.%I TO toeboard_app', t);
	  END LOOP;
	END $$;
	GRANT USAGE ON ALL SEQUENCES IN SCHEMA queue TO toeboard_app`

// queueUp brings the queue's tables to what this program's River wants. It is
// called under the migration lock. Each of River's migrations is a transaction
// of its own with its number, so one that is killed is simply run again.
func queueUp(ctx context.Context, url string) error {
	pool, err := riverPool(ctx, url)
	if err != nil {
		return err
	}
	defer pool.Close()
	m, err := riverMigrator(pool)
	if err != nil {
		return err
	}
	if _, err := m.Migrate(ctx, rivermigrate.DirectionUp, nil); err != nil {
		return fmt.Errorf("migrating the queue: %w", err)
	}
	_, err = pool.Exec(ctx, grantQueue)
	return wrap("letting the service use the queue", err)
}

func riverPool(ctx context.Context, url string) (*pgxpool.Pool, error) {
	one, err := config(url)
	if err != nil {
		return nil, err
	}
	cfg, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("reading the database address: %w", err)
	}
	one.RuntimeParams["lock_timeout"] = strconv.FormatInt(lockWait.Milliseconds(), 10)
	one.RuntimeParams["application_name"] = migratorName
	cfg.ConnConfig, cfg.MaxConns = one, 1
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	return pool, wrap("preparing to migrate the queue", err)
}

func riverMigrator(pool *pgxpool.Pool) (*rivermigrate.Migrator[pgx.Tx], error) {
	m, err := rivermigrate.New(riverpgxv5.New(pool), &rivermigrate.Config{Schema: QueueSchema, Logger: slog.New(slog.DiscardHandler)})
	return m, wrap("reading the queue's migrations", err)
}

// riverVersions are the numbers of the queue's migrations that this program
// knows.
func riverVersions() (all []int) {
	m, err := riverMigrator(nil)
	if err != nil {
		panic(err) // the files are embedded in the library
	}
	for _, v := range m.AllVersions() {
		all = append(all, v.Version)
	}
	return all
}
