package api

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"image"
	"image/png"
	"mime/multipart"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"toeboard/safety"
)

// What a job's people record: a near miss whose lesson stands beside the hazard
// on the next morning, tests in their order, a serial number once, the check of
// the roof before the scaffold comes down.
func TestWhatIsRecordedOfAJob(t *testing.T) {
	s := newScene(t)
	mate, office := s.by(s.mate), s.by(s.office)
	record := func(a *agent, kind string, body map[string]string) answer {
		return a.json("POST", "/jobs/Q-1/records", nil, map[string]any{"kind": kind, "body": body})
	}
	record(mate, "near_miss", map[string]string{"what": "a hammer fell"}).want(201)
	record(mate, "near_miss", map[string]string{"what": "a hammer fell", "learnt": "lanyards on every tool", "hazard": "h01"}).want(201)
	record(mate, "near_miss", map[string]string{}).refused(invalid)
	record(mate, "near_miss", map[string]string{"what": "x", "hazard": "H999"}).refused(invalid)
	record(mate, "near_miss", map[string]string{"what": "x", "blame": "Tom"}).refused(invalid)
	record(mate, "notification", map[string]string{"duty": "building_control", "sent_to": "x", "reference": "y"}).refused(forbidden)
	mate.get(morningHref(s.alder.ID, tuesday)).want(200).says("H01 Fall from the roof edge or the scaffold: lanyards on every tool (Q-1, 1 Dec 2026)")
	rcd := map[string]string{"test": "rcd", "circuit": "C1", "value": "28", "instrument": "MFT 12"}
	record(mate, "electrical_test", rcd).refused(forbidden) // a roofer
	record(s.by(s.spark), "electrical_test", rcd).want(201)
	tight := map[string]string{"flashings": "yes", "tiles": "yes", "penetrations": "yes", "underlay": "yes", "gutters": "yes", "photo": "taken", "photo_sha256": strings.Repeat("a", 64)}
	record(mate, "weatherproof", tight).refused(invalid) // says that there is a photo, and sends none
	withPhoto := func(photo []byte) answer {
		return mate.json("POST", "/jobs/Q-1/records", nil, map[string]any{"kind": "near_miss", "body": map[string]string{"what": "a tile slid"}, "photo": base64.StdEncoding.EncodeToString(photo)})
	}
	withPhoto([]byte("no picture at all")).refused(invalid)
	withPhoto(pixel[:40]).refused(invalid) // cut off
	withPhoto(append(bytes.Clone(pixel), make([]byte, 6<<20)...)).refused(invalid)
	withPhoto(pixel).want(201)
	var b JobBook
	office.json("GET", "/jobs/Q-1/records", nil, nil).want(200).into(&b)
	if len(b.Records) != 4 || len(b.Tests) != 1 || b.Tests[0].State != ConditionStateNotMet || !strings.HasPrefix(b.Tests[0].Says, "fail: done live before the dead tests") ||
		len(b.DeadTestsOpen) != 3 || b.MayStrike != ConditionStateUnknown {
		t.Errorf("the book: %+v", b)
	}
	if sum := fmt.Sprintf("%x", sha256.Sum256(pixel)); !slices.ContainsFunc(b.Records, func(r JobRecord) bool { return r.Kind == "near_miss" && r.Body["photo_sha256"] == sum }) {
		t.Errorf("the photo is not named by its sum: %+v", b.Records)
	}
	place := func(row, col int, serial string) answer {
		return mate.json("POST", "/jobs/Q-1/modules", nil, map[string]any{"row": row, "col": col, "serial": serial})
	}
	place(1, 1, "ab-1001").want(204)
	place(1, 1, "AB-1001").want(204) // the same again
	place(1, 3, "x").refused(invalid)
	place(1, 2, "AB-1001").refused(conflict)
	place(1, 1, "AB-1003").refused(conflict)
	place(1, 1, "").want(204)
	place(1, 2, "AB-1001").want(204)
	page := mate.get("/jobs/Q-1/records").want(200).says("Not yet: nobody has checked that the roof is tight.").says("AB-1001").says("fail: done live before")
	// By the page, with a photo that is kept and shown.
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	_, fields := fieldsOf(t, page.page(), "/records")
	for name, v := range map[string]string{"key": fields.Get("key") + "w", "kind": "weatherproof", "flashings": "yes", "tiles": "yes", "penetrations": "yes", "underlay": "yes", "gutters": "yes"} {
		must(t, form.WriteField(name, v))
	}
	file, err := form.CreateFormFile("file", "roof.png")
	must(t, err)
	must(t, png.Encode(file, image.NewGray(image.Rect(0, 0, 4, 4))))
	must(t, form.Close())
	mate.raw("POST", "/jobs/Q-1/records", map[string]string{"Content-Type": form.FormDataContentType(), "Sec-Fetch-Site": "same-origin"}, body.Bytes()).want(303)
	page = mate.get("/jobs/Q-1/records").want(200).says("Yes: checked by Dele Ashworth, with photo.")
	href := page.page().Find("a[href^='/photos/']").AttrOr("href", "")
	if got := mate.get(href); got.Status != 200 || got.Header.Get("Content-Type") != "image/png" {
		t.Errorf("the photo at %q: %d %s", href, got.Status, got.Header.Get("Content-Type"))
	}
}

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

