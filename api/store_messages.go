package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/api/mailer"
	"toeboard/migrations/outbox"
	"toeboard/migrations/queue"
	"toeboard/schedule"
	"toeboard/schedule/ical"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

// Message and letter of the outbox, for the rest of this package.
type (
	message    = outbox.Row
	quietHours = outbox.Quiet
)

// MailTimes say how patiently mail is sent.
type MailTimes struct {
	Hold   time.Duration // how long a worker may have a message in hand; then another takes it up
	First  time.Duration // until the second try; then twice as long each time
	Most   time.Duration // but no longer than this
	GiveUp time.Duration // after which a message that still cannot be handed over has failed
	Idle   time.Duration // how often to look again where no mail server is set up
}

// UsualMailTimes: RFC 5321 4.5.4.1 gives up after four to five days.
var UsualMailTimes = MailTimes{Hold: 90 * time.Second, First: time.Minute, Most: time.Hour, GiveUp: 4 * 24 * time.Hour, Idle: 5 * time.Minute}

// next is how long to wait after a try that failed.
func (m MailTimes) next(tries int) time.Duration {
	wait := m.First
	for i := 1; i < tries && wait < m.Most; i++ {
		wait *= 2
	}
	return min(wait, m.Most)
}

// sendMessage hands one message over, if there is a mail server and nothing
// speaks against it. What it does a second time finds done.
func (s *Service) sendMessage(ctx context.Context, j queue.SendMessage) error {
	if s.mail.Post == nil {
		return queue.Later(s.mailTimes.Idle)
	}
	t, ok, err := outbox.Take(ctx, s.pool, j.Firm, j.Message, s.now(), s.mailTimes.Hold)
	if err != nil {
		return err
	}
	if !ok {
		if t.Wait > 0 {
			return queue.Later(t.Wait)
		}
		return nil
	}
	s.at("message taken")
	out, err := s.handOver(ctx, j.Firm, t)
	if err != nil {
		return err
	}
	s.at("message handed over")
	end, cancel := afterwards(ctx)
	defer cancel()
	err = outbox.End(end, s.pool, j.Firm, t, out, s.now(), func(tx pgx.Tx) error {
		booking, is := schedule.BookingOfTopic(t.Topic)
		if out.State != outbox.Sent || !is {
			return nil
		}
		return s.schedule.SentTx(end, tx, j.Firm, booking, t.Sequence, s.now())
	})
	if err != nil {
		return err
	}
	s.at("message ended")
	return nil
}

// handOver asks the mail server and says how it went.
func (s *Service) handOver(ctx context.Context, firm uuid.UUID, t outbox.Taken) (outbox.Outcome, error) {
	link, err := s.openPageTo(ctx, firm, &t)
	if err != nil {
		return outbox.Outcome{}, err
	}
	m, err := s.mailOf(ctx, firm, t)
	if fault.KindOf(err) == fault.Invalid { // it cannot be written, and a second try changes nothing
		return outbox.Outcome{State: outbox.Failed, Says: "It cannot be written as a mail: " + err.Error()}, nil
	}
	if err != nil {
		return outbox.Outcome{}, err
	}
	ctx, cancel := context.WithTimeout(ctx, s.mailTimes.Hold*2/3)
	defer cancel()
	says, err := s.mail.Post.Send(ctx, m)
	var no *mailer.Refusal
	if errors.As(err, &no) && no.Code > 0 && link != uuid.Nil { // nobody got it: its link opens nothing
		if err := s.schedule.RevokeLink(ctx, firm, link, s.now()); err != nil {
			return outbox.Outcome{}, err
		}
	}
	switch {
	case err == nil:
		return outbox.Outcome{State: outbox.Sent, Says: says}, nil
	case errors.As(err, &no) && no.ForGood():
		return outbox.Outcome{State: outbox.Failed, Says: no.Says}, nil
	case s.now().Sub(t.WrittenAt) > s.mailTimes.GiveUp:
		return outbox.Outcome{State: outbox.Failed, Says: fmt.Sprintf("given up after %d tries: %v", t.Tries, err)}, nil
	}
	s.log.Warn("a message is tried again later", "firm", firm, "message", t.ID, "try", t.Tries, "error", err)
	return outbox.Outcome{State: outbox.Waiting, Says: err.Error(), Again: s.mailTimes.next(t.Tries)}, nil
}

