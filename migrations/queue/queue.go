// Package queue keeps work that outlives the request that asked for it. A job is
// put in by the transaction of its cause: it is there if and only if that
// transaction committed. It is worked at least once, by whichever instance is
// free, so what it does must be safe to do twice.
//
// The tables are River's, in a schema of their own (migrations/river.go). It
// stands beneath migrations because every store may put a job in.
package queue

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivertype"

	"toeboard/migrations"
)

// The queues. What takes minutes has one of its own.
const (
	plans = "plans"
	mail  = "mail"
	short = river.QueueDefault
)

// How the queues are worked. A job may run for Longest; only then may River take
// it for lost and give it to somebody else, which it does after rescueAfter.
// Whoever cannot wait that long keeps a heartbeat of its own, as the runs do.
const (
	Longest     = 35 * time.Minute
	rescueAfter = 40 * time.Minute
	shortTime   = time.Minute // for a job that names no time of its own

	plansAtOnce = 2 // searches side by side in one instance: they are all arithmetic
	shortAtOnce = 8
	mailAtOnce  = 4 // connections to the mail server from one instance

	stopPatience = 15 * time.Second
)

// Queue puts jobs in and gives them to workers. It is safe for use by several
// goroutines.
type Queue struct {
	pool   *pgxpool.Pool
	log    *slog.Logger
	insert *river.Client[pgx.Tx]
}

// New makes a queue on a pool that works as the service's role. It starts
// nothing.
func New(pool *pgxpool.Pool, log *slog.Logger) (*Queue, error) {
	q := &Queue{pool: pool, log: slog.New(warnings{log.Handler()})}
	var err error
	if q.insert, err = river.NewClient(riverpgxv5.New(pool), &river.Config{Schema: migrations.QueueSchema, Logger: q.log}); err != nil {
		return nil, fmt.Errorf("open the queue: %w", err)
	}
	return q, nil
}

// warnings leaves out what River tells each minute of its well-being.
type warnings struct{ slog.Handler }

// Enabled tells whether a line of the level is written.
func (w warnings) Enabled(ctx context.Context, l slog.Level) bool {
	return l >= slog.LevelWarn && w.Handler.Enabled(ctx, l)
}

// Put puts a job in with tx: if tx is rolled back, there is no job. notBefore
// is when it may be worked at the earliest; zero = at once.
func (q *Queue) Put(ctx context.Context, tx pgx.Tx, j Job, notBefore time.Time) error {
	return put(ctx, tx, q.insert, j, notBefore)
}

// Put is the same for whoever has a transaction and no queue.
func Put(ctx context.Context, tx pgx.Tx, j Job, notBefore time.Time) error {
	insert, err := river.NewClient(riverpgxv5.New(nil), &river.Config{Schema: migrations.QueueSchema})
	if err != nil {
		return fmt.Errorf("open the queue: %w", err)
	}
	return put(ctx, tx, insert, j, notBefore)
}

func put(ctx context.Context, tx pgx.Tx, insert *river.Client[pgx.Tx], j Job, notBefore time.Time) error {
	var opts *river.InsertOpts
	if !notBefore.IsZero() {
		opts = &river.InsertOpts{ScheduledAt: notBefore}
	}
	if _, err := insert.InsertTx(ctx, tx, j, opts); err != nil {
		return fmt.Errorf("put a job of kind %s into the queue: %w", j.Kind(), err)
	}
	return nil
}

// Workers are who works which kind.
type Workers struct{ set *river.Workers }

// NewWorkers begins a list of workers.
func NewWorkers() Workers { return Workers{river.NewWorkers()} }

// On lets do work the jobs of one kind. do's context ends when the instance
// stops, and after longest (0 = a minute). An error has the job worked again,
// sooner at first, then later and later.
func On[J Job](w Workers, longest time.Duration, do func(context.Context, J) error) {
	river.AddWorker(w.set, &worker[J]{do: do, longest: longest})
}

type worker[J Job] struct {
	river.WorkerDefaults[J]
	do      func(context.Context, J) error
	longest time.Duration
}

func (w *worker[J]) Work(ctx context.Context, j *river.Job[J]) error { return w.do(ctx, j.Args) }
func (w *worker[J]) Timeout(*river.Job[J]) time.Duration             { return w.longest }

// Later has a job worked again after a while, without counting it as failed.
func Later(after time.Duration) error { return river.JobSnooze(after) }

// Work works the queues until stop is called: it ends the contexts of the jobs
// under way and waits for them.
func (q *Queue) Work(w Workers) (stop func(), err error) {
	client, err := river.NewClient(riverpgxv5.New(q.pool), &river.Config{
		Schema: migrations.QueueSchema, Logger: q.log, Workers: w.set,
		Queues: map[string]river.QueueConfig{
			plans: {MaxWorkers: plansAtOnce, FetchCooldown: 20 * time.Millisecond},
			short: {MaxWorkers: shortAtOnce},
			mail:  {MaxWorkers: mailAtOnce, FetchCooldown: 20 * time.Millisecond},
		},
		JobTimeout: shortTime, RescueStuckJobsAfter: rescueAfter,
		// The service owns no index, so it cannot rebuild one.
		ReindexerIndexNames: []string{},
	})
	if err != nil {
		return nil, fmt.Errorf("open the queue: %w", err)
	}
	// Ends by stop and not with a caller's context, so that whoever works can
	// still say in the database what became of it.
	if err := client.Start(context.Background()); err != nil {
		return nil, fmt.Errorf("work the queue: %w", err)
	}
	return func() {
		ctx, cancel := context.WithTimeout(context.Background(), stopPatience)
		defer cancel()
		if err := client.StopAndCancel(ctx); err != nil {
			q.log.Error("stop the queue: jobs under way will be taken over", "error", err)
		}
	}, nil
}

// Running gives the jobs of J's kind that some instance took up and has not
// ended, those of instances that died among them.
func Running[J Job](ctx context.Context, q *Queue) ([]J, error) {
	return RunningFor[J](ctx, q, 0)
}

// RunningFor is Running for those that were taken up so long ago, or longer.
func RunningFor[J Job](ctx context.Context, q *Queue, least time.Duration) ([]J, error) {
	var kind J
	found, err := q.insert.JobList(ctx, river.NewJobListParams().Kinds(kind.Kind()).States(rivertype.JobStateRunning).First(1000))
	if err != nil {
		return nil, fmt.Errorf("list the jobs of kind %s that are running: %w", kind.Kind(), err)
	}
	var all []J
	for _, j := range found.Jobs {
		if j.AttemptedAt != nil && time.Since(*j.AttemptedAt) < least {
			continue
		}
		var args J
		if err := json.Unmarshal(j.EncodedArgs, &args); err != nil {
			return nil, fmt.Errorf("read job %d: %w", j.ID, err)
		}
		all = append(all, args)
	}
	return all, nil
}
