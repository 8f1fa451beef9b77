package api

import (
	"testing"
	"time"

	"github.com/google/uuid"
)

// The page and the decision go by one rule: a signature received in the very
// instant in which a stop was lifted counts for neither (nobody can say which
// came first), nor does one that arrives on another day.
func TestThePageCountsTheSignaturesThatTheDecisionCounts(t *testing.T) {
	s := newScene(t)
	lead, office := s.by(s.lead), s.by(s.office)
	d := s.decisionOf(lead)
	var stopped Recorded
	office.json("POST", "/stop-works", nil, map[string]any{"job_ref": "Q-1", "reason": "a tie is loose"}).want(201).into(&stopped)
	s.setClock(benchStart.Add(20 * time.Minute))
	lead.json("POST", "/jobs/Q-1/stop-works/"+stopped.ID.String()+"/lift", nil, map[string]any{"why": "tied again"}).want(201)
	sign := func(p uuid.UUID) (r RecordedWithDecision) {
		lead.json("POST", "/sign-offs", nil, signature(s, d, p)).want(201).into(&r)
		return r
	}
	signed := func(d Decision) (all int) {
		for _, p := range d.People {
			if p.Signed {
				all++
			}
		}
		return all
	}
	if r := sign(s.lead); r.Decision.condition("B08").State != ConditionStateNotMet || signed(r.Decision) != 0 {
		t.Errorf("at the instant of the lift: %s, and the page counts %d", r.Decision.condition("B08").Sentence, signed(r.Decision))
	}
	page := morningHref(s.alder.ID, tuesday)
	lead.get(page).want(200).says("before the stop was lifted at 07:35").says("must sign again")
	s.setClock(benchStart.Add(21 * time.Minute))
	if r := sign(s.lead); signed(r.Decision) != 1 {
		t.Errorf("after the lift the page counts %d", signed(r.Decision))
	}
	lead.get(page).want(200).says("signed as “RHODRI pask”")
	s.setClock(benchStart.AddDate(0, 0, 1))
	s.forecasts(calm) // without one the class of the forecast would have changed
	if r := sign(s.mate); r.Decision.condition("B08").State != ConditionStateNotMet || signed(r.Decision) != 1 {
		t.Errorf("one of two on the next day: %s, and the page counts %d", r.Decision.condition("B08").Sentence, signed(r.Decision))
	}
}
