package archive

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather"
	"toeboard/weather/fault"
)

// ServicesVersion is one version of which weather services count, with who set
// it, when and why.
type ServicesVersion struct {
	weather.Services
	SetBy string
	SetAt time.Time // UTC
	Why   string
}

// Services gives the version that the firm set last; found is false while it has
// set none.
func (s *Store) Services(ctx context.Context, firm uuid.UUID) (v ServicesVersion, found bool, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		v, err = newestServices(ctx, tx, firm)
		if errors.Is(err, pgx.ErrNoRows) {
			return nil
		}
		found = err == nil
		return err
	})
	return v, found, err
}

// ServicesHistory gives every version that the firm set, the newest first.
func (s *Store) ServicesHistory(ctx context.Context, firm uuid.UUID) (list []ServicesVersion, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, servicesQuery+` ORDER BY version DESC`, firm)
		if err != nil {
			return fmt.Errorf("read which weather services count: %w", err)
		}
		list, err = pgx.CollectRows(rows, scanServices)
		return err
	})
	return list, err
}

const servicesQuery = `SELECT version, services, together, set_by, set_at, why FROM weather_services WHERE firm_id = $1`

func newestServices(ctx context.Context, tx pgx.Tx, firm uuid.UUID) (v ServicesVersion, err error) {
	rows, err := tx.Query(ctx, servicesQuery+` ORDER BY version DESC LIMIT 1`, firm)
	if err != nil {
		return v, fmt.Errorf("read which weather services count: %w", err)
	}
	return pgx.CollectExactlyOneRow(rows, scanServices)
}

func scanServices(row pgx.CollectableRow) (v ServicesVersion, err error) {
	err = row.Scan(&v.Version, &v.Order, &v.Together, &v.SetBy, &v.SetAt, &v.Why)
	v.SetAt = v.SetAt.UTC()
	return v, err
}

// SetServices stores which weather services count as the next version and gives
// its number. want.Version is the version that was looked at and changed: it is a
// Conflict when another is in force by now. by and why stand in the record.
func (s *Store) SetServices(ctx context.Context, firm uuid.UUID, want weather.Services, by, why string, now time.Time) (version int, err error) {
	if err := want.Check(); err != nil {
		return 0, err
	}
	if strings.TrimSpace(by) == "" {
		return 0, fault.Bad("by", by, "the name of whoever sets which weather services count")
	}
	if why = strings.TrimSpace(why); why == "" {
		return 0, fault.Bad("why", why, "why it is changed, in a few words")
	}
	err = tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		inForce, err := newestServices(ctx, tx, firm)
		switch {
		case errors.Is(err, pgx.ErrNoRows):
			inForce.Version = 1 // what a firm starts with has no row
		case err != nil:
			return err
		}
		if inForce.Version != want.Version {
			return fault.Changed("weather services", strconv.Itoa(want.Version), fmt.Sprintf("version %d is in force now: look at it and decide again", inForce.Version))
		}
		version = inForce.Version + 1
		_, err = tx.Exec(ctx, `INSERT INTO weather_services (firm_id, version, services, together, set_by, set_at, why) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
			firm, version, want.Order, string(want.Together), by, now.UTC(), why)
		if err != nil {
			return fmt.Errorf("keep which weather services count: %w", err)
		}
		return nil
	})
	if err != nil {
		return 0, err
	}
	return version, nil
}

// Heard is when a weather service last answered.
type Heard struct {
	Provider string
	Last     time.Time // UTC; zero = never
	Sites    int       // of how many sites an answer of it is kept
}

// Heard gives of each provider when it last answered, in the order in which they
// are named.
func (s *Store) Heard(ctx context.Context, firm uuid.UUID, providers []string) (list []Heard, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT p.name, max(f.fetched_at), count(f.fetched_at)
			FROM unnest($2::text[]) WITH ORDINALITY AS p (name, n) LEFT JOIN site t ON t.firm_id = $1 LEFT JOIN LATERAL (
			  SELECT fetched_at FROM forecast WHERE firm_id = t.firm_id AND site_id = t.site_id AND provider = p.name
			  ORDER BY fetched_at DESC LIMIT 1) f ON true
			GROUP BY p.name, p.n ORDER BY p.n`, firm, providers)
		if err != nil {
			return fmt.Errorf("read when the weather services answered: %w", err)
		}
		list, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (h Heard, err error) {
			var last *time.Time
			err = row.Scan(&h.Provider, &last, &h.Sites)
			if last != nil {
				h.Last = last.UTC()
			}
			return h, err
		})
		return err
	})
	return list, err
}
