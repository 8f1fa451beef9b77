package safety

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather/fault"
)

// AddRecord keeps a record of a job, with its photo if there is one, both or
// neither. Sent again with the same identity and
// content it is the same record; with other content it is a conflict.
func (s *Store) AddRecord(ctx context.Context, firm uuid.UUID, r Record, photo *KeptPhoto) (Record, error) {
	r.ID, r.At, r.RecordedAt = s.orNew(r.ID), stamp(r.At), stamp(r.RecordedAt)
	if photo != nil {
		r.Body = maps.Clone(r.Body)
		r.Body["photo"], r.Body[photoSum] = photo.ID.String(), photo.SHA256.String()
	}
	if err := CheckRecord(r.Kind, r.Body); err != nil {
		return Record{}, err
	}
	if r.At.IsZero() || r.At.After(r.RecordedAt) {
		return Record{}, fault.Bad("at", "", "a time that has passed")
	}
	body, err := canonical(r.Body)
	if err != nil {
		return Record{}, err
	}
	return r, s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			INSERT INTO job_record (firm_id, record_id, job_id, kind, at, body, by_person_id, recorded_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8) ON CONFLICT (firm_id, record_id) DO NOTHING`,
			firm, r.ID, r.Job, r.Kind, r.At, body, r.By, r.RecordedAt)
		if err != nil {
			return fmt.Errorf("keep a record of a job: %w", err)
		}
		if tag.RowsAffected() == 1 {
			if photo != nil {
				_, err := tx.Exec(ctx, `INSERT INTO photo (firm_id, photo_id, job_id, sha256, media_type, body, taken_by, kept_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
					firm, photo.ID, r.Job, photo.SHA256[:], photo.MediaType, photo.Body, r.ByName, r.RecordedAt)
				if err != nil {
					return fmt.Errorf("keep a photo: %w", err)
				}
			}
			return Keep(ctx, tx, firm, "job_record", r.ID)
		}
		var same bool
		err = tx.QueryRow(ctx, `SELECT job_id = $2 AND kind = $3 AND body = $4 AND by_person_id = $5 FROM job_record WHERE record_id = $1`,
			r.ID, r.Job, r.Kind, body, r.By).Scan(&same)
		switch {
		case err != nil:
			return fmt.Errorf("read a record of a job: %w", err)
		case !same:
			return &fault.Error{Kind: fault.Conflict, Field: "record", Value: r.ID.String(), Want: "another record already has this identity: record it again"}
		}
		return waitForStandby(ctx, tx)
	})
}

// JobRecords lists the records of a job, the oldest first; kinds = none means
// every kind.
func (s *Store) JobRecords(ctx context.Context, firm, job uuid.UUID, kinds ...string) ([]Record, error) {
	return s.records(ctx, firm, `r.job_id = $1 AND (cardinality($2::text[]) = 0 OR r.kind = ANY ($2))`, job, append([]string{}, kinds...))
}

// RecordsOf lists all of a firm's records of some kinds, the oldest first.
func (s *Store) RecordsOf(ctx context.Context, firm uuid.UUID, kinds ...string) ([]Record, error) {
	return s.records(ctx, firm, `r.kind = ANY ($1)`, append([]string{}, kinds...))
}

func (s *Store) records(ctx context.Context, firm uuid.UUID, where string, args ...any) (all []Record, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		all, err = readRecords(ctx, tx, where, args...)
		return err
	})
	return all, err
}

func readRecords(ctx context.Context, tx pgx.Tx, where string, args ...any) ([]Record, error) {
	all := []Record{}
	rows, err := tx.Query(ctx, `
		SELECT r.record_id, r.job_id, j.ref, r.kind, r.at, r.body, r.by_person_id, p.name, r.recorded_at
		  FROM job_record r
		  JOIN job j ON (j.firm_id, j.job_id) = (r.firm_id, r.job_id)
		  JOIN person p ON (p.firm_id, p.person_id) = (r.firm_id, r.by_person_id)
		 WHERE `+where+` ORDER BY r.at, r.recorded_at, r.record_id`, args...)
	if err != nil {
		return nil, fmt.Errorf("read records of jobs: %w", err)
	}
	var r Record
	var body []byte
	_, err = pgx.ForEachRow(rows, []any{&r.ID, &r.Job, &r.JobRef, &r.Kind, &r.At, &body, &r.By, &r.ByName, &r.RecordedAt}, func() error {
		one := r
		one.At, one.RecordedAt, one.Body = r.At.UTC(), r.RecordedAt.UTC(), nil
		if err := json.Unmarshal(body, &one.Body); err != nil {
			return fmt.Errorf("read record %s: %w", r.ID, err)
		}
		all = append(all, one)
		return nil
	})
	return all, err
}

// readIsolations reads the open permits to isolate at the job.
func readIsolations(ctx context.Context, tx pgx.Tx, snap *Snapshot) error {
	all, err := readRecords(ctx, tx, `r.job_id = $1 AND r.kind = ANY ($2)`, snap.Job, []string{Isolation, IsolationTaken, IsolationEnd})
	snap.Isolations = OpenIsolations(all)
	return err
}

// DeclareFitness keeps whether somebody is fit for work on a day.
func (s *Store) DeclareFitness(ctx context.Context, firm uuid.UUID, f Fitness) error {
	f.ID, f.At = s.orNew(f.ID), stamp(f.At)
	if !f.Day.Known() {
		return fault.Bad("day", "", "the day it is about")
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			INSERT INTO fitness (firm_id, declaration_id, person_id, on_day, fit, by_person_id, at)
			VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT (firm_id, declaration_id) DO NOTHING`,
			firm, f.ID, f.Person, f.Day, f.Fit, f.By, f.At)
		if err != nil {
			return fmt.Errorf("keep whether somebody is fit: %w", err)
		}
		if tag.RowsAffected() == 0 {
			return sameFitness(ctx, tx, firm, f)
		}
		return Keep(ctx, tx, firm, "fitness", f.ID)
	})
}

// sameFitness lets the same declaration be sent again, and refuses another one
// under its identifier.
func sameFitness(ctx context.Context, tx pgx.Tx, firm uuid.UUID, f Fitness) error {
	var same bool
	if err := tx.QueryRow(ctx, `SELECT person_id = $3 AND on_day = $4 AND fit = $5 FROM fitness WHERE firm_id = $1 AND declaration_id = $2`,
		firm, f.ID, f.Person, f.Day, f.Fit).Scan(&same); err != nil {
		return fmt.Errorf("read a declaration again: %w", err)
	}
	if !same {
		return fault.Changed("fitness", "", "something else was declared under this identifier: send it anew")
	}
	return waitForStandby(ctx, tx)
}
