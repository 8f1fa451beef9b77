package archive

import (
	"bytes"
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather/fault"
)

// Warnings is what a service of official warnings said last.
type Warnings struct {
	Feed   string    // its address
	ReadAt time.Time // UTC; when it was last read, changed or not
	Body   []byte    // as it came
}

// SaveWarnings keeps an answer. One that is the same as the one before is kept
// as having been read.
func (s *Store) SaveWarnings(ctx context.Context, firm uuid.UUID, w Warnings) error {
	switch {
	case w.Feed == "":
		return fault.Bad("feed", "", "the address of the warning service")
	case w.ReadAt.IsZero():
		return fault.Bad("read at", "", "when the answer came")
	case len(w.Body) == 0 || len(w.Body) > maxBody:
		return fault.Bad("warnings", fmt.Sprintf("%d bytes", len(w.Body)), fmt.Sprintf("an answer of at most %d MB", maxBody>>20))
	}
	return tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		var last []byte
		err := tx.QueryRow(ctx, `
			SELECT coalesce((SELECT body FROM warning_answer WHERE firm_id = $1 AND feed = $2 AND body IS NOT NULL
			                 ORDER BY fetched_at DESC, answer_id DESC LIMIT 1), '')`, firm, w.Feed).Scan(&last)
		if err != nil {
			return fmt.Errorf("read the last warnings: %w", err)
		}
		body := w.Body
		if bytes.Equal(body, last) {
			body = nil
		}
		_, err = tx.Exec(ctx, `INSERT INTO warning_answer (firm_id, answer_id, feed, fetched_at, body) VALUES ($1, $2, $3, $4, $5)`, firm, s.ids(), w.Feed, w.ReadAt.UTC(), body)
		if err != nil {
			return fmt.Errorf("keep warnings: %w", err)
		}
		return nil
	})
}

// NewestWarnings gives what each feed said last, in the order of their
// addresses. A feed that was never read is not there.
func (s *Store) NewestWarnings(ctx context.Context, firm uuid.UUID) (list []Warnings, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT DISTINCT ON (w.feed) w.feed, w.body,
			       (SELECT max(fetched_at) FROM warning_answer r WHERE r.firm_id = w.firm_id AND r.feed = w.feed) AS read_at
			FROM warning_answer w WHERE w.firm_id = $1 AND w.body IS NOT NULL
			ORDER BY w.feed, w.fetched_at DESC, w.answer_id DESC`, firm)
		if err != nil {
			return fmt.Errorf("read warnings: %w", err)
		}
		list, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (w Warnings, err error) {
			err = row.Scan(&w.Feed, &w.Body, &w.ReadAt)
			w.ReadAt = w.ReadAt.UTC()
			return w, err
		})
		return err
	})
	return list, err
}
