package api

import (
	"testing"
)

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
