package api

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"mime/multipart"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"
	"github.com/google/uuid"

	"toeboard/schedule"
)

// page reads an answer as HTML.
func (a answer) page() *goquery.Document {
	a.t.Helper()
	if ct := a.Header.Get("Content-Type"); !strings.HasPrefix(ct, "text/html") {
		a.t.Fatalf("%s: %s, not a page: %s", a.what, ct, a.Body)
	}
	d, err := goquery.NewDocumentFromReader(bytes.NewReader(a.Body))
	must(a.t, err)
	return d
}

func (a answer) says(want string) answer {
	a.t.Helper()
	if text := strings.Join(strings.Fields(a.page().Find("body").Text()), " "); !strings.Contains(text, want) {
		a.t.Errorf("%s does not say %q:\n%.1500s", a.what, want, text)
	}
	return a
}

// fieldsOf reads what a form would send: the form whose action ends so.
func fieldsOf(t *testing.T, d *goquery.Document, action string) (string, url.Values) {
	t.Helper()
	fields := url.Values{}
	form := d.Find("form").FilterFunction(func(_ int, f *goquery.Selection) bool {
		path, _, _ := strings.Cut(f.AttrOr("action", ""), "?")
		return strings.HasSuffix(path, action)
	}).First()
	if form.Length() == 0 {
		t.Fatalf("no form to %s", action)
	}
	form.Find("input[type=hidden]").Each(func(_ int, in *goquery.Selection) { fields.Set(in.AttrOr("name", ""), in.AttrOr("value", "")) })
	return form.AttrOr("action", ""), fields
}

func TestTheWeekBoard(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	page := office.get("/").want(200)
	page.says("What happens this week?").says("Alder").says("Damson").says("Q-1").says("Upright & Brace").says("scaffold visits")
	page.says("1 booking not confirmed yet.").says("erect Wed 9 Dec, strike Mon 14 Dec")
	// It is Tuesday, 07:15: Monday is past, what comes is forecast.
	if past := page.page().Find(".only-wide tr.sky td.past"); past.Length() != 1 || past.AttrOr("colspan", "") != "2" {
		t.Errorf("%d cells of the weather are past: %q", past.Length(), past.Text())
	}
	if n := page.page().Find("form[action='/plan']").Length(); n != 1 {
		t.Errorf("%d forms to plan again", n)
	}
	two := office.get("/?from=2026-12-09&weeks=2").want(200).says("What happens in these weeks?")
	if first := two.page().Find("th.day").First().Text(); !strings.Contains(first, "7 Dec") {
		t.Errorf("two weeks begin with %q, want Monday 7 Dec", first)
	}
	// A crew sees the board, not the money, and has no button.
	crew := s.by(s.mate).get("/").want(200).says("Q-1")
	if strings.Contains(string(crew.Body), "1,560.00") || crew.page().Find("form[action='/plan']").Length() != 0 {
		t.Error("a crew member sees the money or may plan")
	}
	if got := office.get("/?from=nonsense"); got.Status != 422 {
		t.Errorf("a bad date gives %d", got.Status)
	}
}

func TestTheProposalAndItsPublication(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	office.get("/plan").want(200).says("There is no draft")
	draft := s.saveByHand(aDayLater)
	page := office.get("/plan").want(200)
	page.says("What would change, and whom does it disturb?").says("Wed 9 Dec am and pm").says("Thu 10 Dec am and pm").says("1 working day later")
	action, fields := fieldsOf(t, page.page(), "/publish")
	stale := url.Values{"key": {fields.Get("key") + "x"}, "base": {"99"}}
	office.form(action, stale).want(412).says("look at the difference again")
	office.form(action, fields).want(303)
	office.form(action, fields).want(303) // a second press
	current, err := s.schedule.CurrentPlan(context.Background(), s.firm)
	must(t, err)
	if current.ID != draft.ID || current.PublishedBy != "Imogen Thackray" {
		t.Errorf("published is %+v", current)
	}
	office.get("/?done=published").want(200).says("The plan is published")
	next := s.saveByHand(nil)
	action, fields = fieldsOf(t, office.get("/plan").want(200).page(), "/drop")
	office.form(action, fields).want(303)
	if p, err := s.schedule.Plan(context.Background(), s.firm, next.ID); err != nil || p.State != schedule.Dropped {
		t.Errorf("dropped is %s, %v", p.State, err)
	}
}

