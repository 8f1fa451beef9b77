package queue

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"reflect"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"toeboard/migrations/dbtest"
	"toeboard/weather/civil"
)

// No policy by firm holds the queue's tables, so a job may name things and tell
// nothing: its fields are identifiers and dates, never text.
func TestJobsHoldIdentifiersOnly(t *testing.T) {
	allowed := []reflect.Type{reflect.TypeFor[uuid.UUID](), reflect.TypeFor[civil.Date](), reflect.TypeFor[int]()}
	seen := map[string]bool{}
	for _, j := range kinds {
		if seen[j.Kind()] {
			t.Errorf("two kinds are called %q", j.Kind())
		}
		seen[j.Kind()] = true
		typ := reflect.TypeOf(j)
		if typ.Kind() != reflect.Struct || typ.NumField() == 0 {
			t.Fatalf("%s is no struct with fields", typ)
		}
		for i := range typ.NumField() {
			f, ok := typ.Field(i), false
			for _, a := range allowed {
				ok = ok || f.Type == a
			}
			if !ok {
				t.Errorf("%s.%s is %s: a job holds identifiers, its worker reads the rest as the firm", typ, f.Name, f.Type)
			}
		}
		if f, ok := typ.FieldByName("Firm"); !ok || f.Type != reflect.TypeFor[uuid.UUID]() {
			t.Errorf("%s does not say whose it is", typ)
		}
	}
}

func open(t *testing.T, pool *pgxpool.Pool) *Queue {
	t.Helper()
	q, err := New(pool, slog.New(slog.NewTextHandler(io.Discard, nil)))
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func putEnd(t *testing.T, q *Queue, pool *pgxpool.Pool, j Job, end error) {
	t.Helper()
	err := pgx.BeginFunc(t.Context(), pool, func(tx pgx.Tx) error {
		if err := q.Put(t.Context(), tx, j, time.Time{}); err != nil {
			t.Fatal(err)
		}
		return end
	})
	if !errors.Is(err, end) {
		t.Fatal(err)
	}
}

func count(t *testing.T, db *dbtest.DB, where string) (n int) {
	t.Helper()
	if err := db.Owner.QueryRow(t.Context(), `SELECT count(*) FROM queue.river_job WHERE `+where).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); !ok(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%s: not within 20 s", what)
		}
	}
}

// As the service's role: a job is there if its transaction committed, and two
// instances that share the queue work each once.
func TestAJobIsThereWithItsTransactionAndIsWorkedOnce(t *testing.T) {
	t.Parallel()
	db := dbtest.New(t)
	one, two := open(t, db.App), open(t, db.App)
	rolledBack := errors.New("rolled back")
	putEnd(t, one, db.App, PlanRun{Firm: uuid.New(), Run: uuid.New()}, rolledBack)
	if n := count(t, db, "true"); n != 0 {
		t.Fatalf("%d jobs are there after a rollback", n)
	}
	const jobs = 40
	for range jobs {
		putEnd(t, one, db.App, PlanRun{Firm: uuid.New(), Run: uuid.New()}, nil)
	}
	var by [2]atomic.Int32
	both := make(chan struct{}) // closed when each instance has a job in hand
	var once sync.Once
	for i, q := range []*Queue{one, two} {
		w := NewWorkers()
		On(w, Longest, func(context.Context, PlanRun) error {
			if by[i].Add(1); by[1-i].Load() > 0 {
				once.Do(func() { close(both) })
			}
			<-both
			return nil
		})
		stop, err := q.Work(w)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(stop)
	}
	eventually(t, "all jobs are completed", func() bool { return count(t, db, "state = 'completed'") == jobs })
	if a, b := by[0].Load(), by[1].Load(); a+b != jobs || a == 0 || b == 0 {
		t.Errorf("the instances worked %d and %d of %d jobs", a, b, jobs)
	}
}

// The connections of an instance end under it, the one on which it listens
// among them: it goes on with new ones.
func TestAnInstanceSurvivesItsConnections(t *testing.T) {
	t.Parallel()
	db := dbtest.New(t)
	q := open(t, db.App)
	var worked atomic.Int32
	w := NewWorkers()
	On(w, 0, func(context.Context, PlanRun) error { worked.Add(1); return nil })
	stop, err := q.Work(w)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(stop)
	putEnd(t, q, db.App, PlanRun{Firm: uuid.New(), Run: uuid.New()}, nil)
	eventually(t, "the first job is worked", func() bool { return worked.Load() == 1 })
	var ended int
	if err := db.Owner.QueryRow(t.Context(), `SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity
		WHERE datname = current_database() AND application_name = 'toeboard'`).Scan(&ended); err != nil || ended < 2 {
		t.Fatalf("%d connections were ended (%v)", ended, err)
	}
	eventually(t, "a job can be put in again", func() bool {
		return pgx.BeginFunc(t.Context(), db.App, func(tx pgx.Tx) error {
			return q.Put(t.Context(), tx, PlanRun{Firm: uuid.New(), Run: uuid.New()}, time.Time{})
		}) == nil
	})
	eventually(t, "the next job is worked", func() bool { return worked.Load() == 2 })
}

// Stopping ends the context of what is under way and waits for it.
func TestStoppingWaitsForTheJobUnderWay(t *testing.T) {
	t.Parallel()
	db := dbtest.New(t)
	q := open(t, db.App)
	begun, ended := make(chan struct{}), false
	w := NewWorkers()
	On(w, Longest, func(ctx context.Context, _ PlanRun) error {
		close(begun)
		<-ctx.Done()
		ended = true
		return nil
	})
	stop, err := q.Work(w)
	if err != nil {
		t.Fatal(err)
	}
	job := PlanRun{Firm: uuid.New(), Run: uuid.New()}
	putEnd(t, q, db.App, job, nil)
	<-begun
	if running, err := Running[PlanRun](t.Context(), q); err != nil || len(running) != 1 || running[0] != job {
		t.Errorf("running are %v (%v), want %v", running, err, job)
	}
	stop()
	if !ended {
		t.Error("the queue stopped before its job had")
	}
}
