package api

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
)

// A PIN is 4 to 8 digits that nobody tries first.
func TestWhatAPINIs(t *testing.T) {
	t.Parallel()
	for pin, good := range map[string]bool{"4071": true, "40710988": true, "": false, "407": false, "407109881": false, "40a1": false, "４０７１": false,
		"4444": false, "1234": false, "98765": false, "1230": true, "1212": true} {
		err := checkNewPIN(pin)
		if (err == nil) != good {
			t.Errorf("%q: %v", pin, err)
		}
		if err != nil && pin != "" && strings.Contains(err.Error(), pin) {
			t.Errorf("the refusal of %q gives it away: %v", pin, err)
		}
	}
}

// The person sets a PIN with the password, the office without; nobody else does.
// It is stored as an argon2id hash and stands neither in the log nor, as a hash
// that a few digits would undo, in what is kept of the request (OWASP ASVS 5.0.0,
// 6.2 and 16.2.5, from memory).
func TestWhoSetsAPIN(t *testing.T) {
	s := newScene(t)
	lead, mate, office := s.by(s.lead), s.by(s.mate), s.by(s.office)
	set := func(a *agent, person uuid.UUID, body map[string]any) answer {
		return a.json("POST", "/people/"+person.String()+"/pin", nil, body)
	}
	set(lead, s.lead, map[string]any{"pin": "590317"}).refused(invalid)
	set(lead, s.lead, map[string]any{"pin": "590317", "password": "not it at all"}).refused(invalid)
	set(lead, s.lead, map[string]any{"pin": "590317", "password": testPassword}).want(204)
	set(mate, s.lead, map[string]any{"pin": "590317", "password": testPassword}).refused(forbidden)
	set(office, s.mate, map[string]any{"pin": "264018"}).want(204)
	set(office, uuid.New(), map[string]any{"pin": "264018"}).refused(notFound)
	set(office, s.mate, map[string]any{"pin": "3333"}).refused(invalid)
	if hash, err := s.svc.accounts.pinHash(t.Context(), s.firm, s.lead); err != nil || !strings.HasPrefix(hash, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("kept as %q, %v", hash, err)
	}
	d := s.decisionOf(lead)
	body := signature(s, d, s.lead)
	lead.json("POST", "/sign-offs", nil, body).refused(invalid) // the old PIN
	body["pin"] = "590317"
	key := map[string]string{"Idempotency-Key": `"` + uuid.NewString() + `"`}
	lead.json("POST", "/sign-offs", key, body).want(201)
	for _, pin := range []string{"590317", "264018", testPIN} {
		if strings.Contains(s.log.String(), pin) {
			t.Errorf("the log holds the PIN %s", pin)
		}
	}
	// The hash of what is kept of the request is the same for every PIN.
	body["pin"] = "111222"
	lead.json("POST", "/sign-offs", key, body).want(201)
	page := mate.get("/people").want(200).says("PIN set Tue 1 Dec 07:15")
	if strings.Contains(string(page.Body), "Rhodri") && page.page().Find("main li").Length() != 1 {
		t.Error("a crew member sees others than themselves")
	}
	if n := office.get("/people").want(200).page().Find("main li form[action$='/pin']").Length(); n != 5 {
		t.Errorf("the office may set %d PINs, want everybody's 5", n)
	}
	can := url.Values{"key": {uuid.NewString()}, "kind": {"first_aid"}, "from": {"2026-01-05"}, "until": {"2026-11-30"}, "evidence": {"card 71, seen by the office"}}
	office.form("/people/"+s.lead.String()+"/competences", can).want(303)
	lead.get("/people").want(200).says("First aid, expired Monday 30 November 2026. Evidence: card 71, seen by the office")
	lead.form("/people/"+s.lead.String()+"/competences", can).want(403)
	can.Set("key", uuid.NewString())
	can.Set("until", "2025-11-30")
	office.form("/people/"+s.lead.String()+"/competences", can).want(422).says("a day not before 2026-01-05")
}

// After five wrong PINs the person's next try must wait, the right one too; the
// wait ends, and others of the crew sign meanwhile.
func TestWrongPINsMustWait(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	d := s.decisionOf(lead)
	wrong := signature(s, d, s.lead)
	wrong["pin"] = "8888"
	for range 5 {
		lead.json("POST", "/sign-offs", nil, wrong).refused(invalid)
	}
	lead.json("POST", "/sign-offs", nil, signature(s, d, s.lead)).refused(tooMany)
	lead.json("POST", "/sign-offs", nil, signature(s, d, s.mate)).want(201)
	s.setClock(benchStart.Add(31 * time.Second))
	lead.json("POST", "/sign-offs", nil, signature(s, d, s.lead)).want(201)
}

// What a page showed is what a signature is given for: the forecast turned while
// the lead read, so the signature is kept, and the page says what changed.
func TestASignatureIsForWhatWasShown(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	to := morningHref(s.alder.ID, tuesday)
	action, fields := fieldsOf(t, lead.get(to).want(200).page(), "/sign")
	if fields.Get("person") != s.lead.String() || fields.Get("shown") == "" {
		t.Fatalf("the form: %v", fields)
	}
	s.forecasts(storm)
	fields.Set("pin", testPIN)
	fields.Set("drawing", "M10 90L40 20L70 90")
	lead.form(action, fields).want(303)
	lead.get(to).want(200).says("must sign again").says("the forecast was caution, is now stop")
	s.setClock(benchStart.Add(time.Minute))
	s.forecasts(calm)
	page := lead.get(to).want(200).says("signed as “Rhodri Pask”, drawn too")
	if strings.Contains(string(page.Body), "M10 90") {
		t.Error("another's drawn signature goes out again")
	}
	// What was stored is what was shown, with the statement and the version's hash.
	snap, err := s.safety.Morning(t.Context(), s.firm, s.alder.ID, s.q1.ID, tuesday)
	must(t, err)
	so := snap.SignOffs[0]
	if so.OnPhoneOf != s.lead || so.Proof != safety.ByPIN || so.Drawing != "M10 90L40 20L70 90" || !strings.Contains(so.GivenFor.Assessment, so.BodyHash.Short()) ||
		so.GivenFor.Forecast != "caution" || !strings.Contains(so.Statement, "version 1 of its risk assessment") {
		t.Errorf("stored: %+v", so)
	}
	bad := url.Values{}
	for k, v := range fields {
		bad[k] = v
	}
	bad.Set("key", uuid.NewString())
	bad.Set("shown", "{")
	if got := lead.form(action, bad); got.Status != 422 {
		t.Errorf("what the page never sent is taken: %d", got.Status)
	}
}

