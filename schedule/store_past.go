package schedule

import (
	"context"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// PlanOn gives the plan that crews worked by on a day: the last one published
// before the day was over in the firm's zone, among those whose first day is
// not after it. A plan that is published in the course of a day begins on the
// next one, so that day keeps the plan it began with. NotFound when no plan
// reaches back to the day.
func (s *Store) PlanOn(ctx context.Context, firm uuid.UUID, day civil.Date) (Plan, error) {
	if !day.Known() {
		return Plan{}, fault.Bad("day", "", "the day whose plan is wanted")
	}
	var p Plan
	err := s.read(ctx, firm, func(tx pgx.Tx) error {
		f, err := readFirm(ctx, tx, firm)
		if err != nil {
			return err
		}
		loc, err := f.Location()
		if err != nil {
			return fmt.Errorf("read the firm's zone: %w", err)
		}
		var id uuid.UUID
		err = tx.QueryRow(ctx, `
			SELECT plan_id FROM plan
			WHERE firm_id = $1 AND state IN ('published', 'superseded') AND first_day <= $2 AND published_at < $3
			ORDER BY published_at DESC, version DESC LIMIT 1`, firm, day, (day+1).At(0, 0, loc).UTC()).Scan(&id)
		if errors.Is(err, pgx.ErrNoRows) {
			return fault.Missing("plan", day.String())
		}
		if err != nil {
			return fmt.Errorf("read which plan was in force: %w", err)
		}
		p, err = readPlan(ctx, tx, firm, whichPlan{id: id})
		return err
	})
	return p, err
}
