package api

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"testing"

	goical "github.com/emersion/go-ical"

	"toeboard/migrations/outbox"
	"toeboard/schedule"
	"toeboard/weather/civil"
)

// answers is what a scaffold firm's calendar makes of an invitation that it was
// sent, with emersion/go-ical: the same event with its answer.
func (m readMail) answers(t *testing.T, method, partstat string, change func(e *goical.Event)) []byte {
	t.Helper()
	e := m.calendar.Events()[0]
	cal := goical.NewCalendar()
	cal.Props.SetText("VERSION", "2.0")
	cal.Props.SetText("PRODID", "-//Yard//Calendar//EN")
	cal.Props.SetText("METHOD", method)
	ev := goical.NewEvent()
	for _, name := range []string{"UID", "SEQUENCE", "DTSTAMP", "DTSTART", "DTEND", "ORGANIZER"} {
		ev.Props[name] = e.Props[name]
	}
	who := goical.NewProp("ATTENDEE")
	who.Value = "mailto:yard@brace.example"
	who.Params.Set("PARTSTAT", partstat)
	ev.Props.Add(who)
	if change != nil {
		change(ev)
	}
	cal.Children = append(cal.Children, ev.Component)
	var b bytes.Buffer
	must(t, goical.NewEncoder(&b).Encode(cal))
	return fmt.Appendf(nil, "From: yard@brace.example\r\nTo: <%s>\r\nMessage-ID: <%s-%s@brace.example>\r\nMIME-Version: 1.0\r\nContent-Type: text/calendar; charset=utf-8; method=%s\r\n\r\n%s",
		m.replyTo, strings.ToLower(method), strings.ToLower(partstat), method, b.Bytes())
}

// invited is a scene whose invitation to Q-2 arrived.
func invited(t *testing.T) (s *scene, k *catcher, invitation readMail) {
	t.Helper()
	s = newScene(t)
	k = newCatcher(t)
	s.mails(k)
	s.works()
	s.settled()
	return s, k, s.invitationOf(k)
}

// invitationOf finds the newest mail about Q-2's booking.
func (s *scene) invitationOf(k *catcher) readMail {
	s.t.Helper()
	b := s.booking(s.q2)
	var newest readMail
	for _, c := range k.all() {
		if m := c.read(s.t); m.prop(s.t, "UID") == b.UID {
			newest = m
		}
	}
	if newest.calendar == nil {
		s.t.Fatal("no invitation arrived")
	}
	return newest
}

func (s *scene) mailIn(raw []byte, taken bool, says string) {
	s.t.Helper()
	got, err := s.svc.MailIn(context.Background(), raw)
	must(s.t, err)
	if got.Taken != taken || !strings.Contains(got.Says, says) {
		s.t.Errorf("taken %t: %q, want %t: %q", got.Taken, got.Says, taken, says)
	}
}

