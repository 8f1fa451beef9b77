package migrations

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"github.com/golang-migrate/migrate/v4"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/localpg"
)

var update = flag.Bool("update", false, "write schema.sql anew")

// A folder of migrations of our own, for what the real ones do not show.
func folder(up ...string) fstest.MapFS {
	fsys := fstest.MapFS{}
	for i, text := range up {
		name := []string{"000001_a", "000002_b", "000003_c"}[i]
		fsys[name+".up.sql"] = &fstest.MapFile{Data: []byte(text)}
		fsys[name+".down.sql"] = &fstest.MapFile{Data: []byte("drop table t" + name[5:6])}
	}
	return fsys
}

func up(ctx context.Context, url string, f fstest.MapFS) error {
	return run(ctx, url, f, (*migrate.Migrate).Up)
}

func ask(t *testing.T, url, query string) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	var v string
	if err := conn.QueryRow(t.Context(), query).Scan(&v); err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	return v
}

// dump is pg_dump's view of the schema: an independent eye beside Describe.
func dump(t *testing.T, url string) string {
	t.Helper()
	bin, err := localpg.Find()
	if err != nil {
		t.Fatal(err)
	}
	real, err := filepath.EvalSymlinks(filepath.Join(bin.Dir, "postgres")) // PATH may hold links to it
	if err != nil {
		t.Fatal(err)
	}
	program := filepath.Join(filepath.Dir(real), "pg_dump")
	if _, err := os.Stat(program); err != nil {
		t.Skipf("no pg_dump beside the server's programs: SCHEMAS ARE NOT COMPARED BY pg_dump HERE (%v)", err)
	}
	out, err := exec.CommandContext(t.Context(), program, "--schema-only", url).Output()
	if err != nil {
		t.Fatalf("pg_dump: %v", err)
	}
	var kept []string
	for line := range strings.Lines(string(out)) {
		// A random word, new at each run (since the releases of August 2025).
		if !strings.HasPrefix(line, `\restrict`) && !strings.HasPrefix(line, `\unrestrict`) {
			kept = append(kept, line)
		}
	}
	return strings.Join(kept, "")
}

func TestUpDownUpGivesTheSameSchema(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	url := empty(t)
	if v, err := Version(ctx, url); v != 0 || err != nil {
		t.Fatalf("an empty database has version %d %v", v, err)
	}
	if err := Up(ctx, url); err != nil {
		t.Fatal(err)
	}
	if v, err := Version(ctx, url); v != Newest() || err != nil {
		t.Errorf("version %d %v, want %d", v, err, Newest())
	}
	first, dumped := describe(t, url), dump(t, url)
	if !strings.Contains(first, "CREATE TABLE firm (") || !strings.Contains(dumped, "CREATE TABLE public.firm (") {
		t.Fatalf("the comparison sees no table:\n%s", first)
	}
	if err := Up(ctx, url); err != nil {
		t.Errorf("Up a second time: %v", err)
	}
	if err := Down(ctx, url); err != nil {
		t.Fatal(err)
	}
	if left := describe(t, url); strings.TrimSpace(left) != "" {
		t.Errorf("Down left:\n%s", left)
	}
	if left := ask(t, url, `select coalesce(string_agg(typname, ' '), '') from pg_type where typnamespace = 'public'::regnamespace and typname not like '%schema_migrations'`); left != "" {
		t.Errorf("Down left types: %s", left)
	}
	if v, err := Version(ctx, url); v != 0 || err != nil {
		t.Errorf("after Down: version %d %v", v, err)
	}
	if err := Up(ctx, url); err != nil {
		t.Fatalf("Up after Down: %v", err)
	}
	if second := describe(t, url); second != first {
		t.Errorf("another schema after up, down, up:\n%s", difference(first, second))
	}
	if again := dump(t, url); again != dumped {
		t.Errorf("pg_dump sees another schema after up, down, up:\n%s", difference(dumped, again))
	}
}

