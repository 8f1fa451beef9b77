package archive_test

import (
	"errors"
	"reflect"
	"strings"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"toeboard/migrations/tenant"
	"toeboard/weather"
	"toeboard/weather/fault"
)

// gustOf gives the gust at which carrying modules stops.
func gustOf(l weather.Limits) float64 {
	for _, row := range l.Rows {
		if row.Task == weather.PanelCarrying && row.Quantity == weather.WindGust {
			return row.Stop.N
		}
	}
	return 0
}

// stopsAt is a firm's limits with another stop level for that gust.
func stopsAt(from weather.Limits, gust float64) weather.Limits {
	l := weather.Limits{Version: from.Version}
	for _, row := range from.Rows {
		if row.Task == weather.PanelCarrying && row.Quantity == weather.WindGust {
			row.Caution, row.Stop = weather.Is(gust-1), weather.Is(gust)
		}
		l.Rows = append(l.Rows, row)
	}
	return l
}

func TestTheNewestLimitsAreInForce(t *testing.T) {
	s := newScene(t)
	l, err := s.store.Limits(ctx, s.firm)
	if err != nil || !reflect.DeepEqual(l, weather.DefaultLimits()) {
		t.Fatalf("a firm that set none has version %d, %v", l.Version, err)
	}
	for i, gust := range []float64{7, 9.25, 8} {
		want := stopsAt(l, gust)
		version, err := s.store.SetLimits(ctx, s.firm, want, "Imogen Thackray", "a test", now)
		if err != nil || version != i+2 {
			t.Fatalf("set as version %d, %v", version, err)
		}
		want.Version = version
		if l, err = s.store.Limits(ctx, s.firm); err != nil || !reflect.DeepEqual(l, want) {
			t.Fatalf("in force are %+v, %v", l, err)
		}
	}
	all, err := s.store.LimitsHistory(ctx, s.firm)
	if err != nil || len(all) != 3 || all[0].Version != 4 || gustOf(all[1].Limits) != 9.25 || all[2].SetBy != "Imogen Thackray" || all[2].Why != "a test" || !all[2].SetAt.Equal(now) {
		t.Errorf("the versions are %+v, %v", all, err)
	}
	if got := gustOf(l); got != 8 {
		t.Errorf("carrying stops at %v, want the last that was set", got)
	}
	if l, err := s.store.Limits(ctx, s.neighbour); err != nil || !reflect.DeepEqual(l, weather.DefaultLimits()) {
		t.Errorf("the neighbour is judged by this firm's limits: version %d, %v", l.Version, err)
	}
}

func TestLimitsThatAreNoneAreNotKept(t *testing.T) {
	s := newScene(t)
	hole := weather.DefaultLimits()
	hole.Rows = hole.Rows[1:]
	for says, set := range map[string]func() error{
		"a stop level for lightning": func() error { _, err := s.store.SetLimits(ctx, s.firm, hole, "x", "a test", now); return err },
		"why the limits are changed": func() error {
			_, err := s.store.SetLimits(ctx, s.firm, weather.DefaultLimits(), "x", " ", now)
			return err
		},
		"whoever sets the limits": func() error {
			_, err := s.store.SetLimits(ctx, s.firm, weather.DefaultLimits(), " ", "a test", now)
			return err
		},
	} {
		if err := set(); err == nil || fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), says) {
			t.Errorf("%v; want one that says %q", err, says)
		}
	}
	if l, err := s.store.Limits(ctx, s.firm); err != nil || l.Version != 1 {
		t.Errorf("something was kept: version %d, %v", l.Version, err)
	}
}

// Of several who change the same version one has its way and the others are
// told, whether they come at the same moment or after.
func TestLimitsAreChangedByOneAtATime(t *testing.T) {
	s := newScene(t)
	var wait sync.WaitGroup
	errs := make([]error, 6)
	for i := range errs {
		wait.Go(func() {
			_, errs[i] = s.store.SetLimits(ctx, s.firm, stopsAt(weather.DefaultLimits(), 6+float64(i)/2), "x", "a test", now)
		})
	}
	wait.Wait()
	_, late := s.store.SetLimits(ctx, s.firm, weather.DefaultLimits(), "x", "a test", now)
	set := 0
	for _, err := range append(errs, late) {
		switch {
		case err == nil:
			set++
		case fault.KindOf(err) != fault.Conflict:
			t.Errorf("want a conflict, got %v", err)
		}
	}
	if l, err := s.store.Limits(ctx, s.firm); set != 1 || late == nil || err != nil || l.Version != 2 {
		t.Errorf("%d were set, in force is version %d, %v", set, l.Version, err)
	}
}

// The same race with the order held still: another's version 2 comes between
// looking and writing.
func TestTheDatabaseItselfRefusesASecondVersionTwo(t *testing.T) {
	s := newScene(t)
	insert := func() error {
		return tenant.Write(ctx, s.db.App, s.firm, func(tx pgx.Tx) error {
			_, err := tx.Exec(ctx, `INSERT INTO limits (firm_id, version, body, set_by, set_at) VALUES ($1, 2, '{}', 'x', now())`, s.firm)
			return err
		})
	}
	s.must(insert())
	if err := insert(); err == nil || fault.KindOf(err) != fault.Conflict || !strings.Contains(err.Error(), "other limits at the same moment") {
		t.Errorf("%v", err)
	}
}

// Limits that a decision was judged by cannot be rewritten or removed, and no
// limits that this program finds a hole in say go.
func TestLimitsAreRecords(t *testing.T) {
	s := newScene(t)
	_, err := s.store.SetLimits(ctx, s.firm, stopsAt(weather.DefaultLimits(), 7), "x", "a test", now)
	s.must(err)
	for _, sql := range []string{`UPDATE limits SET body = '{}'`, `UPDATE limits SET version = 9`, `DELETE FROM limits`} {
		err := tenant.Write(ctx, s.db.App, s.firm, func(tx pgx.Tx) error { _, err := tx.Exec(ctx, sql); return err })
		var pg *pgconn.PgError
		if !errors.As(err, &pg) || pg.Code != "42501" {
			t.Errorf("%s: %v", sql, err)
		}
		if _, err := s.db.Owner.Exec(ctx, sql); err == nil {
			t.Errorf("the owner: %s was done", sql)
		}
	}
	s.owner(`INSERT INTO limits (firm_id, version, body, set_by, set_at) VALUES ($1, 3, '{}', 'x', now())`, s.firm)
	l, err := s.store.Limits(ctx, s.firm)
	if err != nil || l.Check() == nil {
		t.Errorf("stored limits without rows: %+v, %v", l, err)
	}
	s.owner(`INSERT INTO limits (firm_id, version, body, set_by, set_at) VALUES ($1, 4, '{"rows": [{"task": "dancing"}]}', 'x', now())`, s.firm)
	if l, err := s.store.Limits(ctx, s.firm); err == nil {
		t.Errorf("stored limits of a task that is none: %+v", l)
	}
}
