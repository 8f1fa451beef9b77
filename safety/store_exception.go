package safety

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather/fault"
)

// SetOwnRule stores what the firm makes of a condition that only advises, as its
// next version. r.Version is the version that was looked at, 0 for none.
func (s *Store) SetOwnRule(ctx context.Context, firm uuid.UUID, r OwnRule) (OwnRule, error) {
	switch {
	case !slices.Contains(OwnRuleCodes(), r.Code):
		return OwnRule{}, fault.Bad("rule", r.Code, "one of the firm's own, "+strings.Join(OwnRuleCodes(), ", ")+": nobody makes an exception from the law")
	case !said(r.Why):
		return OwnRule{}, fault.Bad("why", r.Why, "why the firm decides so, in a few words")
	}
	r.Version, r.SetAt = r.Version+1, stamp(r.SetAt)
	return r, s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO own_rule (firm_id, code, version, binding, holder_person_id, why, set_by_person_id, set_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`, firm, r.Code, r.Version, r.Binding, idOrNull(r.Holder.ID), r.Why, r.SetBy, r.SetAt)
		if err != nil {
			return fmt.Errorf("set a rule of the firm's own: %w", err)
		}
		return Keep(ctx, tx, firm, "own_rule", r.Code, r.Version)
	})
}

// OwnRules lists the rules in force, by code.
func (s *Store) OwnRules(ctx context.Context, firm uuid.UUID) (all []OwnRule, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		all, err = readOwnRules(ctx, tx)
		return err
	})
	return all, err
}

func readOwnRules(ctx context.Context, tx pgx.Tx) ([]OwnRule, error) {
	rows, err := tx.Query(ctx, `
		SELECT DISTINCT ON (r.code) r.code, r.version, r.binding, r.holder_person_id, p.name, r.why, r.set_by_person_id, r.set_at
		  FROM own_rule r LEFT JOIN person p ON (p.firm_id, p.person_id) = (r.firm_id, r.holder_person_id)
		 ORDER BY r.code, r.version DESC`)
	if err != nil {
		return nil, fmt.Errorf("read the firm's own rules: %w", err)
	}
	all := []OwnRule{}
	var r OwnRule
	var holder *uuid.UUID
	var name *string
	var holders []uuid.UUID
	_, err = pgx.ForEachRow(rows, []any{&r.Code, &r.Version, &r.Binding, &holder, &name, &r.Why, &r.SetBy, &r.SetAt}, func() error {
		one := r
		one.SetAt = r.SetAt.UTC()
		if holder != nil && name != nil {
			one.Holder = Person{ID: *holder, Name: *name}
			holders = append(holders, *holder)
		}
		all = append(all, one)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read the firm's own rules: %w", err)
	}
	by, err := readCompetences(ctx, tx, holders)
	for i := range all {
		all[i].Holder.Competences = by[all[i].Holder.ID]
	}
	return all, err
}

// RecordException records an exception from a firm's own rule. Sent again with
// the same identity it is the same exception.
func (s *Store) RecordException(ctx context.Context, firm uuid.UUID, e Exception) (Exception, error) {
	e.ID, e.At = s.orNew(e.ID), stamp(e.At)
	switch {
	case !slices.Contains(OwnRuleCodes(), e.Code):
		return Exception{}, &fault.Error{Kind: fault.Forbidden, Field: "exception", Value: e.Code, Want: "nobody makes an exception from a condition of the law, only from " + strings.Join(OwnRuleCodes(), ", ")}
	case !said(e.Reason):
		return Exception{}, fault.Bad("reason", e.Reason, "why it is safe to start all the same")
	}
	return e, s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			INSERT INTO rule_exception (firm_id, exception_id, crew_id, job_id, on_day, code, reason, by_person_id, at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) ON CONFLICT (firm_id, exception_id) DO NOTHING`,
			firm, e.ID, e.Crew, e.Job, e.Day, e.Code, e.Reason, e.By, e.At)
		if err != nil {
			return fmt.Errorf("record an exception: %w", err)
		}
		if tag.RowsAffected() == 0 {
			return waitForStandby(ctx, tx)
		}
		return Keep(ctx, tx, firm, "rule_exception", e.ID)
	})
}

// readOwnInto reads the firm's own rules and the exceptions of the morning.
func readOwnInto(ctx context.Context, tx pgx.Tx, snap *Snapshot) (err error) {
	if snap.OwnRules, err = readOwnRules(ctx, tx); err != nil {
		return err
	}
	rows, err := tx.Query(ctx, `
		SELECT exception_id, crew_id, job_id, on_day, code, reason, by_person_id, at
		  FROM rule_exception WHERE crew_id = $1 AND job_id = $2 AND on_day = $3 ORDER BY at, exception_id`, snap.Crew, snap.Job, snap.Day)
	if err != nil {
		return fmt.Errorf("read exceptions: %w", err)
	}
	var e Exception
	_, err = pgx.ForEachRow(rows, []any{&e.ID, &e.Crew, &e.Job, &e.Day, &e.Code, &e.Reason, &e.By, &e.At}, func() error {
		e.At = e.At.UTC()
		snap.Exceptions = append(snap.Exceptions, e)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read exceptions: %w", err)
	}
	return nil
}
