package api

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"mime"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	goical "github.com/emersion/go-ical"
	gomail "github.com/emersion/go-message/mail"
	"github.com/emersion/go-smtp"
	"github.com/google/uuid"

	"toeboard/api/mailer"
	"toeboard/migrations/outbox"
	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

// catcher is a real SMTP server (emersion/go-smtp) that keeps what it is given
// and does to each mail what it is told to.
type catcher struct {
	t       *testing.T
	address string

	mu     sync.Mutex
	does   []string // what happens to the next mails, in order: "ok", "drop", "421", "451", "550"; none left = "ok"
	mails  []caught
	dropAt net.Conn
}

// caught is one mail that the server answered with 250.
type caught struct {
	from, to string
	body     []byte
}

func newCatcher(t *testing.T, does ...string) *catcher {
	t.Helper()
	k := &catcher{t: t, does: does}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	server := smtp.NewServer(k)
	server.Domain, server.ReadTimeout, server.WriteTimeout, server.AllowInsecureAuth = "catcher.example", 10*time.Second, 10*time.Second, true
	server.ErrorLog = slog.NewLogLogger(slog.DiscardHandler, slog.LevelError)
	go server.Serve(dropping{l, k})
	t.Cleanup(func() { server.Close() })
	k.address = "smtp://" + l.Addr().String() + "?tls=none"
	return k
}

// dropping closes a connection right after the 250 of a mail that is to be
// dropped, before QUIT or RSET can be answered.
type dropping struct {
	net.Listener
	k *catcher
}

func (d dropping) Accept() (net.Conn, error) {
	c, err := d.Listener.Accept()
	return &droppingConn{Conn: c, k: d.k}, err
}

type droppingConn struct {
	net.Conn
	k *catcher
}

func (c *droppingConn) Write(b []byte) (int, error) {
	n, err := c.Conn.Write(b)
	c.k.mu.Lock()
	drop := c.k.dropAt != nil && c.k.dropAt.RemoteAddr().String() == c.RemoteAddr().String() && bytes.Contains(b, []byte("250 2.0.0"))
	if drop {
		c.k.dropAt = nil
	}
	c.k.mu.Unlock()
	if drop {
		c.Conn.Close()
	}
	return n, err
}

func (k *catcher) NewSession(c *smtp.Conn) (smtp.Session, error) {
	return &session{k: k, conn: c.Conn()}, nil
}

type session struct {
	k        *catcher
	conn     net.Conn
	from, to string
}

func (s *session) Reset()        {}
func (s *session) Logout() error { return nil }
func (s *session) Mail(from string, _ *smtp.MailOptions) error {
	s.from = from
	return nil
}
func (s *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	s.to = to
	return nil
}

func (s *session) Data(r io.Reader) error {
	body, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	s.k.mu.Lock()
	defer s.k.mu.Unlock()
	do := "ok"
	if len(s.k.does) > 0 {
		do, s.k.does = s.k.does[0], s.k.does[1:]
	}
	switch do {
	case "421":
		return &smtp.SMTPError{Code: 421, EnhancedCode: smtp.EnhancedCode{4, 3, 2}, Message: "closing for the night"}
	case "451":
		return &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 7, 1}, Message: "greylisted"}
	case "550":
		return &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "no such mailbox"}
	case "drop":
		s.k.dropAt = s.conn
	}
	s.k.mails = append(s.k.mails, caught{s.from, s.to, body})
	return nil
}

func (k *catcher) all() []caught {
	k.mu.Lock()
	defer k.mu.Unlock()
	return append([]caught{}, k.mails...)
}

// read is a caught mail as emersion/go-message understands it.
type readMail struct {
	caught
	id, subject, replyTo, auto string
	text, html                 string
	calendar, file             *goical.Calendar
	method                     string // of the Content-Type
	fileMethod                 string
	kinds                      []string
}

func (c caught) read(t *testing.T) readMail {
	t.Helper()
	r, err := gomail.CreateReader(bytes.NewReader(c.body))
	must(t, err)
	m := readMail{caught: c, auto: r.Header.Get("Auto-Submitted")}
	m.id, err = r.Header.MessageID()
	must(t, err)
	m.subject, err = r.Header.Subject()
	must(t, err)
	if reply, err := r.Header.AddressList("Reply-To"); err == nil && len(reply) > 0 {
		m.replyTo = reply[0].Address
	}
	for {
		p, err := r.NextPart()
		if errors.Is(err, io.EOF) {
			return m
		}
		must(t, err)
		body, err := io.ReadAll(p.Body)
		must(t, err)
		kind, params, err := mime.ParseMediaType(p.Header.Get("Content-Type"))
		must(t, err)
		_, attached := p.Header.(*gomail.AttachmentHeader)
		m.kinds = append(m.kinds, kind)
		switch {
		case kind == "text/plain":
			m.text = string(body)
		case kind == "text/html":
			m.html = string(body)
		case kind == "text/calendar":
			cal, err := goical.NewDecoder(bytes.NewReader(body)).Decode()
			must(t, err)
			if attached {
				m.file, m.fileMethod = cal, params["method"]
			} else {
				m.calendar, m.method = cal, params["method"]
			}
		}
	}
}

