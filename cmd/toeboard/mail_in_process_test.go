//go:build unix

package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	goical "github.com/emersion/go-ical"
	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// asked is a booking whose invitation can be answered by mail.
type asked struct {
	id                uuid.UUID
	uid, token        string
	sequence          int
	erectOn, strikeOn civil.Date
}

// asked gives bookings that wait for an answer, by UID.
func (h *house) asked(t *testing.T, n int) (all []asked) {
	t.Helper()
	rows, err := h.owner.Query(context.Background(), `
		SELECT b.booking_id, b.uid, t.token, b.sequence, b.erect_on, b.strike_on FROM booking b JOIN booking_token t USING (firm_id, booking_id)
		WHERE b.state IN ('wanted', 'sent') ORDER BY b.uid LIMIT $1`, n)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var a asked
		if err := rows.Scan(&a.id, &a.uid, &a.token, &a.sequence, &a.erectOn, &a.strikeOn); err != nil {
			t.Fatal(err)
		}
		all = append(all, a)
	}
	if len(all) < n {
		t.Fatalf("%d bookings wait for an answer, want %d", len(all), n)
	}
	return all
}

// answer writes the mail by which a calendar answers an invitation (RFC 5546
// 3.2.3 and 3.2.7, RFC 6047 2), with emersion/go-ical.
func (a asked) answer(t *testing.T, method, partstat string, erectOn civil.Date) []byte {
	t.Helper()
	cal := goical.NewCalendar()
	cal.Props.SetText("VERSION", "2.0")
	cal.Props.SetText("PRODID", "-//Yard//Calendar//EN")
	cal.Props.SetText("METHOD", method)
	e := goical.NewEvent()
	set := func(name, value string, date bool) *goical.Prop {
		p := goical.NewProp(name)
		p.Value = value
		if date {
			p.Params.Set("VALUE", "DATE")
		}
		e.Props.Add(p)
		return p
	}
	compact := func(d civil.Date) string { return strings.ReplaceAll(d.String(), "-", "") }
	set("UID", a.uid, false)
	set("SEQUENCE", fmt.Sprint(a.sequence), false)
	set("DTSTAMP", "20261126T080000Z", false)
	set("DTSTART", compact(erectOn), true)
	set("DTEND", compact(max(erectOn, a.strikeOn)+1), true)
	set("ORGANIZER", "mailto:answers+"+a.token+"@firm.example", false)
	set("ATTENDEE", "mailto:yard@brace.example", false).Params.Set("PARTSTAT", partstat)
	cal.Children = append(cal.Children, e.Component)
	var b bytes.Buffer
	if err := goical.NewEncoder(&b).Encode(cal); err != nil {
		t.Fatal(err)
	}
	return fmt.Appendf(nil, "From: yard@brace.example\r\nTo: <answers+%s@firm.example>\r\nMessage-ID: <%s.%s@brace.example>\r\nMIME-Version: 1.0\r\nContent-Type: text/calendar; charset=utf-8; method=%s\r\n\r\n%s",
		a.token, strings.ToLower(partstat), a.id, method, b.Bytes())
}

// mailIn runs the built program on a mail or a mailbox.
func (h *house) mailIn(t *testing.T, status int, database string, mail []byte, args ...string) string {
	t.Helper()
	cmd := program(t, t.TempDir(), append([]string{"mail-in"}, args...)...)
	cmd.Env = append(cmd.Env, "DATABASE_URL="+database)
	cmd.Stdin = bytes.NewReader(mail)
	var wrong bytes.Buffer
	cmd.Stderr = &wrong
	out, err := cmd.Output()
	if _, ended := err.(*exec.ExitError); err != nil && !ended || cmd.ProcessState.ExitCode() != status {
		t.Fatalf("mail-in %v ended with %d (%v), want %d:\n%s\n%s", args, cmd.ProcessState.ExitCode(), err, status, out, wrong.String())
	}
	return string(out)
}

// stands holds a booking's state and how many steps its life has.
func (h *house) stands(t *testing.T, a asked, state schedule.BookingState, steps int) {
	t.Helper()
	history, err := h.schedule.BookingHistory(context.Background(), h.scen.firm.ID, a.id)
	if err != nil {
		t.Fatal(err)
	}
	if last := history[len(history)-1]; last.State != state || len(history) != steps {
		t.Errorf("after %d steps the booking is %s, want %d and %s", len(history), last.State, steps, state)
	}
}

