// Package archive keeps what weather services answered, whole and as it came,
// so that any decision can be replayed on the forecast it was made on. It is
// its own package so that the weather room itself knows no database.
package archive

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"toeboard/migrations/tenant"
	"toeboard/weather"
	"toeboard/weather/fault"
)

// maxBody is the largest answer that is kept; an ensemble for a fortnight has
// some hundred kilobytes.
const maxBody = 16 << 20

// Answer is one answer of one weather service about one site.
type Answer struct {
	Site      uuid.UUID
	Provider  string    // the name that its reader is found by
	ModelRun  time.Time // UTC; zero = the service did not say
	FetchedAt time.Time // UTC
	From, To  time.Time // UTC; the hours it speaks of, To exclusive
	Body      []byte    // as it came, unchanged

	// Place is where the site lies now; reading fills it. A site that was moved
	// has answers about the place where it was.
	Place weather.Point
}

// Store keeps answers and limits. Rows are only added.
type Store struct {
	pool *pgxpool.Pool
	ids  func() uuid.UUID
}

// NewStore makes a store on a pool whose role is held by the firms' policies.
// ids gives a new identifier at each call.
func NewStore(pool *pgxpool.Pool, ids func() uuid.UUID) *Store { return &Store{pool: pool, ids: ids} }

// Save keeps an answer. It is NotFound when the firm has no such site.
func (s *Store) Save(ctx context.Context, firm uuid.UUID, a Answer) error {
	if err := a.check(); err != nil {
		return err
	}
	return tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		var there bool
		err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM site WHERE firm_id = $1 AND site_id = $2)`, firm, a.Site).Scan(&there)
		if err != nil {
			return fmt.Errorf("look for a site: %w", err)
		}
		if !there {
			return fault.Missing("site", a.Site.String())
		}
		_, err = tx.Exec(ctx, `
			INSERT INTO forecast (firm_id, forecast_id, site_id, provider, model_run, fetched_at, covers, body)
			VALUES ($1, $2, $3, $4, $5, $6, tstzrange($7, $8, '[)'), $9)`,
			firm, s.ids(), a.Site, a.Provider, orNull(a.ModelRun), a.FetchedAt.UTC(), a.From.UTC(), a.To.UTC(), a.Body)
		if err != nil {
			return fmt.Errorf("keep a forecast: %w", err)
		}
		return nil
	})
}

func (a Answer) check() error {
	switch {
	case a.Provider == "":
		return fault.Bad("provider", "", "the name of the weather service")
	case a.FetchedAt.IsZero():
		return fault.Bad("fetched at", "", "when the answer came: without it nobody knows how old it is")
	case !a.To.After(a.From):
		return fault.Bad("hours covered", a.From.UTC().Format(time.RFC3339)+" to "+a.To.UTC().Format(time.RFC3339), "an end after the start")
	case len(a.Body) == 0:
		return fault.Bad("answer", "", "the answer as it came: it is empty")
	case len(a.Body) > maxBody:
		return fault.Bad("answer", fmt.Sprintf("%d bytes", len(a.Body)), fmt.Sprintf("at most %d MB", maxBody>>20))
	}
	return nil
}

func orNull(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC()
	return &t
}

type row struct {
	SiteID           uuid.UUID
	Provider         string
	ModelRun         *time.Time
	FetchedAt        time.Time
	FromTime, ToTime time.Time
	Body             []byte
	Lat, Lon         float64
}

func (r row) answer() Answer {
	a := Answer{Site: r.SiteID, Provider: r.Provider, FetchedAt: r.FetchedAt.UTC(), From: r.FromTime.UTC(), To: r.ToTime.UTC(), Body: r.Body,
		Place: weather.Point{Lat: r.Lat, Lon: r.Lon}}
	if r.ModelRun != nil {
		a.ModelRun = r.ModelRun.UTC()
	}
	return a
}

// Newest gives the answer about a site that was fetched last; found is false
// when there is none.
func (s *Store) Newest(ctx context.Context, firm, site uuid.UUID) (a Answer, found bool, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT site_id, f.provider, f.model_run, f.fetched_at, lower(f.covers) AS from_time, upper(f.covers) AS to_time, f.body, t.lat, t.lon
			FROM forecast f JOIN site t USING (firm_id, site_id) WHERE firm_id = $1 AND site_id = $2
			ORDER BY fetched_at DESC, forecast_id DESC LIMIT 1`, firm, site)
		if err != nil {
			return fmt.Errorf("read a forecast: %w", err)
		}
		all, err := pgx.CollectRows(rows, pgx.RowToStructByName[row])
		if err != nil {
			return fmt.Errorf("read a forecast: %w", err)
		}
		if found = len(all) > 0; found {
			a = all[0].answer()
		}
		return nil
	})
	return a, found, err
}

