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

// Clearance is the record that a module was taken off a roof's drawing: what
// was there, who had put it there and when, who took it away and when.
type Clearance struct {
	ID       uuid.UUID
	Was      ModulePlace
	By       uuid.UUID
	At       time.Time // UTC
	PlacedBy string    // the names of both
	ByName   string
}

// ClearPlace takes the module at a place off the drawing, and keeps a record of
// what was there. Sent again with the same identity, or where nothing is, it
// changes nothing.
func (s *Store) ClearPlace(ctx context.Context, firm, job, id uuid.UUID, row, col int, by uuid.UUID, at time.Time) error {
	id = s.orNew(id)
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		var again bool
		if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM module_clearance WHERE clearance_id = $1)`, id).Scan(&again); err != nil {
			return fmt.Errorf("read what left a roof: %w", err)
		}
		if again {
			return waitForStandby(ctx, tx)
		}
		tag, err := tx.Exec(ctx, `
			WITH gone AS (DELETE FROM module_place WHERE job_id = $1 AND grid_row = $2 AND grid_col = $3 RETURNING serial, by_person_id, at)
			INSERT INTO module_clearance (firm_id, clearance_id, job_id, grid_row, grid_col, serial, placed_by_person_id, placed_at, by_person_id, at)
			SELECT $4, $5, $1, $2, $3, serial, by_person_id, at, $6, $7 FROM gone`, job, row, col, firm, id, by, stamp(at))
		if err != nil {
			return fmt.Errorf("take a module off the drawing: %w", err)
		}
		if tag.RowsAffected() == 0 {
			return nil
		}
		return Keep(ctx, tx, firm, "module_clearance", id)
	})
}

// Clearances lists what left a job's drawing, the oldest first.
func (s *Store) Clearances(ctx context.Context, firm, job uuid.UUID) (all []Clearance, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		all = []Clearance{}
		rows, err := tx.Query(ctx, `
			SELECT c.clearance_id, c.grid_row, c.grid_col, c.serial, c.placed_by_person_id, c.placed_at, c.by_person_id, c.at, o.name, p.name
			  FROM module_clearance c
			  JOIN person o ON (o.firm_id, o.person_id) = (c.firm_id, c.placed_by_person_id)
			  JOIN person p ON (p.firm_id, p.person_id) = (c.firm_id, c.by_person_id)
			 WHERE c.job_id = $1 ORDER BY c.at, c.clearance_id`, job)
		if err != nil {
			return fmt.Errorf("read what left a roof: %w", err)
		}
		var c Clearance
		_, err = pgx.ForEachRow(rows, []any{&c.ID, &c.Was.Row, &c.Was.Col, &c.Was.Serial, &c.Was.By, &c.Was.At, &c.By, &c.At, &c.PlacedBy, &c.ByName}, func() error {
			c.At, c.Was.At = c.At.UTC(), c.Was.At.UTC()
			all = append(all, c)
			return nil
		})
		return err
	})
	return all, err
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
