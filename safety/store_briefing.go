package safety

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather/civil"
)

// SignedAt tells whether somebody signed at a job for some day from a date on.
func (s *Store) SignedAt(ctx context.Context, firm, job, person uuid.UUID, from civil.Date) (signed bool, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM sign_off WHERE job_id = $1 AND person_id = $2 AND on_day >= $3)`, job, person, from).Scan(&signed)
		if err != nil {
			return fmt.Errorf("read who signed at a job: %w", err)
		}
		return nil
	})
	return signed, err
}

// LastSigned tells of each person who signed at a job what they signed last, and
// what now says otherwise. Who never signed there is not in it.
func (s *Store) LastSigned(ctx context.Context, firm, job uuid.UUID, now AssessmentInForce) (map[uuid.UUID]SignedBefore, error) {
	all := map[uuid.UUID]SignedBefore{}
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT DISTINCT ON (person_id) person_id, assessment_id, on_day
			  FROM sign_off WHERE job_id = $1 ORDER BY person_id, received_at DESC, sign_off_id DESC`, job)
		if err != nil {
			return fmt.Errorf("read who signed last: %w", err)
		}
		signed := map[uuid.UUID]uuid.UUID{}
		var person, version uuid.UUID
		var b SignedBefore
		_, err = pgx.ForEachRow(rows, []any{&person, &version, &b.Day}, func() error {
			all[person], signed[person] = b, version
			return nil
		})
		if err != nil {
			return fmt.Errorf("read who signed last: %w", err)
		}
		bodies := map[uuid.UUID]*AssessmentInForce{now.ID: &now}
		for person, id := range signed {
			if bodies[id] == nil {
				if bodies[id], err = readAssessment(ctx, tx, `assessment_id = $1`, id); err != nil || bodies[id] == nil {
					return fmt.Errorf("read what was signed: %w", err)
				}
			}
			b := all[person]
			b.Version = bodies[id].Version
			for _, d := range Diff(bodies[id].Body, now.Body) {
				b.Changed = append(b.Changed, d.Sentence())
			}
			all[person] = b
		}
		return nil
	})
	return all, err
}
