package api

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/outbox"
	"toeboard/migrations/tenant"
	"toeboard/schedule"
	"toeboard/schedule/imip"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// MailTaken is what was made of one mail that came in.
type MailTaken struct {
	Taken bool
	Says  string // one sentence: what was recorded, or why nothing was
}

// MailIn reads one mail and does what it says: an acceptance confirms the
// booking, a refusal refuses its day, a proposal offers another, a report of a
// mail that could not be delivered marks the message. The same mail again
// changes nothing. An error means that it could not be dealt with now: offer it
// again later.
func (s *Service) MailIn(ctx context.Context, raw []byte) (MailTaken, error) {
	a, err := imip.Read(raw)
	if err != nil {
		return notTaken(err)
	}
	firm, id, err := s.schedule.BookingByToken(ctx, a.Token)
	if fault.KindOf(err) == fault.NotFound {
		return MailTaken{Says: "Not taken: the address that was answered to belongs to no booking."}, nil
	}
	if err != nil {
		return MailTaken{}, err
	}
	m := receivedMail{firm: firm, booking: id, hash: sha256.Sum256(raw), answer: a, at: s.now()}
	if was, known, err := s.receivedBefore(ctx, m); err != nil || known {
		return was, err
	}
	m.what, m.says, err = s.obey(ctx, m)
	if taken, notNow := notTaken(err); err != nil {
		if notNow != nil {
			return taken, notNow
		}
		m.what, m.says = "not_taken", taken.Says
	}
	return MailTaken{Taken: m.what != "not_taken", Says: m.says}, s.keepReceived(ctx, m)
}

// notTaken makes words of a mail that is refused for what it says; any other
// error stays one.
func notTaken(err error) (MailTaken, error) {
	switch fault.KindOf(err) {
	case fault.Invalid, fault.Conflict, fault.NotFound, fault.Forbidden:
		return MailTaken{Says: "Not taken: " + err.Error()}, nil
	}
	return MailTaken{}, err
}

type receivedMail struct {
	firm, booking uuid.UUID
	hash          [32]byte
	answer        imip.Answer
	what, says    string
	at            time.Time
}

// obey does what a mail says.
func (s *Service) obey(ctx context.Context, m receivedMail) (what, says string, err error) {
	b, err := s.schedule.Booking(ctx, m.firm, m.booking)
	if err != nil {
		return "", "", err
	}
	a := m.answer
	if a.Kind == imip.Bounced {
		return s.bounced(ctx, m)
	}
	if a.UID != b.UID {
		return "", "", fault.Bad("UID", a.UID, "the booking whose address was answered to")
	}
	if a.Sequence > b.Sequence {
		return "", "", fault.Bad("SEQUENCE", fmt.Sprint(a.Sequence), fmt.Sprintf("at most %d: no later version was ever sent", b.Sequence))
	}
	answer := schedule.Answer{How: schedule.ByMail}
	switch a.Kind {
	case imip.Accepted:
		answer.Confirm, what = true, "confirmed"
	case imip.Declined:
		answer.Refuse, what = true, "refused_day"
	case imip.Counter:
		what = "offered"
		if answer.OfferedOn, err = s.offeredDay(ctx, m.firm, a); err != nil {
			return "", "", err
		}
	default:
		return "", "", fmt.Errorf("no rule for a mail that is %q", a.Kind)
	}
	name, err := s.scaffoldFirmName(ctx, m.firm, b.ScaffoldFirm)
	if err != nil {
		return "", "", err
	}
	if _, err := s.schedule.AnswerBooking(ctx, m.firm, m.booking, a.Sequence, answer, name, s.now()); err != nil {
		return "", "", err
	}
	history, err := s.schedule.BookingHistory(ctx, m.firm, m.booking)
	if err != nil {
		return "", "", err
	}
	return what, history[len(history)-1].Why, nil
}

// offeredDay is the day that a counter-proposal means, in the firm's zone.
func (s *Service) offeredDay(ctx context.Context, firm uuid.UUID, a imip.Answer) (civil.Date, error) {
	if a.OfferedOn.Known() {
		return a.OfferedOn, nil
	}
	_, loc, err := s.firmAndZone(ctx, firm)
	if err != nil {
		return civil.NoDate, err
	}
	return civil.DateOf(a.OfferedAt, loc), nil
}

func (s *Service) scaffoldFirmName(ctx context.Context, firm, scaffold uuid.UUID) (string, error) {
	f, err := s.scaffoldFirm(ctx, firm, scaffold)
	return f.Name, err
}

func (s *Service) scaffoldFirm(ctx context.Context, firm, scaffold uuid.UUID) (schedule.ScaffoldFirm, error) {
	firms, err := s.schedule.ScaffoldFirms(ctx, firm)
	if err != nil {
		return schedule.ScaffoldFirm{}, err
	}
	for _, f := range firms {
		if f.ID == scaffold {
			return f, nil
		}
	}
	return schedule.ScaffoldFirm{}, fault.Missing("scaffold firm", scaffold.String())
}

// bounced marks the message that could not be delivered. The token has to belong
// to the booking that the message is about.
func (s *Service) bounced(ctx context.Context, m receivedMail) (what, says string, err error) {
	says = "It came back: " + m.answer.Says
	done := false
	err = tenant.Write(ctx, s.pool, m.firm, func(tx pgx.Tx) (err error) {
		done, err = outbox.BounceTx(ctx, tx, m.firm, m.answer.BounceOf, says, s.now())
		return err
	})
	if err == nil && !done {
		err = fault.Bad("Message-ID", m.answer.BounceOf, "a mail of ours that was sent and has not come back yet")
	}
	return "bounced", says, err
}

func (s *Service) receivedBefore(ctx context.Context, m receivedMail) (was MailTaken, known bool, err error) {
	err = tenant.Snapshot(ctx, s.pool, m.firm, func(tx pgx.Tx) error {
		return tx.QueryRow(ctx, `SELECT what <> 'not_taken', says FROM mail_received WHERE firm_id = $1 AND mail_hash = $2`, m.firm, m.hash[:]).Scan(&was.Taken, &was.Says)
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return was, false, nil
	}
	return was, err == nil, err
}

func (s *Service) keepReceived(ctx context.Context, m receivedMail) error {
	return tenant.Write(ctx, s.pool, m.firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO mail_received (firm_id, mail_hash, booking_id, mail_id, from_address, what, says, at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
			ON CONFLICT DO NOTHING`, m.firm, m.hash[:], m.booking, m.answer.MailID, m.answer.From, m.what, m.says, m.at)
		return err
	})
}

// Received is one mail that came in.
type Received struct {
	From, Says string
	Taken      bool
	At         time.Time
}

// ReceivedMail gives the mail that came in, the newest first, at most 50.
func (s *Service) ReceivedMail(ctx context.Context, firm uuid.UUID) (all []Received, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT from_address, says, what <> 'not_taken', at FROM mail_received WHERE firm_id = $1 ORDER BY at DESC, mail_hash LIMIT 50`, firm)
		if err != nil {
			return err
		}
		all, err = pgx.CollectRows(rows, pgx.RowToStructByPos[Received])
		return err
	})
	return all, err
}