// The built program takes what scaffold firms answered by mail, as a mail server
// pipes it, from a Maildir and from a mailbox file: an acceptance, a refusal, a
// proposal. The same mail twice counts once, a mail with a token that is none
// changes nothing, and while the database cannot be asked the mail stays.
func TestMailInAsAMailServerCallsIt(t *testing.T) {
	h := openHouse(t, nil)
	all := h.asked(t, 4)
	before := make([]int, len(all))
	for i, a := range all {
		history, err := h.schedule.BookingHistory(context.Background(), h.scen.firm.ID, a.id)
		if err != nil {
			t.Fatal(err)
		}
		before[i] = len(history)
	}
	accept := all[0].answer(t, "REPLY", "ACCEPTED", all[0].erectOn)
	const nobody = "postgres://nobody@127.0.0.1:1/none?connect_timeout=2"
	h.mailIn(t, tempFail, nobody, accept)
	for range 2 { // delivered twice
		if out := h.mailIn(t, 0, h.db.url, accept, "-"); !strings.Contains(out, "Confirmed by the scaffold firm") {
			t.Errorf("the pipe says %q", out)
		}
	}
	h.stands(t, all[0], schedule.BookingConfirmed, before[0]+1)
	if out := h.mailIn(t, 0, h.db.url, []byte("no mail at all")); !strings.HasPrefix(out, "Not taken: ") {
		t.Errorf("of what is no mail the pipe says %q", out)
	}

	holidays, err := h.schedule.Holidays(context.Background(), h.scen.firm.ID)
	if err != nil {
		t.Fatal(err)
	}
	zone, err := h.scen.firm.Location()
	if err != nil {
		t.Fatal(err)
	}
	// The program has the real clock: a working day soon after today, and not the booked one.
	offered := schedule.AddWorkingDays(civil.DateOf(time.Now(), zone), 5, holidays)
	if offered == all[1].erectOn {
		offered = schedule.AddWorkingDays(offered, 1, holidays)
	}
	wrong := all[3]
	wrong.token = strings.Repeat("a", len(wrong.token))
	dir := t.TempDir()
	for _, sub := range []string{"new", "cur", "tmp"} {
		if err := os.Mkdir(filepath.Join(dir, sub), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	for name, mail := range map[string][]byte{"1.yard": all[1].answer(t, "COUNTER", "TENTATIVE", offered), "2.yard": all[2].answer(t, "REPLY", "DECLINED", all[2].erectOn),
		"3.yard": wrong.answer(t, "REPLY", "ACCEPTED", wrong.erectOn)} {
		if err := os.WriteFile(filepath.Join(dir, "new", name), mail, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	h.mailIn(t, tempFail, nobody, nil, dir)
	if left, err := os.ReadDir(filepath.Join(dir, "new")); err != nil || len(left) != 3 {
		t.Errorf("without a database %d mails stay, want 3 (%v)", len(left), err)
	}
	out := h.mailIn(t, 0, h.db.url, nil, dir)
	for _, says := range []string{"The scaffold firm offers " + offered.Short() + " instead of " + all[1].erectOn.Short(), "cannot do " + all[2].erectOn.Short() + " and offers no other day", "belongs to no booking"} {
		if strings.Count(out, says) != 1 {
			t.Errorf("the Maildir says\n%s\nwant once %q", out, says)
		}
	}
	for i, name := range []string{"1.yard:2,S", "2.yard:2,S", "3.yard:2,S"} {
		if _, err := os.Stat(filepath.Join(dir, "cur", name)); err != nil {
			t.Errorf("mail %d is not among those that were seen: %v", i+1, err)
		}
	}
	if again := h.mailIn(t, 0, h.db.url, nil, dir); again != "" {
		t.Errorf("an empty Maildir says %q", again)
	}
	h.stands(t, all[1], schedule.BookingCountered, before[1]+1)
	h.stands(t, all[2], schedule.BookingRefused, before[2]+1)
	h.stands(t, all[3], schedule.BookingWanted, before[3])

	// The first is the one that was taken, with other line ends: it changes nothing.
	box := filepath.Join(t.TempDir(), "box")
	var mails bytes.Buffer
	for _, mail := range [][]byte{accept, all[3].answer(t, "REPLY", "ACCEPTED", all[3].erectOn)} {
		fmt.Fprintf(&mails, "From yard@brace.example Thu Nov 26 08:00:00 2026\n%s\n\n", bytes.ReplaceAll(mail, []byte("\r\n"), []byte("\n")))
	}
	if err := os.WriteFile(box, mails.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	if out := h.mailIn(t, 0, h.db.url, nil, box); strings.Count(out, "Confirmed by the scaffold firm") != 2 || strings.Count(out, "\n") != 2 {
		t.Errorf("the mailbox says\n%s", out)
	}
	h.stands(t, all[0], schedule.BookingConfirmed, before[0]+1)
	h.stands(t, all[3], schedule.BookingConfirmed, before[3]+1)
}
