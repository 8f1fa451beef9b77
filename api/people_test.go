package api

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/outbox"
	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
)

// condition reads one condition of a crew's morning at Q-1.
func (s *scene) condition(crew uuid.UUID, code string) safety.Condition {
	s.t.Helper()
	m, err := s.svc.Morning(s.t.Context(), s.firm, crew, "Q-1", tuesday)
	must(s.t, err)
	for _, c := range m.Decision.Conditions {
		if c.Code == code {
			return c
		}
	}
	s.t.Fatalf("no condition %s", code)
	return safety.Condition{}
}

// Somebody new holds the crew until they were told everything and said so by
// their own PIN, by the lead's page or by the contract; only their lead or the
// office records it, and nobody inducts themselves.
func TestSomebodyNewIsInductedBeforeTheCrewIsClear(t *testing.T) {
	s := newScene(t)
	id, _ := s.addPerson(s.firm, "Marek Tyne", schedule.CrewMember)
	must(t, s.svc.accounts.setPIN(t.Context(), s.firm, id, id, testPINHash(), benchStart))
	must(t, s.schedule.AddMember(t.Context(), s.firm, s.alder.ID, schedule.Membership{Person: schedule.Person{ID: id}, From: tuesday - 1, Until: civil.NoDate}))
	must(t, s.safety.SaveCompetence(t.Context(), s.firm, id, safety.Competence{Kind: safety.Roof, From: tuesday - 1, Until: civil.NoDate}))
	if c := s.condition(s.alder.ID, "B23"); c.State != safety.NotMet || !c.Holds() || c.Value != "no induction of Marek Tyne on record" || c.Remedy == "" {
		t.Errorf("somebody new: %+v", c)
	}
	lead, office, spark, mate := s.by(s.lead), s.by(s.office), s.by(s.spark), s.by(s.mate)
	lead.get(morningHref(s.alder.ID, tuesday)).want(200).says("no induction of Marek Tyne on record")
	page := lead.get("/people").want(200).says("No induction on record: not clear to start").page()
	if n := page.Find("main li[id^=person-]").Length(); n != 3 {
		t.Errorf("the lead sees %d people, want the crew of 3", n)
	}
	if n := page.Find("main form[action$='/pin'], main form[action$='/competences']").Length(); n != 1 {
		t.Errorf("the lead may set %d PINs and competences, want their own PIN only", n)
	}
	to := "/people/" + id.String() + "/inductions"
	form := url.Values{"key": {uuid.NewString()}, "on": {"2026-12-01"}, "given_by": {"Rhodri Pask, crew lead"}, "covered": {"stop_rule", "emergency"}, "pin": {testPIN}}
	bad := func(field, value string) url.Values {
		f := url.Values{}
		for k, v := range form {
			f[k] = v
		}
		f.Set(field, value)
		f.Set("key", uuid.NewString())
		return f
	}
	lead.form(to, bad("pin", "8888")).want(422).says("it is not the PIN of Marek Tyne")
	kept := lead.form(to, bad("given_by", "marek tyne")).want(422).says("nobody inducts themselves").page()
	if at := kept.Find("#person-" + id.String()); at.Find("input[name=given_by]").AttrOr("value", "") != "marek tyne" || at.Find("input[name=covered][checked]").Length() != 2 {
		t.Error("what was typed is lost")
	}
	lead.form(to, bad("on", "2026-12-02")).want(422).says("a day that has come")
	lead.form(to, bad("covered", "tea")).want(422)
	spark.form(to, bad("on", "2026-12-01")).want(403)
	mate.form(to, bad("on", "2026-12-01")).want(403)
	if by, err := s.safety.Inductions(t.Context(), s.firm); err != nil || len(by[id]) != 0 {
		t.Errorf("kept of what was refused: %+v, %v", by[id], err)
	}
	lead.form(to, form).want(303)
	if c := s.condition(s.alder.ID, "B23"); c.State != safety.NotMet || !strings.HasPrefix(c.Value, "Marek Tyne: 2 of 10 topics covered, not yet at height") {
		t.Errorf("half told: %+v", c)
	}
	rest := map[string]any{"on": "2026-11-30", "given_by": "Imogen Thackray, office", "covered": []string{"at_height", "electricity", "lifting", "asbestos", "equipment", "reporting", "fitness", "alone"}, "pin": testPIN}
	spark.json("POST", to, nil, rest).refused(forbidden)
	var got Induction
	office.json("POST", to, nil, rest).want(201).into(&got)
	if !strings.HasPrefix(got.Statement, "I, Marek Tyne, was inducted on Monday 30 November 2026 by Imogen Thackray, office.") || strings.Count(got.Statement, "\n- ") != 8 {
		t.Errorf("the statement: %s", got.Statement)
	}
	if c := s.condition(s.alder.ID, "B23"); c.State != safety.Met {
		t.Errorf("told everything: %+v", c)
	}
	if strings.Contains(s.log.String(), testPIN) {
		t.Error("the log holds a PIN")
	}
	office.get("/people").want(200).says("Inducted in all 10 topics").says("Tuesday 1 December 2026 by Rhodri Pask, crew lead, 2 of 10 topics")
}