func (m readMail) prop(t *testing.T, name string) string {
	t.Helper()
	p := m.calendar.Events()[0].Props.Get(name)
	if p == nil {
		t.Fatalf("the invitation has no %s", name)
	}
	return p.Value
}

// quickMail has tests wait little.
var quickMail = MailTimes{Hold: 2 * time.Second, First: 20 * time.Millisecond, Most: 50 * time.Millisecond, GiveUp: time.Hour, Idle: 50 * time.Millisecond}

// mails makes this bench's service send by a mail server.
func (b *bench) mails(k *catcher) {
	b.t.Helper()
	server, err := mailer.NewSMTP(k.address, "firm.example")
	must(b.t, err)
	b.svc.mail = Mail{Post: server, From: "bookings@firm.example", Answers: "answers@firm.example"}
	b.svc.mailTimes = quickMail
}

// settled waits until no message waits any more.
func (b *bench) settled() []message {
	b.t.Helper()
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		all, err := b.svc.Messages(context.Background(), b.firm)
		must(b.t, err)
		waits := 0
		for _, m := range all {
			if m.State == outbox.Waiting {
				waits++
			}
		}
		if waits == 0 {
			return all
		}
		if time.Now().After(deadline) {
			b.t.Fatalf("%d messages still wait\n%s", waits, b.log)
		}
	}
}

func TestPublishingTellsTheScaffoldFirmByMail(t *testing.T) {
	s := newScene(t)
	k := newCatcher(t)
	s.mails(k)
	s.works()
	all := s.settled()
	if len(all) != 2 || len(k.all()) != 2 { // Q-1's strike moved, Q-2 is new
		t.Fatalf("%d messages, %d mails", len(all), len(k.all()))
	}
	b := s.booking(s.q2)
	if b.State != schedule.BookingSent {
		t.Errorf("after the mail left the booking is %s", b.State)
	}
	for _, c := range k.all() {
		m := c.read(t)
		if m.prop(t, "UID") != b.UID {
			continue
		}
		if want := fmt.Sprintf("booking.%s.0.booking-new.", b.ID); !strings.HasPrefix(m.id, want) {
			t.Errorf("the Message-ID is %q, want it to begin with %q", m.id, want)
		}
		for what, ok := range map[string]bool{
			"from the firm's address by the envelope that knows the booking": strings.HasPrefix(c.from, "answers+") && c.from == m.replyTo && c.to == "yard@brace.example",
			"METHOD and the Content-Type's method agree":                     m.method == "REQUEST" && m.calendar.Props.Get("METHOD").Value == "REQUEST" && m.fileMethod == "REQUEST",
			"text, HTML and invitation in this order, then the file":         strings.Join(m.kinds, " ") == "text/plain text/html text/calendar text/calendar",
			"text and HTML say the days":                                     strings.Contains(m.text, "Wednesday 9 December 2026") && strings.Contains(m.html, "Wednesday 9 December 2026"),
			"nobody's holiday notice answers":                                m.auto == "auto-generated",
			"no customer's name":                                             !bytes.Contains(c.body, []byte("Hallam")),
			"whole days with an exclusive end":                               m.prop(t, "DTSTART") == "20261209" && m.prop(t, "DTEND") == "20261215",
			"answers go to an address that knows the booking":                m.prop(t, "ORGANIZER") == "mailto:"+m.replyTo,
			"the scaffold firm is asked":                                     m.prop(t, "ATTENDEE") == "mailto:yard@brace.example",
			"the sequence is the row's":                                      m.prop(t, "SEQUENCE") == "0",
			"the subject says what and when":                                 m.subject == "Scaffold Q-2, Q-2 Heron Row, Quillmere: up Wed 9 Dec, down Mon 14 Dec",
		} {
			if !ok {
				t.Errorf("not so: %s\n%s\n%s", what, m.subject, c.body)
			}
		}
		office := s.by(s.office)
		office.get("/messages").want(200).says("Every message left").says("Sent Tue 1 Dec 07:15").says("yard@brace.example").says("Job Q-2")
		var list MessageList
		office.json("GET", "/messages", nil, nil).want(200).into(&list)
		if len(list.Messages) != 2 || !list.MailServer || list.Messages[0].State != "sent" {
			t.Errorf("the list says %+v", list)
		}
		return
	}
	t.Error("no mail tells of the new booking")
}

