package archive

import (
	"context"
	"encoding/json"
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

// Limits gives the limits in force: the version that the firm set last, the
// default ones, as version 1, while it has set none. What is stored is not
// checked again: limits that this program finds a hole in judge everything
// unknown and say why.
func (s *Store) Limits(ctx context.Context, firm uuid.UUID) (weather.Limits, error) {
	var l weather.Limits
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) (err error) {
		l, err = newestLimits(ctx, tx, firm)
		return err
	})
	return l, err
}

// LimitsVersion is one version that the firm set, with who, when and why.
type LimitsVersion struct {
	weather.Limits
	SetBy string
	SetAt time.Time // UTC
	Why   string    // "" in versions set before anybody was asked
}

// LimitsHistory gives every version that the firm set, the newest first.
func (s *Store) LimitsHistory(ctx context.Context, firm uuid.UUID) (list []LimitsVersion, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT version, body, set_by, set_at, why FROM limits WHERE firm_id = $1 ORDER BY version DESC`, firm)
		if err != nil {
			return fmt.Errorf("read the limits' versions: %w", err)
		}
		list, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (v LimitsVersion, err error) {
			var version int
			var body []byte
			if err := row.Scan(&version, &body, &v.SetBy, &v.SetAt, &v.Why); err != nil {
				return v, err
			}
			if err := json.Unmarshal(body, &v.Limits); err != nil {
				return v, fmt.Errorf("read the limits, version %d: %w", version, err)
			}
			v.Version, v.SetAt = version, v.SetAt.UTC()
			return v, nil
		})
		return err
	})
	return list, err
}

func newestLimits(ctx context.Context, tx pgx.Tx, firm uuid.UUID) (weather.Limits, error) {
	var version int
	var body []byte
	err := tx.QueryRow(ctx, `SELECT version, body FROM limits WHERE firm_id = $1 ORDER BY version DESC LIMIT 1`, firm).Scan(&version, &body)
	if errors.Is(err, pgx.ErrNoRows) {
		return weather.DefaultLimits(), nil
	}
	if err != nil {
		return weather.Limits{}, fmt.Errorf("read the limits: %w", err)
	}
	var l weather.Limits
	if err := json.Unmarshal(body, &l); err != nil {
		return weather.Limits{}, fmt.Errorf("read the limits, version %d: %w", version, err)
	}
	l.Version = version
	return l, nil
}

// SetLimits stores limits as the next version and gives its number. l.Version
// is the version that was looked at and changed: it is a Conflict when another
// is in force by now. by and why stand in the record.
func (s *Store) SetLimits(ctx context.Context, firm uuid.UUID, l weather.Limits, by, why string, now time.Time) (version int, err error) {
	if err := l.Check(); err != nil {
		return 0, err
	}
	if strings.TrimSpace(by) == "" {
		return 0, fault.Bad("by", by, "the name of whoever sets the limits")
	}
	if why = strings.TrimSpace(why); why == "" {
		return 0, fault.Bad("why", why, "why the limits are changed, in a few words")
	}
	err = tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		inForce, err := newestLimits(ctx, tx, firm)
		if err != nil {
			return err
		}
		if inForce.Version != l.Version {
			return fault.Changed("limits", strconv.Itoa(l.Version), fmt.Sprintf("version %d is in force now: look at it and decide again", inForce.Version))
		}
		version = inForce.Version + 1
		l.Version = version
		body, err := json.Marshal(l)
		if err != nil {
			return fmt.Errorf("write the limits: %w", err)
		}
		_, err = tx.Exec(ctx, `INSERT INTO limits (firm_id, version, body, set_by, set_at, why) VALUES ($1, $2, $3, $4, $5, $6)`, firm, version, body, by, now.UTC(), why)
		if err != nil {
			return fmt.Errorf("keep the limits: %w", err)
		}
		return nil
	})
	if err != nil {
		return 0, err
	}
	return version, nil
}
