package api

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"
	"github.com/emersion/go-ical"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

const base = "http://toeboard.example"

// visitorScene is a scene with the scaffold firm's two addresses.
func visitorScene(t *testing.T) (s *scene, visitor *agent, page, feed string) {
	s = newScene(t)
	link, err := s.svc.NewLink(context.Background(), s.firm, s.yard.ID, time.Time{}, "a test")
	must(t, err)
	return s, s.agent("scaffold firm"), strings.TrimPrefix(link.Page, base), strings.TrimPrefix(link.Feed, base)
}

func TestScaffoldPageConfirmAndOffer(t *testing.T) {
	s, v, page, feed := visitorScene(t)
	got := v.get(page).want(200).says("Upright & Brace").says("Quillmere Solar").says("Q-2 Heron Row").says("waits for your answer").says("2 lifts")
	for name, want := range map[string]string{"Referrer-Policy": "no-referrer", "X-Robots-Tag": "noindex, nofollow", "Cache-Control": "private, no-store"} {
		if got.Header.Get(name) != want {
			t.Errorf("%s is %q, want %q", name, got.Header.Get(name), want)
		}
	}
	if !strings.Contains(string(got.Body), base+feed) {
		t.Error("the page does not show its feed's address")
	}
	if strings.Contains(string(got.Body), "Hallam") {
		t.Error("the page tells who lives there")
	}
	if got.Header.Get("Set-Cookie") != "" {
		t.Error("a private page sets a cookie")
	}
	// A state is said once, what is wanted once, and the office can be reached.
	var states []string
	got.page().Find(".bstate").Each(func(_ int, p *goquery.Selection) { states = append(states, strings.TrimSpace(p.Text())) })
	if want := []string{"Waits for your answer since Tue 1 Dec", "Standing since Fri 27 Nov"}; !slices.Equal(states, want) {
		t.Errorf("the states are %q, want %q", states, want)
	}
	if text := got.page().Find("main").Text(); strings.Count(text, "2 lifts") != 2 || strings.Contains(text, "Working height") || strings.Contains(text, "Load class:") ||
		!strings.Contains(text, "Roof pitch: 35 degrees") { // two bookings
		t.Errorf("height, lifts or load class stand twice: %s", text)
	}
	got.says("Questions: Imogen Thackray, " + s.emails[s.office])
	offer, fields := fieldsOf(t, got.page(), "/offer")
	fields.Set("on", "2026-11-01")
	v.form(offer, fields).want(422).says("a day from Tuesday 1 December 2026 on")
	day := got.page().Find("input[id^='f-on-']")
	if from, to := day.AttrOr("min", ""), day.AttrOr("max", ""); from != "2026-12-01" || to != "2027-03-09" { // 9 December + 90 days
		t.Errorf("the day may be typed from %q to %q", from, to)
	}
	for on, says := range map[string]string{"2026-12-12": "Sat 12 Dec is a weekend", "2027-03-10": "a day to Tuesday 9 March 2027 at the latest"} {
		fields.Set("on", on)
		if v.form(offer, fields).want(422).says(says).page().Find(".faults a[href^='#f-on-']").Length() != 1 {
			t.Errorf("the refusal of %s does not lead to the day", on)
		}
	}
	fields.Set("on", "someday")
	v.form(offer, fields).want(422)
	fields.Set("on", "2026-12-11")
	v.form(offer, fields).want(303)
	v.form(offer, fields).want(303) // sent twice
	b := s.booking(s.q2)
	if b.State != schedule.BookingCountered || b.OfferedOn != civil.On(2026, 12, 11) {
		t.Fatalf("after the offer: %+v", b)
	}
	s.by(s.office).get("/").want(200).says("they offer Fri 11 Dec instead of Wed 9 Dec")
	// The office moves the booking to the day offered and publishes: the old
	// page's button no longer fits.
	confirm, _ := fieldsOf(t, got.page(), "/confirm")
	s.publishByHand(func(p *schedule.Plan) { p.Visits[3].HalfDays = []civil.HalfDay{(tuesday + 10).In(civil.Morning)} })
	s.publishByHand(func(p *schedule.Plan) { p.Visits[3].HalfDays = []civil.HalfDay{(tuesday + 9).In(civil.Morning)} })
	v.form(confirm, url.Values{}).want(409).says("the days were changed since this was read")
	if b = s.booking(s.q2); b.State != schedule.BookingWanted {
		t.Fatalf("an answer to other days was taken: %+v", b)
	}
	confirm, fields = fieldsOf(t, v.get(page).want(200).page(), "/confirm")
	v.form(confirm, fields).want(303)
	v.form(confirm, fields).want(303)
	if b = s.booking(s.q2); b.State != schedule.BookingConfirmed {
		t.Fatalf("after confirming: %+v", b)
	}
	history, err := s.schedule.BookingHistory(context.Background(), s.firm, b.ID)
	must(t, err)
	if last := history[len(history)-1]; last.ChangedBy != "Upright & Brace" || len(history) != 5 {
		t.Errorf("%d versions, the last by %s", len(history), last.ChangedBy)
	}
}

