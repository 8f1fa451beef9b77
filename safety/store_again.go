package safety

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather"
	"toeboard/weather/fault"
)

// Briefing gives one briefing as it was recorded, so that a try of the same
// briefing whose answer was lost can be told from another one.
func (s *Store) Briefing(ctx context.Context, firm, id uuid.UUID) (Briefing, error) {
	b := Briefing{ID: id}
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		var checks []byte
		var gust *float64
		err := tx.QueryRow(ctx, `
			SELECT crew_id, job_id, on_day, assessment_id, checks, gust_ms, by_person_id, at
			  FROM briefing WHERE briefing_id = $1`, id).
			Scan(&b.Crew, &b.Job, &b.Day, &b.Assessment, &checks, &gust, &b.By, &b.At)
		if errors.Is(err, pgx.ErrNoRows) {
			return fault.Missing("briefing", id.String())
		}
		if err != nil {
			return fmt.Errorf("read a briefing: %w", err)
		}
		if gust != nil {
			b.GustMS = weather.Is(*gust)
		}
		b.At = b.At.UTC()
		if err := json.Unmarshal(checks, &b.Checks); err != nil {
			return fmt.Errorf("read briefing %s: %w", id, err)
		}
		return nil
	})
	return b, err
}
