package safety

import (
	"context"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather/fault"
)

// addCertificate stores what a handover certificate says.
func addCertificate(ctx context.Context, tx pgx.Tx, firm uuid.UUID, r ScaffoldReport) error {
	if r.Kind != Handover {
		return nil
	}
	_, err := tx.Exec(ctx, `INSERT INTO scaffold_handover (firm_id, report_id, design_ref, lifts, ties, received_by) VALUES ($1, $2, $3, $4, $5, $6)`,
		firm, r.ID, r.DesignRef, r.Lifts, r.Ties, r.ReceivedBy)
	if err != nil {
		return fmt.Errorf("add a handover certificate: %w", err)
	}
	return Keep(ctx, tx, firm, "scaffold_handover", r.ID)
}

// AddRemedy records what was done about a report's findings. The same identity
// again is the same remedy.
func (s *Store) AddRemedy(ctx context.Context, firm, job uuid.UUID, r Remedy) (Remedy, error) {
	r.ID, r.DoneAt, r.RecordedAt = s.orNew(r.ID), stamp(r.DoneAt), stamp(r.RecordedAt)
	if err := r.Check(); err != nil {
		return Remedy{}, err
	}
	err := s.write(ctx, firm, func(tx pgx.Tx) error {
		if err := reportOf(ctx, tx, job, r.Report); err != nil {
			return err
		}
		tag, err := tx.Exec(ctx, `
			INSERT INTO scaffold_remedy (firm_id, remedy_id, report_id, done, done_by, done_at, recorded_by, recorded_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8) ON CONFLICT (firm_id, remedy_id) DO NOTHING`,
			firm, r.ID, r.Report, r.Done, r.By, r.DoneAt, r.RecordedBy, r.RecordedAt)
		if err != nil {
			return fmt.Errorf("add a remedy: %w", err)
		}
		if tag.RowsAffected() == 0 {
			return waitForStandby(ctx, tx)
		}
		return Keep(ctx, tx, firm, "scaffold_remedy", r.ID)
	})
	return r, err
}

// AddDelivery records that a report was given to whom it was made for.
func (s *Store) AddDelivery(ctx context.Context, firm, job uuid.UUID, d Delivery) error {
	d.At, d.RecordedAt = stamp(d.At), stamp(d.RecordedAt)
	if err := d.Check(); err != nil {
		return err
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		if err := reportOf(ctx, tx, job, d.Report); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, `
			INSERT INTO scaffold_report_delivery (firm_id, report_id, given_to, delivered_at, recorded_by, recorded_at)
			VALUES ($1, $2, $3, $4, $5, $6)`, firm, d.Report, d.To, d.At, d.RecordedBy, d.RecordedAt)
		if err != nil {
			return fmt.Errorf("record a delivery: %w", err)
		}
		return Keep(ctx, tx, firm, "scaffold_report_delivery", d.Report)
	})
}

// reportOf refuses a report that is none of the job's.
func reportOf(ctx context.Context, tx pgx.Tx, job, report uuid.UUID) error {
	var one int
	err := tx.QueryRow(ctx, `SELECT 1 FROM scaffold_report WHERE job_id = $1 AND report_id = $2`, job, report).Scan(&one)
	if errors.Is(err, pgx.ErrNoRows) {
		return fault.Missing("report", report.String())
	}
	if err != nil {
		return fmt.Errorf("find the report: %w", err)
	}
	return nil
}

// ScaffoldFile reads everything that is recorded about one job's scaffold, in
// one transaction.
func (s *Store) ScaffoldFile(ctx context.Context, firm, job uuid.UUID) (ScaffoldFile, error) {
	var f ScaffoldFile
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		snap := Snapshot{Job: job}
		j, err := readJob(ctx, tx, job)
		if err != nil {
			return err
		}
		snap.Scaffold.Expected = j.scaffold
		if err := readScaffold(ctx, tx, &snap); err != nil {
			return err
		}
		f = ScaffoldFile{Job: job, ScaffoldRecord: snap.Scaffold, Remedies: []Remedy{}, Deliveries: []Delivery{}}
		rows, err := tx.Query(ctx, `
			SELECT r.remedy_id, r.report_id, r.done, r.done_by, r.done_at, r.recorded_by, r.recorded_at
			  FROM scaffold_remedy r JOIN scaffold_report s USING (firm_id, report_id) WHERE s.job_id = $1 ORDER BY r.done_at, r.remedy_id`, job)
		if err != nil {
			return fmt.Errorf("read remedies: %w", err)
		}
		var r Remedy
		_, err = pgx.ForEachRow(rows, []any{&r.ID, &r.Report, &r.Done, &r.By, &r.DoneAt, &r.RecordedBy, &r.RecordedAt}, func() error {
			r.DoneAt, r.RecordedAt = r.DoneAt.UTC(), r.RecordedAt.UTC()
			f.Remedies = append(f.Remedies, r)
			return nil
		})
		if err != nil {
			return fmt.Errorf("read remedies: %w", err)
		}
		rows, err = tx.Query(ctx, `
			SELECT d.report_id, d.given_to, d.delivered_at, d.recorded_by, d.recorded_at
			  FROM scaffold_report_delivery d JOIN scaffold_report s USING (firm_id, report_id) WHERE s.job_id = $1 ORDER BY d.delivered_at`, job)
		if err != nil {
			return fmt.Errorf("read deliveries: %w", err)
		}
		var d Delivery
		_, err = pgx.ForEachRow(rows, []any{&d.Report, &d.To, &d.At, &d.RecordedBy, &d.RecordedAt}, func() error {
			d.At, d.RecordedAt = d.At.UTC(), d.RecordedAt.UTC()
			f.Deliveries = append(f.Deliveries, d)
			return nil
		})
		return err
	})
	return f, err
}

// GustReadings gives the gusts that people read at a job since an instant, with
// a briefing or apart from one, the oldest first.
func (s *Store) GustReadings(ctx context.Context, firm, job uuid.UUID) ([]Reading, error) {
	all := []Reading{}
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT gust_ms, at FROM briefing WHERE job_id = $1 AND gust_ms IS NOT NULL
			UNION ALL SELECT gust_ms, at FROM sky_report WHERE job_id = $1 AND what = 'gust'
			ORDER BY at`, job)
		if err != nil {
			return fmt.Errorf("read gusts: %w", err)
		}
		var r Reading
		_, err = pgx.ForEachRow(rows, []any{&r.GustMS, &r.At}, func() error {
			r.At = r.At.UTC()
			all = append(all, r)
			return nil
		})
		return err
	})
	return all, err
}
