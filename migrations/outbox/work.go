package outbox

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"toeboard/migrations/tenant"
)

// Row is a message as it is kept.
type Row struct {
	ID                           uuid.UUID
	Kind                         Kind
	Topic                        string
	Sequence                     int
	ToName, ToAddress            string
	MailID                       string // without angle brackets
	ReplyToken                   string
	Letter                       Letter
	Calendar                     json.RawMessage
	CausedBy                     string
	WrittenAt, NotBefore, SentAt time.Time // UTC; SentAt zero = not sent
	State                        State
	Tries                        int
	Says                         string
}

const columns = `message_id, kind, topic, sequence, to_name, to_address, mail_id, reply_token, letter, calendar, caused_by, written_at, not_before, sent_at, state, tries, says`

func scan(r pgx.CollectableRow) (m Row, err error) {
	var letter, calendar []byte
	var sent *time.Time
	err = r.Scan(&m.ID, &m.Kind, &m.Topic, &m.Sequence, &m.ToName, &m.ToAddress, &m.MailID, &m.ReplyToken, &letter, &calendar, &m.CausedBy,
		&m.WrittenAt, &m.NotBefore, &sent, &m.State, &m.Tries, &m.Says)
	if err != nil {
		return m, err
	}
	m.WrittenAt, m.NotBefore, m.Calendar = m.WrittenAt.UTC(), m.NotBefore.UTC(), calendar
	if sent != nil {
		m.SentAt = sent.UTC()
	}
	return m, json.Unmarshal(letter, &m.Letter)
}

func query(ctx context.Context, tx pgx.Tx, sql string, args ...any) ([]Row, error) {
	rows, err := tx.Query(ctx, sql, args...)
	if err != nil {
		return nil, fmt.Errorf("read messages: %w", err)
	}
	all, err := pgx.CollectRows(rows, scan)
	if err != nil {
		return nil, fmt.Errorf("read messages: %w", err)
	}
	return all, nil
}

// Taken is a message in a worker's hand.
type Taken struct {
	Row
	With   []Row         // others that leave in the same mail
	Before []Row         // older messages of the topic that this one overtook unsent, the oldest first
	Wait   time.Duration // when nothing may be sent yet: how long to wait; 0 = nothing is to be sent any more
}

// Take takes a message into hand for a while. ok is false when there is nothing
// to send now: Wait says whether to come again. What was taken is on record
// before a mail server hears of it. Messages that a newer one of their topic
// overtakes are put aside.
func Take(ctx context.Context, pool *pgxpool.Pool, firm, id uuid.UUID, now time.Time, hold time.Duration) (t Taken, ok bool, err error) {
	err = tenant.Write(ctx, pool, firm, func(tx pgx.Tx) error {
		t, ok = Taken{}, false
		if err := oneTaker(ctx, tx, firm, id); err != nil {
			return err
		}
		found, err := query(ctx, tx, `SELECT `+columns+` FROM message WHERE firm_id = $1 AND message_id = $2 FOR UPDATE`, firm, id)
		if err != nil {
			return err
		}
		if len(found) == 0 || found[0].State != Waiting {
			return nil
		}
		t.Row = found[0]
		if wait := t.NotBefore.Sub(now); wait > 0 {
			t.Wait = wait
			return nil
		}
		if overtaken, err := overtake(ctx, tx, firm, t.Row); err != nil || overtaken {
			return err
		}
		var held float64
		err = tx.QueryRow(ctx, `SELECT coalesce(extract(epoch FROM taken_until - clock_timestamp()), 0)::float8 FROM message WHERE firm_id = $1 AND message_id = $2`, firm, id).Scan(&held)
		if err != nil {
			return fmt.Errorf("read who has a message: %w", err)
		}
		if held > 0 {
			t.Wait = time.Duration(held*float64(time.Second)) + 10*time.Millisecond
			return nil
		}
		if err := t.gather(ctx, tx, firm, now); err != nil {
			return err
		}
		ok = true
		return t.begin(ctx, tx, firm, now, hold)
	})
	return t, ok, err
}

// oneTaker lets one worker at a time gather what leaves to one address, for a few
// statements: two that woke at the end of the quiet hours would each take half of
// a digest.
func oneTaker(ctx context.Context, tx pgx.Tx, firm, id uuid.UUID) error {
	_, err := tx.Exec(ctx, `
		SELECT pg_advisory_xact_lock(hashtextextended('message ' || firm_id || ' ' || lower(to_address), 0)) FROM message WHERE firm_id = $1 AND message_id = $2`, firm, id)
	if err != nil {
		return fmt.Errorf("wait for whoever gathers messages to the same address: %w", err)
	}
	return nil
}

