package api

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"image"
	"image/png"
	"mime/multipart"
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
