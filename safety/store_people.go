package safety

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// AddInduction keeps what somebody was told when they started, as they said by
// their own PIN. today is the firm's. The statement is made here. Sent again
// with the same identity it is the same induction.
func (s *Store) AddInduction(ctx context.Context, firm uuid.UUID, p Person, i Induction, today civil.Date) (Induction, error) {
	i.ID, i.Person, i.At = s.orNew(i.ID), p.ID, stamp(i.At)
	faults := i.Check(p.Name, today)
	if i.Proof != ByPIN {
		faults = append(faults, fault.Bad("proof", i.Proof, "what the person says by their own PIN"))
	}
	if err := errors.Join(faults...); err != nil {
		return Induction{}, err
	}
	i.Statement = InductionStatement(p.Name, i)
	covered, err := canonical(i.Covered)
	if err != nil {
		return Induction{}, err
	}
	return i, s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			INSERT INTO induction (firm_id, induction_id, person_id, on_day, given_by, covered, statement, proof, recorded_by_person_id, at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) ON CONFLICT (firm_id, induction_id) DO NOTHING`,
			firm, i.ID, i.Person, i.On, i.GivenBy, covered, i.Statement, i.Proof, i.RecordedBy, i.At)
		if err != nil {
			return fmt.Errorf("keep an induction: %w", err)
		}
		if tag.RowsAffected() == 0 {
			return waitForStandby(ctx, tx)
		}
		return Keep(ctx, tx, firm, "induction", i.ID)
	})
}

// Inductions gives what each person of a firm was told when they started, by
// person; who has none is not in it.
func (s *Store) Inductions(ctx context.Context, firm uuid.UUID) (by map[uuid.UUID][]Induction, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		by, err = readInductions(ctx, tx, `true`)
		return err
	})
	return by, err
}

// readInductions reads inductions by person, oldest first. where is SQL of this
// package.
func readInductions(ctx context.Context, tx pgx.Tx, where string, args ...any) (map[uuid.UUID][]Induction, error) {
	rows, err := tx.Query(ctx, `
		SELECT induction_id, person_id, on_day, given_by, covered, statement, proof, recorded_by_person_id, at
		  FROM induction WHERE `+where+` ORDER BY person_id, at, induction_id`, args...)
	if err != nil {
		return nil, fmt.Errorf("read inductions: %w", err)
	}
	by := map[uuid.UUID][]Induction{}
	var i Induction
	var covered []byte
	_, err = pgx.ForEachRow(rows, []any{&i.ID, &i.Person, &i.On, &i.GivenBy, &covered, &i.Statement, &i.Proof, &i.RecordedBy, &i.At}, func() error {
		one := i
		if err := json.Unmarshal(covered, &one.Covered); err != nil {
			return fmt.Errorf("read induction %s: %w", i.ID, err)
		}
		one.At = i.At.UTC()
		by[i.Person] = append(by[i.Person], one)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read inductions: %w", err)
	}
	return by, nil
}

// NotFitOn tells who declared that they are not fit for work on a day and did
// not take it back. Why is nowhere.
func (s *Store) NotFitOn(ctx context.Context, firm uuid.UUID, day civil.Date) (map[uuid.UUID]bool, error) {
	not := map[uuid.UUID]bool{}
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT DISTINCT ON (person_id) person_id, NOT fit FROM fitness WHERE on_day = $1 ORDER BY person_id, at DESC, declaration_id DESC`, day)
		if err != nil {
			return fmt.Errorf("read who is not fit: %w", err)
		}
		var person uuid.UUID
		var unfit bool
		_, err = pgx.ForEachRow(rows, []any{&person, &unfit}, func() error { not[person] = unfit; return nil })
		return err
	})
	return not, err
}
