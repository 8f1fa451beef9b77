package api

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
)

// setPIN keeps the hash of a person's PIN in place of an earlier one.
func (a accounts) setPIN(ctx context.Context, firm, person, by uuid.UUID, hash string, now time.Time) error {
	return tenant.Write(ctx, a.pool, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO signing_pin (firm_id, person_id, pin_hash, set_by_person_id, set_at) VALUES ($1, $2, $3, $4, $5)
			ON CONFLICT (firm_id, person_id)
			DO UPDATE SET pin_hash = excluded.pin_hash, set_by_person_id = excluded.set_by_person_id, set_at = excluded.set_at`,
			firm, person, hash, by, now.UTC())
		return err
	})
}

// pinHash gives the hash of a person's PIN; "" when none is set.
func (a accounts) pinHash(ctx context.Context, firm, person uuid.UUID) (hash string, err error) {
	return a.secretOf(ctx, firm, person, `SELECT pin_hash FROM signing_pin WHERE person_id = $1`)
}

// passwordHash gives the hash of a person's password; "" for somebody without a
// sign-in.
func (a accounts) passwordHash(ctx context.Context, firm, person uuid.UUID) (hash string, err error) {
	return a.secretOf(ctx, firm, person, `SELECT password_hash FROM login WHERE person_id = $1`)
}

func (a accounts) secretOf(ctx context.Context, firm, person uuid.UUID, sql string) (hash string, err error) {
	err = tenant.Snapshot(ctx, a.pool, firm, func(tx pgx.Tx) error {
		err := tx.QueryRow(ctx, sql, person).Scan(&hash)
		if errors.Is(err, pgx.ErrNoRows) {
			return nil
		}
		return err
	})
	if err != nil {
		return "", fmt.Errorf("read how a person proves who they are: %w", err)
	}
	return hash, nil
}

// pinsSet tells when each person's PIN was set; who has none is not in it.
func (a accounts) pinsSet(ctx context.Context, firm uuid.UUID) (map[uuid.UUID]time.Time, error) {
	set := map[uuid.UUID]time.Time{}
	err := tenant.Snapshot(ctx, a.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT person_id, set_at FROM signing_pin`)
		if err != nil {
			return err
		}
		var person uuid.UUID
		var at time.Time
		_, err = pgx.ForEachRow(rows, []any{&person, &at}, func() error { set[person] = at.UTC(); return nil })
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read who has a PIN: %w", err)
	}
	return set, nil
}