// Each way in which a mail server can answer, and what becomes of the message.
func TestWhatAMailServerSaysIsHeeded(t *testing.T) {
	for name, c := range map[string]struct {
		does  []string
		state outbox.State
		tries int
		mails int
		says  string
	}{
		"it closes for the night, then takes it":         {[]string{"421", "ok"}, outbox.Sent, 2, 1, ""},
		"it is greylisted twice":                         {[]string{"451", "451", "ok"}, outbox.Sent, 3, 1, ""},
		"the mailbox is unknown":                         {[]string{"550"}, outbox.Failed, 1, 0, "no such mailbox"},
		"it takes it and drops the line without goodbye": {[]string{"drop"}, outbox.Sent, 1, 1, ""},
	} {
		t.Run(name, func(t *testing.T) {
			s := newScene(t)
			s.settleBefore()
			k := newCatcher(t, c.does...)
			s.mails(k)
			s.works()
			s.moveQ2(tuesday + 14)
			all := s.settled()
			m := all[0]
			for _, one := range all {
				if one.Sequence > 0 && one.Kind == outbox.BookingChanged && strings.Contains(one.Letter.Subject, "Q-2") {
					m = one
				}
			}
			if m.State != c.state || m.Tries != c.tries || len(k.all()) != c.mails || !strings.Contains(m.Says, c.says) {
				t.Errorf("it is %s after %d tries (%q), %d mails; want %s, %d, %q, %d", m.State, m.Tries, m.Says, len(k.all()), c.state, c.tries, c.says, c.mails)
			}
			if c.state == outbox.Failed {
				office := s.by(s.office)
				page := office.get("/messages").want(200).says("1 message did not arrive").says("Could not be sent").says("no such mailbox").page()
				again, fields := fieldsOf(t, page, "/messages/"+m.ID.String()+"/again")
				office.form(again, fields).want(303)
				s.settled()
				if len(k.all()) != 1 || k.all()[0].read(t).id != m.MailID {
					t.Errorf("sent again: %d mails", len(k.all()))
				}
			}
		})
	}
}

// settleBefore takes what the scene's own publishing wrote out of the way.
func (s *scene) settleBefore() {
	s.t.Helper()
	_, err := s.db.Owner.Exec(context.Background(), `UPDATE message SET state = 'sent', sent_at = written_at`)
	must(s.t, err)
	_, err = s.db.Owner.Exec(context.Background(), `DELETE FROM queue.river_job`)
	must(s.t, err)
}

// moveQ2 publishes a plan in which the scaffold at Q-2 goes up on a day, with
// the roof a day and the strike five days after.
func (s *scene) moveQ2(to civil.Date) {
	s.t.Helper()
	s.publishByHand(func(p *schedule.Plan) {
		p.Visits[3].HalfDays = []civil.HalfDay{to.In(civil.Morning)}
		p.Visits[4].HalfDays = []civil.HalfDay{(to + 1).In(civil.Morning)}
		p.Visits[5].HalfDays = []civil.HalfDay{(to + 6).In(civil.Morning)}
	})
}

// Without a mail server messages wait, and the page says so; the one that is set
// up later sends them.
func TestWithoutAMailServerMessagesWait(t *testing.T) {
	s := newScene(t)
	s.svc.mailTimes = quickMail
	s.works()
	office := s.by(s.office)
	office.get("/messages").want(200).says("no mail server is set up").says("TOEBOARD_SMTP")
	if b := s.booking(s.q2); b.State != schedule.BookingWanted {
		t.Errorf("nothing left, and the booking is %s", b.State)
	}
	k := newCatcher(t)
	second := s.secondInstance(k)
	stop, err := second.Work()
	must(t, err)
	t.Cleanup(stop)
	s.settled()
	if len(k.all()) != 2 {
		t.Errorf("%d mails", len(k.all()))
	}
}

