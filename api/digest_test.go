package api

import (
	"context"
	"strings"
	"testing"
	"time"

	"toeboard/migrations/outbox"
)

// What changes in quiet hours leaves afterwards as few mails, by a real mail
// server: all changes of one booking in one, and all that one customer is to hear
// in one, of whichever of their jobs. Two instances share the work.
func TestSeveralChangesInQuietHoursLeaveAsOneMail(t *testing.T) {
	s := newScene(t)
	s.settleBefore()
	ctx := context.Background()
	must(t, s.svc.SetQuietHours(ctx, s.firm, 6*60, 8*60)) // it is 07:15
	k := newCatcher(t)
	s.mails(k)
	s.moveQ2(tuesday + 9)
	s.moveQ2(tuesday + 10)
	first := s.round("customers", tuesday)
	s.moveQ2(tuesday + 13)
	second := s.round("customers", tuesday+1)
	if len(first) < 2 || len(second) != 1 {
		t.Fatalf("customers are to hear %d and then %d letters", len(first), len(second))
	}
	s.works()
	other := s.secondInstance(k)
	stop, err := other.Work()
	must(t, err)
	t.Cleanup(stop)
	if len(k.all()) != 0 {
		t.Fatalf("%d mails left in the quiet hours", len(k.all()))
	}
	s.setClock(benchStart.Add(45 * time.Minute)) // 08:00
	// The queue lives by the real clock, where these jobs wait for 45 minutes.
	_, err = s.db.Owner.Exec(ctx, `UPDATE queue.river_job SET state = 'available', scheduled_at = now() WHERE state = 'scheduled'`)
	must(t, err)
	all := s.settled()

	mails := map[string][]readMail{}
	for _, c := range k.all() {
		mails[c.to] = append(mails[c.to], c.read(t))
	}
	if len(mails) != 2 || len(mails["yard@brace.example"]) != 1 || len(mails["hallam@mail.example"]) != 1 {
		t.Fatalf("mails to the yard: %d, to the customer: %d, to %d addresses", len(mails["yard@brace.example"]), len(mails["hallam@mail.example"]), len(mails))
	}
	yard, customer := mails["yard@brace.example"][0], mails["hallam@mail.example"][0]
	for _, says := range []string{"erect from Wed 9 Dec to Thu 10 Dec", "erect from Thu 10 Dec to Fri 11 Dec", "erect from Fri 11 Dec to Mon 14 Dec"} {
		if strings.Count(yard.text, says) != 1 {
			t.Errorf("the yard's mail does not say once %q:\n%s", says, yard.text)
		}
	}
	if yard.prop(t, "SEQUENCE") != "3" {
		t.Errorf("the invitation is of version %s", yard.prop(t, "SEQUENCE"))
	}
	told := map[string]bool{}
	for _, m := range all {
		if m.Kind != outbox.CustomerDates {
			continue
		}
		in := strings.Count(customer.text, m.Letter.Subject)
		switch {
		case m.State == outbox.Sent && in != 1:
			t.Errorf("%q stands %d times in the customer's mail:\n%s", m.Letter.Subject, in, customer.text)
		case m.State == outbox.Sent:
			told[m.Topic] = true
		case m.State != outbox.Overtaken:
			t.Errorf("%q is %s", m.Letter.Subject, m.State)
		}
	}
	if strings.Contains(customer.text, "it was") || strings.Contains(customer.text, "Changed") {
		t.Errorf("a letter that never left is told as if it had been heard:\n%s", customer.text)
	}
	if len(told) != len(first) || !strings.Contains(customer.subject, "(and 1 more)") {
		t.Errorf("the mail %q tells of %d jobs, want %d", customer.subject, len(told), len(first))
	}
}