// openPageTo puts a link to the scaffold firm's page into a message about a
// booking. It is made for each try, just before the mail leaves: a message that
// waits holds no secret. link is what was made; uuid.Nil = the message is about
// something else.
func (s *Service) openPageTo(ctx context.Context, firm uuid.UUID, t *outbox.Taken) (link uuid.UUID, err error) {
	id, is := schedule.BookingOfTopic(t.Topic)
	if !is {
		return uuid.Nil, nil
	}
	b, err := s.schedule.Booking(ctx, firm, id)
	if err != nil {
		return uuid.Nil, err
	}
	_, zone, err := s.firmAndZone(ctx, firm)
	if err != nil {
		return uuid.Nil, err
	}
	address, made, err := s.mailLink(ctx, firm, b.ScaffoldFirm, t.ToAddress)
	if err != nil {
		return uuid.Nil, err
	}
	t.Letter.Link = &outbox.Link{Words: "Your page, with everything that is booked with you", Address: address}
	t.Letter.Ends = append(slices.Clone(t.Letter.Ends), "The link opens your page until "+civil.DateOf(made.Expires, zone).Short()+
		". Whoever has this mail can answer by it in your name: pass it on only to somebody who may.")
	return made.ID, nil
}

// mailOf puts a message and what leaves with it into one mail.
func (s *Service) mailOf(ctx context.Context, firm uuid.UUID, t outbox.Taken) (mailer.Mail, error) {
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return mailer.Mail{}, err
	}
	m := mailer.Mail{ID: t.MailID, From: mailer.Party{Name: f.Name, Address: s.mail.From}, To: mailer.Party{Name: t.ToName, Address: t.ToAddress},
		At: t.WrittenAt, Subject: t.Letter.Subject}
	organizer := s.mail.From
	if answers := answerAddress(s.mail.Answers, t.ReplyToken); answers != "" {
		organizer, m.ReplyTo, m.Envelope = answers, answers, answers
	}
	letters := []web.Letter{webLetter(t.Letter, t.Before)}
	for _, other := range t.With {
		letters = append(letters, webLetter(other.Letter, nil))
	}
	if len(letters) > 1 {
		m.Subject = fmt.Sprintf("%s (and %d more)", t.Letter.Subject, len(letters)-1)
	}
	if m.Text, m.HTML, err = s.web.Letters(f.Name, letters); err != nil {
		return m, err
	}
	if len(t.Calendar) == 0 {
		return m, nil
	}
	var v ical.Invitation
	if err := json.Unmarshal(t.Calendar, &v); err != nil {
		return m, fmt.Errorf("read the invitation of message %s: %w", t.ID, err)
	}
	v.Organizer = ical.Party{Name: f.Name, Address: organizer}
	if m.Calendar, err = v.Bytes(); err != nil {
		return m, err
	}
	m.Method = string(v.Method)
	return m, nil
}

// answerAddress puts a token into the address that answers go to: a mailbox that
// takes plus-addresses (RFC 5233). "" = no answer can be read.
func answerAddress(answers, token string) string {
	local, host, ok := strings.Cut(answers, "@")
	if !ok || token == "" {
		return ""
	}
	return local + "+" + token + "@" + host
}

func webLetter(l outbox.Letter, before []outbox.Row) web.Letter {
	out := web.Letter{Title: l.Subject, Says: l.Says, Exact: l.Exact, Ends: l.Ends}
	for _, f := range l.Facts {
		out.Facts = append(out.Facts, web.LetterFact{Name: f.Name, Is: f.Is})
	}
	if l.Link != nil {
		out.Link = web.Link{Words: l.Link.Words, Href: l.Link.Address}
	}
	for _, b := range before {
		out.Before = append(out.Before, b.Letter.Says...)
	}
	return out
}

