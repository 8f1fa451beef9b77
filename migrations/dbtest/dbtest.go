// Package dbtest gives a test its own freshly migrated database, cloned from a
// template, on a real PostgreSQL.
//
// The server is the one at TOEBOARD_TEST_DATABASE_URL (cmd/check starts one for
// the whole run); without it each test program starts its own on a temporary
// folder, with fsync off, that ends with the program however that ends.
package dbtest

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"net/url"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"toeboard/migrations"
	"toeboard/migrations/localpg"
)

// Variable names the environment variable with the address of a server whose
// user may create databases and roles.
const Variable = "TOEBOARD_TEST_DATABASE_URL"

// DB is one test's own database.
type DB struct {
	URL   string        // as the owner, a superuser: the policies do not hold it
	Owner *pgxpool.Pool // the same, for setting the scene past the policies
	App   *pgxpool.Pool // as the service works: migrations.Role, held by the policies
}

// patience bounds each step of making a database, on a busy machine too.
const patience = 2 * time.Minute

// New gives a migrated, empty database that is dropped when the test ends.
func New(t testing.TB) *DB {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	server := serverURL(t)
	template, err := ensureTemplate(ctx, server)
	if err != nil {
		t.Fatalf("dbtest: %v", err)
	}
	db := &DB{URL: create(ctx, t, server, template)}
	db.Owner = ownerPool(ctx, t, db.URL)
	db.App, err = migrations.Service(ctx, db.URL, func(c *pgxpool.Config) { c.MaxConns = 8 })
	if err != nil {
		t.Fatalf("dbtest: %v", err)
	}
	t.Cleanup(db.App.Close)
	return db
}

// Empty gives the address of a database without any schema, for tests of the
// migrations themselves.
func Empty(t testing.TB) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	return create(ctx, t, serverURL(t), "template0")
}

func ownerPool(ctx context.Context, t testing.TB, address string) *pgxpool.Pool {
	t.Helper()
	cfg, err := pgxpool.ParseConfig(address)
	if err != nil {
		t.Fatalf("dbtest: %v", err)
	}
	cfg.MaxConns = 4
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		t.Fatalf("dbtest: %v", err)
	}
	t.Cleanup(pool.Close)
	return pool
}

// server is this test program's own server, started once.
var server = sync.OnceValues(func() (string, error) {
	s, err := localpg.Start(context.Background(), Options())
	if err != nil {
		return "", err
	}
	// Nobody stops it: a test program has no end that every package could hook.
	// The server's watcher does, when this process is gone.
	return s.URL("postgres"), nil
})

// Options are those of a server for tests.
func Options() localpg.Options {
	return localpg.Options{
		Scratch: true,
		Timeout: patience,
		Settings: map[string]string{
			"max_connections": "300",
			"autovacuum":      "off", // nothing lives long enough to need it
		},
	}
}

func serverURL(t testing.TB) string {
	t.Helper()
	if given := os.Getenv(Variable); given != "" {
		return given
	}
	address, err := server()
	if err != nil {
		t.Fatalf("dbtest: no PostgreSQL for the tests: %v", err)
	}
	return address
}

// templateLock serialises those who make the template: the bytes "toetempl".
const templateLock = 0x746f6574656d706c

var templateMade sync.Map // server's address -> template's name

// ensureTemplate makes the migrated template unless it is there. Its name holds
// the migrations' fingerprint, so that a changed file means a new template, and
// it gets that name only when it is whole.
func ensureTemplate(ctx context.Context, server string) (string, error) {
	name := "toeboard_template_" + migrations.Fingerprint()
	if _, ok := templateMade.Load(server); ok {
		return name, nil
	}
	conn, err := pgx.Connect(ctx, server)
	if err != nil {
		return "", fmt.Errorf("connecting to the test server: %w", err)
	}
	defer conn.Close(ctx)
	if _, err := conn.Exec(ctx, `select pg_advisory_lock($1)`, int64(templateLock)); err != nil {
		return "", fmt.Errorf("waiting for the template: %w", err)
	}
	var there bool
	if err := conn.QueryRow(ctx, `select exists (select from pg_database where datname = $1)`, name).Scan(&there); err != nil {
		return "", fmt.Errorf("looking for the template: %w", err)
	}
	if !there {
		if err := makeTemplate(ctx, conn, server, name); err != nil {
			return "", err
		}
	}
	templateMade.Store(server, name)
	return name, nil
}

func makeTemplate(ctx context.Context, conn *pgx.Conn, server, name string) error {
	building := name + "_building"
	for _, statement := range []string{
		"drop database if exists " + building + " with (force)",
		"create database " + building + " template template0",
	} {
		if _, err := conn.Exec(ctx, statement); err != nil {
			return fmt.Errorf("making the template: %w", err)
		}
	}
	if err := migrations.Up(ctx, withDatabase(server, building)); err != nil {
		return err
	}
	for _, statement := range []string{
		"alter database " + building + " with allow_connections false",
		"alter database " + building + " rename to " + name,
	} {
		if _, err := conn.Exec(ctx, statement); err != nil {
			return fmt.Errorf("making the template: %w", err)
		}
	}
	return nil
}

// create makes a database that is dropped when the test ends.
func create(ctx context.Context, t testing.TB, server, template string) string {
	t.Helper()
	var random [8]byte
	rand.Read(random[:])
	name := "toeboard_test_" + hex.EncodeToString(random[:])
	if err := administer(ctx, server, "create database "+name+" template "+template); err != nil {
		t.Fatalf("dbtest: %v", err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		if err := administer(ctx, server, "drop database if exists "+name+" with (force)"); err != nil {
			t.Errorf("dbtest: %v", err)
		}
	})
	return withDatabase(server, name)
}

func administer(ctx context.Context, server, statement string) error {
	conn, err := pgx.Connect(ctx, server)
	if err != nil {
		return fmt.Errorf("%s: %w", statement, err)
	}
	defer conn.Close(ctx)
	if _, err := conn.Exec(ctx, statement); err != nil {
		return fmt.Errorf("%s: %w", statement, err)
	}
	return nil
}

func withDatabase(server, name string) string {
	u, err := url.Parse(server)
	if err != nil {
		// pgx has read it already, so it is a keyword string: later words win.
		return server + " dbname=" + name
	}
	u.Path = "/" + name
	return u.String()
}
