package migrations

import (
	"context"
	"crypto/rand"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"

	"toeboard/migrations/localpg"
)

// dbtest imports this package, so the tests inside it make their databases
// themselves.

func testServer() localpg.Options { return localpg.Options{Scratch: true} }

// server runs until this test program ends; its watcher stops it then.
var server = sync.OnceValues(func() (*localpg.Server, error) {
	return localpg.Start(context.Background(), testServer())
})

func empty(t *testing.T) string {
	t.Helper()
	s, err := server()
	if err != nil {
		t.Fatal(err)
	}
	name := "m_" + rand.Text()
	if err := s.EnsureDatabase(t.Context(), name); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx := context.Background()
		conn, err := pgx.Connect(ctx, s.URL("postgres"))
		if err != nil {
			t.Error(err)
			return
		}
		defer conn.Close(ctx)
		if _, err := conn.Exec(ctx, "drop database "+pgx.Identifier{name}.Sanitize()+" with (force)"); err != nil {
			t.Error(err)
		}
	})
	return s.URL(name)
}
