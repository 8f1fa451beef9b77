package dbtest_test

import (
	"context"
	"testing"

	"github.com/jackc/pgx/v5"

	"toeboard/migrations"
	"toeboard/migrations/dbtest"
)

func TestEachTestHasItsOwnMigratedDatabase(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	a, b := dbtest.New(t), dbtest.New(t)
	if got, err := migrations.Version(ctx, a.URL); err != nil || got != migrations.Newest() {
		t.Errorf("version %d %v, want %d", got, err, migrations.Newest())
	}
	const firm = `insert into firm values (gen_random_uuid(), 'A', 'Europe/London', 'scotland', '{}', '{}', 55, -3, now())`
	if _, err := a.Owner.Exec(ctx, firm); err != nil {
		t.Fatal(err)
	}
	for db, want := range map[*dbtest.DB]int{a: 1, b: 0} {
		var n int
		if err := db.Owner.QueryRow(ctx, `select count(*) from firm`).Scan(&n); err != nil || n != want {
			t.Errorf("%d firms (%v), want %d", n, err, want)
		}
	}
	var user string
	if err := a.App.QueryRow(ctx, `select current_user`).Scan(&user); err != nil || user != migrations.Role {
		t.Errorf("the service works as %q (%v)", user, err)
	}
}

func TestDatabasesAreDroppedWhenTheTestEnds(t *testing.T) {
	t.Parallel()
	var gone *dbtest.DB
	t.Run("inner", func(t *testing.T) {
		gone = dbtest.New(t)
		// A connection that the test forgot does not keep its database.
		if _, err := pgx.Connect(context.Background(), gone.URL); err != nil {
			t.Fatal(err)
		}
	})
	if conn, err := pgx.Connect(t.Context(), gone.URL); err == nil {
		conn.Close(t.Context())
		t.Error("the database of a test that ended is still there")
	}
}

func BenchmarkNew(b *testing.B) {
	dbtest.New(b) // the server and the template
	for b.Loop() {
		dbtest.New(b)
	}
}
