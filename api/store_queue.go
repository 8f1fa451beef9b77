package api

import (
	"context"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/queue"
	"toeboard/schedule"
)

// jobQueue is where work waits that outlives a request.
type jobQueue = queue.Queue

// wake puts a job for a run into the queue, with the transaction that writes
// the run. It is worked after a while at the earliest; 0 = at once.
func (s *Service) wake(ctx context.Context, firm uuid.UUID, after time.Duration) schedule.Enqueue {
	return func(tx pgx.Tx, run uuid.UUID) error {
		var notBefore time.Time
		if after > 0 {
			notBefore = time.Now().Add(after) // the queue lives by the real clock, whatever ours shows
		}
		return s.queue.Put(ctx, tx, queue.PlanRun{Firm: firm, Run: run}, notBefore)
	}
}

// Work works what waits in the queue, for every firm, and looks after runs whose
// worker was lost, until stop is called. stop gives runs under way back, so that
// another instance, or this one's next start, takes them up.
func (s *Service) Work() (stop func(), err error) {
	w := queue.NewWorkers()
	queue.On(w, queue.Longest, func(ctx context.Context, j queue.PlanRun) error {
		inHand, err := s.workRun(ctx, j.Firm, j.Run)
		if inHand && err == nil {
			return queue.Later(s.times.Silent)
		}
		return err
	})
	queue.On(w, roundTime, func(ctx context.Context, j queue.Round) error {
		return s.workRound(ctx, j.Firm, j.Round)
	})
	queue.On(w, 2*s.mailTimes.Hold, s.sendMessage)
	queue.On(w, roundTime, func(ctx context.Context, j queue.PushNote) error { return s.workNote(ctx, j.Firm, j.Note) })
	stopQueue, err := s.queue.Work(w)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(context.Background())
	var watch sync.WaitGroup
	watch.Go(func() { s.watchRuns(ctx) })
	watch.Go(func() { s.watchMessages(ctx) })
	return func() {
		cancel()
		watch.Wait()
		stopQueue()
	}, nil
}

// watchRuns frees runs whose worker has fallen silent.
func (s *Service) watchRuns(ctx context.Context) {
	tick := time.NewTicker(s.times.Silent / 4)
	defer tick.Stop()
	for {
		if err := s.freeLostRuns(ctx); err != nil && ctx.Err() == nil {
			s.log.Warn("look for lost runs", "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// freeLostRuns looks at the runs that some instance has taken up, across firms:
// the queue knows which those are.
func (s *Service) freeLostRuns(ctx context.Context) error {
	jobs, err := queue.Running[queue.PlanRun](ctx, s.queue)
	if err != nil {
		return err
	}
	for _, j := range jobs {
		freed, err := s.schedule.FreeRun(ctx, j.Firm, j.Run, s.times.Silent, s.wake(ctx, j.Firm, 0))
		if err != nil {
			return err
		}
		if freed {
			s.log.Warn("a run's worker was lost: the run goes to another", "firm", j.Firm, "run", j.Run)
		}
	}
	return nil
}