// A firm binds itself to have the kit on site and names the lead for exceptions:
// kit that is missing holds the crew until the lead says why not.
func TestAnExceptionOnTheMorning(t *testing.T) {
	s := newScene(t)
	office, lead, mate := s.by(s.office), s.by(s.lead), s.by(s.mate)
	if _, err := s.db.Owner.Exec(t.Context(), `UPDATE kit SET arrived_on = NULL WHERE job_id = $1`, s.q1.ID); err != nil {
		t.Fatal(err)
	}
	set := func(a *agent, body map[string]any) answer { return a.json("POST", "/own-rules", nil, body) }
	set(office, map[string]any{"code": "B02", "version": 0, "binding": true, "why": "x"}).refused(malformed)
	set(lead, map[string]any{"code": "B16", "version": 0, "binding": true, "why": "x"}).refused(forbidden)
	set(office, map[string]any{"code": "B16", "version": 0, "binding": true, "holder_id": s.sparkMate, "why": "x"}).refused(invalid) // gives first aid and no more
	set(office, map[string]any{"code": "B16", "version": 0, "binding": true, "holder_id": s.lead, "why": "two wasted days"}).want(200)
	c := s.decisionOf(lead).condition("B16")
	if c.Advice || !valueOf(c.Own) || c.State != ConditionStateNotMet {
		t.Fatalf("bound: %+v", c)
	}
	except := func(a *agent, code string) answer {
		return a.json("POST", "/rule-exceptions", nil, map[string]any{"crew_id": s.alder.ID, "job_ref": "Q-1", "day": "2026-12-01", "code": code, "reason": "the rails come at nine"})
	}
	except(mate, "B16").refused(forbidden)
	except(lead, "B02").refused(forbidden)
	to := morningHref(s.alder.ID, tuesday)
	if mate.get(to).page().Find("form[action*='/except']").Length() != 0 {
		t.Error("somebody who is not named is offered an exception")
	}
	action, fields := fieldsOf(t, lead.get(to).want(200).page(), "/except")
	fields.Set("reason", "the rails come at nine")
	lead.form(action, fields).want(303)
	lead.get(to).want(200).says("Exception by Rhodri Pask at 07:15: the rails come at nine.")
	if c := s.decisionOf(lead).condition("B16"); c.Exception == nil || c.State != ConditionStateNotMet {
		t.Errorf("excepted: %+v", c)
	}
}

