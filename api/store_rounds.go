package api

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/outbox"
	"toeboard/migrations/queue"
	"toeboard/migrations/tenant"
	"toeboard/weather/civil"
)

// effect is what a round does to the world, such as writing messages, in the
// transaction that ends it.
type effect = func(pgx.Tx) error

// beginRound writes the row of a round and puts its job into the queue, in one
// transaction; false when the row is there already.
func (s *Service) beginRound(ctx context.Context, firm uuid.UUID, kind RoundKind, on civil.Date, now time.Time) (begun bool, err error) {
	id := s.ids()
	err = tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `INSERT INTO daily_round (firm_id, kind, on_date, round_id, begun_at) VALUES ($1, $2, $3, $4, $5) ON CONFLICT DO NOTHING`, firm, kind, on, id, now)
		if err != nil {
			return fmt.Errorf("begin the %s round of %s: %w", kind, on, err)
		}
		if begun = tag.RowsAffected() == 1; !begun {
			return nil
		}
		return s.queue.Put(ctx, tx, queue.Round{Firm: firm, Round: id}, time.Time{})
	})
	return begun, err
}

// roundsBegun tells which rounds of a date have begun.
func (s *Service) roundsBegun(ctx context.Context, firm uuid.UUID, on civil.Date) (map[RoundKind]bool, error) {
	begun := map[RoundKind]bool{}
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT kind FROM daily_round WHERE firm_id = $1 AND on_date = $2`, firm, on)
		if err != nil {
			return fmt.Errorf("read the rounds of %s: %w", on, err)
		}
		kinds, err := pgx.CollectRows(rows, pgx.RowTo[RoundKind])
		for _, k := range kinds {
			begun[k] = true
		}
		return err
	})
	return begun, err
}

// roundOf reads what a round is.
func (s *Service) roundOf(ctx context.Context, firm, id uuid.UUID) (kind RoundKind, on civil.Date, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		if err := tx.QueryRow(ctx, `SELECT kind, on_date FROM daily_round WHERE firm_id = $1 AND round_id = $2`, firm, id).Scan(&kind, &on); err != nil {
			return fmt.Errorf("read a round: %w", err)
		}
		return nil
	})
	return kind, on, err
}

// endRound ends a round with its effect, in one transaction. A round that
// another worker ended meanwhile has had its effect, and nothing more is done.
func (s *Service) endRound(ctx context.Context, firm, id uuid.UUID, now time.Time, said string, do effect) error {
	return tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `UPDATE daily_round SET done_at = greatest($3, begun_at), said = $4 WHERE firm_id = $1 AND round_id = $2 AND done_at IS NULL`, firm, id, now, said)
		if err != nil {
			return fmt.Errorf("end a round: %w", err)
		}
		if tag.RowsAffected() == 0 {
			return nil
		}
		if do == nil {
			return nil
		}
		return do(tx)
	})
}

// tell writes what a round tells. A topic that was told before gets the next
// sequence.
func (s *Service) tell(firm uuid.UUID, all []telling, by string) effect {
	return func(tx pgx.Tx) error {
		ctx := context.Background() // a transaction that has begun is ended whole
		for _, t := range all {
			if !t.once {
				if err := tx.QueryRow(ctx, `SELECT coalesce(max(sequence) + 1, 0) FROM message WHERE firm_id = $1 AND topic = $2`, firm, t.Topic).Scan(&t.Sequence); err != nil {
					return fmt.Errorf("read how often %s was told: %w", t.Topic, err)
				}
			}
			t.ID, t.At, t.CausedBy = s.ids(), s.now(), by
			if _, err := outbox.Write(ctx, tx, firm, t.outMessage); err != nil {
				return err
			}
			if t.note == nil {
				continue
			}
			t.note.Topic, t.note.Sequence = t.Topic, t.Sequence
			if _, err := s.tellPhones(ctx, tx, firm, t.people, *t.note); err != nil {
				return err
			}
		}
		return nil
	}
}

// tellNow tells what belongs to no round of the day.
func (s *Service) tellNow(ctx context.Context, firm uuid.UUID, all []telling, by string) error {
	return tenant.Write(ctx, s.pool, firm, s.tell(firm, all, by))
}

// lastTold gives what was written of a topic last, sent or not; ok is false when
// nothing was.
func (s *Service) lastTold(ctx context.Context, firm uuid.UUID, topic string) (outbox.Letter, bool, error) {
	return s.lastLetter(ctx, firm, topic, false)
}

// lastHeard gives what was sent of a topic last; ok is false when nothing was.
func (s *Service) lastHeard(ctx context.Context, firm uuid.UUID, topic string) (outbox.Letter, bool, error) {
	return s.lastLetter(ctx, firm, topic, true)
}

func (s *Service) lastLetter(ctx context.Context, firm uuid.UUID, topic string, sent bool) (l outbox.Letter, ok bool, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		err := tx.QueryRow(ctx, `SELECT letter FROM message WHERE firm_id = $1 AND topic = $2 AND (state = 'sent' OR NOT $3) ORDER BY sequence DESC LIMIT 1`, firm, topic, sent).Scan(&l)
		if errors.Is(err, pgx.ErrNoRows) {
			return nil
		}
		ok = err == nil
		return err
	})
	if err != nil {
		err = fmt.Errorf("read what was told of %s: %w", topic, err)
	}
	return l, ok, err
}
