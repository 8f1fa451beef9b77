package api

import (
	"context"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
)

// addressesOn finds the two addresses that a page tells once.
func addressesOn(t *testing.T, a answer) (page, feed string) {
	t.Helper()
	found := regexp.MustCompile(`http://toeboard\.example(/(?:scaffold|feeds)/[\w-]{43}(?:\.ics)?)`).FindAllStringSubmatch(string(a.Body), -1)
	if len(found) != 2 || !strings.HasPrefix(found[0][1], "/scaffold/") || !strings.HasSuffix(found[1][1], ".ics") {
		t.Fatalf("the addresses told are %v", found)
	}
	return found[0][1], found[1][1]
}

// The office makes addresses, which are told once, gives them another end and
// ends them; what is ended opens nothing from that moment on.
func TestTheOfficeGivesAndEndsPrivateLinks(t *testing.T) {
	s := newScene(t)
	office, v := s.by(s.office), s.agent("scaffold firm")
	give, fields := fieldsOf(t, office.get("/private-links").want(200).says("Nobody: no address of a scaffold firm opens anything").page(), "/private-links/firms/"+s.yard.ID.String())
	if until := office.get("/private-links").page().Find("#f-until-"+s.yard.ID.String()).AttrOr("value", ""); until != "2027-12-01" {
		t.Errorf("the page asks for %s, not for a year", until)
	}
	for _, wrong := range []string{"2026-11-30", "2028-12-01", "soon", ""} {
		fields.Set("until", wrong)
		if office.form(give, fields).want(422).page().Find(".faults a[href='#f-until-"+s.yard.ID.String()+"']").Length() != 1 {
			t.Errorf("the refusal of %q does not lead to its input", wrong)
		}
	}
	fields.Set("until", "2026-12-04")
	page, feed := addressesOn(t, office.form(give, fields).want(200).says("They are shown once"))
	v.get(page).want(200)
	v.get(feed).want(200)
	if shown := string(office.get("/private-links").want(200).says("Opens until Friday 4 December 2026").says("Tue 1 Dec by Imogen Thackray").Body); strings.Contains(shown, strings.TrimPrefix(page, "/scaffold/")) {
		t.Error("an address is told again")
	}
	s.tokenIsNowhere(strings.TrimPrefix(page, "/scaffold/"))

	// The last day is whole, in the firm's zone.
	s.setClock(time.Date(2026, 12, 4, 23, 59, 0, 0, time.UTC))
	v.get(page).want(200)
	s.setClock(time.Date(2026, 12, 5, 0, 0, 0, 0, time.UTC))
	v.get(page).want(404)
	v.get(feed).want(404)
	all, err := s.svc.PrivateLinks(context.Background(), s.firm)
	must(t, err)
	pageLink, feedLink := all[0].Links[0], all[0].Links[1]
	if pageLink.Purpose != schedule.ForPage {
		pageLink, feedLink = feedLink, pageLink
	}
	shown := office.get("/private-links").want(200).says("Ran out on Friday 4 December 2026").page()
	keep, fields := fieldsOf(t, shown, "/"+pageLink.ID.String()+"/until")
	fields.Set("until", "2027-01-29")
	office.form(keep, fields).want(303)
	v.get(page).want(200) // it ran out, and opens again
	end, fields := fieldsOf(t, office.get("/private-links").want(200).says("Opens until Friday 29 January 2027").page(), "/"+pageLink.ID.String()+"/end")
	office.form(end, fields).want(303)
	v.get(page).want(404)
	office.form(keep, url.Values{"key": {"late"}, "until": {"2027-01-29"}}).want(409).says("what was ended stays so")
	office.json("POST", "/private-links/"+pageLink.ID.String()+"/until", nil, map[string]any{"until": "2027-01-29"}).refused(conflict)
	office.json("POST", "/private-links/"+feedLink.ID.String()+"/until", nil, map[string]any{"until": "2027-01-29"}).want(204)
	v.get(feed).want(200)
	office.json("POST", "/private-links/"+feedLink.ID.String()+"/end", nil, map[string]any{}).want(204)
	v.get(feed).want(404)

	// The same over JSON, and everything at once.
	var told PrivateAddresses
	office.json("POST", "/scaffold-firms/"+s.yard.ID.String()+"/private-links", nil, map[string]any{"until": "2027-06-30"}).want(200).into(&told)
	page, feed = strings.TrimPrefix(told.Page, base), strings.TrimPrefix(told.Feed, base)
	v.get(page).want(200)
	v.get(feed).want(200)
	var list PrivateLinkList
	office.json("GET", "/private-links", nil, nil).want(200).into(&list)
	links := list.ScaffoldFirms[0].Links
	if len(links) != 4 || !links[0].Opens || links[0].LastUsedAt == nil || !links[0].LastUsedAt.Equal(s.clock()) || links[3].Opens || links[3].EndedAt == nil {
		t.Errorf("the list says %+v", links)
	}
	var ended LinksEnded
	office.json("POST", "/scaffold-firms/"+s.yard.ID.String()+"/private-links/end", nil, map[string]any{"which": "all"}).want(200).into(&ended)
	v.get(page).want(404)
	v.get(feed).want(404)
	if ended.Ended != 2 {
		t.Errorf("%d were ended, want 2", ended.Ended)
	}
	s.by(s.lead).get("/private-links").want(403)
	s.by(s.lead).json("GET", "/private-links", nil, nil).refused(forbidden)
	office.json("POST", "/scaffold-firms/"+uuid.NewString()+"/private-links", nil, map[string]any{"until": "2027-06-30"}).refused(notFound)
}

