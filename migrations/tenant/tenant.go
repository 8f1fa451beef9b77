// Package tenant runs work on the rows of one firm. Every store goes through
// it, so that no statement runs without the firm that the policies check.
package tenant

import (
	"context"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
)

// tries is how often a transaction that lost a race is run before the race is
// reported.
const tries = 3

// Write runs do in one read-committed transaction that sees only firm's rows.
// When it returns nil the commit is on disk. do may run again after a
// serialisation failure or deadlock, so it must not have effects outside the
// transaction.
func Write(ctx context.Context, pool *pgxpool.Pool, firm uuid.UUID, do func(pgx.Tx) error) error {
	return run(ctx, pool, firm, pgx.TxOptions{}, do)
}

// Serial runs do as Write does, but SERIALIZABLE, for changes that rest on what
// they read.
func Serial(ctx context.Context, pool *pgxpool.Pool, firm uuid.UUID, do func(pgx.Tx) error) error {
	return run(ctx, pool, firm, pgx.TxOptions{IsoLevel: pgx.Serializable}, do)
}

// Snapshot runs do in one REPEATABLE READ, read-only transaction: everything a
// decision rests on is read as it was at one instant.
func Snapshot(ctx context.Context, pool *pgxpool.Pool, firm uuid.UUID, do func(pgx.Tx) error) error {
	return run(ctx, pool, firm, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, do)
}

// Asking runs do in a read-only transaction that belongs to no firm yet. What
// may be asked is one of "email", "session", "link" and "answer"; held is what the asker
// already has, and only rows that match it can be seen.
func Asking(ctx context.Context, pool *pgxpool.Pool, what, held string, do func(pgx.Tx) error) error {
	return pgx.BeginTxFunc(ctx, pool, pgx.TxOptions{AccessMode: pgx.ReadOnly}, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `SELECT set_config($1, $2, true)`, "toeboard."+what, held); err != nil {
			return fmt.Errorf("ask by %s: %w", what, err)
		}
		return do(tx)
	})
}

func run(ctx context.Context, pool *pgxpool.Pool, firm uuid.UUID, opts pgx.TxOptions, do func(pgx.Tx) error) error {
	var err error
	for range tries {
		err = pgx.BeginTxFunc(ctx, pool, opts, func(tx pgx.Tx) error {
			if _, err := tx.Exec(ctx, `SELECT set_config('toeboard.firm', $1, true)`, firm.String()); err != nil {
				return fmt.Errorf("set the firm: %w", err)
			}
			return do(tx)
		})
		if !lostRace(err) {
			return Meaning(err)
		}
	}
	return Meaning(err)
}

func lostRace(err error) bool {
	var pg *pgconn.PgError
	return errors.As(err, &pg) && (pg.Code == "40001" || pg.Code == "40P01")
}