func TestJobsAndTheirPages(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	list := office.get("/jobs").want(200).says("Q-1").says("Q-2").says("commissioning found no place")
	if list.page().Find("a[href='/jobs/Q-1']").Length() == 0 {
		t.Error("the list does not lead to the job")
	}
	page := office.get("/jobs/Q-1").want(200).says("Hallam household").says("villages and suburbs (EN 1991-1-4 III)").says("roof pitch").says("35").says("Gwen Strand")
	action, fields := fieldsOf(t, page.page(), "/scaffold-reports")
	for name, v := range map[string]string{"kind": "inspection", "for_whom": "Quillmere Solar, 1 Yard Lane", "location": "front", "description": "two lifts", "on": "2026-12-01",
		"at": "07:00", "risks": "none found", "action_taken": "none", "further": "none", "by_name": "Gwen Strand", "by_position": "inspector", "load_class": "2"} {
		fields.Set(name, v)
	}
	// Not saying whether it is fit is not saying that it is.
	wrong := office.form(action, fields).want(422).says("fit or not fit for use: choose one")
	if got := wrong.page().Find("input[name=by_name]").AttrOr("value", ""); got != "Gwen Strand" {
		t.Errorf("what was typed is lost: %q", got)
	}
	fields.Set("result", "not_fit")
	if to := office.form(action, fields).want(303).Header.Get("Location"); to != "/jobs/Q-1?done=reported" {
		t.Errorf("sent to %s", to)
	}
	office.form(action, fields).want(303)
	reports, err := s.safety.Reports(context.Background(), s.firm, s.q1.ID)
	must(t, err)
	if len(reports) != 3 || reports[0].Fit || !reports[0].At.Equal(time.Date(2026, 12, 1, 7, 0, 0, 0, time.UTC)) {
		t.Errorf("recorded %d, the newest %+v", len(reports), reports[0])
	}
	action, fields = fieldsOf(t, page.page(), "/scaffold-events")
	fields.Set("what", "impact")
	fields.Set("detail", "a van backed into it")
	fields.Set("on", "2026-12-01")
	fields.Set("at", "09:30")
	office.form(action, fields).want(422).says("a time that has passed")
	fields.Set("at", "06:50")
	office.form(action, fields).want(303)
	office.get("/jobs/Q-1").want(200).says("a van backed into it")
	office.get("/jobs/Q-99").want(404)
}

func TestAssessmentsOnTheJobPage(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	action, fields := fieldsOf(t, office.get("/jobs/Q-2").want(200).page(), "/assessments")
	office.form(action, fields).want(303)
	page := office.get("/jobs/Q-2").want(200)
	action, fields = fieldsOf(t, page.page(), "/assessments/approve")
	office.form(action, fields).want(303)
	a, err := s.safety.CurrentAssessment(context.Background(), s.firm, s.q2.ID)
	must(t, err)
	if !a.Approved || a.ApprovedBy != "Imogen Thackray" || a.Version != 1 {
		t.Errorf("in force is %+v", a)
	}
	// Approving what is no longer in force is refused.
	j := s.q2
	j.Site.Facts["pitch_deg"] = 44.0
	must(t, s.schedule.SaveJob(context.Background(), s.firm, j, "test", benchStart))
	office.get("/jobs/Q-2").want(200).says("facts changed since it was made")
	_, err = s.svc.IssueAssessment(context.Background(), s.firm, "Q-2", "Imogen Thackray")
	must(t, err)
	fields.Set("key", "another")
	office.form(action, fields).want(409)
}

func TestImportByThePage(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	export := office.get("/export/jobs.csv").want(200)
	if cd := export.Header.Get("Content-Disposition"); !strings.Contains(cd, "jobs.csv") {
		t.Errorf("the export is not a file: %q", cd)
	}
	office.get("/import").want(200).says("working height m")
	upload := func(content string) answer {
		var b bytes.Buffer
		m := multipart.NewWriter(&b)
		must(t, m.WriteField("key", uuid.NewString()))
		f, err := m.CreateFormFile("file", "jobs.csv")
		must(t, err)
		_, err = io.WriteString(f, content)
		must(t, err)
		must(t, m.Close())
		return office.raw("POST", "/import", map[string]string{"Content-Type": m.FormDataContentType()}, b.Bytes())
	}
	file := strings.Replace(string(export.Body), "Hallam household", "Hallam family", 1)
	page := upload(file).want(200).says("What would this file change?").says("Hallam family")
	if j, _ := s.schedule.Job(context.Background(), s.firm, "Q-1"); j.Customer.Name != "Hallam household" {
		t.Error("the dry run changed something")
	}
	action, fields := fieldsOf(t, page.page(), "/import/confirm")
	office.form(action, fields).want(303)
	if j, _ := s.schedule.Job(context.Background(), s.firm, "Q-1"); j.Customer.Name != "Hallam family" {
		t.Errorf("the customer is %q", j.Customer.Name)
	}
	bad := upload(strings.Replace(file, ",10,430,", ",ten,430,", 1)).want(422).says("ten").says("modules")
	if bad.page().Find("form[action='/import/confirm']").Length() != 0 {
		t.Error("a bad file may be taken")
	}
	upload("").want(422)
	office.form("/import", url.Values{}).want(422).says("choose a CSV file")
	office.form("/import/confirm", url.Values{"key": {"k"}, "held": {"%%%"}}).want(422)
	if got := upload(strings.Repeat("x", fileBody+1)); got.Status != 413 {
		t.Errorf("a file that is too large gives %d", got.Status)
	}
}

