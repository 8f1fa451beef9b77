package api

import (
	"net/url"
	"regexp"
	"strings"
	"testing"

	"toeboard/schedule"
)

// A lead makes an address, a calendar reads it without a sign-in, a moved visit
// keeps its identity, one that went to nobody is cancelled, and a new address
// ends the old one.
func TestACrewSubscribesToItsVisits(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	anybody := s.agent("a calendar")
	make := func() string {
		t.Helper()
		got := lead.form("/calendar/"+s.alder.ID.String(), url.Values{}).want(200)
		address := regexp.MustCompile(`http://toeboard\.example(/feeds/crew/\S+\.ics)`).FindStringSubmatch(string(got.Body))
		if address == nil {
			t.Fatalf("no address is told:\n%s", got.Body)
		}
		return address[1]
	}
	address := make()
	feed := string(anybody.get(address).want(200).Body)
	for _, w := range []string{"Roof work Q-1", "DTSTART;TZID=Europe/London:20261201T080000", "STATUS:CONFIRMED", "BEGIN:VTIMEZONE"} {
		if !strings.Contains(feed, w) {
			t.Errorf("the feed lacks %q:\n%s", w, feed)
		}
	}
	if strings.Contains(feed, "First fix") || strings.Contains(feed, "Hallam") {
		t.Errorf("the feed shows another crew's work or a customer:\n%s", feed)
	}
	lead.form("/calendar/"+s.damson.ID.String(), url.Values{}).want(404)
	uid := regexp.MustCompile(`UID:visit-\S+`)
	before := uid.FindAllString(strings.ReplaceAll(feed, "\r\n ", ""), -1)
	s.publishByHand(func(p *schedule.Plan) {
		p.Visits[4].HalfDays = p.Visits[4].HalfDays[:0]
		p.Visits[4].HalfDays = append(p.Visits[4].HalfDays, (tuesday + 10).In(0), (tuesday+10).In(0)+1)
	})
	moved := strings.ReplaceAll(string(anybody.get(address).want(200).Body), "\r\n ", "")
	for _, u := range before {
		if !strings.Contains(moved, u+"\r\n") {
			t.Errorf("%s is gone after a move", u)
		}
	}
	if !strings.Contains(moved, "SEQUENCE:1") || !strings.Contains(moved, "20261211T080000") {
		t.Errorf("the moved visit reads\n%s", moved)
	}
	second := make()
	if second == address {
		t.Fatal("the new address is the old one")
	}
	anybody.get(address).want(404)
	anybody.get(second).want(200)
}
