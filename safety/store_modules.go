package safety

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather/fault"
)

// ModulePlace is where one module sits on a roof, and the serial number of its
// inverter.
type ModulePlace struct {
	Row    int // from the eaves, 1 to 20
	Col    int // from the left, 1 to 40
	Serial string
	By     uuid.UUID
	At     time.Time // UTC
}

// PlainSerial brings a serial number to the one way in which it is kept: what a
// reader of labels or a thumb adds of spaces and small letters does not make it
// another.
func PlainSerial(s string) string {
	return strings.ToUpper(strings.Join(strings.Fields(s), ""))
}

// PlaceModule notes a module's place. A serial number stands once in a firm, a
// place holds one module; the same again is one.
func (s *Store) PlaceModule(ctx context.Context, firm, job uuid.UUID, m ModulePlace) error {
	m.Serial = PlainSerial(m.Serial)
	if m.Serial == "" {
		return fault.Bad("serial", "", "the serial number on the label")
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		var same bool
		if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM module_place WHERE job_id = $1 AND grid_row = $2 AND grid_col = $3 AND serial = $4)`,
			job, m.Row, m.Col, m.Serial).Scan(&same); err != nil || same {
			return err
		}
		_, err := tx.Exec(ctx, `
			INSERT INTO module_place (firm_id, job_id, grid_row, grid_col, serial, by_person_id, at)
			VALUES ($1, $2, $3, $4, $5, $6, $7)`, firm, job, m.Row, m.Col, m.Serial, m.By, stamp(m.At))
		if err != nil {
			return fmt.Errorf("note where a module sits: %w", err)
		}
		return nil
	})
}

// ClearPlace takes the module at a place off the drawing.
func (s *Store) ClearPlace(ctx context.Context, firm, job uuid.UUID, row, col int) error {
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `DELETE FROM module_place WHERE job_id = $1 AND grid_row = $2 AND grid_col = $3`, job, row, col)
		return err
	})
}

// Modules lists a job's modules by row and column.
func (s *Store) Modules(ctx context.Context, firm, job uuid.UUID) (all []ModulePlace, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		all = []ModulePlace{}
		rows, err := tx.Query(ctx, `SELECT grid_row, grid_col, serial, by_person_id, at FROM module_place WHERE job_id = $1 ORDER BY grid_row, grid_col`, job)
		if err != nil {
			return fmt.Errorf("read where modules sit: %w", err)
		}
		var m ModulePlace
		_, err = pgx.ForEachRow(rows, []any{&m.Row, &m.Col, &m.Serial, &m.By, &m.At}, func() error {
			m.At = m.At.UTC()
			all = append(all, m)
			return nil
		})
		return err
	})
	return all, err
}