func describe(t *testing.T, url string) string {
	t.Helper()
	text, err := Describe(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// difference lists the lines that only one of two texts has.
func difference(a, b string) string {
	var out strings.Builder
	for _, side := range []struct{ mark, has, lacks string }{{"- ", a, b}, {"+ ", b, a}} {
		other := map[string]int{}
		for line := range strings.Lines(side.lacks) {
			other[line]++
		}
		for line := range strings.Lines(side.has) {
			if other[line]--; other[line] < 0 {
				out.WriteString(side.mark + line)
			}
		}
	}
	return out.String()
}

const schemaHead = `-- The whole schema after all migrations, for readers. Not run by anything:
-- the migrations in sql/ are. Written by: go generate ./migrations

`

func TestSchemaForReadersIsCurrent(t *testing.T) {
	t.Parallel()
	url := empty(t)
	if err := Up(t.Context(), url); err != nil {
		t.Fatal(err)
	}
	now := schemaHead + describe(t, url)
	if *update {
		if err := os.WriteFile("schema.sql", []byte(now), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := os.ReadFile("schema.sql")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(kept, []byte(now)) {
		t.Errorf("schema.sql is not what the migrations make (go generate ./migrations):\n%s", difference(string(kept), now))
	}
}

func TestSeveralInstancesMigrateAtOnce(t *testing.T) {
	t.Parallel()
	url := empty(t)
	var wait sync.WaitGroup
	errs := make([]error, 4)
	for i := range errs {
		wait.Go(func() { errs[i] = Up(t.Context(), url) })
	}
	wait.Wait()
	if err := errors.Join(errs...); err != nil {
		t.Error(err)
	}
	if v, err := Version(t.Context(), url); v != Newest() || err != nil {
		t.Errorf("version %d %v", v, err)
	}
}

// Two databases of one server share their roles: both make toeboard_app.
func TestTwoDatabasesMigrateAtOnce(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	server, err := localpg.Start(ctx, testServer()) // one without the role yet
	if err != nil {
		t.Fatal(err)
	}
	defer server.Stop()
	var wait sync.WaitGroup
	errs := make([]error, 4)
	for i := range errs {
		name := "db" + string(rune('a'+i))
		if err := server.EnsureDatabase(ctx, name); err != nil {
			t.Fatal(err)
		}
		wait.Go(func() { errs[i] = Up(ctx, server.URL(name)) })
	}
	wait.Wait()
	if err := errors.Join(errs...); err != nil {
		t.Error(err)
	}
}

func TestAFailedMigrationLeavesNothingAndCanBeTriedAgain(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	url := empty(t)
	bad := folder("create table ta (n int)", "create table tb (n int);\n\nselect no_such_thing;")
	err := up(ctx, url, bad)
	if err == nil || !strings.Contains(err.Error(), "no_such_thing") || !strings.Contains(err.Error(), "line 3") {
		t.Fatalf("error %v, want the place and the cause", err)
	}
	if strings.Contains(err.Error(), "create table") {
		t.Errorf("the error repeats the file: %v", err)
	}
	if got := ask(t, url, `select (to_regclass('ta') is not null)::text || ' ' || (to_regclass('tb') is not null)::text`); got != "true false" {
		t.Errorf("first and second table are there: %s", got)
	}
	if v, err := Version(ctx, url); v != 1 || err != nil {
		t.Errorf("version %d %v, want 1", v, err)
	}
	if err := up(ctx, url, folder("create table ta (n int)", "create table tb (n int)")); err != nil {
		t.Errorf("the mended migration: %v", err)
	}
	if v, err := Version(ctx, url); v != 2 || err != nil {
		t.Errorf("version %d %v, want 2", v, err)
	}
}

// A migrator that dies in the middle is seen by the server as a connection that
// ends: here it is ended from outside while its statement runs.
func TestAMigratorThatDiesLeavesNothingToRepair(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	url := empty(t)
	failed := make(chan error, 1)
	go func() {
		failed <- up(ctx, url, folder("create table ta (n int); select pg_sleep(60)"))
	}()
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(ctx)
	for ended := false; !ended; time.Sleep(20 * time.Millisecond) {
		err := conn.QueryRow(ctx, `select coalesce(bool_or(pg_terminate_backend(pid)), false) from pg_stat_activity
			where datname = current_database() and state = 'active' and query like '%pg_sleep%' and pid <> pg_backend_pid()`).Scan(&ended)
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := <-failed; err == nil {
		t.Fatal("the migration did not notice")
	}
	if err := up(ctx, url, folder("create table ta (n int)")); err != nil {
		t.Errorf("the next start: %v", err)
	}
}

func TestMigratingCanBeInterrupted(t *testing.T) {
	t.Parallel()
	url := empty(t)
	ctx, cancel := context.WithTimeout(t.Context(), 700*time.Millisecond)
	defer cancel()
	before := time.Now()
	err := up(ctx, url, folder("create table ta (n int); select pg_sleep(60)"))
	if !errors.Is(err, context.DeadlineExceeded) || time.Since(before) > 20*time.Second {
		t.Errorf("%v after %v", err, time.Since(before))
	}
	if got := ask(t, url, `select (to_regclass('ta') is null)::text`); got != "true" {
		t.Error("half a migration is there")
	}

	// Waiting for another migrator is bounded too.
	holder, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer holder.Close(context.Background())
	if _, err := holder.Exec(t.Context(), `select pg_advisory_lock($1)`, int64(lockNumber)); err != nil {
		t.Fatal(err)
	}
	ctx, cancel = context.WithTimeout(t.Context(), 400*time.Millisecond)
	defer cancel()
	err = up(ctx, url, folder("create table ta (n int)"))
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("%v, want the wait to end", err)
	}
}

func TestADatabaseNewerThanTheProgramIsRefused(t *testing.T) {
	t.Parallel()
	url := empty(t)
	if err := up(t.Context(), url, folder("create table ta (n int)", "create table tb (n int)")); err != nil {
		t.Fatal(err)
	}
	err := up(t.Context(), url, folder("create table ta (n int)"))
	if err == nil || !strings.Contains(err.Error(), "schema version 2") || !strings.Contains(err.Error(), "up to 1") {
		t.Errorf("says %v", err)
	}
}

func TestAddressesThatDoNotWork(t *testing.T) {
	t.Parallel()
	for url, want := range map[string]string{
		"not an address":                      "cannot be read",
		"postgres://u:p@127.0.0.1:1/x":        "connecting to the database",
		"postgres://u:p@127.0.0.1:notaport/x": "cannot be read",
	} {
		if err := Up(t.Context(), url); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", url, err, want)
		} else if strings.Contains(err.Error(), "u:p@") {
			t.Errorf("the error shows the password: %v", err)
		}
	}
}
