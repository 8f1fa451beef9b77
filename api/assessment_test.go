package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"mime/multipart"
	"net/url"
	"strings"
	"testing"

	"github.com/PuerkitoBio/goquery"

	"toeboard/safety"
)

// pixel is the smallest PNG that a browser shows (one grey point), made by hand
// from the PNG specification's chunks.
var pixel = []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x00\x00\x00\x00:~\x9bU\x00\x00\x00\nIDATx\x9cch\x00\x00\x00\x82\x00\x81w\xcdr\xb6\x00\x00\x00\x00IEND\xaeB`\x82")

// multi sends a form with a photo as a browser does.
func (a *agent) multi(path string, fields url.Values, photo []byte) answer {
	a.t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for name, values := range fields {
		for _, v := range values {
			must(a.t, w.WriteField(name, v))
		}
	}
	if photo != nil {
		part, err := w.CreateFormFile("file", "roof.png")
		must(a.t, err)
		_, err = part.Write(photo)
		must(a.t, err)
	}
	must(a.t, w.Close())
	return a.raw("POST", path, map[string]string{"Content-Type": w.FormDataContentType()}, body.Bytes())
}

// The lead answers what nobody knew, records what is loose on the roof with a
// photo, issues a version and sees what it changed; the office approves it.
func TestTheLeadWorksOutAnAssessment(t *testing.T) {
	s := newScene(t)
	ctx := context.Background()
	lead := s.by(s.lead)
	const path = "/jobs/Q-1/assessment"
	was, err := s.svc.AssessmentFile(ctx, s.firm, "Q-1")
	must(t, err)
	page := lead.get(path)
	doc := page.page()
	if doc.Find("select[name=fact_moss]").Length() != 1 || doc.Find("form[action='/jobs/Q-1/assessment/approve']").Length() != 0 {
		t.Fatal("the page does not ask about moss, or lets a lead approve")
	}

	// Answers: bad ones named, nothing saved; then one that changes something.
	_, fields := fieldsOf(t, doc, path+"/answers")
	fields.Set("fact_unit_kg", "heavy")
	fields.Set("fact_moss", "yes")
	refused := lead.form(path+"/answers", fields).want(422).page()
	if !strings.Contains(refused.Find(".faults").Text(), "0 to 500 kg") || refused.Find("#f-fact_unit_kg").AttrOr("value", "") != "heavy" {
		t.Errorf("a bad answer is refused with %q", refused.Find(".faults").Text())
	}
	if f, _, err := s.safety.Facts(ctx, s.firm, s.q1.ID); err != nil || f.Say("moss") != "moss on the roof: not known" {
		t.Errorf("half of it is saved: %s, %v", f.Say("moss"), err)
	}
	_, fields = fieldsOf(t, refused, path+"/answers")
	fields.Set("fact_moss", "yes")
	fields.Set("fact_pitch_deg", "42")
	lead.form(path+"/answers", fields).want(303)
	f, _, err := s.safety.Facts(ctx, s.firm, s.q1.ID)
	must(t, err)
	if f.Say("moss") != "moss on the roof: yes" || f.Say("pitch_deg") != "roof pitch 42 degrees" {
		t.Errorf("%s, %s", f.Say("moss"), f.Say("pitch_deg"))
	}
	lead.get(path).want(200).says("Rhodri Pask").says("Fact roof pitch was 35 degrees, is now 42 degrees.")

	// A hazard seen on site, with a photo.
	seen := url.Values{"key": {"seen-1"}, "about": {""}, "site_name": {"Loose chimney pot"}, "seen": {"leans over the platform, gable side"}, "who": {"crew, public"}, "stages": {"roof_work"},
		"before_l": {"3"}, "before_s": {"5"}, "after_l": {"1"}, "avoid": {""}, "prevent": {"Strapped by the mason\nFenced off below"}, "mitigate": {""}, "evidence": {"photo of the strap"}}
	lead.multi(path+"/seen", seen, []byte("<html>not a photo</html>")).want(422).says("JPEG, PNG or WebP")
	nameless := url.Values{}
	for k, v := range seen {
		nameless[k] = v
	}
	nameless.Set("key", "seen-2")
	nameless.Set("site_name", "")
	nameless.Set("after_l", "5")
	if said := lead.multi(path+"/seen", nameless, nil).want(422).page().Find(".faults").Text(); !strings.Contains(said, "2 things") {
		t.Errorf("every fault at once: %q", said)
	}
	cut := bytes.Clone(pixel[:len(pixel)-12]) // without its end
	lead.multi(path+"/seen", seen, cut).want(422).says("a whole JPEG, PNG or WebP photo")
	lead.multi(path+"/seen", seen, append(bytes.Clone(pixel), make([]byte, 9<<20)...)).want(413)
	const place = "taken at 51.5 north"
	sent := append(bytes.Clone(pixel), place...) // as phones append films and more
	lead.multi(path+"/seen", seen, sent).want(303)
	shown := lead.get(path).want(200).says("Loose chimney pot").says("Hazard S1 is new")
	href := shown.page().Find("a[href^='/photos/']").First().AttrOr("href", "")
	photo := lead.get(href).want(200)
	if !bytes.Equal(photo.Body, pixel) || photo.Header.Get("Content-Type") != "image/png" || photo.Header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("the photo comes as %s, %d bytes", photo.Header.Get("Content-Type"), len(photo.Body))
	}
	// The file as it was sent is the office's, with the sum that the record names.
	lead.get(href + "/as-sent").want(403)
	s.by(s.office).get(path).want(200).says("The file as sent")
	original := s.by(s.office).get(href + "/as-sent").want(200)
	if sum := fmt.Sprintf("%x", sha256.Sum256(original.Body))[:12]; !bytes.Equal(original.Body, sent) || !strings.Contains(string(shown.Body), sum) ||
		!strings.HasPrefix(original.Header.Get("Content-Disposition"), "attachment") {
		t.Errorf("as sent: %d bytes, %s", len(original.Body), sum)
	}

	// Issue, approve, compare. The version that was issued first stays as it was.
	lead.form(path, url.Values{"key": {"issue-1"}}).want(303)
	now, err := s.svc.AssessmentFile(ctx, s.firm, "Q-1")
	must(t, err)
	if len(now.Versions) != len(was.Versions)+1 || now.Newest().Body.Hash() != now.Newest().BodyHash || now.Versions[1].BodyHash != was.Versions[0].BodyHash {
		t.Fatalf("%d versions after %d", len(now.Versions), len(was.Versions))
	}
	lead.form(path+"/approve", url.Values{"key": {"approve-1"}, "assessment": {now.Newest().ID.String()}}).want(403)
	office := s.by(s.office)
	office.form(path+"/approve", url.Values{"key": {"approve-1"}, "assessment": {now.Newest().ID.String()}}).want(303)
	lead.get(path).says("approved by Imogen Thackray").says("Strapped by the mason")
	lead.get(fmt.Sprintf("%s/changes?from=1&to=2", path)).want(200).says("Hazard S1 is new: Loose chimney pot").says("Fact moss on the roof is new: yes")
	lead.get(path + "/changes?from=1&to=9").want(404)
	lead.get(path + "/changes?from=one").want(404)

	// Taken away with a reason; the version in force is stale then.
	_, away := fieldsOf(t, lead.get(path).page(), path+"/seen/"+now.Site[0].ID.String()+"/remove")
	lead.form(path+"/seen/"+now.Site[0].ID.String()+"/remove", away).want(422)
	away.Set("why", "the mason took it down")
	away.Set("key", "away-2")
	lead.form(path+"/seen/"+now.Site[0].ID.String()+"/remove", away).want(303)
	lead.get(path).says("Hazard S1 is gone").says("facts changed since")

	// A member reads and changes nothing.
	member := s.by(s.mate)
	if d := member.get(path).want(200).page(); d.Find("main form").FilterFunction(func(_ int, f *goquery.Selection) bool { return f.AttrOr("method", "") == "post" }).Length() != 0 {
		t.Error("a member sees a form")
	}
	member.form(path, url.Values{"key": {"x"}}).want(403)
}

func TestSumsPageWorksWhatIsTyped(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	lead.get("/jobs/Q-1/sums").want(200).says("lies inside the filter").says("competent person").says("person-days")
	lead.get("/jobs/Q-1/sums?men=0&women=2").want(200).says("17.33 kg").says("above the filter")
	d := lead.get("/jobs/Q-1/sums?men=nine").want(422).page()
	if d.Find("#f-men").AttrOr("aria-invalid", "") != "true" || d.Find("#f-men").AttrOr("value", "") != "nine" {
		t.Error("the bad number is not shown where it was typed")
	}
	lead.get("/jobs/Q-99/sums").want(404)
}

func TestTheScaffoldsOwnPage(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	const path = "/jobs/Q-1/scaffold"
	page := lead.get(path).want(200).says("May be used until").says("compliance sheet 12").says("Inspection within the previous 7 days").says("17.2 m/s")
	file, _, err := s.svc.ScaffoldFile(context.Background(), s.firm, "Q-1")
	must(t, err)
	inspection := file.Reports[0]
	if inspection.Kind != safety.Inspection {
		t.Fatalf("the newest report is a %s", inspection.Kind)
	}
	to := path + "/reports/" + inspection.ID.String()
	_, fields := fieldsOf(t, page.page(), to+"/remedies")
	fields.Set("done", "two boards changed")
	fields.Set("done_by", "Gwen Strand")
	fields.Set("done_on", "2026-11-30")
	fields.Set("done_at", "09:10")
	lead.form(to+"/remedies", fields).want(303)
	fields.Set("key", "later")
	fields.Set("done_on", "2027-11-30")
	lead.form(to+"/remedies", fields).want(422).says("a time that has passed")
	_, given := fieldsOf(t, page.page(), to+"/delivery")
	given.Set("given_to", "Quillmere Solar")
	given.Set("given_on", "2026-11-28")
	given.Set("given_at", "10:00")
	lead.form(to+"/delivery", given).want(303)
	lead.get(path).says("two boards changed").says("to Quillmere Solar")
	given.Set("key", "another")
	lead.form(path+"/reports/not-one/delivery", given).want(404)
}

func TestTheFirmSetsItsHazards(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	const path = "/settings/hazards"
	page := office.get(path).want(200).says("Fall from the roof edge").says("roof covering is fibre cement").says("58 hazards")
	fields := url.Values{"key": {"own-1"}, "change": {"own"}, "version": {"0"}, "id": {"F01"}, "name": {"Bees in the soffit"}, "when": {"roof_work and ghosts"}, "stages": {"roof_work"}, "who": {"crew"},
		"before_l": {"3"}, "before_s": {"4"}, "after_l": {"1"}, "avoid": {"Wait for the keeper"}, "evidence": {"keeper's name"}, "source": {"a near miss"}, "why": {"stung in May"}}
	refused := office.form(path, fields).want(422).page()
	if !strings.Contains(refused.Find(".faults").Text(), "ghosts") || refused.Find("#f-name").AttrOr("value", "") != "Bees in the soffit" {
		t.Errorf("a rule that speaks of no fact: %q", refused.Find(".faults").Text())
	}
	fields.Set("when", "roof_work")
	office.form(path, fields).want(303)
	office.form(path, url.Values{"key": {"over-1"}, "change": {"override"}, "version": {"1"}, "hazard": {"H01"}, "why": {"we are careful"}, "off": {"yes"}}).want(422).says("never switched off")
	office.form(path, url.Values{"key": {"over-2"}, "change": {"override"}, "version": {"1"}, "hazard": {"H25"}, "why": {"we never strip"}, "off": {"yes"}}).want(303)
	office.form(path, url.Values{"key": {"gust-1"}, "change": {"gust"}, "version": {"1"}, "event_gust_ms": {"15"}, "why": {"windy valley"}}).want(409)
	office.form(path, url.Values{"key": {"gust-2"}, "change": {"gust"}, "version": {"2"}, "event_gust_ms": {"15"}, "why": {"windy valley"}}).want(303)
	office.get(path).says("Bees in the soffit").says("Put aside").says("15 m/s").says("Why: windy valley.").says("New hazard: F01")
	office.form("/jobs/Q-1/assessments", url.Values{"key": {"issue-2"}}).want(303)
	office.get("/jobs/Q-1/assessment").says("F01").says("we never strip").says("the firm's own, version 3")
	if got := page.page().Find("form[action='/settings/hazards']").Length(); got < 3 {
		t.Errorf("%d forms", got)
	}
	s.by(s.lead).form(path, fields).want(403)
}
