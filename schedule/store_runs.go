package schedule

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/weather/fault"
)

// A run's row is what everybody sees of it, and what its workers agree by. A
// worker that takes a run up counts its takes up and from then on writes with
// that number; a slow one that was given up and still writes meets another
// number and knows that the run is no longer its own. Whose turn it is is judged
// by the database's clock, since workers are on several machines.

// Enqueue wakes a worker for a run, in the transaction that it is called in.
type Enqueue func(tx pgx.Tx, run uuid.UUID) error

const runColumns = `run_id, state, asked_by, asked_at, why, aim, seed, schedules, workers, takes, losses, generated, best_pence, bound_pence,
	began_at, ended_at, plan_id, reason`

type runRow struct {
	RunID                                        uuid.UUID
	State, AskedBy, Why, Aim, Reason             string
	AskedAt                                      time.Time
	Seed                                         int64
	Schedules, Workers, Takes, Losses, Generated int
	BestPence, BoundPence                        *Pence
	BeganAt, EndedAt                             *time.Time
	PlanID                                       *uuid.UUID
}

func (r runRow) run() Run {
	return Run{ID: r.RunID, State: RunState(r.State), AskedBy: r.AskedBy, AskedAt: r.AskedAt.UTC(), Why: r.Why, Aim: Aim(r.Aim), Seed: uint64(r.Seed),
		Schedules: r.Schedules, Workers: r.Workers, Generated: r.Generated, Best: r.BestPence, Bound: r.BoundPence,
		BeganAt: timeOrZero(r.BeganAt), EndedAt: timeOrZero(r.EndedAt), Plan: orNil(r.PlanID), Reason: r.Reason, Losses: r.Losses, take: r.Takes}
}

// oneRun reads the run that a query gives; NotFound when it gives none.
func oneRun(ctx context.Context, tx pgx.Tx, query string, args ...any) (Run, error) {
	rows, err := tx.Query(ctx, query, args...)
	if err != nil {
		return Run{}, fmt.Errorf("read a run: %w", err)
	}
	r, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[runRow])
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return Run{}, fault.Missing("run", "")
	case err != nil:
		return Run{}, fmt.Errorf("read a run: %w", err)
	}
	return r.run(), nil
}

// AskRun begins a run unless one of the firm's has not ended, which it then
// gives; own tells which. A run with the same identifier is the same run, asked
// for again. enqueue wakes a worker. begun says that the caller works it itself
// and begins now.
func (s *Store) AskRun(ctx context.Context, firm uuid.UUID, r Run, begun bool, enqueue Enqueue) (run Run, own bool, err error) {
	r.ID, r.State = s.orNew(r.ID), RunWaiting
	if r.AskedBy == "" || r.AskedAt.IsZero() {
		return Run{}, false, fault.Bad("asked by", r.AskedBy, "who wants the plan, and when")
	}
	if begun {
		r.State, r.take, r.BeganAt = RunRunning, 1, r.AskedAt
	}
	// The run that stands in the way may end between the two statements.
	for range 5 {
		run, own, err = s.askOnce(ctx, firm, r, enqueue)
		if fault.KindOf(err) != fault.NotFound {
			break
		}
	}
	return run, own, err
}

func (s *Store) askOnce(ctx context.Context, firm uuid.UUID, r Run, enqueue Enqueue) (run Run, own bool, err error) {
	err = s.write(ctx, firm, func(tx pgx.Tx) error {
		run, err = oneRun(ctx, tx, `
			INSERT INTO plan_run (firm_id, run_id, state, asked_by, asked_at, why, aim, seed, schedules, workers, takes, began_at, heartbeat_at, looked_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, CASE WHEN $11 > 0 THEN clock_timestamp() END, clock_timestamp())
			ON CONFLICT DO NOTHING RETURNING `+runColumns,
			firm, r.ID, r.State, r.AskedBy, instant(r.AskedAt), r.Why, string(cmp.Or(r.Aim, LowestCost)), int64(r.Seed), r.Schedules, r.Workers, r.take, timeOrNull(r.BeganAt))
		if err == nil {
			own = true
			return enqueue(tx, run.ID)
		}
		if fault.KindOf(err) != fault.NotFound {
			return err
		}
		// Written as it is read: an answer must not rest on a row that a failover
		// could still lose.
		run, err = oneRun(ctx, tx, `
			UPDATE plan_run SET looked_at = clock_timestamp()
			WHERE firm_id = $1 AND run_id = coalesce(
			  (SELECT run_id FROM plan_run WHERE firm_id = $1 AND run_id = $2),
			  (SELECT run_id FROM plan_run WHERE firm_id = $1 AND state IN ('waiting', 'running')))
			RETURNING `+runColumns, firm, r.ID)
		own = err == nil && run.ID == r.ID
		return err
	})
	return run, own, err
}