// Past gives the answer about a site that was fetched last of those whose hours
// begin a day or more before an instant and reach it: what is known of the day
// before a newer answer begins. found is false when there is none.
func (s *Store) Past(ctx context.Context, firm, site uuid.UUID, begins time.Time) (a Answer, found bool, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT site_id, f.provider, f.model_run, f.fetched_at, lower(f.covers) AS from_time, upper(f.covers) AS to_time, f.body, t.lat, t.lon
			FROM forecast f JOIN site t USING (firm_id, site_id) WHERE firm_id = $1 AND site_id = $2
			AND lower(f.covers) <= $3::timestamptz - interval '24 hours' AND upper(f.covers) >= $3
			ORDER BY fetched_at DESC, forecast_id DESC LIMIT 1`, firm, site, begins.UTC())
		if err != nil {
			return fmt.Errorf("read an earlier forecast: %w", err)
		}
		all, err := pgx.CollectRows(rows, pgx.RowToStructByName[row])
		if err != nil {
			return fmt.Errorf("read an earlier forecast: %w", err)
		}
		if found = len(all) > 0; found {
			a = all[0].answer()
		}
		return nil
	})
	return a, found, err
}

// NewestOf gives for each site the answer of each provider that was fetched
// last, in the order in which the providers are named. A site without any is not
// in the map; site uuid.Nil = all sites.
func (s *Store) NewestOf(ctx context.Context, firm, site uuid.UUID, providers []string) (map[uuid.UUID][]Answer, error) {
	newest := map[uuid.UUID][]Answer{}
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT t.site_id, f.provider, f.model_run, f.fetched_at, lower(f.covers) AS from_time, upper(f.covers) AS to_time, f.body, t.lat, t.lon
			FROM site t CROSS JOIN unnest($3::text[]) WITH ORDINALITY AS p (name, n) CROSS JOIN LATERAL (
			  SELECT provider, model_run, fetched_at, covers, body FROM forecast
			  WHERE firm_id = t.firm_id AND site_id = t.site_id AND provider = p.name
			  ORDER BY fetched_at DESC, forecast_id DESC LIMIT 1) f
			WHERE t.firm_id = $1 AND ($2 = '00000000-0000-0000-0000-000000000000'::uuid OR t.site_id = $2)
			ORDER BY t.site_id, p.n`, firm, site, providers)
		if err != nil {
			return fmt.Errorf("read the forecasts: %w", err)
		}
		all, err := pgx.CollectRows(rows, pgx.RowToStructByName[row])
		if err != nil {
			return fmt.Errorf("read the forecasts: %w", err)
		}
		for _, r := range all {
			newest[r.SiteID] = append(newest[r.SiteID], r.answer())
		}
		return nil
	})
	return newest, err
}

// NewestAll gives for each site the answer that was fetched last. Sites without
// one are not in the map.
func (s *Store) NewestAll(ctx context.Context, firm uuid.UUID) (map[uuid.UUID]Answer, error) {
	newest := map[uuid.UUID]Answer{}
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		// One look into the index a site, however many answers were kept of it.
		rows, err := tx.Query(ctx, `
			SELECT t.site_id, f.provider, f.model_run, f.fetched_at, lower(f.covers) AS from_time, upper(f.covers) AS to_time, f.body, t.lat, t.lon
			FROM site t CROSS JOIN LATERAL (
			  SELECT provider, model_run, fetched_at, covers, body FROM forecast
			  WHERE firm_id = t.firm_id AND site_id = t.site_id
			  ORDER BY fetched_at DESC, forecast_id DESC LIMIT 1) f
			WHERE t.firm_id = $1`, firm)
		if err != nil {
			return fmt.Errorf("read the forecasts: %w", err)
		}
		all, err := pgx.CollectRows(rows, pgx.RowToStructByName[row])
		if err != nil {
			return fmt.Errorf("read the forecasts: %w", err)
		}
		for _, r := range all {
			newest[r.SiteID] = r.answer()
		}
		return nil
	})
	return newest, err
}