// watchMessages frees messages whose worker is lost.
func (s *Service) watchMessages(ctx context.Context) {
	if s.mail.Post == nil {
		return
	}
	tick := time.NewTicker(max(s.mailTimes.Hold/4, 50*time.Millisecond))
	defer tick.Stop()
	for {
		if err := s.freeLostMessages(ctx); err != nil && ctx.Err() == nil {
			s.log.Warn("look for lost messages", "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// freeLostMessages looks at the messages that some instance has in hand, across
// firms: the queue knows which those are.
func (s *Service) freeLostMessages(ctx context.Context) error {
	jobs, err := queue.RunningFor[queue.SendMessage](ctx, s.queue, s.mailTimes.Hold)
	if err != nil {
		return err
	}
	for _, j := range jobs {
		freed, err := outbox.Free(ctx, s.pool, j.Firm, j.Message, s.mailTimes.Hold/4)
		if err != nil {
			return err
		}
		if freed {
			s.log.Warn("a message's worker was lost: the message goes to another", "firm", j.Firm, "message", j.Message)
		}
	}
	return nil
}

// messagesShown is how many messages a page shows.
const messagesShown = 200

// Messages gives what was told to whom: first what needs a person, then the
// newest.
func (s *Service) Messages(ctx context.Context, firm uuid.UUID) ([]message, error) {
	return outbox.List(ctx, s.pool, firm, messagesShown)
}

// SendAgain lets a message leave once more, under the same Message-ID.
func (s *Service) SendAgain(ctx context.Context, firm, id uuid.UUID, by string) (message, error) {
	m, err := outbox.Again(ctx, s.pool, firm, id, by, s.now())
	switch {
	case outbox.NotThere(err):
		return m, fault.Missing("message", id.String())
	case err != nil:
		return m, err
	case m.State == outbox.Overtaken:
		return m, fault.Changed("message", m.Letter.Subject, "a newer message about the same left in its place: send that one again")
	case m.ToAddress == "":
		return m, fault.Bad("e-mail", "", "the scaffold firm's e-mail address: add it in the team's file and publish the next change, or ring them")
	}
	return m, nil
}

// QuietHours gives when no mail leaves a firm.
func (s *Service) QuietHours(ctx context.Context, firm uuid.UUID) (quietHours, error) {
	return outbox.QuietHours(ctx, s.pool, firm)
}

// SetQuietHours sets when no mail leaves a firm, in minutes after midnight; the
// same twice = mail leaves at any hour.
func (s *Service) SetQuietHours(ctx context.Context, firm uuid.UUID, from, to int) error {
	for _, m := range []int{from, to} {
		if m < 0 || m > 23*60+59 {
			return fault.Bad("quiet hours", fmt.Sprint(m), "two times of the day, from 00:00 to 23:59")
		}
	}
	return outbox.SetQuietHours(ctx, s.pool, firm, from, to)
}

// messageWords is where a message stands, in words.
func messageWords(m message, mailServer bool, zone *time.Location) string {
	switch m.State {
	case outbox.Waiting:
		switch {
		case !mailServer:
			return "waits: no mail server is set up"
		case m.Tries > 0 && m.Says != "":
			return fmt.Sprintf("tried %s, is tried again", counted(m.Tries, "time", "times"))
		case m.NotBefore.After(m.WrittenAt):
			return "waits for the end of the quiet hours, " + m.NotBefore.In(zone).Format("Mon 2 Jan 15:04")
		}
		return "about to leave"
	case outbox.Sent:
		return "sent " + m.SentAt.In(zone).Format("Mon 2 Jan 15:04")
	case outbox.Failed:
		return "could not be sent"
	case outbox.Bounced:
		return "came back"
	case outbox.Overtaken:
		return "overtaken by a newer one"
	default:
		return "not known"
	}
}

func kindWords(k outbox.Kind) string {
	r, _ := k.Rule()
	return r.Words
}

func needsSomebody(m message) bool { return m.State == outbox.Failed || m.State == outbox.Bounced }
func sendable(m message) bool {
	return m.State != outbox.Overtaken && m.State != outbox.Waiting && m.ToAddress != ""
}