// tokenIsNowhere looks for a secret in every row of the database.
func (s *scene) tokenIsNowhere(token string) {
	s.t.Helper()
	rows, err := s.db.Owner.Query(context.Background(), `
		SELECT c.relname, position($1 in query_to_xml(format('SELECT x::text FROM %I.%I x', n.nspname, c.relname), false, true, '')::text)
		FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace WHERE n.nspname IN ('public', 'queue') AND c.relkind = 'r'`, token)
	must(s.t, err)
	defer rows.Close()
	tables := 0
	for rows.Next() {
		var table string
		var at int
		must(s.t, rows.Scan(&table, &at))
		if tables++; at > 0 {
			s.t.Errorf("the secret stands in table %s", table)
		}
	}
	if tables < 30 {
		s.t.Errorf("only %d tables were looked at", tables)
	}
}

var mailedLink = regexp.MustCompile(`http://toeboard\.example(/scaffold/[\w-]{43})`)

// A mail carries a link to the scaffold firm's page. It ends after 30 days, when
// the office ends it, and when the scaffold firm's address is another; it leads to
// no address that lasts, and a step taken by it says so.
func TestAMailLeadsToThePage(t *testing.T) {
	s, _, m := invited(t)
	v := s.agent("reader of a mail")
	found := mailedLink.FindStringSubmatch(m.text)
	if found == nil || !strings.Contains(m.html, found[1]) {
		t.Fatalf("text and HTML do not have the same link:\n%s\n%s", m.text, m.html)
	}
	page := found[1]
	if !strings.Contains(m.text, "opens your page until Thu 31 Dec") || !strings.Contains(m.text, "pass it on only to somebody who may") {
		t.Errorf("the mail does not say how long and for whom:\n%s", m.text)
	}
	s.tokenIsNowhere(strings.TrimPrefix(page, "/scaffold/"))
	got := v.get(page).want(200).says("Q-2 Heron Row").says("waits for your answer").says("This address opens until").says("Thu 31 Dec 2026")
	if strings.Contains(string(got.Body), "/feeds/") {
		t.Error("a mail that is passed on leads to the feed, which lasts")
	}
	v.get("/feeds/" + strings.TrimPrefix(page, "/scaffold/") + ".ics").want(404)
	v.get("/feeds/" + FeedToken(strings.TrimPrefix(page, "/scaffold/")) + ".ics").want(404)
	if b := s.booking(s.q2); b.State != schedule.BookingSent {
		t.Fatalf("looking at a mail's link changed the booking to %s", b.State)
	}
	confirm, fields := fieldsOf(t, got.page(), "/confirm")
	v.form(confirm, fields).want(303)
	history, err := s.schedule.BookingHistory(context.Background(), s.firm, s.booking(s.q2).ID)
	must(t, err)
	if last := history[len(history)-1]; last.State != schedule.BookingConfirmed || last.ChangedBy != "Upright & Brace (by the link in the mail of Tue 1 Dec to yard@brace.example)" {
		t.Errorf("the step is %s by %q", last.State, last.ChangedBy)
	}
	office := s.by(s.office)
	office.get("/private-links").want(200).says("2 links sent in mails open, the last until Thursday 31 December 2026").says("Last opened Tue 1 Dec 07:15")

	set := func(email string) {
		t.Helper()
		_, err := s.db.Owner.Exec(context.Background(), `UPDATE scaffold_firm SET email = $1 WHERE scaffold_firm_id = $2`, email, s.yard.ID)
		must(t, err)
	}
	set("new@brace.example")
	v.get(page).want(404)
	set("Yard@brace.example") // the same mailbox
	v.get(page).want(200)
	s.setClock(benchStart.Add(schedule.MailLinkLasts - time.Second))
	v.get(page).want(200)
	s.setClock(benchStart.Add(schedule.MailLinkLasts))
	v.get(page).want(404)
	s.setClock(benchStart)
	v.get(page).want(200)
	end, fields := fieldsOf(t, office.get("/private-links").want(200).page(), "/private-links/firms/"+s.yard.ID.String()+"/end")
	office.form(end, fields).want(303)
	v.get(page).want(404)
	v.form(confirm, fields).want(404)
}