// secondInstance is another process's service on the same database.
func (b *bench) secondInstance(k *catcher) *Service {
	b.t.Helper()
	renderer, err := web.New()
	must(b.t, err)
	server, err := mailer.NewSMTP(k.address, "firm.example")
	must(b.t, err)
	ids := func() uuid.UUID { return uuid.Must(uuid.NewV7()) }
	svc, err := New(Deps{Queue: b.queue, Pool: b.db.App, Schedule: b.schedule, Safety: b.safety, Archive: b.archive, Web: renderer, Now: b.clock, IDs: ids,
		Log: slog.New(slog.NewTextHandler(b.log, nil)), BaseURL: "http://toeboard.example", ParseForecast: map[string]ForecastParser{testProvider: readSky},
		Mail: Mail{Post: server, From: "bookings@firm.example", Answers: "answers@firm.example"}, MailTimes: quickMail})
	must(b.t, err)
	return svc
}

// A trigger lets the one insert fail that tells of Q-2: nothing is published,
// and nothing is told. When it heals, the same button does both.
func TestAMessageIsWrittenWithItsCauseOrNeither(t *testing.T) {
	s := newScene(t)
	s.settleBefore()
	_, err := s.db.Owner.Exec(context.Background(), `
		CREATE FUNCTION fails() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'the disk is full' USING ERRCODE = '53100'; END $$;
		CREATE TRIGGER fails BEFORE INSERT ON message FOR EACH ROW WHEN (NEW.letter->>'subject' LIKE '%Q-2%') EXECUTE FUNCTION fails();`)
	must(t, err)
	before := s.booking(s.q2)
	draft := s.saveByHand(func(p *schedule.Plan) { p.Visits[3].HalfDays = []civil.HalfDay{(tuesday + 10).In(civil.Morning)} })
	_, _, err = s.schedule.Publish(context.Background(), s.firm, draft.ID, "Imogen Thackray", s.clock(), nil)
	if fault.KindOf(err) != fault.Unavailable {
		t.Fatalf("publishing gave %v", err)
	}
	now, err := s.schedule.CurrentPlan(context.Background(), s.firm)
	must(t, err)
	if now.ID != s.plan.ID || s.booking(s.q2) != before {
		t.Error("it was half published")
	}
	_, err = s.db.Owner.Exec(context.Background(), `DROP TRIGGER fails ON message`)
	must(t, err)
	_, _, err = s.schedule.Publish(context.Background(), s.firm, draft.ID, "Imogen Thackray", s.clock(), nil)
	must(t, err)
	all, err := s.svc.Messages(context.Background(), s.firm)
	must(t, err)
	slices.SortFunc(all, func(a, b message) int { return strings.Compare(string(b.State), string(a.State)) }) // waiting before sent
	if len(all) != 3 || all[0].State != outbox.Waiting || all[0].Sequence != 1 {
		t.Errorf("%d messages, the newest %s %s %d", len(all), all[0].State, all[0].Letter.Subject, all[0].Sequence)
	}
}

// Changes of one booking that wait together leave as one mail: the newest, with
// what the others would have said.
func TestANewerChangeOvertakesOneThatWaits(t *testing.T) {
	s := newScene(t)
	s.settleBefore()
	s.moveQ2(tuesday + 9)
	s.moveQ2(tuesday + 10)
	s.moveQ2(tuesday + 13)
	k := newCatcher(t)
	s.mails(k)
	s.works()
	s.settled()
	mails := k.all()
	if len(mails) != 1 {
		t.Fatalf("%d mails for three changes of one booking that waited", len(mails))
	}
	m := mails[0].read(t)
	if m.prop(t, "SEQUENCE") != "3" || !strings.Contains(m.text, "What changed before that and was not sent") || !strings.Contains(m.text, "erect from Wed 9 Dec to Thu 10 Dec") {
		t.Errorf("the mail says\n%s", m.text)
	}
}

// No mail leaves in the firm's quiet hours; what somebody sends by hand does.
func TestQuietHours(t *testing.T) {
	s := newScene(t)
	s.settleBefore()
	office := s.by(s.office)
	quiet, fields := fieldsOf(t, office.get("/messages").want(200).page(), "/messages/quiet")
	fields.Set("quiet_from", "07:00")
	fields.Set("quiet_to", "seven")
	office.form(quiet, fields).want(422).says("a time of the day, such as 20:00")
	fields.Set("key", uuid.NewString())
	fields.Set("quiet_to", "07:30")
	office.form(quiet, fields).want(303)
	k := newCatcher(t)
	s.mails(k)
	s.works()
	s.moveQ2(tuesday + 9)
	office.get("/messages").want(200).says("Waits for the end of the quiet hours, Tue 1 Dec 07:30")
	if len(k.all()) != 0 {
		t.Error("a mail left in the quiet hours")
	}
}
