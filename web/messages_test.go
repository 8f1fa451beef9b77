package web

import "testing"

// What did not arrive is always shown, whole; of the rest the newest 25 until
// all are asked for, and what is left out is counted.
func TestMessagesShowWhatNeedsSomebodyAndTheNewest(t *testing.T) {
	t.Parallel()
	p := MessagesPage{AllHref: "/messages?all=1", MailServer: true}
	for i := range 40 {
		p.Rows = append(p.Rows, MessageRow{ID: string(rune('A' + i)), Needs: i == 39})
	}
	if len(p.Needing()) != 1 || len(p.Newest()) != 25 || p.Newest()[0].ID != "A" || p.Older() != 14 {
		t.Errorf("%d need somebody, %d are shown, %d are older", len(p.Needing()), len(p.Newest()), p.Older())
	}
	if p.Says() != "1 message did not arrive: ring them, or put the address right and send again." {
		t.Errorf("it says %q", p.Says())
	}
	p.AllHref = ""
	if len(p.Newest()) != 39 || p.Older() != 0 {
		t.Errorf("asked for all, %d are shown and %d are older", len(p.Newest()), p.Older())
	}
}
