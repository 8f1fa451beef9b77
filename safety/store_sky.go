package safety

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather"
	"toeboard/weather/fault"
)

// The kinds of a sky report.
const (
	ThunderHeard  = "thunder"
	LightningSeen = "lightning"
	GustRead      = "gust"
)

// SkyReport is what somebody at a job saw, heard or read of the sky.
type SkyReport struct {
	ID         uuid.UUID
	Job        uuid.UUID
	What       string        // ThunderHeard, LightningSeen or GustRead
	GustMS     weather.Value // [m/s] the highest read; known with GustRead and only there
	At         time.Time     // UTC, when it was
	By         uuid.UUID     // a person
	RecordedAt time.Time     // UTC
}

// ThunderKm is how far from a job a logged thunder or flash counts there too
// (firm's own rule: thunder is hardly ever heard from more than about 15 km away,
// so whoever heard it may stand that far from the storm).
const ThunderKm = 15

// ReportSky records what somebody saw, heard or read. Sent again with the same
// identity it is the same report; with other content it is a conflict.
func (s *Store) ReportSky(ctx context.Context, firm uuid.UUID, r SkyReport) (SkyReport, error) {
	r.ID, r.At, r.RecordedAt = s.orNew(r.ID), stamp(r.At), stamp(r.RecordedAt)
	switch {
	case !slices.Contains([]string{ThunderHeard, LightningSeen, GustRead}, r.What):
		return SkyReport{}, fault.Bad("what", r.What, "thunder, lightning or gust")
	case r.GustMS.Known != (r.What == GustRead):
		return SkyReport{}, fault.Bad("gust", "", "a reading in m/s with a gust, and none with thunder or lightning")
	case r.GustMS.Known && !(r.GustMS.N >= 0 && r.GustMS.N < 100):
		return SkyReport{}, fault.Bad("gust", fmt.Sprint(r.GustMS.N), "a reading in m/s from 0 to under 100")
	case r.At.IsZero() || r.At.After(r.RecordedAt):
		return SkyReport{}, fault.Bad("at", "", "a time that has passed")
	}
	err := s.write(ctx, firm, func(tx pgx.Tx) error {
		var gust *float64
		if r.GustMS.Known {
			gust = &r.GustMS.N
		}
		tag, err := tx.Exec(ctx, `
			INSERT INTO sky_report (firm_id, report_id, job_id, what, gust_ms, at, by_person_id, recorded_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8) ON CONFLICT (firm_id, report_id) DO NOTHING`,
			firm, r.ID, r.Job, r.What, gust, r.At, r.By, r.RecordedAt)
		if err != nil {
			return fmt.Errorf("record what the sky does: %w", err)
		}
		if tag.RowsAffected() == 1 {
			return Keep(ctx, tx, firm, "sky_report", r.ID)
		}
		was := SkyReport{ID: r.ID}
		if err := tx.QueryRow(ctx, `SELECT job_id, what, gust_ms, at, by_person_id, recorded_at FROM sky_report WHERE report_id = $1`, r.ID).
			Scan(&was.Job, &was.What, &gust, &was.At, &was.By, &was.RecordedAt); err != nil {
			return fmt.Errorf("read what was recorded of the sky: %w", err)
		}
		if was.Job != r.Job || was.What != r.What || was.By != r.By || (r.GustMS.Known && (gust == nil || *gust != r.GustMS.N)) {
			return &fault.Error{Kind: fault.Conflict, Field: "sky report", Value: r.ID.String(), Want: "another report already has this identity: record it again"}
		}
		r.At, r.RecordedAt = was.At.UTC(), was.RecordedAt.UTC()
		return waitForStandby(ctx, tx)
	})
	if err != nil {
		return SkyReport{}, err
	}
	return r, nil
}

// SkyGusts gives the gusts that people read at a job from an instant on, the
// oldest first.
func (s *Store) SkyGusts(ctx context.Context, firm, job uuid.UUID, from time.Time) (all []Reading, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		all, err = readGusts(ctx, tx, `
			SELECT gust_ms, at FROM sky_report WHERE job_id = $1 AND what = 'gust' AND at >= $2
			UNION ALL SELECT gust_ms, at FROM briefing WHERE job_id = $1 AND gust_ms IS NOT NULL AND at >= $2
			ORDER BY at, gust_ms`, job, from.UTC())
		return err
	})
	return all, err
}

func readGusts(ctx context.Context, tx pgx.Tx, sql string, args ...any) (all []Reading, err error) {
	rows, err := tx.Query(ctx, sql, args...)
	if err != nil {
		return nil, fmt.Errorf("read the readings of the wind: %w", err)
	}
	var r Reading
	_, err = pgx.ForEachRow(rows, []any{&r.GustMS, &r.At}, func() error {
		r.At = r.At.UTC()
		all = append(all, r)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read the readings of the wind: %w", err)
	}
	return all, nil
}

// readThunder reads the thunder and flashes that were logged from half an hour
// before the day on, at the job or near enough to it to count there.
func readThunder(ctx context.Context, tx pgx.Tx, snap *Snapshot) error {
	rows, err := tx.Query(ctx, `
		SELECT r.what, r.at, p.name, j.ref, s.lat, s.lon, j.job_id = $1
		  FROM sky_report r
		  JOIN person p ON (p.firm_id, p.person_id) = (r.firm_id, r.by_person_id)
		  JOIN job j ON (j.firm_id, j.job_id) = (r.firm_id, r.job_id)
		  JOIN site s ON (s.firm_id, s.site_id) = (j.firm_id, j.site_id)
		 WHERE r.what IN ('thunder', 'lightning') AND r.at >= $2 AND r.at < $3
		 ORDER BY r.at, r.report_id`, snap.Job, snap.Day.At(0, 0, snap.Location).Add(-weather.ThunderWait).UTC(), (snap.Day+1).At(0, 0, snap.Location).UTC())
	if err != nil {
		return fmt.Errorf("read the thunder: %w", err)
	}
	var t Thunder
	var at weather.Point
	var own bool
	_, err = pgx.ForEachRow(rows, []any{&t.What, &t.At, &t.By, &t.JobRef, &at.Lat, &at.Lon, &own}, func() error {
		t.At, t.Km = t.At.UTC(), 0
		if !own {
			t.Km = at.KmTo(weather.Point{Lat: snap.Lat.N, Lon: snap.Lon.N})
		}
		if own || t.Km <= ThunderKm {
			snap.Thunder = append(snap.Thunder, t)
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("read the thunder: %w", err)
	}
	return nil
}