// The list of people by the contract: the office everybody, a lead the crew,
// others themselves; competences with their state, and never why somebody is not
// fit.
func TestThePeopleByTheContract(t *testing.T) {
	s := newScene(t)
	must(t, s.safety.SaveCompetence(t.Context(), s.firm, s.mate, safety.Competence{Kind: safety.ScaffoldInspection, From: tuesday - 400, Until: tuesday - 1, Evidence: "card 9"}))
	must(t, s.safety.SaveCompetence(t.Context(), s.firm, s.mate, safety.Competence{Kind: safety.Electrical, From: tuesday + 1, Until: civil.NoDate, Evidence: "card 10"}))
	must(t, s.safety.DeclareFitness(t.Context(), s.firm, safety.Fitness{Person: s.mate, Day: tuesday, Fit: false, By: s.mate, At: benchStart}))
	for who, want := range map[uuid.UUID]int{s.office: 5, s.lead: 2, s.spark: 2, s.mate: 1} {
		var all []PersonNow
		s.by(who).json("GET", "/people", nil, nil).want(200).into(&all)
		if len(all) != want {
			t.Errorf("%s sees %d people, want %d", who, len(all), want)
		}
	}
	var all []PersonNow
	s.by(s.mate).json("GET", "/people", nil, nil).want(200).into(&all)
	p := all[0]
	if p.ID != s.mate || !p.PinSet || !p.NotFitToday || p.Inducted != ConditionStateMet || len(p.NotInductedIn) != 0 || len(p.Inductions) != 1 || len(p.Inductions[0].Covered) != 10 {
		t.Errorf("the mate: %+v", p)
	}
	states := map[CompetenceKind]CompetenceState{}
	for _, k := range p.Competences {
		states[k.Kind] = k.State
	}
	if states[CompetenceKindScaffoldInspection] != CompetenceStateExpired || states[CompetenceKindElectrical] != CompetenceStateNotBegun || states[CompetenceKindRoof] != CompetenceStateValid {
		t.Errorf("how the competences stand: %v", states)
	}
	// The contract's topics and kinds are the room's.
	for _, topic := range safety.Topics() {
		if !InductionTopic(topic.Key).Valid() {
			t.Errorf("the contract does not know the topic %s", topic.Key)
		}
	}
	for _, kind := range safety.CompetenceKinds() {
		if !CompetenceKind(kind).Valid() {
			t.Errorf("the contract does not know the competence %s", kind)
		}
	}
	to := "/people/" + s.sparkMate.String() + "/competences"
	card := map[string]any{"kind": "electrical", "from": "2026-12-01", "until": "2027-12-01", "evidence": "card 12, seen by the office"}
	s.by(s.spark).json("POST", to, nil, card).refused(forbidden)
	office := s.by(s.office)
	office.json("POST", to, nil, card).want(204)
	card["until"] = "2026-11-30"
	office.json("POST", to, nil, card).refused(invalid)
	card["kind"] = "juggling"
	office.json("POST", to, nil, card).refused(malformed)
}

