package api

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
)

// SignIns gives the e-mail with which each person of a firm signs in; whoever
// has no sign-in is not in it.
func (s *Service) SignIns(ctx context.Context, firm uuid.UUID) (map[uuid.UUID]string, error) {
	all, err := s.accounts.emails(ctx, firm)
	if err != nil {
		return nil, fmt.Errorf("read who signs in: %w", err)
	}
	return all, nil
}

func (a accounts) emails(ctx context.Context, firm uuid.UUID) (map[uuid.UUID]string, error) {
	all := map[uuid.UUID]string{}
	err := tenant.Snapshot(ctx, a.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT person_id, email FROM login WHERE firm_id = $1`, firm)
		if err != nil {
			return err
		}
		var person uuid.UUID
		var email string
		_, err = pgx.ForEachRow(rows, []any{&person, &email}, func() error {
			all[person] = email
			return nil
		})
		return err
	})
	return all, err
}