// Run gives one run. Whoever looks at one that has not ended keeps it alive: it
// is noted, at most once in each stale, a fraction of the time after which an
// unseen run ends.
func (s *Store) Run(ctx context.Context, firm, id uuid.UUID, stale time.Duration) (Run, error) {
	var r Run
	var old bool
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		r, err = oneRun(ctx, tx, `SELECT `+runColumns+` FROM plan_run WHERE firm_id = $1 AND run_id = $2`, firm, id)
		if err != nil {
			return err
		}
		return tx.QueryRow(ctx, `SELECT ended_at IS NULL AND looked_at < clock_timestamp() - $3::interval FROM plan_run WHERE firm_id = $1 AND run_id = $2`,
			firm, id, stale).Scan(&old)
	})
	if fault.KindOf(err) == fault.NotFound {
		return Run{}, fault.Missing("run", id.String())
	}
	if err != nil || !old {
		return r, err
	}
	return r, s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `UPDATE plan_run SET looked_at = clock_timestamp() WHERE firm_id = $1 AND run_id = $2`, firm, id)
		return err
	})
}

// RunUnderWay gives the firm's run that has not ended; NotFound when there is
// none.
func (s *Store) RunUnderWay(ctx context.Context, firm uuid.UUID) (Run, error) {
	var r Run
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		r, err = oneRun(ctx, tx, `SELECT `+runColumns+` FROM plan_run WHERE firm_id = $1 AND state IN ('waiting', 'running')`, firm)
		return err
	})
	return r, err
}

// TakeRun takes a run up for the caller: one that waits, or one whose worker
// has not written for longer than silent. mine is false when it has ended or is
// in good hands.
func (s *Store) TakeRun(ctx context.Context, firm, id uuid.UUID, now time.Time, silent time.Duration) (r Run, mine bool, err error) {
	err = s.write(ctx, firm, func(tx pgx.Tx) error {
		r, err = oneRun(ctx, tx, `
			UPDATE plan_run SET state = 'running', takes = takes + 1, losses = losses + (state = 'running')::integer, began_at = $3, heartbeat_at = clock_timestamp(),
			       generated = 0, best_pence = NULL, bound_pence = NULL
			WHERE firm_id = $1 AND run_id = $2
			  AND (state = 'waiting' OR state = 'running' AND heartbeat_at < clock_timestamp() - $4::interval)
			RETURNING `+runColumns, firm, id, instant(now), silent)
		mine = err == nil
		if fault.KindOf(err) != fault.NotFound {
			return err
		}
		r, err = oneRun(ctx, tx, `SELECT `+runColumns+` FROM plan_run WHERE firm_id = $1 AND run_id = $2`, firm, id)
		return err
	})
	return r, mine, err
}

// RunOrder is what a worker learns when it writes how far it is.
type RunOrder struct {
	Lost   bool   // the run is no longer this worker's
	StopBy string // who wants it stopped; "" = nobody
	Keep   bool   // and the best plan so far kept
	Unseen bool   // nobody looked at it for as long as was asked
}

// Beat writes how far a run is and that its worker lives, and gives what is
// wanted of it.
func (s *Store) Beat(ctx context.Context, firm uuid.UUID, r Run, p Progress, unseen time.Duration) (RunOrder, error) {
	var o RunOrder
	var stopBy *string
	err := s.write(ctx, firm, func(tx pgx.Tx) error {
		err := tx.QueryRow(ctx, `
			UPDATE plan_run SET heartbeat_at = clock_timestamp(), generated = $4, best_pence = $5, bound_pence = $6
			WHERE firm_id = $1 AND run_id = $2 AND takes = $3 AND state = 'running'
			RETURNING stop_by, stop_keep, looked_at < clock_timestamp() - $7::interval`,
			firm, r.ID, r.take, p.Schedules, penceOrNull(p.Best), penceOrNull(p.Bound), unseen).Scan(&stopBy, &o.Keep, &o.Unseen)
		if errors.Is(err, pgx.ErrNoRows) {
			o.Lost = true
			return nil
		}
		if stopBy != nil {
			o.StopBy = *stopBy
		}
		return err
	})
	return o, err
}