// overtake puts a message aside when a newer one of its topic to the same
// address is there.
func overtake(ctx context.Context, tx pgx.Tx, firm uuid.UUID, m Row) (bool, error) {
	tag, err := tx.Exec(ctx, `
		UPDATE message SET state = 'overtaken', says = 'A newer message about the same left in its place.'
		WHERE firm_id = $1 AND message_id = $2 AND EXISTS (
		  SELECT FROM message n WHERE n.firm_id = $1 AND n.topic = $3 AND n.to_address = $4 AND n.sequence > $5 AND n.state IN ('waiting', 'sent'))`,
		firm, m.ID, m.Topic, m.ToAddress, m.Sequence)
	if err != nil {
		return false, fmt.Errorf("look for a newer message: %w", err)
	}
	return tag.RowsAffected() > 0, nil
}

// gather finds what leaves with the message: others of a kind that is put
// together, and what the recipient missed of this topic.
func (t *Taken) gather(ctx context.Context, tx pgx.Tx, firm uuid.UUID, now time.Time) (err error) {
	if rule, _ := t.Kind.Rule(); rule.Digest {
		var kinds []string
		for _, k := range Kinds {
			if k.Digest {
				kinds = append(kinds, string(k.Kind))
			}
		}
		if t.With, err = query(ctx, tx, `
			SELECT `+columns+` FROM message m
			WHERE firm_id = $1 AND to_address = $2 AND message_id <> $3 AND state = 'waiting' AND not_before <= $4 AND kind = ANY($5)
			  AND (taken_until IS NULL OR taken_until < clock_timestamp())
			  AND NOT EXISTS (SELECT FROM message n WHERE n.firm_id = $1 AND n.topic = m.topic AND n.to_address = $2 AND n.sequence > m.sequence AND n.state IN ('waiting', 'sent'))
			ORDER BY written_at, message_id FOR UPDATE SKIP LOCKED`, firm, t.ToAddress, t.ID, now, kinds); err != nil {
			return err
		}
	}
	t.Before, err = query(ctx, tx, `
		SELECT `+columns+` FROM message o
		WHERE o.firm_id = $1 AND o.topic = $2 AND o.to_address = $3 AND o.sequence < $4 AND o.state IN ('waiting', 'overtaken')
		  AND o.sequence > coalesce((SELECT max(s.sequence) FROM message s WHERE s.firm_id = $1 AND s.topic = $2 AND s.to_address = $3 AND s.state = 'sent'), -1)
		ORDER BY o.sequence`, firm, t.Topic, t.ToAddress, t.Sequence)
	return err
}

// begin notes the try before a mail server is asked.
func (t *Taken) begin(ctx context.Context, tx pgx.Tx, firm uuid.UUID, now time.Time, hold time.Duration) error {
	for i, m := range t.all() {
		if _, err := tx.Exec(ctx, `
			UPDATE message SET tries = tries + 1, taken_until = clock_timestamp() + $3::interval WHERE firm_id = $1 AND message_id = $2`,
			firm, m.ID, hold); err != nil {
			return fmt.Errorf("take a message: %w", err)
		}
		if err := note(ctx, tx, firm, m.ID, m.Tries+1, "begun", now, "the queue", ""); err != nil {
			return err
		}
		if i == 0 {
			t.Tries++
		} else {
			t.With[i-1].Tries++
		}
	}
	return nil
}

func (t *Taken) all() []Row { return append([]Row{t.Row}, t.With...) }

func note(ctx context.Context, tx pgx.Tx, firm, id uuid.UUID, try int, what string, at time.Time, by, says string) error {
	_, err := tx.Exec(ctx, `
		INSERT INTO message_try (firm_id, message_id, try, what, at, by, says) VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT DO NOTHING`, firm, id, max(1, try), what, at, by, says)
	if err != nil {
		return fmt.Errorf("note a try: %w", err)
	}
	return nil
}

// Outcome is how a try went.
type Outcome struct {
	State State         // Sent, Waiting (again after a while) or Failed
	Says  string        // what the mail server said
	Again time.Duration // until the next try, when Waiting
}

// End writes how a try went, with whatever does writes beside it. A try that is
// no longer the last one writes nothing: another worker took the message up.
func End(ctx context.Context, pool *pgxpool.Pool, firm uuid.UUID, t Taken, o Outcome, now time.Time, beside func(pgx.Tx) error) error {
	return tenant.Write(ctx, pool, firm, func(tx pgx.Tx) error {
		what := map[State]string{Sent: "sent", Waiting: "later", Failed: "failed"}[o.State]
		if what == "" {
			return fmt.Errorf("a try ends as sent, waiting or failed, not as %q", o.State)
		}
		for _, m := range t.all() {
			var sentAt *time.Time
			var with *uuid.UUID
			if o.State == Sent {
				sentAt = &now
				if m.ID != t.ID {
					with = &t.ID
				}
			}
			// Patience after a failure lives by the database's clock, like the hold.
			tag, err := tx.Exec(ctx, `
				UPDATE message SET state = $3, says = $4, sent_at = $5, sent_with = $6, taken_until = CASE $3 WHEN 'waiting' THEN clock_timestamp() + $7::interval END
				WHERE firm_id = $1 AND message_id = $2 AND tries = $8 AND state = 'waiting'`,
				firm, m.ID, o.State, o.Says, sentAt, with, o.Again, m.Tries)
			if err != nil {
				return fmt.Errorf("write how a message went: %w", err)
			}
			if err := note(ctx, tx, firm, m.ID, m.Tries, what, now, "the queue", o.Says); err != nil {
				return err
			}
			if tag.RowsAffected() > 0 && o.State == Waiting {
				if err := wake(ctx, tx, firm, m.ID, o.Again); err != nil {
					return err
				}
			}
		}
		if beside == nil {
			return nil
		}
		return beside(tx)
	})
}