// The office takes the day that was offered with one button on the job's page;
// a page that shows an older offer takes nothing.
func TestTheOfficeTakesAnOfferedDay(t *testing.T) {
	s, v, page, _ := visitorScene(t)
	office := s.by(s.office)
	if office.get("/jobs/Q-2").want(200).page().Find("form[action*='/booking/accept']").Length() != 0 {
		t.Fatal("an offer can be taken though there is none")
	}
	offer, fields := fieldsOf(t, v.get(page).want(200).page(), "/offer")
	fields.Set("on", "2026-12-14")
	v.form(offer, fields).want(303)
	old, oldFields := fieldsOf(t, office.get("/jobs/Q-2").want(200).says("Take Mon 14 Dec").says("Plan again").page(), "/booking/accept")
	fields.Set("on", "2026-12-11")
	v.form(offer, fields).want(303)
	office.form(old, oldFields).want(409).says("the scaffold firm offers Fri 11 Dec now")
	if b := s.booking(s.q2); b.State != schedule.BookingCountered {
		t.Fatalf("an offer that is no more was taken: %+v", b)
	}
	take, fields := fieldsOf(t, office.get("/jobs/Q-2").want(200).page(), "/booking/accept")
	s.by(s.lead).form(take, fields).want(403)
	office.form(take, fields).want(303)
	office.form(take, fields).want(303) // sent twice
	b := s.booking(s.q2)
	if b.State != schedule.BookingConfirmed || b.ErectOn != civil.On(2026, 12, 11) {
		t.Fatalf("after taking it: %+v", b)
	}
	history, err := s.schedule.BookingHistory(context.Background(), s.firm, b.ID)
	must(t, err)
	if last := history[len(history)-1]; last.ChangedBy != "Imogen Thackray" || last.Sequence != history[0].Sequence+1 {
		t.Errorf("the last of %d versions: %+v", len(history), last)
	}
	v.get(page).want(200).says("The office takes the day that the scaffold firm offered: erect from Wed 9 Dec to Fri 11 Dec")
}

func TestPrivateAddressesThatAreNone(t *testing.T) {
	s, v, page, feed := visitorScene(t)
	token := strings.TrimPrefix(page, "/scaffold/")
	feedToken := strings.TrimSuffix(strings.TrimPrefix(feed, "/feeds/"), ".ics")
	// A feed's token opens no page, a page's no feed, and a guess nothing.
	v.get("/scaffold/" + feedToken).want(404)
	v.get("/feeds/" + token + ".ics").want(404)
	v.get("/scaffold/" + strings.Repeat("A", 43)).want(404)
	v.get("/feeds/" + feedToken).want(404)
	// Another scaffold firm's booking is none of theirs.
	other := s.yard
	other.ID, other.Name = s.q1.ID, "Larkspur Access"
	must(t, s.schedule.SaveScaffoldFirm(context.Background(), s.firm, other))
	link, err := s.svc.NewLink(context.Background(), s.firm, other.ID, s.clock().Add(time.Hour), "a test")
	must(t, err)
	theirs := strings.TrimPrefix(link.Page, base)
	b := s.booking(s.q2)
	v.form(theirs+"/bookings/"+b.ID.String()+"/confirm?seen="+strconv.Itoa(b.Sequence), url.Values{}).want(404)
	if b = s.booking(s.q2); b.State != schedule.BookingWanted {
		t.Errorf("another firm answered: %s", b.State)
	}
	v.get(theirs).want(200)
	s.setClock(s.clock().Add(2 * time.Hour))
	v.get(theirs).want(404) // it has run out
	// A link that was taken back.
	links, err := s.schedule.Links(context.Background(), s.firm, s.yard.ID)
	must(t, err)
	for _, l := range links {
		must(t, s.schedule.RevokeLink(context.Background(), s.firm, l.ID, s.clock()))
	}
	v.get(page).want(404)
	v.get(feed).want(404)
	if strings.Contains(s.log.String(), token) || strings.Contains(s.log.String(), feedToken) {
		t.Error("the log holds a private address")
	}
}