// One person alone at indoor work: may they, whom do they ring; where two are on
// site, or where nobody may be alone, nothing is arranged.
func TestWhoWorksAloneRingsSomebody(t *testing.T) {
	s := newScene(t)
	if _, err := s.db.Owner.Exec(t.Context(), `UPDATE site SET facts = facts || '{"loft_work": false, "unit_kg": 20, "hot_work": false}' WHERE site_id = $1`, s.q1.Site.ID); err != nil {
		t.Fatal(err)
	}
	s.assess("Q-1")
	spark, lead, office := s.by(s.spark), s.by(s.lead), s.by(s.office)
	body := map[string]any{"crew_id": s.damson.ID, "job_ref": "Q-1", "day": "2026-12-01", "contact": "Imogen Thackray", "phone": "01632 960199", "every_min": 45, "if_missed": "rings the customer, then drives out"}
	spark.json("POST", "/check-ins", nil, body).refused(conflict) // two are on site
	if c := s.condition(s.damson.ID, "B24"); c.Applies || c.State != safety.Met {
		t.Errorf("two on site: %s", c.Sentence())
	}
	must(t, s.safety.DeclareFitness(t.Context(), s.firm, safety.Fitness{Person: s.sparkMate, Day: tuesday, Fit: false, By: s.sparkMate, At: benchStart}))
	if c := s.condition(s.damson.ID, "B24"); c.State != safety.NotMet || c.Value != "Callum Reyes has no lone working" || !c.Holds() {
		t.Errorf("alone without leave: %s", c.Sentence())
	}
	office.json("POST", "/people/"+s.spark.String()+"/competences", nil, map[string]any{"kind": "lone_work", "from": "2026-12-01", "evidence": "spoken through with the office"}).want(204)
	if c := s.condition(s.damson.ID, "B24"); c.State != safety.NotMet || c.Value != "Callum Reyes works alone, and nobody expects a call" {
		t.Errorf("nobody expects a call: %s", c.Sentence())
	}
	lead.json("POST", "/check-ins", nil, body).refused(forbidden) // of another crew
	body["phone"] = "the office"
	spark.json("POST", "/check-ins", nil, body).refused(invalid)
	body["phone"], body["day"] = "01632 960199", "2026-12-02"
	spark.json("POST", "/check-ins", nil, body).refused(notFound) // no work that day
	here := morningHref(s.damson.ID, tuesday)
	action, form := fieldsOf(t, spark.get(here).want(200).says("Whom does Callum Reyes ring?").page(), "/check-in")
	for k, v := range map[string]string{"contact": "Callum Reyes", "phone": "01632 960199", "every_min": "45", "if_missed": "drives out"} {
		form.Set(k, v)
	}
	if v := spark.form(action, form).want(422).says("somebody else than who works alone").page().Find("#f-checkin-if_missed").AttrOr("value", ""); v != "drives out" {
		t.Errorf("what was typed is lost: %q", v)
	}
	form.Set("key", uuid.NewString())
	form.Set("contact", "Imogen Thackray")
	spark.form(action, form).want(303)
	if c := s.condition(s.damson.ID, "B24"); c.State != safety.Met || c.Value != "Callum Reyes rings Imogen Thackray on 01632 960199 every 45 min, first by 08:45; if not: drives out" {
		t.Errorf("arranged: %s", c.Sentence())
	}
	spark.get(here).want(200).says("Change whom Callum Reyes rings")
	// The office may change it, by the contract; the newest counts.
	s.setClock(benchStart.Add(time.Minute))
	body["day"], body["every_min"] = "2026-12-01", 30
	var got RecordedWithDecision
	office.json("POST", "/check-ins", nil, body).want(201).into(&got)
	for _, c := range got.Decision.Conditions {
		if c.Code == "B24" && !strings.Contains(c.Value, "every 30 min") {
			t.Errorf("the newest counts: %+v", c)
		}
	}
}

