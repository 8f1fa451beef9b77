package schedule

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/outbox"
	"toeboard/migrations/tenant"
	"toeboard/weather/fault"
)

// bookingTopic is what messages about one booking are about, for life.
func bookingTopic(booking uuid.UUID) string { return "booking/" + booking.String() }

// BookingOfTopic gives the booking that a message is about; ok is false when it
// is about something else.
func BookingOfTopic(topic string) (booking uuid.UUID, ok bool) {
	word, is := strings.CutPrefix(topic, "booking/")
	if !is {
		return uuid.Nil, false
	}
	booking, err := uuid.Parse(word)
	return booking, err == nil
}

// tellScaffoldFirms writes a message for each change that a scaffold firm is to
// be told of, with the transaction that makes the changes.
func (s *Store) tellScaffoldFirms(ctx context.Context, tx pgx.Tx, firm uuid.UUID, changes []BookingChange, by string, now time.Time) error {
	var told []BookingChange
	for _, c := range changes {
		if c.tellable() {
			told = append(told, c)
		}
	}
	if len(told) == 0 {
		return nil
	}
	f, err := readFirm(ctx, tx, firm)
	if err != nil {
		return err
	}
	firms, err := readScaffoldFirms(ctx, tx, firm)
	if err != nil {
		return err
	}
	office, err := officeContact(ctx, tx, firm)
	if err != nil {
		return err
	}
	ofFirm := map[uuid.UUID]ScaffoldFirm{}
	for _, sf := range firms {
		ofFirm[sf.ID] = sf
	}
	jobs := map[uuid.UUID]Job{}
	if len(told) > 3 { // one question for all of them
		all, err := readJobs(ctx, tx, firm, whichJobs{})
		if err != nil {
			return err
		}
		for _, j := range all {
			jobs[j.ID] = j
		}
	}
	for _, c := range told {
		j, there := jobs[c.After.Job]
		if !there {
			found, err := readJobs(ctx, tx, firm, whichJobs{id: c.After.Job})
			if err != nil {
				return err
			}
			if len(found) == 0 {
				return fault.Missing("job", c.After.Job.String())
			}
			j = found[0]
		}
		if err := s.tellScaffoldFirm(ctx, tx, firm, c, j, ofFirm[c.After.ScaffoldFirm], f.Name, office, by, now); err != nil {
			return err
		}
	}
	return nil
}

func (s *Store) tellScaffoldFirm(ctx context.Context, tx pgx.Tx, firm uuid.UUID, c BookingChange, j Job, to ScaffoldFirm, installer string, office Contact, by string, now time.Time) error {
	calendar, err := json.Marshal(invitationOf(c, j, to, installer, office))
	if err != nil {
		return fmt.Errorf("write an invitation: %w", err)
	}
	token, err := bookingToken(ctx, tx, firm, c.After.ID, now)
	if err != nil {
		return err
	}
	_, err = outbox.Write(ctx, tx, firm, outbox.Message{
		ID: s.ids(), Kind: messageKind(c), Topic: bookingTopic(c.After.ID), Sequence: c.After.Sequence, ToName: to.Name, ToAddress: to.Email,
		Letter: outboxLetter(letterOf(c, j, installer, office)), Calendar: calendar, ReplyToken: token, CausedBy: by, At: now,
	})
	return err
}

func messageKind(c BookingChange) outbox.Kind {
	switch {
	case c.Before == nil:
		return outbox.BookingNew
	case c.After.State == BookingCancelled:
		return outbox.BookingCancelled
	case c.How != ByPlan && c.Before.State == BookingCountered && c.After.State == BookingWanted:
		return outbox.OfferDeclined
	case (c.After.State == BookingOffHire) != (c.Before.State == BookingOffHire):
		return outbox.BookingOffHire
	default:
		return outbox.BookingChanged
	}
}

func outboxLetter(l bookingLetter) outbox.Letter {
	out := outbox.Letter{Subject: l.subject, Says: l.says, Ends: l.ends}
	for _, f := range l.facts {
		out.Facts = append(out.Facts, outbox.Fact{Name: f[0], Is: f[1]})
	}
	return out
}

// OfficeContact is whom scaffold firms and customers ring or write to: the first
// of the office with a telephone, else the first, by the address they sign in
// with. Nobody in the office gives an empty contact.
func (s *Store) OfficeContact(ctx context.Context, firm uuid.UUID) (c Contact, err error) {
	err = s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		c, err = officeContact(ctx, tx, firm)
		return err
	})
	return c, err
}

func officeContact(ctx context.Context, tx pgx.Tx, firm uuid.UUID) (c Contact, err error) {
	err = tx.QueryRow(ctx, `
		SELECT p.name, p.phone, coalesce(l.email, '') FROM person p LEFT JOIN login l USING (firm_id, person_id)
		WHERE p.firm_id = $1 AND p.role = 'office' AND p.active ORDER BY p.phone = '', p.name, p.person_id LIMIT 1`, firm).
		Scan(&c.Name, &c.Phone, &c.Email)
	if errors.Is(err, pgx.ErrNoRows) {
		return c, nil
	}
	if err != nil {
		return c, fmt.Errorf("read whom a scaffold firm rings: %w", err)
	}
	return c, nil
}

// bookingToken gives the token by which answers to a booking are known, for the
// booking's life: a calendar does not like an organizer that changes.
func bookingToken(ctx context.Context, tx pgx.Tx, firm, booking uuid.UUID, now time.Time) (token string, err error) {
	err = tx.QueryRow(ctx, `SELECT token FROM booking_token WHERE firm_id = $1 AND booking_id = $2`, firm, booking).Scan(&token)
	if err == nil || !errors.Is(err, pgx.ErrNoRows) {
		return token, err
	}
	var b [17]byte // 136 bits: 28 letters and digits that survive a mail server which writes addresses small
	if _, err := rand.Read(b[:]); err != nil {
		return "", fmt.Errorf("draw a token: %w", err)
	}
	token = strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(b[:]))
	if _, err := tx.Exec(ctx, `INSERT INTO booking_token (firm_id, booking_id, token, made_at) VALUES ($1, $2, $3, $4)`, firm, booking, token, instant(now)); err != nil {
		return "", fmt.Errorf("keep a booking's token: %w", err)
	}
	return token, nil
}

// BookingByToken finds the booking that a token of an answer speaks of, in
// whichever firm.
func (s *Store) BookingByToken(ctx context.Context, token string) (firm, booking uuid.UUID, err error) {
	err = tenant.Asking(ctx, s.pool, "answer", token, func(tx pgx.Tx) error {
		return tx.QueryRow(ctx, `SELECT firm_id, booking_id FROM booking_token WHERE token = $1`, token).Scan(&firm, &booking)
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return firm, booking, fault.Missing("booking", "the token of this mail")
	}
	if err != nil {
		return firm, booking, fmt.Errorf("look for a booking by its token: %w", err)
	}
	return firm, booking, nil
}

// SentTx notes with tx that the invitation of a booking's change left. One that
// was answered or changed meanwhile stays as it is.
func (s *Store) SentTx(ctx context.Context, tx pgx.Tx, firm, booking uuid.UUID, sequence int, now time.Time) error {
	_, err := changeLocked(ctx, tx, firm, booking, "the mail", ByMail, func(_ pgx.Tx, b Booking) (BookingChange, error) { return b.Sent(sequence, now), nil })
	return err
}
