package api

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"toeboard/migrations/tenant"
)

// answers keeps what each key was answered.
type answers struct{ pool *pgxpool.Pool }

// onceKey is whose key it is and what it is for.
type onceKey struct {
	Firm    uuid.UUID
	Person  uuid.UUID
	Route   string // method and route template
	Address string // as it was asked, with its query; only a record's identity is made from it
	Key     string
}

// storedAnswer is an answer as it was given.
type storedAnswer struct {
	Request [32]byte
	Status  int
	Body    []byte // header and content, see once.go
	MadeAt  time.Time
}

// recall gives the stored answer of a key. It writes the row it reads: under
// synchronous replication an answer may be visible here that no standby has
// yet, and only a transaction that writes waits for them. Without it a retry
// could be answered from a row that a failover then loses.
func (a answers) recall(ctx context.Context, k onceKey) (s storedAnswer, found bool, err error) {
	err = tenant.Write(ctx, a.pool, k.Firm, func(tx pgx.Tx) error {
		s, err = scanAnswer(tx.QueryRow(ctx, `
			UPDATE idempotency SET key = key
			WHERE firm_id = $1 AND person_id = $2 AND route = $3 AND key = $4
			RETURNING request_hash, status, answer, made_at`, k.Firm, k.Person, k.Route, k.Key))
		return err
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return storedAnswer{}, false, nil
	}
	return s, err == nil, err
}

// keep stores the answer of a key and gives back the one that counts: the first
// one stored, should two servers have run the same request at once.
func (a answers) keep(ctx context.Context, k onceKey, s storedAnswer) (storedAnswer, error) {
	err := tenant.Write(ctx, a.pool, k.Firm, func(tx pgx.Tx) error {
		var err error
		s, err = scanAnswer(tx.QueryRow(ctx, `
			INSERT INTO idempotency (firm_id, person_id, route, key, request_hash, status, answer, made_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
			ON CONFLICT (firm_id, person_id, route, key) DO UPDATE SET key = excluded.key
			RETURNING request_hash, status, answer, made_at`,
			k.Firm, k.Person, k.Route, k.Key, s.Request[:], s.Status, s.Body, s.MadeAt))
		return err
	})
	return s, err
}

func scanAnswer(row pgx.Row) (s storedAnswer, err error) {
	var hash []byte
	if err = row.Scan(&hash, &s.Status, &s.Body, &s.MadeAt); err == nil {
		copy(s.Request[:], hash)
	}
	return s, err
}