// Who is not fit by their own word is not counted, and nothing says why; the
// others sign again. Nobody else's word takes a person out of those who must
// sign, or back: a lead's phone wants the person's own PIN.
func TestWhoIsNotFitIsNotCounted(t *testing.T) {
	s := newScene(t)
	lead, mate, spark, office := s.by(s.lead), s.by(s.mate), s.by(s.spark), s.by(s.office)
	lead.json("POST", "/sign-offs", nil, signature(s, s.decisionOf(lead), s.lead)).want(201)
	tell := func(a *agent, person uuid.UUID, fit bool, pin string) answer {
		body := map[string]any{"person_id": person, "day": "2026-12-01", "fit": fit}
		if pin != "" {
			body["pin"] = pin
		}
		return a.json("POST", "/fitness", nil, body)
	}
	tell(spark, s.mate, false, testPIN).refused(forbidden)
	tell(mate, s.lead, false, testPIN).refused(forbidden)
	tell(lead, s.mate, false, "").refused(invalid)
	tell(lead, s.mate, false, "9999").refused(invalid)
	if d := s.decisionOf(lead); len(d.People) != 2 {
		t.Fatalf("a lead's word alone leaves %d people to sign", len(d.People))
	}
	tell(lead, s.mate, false, testPIN).want(204)
	d := s.decisionOf(lead)
	if len(d.People) != 1 || d.condition("B08").State != ConditionStateNotMet || d.condition("B09").State != ConditionStateNotMet {
		t.Errorf("one of two is not fit: %d people; %s; %s", len(d.People), d.condition("B08").Sentence, d.condition("B09").Sentence)
	}
	to := morningHref(s.alder.ID, tuesday)
	lead.get(to).want(200).says("Dele Ashworth is not counted today").says("is now Rhodri Pask (lead): sign again")
	s.setClock(benchStart.Add(60e9))
	tell(lead, s.mate, true, "").refused(invalid)
	tell(office, s.mate, true, "").refused(invalid)
	if d := s.decisionOf(lead); len(d.People) != 1 {
		t.Errorf("somebody else's word made %d people fit", len(d.People))
	}
	action, fields := fieldsOf(t, lead.get(to).want(200).page(), "/fit")
	fields.Set("person", s.mate.String())
	fields.Set("fit", "yes")
	fields.Set("pin", "0000")
	lead.form(action, fields).want(422)
	tell(mate, s.mate, true, "").want(204)
	if d := s.decisionOf(lead); len(d.People) != 2 {
		t.Errorf("fit after all: %d people", len(d.People))
	}
	s.setClock(benchStart.Add(120e9))
	tell(office, s.mate, false, "").want(204) // they rang
}

// Who has no work at a job records neither tests nor permits nor modules there,
// and is not asked for them; what went wrong anybody records, and so may whoever
// signed there lately, though the plan has moved on.
func TestWhoRecordsAtAJob(t *testing.T) {
	s := newScene(t)
	mate, office, spark := s.by(s.mate), s.by(s.office), s.by(s.spark)
	record := func(a *agent, ref, kind string, body map[string]string) answer {
		return a.json("POST", "/jobs/"+ref+"/records", nil, map[string]any{"kind": kind, "body": body})
	}
	place := func(a *agent, ref string, row int) answer {
		return a.json("POST", "/jobs/"+ref+"/modules", nil, map[string]any{"row": row, "col": 1, "serial": fmt.Sprintf("AB-%s-%d", ref, row)})
	}
	record(mate, "Q-2", "near_miss", map[string]string{"what": "a hammer fell"}).want(201)
	place(mate, "Q-2", 1).refused(forbidden)
	place(office, "Q-2", 2).want(204)
	record(spark, "Q-2", "isolation", permitBody()).refused(forbidden)
	page := mate.get("/jobs/Q-2/records").want(200).says("recorded by whoever works here").page()
	if page.Find("#new-near_miss").Length() != 1 || page.Find("#new-weatherproof").Length() != 0 || page.Find("form[action$='/modules']").Length() != 0 {
		t.Error("somebody who has no work here is asked for what they may not record, or not for what they may")
	}
	// A plan without the crew's visits, and a signature of last week.
	if _, err := s.db.Owner.Exec(t.Context(), `INSERT INTO sign_off (firm_id, sign_off_id, crew_id, job_id, on_day, person_id, assessment_id, body_hash, statement, typed_name, received_at)
		SELECT firm_id, gen_random_uuid(), $1, $2, '2026-11-24', $3, assessment_id, sha256(''), 'x', 'Dele Ashworth', '2026-11-24' FROM risk_assessment LIMIT 1`, s.alder.ID, s.q2.ID, s.mate); err != nil {
		t.Fatal(err)
	}
	place(mate, "Q-2", 3).want(204)
	s.setClock(benchStart.AddDate(0, 0, 8)) // 15 days later
	place(s.by(s.mate), "Q-2", 4).refused(forbidden)
}

