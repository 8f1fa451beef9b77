package api

import (
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
)

// The page offers a lift to exactly those from whom page and API take it: the
// office and the lead of a crew that works there today.
func TestPageAndAPIAgreeOnWhoLifts(t *testing.T) {
	s := newScene(t)
	s.publishByHand(func(p *schedule.Plan) {
		p.Visits = slices.DeleteFunc(p.Visits, func(v schedule.Visit) bool { return v.Crew == s.damson.ID })
	})
	var stopped Recorded
	s.by(s.mate).json("POST", "/stop-works", nil, map[string]any{"job_ref": "Q-1"}).want(201).into(&stopped)
	s.setClock(benchStart.Add(time.Minute))
	page, lift := morningHref(s.alder.ID, tuesday), "/jobs/Q-1/stop-works/"+stopped.ID.String()+"/lift"
	form := func() url.Values {
		return url.Values{"key": {uuid.NewString()}, "stop": {stopped.ID.String()}, "why": {"tied again"}}
	}
	offered := func(a *agent) bool {
		return a.get(page).want(200).page().Find(".stopped form[action*='/lift']").Length() > 0
	}
	// The lead of another crew, which has no work there.
	other := s.by(s.spark)
	other.json("POST", lift, nil, map[string]any{"why": "tied again"}).refused(forbidden)
	other.form(page+"/lift?job=Q-1", form()).want(403)
	if mate := s.by(s.mate); offered(mate) {
		t.Error("whoever stopped is offered the lift")
	} else {
		mate.json("POST", lift, nil, map[string]any{"why": "tied again"}).refused(forbidden)
	}
	lead := s.by(s.lead)
	if !offered(s.by(s.office)) || !offered(lead) {
		t.Error("the office or the lead is not offered the lift")
	}
	if d := s.decisionOf(lead); len(d.Stops) != 1 || !strings.Contains(d.Stops[0].Reason, "not given yet") {
		t.Errorf("the stop without a reason: %+v", d.Stops)
	}
	lead.json("POST", lift, nil, map[string]any{"why": "tied again"}).want(201)
}