// The morning by forms, without any script, on one phone that goes round.
func TestTheMorningPage(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	to := lead.get("/morning").want(303).Header.Get("Location")
	if to != "/morning/"+s.alder.ID.String()+"/2026-12-01" {
		t.Fatalf("the lead is sent to %s", to)
	}
	page := lead.get(to).want(200).says("May this crew start?").says("Not clear").says("roof work, 10 modules").says("Rhodri Pask").says("Dele Ashworth")
	page.says("Position 51.5").says("Nearest access").says("Crew lead unknown: write the number down").says("Office unknown: write the number down")
	must(t, s.schedule.SavePerson(context.Background(), s.firm, schedule.Person{ID: s.lead, Name: "Rhodri Pask", Role: schedule.CrewLead, Phone: "01632 960011", Active: true}))
	page = lead.get(to).want(200).says("Crew lead Rhodri Pask 01632 960011").says("Office unknown")
	action, fields := fieldsOf(t, page.page(), "/checks")
	page.page().Find("input[type=radio][value=yes]").Each(func(_ int, in *goquery.Selection) {
		if name := in.AttrOr("name", ""); strings.HasPrefix(name, "check_") {
			fields.Set(name, "yes")
		}
	})
	fields.Set("gust_ms", "windy")
	fields.Set("check_ladder_tied", "no")
	back := lead.form(action, fields).want(422).says("Gust read on site is \"windy\": a number of m/s")
	if strings.Contains(back.page().Find(".faults, .fault").Text(), "gust_ms") {
		t.Error("the page calls the field by the contract's name")
	}
	for name, want := range fields {
		if k := strings.HasPrefix(name, "check_"); k && back.page().Find("[name='"+name+"'][checked]").AttrOr("value", "") != want[0] {
			t.Errorf("the answer %s to %s is lost", want[0], name)
		}
	}
	if got := back.page().Find("[name=gust_ms]").AttrOr("value", ""); got != "windy" {
		t.Errorf("the reading is given back as %q", got)
	}
	fields.Set("check_ladder_tied", "yes")
	fields.Set("gust_ms", "3,5")
	lead.form(action, fields).want(303)
	page = lead.get(to).want(200)
	for range 2 {
		action, fields = fieldsOf(t, page.page(), "/sign")
		name := map[string]string{s.lead.String(): "Rhodri Pask", s.mate.String(): "Dele Ashworth"}[fields.Get("person")]
		empty := url.Values{}
		for k, v := range fields {
			empty[k] = v
		}
		empty.Set("pin", " ")
		empty.Set("key", uuid.NewString())
		lead.form(action, empty).want(422).says("PIN: it is not the PIN of " + name)
		empty.Set("pin", "8888")
		empty.Set("key", uuid.NewString())
		lead.form(action, empty).want(422).says("PIN: it is not the PIN of " + name)
		fields.Set("pin", testPIN)
		lead.form(action, fields).want(303)
		page = lead.get(to).want(200)
	}
	page.says("Clear to start")
	// The member's own phone: may sign for himself only, may stop.
	mate := s.by(s.mate)
	page = mate.get(to).want(200)
	// One press on the button at the top stops the work; the words may follow.
	s.setClock(benchStart.Add(5 * time.Minute))
	top := page.page().Find(".jump form[action*='/stop']")
	if top.Length() != 1 || top.Find("input:not([type=hidden])").Length() != 0 {
		t.Fatal("the button at the top does not stop the work by itself")
	}
	mate.form(top.AttrOr("action", ""), url.Values{"key": {top.Find("[name=key]").AttrOr("value", "")}}).want(303)
	page = mate.get(to).want(200).says("Not clear").says("reason not given yet").says("Whoever stopped the work cannot lift it.")
	action, fields = fieldsOf(t, page.page(), "/stop")
	fields.Set("reason", "a tie is loose")
	fields.Set("key", uuid.NewString())
	mate.form(action, fields).want(303)
	page = lead.get(to).want(200).says("Not clear").says("a tie is loose")
	s.setClock(benchStart.Add(10 * time.Minute))
	for range 2 {
		action, fields = fieldsOf(t, page.page(), "/lift")
		fields.Set("why", "tied again and looked at")
		lead.form(action, fields).want(303)
		page = lead.get(to).want(200)
	}
	lead.get(to).want(200).says("Not clear")
	// Another crew's page is not for them.
	mate.get("/morning/" + s.damson.ID.String() + "/2026-12-01").want(403)
	s.by(s.office).get("/morning").want(200).says("Who may start this morning?").says("Alder").says("Damson")
	if got := lead.get("/morning/" + s.alder.ID.String() + "/2026-12-05"); got.Status != 404 {
		t.Errorf("a day without work gives %d", got.Status)
	}
	lead.get("/morning/" + s.alder.ID.String() + "/nonsense").want(422)
}