// A call that does not come is told once to the office and to whoever expects it,
// stands on the pages until one is written down, and never again once it was.
func TestAMissedCallIsToldOnce(t *testing.T) {
	s := newScene(t)
	ctx := t.Context()
	if _, err := s.db.Owner.Exec(ctx, `UPDATE site SET facts = facts || '{"loft_work": false, "unit_kg": 20, "hot_work": false}' WHERE site_id = $1`, s.q1.Site.ID); err != nil {
		t.Fatal(err)
	}
	s.assess("Q-1")
	spark, lead, office := s.by(s.spark), s.by(s.lead), s.by(s.office)
	must(t, s.safety.DeclareFitness(ctx, s.firm, safety.Fitness{Person: s.sparkMate, Day: tuesday, Fit: false, By: s.sparkMate, At: benchStart}))
	office.json("POST", "/people/"+s.spark.String()+"/competences", nil, map[string]any{"kind": "lone_work", "from": "2026-12-01", "evidence": "spoken through with the office"}).want(204)
	body := map[string]any{"crew_id": s.damson.ID, "job_ref": "Q-1", "day": "2026-12-01", "contact": "Gwen Strand", "phone": "01632 960199", "every_min": 45, "if_missed": "drives out", "email": "the van"}
	spark.json("POST", "/check-ins", nil, body).refused(invalid)
	body["email"] = "gwen@neighbour.example"
	spark.json("POST", "/check-ins", nil, body).want(201)

	type told struct{ to, subject, text string }
	watch := func() (all []told) {
		t.Helper()
		// Two instances look at the same moment.
		other := s.another()
		done := make(chan error, 1)
		go func() { done <- other.WatchLoneWork(ctx, s.firm) }()
		must(t, s.svc.WatchLoneWork(ctx, s.firm))
		must(t, <-done)
		rows, err := s.db.Owner.Query(ctx, `SELECT to_address, letter FROM message WHERE kind = 'call_missed' ORDER BY written_at, to_address`)
		must(t, err)
		var to string
		var l outbox.Letter
		_, err = pgx.ForEachRow(rows, []any{&to, &l}, func() error {
			all = append(all, told{to, l.Subject, wholeText(l)})
			l = outbox.Letter{}
			return nil
		})
		must(t, err)
		return all
	}
	at := func(h, m int) { s.setClock(tuesday.At(h, m, time.UTC)) }
	at(8, 49) // due by 08:45, and five minutes of grace
	if got := watch(); len(got) != 0 {
		t.Fatalf("told too early: %+v", got)
	}
	spark.get(morningHref(s.damson.ID, tuesday)).want(200).says("No call of Callum Reyes since 08:00, it was due by 08:45, 4 min ago")
	at(8, 51)
	got := watch()
	if len(got) != 2 || got[0].to != "gwen@neighbour.example" && got[1].to != "gwen@neighbour.example" {
		t.Fatalf("told: %+v", got)
	}
	wantIn(t, "the letter", got[0].text, "No call of Callum Reyes since 08:00", "was to call by 08:45", "drives out", "Gwen Strand, 01632 960199", "http://toeboard.example/morning/", "999 or 112")
	at(9, 5)
	if got := watch(); len(got) != 2 {
		t.Errorf("one missed call is told again: %+v", got[2:])
	}
	if c := s.condition(s.damson.ID, "B24"); c.State != safety.NotMet || !c.Holds() {
		t.Errorf("a call is missing: %s", c.Sentence())
	}
	office.get("/morning").want(200).says("No call has come:").says("Gwen Strand expects the call on 01632 960199")
	var list []LoneWorker
	office.json("GET", "/check-ins", nil, nil).want(200).into(&list)
	if len(list) != 1 || !list[0].Overdue || list[0].Person != "Callum Reyes" || list[0].Due == nil {
		t.Errorf("by the contract: %+v", list)
	}
	spark.json("GET", "/check-ins", nil, nil).refused(forbidden)

	// Their own word ends it; a lead of another crew has none.
	call := map[string]any{"crew_id": s.damson.ID, "job_ref": "Q-1", "day": "2026-12-01", "what": "well"}
	lead.json("POST", "/check-ins/calls", nil, call).refused(forbidden)
	call["job_ref"] = "Q-2"
	spark.json("POST", "/check-ins/calls", nil, call).refused(notFound)
	action, form := fieldsOf(t, spark.get(morningHref(s.damson.ID, tuesday)).page(), "/call")
	spark.form(action, form).want(303)
	spark.form(action, form).want(303) // pressed twice it is one call
	if n := s.count("lone_call"); n != 1 {
		t.Errorf("%d calls are kept", n)
	}
	spark.get(morningHref(s.damson.ID, tuesday)).says("The next call of Callum Reyes is due by 09:50")
	if c := s.condition(s.damson.ID, "B24"); c.State != safety.Met {
		t.Errorf("they rang: %s", c.Sentence())
	}
	// Silent again: told again, twice more at most; the office writes down that they left.
	for _, when := range [][2]int{{9, 56}, {10, 41}, {11, 26}, {12, 11}, {15, 0}} {
		at(when[0], when[1])
		got = watch()
	}
	if len(got) != 8 {
		t.Errorf("%d letters about two silences, want 2 and 6: %+v", len(got), got)
	}
	wantIn(t, "the last letter", got[7].text, "third and last letter")
	var left LoneWorker
	office.json("POST", "/check-ins/calls", nil, map[string]any{"crew_id": s.damson.ID, "job_ref": "Q-1", "day": "2026-12-01", "what": "left"}).want(201).into(&left)
	if left.Overdue || left.Due != nil {
		t.Errorf("after they left: %+v", left)
	}
	at(17, 0)
	if got := watch(); len(got) != 8 {
		t.Errorf("told of somebody who left: %+v", got[8:])
	}
	// Over midnight the watch goes on.
	s.setClock((tuesday + 1).At(0, 30, time.UTC))
	if got := watch(); len(got) != 8 {
		t.Errorf("told of yesterday, of somebody who left: %+v", got[8:])
	}
}
