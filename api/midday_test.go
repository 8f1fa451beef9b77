package api

import (
	"context"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// publishedAtMidday publishes at 10:15 a plan that begins tomorrow and has
// nothing for Alder.
func (s *scene) publishedAtMidday() {
	s.t.Helper()
	s.setClock(benchStart.Add(3 * time.Hour))
	s.publishByHand(func(p *schedule.Plan) {
		p.FirstDay = tuesday + 1
		p.Visits = p.Visits[2:3]
	})
}

// A plan published in the course of a day begins tomorrow and leaves today's
// mornings as they were: the page, the stop on it, a briefing, and a signature
// that lay on a phone until the next day.
func TestPublishingDuringTheDayKeepsItsMornings(t *testing.T) {
	s := newScene(t)
	lead, mate := s.by(s.lead), s.by(s.mate)
	d := s.decisionOf(lead)
	to := morningHref(s.alder.ID, tuesday)
	stop, stopped := fieldsOf(t, mate.get(to).want(200).page(), "/stop")
	s.publishedAtMidday()
	lead.get(to).want(200).says("roof work, 10 modules")
	lead.json("POST", "/briefings", nil, briefing(s, d)).want(201)
	lead.json("POST", "/sign-offs", nil, signature(s, d, s.lead)).want(201)
	stopped.Set("reason", "a tie is loose")
	if back := mate.form(stop, stopped).want(303).Header.Get("Location"); !strings.HasPrefix(back, to+"?job=Q-1") {
		t.Errorf("sent to %s", back)
	}
	lead.get(to).want(200).says("a tie is loose")
	// The crew finishes; the mate's phone finds a network the next morning.
	must(t, s.schedule.StageDone(context.Background(), s.firm, "Q-1", schedule.RoofWork, tuesday, "Imogen Thackray", s.clock()))
	s.setClock(benchStart.AddDate(0, 0, 1))
	mate.json("POST", "/sign-offs", nil, signature(s, d, s.mate)).want(201)
	mate.get(morningHref(s.alder.ID, tuesday+1)).want(404)
}

// The board keeps today's visits too: they are work under way, not free days.
func TestTheBoardKeepsTodaysVisitsAfterAMiddayPublication(t *testing.T) {
	s := newScene(t)
	s.publishedAtMidday()
	b, err := s.svc.Board(context.Background(), s.firm, tuesday, 7)
	must(t, err)
	for _, c := range b.Crews {
		if c.ID != s.alder.ID {
			continue
		}
		for _, v := range crewRow(b, c, tuesday).Visits {
			if v.Ref == "Q-1" && len(v.Halves) > 0 {
				return
			}
		}
	}
	t.Error("the board shows nothing for the crew that is on the roof")
}

// Stopping work, and lifting a stop, need the job and the right to: no plan, no
// visit, not one's own crew.
func TestStoppingNeedsNoPlan(t *testing.T) {
	s := newScene(t)
	s.publishByHand(func(p *schedule.Plan) { p.Visits = nil })
	spark, lead := s.by(s.spark), s.by(s.lead)
	nowhere := morningHref(s.alder.ID, civil.On(2026, 12, 5))
	form := func(reason string) url.Values { return url.Values{"key": {uuid.NewString()}, "reason": {reason}} }
	spark.form(nowhere+"/stop?job=Q-99", form("a tie is loose")).want(404)
	spark.form(nowhere+"/stop", form("a tie is loose")).want(422)
	if back := spark.form(nowhere+"/stop?job=Q-1", form("a tie is loose")).want(303).Header.Get("Location"); back != "/jobs/Q-1?done=stopped" {
		t.Errorf("sent to %s", back)
	}
	stops, err := s.safety.Stops(context.Background(), s.firm, s.q1.ID)
	must(t, err)
	if len(stops) != 1 || stops[0].Reason != "a tie is loose" || stops[0].ByID != s.spark {
		t.Fatalf("recorded %+v", stops)
	}
	lift := url.Values{"key": {uuid.NewString()}, "stop": {stops[0].ID.String()}, "why": {"tied again"}}
	spark.form(nowhere+"/lift?job=Q-1", lift).want(403)
	lead.form(nowhere+"/lift?job=Q-1", lift).want(403) // without work there today only the office lifts
	s.by(s.office).form(nowhere+"/lift?job=Q-1", lift).want(303)
	if stops, err = s.safety.Stops(context.Background(), s.firm, s.q1.ID); err != nil || stops[0].Open() {
		t.Errorf("not lifted: %+v, %v", stops, err)
	}
}

// A job that was cancelled, or is done, holds its crew though all else was
// clear; the page stays and says so, and so does the office's list.
func TestACancelledJobIsNotClear(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	d := s.decisionOf(lead)
	lead.json("POST", "/briefings", nil, briefing(s, d)).want(201)
	var r RecordedWithDecision
	for _, p := range []uuid.UUID{s.lead, s.mate} {
		lead.json("POST", "/sign-offs", nil, signature(s, d, p)).want(201).into(&r)
	}
	if r.Decision.Verdict != DecisionVerdictClear {
		t.Fatalf("not clear while the job is open: %s", holding(r.Decision))
	}
	for _, state := range []schedule.JobState{schedule.JobCancelled, schedule.JobDone} {
		j, err := s.schedule.Job(context.Background(), s.firm, "Q-1")
		must(t, err)
		j.State = state
		must(t, s.schedule.SaveJob(context.Background(), s.firm, j, "Imogen Thackray", s.clock()))
		if d = s.decisionOf(lead); d.Verdict != DecisionVerdictNotClear || d.condition("B21").State != ConditionStateNotMet {
			t.Errorf("a job that is %s: %s %+v", state, d.Verdict, d.condition("B21"))
		}
		lead.get(morningHref(s.alder.ID, tuesday)).want(200).says("job Q-1 is " + string(state)).says("Not clear")
		s.by(s.office).get("/morning").want(200).says("Job Q-1 is " + string(state))
		lead.json("POST", "/decisions", nil, map[string]any{"crew_id": s.alder.ID, "job_ref": "Q-1", "day": "2026-12-01"}).want(201).into(&d)
		if d.Verdict != DecisionVerdictNotClear {
			t.Errorf("the decision that is kept of a job that is %s: %s", state, d.Verdict)
		}
	}
}