func permitBody() map[string]string {
	return map[string]string{"what": "inverter C1, DC and AC", "where": "array isolator and main switch", "tester": "proved before and after", "reading_v": "0", "holds_key": "Callum Reyes"}
}

// A permit to isolate stands on the morning; another crew's holds electrical work
// until it is ended or taken over, and it is ended once.
func TestAPermitStandsOnTheMorning(t *testing.T) {
	s := newScene(t)
	office, lead, spark, mate := s.by(s.office), s.by(s.lead), s.by(s.spark), s.by(s.mate)
	record := func(a *agent, kind string, body map[string]string) answer {
		return a.json("POST", "/jobs/Q-1/records", nil, map[string]any{"kind": kind, "body": body})
	}
	var got struct{ ID uuid.UUID }
	record(office, "isolation", permitBody()).want(201).into(&got) // from what somebody wrote down
	permit := got.ID.String()
	of := func(says string) map[string]string {
		b := permitBody()
		delete(b, "what")
		delete(b, "where")
		b["permit"], b["says"] = permit, says
		return b
	}
	electrical := func() Condition {
		t.Helper()
		var m Morning
		spark.json("GET", "/mornings/2026-12-01", nil, nil).want(200).into(&m)
		for _, d := range m.Decisions {
			if d.CrewID == s.damson.ID {
				return d.condition("B22")
			}
		}
		t.Fatal("the electrical crew has no decision")
		return Condition{}
	}
	to := morningHref(s.alder.ID, tuesday)
	lead.get(to).want(200).says("Inverter C1, DC and AC, isolated Tue 1 Dec 07:15. Holder: Imogen Thackray")
	if c := electrical(); c.State != ConditionStateNotMet || !strings.Contains(c.Sentence, "isolated by Imogen Thackray") {
		t.Errorf("somebody else's permit: %s", c.Sentence)
	}
	record(mate, "isolation_taken", of("took over")).refused(forbidden) // no electrician
	record(mate, "isolation_end", map[string]string{"permit": permit, "says": "all clear"}).refused(forbidden)
	record(spark, "isolation_taken", map[string]string{"permit": permit, "says": "x"}).refused(invalid)
	record(spark, "isolation_taken", of("from Imogen Thackray by telephone")).want(201)
	if c := electrical(); c.State != ConditionStateMet || !strings.Contains(c.Sentence, "taken over by Callum Reyes") {
		t.Errorf("taken over: %s", c.Sentence)
	}
	record(spark, "isolation_end", map[string]string{"permit": uuid.NewString(), "says": "all clear"}).refused(invalid)
	key := map[string]string{"Idempotency-Key": "end-1"}
	end := map[string]any{"kind": "isolation_end", "body": map[string]string{"permit": strings.ToUpper(permit), "says": "all clear"}}
	spark.json("POST", "/jobs/Q-1/records", key, end).want(201)
	spark.json("POST", "/jobs/Q-1/records", key, end).want(201) // the same once more
	record(spark, "isolation_end", map[string]string{"permit": permit, "says": "all clear"}).refused(conflict)
	record(spark, "isolation_taken", of("again")).refused(conflict)
	if c := electrical(); c.State != ConditionStateMet || !strings.Contains(c.Sentence, "No permit is open") {
		t.Errorf("ended: %s", c.Sentence)
	}
	if text := lead.get(to).want(200).page().Text(); strings.Contains(text, "isolated here now") {
		t.Error("a permit that was ended still stands on the morning")
	}
	spark.get("/jobs/Q-1/records").want(200).says("inverter C1, DC and AC, Tue 1 Dec 07:15")
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

// The firm's own hazards are hazards: what is learnt about one stands beside it,
// also when it is learnt later.
func TestALessonAboutTheFirmsOwnHazard(t *testing.T) {
	s := newScene(t)
	office, mate := s.by(s.office), s.by(s.mate)
	lib, err := s.safety.FirmHazards(t.Context(), s.firm)
	must(t, err)
	own := safety.DefaultLibrary().Hazards[0]
	own.ID, own.Name = "F01", "Bees under the ridge"
	lib.Own = append(lib.Own, own)
	_, err = s.safety.SetFirmHazards(t.Context(), s.firm, lib, lib.Version, "a nest was met", "Imogen Thackray", benchStart)
	must(t, err)
	var near struct{ ID uuid.UUID }
	record := func(a *agent, kind string, body map[string]string) answer {
		return a.json("POST", "/jobs/Q-1/records", nil, map[string]any{"kind": kind, "body": body})
	}
	record(mate, "near_miss", map[string]string{"what": "stung on the ridge", "hazard": "f01", "reading": "two stings"}).want(201).into(&near)
	record(mate, "near_miss", map[string]string{"what": "x", "hazard": "F02"}).refused(invalid)
	record(mate, "follow_up", map[string]string{"about": uuid.NewString(), "what": "x"}).refused(invalid)
	record(office, "follow_up", map[string]string{"about": near.ID.String(), "what": "all crews told", "learnt": "look under the ridge from below first", "hazard": "H01"}).want(201)
	mate.get(morningHref(s.alder.ID, tuesday)).want(200).says("look under the ridge from below first (Q-1, 1 Dec 2026)")
	page := mate.get("/jobs/Q-1/records").want(200).says("F01 Bees under the ridge").says("stung on the ridge, Tue 1 Dec 07:15")
	if text := page.page().Text(); strings.Contains(text, near.ID.String()) || strings.Contains(text, "follow_up") {
		t.Error("a record is shown by its key")
	}
}

// What leaves the roof's drawing leaves a record: what it was, who put it there
// and who took it off.
func TestWhatLeavesTheDrawingIsKept(t *testing.T) {
	s := newScene(t)
	mate, lead := s.by(s.mate), s.by(s.lead)
	place := func(a *agent, serial string) answer {
		return a.json("POST", "/jobs/Q-1/modules", nil, map[string]any{"row": 2, "col": 3, "serial": serial})
	}
	place(mate, "INV-0042").want(204)
	place(lead, "").want(204)
	place(lead, "").want(204) // nothing is there any more
	var b JobBook
	mate.json("GET", "/jobs/Q-1/records", nil, nil).want(200).into(&b)
	if len(b.Modules) != 0 || len(b.Cleared) != 1 || b.Cleared[0].Serial != "INV-0042" || b.Cleared[0].PlacedBy != "Dele Ashworth" || b.Cleared[0].By != "Rhodri Pask" {
		t.Errorf("what is there and what left: %+v %+v", b.Modules, b.Cleared)
	}
	mate.get("/jobs/Q-1/records").want(200).says("Row 2, column 3: INV-0042, put there by Dele Ashworth Tue 1 Dec 07:15, taken off by Rhodri Pask Tue 1 Dec 07:15")
	s.by(s.office).get("/record?job=Q-1").want(200).says("module taken off a roof's drawing")
}
