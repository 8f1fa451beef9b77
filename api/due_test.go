package api

import (
	"net/url"
	"strings"
	"testing"

	"github.com/google/uuid"
)

// What is due after commissioning, by the office's page and by the contract;
// evidence ends it.
func TestWhatIsDueAfterAJob(t *testing.T) {
	s := newScene(t)
	office, lead := s.by(s.office), s.by(s.lead)
	office.get("/due").want(200).says("Nothing is due")
	if _, err := s.db.Owner.Exec(t.Context(), `UPDATE stage SET state = 'done', done_on = '2026-11-02' WHERE job_id = $1 AND kind = 'commissioning'`, s.q1.ID); err != nil {
		t.Fatal(err)
	}
	lead.json("GET", "/due", nil, nil).refused(forbidden)
	office.get("/due").want(200).says("Overdue by 15 days: the last day was Mon 16 Nov").says("Not known whether it is due: what the AC ratings at the premises add up to")
	body := map[string]any{"kind": "notification", "body": map[string]string{"duty": "building_control", "sent_to": "the council", "reference": "BC-7"}}
	office.json("POST", "/jobs/Q-1/records", nil, body).want(201)
	var all []Due
	office.json("GET", "/due", nil, nil).want(200).into(&all)
	said := map[string]Due{}
	for _, d := range all {
		said[d.Code] = d
	}
	if d := said["building_control"]; d.SentOn == nil || !strings.Contains(d.Sentence, "sent Tue 1 Dec: BC-7, to the council") {
		t.Errorf("sent on its last day but one: %+v", d)
	}
	if d := said["scheme_certificate"]; !d.Overdue || d.Deadline == nil || d.Deadline.String() != "2026-11-16" {
		t.Errorf("10 working days from Mon 2 Nov: %+v", d)
	}
	action, fields := fieldsOf(t, office.get("/due").page(), "/due/Q-1")
	fields.Set("reference", "C-88")
	again := office.form(action, fields).want(422).page()
	open := again.Find("details[open] input[name=reference]")
	if v, _ := open.Attr("value"); open.Length() != 1 || v != "C-88" || again.Find("details[open] input[name=sent_to][aria-invalid]").Length() != 1 {
		t.Errorf("what was typed is lost, or the form is shut: %d open, %q", open.Length(), v)
	}
	fields.Set("key", "again")
	fields.Set("sent_to", "the scheme")
	office.form(action, fields).want(303)
	office.get("/due").want(200).says("C-88, to the scheme")
}

// Two incidents of a job are two duties: evidence names the one it is of.
func TestEachIncidentIsReportedByItself(t *testing.T) {
	s := newScene(t)
	office, mate := s.by(s.office), s.by(s.mate)
	incident := func(what string) (id string) {
		var got struct{ ID uuid.UUID }
		mate.json("POST", "/jobs/Q-1/records", nil, map[string]any{"kind": "incident", "body": map[string]string{"what": what, "outcome": "specified_injury"}}).want(201).into(&got)
		return got.ID.String()
	}
	first, second := incident("a broken wrist"), incident("a broken ankle")
	sent := func(body map[string]string) answer {
		body["duty"], body["sent_to"], body["reference"] = "reportable_10", "the regulator", "R-1"
		return office.json("POST", "/jobs/Q-1/records", nil, map[string]any{"kind": "notification", "body": body})
	}
	sent(map[string]string{}).refused(invalid)
	sent(map[string]string{"incident": uuid.NewString()}).refused(invalid)
	sent(map[string]string{"incident": first}).want(201)
	open := func() (all []string) {
		var due []Due
		office.json("GET", "/due", nil, nil).want(200).into(&due)
		for _, d := range due {
			if d.Code == "reportable_10" && d.SentOn == nil {
				all = append(all, d.IncidentID.String())
			}
		}
		return all
	}
	if got := open(); len(got) != 1 || got[0] != second {
		t.Fatalf("open after the first was reported: %v, want %s", got, second)
	}
	// By the page: the form of the one that is open names it.
	page := office.get("/due").page()
	form := page.Find("form:has(input[name=incident][value='" + second + "']):has(input[name=duty][value=reportable_10])")
	if form.Length() != 1 {
		t.Fatalf("%d forms for the second incident", form.Length())
	}
	office.form("/due/Q-1", url.Values{"key": {"k1"}, "duty": {"reportable_10"}, "incident": {second}, "sent_to": {"the regulator"}, "reference": {"R-2"}}).want(303)
	if got := open(); len(got) != 0 {
		t.Errorf("still open: %v", got)
	}
	office.json("POST", "/jobs/Q-1/records", nil, map[string]any{"kind": "notification", "body": map[string]string{"duty": "building_control", "incident": first, "sent_to": "x", "reference": "y"}}).refused(invalid)
}
