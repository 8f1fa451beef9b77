package api

import (
	"testing"

	"github.com/google/uuid"
)

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
