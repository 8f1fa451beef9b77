//go:build unix

package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	gomail "github.com/emersion/go-message/mail"
	"github.com/emersion/go-smtp"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/outbox"
	"toeboard/migrations/tenant"
)

// catcher is a real SMTP server that counts the copies of each Message-ID.
type catcher struct {
	address string
	mu      sync.Mutex
	copies  map[string]int
}

func (k *catcher) NewSession(*smtp.Conn) (smtp.Session, error) { return caughtSession{k}, nil }

type caughtSession struct{ k *catcher }

func (caughtSession) Reset()                               {}
func (caughtSession) Logout() error                        { return nil }
func (caughtSession) Mail(string, *smtp.MailOptions) error { return nil }
func (caughtSession) Rcpt(string, *smtp.RcptOptions) error { return nil }
func (s caughtSession) Data(r io.Reader) error {
	body, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	m, err := gomail.CreateReader(bytes.NewReader(body))
	if err != nil {
		return err
	}
	id, err := m.Header.MessageID()
	if err != nil {
		return err
	}
	s.k.mu.Lock()
	defer s.k.mu.Unlock()
	s.k.copies[id]++
	return nil
}

func (k *catcher) of(id string) int {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.copies[id]
}

// catchMails starts the mail server.
func catchMails(t *testing.T) *catcher {
	t.Helper()
	k := &catcher{copies: map[string]int{}}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := smtp.NewServer(k)
	server.Domain = "catcher.example"
	go server.Serve(l)
	t.Cleanup(func() { server.Close() })
	k.address = "smtp://" + l.Addr().String() + "?tls=none"
	return k
}

// onlyMine takes the messages of the scene out of the way.
func (h *house) onlyMine(t *testing.T) {
	t.Helper()
	for _, sql := range []string{`UPDATE message SET state = 'failed' WHERE state = 'waiting'`, `DELETE FROM queue.river_job`} {
		if _, err := h.owner.Exec(context.Background(), sql); err != nil {
			t.Fatal(err)
		}
	}
}

// mailWorker starts the built program as a worker that sends to the catcher; it
// ends itself as a kill would at the named point, "" = nowhere.
func (h *house) mailWorker(t *testing.T, k *catcher, crashAt string) (p *os.Process, ended <-chan struct{}, out *lockedBuffer) {
	t.Helper()
	cmd := program(t, t.TempDir(), "work")
	cmd.Env = append(cmd.Env, "DATABASE_URL="+h.db.url, "TOEBOARD_CRASH_AT="+crashAt, "TOEBOARD_SMTP="+k.address,
		"TOEBOARD_MAIL_FROM=bookings@firm.example", "TOEBOARD_MAIL_LOST=2s")
	out = &lockedBuffer{}
	cmd.Stdout, cmd.Stderr = out, out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	gone := make(chan struct{})
	go func() {
		cmd.Wait()
		close(gone)
	}()
	t.Cleanup(func() {
		cmd.Process.Kill() // fails when it is gone already
		<-gone
	})
	return cmd.Process, gone, out
}

