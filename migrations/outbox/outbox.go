// Package outbox keeps messages that leave the house. A message is written with
// the transaction of its cause: it is there if and only if that transaction
// committed, and a job in the queue wakes a worker to send it. Every store may
// write one, so it stands beneath them, as the queue does.
//
// A change is told to a recipient once (topic, sequence, kind and address are
// unique), under one Message-ID. SMTP cannot promise more than this: a message
// is never lost, and a second copy goes out only when the worker died between
// the mail server's 250 and our commit, or never heard the 250; it then carries
// the same Message-ID.
package outbox

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"net/mail"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/queue"
)

// mailHost ends every Message-ID. It is for life and a service may move, so the
// host is one that can never be anybody's (RFC 2606).
const mailHost = "@toeboard.invalid"

// Message is what is to be told to somebody.
type Message struct {
	ID         uuid.UUID
	Kind       Kind
	Topic      string // what it is about, for life, such as "booking/" and its ID: a newer message of a topic overtakes one that still waits
	Sequence   int    // rises with each change of the topic
	ToName     string
	ToAddress  string // "" = none is known: the message is kept as one that cannot be sent
	Letter     Letter
	Calendar   json.RawMessage // the invitation that goes with it, for whoever sends; nil = none
	ReplyToken string          // by which an answer is known; "" = none is awaited
	CausedBy   string          // who did what caused it
	At         time.Time       // when, by the service's clock
}

// Write writes a message with tx and wakes a worker for it when the firm's quiet
// hours allow. tx must be a transaction of the firm (tenant.Write). The same
// change for the same recipient again writes nothing, and written is false.
func Write(ctx context.Context, tx pgx.Tx, firm uuid.UUID, m Message) (written bool, err error) {
	rule, known := m.Kind.Rule()
	if !known {
		return false, fmt.Errorf("a message of the kind %q: list it in outbox.Kinds", m.Kind)
	}
	if err := m.Letter.check(); err != nil {
		return false, err
	}
	if m.Topic == "" || m.CausedBy == "" || m.At.IsZero() || m.ID == uuid.Nil {
		return false, fmt.Errorf("the message %q needs a topic, a cause, a time and an identity", m.Letter.Subject)
	}
	letter, err := json.Marshal(m.Letter)
	if err != nil {
		return false, fmt.Errorf("write a letter: %w", err)
	}
	quiet, err := readQuiet(ctx, tx, firm)
	if err != nil {
		return false, err
	}
	at := m.At.UTC().Truncate(time.Microsecond)
	notBefore := at
	if !rule.Urgent {
		notBefore = quiet.Ends(at)
	}
	state, says := Waiting, ""
	if a, err := mail.ParseAddress(m.ToAddress); err != nil || a.Address != m.ToAddress {
		state, says = Failed, "No e-mail address is known of "+cmp.Or(m.ToName, "the recipient")+"."
		if m.ToAddress != "" {
			says = "This is no e-mail address: " + strconv.Quote(m.ToAddress) + "."
		}
	}
	tag, err := tx.Exec(ctx, `
		INSERT INTO message (firm_id, message_id, kind, topic, sequence, to_name, to_address, mail_id, reply_token, letter, calendar, caused_by, written_at, not_before, state, says)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)
		ON CONFLICT ON CONSTRAINT message_once DO NOTHING`,
		firm, m.ID, m.Kind, m.Topic, m.Sequence, m.ToName, m.ToAddress, m.mailID(), m.ReplyToken, letter, m.Calendar, m.CausedBy, at, notBefore, state, says)
	if err != nil {
		return false, fmt.Errorf("write a message: %w", err)
	}
	if tag.RowsAffected() == 0 || state != Waiting {
		return tag.RowsAffected() == 1, nil
	}
	return true, wake(ctx, tx, firm, m.ID, notBefore.Sub(at))
}

// wake puts a job for a message into the queue. The queue lives by the real
// clock, whatever ours shows.
func wake(ctx context.Context, tx pgx.Tx, firm, id uuid.UUID, after time.Duration) error {
	var notBefore time.Time
	if after > 0 {
		notBefore = time.Now().Add(after)
	}
	return queue.Put(ctx, tx, queue.SendMessage{Firm: firm, Message: id}, notBefore)
}

// mailID makes the Message-ID, without its angle brackets: one for a topic, a
// sequence, a kind and a recipient, whoever makes it and however often.
func (m Message) mailID() string {
	sum := sha256.Sum256([]byte(strings.ToLower(m.ToAddress)))
	topic := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-' {
			return r
		}
		return '.'
	}, strings.ToLower(m.Topic))
	return fmt.Sprintf("%s.%d.%s.%s%s", topic, m.Sequence, strings.ReplaceAll(string(m.Kind), "_", "-"), hex.EncodeToString(sum[:6]), mailHost)
}

// Quiet is when no mail leaves a firm but what cannot wait.
type Quiet struct {
	From, To int // [minutes] after midnight; the same = there are none
	Zone     *time.Location
}

// Ends gives the first moment from t on that is not quiet: t itself when it is
// not. In a night on which the clocks change it is the firm's clock that counts.
func (q Quiet) Ends(t time.Time) time.Time {
	if q.From == q.To || q.Zone == nil {
		return t
	}
	local := t.In(q.Zone)
	minute := local.Hour()*60 + local.Minute()
	inside := q.From <= minute && minute < q.To
	days := 0
	if q.From > q.To { // over midnight
		inside = minute >= q.From || minute < q.To
		if minute >= q.From {
			days = 1
		}
	}
	if !inside {
		return t
	}
	y, mon, d := local.Date()
	return time.Date(y, mon, d+days, q.To/60, q.To%60, 0, 0, q.Zone).UTC()
}

func readQuiet(ctx context.Context, tx pgx.Tx, firm uuid.UUID) (Quiet, error) {
	var q Quiet
	var zone string
	err := tx.QueryRow(ctx, `SELECT quiet_from, quiet_to, time_zone FROM firm WHERE firm_id = $1`, firm).Scan(&q.From, &q.To, &zone)
	if err != nil {
		return q, fmt.Errorf("read the firm's quiet hours: %w", err)
	}
	if q.Zone, err = time.LoadLocation(zone); err != nil {
		return q, fmt.Errorf("read the firm's zone: %w", err)
	}
	return q, nil
}

// State is where a message stands.
type State string

// The states.
const (
	Waiting   State = "waiting"
	Sent      State = "sent"      // a mail server took it
	Failed    State = "failed"    // it was given up, or there was nowhere to send it
	Bounced   State = "bounced"   // it was taken and then came back
	Overtaken State = "overtaken" // a newer message of its topic left in its place
)

// errNotThere is no row: the caller makes it NotFound.
var errNotThere = errors.New("no such message")