// Free gives a message back whose worker is lost, and wakes another after a
// moment. The worker may have died with it in hand, or before it took it: the
// caller knows that its job was taken up too long ago. Free tells whether it did.
func Free(ctx context.Context, pool *pgxpool.Pool, firm, id uuid.UUID, moment time.Duration) (freed bool, err error) {
	err = tenant.Write(ctx, pool, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			UPDATE message SET taken_until = clock_timestamp() + $3::interval
			WHERE firm_id = $1 AND message_id = $2 AND state = 'waiting' AND (taken_until IS NULL OR taken_until < clock_timestamp())`, firm, id, moment)
		if err != nil {
			return fmt.Errorf("free a message: %w", err)
		}
		if freed = tag.RowsAffected() > 0; !freed {
			return nil
		}
		return wake(ctx, tx, firm, id, moment) // until then the lost worker's job does not free it again
	})
	return freed, err
}

// Again lets a message leave once more, at once and whatever the hour: somebody
// asked for it.
func Again(ctx context.Context, pool *pgxpool.Pool, firm, id uuid.UUID, by string, now time.Time) (m Row, err error) {
	err = tenant.Write(ctx, pool, firm, func(tx pgx.Tx) error {
		found, err := query(ctx, tx, `SELECT `+columns+` FROM message WHERE firm_id = $1 AND message_id = $2 FOR UPDATE`, firm, id)
		if err != nil {
			return err
		}
		if len(found) == 0 {
			return errNotThere
		}
		m = found[0]
		if m.State == Overtaken || m.ToAddress == "" {
			return nil // nothing may be sent: the caller says why
		}
		if _, err := tx.Exec(ctx, `
			UPDATE message SET state = 'waiting', sent_at = NULL, sent_with = NULL, not_before = $3, says = '' WHERE firm_id = $1 AND message_id = $2`,
			firm, id, now); err != nil {
			return fmt.Errorf("send a message again: %w", err)
		}
		if err := note(ctx, tx, firm, id, m.Tries+1, "again", now, by, ""); err != nil {
			return err
		}
		return wake(ctx, tx, firm, id, 0)
	})
	return m, err
}

// NotThere tells whether err says that there is no such message.
func NotThere(err error) bool { return errors.Is(err, errNotThere) }

// BounceTx records that a message which was taken came back.
func BounceTx(ctx context.Context, tx pgx.Tx, firm uuid.UUID, mailID, says string, now time.Time) (bounced bool, err error) {
	found, err := query(ctx, tx, `
		UPDATE message SET state = 'bounced', says = $3 WHERE firm_id = $1 AND mail_id = $2 AND state = 'sent' RETURNING `+columns, firm, mailID, says)
	if err != nil || len(found) == 0 {
		return false, err
	}
	return true, note(ctx, tx, firm, found[0].ID, found[0].Tries, "bounced", now, "the recipient's mail server", says)
}

// List gives a firm's messages, those that need a person first, then the newest
// first, at most limit.
func List(ctx context.Context, pool *pgxpool.Pool, firm uuid.UUID, limit int) (all []Row, err error) {
	err = tenant.Snapshot(ctx, pool, firm, func(tx pgx.Tx) (err error) {
		all, err = query(ctx, tx, `
			SELECT `+columns+` FROM message WHERE firm_id = $1
			ORDER BY (state NOT IN ('failed', 'bounced')), written_at DESC, sequence DESC, message_id LIMIT $2`, firm, limit)
		return err
	})
	return all, err
}

// QuietHours gives when no mail leaves a firm.
func QuietHours(ctx context.Context, pool *pgxpool.Pool, firm uuid.UUID) (q Quiet, err error) {
	err = tenant.Snapshot(ctx, pool, firm, func(tx pgx.Tx) (err error) {
		q, err = readQuiet(ctx, tx, firm)
		return err
	})
	return q, err
}

// SetQuietHours sets when no mail leaves a firm, in minutes after midnight of
// its clock. Messages that wait already keep the time they wait for.
func SetQuietHours(ctx context.Context, pool *pgxpool.Pool, firm uuid.UUID, from, to int) error {
	return tenant.Write(ctx, pool, firm, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `UPDATE firm SET quiet_from = $2, quiet_to = $3 WHERE firm_id = $1`, firm, from, to); err != nil {
			return fmt.Errorf("set the quiet hours: %w", err)
		}
		return nil
	})
}
