package schedule

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// reviseVisits lets the crews' calendars follow a plan that was just published.
func reviseVisits(ctx context.Context, tx pgx.Tx, firm uuid.UUID, p Plan, now time.Time) error {
	was, err := readVisitEvents(ctx, tx, firm, uuid.Nil)
	if err != nil {
		return err
	}
	b := &pgx.Batch{}
	for _, v := range ReviseVisits(was, p, now) {
		b.Queue(`
			INSERT INTO visit_event (firm_id, crew_id, job_id, stage, nth, first_half, last_half, off, sequence, changed_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
			ON CONFLICT (firm_id, crew_id, job_id, stage, nth) DO UPDATE
			SET first_half = excluded.first_half, last_half = excluded.last_half, off = excluded.off, sequence = excluded.sequence, changed_at = excluded.changed_at`,
			firm, v.Crew, v.Job, v.Stage.Key(), v.Nth, int(v.First), int(v.Last), v.Off, v.Sequence, v.ChangedAt)
	}
	if err := tx.SendBatch(ctx, b).Close(); err != nil {
		return fmt.Errorf("write the crews' calendars: %w", err)
	}
	return nil
}

// VisitEvents gives what a crew's calendar shows.
func (s *Store) VisitEvents(ctx context.Context, firm, crew uuid.UUID) (all []VisitEvent, err error) {
	err = s.read(ctx, firm, func(tx pgx.Tx) error {
		all, err = readVisitEvents(ctx, tx, firm, crew)
		return err
	})
	return all, err
}

// readVisitEvents reads those of a crew, or with Nil of every crew.
func readVisitEvents(ctx context.Context, tx pgx.Tx, firm, crew uuid.UUID) ([]VisitEvent, error) {
	rows, err := tx.Query(ctx, `
		SELECT crew_id, job_id, stage, nth, first_half, last_half, off, sequence, changed_at FROM visit_event
		WHERE firm_id = $1 AND ($2 = '00000000-0000-0000-0000-000000000000'::uuid OR crew_id = $2) ORDER BY first_half, job_id, stage, nth`, firm, crew)
	if err != nil {
		return nil, fmt.Errorf("read the crews' calendars: %w", err)
	}
	return pgx.CollectRows(rows, func(r pgx.CollectableRow) (v VisitEvent, err error) {
		var stage string
		var first, last int
		if err := r.Scan(&v.Crew, &v.Job, &stage, &v.Nth, &first, &last, &v.Off, &v.Sequence, &v.ChangedAt); err != nil {
			return v, err
		}
		v.First, v.Last, v.ChangedAt = civil.HalfDay(first), civil.HalfDay(last), v.ChangedAt.UTC()
		v.Stage, err = StageFromKey(stage)
		return v, err
	})
}

// NewCrewLink makes a secret address for a crew's calendar and takes back those
// there were. token is drawn by the caller, at least 128 random bits.
func (s *Store) NewCrewLink(ctx context.Context, firm, crew uuid.UUID, token, by string, now time.Time) error {
	switch {
	case len(token) < minToken:
		return fault.Bad("token", fmt.Sprintf("%d characters", len(token)), fmt.Sprintf("at least %d random characters", minToken))
	case by == "":
		return fault.Bad("by", "", "who asks for the address")
	}
	hash := sha256.Sum256([]byte(token))
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `UPDATE crew_link SET revoked_at = $3 WHERE firm_id = $1 AND crew_id = $2 AND revoked_at IS NULL`, firm, crew, instant(now)); err != nil {
			return fmt.Errorf("take back a crew's address: %w", err)
		}
		if _, err := tx.Exec(ctx, `INSERT INTO crew_link (firm_id, link_id, crew_id, token_hash, made_by, made_at) VALUES ($1, $2, $3, $4, $5, $6)`,
			firm, s.ids(), crew, hash[:], by, instant(now)); err != nil {
			return fmt.Errorf("make a crew's address: %w", err)
		}
		return nil
	})
}

// CrewByToken finds whose calendar a token opens, in whichever firm. One that was
// taken back is NotFound, as one that never was.
func (s *Store) CrewByToken(ctx context.Context, token string) (firm, crew uuid.UUID, err error) {
	hash := sha256.Sum256([]byte(token))
	found := false
	err = tenant.Asking(ctx, s.pool, "link", hex.EncodeToString(hash[:]), func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT firm_id, crew_id FROM crew_link WHERE token_hash = $1 AND revoked_at IS NULL`, hash[:])
		if err != nil {
			return fmt.Errorf("look for a crew's address: %w", err)
		}
		_, err = pgx.ForEachRow(rows, []any{&firm, &crew}, func() error { found = true; return nil })
		return err
	})
	if err == nil && !found {
		err = fault.Missing("address", "")
	}
	return firm, crew, tenant.Meaning(err)
}
