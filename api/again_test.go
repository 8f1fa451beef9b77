package api

import (
	"context"
	"testing"
	"time"

	"toeboard/safety"
)

// Under the key of a record whose answer was lost, the same content is the same
// record; other content is refused and never answered as if it had been taken.
func TestACorrectedRecordIsNotAnsweredAsTheFirst(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	d := s.decisionOf(lead)
	report := map[string]any{"job_ref": "Q-1", "kind": "inspection", "for_whom": "Quillmere Solar, 1 Yard Lane", "location": "front", "description": "two lifts",
		"at": "2026-12-01T07:00:00.1234567Z", "risks": "none found", "action_taken": "none", "further": "none", "by_name": "Gwen Strand", "by_position": "inspector", "result": "fit", "load_class": 2}
	with := func(body map[string]any, name string, v any) map[string]any {
		changed := map[string]any{}
		for k, was := range body {
			changed[k] = was
		}
		changed[name] = v
		return changed
	}
	all := briefing(s, d)
	no := map[string]any{}
	for k := range all["checks"].(map[string]any) {
		no[k] = "no"
	}
	for path, c := range map[string]struct {
		body    map[string]any
		changed []map[string]any
	}{
		"/briefings":        {all, []map[string]any{with(all, "checks", no), with(all, "gust_ms", 14), with(all, "gust_ms", nil)}},
		"/scaffold-reports": {report, []map[string]any{with(report, "result", "not_fit"), with(report, "job_ref", "Q-2"), with(report, "load_class", 3)}},
	} {
		key := map[string]string{"Idempotency-Key": "lost " + path}
		forget := func() {
			_, err := s.db.Owner.Exec(context.Background(), `DELETE FROM idempotency`)
			must(t, err)
		}
		var first, again Recorded
		lead.json("POST", path, key, c.body).want(201).into(&first)
		for _, changed := range c.changed {
			forget()
			if changed["gust_ms"] == nil {
				delete(changed, "gust_ms")
			}
			lead.json("POST", path, key, changed).refused(conflict)
		}
		s.setClock(s.clock().Add(time.Minute))
		lead.json("POST", path, key, c.body).want(201).into(&again)
		if first.ID != again.ID {
			t.Errorf("%s: the retry names %s, the first %s", path, again.ID, first.ID)
		}
	}
}

func TestACorrectedEventIsNotAnsweredAsTheFirst(t *testing.T) {
	s := newScene(t)
	by, err := s.svc.accounts.caller(context.Background(), s.firm, s.office)
	must(t, err)
	id := recordOf(onceKey{Firm: s.firm, Person: s.office, Key: "k"})
	event := safety.ScaffoldEvent{What: "impact", Detail: "a van backed into it", At: benchStart.Add(-time.Hour)}
	record := func(ref string, e safety.ScaffoldEvent) (time.Time, error) {
		return s.svc.RecordEvent(context.Background(), by, id, ref, e)
	}
	first, err := record("Q-1", event)
	must(t, err)
	s.setClock(s.clock().Add(time.Minute))
	if again, err := record("Q-1", event); err != nil || !again.Equal(first) {
		t.Errorf("the retry gives %s, %v; want %s", again, err, first)
	}
	for ref, what := range map[string]string{"Q-1": "wind", "Q-2": "impact"} {
		changed := event
		changed.What = what
		if _, err := record(ref, changed); refusalOf(err).kind != conflict {
			t.Errorf("%s at %s under the same identity gives %v, want a conflict", what, ref, err)
		}
	}
}