func TestPrivateAddressesAreSlowToGuess(t *testing.T) {
	_, v, page, _ := visitorScene(t)
	last := 0
	for range 200 {
		if last = v.get("/scaffold/" + strings.Repeat("B", 43)).Status; last == 429 {
			break
		}
	}
	if last != 429 {
		t.Errorf("200 guesses in a minute end with %d", last)
	}
	if got := v.get(page); got.Status != 429 || got.Header.Get("Retry-After") == "" {
		t.Errorf("after too many guesses: %d", got.Status)
	}
}

func TestTheFeed(t *testing.T) {
	s, v, _, feed := visitorScene(t)
	got := v.get(feed).want(200)
	for name, want := range map[string]string{"Content-Type": "text/calendar; charset=utf-8", "Cache-Control": "private, max-age=0, must-revalidate",
		"Content-Length": strconv.Itoa(len(got.Body)), "Referrer-Policy": "no-referrer"} {
		if got.Header.Get(name) != want {
			t.Errorf("%s is %q, want %q", name, got.Header.Get(name), want)
		}
	}
	tag := got.Header.Get("ETag")
	if !strings.HasPrefix(tag, `"`) || len(tag) < 10 {
		t.Errorf("the tag %q is not a strong one", tag)
	}
	cal, err := ical.NewDecoder(strings.NewReader(string(got.Body))).Decode()
	must(t, err)
	if n := len(cal.Events()); n != 2 {
		t.Errorf("%d events, want the two bookings", n)
	}
	head := v.raw("HEAD", feed, nil, nil).want(200)
	if head.Header.Get("ETag") != tag || head.Header.Get("Content-Length") != strconv.Itoa(len(got.Body)) || len(head.Body) != 0 {
		t.Errorf("HEAD gives %v and %d bytes", head.Header, len(head.Body))
	}
	// The bytes do not depend on the hour at which they are asked for.
	s.setClock(s.clock().Add(26 * time.Hour))
	for _, header := range []string{tag, "W/" + tag, `"x", ` + tag, "*"} {
		same := v.raw("GET", feed, map[string]string{"If-None-Match": header}, nil).want(304)
		if same.Header.Get("ETag") != tag || len(same.Body) != 0 {
			t.Errorf("If-None-Match %s: tag %q, %d bytes", header, same.Header.Get("ETag"), len(same.Body))
		}
	}
	b := s.booking(s.q2)
	_, err = s.svc.AnswerBooking(context.Background(), s.firm, b.ID, b.Sequence, schedule.Answer{Confirm: true}, "Upright & Brace")
	must(t, err)
	changed := v.raw("GET", feed, map[string]string{"If-None-Match": tag}, nil).want(200)
	if changed.Header.Get("ETag") == tag {
		t.Error("the tag stayed though a booking changed")
	}
	if !strings.Contains(string(changed.Body), "SEQUENCE:1") {
		t.Error("the sequence did not rise")
	}
}

// A client that knows dates only gets 304 for the date that we gave it, however
// far its clock or ours is off; a tag, when there is one, decides alone.
func TestTheFeedByDate(t *testing.T) {
	s, v, _, feed := visitorScene(t)
	first := v.get(feed).want(200)
	date, tag := first.Header.Get("Last-Modified"), first.Header.Get("ETag")
	changed, err := http.ParseTime(date)
	must(t, err)
	ask := func(h map[string]string, want int) {
		t.Helper()
		if got := v.raw("GET", feed, h, nil).want(want); got.Header.Get("Last-Modified") != date || (want == 304 && len(got.Body) > 0) {
			t.Errorf("%v: Last-Modified %q, %d bytes", h, got.Header.Get("Last-Modified"), len(got.Body))
		}
	}
	for _, clock := range []time.Time{changed.Add(-48 * time.Hour), changed, changed.Add(24 * time.Hour)} {
		s.setClock(clock)
		ask(map[string]string{"If-Modified-Since": date}, 304)
		ask(map[string]string{"If-Modified-Since": changed.Add(time.Hour).Format(http.TimeFormat)}, 304)
		ask(map[string]string{"If-Modified-Since": changed.Add(-time.Second).Format(http.TimeFormat)}, 200)
	}
	ask(map[string]string{"If-Modified-Since": "lately"}, 200)
	ask(map[string]string{"If-Modified-Since": date, "If-None-Match": `"other"`}, 200)
	ask(map[string]string{"If-Modified-Since": "lately", "If-None-Match": tag}, 304)
	b := s.booking(s.q2)
	s.setClock(changed.Add(time.Hour))
	_, err = s.svc.AnswerBooking(context.Background(), s.firm, b.ID, b.Sequence, schedule.Answer{Confirm: true}, "Upright & Brace")
	must(t, err)
	if got := v.raw("GET", feed, map[string]string{"If-Modified-Since": date}, nil).want(200); got.Header.Get("Last-Modified") == date {
		t.Error("the date stayed though a booking changed")
	}
}

