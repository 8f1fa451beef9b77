package archive_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"toeboard/migrations/dbtest"
	"toeboard/migrations/tenant"
	"toeboard/weather"
	"toeboard/weather/archive"
	"toeboard/weather/fault"
)

var (
	ctx = context.Background()
	now = time.Date(2026, 12, 2, 6, 30, 0, 654321000, time.UTC)
)

type scene struct {
	*testing.T
	db              *dbtest.DB
	store           *archive.Store
	firm, neighbour uuid.UUID
	sites           []uuid.UUID
}

func newScene(t *testing.T) *scene {
	t.Helper()
	t.Parallel()
	db := dbtest.New(t)
	s := &scene{T: t, db: db, store: archive.NewStore(db.App, func() uuid.UUID { return uuid.Must(uuid.NewV7()) }), firm: uuid.New(), neighbour: uuid.New()}
	for _, f := range []uuid.UUID{s.firm, s.neighbour} {
		s.owner(`INSERT INTO firm (firm_id, name, time_zone, division, hours, rates, base_lat, base_lon, created_at)
			VALUES ($1, 'Firm', 'Europe/London', 'england-and-wales', '{}', '{}', 53.2, -0.4, now())`, f)
	}
	for range 3 {
		site := uuid.New()
		s.owner(`INSERT INTO site (firm_id, site_id, address, lat, lon, terrain, working_height_m) VALUES ($1, $2, 'x', 53, 0, 'II', 6)`, s.firm, site)
		s.sites = append(s.sites, site)
	}
	return s
}

func (s *scene) owner(sql string, args ...any) {
	s.Helper()
	if _, err := s.db.Owner.Exec(ctx, sql, args...); err != nil {
		s.Fatalf("%s: %v", sql, err)
	}
}

func (s *scene) must(err error) {
	s.Helper()
	if err != nil {
		s.Fatal(err)
	}
}

func (s *scene) answer(site int, fetched time.Time, body string) archive.Answer {
	return archive.Answer{Site: s.sites[site], Provider: "Open-Meteo", ModelRun: fetched.Add(-3 * time.Hour), FetchedAt: fetched,
		From: fetched.Truncate(time.Hour), To: fetched.Truncate(time.Hour).Add(48 * time.Hour), Body: []byte(body), Place: weather.Point{Lat: 53, Lon: 0}}
}

// Every recorded answer comes back byte for byte.
func TestAnswersAreKeptWhole(t *testing.T) {
	s := newScene(t)
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "weather", "*", "*.json"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no recorded answers: %v", err)
	}
	bodies := [][]byte{{0}, []byte("{ \"a\":\t1.0 }\r\n"), []byte("\xff\xfe not UTF-8"), bytes.Repeat([]byte("x"), 2<<20)}
	for _, f := range files {
		b, err := os.ReadFile(f)
		s.must(err)
		bodies = append(bodies, b)
	}
	for i, body := range bodies {
		want := s.answer(0, now.Add(time.Duration(i)*time.Minute), "")
		want.Body = body
		s.must(s.store.Save(ctx, s.firm, want))
		got, found, err := s.store.Newest(ctx, s.firm, s.sites[0])
		if err != nil || !found || !reflect.DeepEqual(got, want) {
			t.Fatalf("answer %d of %d bytes came back with %d, found %v, %v", i, len(body), len(got.Body), found, err)
		}
	}
}

func TestTheNewestIsThatFetchedLast(t *testing.T) {
	s := newScene(t)
	_, found, err := s.store.Newest(ctx, s.firm, s.sites[0])
	if err != nil || found {
		t.Errorf("before any: found %v, %v", found, err)
	}
	london, err := time.LoadLocation("Europe/London")
	s.must(err)
	late := s.answer(0, now.Add(time.Hour).In(london), "late")
	late.ModelRun, late.Provider = time.Time{}, "MET Norway"
	s.must(s.store.Save(ctx, s.firm, late))
	s.must(s.store.Save(ctx, s.firm, s.answer(0, now, "early"))) // saved last, fetched first
	s.must(s.store.Save(ctx, s.firm, s.answer(1, now, "other")))
	got, found, err := s.store.Newest(ctx, s.firm, s.sites[0])
	if err != nil || !found || string(got.Body) != "late" || !got.ModelRun.IsZero() || got.FetchedAt != now.Add(time.Hour) || got.Provider != "MET Norway" {
		t.Errorf("newest %+v, %v, %v", got, found, err)
	}
	all, err := s.store.NewestAll(ctx, s.firm)
	if err != nil || len(all) != 2 || string(all[s.sites[0]].Body) != "late" || string(all[s.sites[1]].Body) != "other" || all[s.sites[1]].Site != s.sites[1] {
		t.Errorf("newest of all %+v, %v", all, err)
	}
}

