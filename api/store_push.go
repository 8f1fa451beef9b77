package api

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/queue"
	"toeboard/migrations/tenant"
)

// Note is what a phone shows at once.
type Note struct {
	Topic    string // what it is about, such as "turn/" and a crew: a newer note of a topic takes the place of the older one on the phone
	Sequence int    // told once for each
	Title    string
	Body     string
	Href     string    // where a touch leads, on this service
	Until    time.Time // later it is of no use
}

// phone is one browser that asked to be told.
type phone struct {
	ID                     uuid.UUID
	Endpoint, P256dh, Auth string
}

// pushKey gives the firm's key pair, and makes it when there is none.
func (s *Service) pushKey(ctx context.Context, firm uuid.UUID) (private, public string, err error) {
	read := func(tx pgx.Tx) error {
		return tx.QueryRow(ctx, `SELECT private_key, public_key FROM push_key WHERE firm_id = $1`, firm).Scan(&private, &public)
	}
	err = tenant.Snapshot(ctx, s.pool, firm, read)
	if !errors.Is(err, pgx.ErrNoRows) {
		return private, public, err
	}
	newPrivate, newPublic, err := newPushKey()
	if err != nil {
		return "", "", fmt.Errorf("make a key for push messages: %w", err)
	}
	err = tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `INSERT INTO push_key (firm_id, private_key, public_key, made_at) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`,
			firm, newPrivate, newPublic, s.now()); err != nil {
			return err
		}
		return read(tx) // another instance may have been first
	})
	return private, public, err
}

// addPhone keeps a phone that asked. One that told somebody else before tells
// this person from now on.
func (s *Service) addPhone(ctx context.Context, firm, person uuid.UUID, p phone) error {
	return tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `UPDATE push_phone SET ended_at = $4, ended_why = 'asked for again' WHERE firm_id = $1 AND endpoint = $2 AND ended_at IS NULL
			AND (person_id <> $3 OR p256dh <> $5 OR auth <> $6)`, firm, p.Endpoint, person, s.now(), p.P256dh, p.Auth); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, `INSERT INTO push_phone (firm_id, phone_id, person_id, endpoint, p256dh, auth, asked_at) VALUES ($1, $2, $3, $4, $5, $6, $7)
			ON CONFLICT DO NOTHING`, firm, p.ID, person, p.Endpoint, p.P256dh, p.Auth, s.now())
		return err
	})
}

// endPhone takes back what a phone of a person asked; an unknown one is fine.
func (s *Service) endPhone(ctx context.Context, firm, person uuid.UUID, endpoint string) error {
	return tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `UPDATE push_phone SET ended_at = $4, ended_why = 'taken back on the phone' WHERE firm_id = $1 AND person_id = $2 AND endpoint = $3 AND ended_at IS NULL`,
			firm, person, endpoint, s.now())
		return err
	})
}

// phonesOf lists the phones that tell a person.
func phonesOf(ctx context.Context, tx pgx.Tx, firm, person uuid.UUID) ([]phone, error) {
	rows, err := tx.Query(ctx, `SELECT phone_id, endpoint, p256dh, auth FROM push_phone WHERE firm_id = $1 AND person_id = $2 AND ended_at IS NULL ORDER BY phone_id`, firm, person)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(r pgx.CollectableRow) (p phone, err error) {
		return p, r.Scan(&p.ID, &p.Endpoint, &p.P256dh, &p.Auth)
	})
}

// tellPhones writes a note for each person who asked for it on some phone, with
// the transaction of its cause; told says for how many. The same topic and
// sequence again writes nothing.
func (s *Service) tellPhones(ctx context.Context, tx pgx.Tx, firm uuid.UUID, people []uuid.UUID, n Note) (told int, err error) {
	for _, person := range people {
		phones, err := phonesOf(ctx, tx, firm, person)
		if err != nil || len(phones) == 0 {
			if err != nil {
				return told, fmt.Errorf("read the phones of a person: %w", err)
			}
			continue
		}
		id := s.ids()
		tag, err := tx.Exec(ctx, `INSERT INTO push_note (firm_id, note_id, person_id, topic, sequence, title, body, href, until, written_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) ON CONFLICT ON CONSTRAINT push_note_once DO NOTHING`,
			firm, id, person, n.Topic, n.Sequence, n.Title, n.Body, n.Href, n.Until, s.now())
		if err != nil {
			return told, fmt.Errorf("write a note for a phone: %w", err)
		}
		if tag.RowsAffected() == 0 {
			continue
		}
		told++
		if err := s.queue.Put(ctx, tx, queue.PushNote{Firm: firm, Note: id}, time.Time{}); err != nil {
			return told, err
		}
	}
	return told, nil
}

// waitingNote is a note that is still to be sent, and the phones it has not
// reached.
type waitingNote struct {
	Note
	phones []phone
	sent   int
}

// noteToSend reads a note; nil when it was ended.
func (s *Service) noteToSend(ctx context.Context, firm, id uuid.UUID) (n *waitingNote, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		var w waitingNote
		var person uuid.UUID
		var done *time.Time
		err := tx.QueryRow(ctx, `SELECT person_id, topic, sequence, title, body, href, until, done_at FROM push_note WHERE firm_id = $1 AND note_id = $2`, firm, id).
			Scan(&person, &w.Topic, &w.Sequence, &w.Title, &w.Body, &w.Href, &w.Until, &done)
		if err != nil || done != nil {
			return err
		}
		all, err := phonesOf(ctx, tx, firm, person)
		if err != nil {
			return err
		}
		for _, p := range all {
			var had bool
			if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT 1 FROM push_sent WHERE firm_id = $1 AND note_id = $2 AND phone_id = $3)`, firm, id, p.ID).Scan(&had); err != nil {
				return err
			}
			if had {
				w.sent++
			} else {
				w.phones = append(w.phones, p)
			}
		}
		n = &w
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read a note for a phone: %w", err)
	}
	return n, nil
}

// noteSent keeps that a phone's push service took a note.
func (s *Service) noteSent(ctx context.Context, firm, id, phone uuid.UUID) error {
	return tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `INSERT INTO push_sent (firm_id, note_id, phone_id, sent_at) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`, firm, id, phone, s.now())
		return err
	})
}

// phoneGone keeps that a push service no longer knows a phone.
func (s *Service) phoneGone(ctx context.Context, firm, phone uuid.UUID, why string) error {
	return tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `UPDATE push_phone SET ended_at = $3, ended_why = $4 WHERE firm_id = $1 AND phone_id = $2 AND ended_at IS NULL`, firm, phone, s.now(), why)
		return err
	})
}

// noteEnded keeps what became of a note.
func (s *Service) noteEnded(ctx context.Context, firm, id uuid.UUID, says string) error {
	return tenant.Write(ctx, s.pool, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `UPDATE push_note SET done_at = $3, says = $4 WHERE firm_id = $1 AND note_id = $2 AND done_at IS NULL`, firm, id, s.now(), says)
		return err
	})
}