// No state changes on GET, at any address.
func TestLookingChangesNothing(t *testing.T) {
	s := newScene(t)
	link, err := s.svc.NewLink(context.Background(), s.firm, s.yard.ID, time.Time{}, "a test")
	must(t, err)
	office, lead := s.by(s.office), s.by(s.lead)
	counts := func() string {
		var all string
		rows, err := s.db.Owner.Query(context.Background(), `
			SELECT string_agg(t || ' ' || n, ', ' ORDER BY t) FROM (
			  SELECT c.relname AS t, (xpath('/row/n/text()', query_to_xml(format('SELECT md5(coalesce(string_agg(x::text, '','' ORDER BY x::text), '''')) AS n FROM %I x', c.relname), false, true, '')))[1]::text AS n
			  FROM pg_class c WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r' AND c.relname <> 'session') q`)
		must(t, err)
		defer rows.Close()
		for rows.Next() {
			must(t, rows.Scan(&all))
		}
		return all
	}
	// That an address was used is noted, once an hour: here, and not below.
	office.get(strings.TrimPrefix(link.Page, "http://toeboard.example")).want(200)
	office.get(strings.TrimPrefix(link.Feed, "http://toeboard.example")).want(200)
	before := counts()
	for _, r := range everyRoute(t, s) {
		if r.method == "GET" {
			office.raw("GET", r.path, nil, nil)
			lead.raw("GET", r.path, nil, nil)
		}
	}
	base := "http://toeboard.example"
	office.get(strings.TrimPrefix(link.Page, base)).want(200)
	office.get(strings.TrimPrefix(link.Feed, base)).want(200)
	if after := counts(); after != before {
		t.Errorf("looking changed something:\n%s\n%s", before, after)
	}
	if before == "" {
		t.Error("nothing was compared")
	}
}

func TestPagesAreHTMLAndNotKept(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	for _, path := range []string{"/", "/plan", "/jobs", "/jobs/Q-1", "/import", "/morning", fmt.Sprintf("/morning/%s/2026-12-01", s.alder.ID)} {
		got := office.get(path).want(200)
		if !strings.Contains(got.Header.Get("Cache-Control"), "no-store") {
			t.Errorf("%s may be kept by a cache", path)
		}
		d := got.page()
		if d.Find("h1").Length() != 1 {
			t.Errorf("%s has %d h1", path, d.Find("h1").Length())
		}
		d.Find("script").Each(func(_ int, sc *goquery.Selection) {
			if sc.AttrOr("src", "") == "" {
				t.Errorf("%s has a script inline: the policy forbids it", path)
			}
		})
		if d.Find("[style]").Length() > 0 {
			t.Errorf("%s has styles inline: the policy forbids them", path)
		}
		d.Find("form").Each(func(_ int, f *goquery.Selection) {
			if f.AttrOr("method", "") == "post" && f.Find("input[name=key]").Length() != 1 && f.AttrOr("action", "") != "/sign-out" {
				t.Errorf("%s: the form to %s has no key", path, f.AttrOr("action", ""))
			}
		})
	}
}

// The week says of a scaffold firm on which weekdays its gangs do not come.
func TestTheWeekTellsDaysOff(t *testing.T) {
	t.Parallel()
	f := schedule.ScaffoldFirm{Name: "A", GangsPerDay: 1, Sets: 6}
	for off, want := range map[schedule.Weekdays]string{0: "1 gang a day, 6 sets, 0 standing", schedule.Thursday | schedule.Friday: "1 gang a day, 6 sets, 0 standing, not on Thursdays and Fridays"} {
		f.DaysOff = off
		if got := scaffoldRow(Board{}, f).Note; got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