func penceOrNull(p Pence) *Pence {
	if p == 0 {
		return nil
	}
	return &p
}

// EndRun ends a run as its worker, with its draft when it has one: both are
// there or neither. mine is false when the run was no longer the worker's; then
// nothing was saved.
func (s *Store) EndRun(ctx context.Context, firm uuid.UUID, r Run, p *Plan) (saved Run, mine bool, err error) {
	if p != nil {
		made := s.asDraft(*p)
		p = &made
		if err := p.check(); err != nil {
			return Run{}, false, err
		}
		r.Plan = p.ID
	}
	err = s.write(ctx, firm, func(tx pgx.Tx) error {
		mine = false
		err := tx.QueryRow(ctx, `SELECT true FROM plan_run WHERE firm_id = $1 AND run_id = $2 AND takes = $3 AND state = 'running' FOR UPDATE`,
			firm, r.ID, r.take).Scan(&mine)
		if errors.Is(err, pgx.ErrNoRows) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("end a run: %w", err)
		}
		if p != nil {
			if err := saveDraft(ctx, tx, firm, p); err != nil {
				return err
			}
		}
		saved, err = oneRun(ctx, tx, `
			UPDATE plan_run SET state = $3, ended_at = $4, plan_id = $5, reason = $6, generated = $7, best_pence = coalesce($8, best_pence),
			       bound_pence = coalesce($9, bound_pence)
			WHERE firm_id = $1 AND run_id = $2 RETURNING `+runColumns,
			firm, r.ID, r.State, instant(r.EndedAt), orNull(r.Plan), r.Reason, r.Generated, r.Best, r.Bound)
		return err
	})
	return saved, mine && err == nil, err
}

// GiveBackRun lets go of a run as its worker, so that another takes it up; lost
// says that this one failed.
func (s *Store) GiveBackRun(ctx context.Context, firm uuid.UUID, r Run, lost bool, enqueue Enqueue) error {
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			UPDATE plan_run SET state = 'waiting', losses = losses + $4::boolean::integer
			WHERE firm_id = $1 AND run_id = $2 AND takes = $3 AND state = 'running'`, firm, r.ID, r.take, lost)
		if err != nil || tag.RowsAffected() == 0 {
			return err
		}
		return enqueue(tx, r.ID)
	})
}

// FreeRun lets go of a run whose worker has not written for longer than silent,
// and tells whether it was one.
func (s *Store) FreeRun(ctx context.Context, firm, id uuid.UUID, silent time.Duration, enqueue Enqueue) (freed bool, err error) {
	err = s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			UPDATE plan_run SET state = 'waiting', losses = losses + 1
			WHERE firm_id = $1 AND run_id = $2 AND state = 'running' AND heartbeat_at < clock_timestamp() - $3::interval`, firm, id, silent)
		if freed = err == nil && tag.RowsAffected() == 1; !freed {
			return err
		}
		return enqueue(tx, id)
	})
	return freed, err
}

// StopRun ends a run that waits, and tells the worker of one that runs to end
// it: with keep the best plan so far becomes its draft. A run that has ended
// stays as it is.
func (s *Store) StopRun(ctx context.Context, firm, id uuid.UUID, by string, keep bool, now time.Time) (r Run, err error) {
	if by == "" {
		return r, fault.Bad("stopped by", "", "who stops the run")
	}
	err = s.write(ctx, firm, func(tx pgx.Tx) error {
		r, err = oneRun(ctx, tx, `SELECT `+runColumns+` FROM plan_run WHERE firm_id = $1 AND run_id = $2 FOR UPDATE`, firm, id)
		switch {
		case err != nil || r.Ended():
			return err
		case r.State == RunWaiting:
			r, err = oneRun(ctx, tx, `UPDATE plan_run SET state = 'stopped', stop_by = $3, ended_at = $4, reason = $5
				WHERE firm_id = $1 AND run_id = $2 RETURNING `+runColumns,
				firm, id, by, instant(now), RunEnd{Rule: EndAsked, By: by}.Sentence())
			return err
		}
		_, err = tx.Exec(ctx, `UPDATE plan_run SET stop_by = $3, stop_keep = $4 WHERE firm_id = $1 AND run_id = $2`, firm, id, by, keep)
		return err
	})
	if fault.KindOf(err) == fault.NotFound {
		return Run{}, fault.Missing("run", id.String())
	}
	return r, err
}
