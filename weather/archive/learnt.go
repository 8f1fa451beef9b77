package archive

import (
	"bytes"
	"context"
	"encoding/csv"
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

// Calibration is one version of what kept chances taught.
type Calibration struct {
	Version  int // 0 = nothing was learnt yet
	Learnt   weather.Shrinkage
	Lesson   weather.Lesson // what the forecasts were worth; empty in versions made before it was kept
	Outcomes int            // half-days it was learnt from
	MadeBy   string
	MadeAt   time.Time // UTC
}

// Calibration gives what was learnt last; version 0 when nothing was.
func (s *Store) Calibration(ctx context.Context, firm uuid.UUID) (c Calibration, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		var body []byte
		err := tx.QueryRow(ctx, `SELECT version, learnt, outcomes, made_by, made_at FROM calibration WHERE firm_id = $1 ORDER BY version DESC LIMIT 1`, firm).
			Scan(&c.Version, &body, &c.Outcomes, &c.MadeBy, &c.MadeAt)
		if errors.Is(err, pgx.ErrNoRows) {
			c = Calibration{}
			return nil
		}
		if err != nil {
			return fmt.Errorf("read what was learnt: %w", err)
		}
		c.MadeAt = c.MadeAt.UTC()
		var kept keptLesson
		if err := json.Unmarshal(body, &kept); err != nil {
			return fmt.Errorf("read what was learnt, version %d: %w", c.Version, err)
		}
		c.Learnt, c.Lesson = kept.Shrinkage, kept.Lesson
		return nil
	})
	return c, err
}

// keptLesson is what stands in the column learnt.
type keptLesson struct {
	weather.Shrinkage
	Lesson weather.Lesson `json:"lesson"`
}

// SaveCalibration keeps what was learnt as the next version and gives its
// number.
func (s *Store) SaveCalibration(ctx context.Context, firm uuid.UUID, c Calibration) (version int, err error) {
	if strings.TrimSpace(c.MadeBy) == "" {
		return 0, fault.Bad("by", c.MadeBy, "the name of whoever asked for it")
	}
	body, err := json.Marshal(keptLesson{c.Learnt, c.Lesson})
	if err != nil {
		return 0, fmt.Errorf("write what was learnt: %w", err)
	}
	err = tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		return tx.QueryRow(ctx, `
			INSERT INTO calibration (firm_id, version, learnt, outcomes, made_by, made_at)
			VALUES ($1, (SELECT coalesce(max(version), 0) + 1 FROM calibration WHERE firm_id = $1), $2, $3, $4, $5) RETURNING version`,
			firm, body, c.Outcomes, c.MadeBy, c.MadeAt.UTC()).Scan(&version)
	})
	if err != nil {
		return 0, fmt.Errorf("keep what was learnt: %w", err)
	}
	return version, nil
}

// Climate gives the climate that the firm chose last, the usual one while it
// has chosen none.
func (s *Store) Climate(ctx context.Context, firm uuid.UUID) (c weather.Climate, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		var of, counted string
		err := tx.QueryRow(ctx, `SELECT of, counted FROM climate WHERE firm_id = $1 ORDER BY version DESC LIMIT 1`, firm).Scan(&of, &counted)
		if errors.Is(err, pgx.ErrNoRows) {
			c = weather.DefaultClimate()
			return nil
		}
		if err != nil {
			return fmt.Errorf("read the climate: %w", err)
		}
		rows, err := weather.ParseClimate([]byte(counted))
		if err != nil {
			return fmt.Errorf("read the climate: %w", err)
		}
		c = weather.NewClimate(of, rows)
		return nil
	})
	return c, err
}

