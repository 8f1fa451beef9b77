package schedule

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather/fault"
)

// Rates gives the rates in force: those that the firm set last, or as version 1
// those that it began with.
func (s *Store) Rates(ctx context.Context, firm uuid.UUID) (RatesVersion, error) {
	var v RatesVersion
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		v, err = newestRates(ctx, tx, firm)
		return err
	})
	return v, err
}

// RatesHistory gives every version that the firm set, the newest first.
func (s *Store) RatesHistory(ctx context.Context, firm uuid.UUID) ([]RatesVersion, error) {
	var all []RatesVersion
	err := s.read(ctx, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT version, body, set_by, set_at FROM rates WHERE firm_id = $1 ORDER BY version DESC`, firm)
		if err != nil {
			return fmt.Errorf("read the rates: %w", err)
		}
		all, err = pgx.CollectRows(rows, scanRates)
		return err
	})
	return all, err
}

func scanRates(row pgx.CollectableRow) (v RatesVersion, err error) {
	var body []byte
	if err = row.Scan(&v.Version, &body, &v.SetBy, &v.SetAt); err != nil {
		return v, fmt.Errorf("read the rates: %w", err)
	}
	v.SetAt = v.SetAt.UTC()
	v.Rates, err = ratesFromStore(body)
	return v, err
}

func newestRates(ctx context.Context, tx pgx.Tx, firm uuid.UUID) (RatesVersion, error) {
	rows, err := tx.Query(ctx, `SELECT version, body, set_by, set_at FROM rates WHERE firm_id = $1 ORDER BY version DESC LIMIT 1`, firm)
	if err != nil {
		return RatesVersion{}, fmt.Errorf("read the rates: %w", err)
	}
	all, err := pgx.CollectRows(rows, scanRates)
	if err != nil || len(all) > 0 {
		return append(all, RatesVersion{})[0], err
	}
	var body []byte
	err = tx.QueryRow(ctx, `SELECT rates FROM firm WHERE firm_id = $1`, firm).Scan(&body)
	if errors.Is(err, pgx.ErrNoRows) {
		return RatesVersion{}, fault.Missing("firm", firm.String())
	}
	if err != nil {
		return RatesVersion{}, fmt.Errorf("read the rates that the firm began with: %w", err)
	}
	r, err := ratesFromStore(body)
	return RatesVersion{Rates: r, Version: 1}, err
}

// SetRates stores rates as the next version and gives its number. version is
// the one that was looked at and changed: it is a Conflict when another is in
// force by now, unless that is just this, set by the same person: the same again
// is one. Nothing is changed in plans that are made.
func (s *Store) SetRates(ctx context.Context, firm uuid.UUID, r Rates, version int, by string, now time.Time) (int, error) {
	if err := r.Check(); err != nil {
		return 0, err
	}
	if strings.TrimSpace(by) == "" {
		return 0, fault.Bad("by", by, "the name of whoever sets the rates")
	}
	next := 0
	err := tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		is, err := newestRates(ctx, tx, firm)
		if err != nil {
			return err
		}
		if is.Version == version+1 && is.Rates == r && is.SetBy == by {
			next = is.Version
			return nil
		}
		if is.Version != version {
			return fault.Changed("rates", strconv.Itoa(version), fmt.Sprintf("version %d is in force now: look at it and decide again", is.Version))
		}
		next = is.Version + 1
		_, err = tx.Exec(ctx, `INSERT INTO rates (firm_id, version, body, set_by, set_at) VALUES ($1, $2, $3, $4, $5)`,
			firm, next, RatesJSON(r), by, instant(now))
		if err != nil {
			return fmt.Errorf("keep the rates: %w", err)
		}
		return nil
	})
	if err != nil {
		return 0, err
	}
	return next, nil
}

// Travel gives the distances in force; version 0 has none.
func (s *Store) Travel(ctx context.Context, firm uuid.UUID) (TravelVersion, error) {
	var v TravelVersion
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		v, err = newestTravel(ctx, tx, firm)
		return err
	})
	return v, err
}

func newestTravel(ctx context.Context, tx pgx.Tx, firm uuid.UUID) (v TravelVersion, err error) {
	var legs []byte
	err = tx.QueryRow(ctx, `SELECT version, legs, set_by, set_at FROM travel_matrix WHERE firm_id = $1 ORDER BY version DESC LIMIT 1`, firm).
		Scan(&v.Version, &legs, &v.SetBy, &v.SetAt)
	if errors.Is(err, pgx.ErrNoRows) {
		return TravelVersion{}, nil
	}
	if err != nil {
		return v, fmt.Errorf("read the distances: %w", err)
	}
	v.SetAt = v.SetAt.UTC()
	if err := json.Unmarshal(legs, &v.Legs); err != nil {
		return v, fmt.Errorf("read the distances, version %d: %w", v.Version, err)
	}
	return v, nil
}

// SetTravel stores distances in place of those in force, whose version is the
// one that was looked at, under the rules of SetRates. No legs at all means
// estimates everywhere again.
func (s *Store) SetTravel(ctx context.Context, firm uuid.UUID, legs []Leg, version int, by string, now time.Time) (int, error) {
	if strings.TrimSpace(by) == "" {
		return 0, fault.Bad("by", by, "the name of whoever sets the distances")
	}
	legs, err := CheckLegs(legs)
	if err != nil {
		return 0, err
	}
	if legs == nil {
		legs = []Leg{}
	}
	body, err := json.Marshal(legs)
	if err != nil {
		return 0, fmt.Errorf("write the distances: %w", err)
	}
	next := 0
	err = tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		is, err := newestTravel(ctx, tx, firm)
		if err != nil {
			return err
		}
		if is.Version == version+1 && slices.Equal(is.Legs, legs) && is.SetBy == by {
			next = is.Version
			return nil
		}
		if is.Version != version {
			return fault.Changed("distances", strconv.Itoa(version), fmt.Sprintf("version %d is in force now: look at it and decide again", is.Version))
		}
		next = is.Version + 1
		_, err = tx.Exec(ctx, `INSERT INTO travel_matrix (firm_id, version, legs, set_by, set_at) VALUES ($1, $2, $3, $4, $5)`, firm, next, body, by, instant(now))
		if err != nil {
			return fmt.Errorf("keep the distances: %w", err)
		}
		return nil
	})
	if err != nil {
		return 0, err
	}
	return next, nil
}