// The newest answer of each provider that is named, in the order of the names,
// and of no other firm's site.
func TestTheNewestOfEachProvider(t *testing.T) {
	s := newScene(t)
	of := func(provider string, site int, at time.Time, body string) {
		a := s.answer(site, at, body)
		a.Provider = provider
		s.must(s.store.Save(ctx, s.firm, a))
	}
	of("Open-Meteo", 0, now, "o1")
	of("Open-Meteo", 0, now.Add(time.Hour), "o2")
	of("MET Norway", 0, now.Add(2*time.Hour), "m1")
	of("MET Norway", 1, now, "m2")
	of("third", 1, now, "t1")
	bodies := func(list []archive.Answer) string {
		all := ""
		for _, a := range list {
			all += string(a.Body) + " "
		}
		return all
	}
	names := []string{"Open-Meteo", "MET Norway"}
	all, err := s.store.NewestOf(ctx, s.firm, uuid.Nil, names)
	if err != nil || len(all) != 2 || bodies(all[s.sites[0]]) != "o2 m1 " || bodies(all[s.sites[1]]) != "m2 " {
		t.Errorf("of all sites %v, %v", all, err)
	}
	one, err := s.store.NewestOf(ctx, s.firm, s.sites[0], []string{"MET Norway", "Open-Meteo"})
	if err != nil || len(one) != 1 || bodies(one[s.sites[0]]) != "m1 o2 " {
		t.Errorf("of one site %v, %v", one, err)
	}
	if none, err := s.store.NewestOf(ctx, s.neighbour, uuid.Nil, names); err != nil || len(none) != 0 {
		t.Errorf("another firm sees %v, %v", none, err)
	}
}

// What is read says where the site lies now, not where it lay when the answer
// came.
func TestAnswersComeWithTheSitesPresentPlace(t *testing.T) {
	s := newScene(t)
	s.must(s.store.Save(ctx, s.firm, s.answer(0, now, "x")))
	s.owner(`UPDATE site SET lat = 57.1, lon = -2.1 WHERE site_id = $1`, s.sites[0])
	want := weather.Point{Lat: 57.1, Lon: -2.1}
	got, _, err := s.store.Newest(ctx, s.firm, s.sites[0])
	if err != nil || got.Place != want {
		t.Errorf("newest: %+v, %v; want %+v", got.Place, err, want)
	}
	all, err := s.store.NewestAll(ctx, s.firm)
	if err != nil || all[s.sites[0]].Place != want {
		t.Errorf("newest of all: %+v, %v; want %+v", all[s.sites[0]].Place, err, want)
	}
}

func TestASecondFirmSeesNothing(t *testing.T) {
	s := newScene(t)
	s.must(s.store.Save(ctx, s.firm, s.answer(0, now, "x")))
	_, found, err := s.store.Newest(ctx, s.neighbour, s.sites[0])
	all, err2 := s.store.NewestAll(ctx, s.neighbour)
	if err != nil || err2 != nil || found || len(all) != 0 {
		t.Errorf("the neighbour found %v, %v; %v, %v", found, all, err, err2)
	}
	if err := s.store.Save(ctx, s.neighbour, s.answer(0, now.Add(time.Hour), "y")); err == nil || fault.KindOf(err) != fault.NotFound {
		t.Errorf("the neighbour saved for a site that is not its own: %v", err)
	}
}

func TestAnswersThatSayNothingAreRefused(t *testing.T) {
	s := newScene(t)
	for field, change := range map[string]func(*archive.Answer){
		"provider":      func(a *archive.Answer) { a.Provider = "" },
		"fetched at":    func(a *archive.Answer) { a.FetchedAt = time.Time{} },
		"hours covered": func(a *archive.Answer) { a.To = a.From },
		"answer":        func(a *archive.Answer) { a.Body = nil },
		"site":          func(a *archive.Answer) { a.Site = uuid.New() },
	} {
		a := s.answer(0, now, "x")
		change(&a)
		err := s.store.Save(ctx, s.firm, a)
		if each := fault.Each(err); len(each) != 1 || each[0].Field != field || each[0].Want == "" {
			t.Errorf("%s: %v", field, err)
		}
	}
	large := s.answer(0, now, "")
	large.Body = make([]byte, 16<<20+1)
	if err := s.store.Save(ctx, s.firm, large); err == nil || fault.KindOf(err) != fault.Invalid {
		t.Errorf("too large: %v", err)
	}
	if _, found, err := s.store.Newest(ctx, s.firm, s.sites[0]); err != nil || found {
		t.Errorf("something was kept: %v, %v", found, err)
	}
}

// A forecast that a decision rested on cannot be rewritten or removed.
func TestForecastsAreRecords(t *testing.T) {
	s := newScene(t)
	s.must(s.store.Save(ctx, s.firm, s.answer(0, now, "calm and dry")))
	for _, sql := range []string{`UPDATE forecast SET body = 'x'`, `DELETE FROM forecast`} {
		err := tenant.Write(ctx, s.db.App, s.firm, func(tx pgx.Tx) error { _, err := tx.Exec(ctx, sql); return err })
		var pg *pgconn.PgError
		if !errors.As(err, &pg) || pg.Code != "42501" {
			t.Errorf("%s: %v", sql, err)
		}
	}
}