func TestIfNoneMatch(t *testing.T) {
	t.Parallel()
	for header, want := range map[string]bool{`"a"`: true, `W/"a"`: true, `"b", "a"`: true, `*`: true, ``: false, `"b"`: false, `a`: false, `"A"`: false} {
		if got := matches(header, `"a"`); got != want {
			t.Errorf("If-None-Match %s matches: %t", header, got)
		}
	}
}

func TestFeedTokensLeadNoWayBack(t *testing.T) {
	t.Parallel()
	if a, b := FeedToken("page one"), FeedToken("page two"); a == b || len(a) < 40 || strings.Contains(a, "page") {
		t.Errorf("%q and %q", a, b)
	}
}

// The scaffold firm says itself that it is up and that it is down: booking and
// stage both know, and a plan made afterwards plans neither again.
func TestScaffoldPageSaysUpAndDown(t *testing.T) {
	s, v, page, _ := visitorScene(t)
	ctx := context.Background()
	// Q-1 stands: its next step is the strike. Q-2 waits for an answer and its
	// day has not come: neither is its next step.
	first := v.get(page).want(200)
	if up, down := first.page().Find("form[action$='/erected']").Length(), first.page().Find("form[action$='/struck']").Length(); up != 0 || down != 1 {
		t.Fatalf("%d forms to say up, %d to say down", up, down)
	}
	struck, fields := fieldsOf(t, first.page(), "/struck")
	standing := s.booking(s.q1)
	for _, day := range []string{"", "2026-12-02", "2026-11-26"} { // none, tomorrow, before it went up
		fields.Set("on", day)
		got := v.form(struck, fields).want(422)
		if got.page().Find(".faults a[href='#f-down-"+standing.ID.String()+"']").Length() != 1 {
			t.Errorf("day %q: the refusal does not lead to the day", day)
		}
	}
	fields.Set("on", "2026-12-01")
	for range 2 {
		v.form(struck, fields).want(303)
	}
	v.get(page + "?done=struck").want(200).says("The scaffold is down in the office's books")
	b, err := s.schedule.Booking(ctx, s.firm, standing.ID)
	must(t, err)
	st, _ := s.jobNow("Q-1").Stage(schedule.ScaffoldStrike)
	if b.State != schedule.BookingStruck || b.StrikeOn != tuesday || st.State != schedule.StateDone || st.DoneOn != tuesday {
		t.Errorf("after the strike: booking %s, stage %+v", b.State, st)
	}
	history, err := s.schedule.BookingHistory(ctx, s.firm, standing.ID)
	must(t, err)
	if last := history[len(history)-1]; last.ChangedBy != "Upright & Brace" {
		t.Errorf("written down as said by %s", last.ChangedBy)
	}
	// On the day, and once confirmed, the next step of Q-2 is that it is up.
	s.setClock(s.clock().AddDate(0, 0, 8))
	erected, fields := fieldsOf(t, v.get(page).want(200).page(), "/erected")
	fields.Set("on", "2026-12-09")
	v.form(erected, fields).want(303)
	if b := s.booking(s.q2); b.State != schedule.BookingErected || b.ErectOn != tuesday+8 {
		t.Errorf("after the erection: %+v", b)
	}
	fields.Set("on", "2026-12-08")
	v.form(erected, fields).want(409).says("only a booking that waits for its erection can be marked erected")
	// Another firm's page marks nothing.
	other := s.yard
	other.ID, other.Name = s.q1.ID, "Larkspur Access"
	must(t, s.schedule.SaveScaffoldFirm(ctx, s.firm, other))
	link, err := s.svc.NewLink(ctx, s.firm, other.ID, time.Time{}, "a test")
	must(t, err)
	v.form(strings.TrimPrefix(link.Page, base)+"/bookings/"+s.booking(s.q2).ID.String()+"/struck", url.Values{"on": {"2026-12-09"}}).want(404)
	if b := s.booking(s.q2); b.State != schedule.BookingErected {
		t.Errorf("another firm struck it: %s", b.State)
	}
}
