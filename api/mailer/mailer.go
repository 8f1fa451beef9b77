// Package mailer sends mail: it knows mail servers and folders, and no jobs. What
// a mail says comes in whole; what became of it goes back as words.
package mailer

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/wneessen/go-mail"
)

// Party is a sender or a recipient.
type Party struct {
	Name, Address string
}

// Mail is one mail to one recipient. The text and the HTML part say the same.
type Mail struct {
	ID       string // Message-ID without angle brackets: the same for the same message, however often it is sent
	From     Party
	ReplyTo  string // "" = From
	Envelope string // where a mail that cannot be delivered goes back to; "" = From
	To       Party
	At       time.Time // Date
	Subject  string
	Text     string
	HTML     string
	Calendar []byte // an invitation (RFC 6047); nil = none
	Method   string // the invitation's, repeated in the Content-Type as RFC 6047 2.4 wants it
}

// Sender hands a mail over. It gives what the mail server said. An error is a
// *Refusal when a mail server spoke.
type Sender interface {
	Send(ctx context.Context, m Mail) (says string, err error)
}

// Refusal is a mail server's no.
type Refusal struct {
	Code int    // SMTP reply code; 0 = the connection failed
	Says string // in the server's words
}

func (r *Refusal) Error() string { return r.Says }

// ForGood tells whether trying again is of no use (RFC 5321 4.2.1: 5yz).
func (r *Refusal) ForGood() bool { return r.Code >= 500 && r.Code < 600 }

// message builds the mail: text, then HTML, then the invitation as the last of
// the alternatives, which is the one that a client shows that can; and the
// invitation once more as a file, for those that cannot.
func (m Mail) message() (*mail.Msg, error) {
	msg := mail.NewMsg(mail.WithEncoding(mail.EncodingQP), mail.WithNoDefaultUserAgent())
	if err := errors.Join(msg.FromFormat(m.From.Name, m.From.Address), msg.AddToFormat(m.To.Name, m.To.Address)); err != nil {
		return nil, fmt.Errorf("address a mail: %w", err)
	}
	if m.ReplyTo != "" {
		if err := msg.ReplyTo(m.ReplyTo); err != nil {
			return nil, fmt.Errorf("address the answer to a mail: %w", err)
		}
	}
	if m.Envelope != "" {
		if err := msg.EnvelopeFrom(m.Envelope); err != nil {
			return nil, fmt.Errorf("address what comes back of a mail: %w", err)
		}
	}
	msg.SetMessageIDWithValue(m.ID)
	msg.SetDateWithValue(m.At)
	msg.Subject(oneLine(m.Subject))
	// RFC 3834: nobody's holiday notice should answer.
	msg.SetGenHeader("Auto-Submitted", "auto-generated")
	msg.SetBodyString(mail.TypeTextPlain, m.Text)
	if m.HTML != "" {
		msg.AddAlternativeString(mail.TypeTextHTML, m.HTML)
	}
	if len(m.Calendar) == 0 {
		return msg, nil
	}
	kind := mail.ContentType("text/calendar; method=" + m.Method)
	msg.AddAlternativeString(kind, string(m.Calendar), mail.WithPartEncoding(mail.EncodingB64))
	err := msg.AttachReader("invite.ics", bytes.NewReader(m.Calendar),
		mail.WithFileContentType(mail.ContentType("text/calendar; charset=UTF-8; method="+m.Method)), mail.WithFileEncoding(mail.EncodingB64))
	if err != nil {
		return nil, fmt.Errorf("attach an invitation: %w", err)
	}
	return msg, nil
}

// oneLine keeps a subject from becoming a header.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