func TestAnswersByMail(t *testing.T) {
	s, k, m := invited(t)
	accept := m.answers(t, "REPLY", "ACCEPTED", nil)
	s.mailIn(accept, true, "Confirmed by the scaffold firm")
	s.mailIn(accept, true, "Confirmed by the scaffold firm") // delivered twice
	b := s.booking(s.q2)
	history, err := s.schedule.BookingHistory(context.Background(), s.firm, b.ID)
	must(t, err)
	last := history[len(history)-1]
	if b.State != schedule.BookingConfirmed || last.How != schedule.ByMail || last.ChangedBy != "Upright & Brace" || len(history) != 3 { // made, sent, confirmed
		t.Errorf("%s by %s, %s, %d steps", b.State, last.ChangedBy, last.How, len(history))
	}
	// Their calendar still holds the version that it was sent; the days are the
	// same, so an offer counts.
	s.mailIn(m.answers(t, "COUNTER", "TENTATIVE", func(e *goical.Event) { e.Props.Get("DTSTART").Value = "20261211" }), true, "offers Fri 11 Dec instead of Wed 9 Dec")
	if b = s.booking(s.q2); b.State != schedule.BookingCountered || b.OfferedOn != civil.On(2026, 12, 11) {
		t.Errorf("after the offer: %s %s", b.State, b.OfferedOn)
	}
	s.mailIn(m.answers(t, "COUNTER", "TENTATIVE", func(e *goical.Event) { e.Props.Get("DTSTART").Value = "20261212" }), false, "Sat 12 Dec is a weekend")
	// The office does not take it, and says so by mail.
	_, err = s.schedule.DeclineOffer(context.Background(), s.firm, b.ID, b.Sequence, b.OfferedOn, "Imogen Thackray", s.clock())
	must(t, err)
	s.settled()
	if m = s.invitationOf(k); !strings.Contains(m.text, "The office does not take Fri 11 Dec") || m.method != "REQUEST" {
		t.Errorf("the mail says\n%s", m.text)
	}
	s.mailIn(m.answers(t, "REPLY", "DECLINED", nil), true, "cannot do Wed 9 Dec and offers no other day")
	if b = s.booking(s.q2); b.State != schedule.BookingRefused {
		t.Errorf("after the refusal: %s", b.State)
	}
	// The plan moves it: answers to the old days are refused with words.
	s.moveQ2(tuesday + 13)
	s.settled()
	s.mailIn(m.answers(t, "REPLY", "ACCEPTED", nil), false, "it changed since you looked: it is now erect Mon 14 Dec")
	s.by(s.office).get("/messages").want(200).says("What came back by mail?").says("Not taken")
}

// The token says which booking is meant, and only the token.
func TestAnAnswerNeedsTheBookingsToken(t *testing.T) {
	s, k, m := invited(t)
	accept := m.answers(t, "REPLY", "ACCEPTED", nil)
	token := strings.TrimSuffix(strings.TrimPrefix(m.replyTo, "answers+"), "@firm.example")
	s.mailIn(bytes.ReplaceAll(accept, []byte(token), []byte(strings.Repeat("a", 28))), false, "belongs to no booking")
	var other readMail // the invitation to Q-1, whose token is another booking's
	for _, c := range k.all() {
		if o := c.read(t); o.prop(t, "UID") != m.prop(t, "UID") {
			other = o
		}
	}
	s.mailIn(bytes.ReplaceAll(accept, []byte(m.replyTo), []byte(other.replyTo)), false, "UID")
	s.mailIn(m.answers(t, "REPLY", "ACCEPTED", func(e *goical.Event) { e.Props.Get("SEQUENCE").Value = "7" }), false, "no later version was ever sent")
	if b := s.booking(s.q2); b.State != schedule.BookingSent {
		t.Errorf("the booking is %s", b.State)
	}
	// From anybody, to the right address: it counts.
	s.mailIn(bytes.Replace(accept, []byte("From: yard@brace.example"), []byte("From: home@elsewhere.example"), 1), true, "Confirmed")
}

func TestABounceIsShownToTheOffice(t *testing.T) {
	s, _, m := invited(t)
	report := fmt.Appendf(nil, "From: MAILER-DAEMON@mx.example\r\nTo: <%s>\r\nContent-Type: multipart/report; report-type=delivery-status; boundary=b\r\n\r\n--b\r\n\r\nSorry.\r\n--b\r\nContent-Type: message/delivery-status\r\n\r\nReporting-MTA: dns; mx.example\r\n\r\nAction: failed\r\nStatus: 5.1.1\r\nDiagnostic-Code: smtp; 550 no such person here\r\n\r\n--b\r\nContent-Type: text/rfc822-headers\r\n\r\nMessage-ID: <%s>\r\n\r\n--b--\r\n",
		m.caught.from, m.id)
	s.mailIn(report, true, "550 no such person here")
	all, err := s.svc.Messages(context.Background(), s.firm)
	must(t, err)
	if all[0].State != outbox.Bounced || all[0].MailID != m.id {
		t.Errorf("the first message is %s %s", all[0].State, all[0].MailID)
	}
	s.by(s.office).get("/messages").want(200).says("1 message did not arrive").says("Came back").says("550 no such person here")
}
