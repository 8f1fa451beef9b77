package archive_test

import (
	"reflect"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather"
	"toeboard/weather/archive"
	"toeboard/weather/fault"
)

func TestTheNewestServicesAreInForce(t *testing.T) {
	s := newScene(t)
	if _, found, err := s.store.Services(ctx, s.firm); found || err != nil {
		t.Fatalf("a firm that set nothing: %v, %v", found, err)
	}
	want := weather.Services{Version: 1, Order: []string{"met-norway", "open-meteo"}, Together: weather.WorstCounts}
	for version := 2; version <= 3; version++ {
		got, err := s.store.SetServices(ctx, s.firm, want, "Imogen Thackray", "a test", now)
		if want.Version = version; err != nil || got != version {
			t.Fatalf("set as version %d, %v", got, err)
		}
		v, found, err := s.store.Services(ctx, s.firm)
		if !found || err != nil || !reflect.DeepEqual(v.Services, want) || v.SetBy != "Imogen Thackray" || v.Why != "a test" || !v.SetAt.Equal(now) {
			t.Errorf("in force is %+v, %v", v, err)
		}
		want.Order, want.Together = []string{"open-meteo"}, weather.FirstAnswers
	}
	all, err := s.store.ServicesHistory(ctx, s.firm)
	if err != nil || len(all) != 2 || all[0].Version != 3 || !slices.Equal(all[1].Order, []string{"met-norway", "open-meteo"}) {
		t.Errorf("the versions are %+v, %v", all, err)
	}
	if _, found, err := s.store.Services(ctx, s.neighbour); found || err != nil {
		t.Errorf("the neighbour has this firm's: %v, %v", found, err)
	}
	for field, set := range map[string]func() (int, error){
		"services": func() (int, error) {
			return s.store.SetServices(ctx, s.firm, weather.Services{Version: 3, Together: weather.FirstAnswers}, "x", "y", now)
		},
		"why": func() (int, error) { return s.store.SetServices(ctx, s.firm, want, "x", " ", now) },
		"by":  func() (int, error) { return s.store.SetServices(ctx, s.firm, want, "", "y", now) },
	} {
		if _, err := set(); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: %v", field, err)
		}
	}
	if v, _, err := s.store.Services(ctx, s.firm); err != nil || v.Version != 3 {
		t.Errorf("something was kept: version %d, %v", v.Version, err)
	}
}

// Of several who change the same version one has its way and the others are told.
func TestServicesAreChangedByOneAtATime(t *testing.T) {
	s := newScene(t)
	var wait sync.WaitGroup
	errs := make([]error, 6)
	want := weather.Services{Version: 1, Order: []string{"a"}, Together: weather.FirstAnswers}
	for i := range errs {
		wait.Go(func() { _, errs[i] = s.store.SetServices(ctx, s.firm, want, "x", "a test", now) })
	}
	wait.Wait()
	set := 0
	for _, err := range errs {
		switch {
		case err == nil:
			set++
		case fault.KindOf(err) != fault.Conflict:
			t.Errorf("want a conflict, got %v", err)
		}
	}
	if set != 1 {
		t.Errorf("%d were set", set)
	}
	insert := func() error {
		return tenant.Write(ctx, s.db.App, s.firm, func(tx pgx.Tx) error {
			_, err := tx.Exec(ctx, `INSERT INTO weather_services VALUES ($1, 3, '{a}', 'first', 'x', now(), 'y')`, s.firm)
			return err
		})
	}
	s.must(insert())
	if err := insert(); fault.KindOf(err) != fault.Conflict {
		t.Errorf("a second version 3: %v", err)
	}
}

// When each service last answered, and of how many sites; one that never did.
func TestWhenAServiceWasHeard(t *testing.T) {
	s := newScene(t)
	for i, at := range []time.Duration{-2 * time.Hour, -time.Hour} {
		s.must(s.store.Save(ctx, s.firm, archive.Answer{Site: s.sites[i], Provider: "A", FetchedAt: now.Add(at), From: now, To: now.Add(time.Hour), Body: []byte("x")}))
	}
	s.must(s.store.Save(ctx, s.firm, archive.Answer{Site: s.sites[0], Provider: "A", FetchedAt: now.Add(-9 * time.Hour), From: now, To: now.Add(time.Hour), Body: []byte("x")}))
	list, err := s.store.Heard(ctx, s.firm, []string{"B", "A"})
	if err != nil || len(list) != 2 || list[0] != (archive.Heard{Provider: "B"}) || list[1].Sites != 2 || !list[1].Last.Equal(now.Add(-time.Hour)) {
		t.Errorf("%+v, %v", list, err)
	}
	if list, err := s.store.Heard(ctx, s.neighbour, []string{"A"}); err != nil || len(list) != 1 || list[0].Sites != 0 {
		t.Errorf("the neighbour: %+v, %v", list, err)
	}
}