// A mail that was refused got nobody to read it: its link opens nothing. Each try
// has its own, since the one before may have arrived.
func TestALinkOfARefusedMailOpensNothing(t *testing.T) {
	s := newScene(t)
	s.settleBefore()
	k := newCatcher(t, "451", "ok")
	s.mails(k)
	s.works()
	s.moveQ2(tuesday + 14)
	s.settled()
	links, err := s.schedule.Links(context.Background(), s.firm, s.yard.ID)
	must(t, err)
	open := 0
	for _, l := range links {
		if l.Purpose != schedule.ForMail || l.SentTo != "yard@brace.example" {
			t.Errorf("a link %+v", l)
		}
		if l.Opens(s.clock()) {
			open++
		}
	}
	sent := len(k.all())
	if len(links) != sent+1 || open != sent {
		t.Errorf("%d links for %d mails and one refusal, %d open", len(links), sent, open)
	}
}

// Whoever guesses at links is slowed down, whichever kind they are.
func TestLinksInMailsAreSlowToGuess(t *testing.T) {
	s, _, m := invited(t)
	v := s.agent("somebody who guesses")
	page := mailedLink.FindStringSubmatch(m.text)[1]
	for range 120 {
		v.get("/scaffold/" + strings.Repeat("x", 43)).want(404)
	}
	v.get(page).want(429)
	s.setClock(benchStart.Add(time.Minute))
	v.get(page).want(200)
}

// What only the mail's going out did is no news to a scaffold firm.
func TestThePageDoesNotTellThatTheInvitationLeft(t *testing.T) {
	s, _, m := invited(t)
	if b := s.booking(s.q2); b.State != schedule.BookingSent {
		t.Fatalf("the booking is %s", b.State)
	}
	got := s.agent("scaffold firm").get(mailedLink.FindStringSubmatch(m.text)[1]).want(200).says("New booking")
	if strings.Contains(string(got.Body), "invitation was sent") {
		t.Error("the page shows the sending as a change of theirs")
	}
}