// SetClimate makes counted rows the firm's climate and gives the version's
// number. of says where and when the record comes from.
func (s *Store) SetClimate(ctx context.Context, firm uuid.UUID, of string, rows []weather.ClimateRow, by string, now time.Time) (version int, err error) {
	switch {
	case strings.TrimSpace(of) == "":
		return 0, fault.Bad("of", of, "where and when the record comes from, such as: Lincoln, 2016 to 2025")
	case strings.TrimSpace(by) == "":
		return 0, fault.Bad("by", by, "the name of whoever sets the climate")
	case len(rows) == 0:
		return 0, fault.Bad("record", "", "a record with half-days in it")
	}
	var text bytes.Buffer
	w := csv.NewWriter(&text)
	_ = w.Write([]string{"task", "terrain", "month", "half", "half_days", "workable"})
	for _, r := range rows {
		_ = w.Write([]string{r.Task.String(), r.Terrain.String(), strconv.Itoa(int(r.Month)), r.Half.String(), strconv.Itoa(r.HalfDays), strconv.Itoa(r.Workable)})
	}
	if w.Flush(); w.Error() != nil {
		return 0, fmt.Errorf("write the climate: %w", w.Error())
	}
	err = tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		return tx.QueryRow(ctx, `
			INSERT INTO climate (firm_id, version, of, counted, set_by, set_at)
			VALUES ($1, (SELECT coalesce(max(version), 0) + 1 FROM climate WHERE firm_id = $1), $2, $3, $4, $5) RETURNING version`,
			firm, of, text.String(), by, now.UTC()).Scan(&version)
	})
	if err != nil {
		return 0, fmt.Errorf("keep the climate: %w", err)
	}
	return version, nil
}

// thinnedTo is the width of the stretches of which the last answer is read back
// [h]. What a forecast of six hours before says of days ahead is worth the same.
const thinnedTo = 6

// EachSince gives the answers about a site fetched from an instant on, oldest
// first, about the place where the site lies now: of every six hours of the day
// (UTC) the last. They come one at a time, so that a year of them needs no more
// room than one.
func (s *Store) EachSince(ctx context.Context, firm, site uuid.UUID, from time.Time, do func(Answer)) error {
	return tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT site_id, f.provider, f.model_run, f.fetched_at, lower(f.covers) AS from_time, upper(f.covers) AS to_time, f.body, t.lat, t.lon
			FROM (SELECT DISTINCT ON (floor(extract(epoch FROM fetched_at) / (3600 * $4::int))) firm_id, forecast_id
			      FROM forecast WHERE firm_id = $1 AND site_id = $2 AND fetched_at >= $3
			      ORDER BY floor(extract(epoch FROM fetched_at) / (3600 * $4::int)), fetched_at DESC, forecast_id DESC) last
			JOIN forecast f USING (firm_id, forecast_id) JOIN site t USING (firm_id, site_id)
			ORDER BY f.fetched_at, forecast_id`, firm, site, from.UTC(), thinnedTo)
		if err != nil {
			return fmt.Errorf("read kept forecasts: %w", err)
		}
		defer rows.Close()
		for rows.Next() {
			r, err := pgx.RowToStructByName[row](rows)
			if err != nil {
				return fmt.Errorf("read a kept forecast: %w", err)
			}
			do(r.answer())
		}
		return rows.Err()
	})
}

// KeptForecasts counts what is kept.
type KeptForecasts struct {
	N        int
	Sites    int
	From, To time.Time // UTC, when the first and the last were fetched; zero = none is kept
}

// KeptForecasts counts a firm's kept forecasts.
func (s *Store) KeptForecasts(ctx context.Context, firm uuid.UUID) (k KeptForecasts, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		var from, to *time.Time
		if err := tx.QueryRow(ctx, `SELECT count(*), count(DISTINCT site_id), min(fetched_at), max(fetched_at) FROM forecast WHERE firm_id = $1`, firm).
			Scan(&k.N, &k.Sites, &from, &to); err != nil {
			return fmt.Errorf("count kept forecasts: %w", err)
		}
		if from != nil && to != nil {
			k.From, k.To = from.UTC(), to.UTC()
		}
		return nil
	})
	return k, err
}

// Since gives every answer about a site fetched from an instant on, oldest
// first, about the place where the site lies now.
func (s *Store) Since(ctx context.Context, firm, site uuid.UUID, from time.Time) (list []Answer, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT site_id, f.provider, f.model_run, f.fetched_at, lower(f.covers) AS from_time, upper(f.covers) AS to_time, f.body, t.lat, t.lon
			FROM forecast f JOIN site t USING (firm_id, site_id) WHERE firm_id = $1 AND site_id = $2 AND fetched_at >= $3
			ORDER BY fetched_at, forecast_id`, firm, site, from.UTC())
		if err != nil {
			return fmt.Errorf("read kept forecasts: %w", err)
		}
		found, err := pgx.CollectRows(rows, pgx.RowToStructByName[row])
		for _, r := range found {
			list = append(list, r.answer())
		}
		return err
	})
	return list, err
}
