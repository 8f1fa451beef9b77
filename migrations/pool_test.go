package migrations

import (
	"context"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"toeboard/migrations/localpg"
)

// These change what the server's roles may do, so they have a server of their
// own.
func ownServer(t *testing.T) (url string, sql func(string)) {
	t.Helper()
	s, err := localpg.Start(t.Context(), testServer())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Stop() })
	url = s.URL("postgres")
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close(context.Background()) })
	return url, func(statement string) {
		t.Helper()
		if _, err := conn.Exec(t.Context(), statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
}

func TestServicePoolRefusesARoleThatCouldPassThePolicies(t *testing.T) {
	t.Parallel()
	url, sql := ownServer(t)
	wants := func(url string, parts ...string) {
		t.Helper()
		pool, err := Service(t.Context(), url)
		if err == nil {
			pool.Close()
			t.Fatalf("a pool was handed out, want an error with %q", parts)
		}
		for _, part := range parts {
			if !strings.Contains(err.Error(), part) {
				t.Errorf("error lacks %q: %v", part, err)
			}
		}
		t.Logf("says: %v", err)
	}
	works := func(url string) {
		t.Helper()
		pool, err := Service(t.Context(), url)
		if err != nil {
			t.Fatal(err)
		}
		pool.Close()
	}
	wants(url, "no role toeboard_app", "migrate it first")
	if err := Up(t.Context(), url); err != nil {
		t.Fatal(err)
	}
	works(url)
	sql("alter role toeboard_app superuser")
	wants(url, "superuser")
	sql("alter role toeboard_app nosuperuser bypassrls")
	wants(url, "BYPASSRLS")
	sql("alter role toeboard_app nobypassrls")
	sql("alter table kit owner to toeboard_app")
	wants(url, "owns kit")
	sql("alter table kit owner to toeboard")
	works(url)

	sql("create role stranger login password 'stranger'")
	theirs := strings.Replace(url, url[strings.Index(url, "//")+2:strings.Index(url, "@")], "stranger:stranger", 1)
	wants(theirs, `"stranger" may not work as toeboard_app`, "GRANT")
	sql("grant toeboard_app to stranger")
	works(theirs) // how a server of one's own should be set up
	sql("alter role toeboard_app login password 'stranger'")
	works(strings.Replace(theirs, "stranger:", "toeboard_app:", 1))
}

func TestEveryConnectionOfThePoolWorksAsTheService(t *testing.T) {
	t.Parallel()
	url := empty(t)
	if err := Up(t.Context(), url); err != nil {
		t.Fatal(err)
	}
	pool, err := Service(t.Context(), url, func(c *pgxpool.Config) { c.MaxConns = 3 })
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	var held []*pgxpool.Conn
	for range 3 {
		conn, err := pool.Acquire(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		held = append(held, conn)
		var user, zone string
		if err := conn.QueryRow(t.Context(), `select current_user, current_setting('timezone')`).Scan(&user, &zone); err != nil || user != Role || zone != "UTC" {
			t.Errorf("works as %s, zone %s (%v)", user, zone, err)
		}
	}
	for _, conn := range held {
		conn.Release()
	}
}

// A user of one's own, no superuser, can migrate: what hosted databases give.
func TestAnOrdinaryOwnerCanMigrate(t *testing.T) {
	t.Parallel()
	url, sql := ownServer(t)
	sql("create role boss login password 'boss' createrole")
	sql("create database theirs owner boss")
	theirs := strings.Replace(url, url[strings.Index(url, "//")+2:strings.Index(url, "@")], "boss:boss", 1)
	theirs = strings.Replace(theirs, "/postgres?", "/theirs?", 1)
	conn, err := pgx.Connect(t.Context(), strings.Replace(url, "/postgres?", "/theirs?", 1))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := conn.Exec(t.Context(), "alter schema public owner to boss"); err != nil {
		t.Fatal(err)
	}
	conn.Close(t.Context())
	if err := Up(t.Context(), theirs); err != nil {
		t.Fatal(err)
	}
	pool, err := Service(t.Context(), theirs)
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()

	// Forced: even the owner of the tables sees nothing without a firm, but for
	// the list of firms that the rounds need.
	boss, err := pgx.Connect(t.Context(), theirs)
	if err != nil {
		t.Fatal(err)
	}
	defer boss.Close(context.Background())
	firm := uuid.New()
	if err := pgx.BeginFunc(t.Context(), boss, func(tx pgx.Tx) error {
		for _, statement := range []string{
			`select set_config('toeboard.firm', FIRM::text, true)`,
			`insert into firm values (FIRM, 'Firm', 'Europe/London', 'scotland', '{}', '{}', 55.9, -3.2, now())`,
			`insert into holiday values (FIRM, '2026-12-25', 'Christmas Day', 'test')`,
		} {
			if _, err := tx.Exec(t.Context(), forFirm(statement, firm)); err != nil {
				return err
			}
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	var holidays, listed int
	if err := boss.QueryRow(t.Context(), `select count(*) from holiday`).Scan(&holidays); err != nil || holidays != 0 {
		t.Errorf("the owner sees %d holidays without a firm (%v)", holidays, err)
	}
	if err := pool.QueryRow(t.Context(), `select count(*) from toeboard_firms()`).Scan(&listed); err != nil || listed != 1 {
		t.Errorf("the rounds see %d firms (%v)", listed, err)
	}
	if err := Down(t.Context(), theirs); err != nil {
		t.Error(err)
	}
}