// A wrong PIN costs nobody the signature they drew, and what was shown is never
// guessed: a signature that does not say it is refused, by the contract and by
// the form, and nothing is kept.
func TestARefusedSignatureKeepsItsDrawing(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	to := morningHref(s.alder.ID, tuesday)
	action, fields := fieldsOf(t, lead.get(to).want(200).page(), "/sign")
	fields.Set("pin", "8888")
	fields.Set("drawing", "M10 90L40 20L70 90")
	page := lead.form(action, fields).want(422).page()
	drawn := page.Find("input[name=drawing][value='M10 90L40 20L70 90']")
	if drawn.Length() != 1 || drawn.Closest("form").Find("input[name=person]").AttrOr("value", "") != s.lead.String() || page.Find("input[name=pin][value]").Length() != 0 {
		t.Errorf("%d forms have the drawing back; a PIN goes out with %d", drawn.Length(), page.Find("input[name=pin][value]").Length())
	}
	fields.Set("drawing", `M1 1"><script>`)
	fields.Set("key", uuid.NewString())
	if again := lead.form(action, fields).want(422); strings.Contains(string(again.Body), `M1 1&#34;`) || strings.Contains(string(again.Body), `M1 1"`) {
		t.Error("what is no drawing goes out again")
	}
	fields.Set("key", uuid.NewString())
	fields.Set("pin", testPIN)
	fields.Set("drawing", "")
	fields.Del("shown")
	lead.form(action, fields).want(422)
	body := signature(s, s.decisionOf(lead), s.lead)
	delete(body, "shown")
	lead.json("POST", "/sign-offs", nil, body).refused(malformed)
	body["shown"] = map[string]string{"assessment": "", "crew": "", "scaffold": "", "tasks": "", "forecast": ""}
	lead.json("POST", "/sign-offs", nil, body).refused(invalid)
	snap, err := s.safety.Morning(t.Context(), s.firm, s.alder.ID, s.q1.ID, tuesday)
	must(t, err)
	if len(snap.SignOffs) != 0 {
		t.Errorf("%d signatures are kept", len(snap.SignOffs))
	}
}

// A crew that changes after everybody signed signs again, and the decision says
// who left.
func TestACrewThatChangesSignsAgain(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	d := s.decisionOf(lead)
	lead.json("POST", "/briefings", nil, briefing(s, d)).want(201)
	var r RecordedWithDecision
	for _, p := range []uuid.UUID{s.lead, s.mate} {
		lead.json("POST", "/sign-offs", nil, signature(s, d, p)).want(201).into(&r)
	}
	if r.Decision.Verdict != DecisionVerdictClear {
		t.Fatalf("not clear: %+v", r.Decision.Conditions)
	}
	if _, err := s.db.Owner.Exec(t.Context(), `INSERT INTO absence VALUES ($1, $2, $3, '[2026-12-01,2026-12-02)', 'ill')`, s.firm, uuid.New(), s.mate); err != nil {
		t.Fatal(err)
	}
	c := s.decisionOf(lead).condition("B08")
	if c.State != ConditionStateNotMet || !strings.Contains(c.Sentence, "the crew was Dele Ashworth, Rhodri Pask (lead), is now Rhodri Pask (lead): sign again") {
		t.Errorf("one of two is away: %s", c.Sentence)
	}
}

// Who signed version 1 is told what version 2 says otherwise; who never signed
// here is told to read it all.
func TestTheBriefingTellsWhatChangedSinceEachSigned(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	lead.json("POST", "/sign-offs", nil, signature(s, s.decisionOf(lead), s.lead)).want(201)
	if _, err := s.db.Owner.Exec(t.Context(), `UPDATE site SET facts = facts || '{"pitch_deg": 50}' WHERE site_id = $1`, s.q1.Site.ID); err != nil {
		t.Fatal(err)
	}
	s.setClock(benchStart.Add(time.Minute))
	s.assess("Q-1")
	var d Decision
	lead.json("POST", "/decisions", nil, map[string]any{"crew_id": s.alder.ID, "job_ref": "Q-1", "day": "2026-12-01"}).want(201).into(&d)
	for _, p := range d.People {
		b := p.SignedBefore
		if p.PersonID == s.mate && b != nil {
			t.Errorf("%s never signed here: %+v", p.Name, b)
		}
		if p.PersonID == s.lead && (b == nil || b.Version != 1 || !strings.Contains(strings.Join(b.Changed, "; "), "Fact roof pitch was 35 degrees, is now 50 degrees")) {
			t.Errorf("%s signed version 1: %+v", p.Name, b)
		}
	}
	lead.get(morningHref(s.alder.ID, tuesday)).want(200).says("Last signed here: version 1, for Tue 1 Dec.").says("Fact roof pitch was 35").
		says("Has not signed at this job before: read the whole assessment.").says("Seen here and now?")
}