// tell writes messages that may leave at once, whatever the hour.
func (h *house) tell(t *testing.T, topic string, n int) {
	t.Helper()
	ctx, firm := context.Background(), h.scen.firm.ID
	err := tenant.Write(ctx, h.db.pool, firm, func(tx pgx.Tx) error {
		for i := range n {
			_, err := outbox.Write(ctx, tx, firm, outbox.Message{ID: newID(), Kind: outbox.BookingChanged, Topic: fmt.Sprintf("%s/%d", topic, i), ToName: "Yard", ToAddress: "yard@brace.example",
				Letter: outbox.Letter{Subject: "A change", Says: []string{"It moved."}}, CausedBy: "test", At: time.Date(2020, 1, 1, 12, 0, 0, 0, time.UTC)})
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// unsent counts the messages of a topic that have not left.
func (h *house) unsent(t *testing.T, topic string) (n int) {
	t.Helper()
	if err := h.owner.QueryRow(context.Background(), `SELECT count(*) FROM message WHERE topic LIKE $1 || '/%' AND state <> 'sent'`, topic).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func (h *house) awaitSent(t *testing.T, topic string, out *lockedBuffer) {
	t.Helper()
	for deadline := time.Now().Add(time.Minute); h.unsent(t, topic) > 0; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%d messages about %s did not leave; the worker says\n%s", h.unsent(t, topic), topic, out)
		}
	}
}

// copies holds each message's copies against its tries: at least one, one
// Message-ID each, and no more copies than tries that began and did not end, and
// the last.
func (h *house) copies(t *testing.T, k *catcher, topic string) (twice int) {
	t.Helper()
	rows, err := h.owner.Query(context.Background(), `
		SELECT m.mail_id, (SELECT count(*) FROM message_try b WHERE b.message_id = m.message_id AND b.what = 'begun')
		  - (SELECT count(*) FROM message_try e WHERE e.message_id = m.message_id AND e.what IN ('later', 'failed'))
		FROM message m WHERE topic LIKE $1 || '/%'`, topic)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var id string
		var may int
		if err := rows.Scan(&id, &may); err != nil {
			t.Fatal(err)
		}
		n := k.of(id)
		if n < 1 || n > may {
			t.Errorf("%s arrived %d times, and may have been handed over %d times", id, n, may)
		}
		if n > 1 {
			twice++
		}
	}
	return twice
}

// A worker is killed before the mail server hears of a message, after its 250
// and before our commit, and after the commit. The message is never lost, and
// only the second leaves a second copy, under the same Message-ID.
func TestAKilledWorkersMessageIsSentByAnother(t *testing.T) {
	h := openHouse(t, nil)
	k := catchMails(t)
	h.onlyMine(t)
	for point, copies := range map[string]int{"message taken": 1, "message handed over": 2, "message ended": 1} {
		topic := strings.ReplaceAll(point, " ", "-")
		h.tell(t, topic, 1)
		_, ended, out := h.mailWorker(t, k, point)
		select {
		case <-ended:
		case <-time.After(time.Minute):
			t.Fatalf("no worker came to %q; it says\n%s", point, out)
		}
		next, gone, out := h.mailWorker(t, k, "")
		h.awaitSent(t, topic, out)
		next.Kill()
		<-gone
		var id string
		if err := h.owner.QueryRow(context.Background(), `SELECT mail_id FROM message WHERE topic = $1 || '/0'`, topic).Scan(&id); err != nil {
			t.Fatal(err)
		}
		if n := k.of(id); n != copies {
			t.Errorf("after a kill at %q the message arrived %d times, want %d", point, n, copies)
		}
		h.copies(t, k, topic)
	}
}

// Workers are killed at random while many messages leave: none is lost.
// TOEBOARD_KILL_CHANGES sets how many messages; 1000 is the full run.
func TestWorkersKilledAtRandomLoseNoMessage(t *testing.T) {
	h := openHouse(t, nil)
	k := catchMails(t)
	h.onlyMine(t)
	n := 60
	if s := os.Getenv("TOEBOARD_KILL_CHANGES"); s != "" {
		var err error
		if n, err = strconv.Atoi(s); err != nil {
			t.Fatal(err)
		}
	}
	h.tell(t, "many", n)
	r := rand.New(rand.NewPCG(20261126, 1))
	kills := 0
	for h.unsent(t, "many") > n/10 && kills < 3+n/50 {
		begun := h.unsent(t, "many")
		p, ended, out := h.mailWorker(t, k, "")
		for deadline := time.Now().Add(time.Minute); h.unsent(t, "many") == begun; time.Sleep(5 * time.Millisecond) {
			if time.Now().After(deadline) {
				t.Fatalf("a worker sends nothing; it says\n%s", out)
			}
		}
		time.Sleep(time.Duration(r.IntN(120)) * time.Millisecond)
		if err := p.Kill(); err != nil {
			t.Fatal(err)
		}
		<-ended
		kills++
	}
	_, _, out := h.mailWorker(t, k, "")
	h.awaitSent(t, "many", out)
	twice := h.copies(t, k, "many")
	t.Logf("%d messages, %d workers killed: none lost, %d arrived twice under one Message-ID", n, kills, twice)
	if kills == 0 {
		t.Error("no worker was killed")
	}
}
