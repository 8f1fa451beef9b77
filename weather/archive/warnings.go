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

// Warnings is what a service of official warnings said last: a feed, or one
// message that a feed names.
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

// NewestWarnings gives what was last read from each of some addresses, by
// address. One that was never read is not there.
func (s *Store) NewestWarnings(ctx context.Context, firm uuid.UUID, addresses []string) (last map[string]Warnings, err error) {
	last = map[string]Warnings{}
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT a.feed, w.body, (SELECT max(fetched_at) FROM warning_answer r WHERE r.firm_id = $1 AND r.feed = a.feed) AS read_at
			FROM unnest($2::text[]) AS a (feed) CROSS JOIN LATERAL (
			  SELECT body FROM warning_answer WHERE firm_id = $1 AND feed = a.feed AND body IS NOT NULL
			  ORDER BY fetched_at DESC, answer_id DESC LIMIT 1) w`, firm, addresses)
		if err != nil {
			return fmt.Errorf("read warnings: %w", err)
		}
		var w Warnings
		_, err = pgx.ForEachRow(rows, []any{&w.Feed, &w.Body, &w.ReadAt}, func() error {
			w.ReadAt = w.ReadAt.UTC()
			last[w.Feed] = w
			w.Body = nil
			return nil
		})
		return err
	})
	return last, err
}
