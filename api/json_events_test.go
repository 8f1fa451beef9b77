package api

import (
	"context"
	"testing"
	"time"
)

// A program can say that a scaffold was shaken, as the job page can; the crew
// is then not clear until it is inspected again.
func TestRecordingAnEventThroughTheAPI(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	event := map[string]any{"job_ref": "Q-1", "what": "impact", "detail": "a van backed into it", "at": "2026-12-01T06:50:00Z"}
	with := func(field string, v any) map[string]any {
		m := map[string]any{}
		for k, was := range event {
			m[k] = was
		}
		m[field] = v
		return m
	}
	lead.json("POST", "/scaffold-events", nil, with("what", "ghosts")).refused(malformed)
	lead.json("POST", "/scaffold-events", nil, with("detail", "  ")).refused(invalid)
	if p := lead.json("POST", "/scaffold-events", nil, with("at", "2026-12-01T09:00:00Z")).refused(invalid); (*p.Errors)[0].Pointer != "at" { // not yet
		t.Errorf("the refusal points to %q", (*p.Errors)[0].Pointer)
	}
	lead.json("POST", "/scaffold-events", nil, with("job_ref", "Q-99")).refused(notFound)
	key := map[string]string{"Idempotency-Key": "one"}
	var first, again Recorded
	lead.json("POST", "/scaffold-events", key, event).want(201).into(&first)
	lead.json("POST", "/scaffold-events", key, event).want(201).into(&again)
	all, err := s.safety.Events(context.Background(), s.firm, s.q1.ID)
	must(t, err)
	if len(all) != 1 || all[0].ID != first.ID || again != first || all[0].By != "Rhodri Pask" || !all[0].At.Equal(time.Date(2026, 12, 1, 6, 50, 0, 0, time.UTC)) {
		t.Errorf("recorded %+v", all)
	}
	// B03 asks for an inspection after whatever could have affected the scaffold.
	var d Decision
	lead.json("POST", "/decisions", nil, map[string]any{"crew_id": s.alder.ID, "job_ref": "Q-1", "day": "2026-12-01"}).want(201).into(&d)
	held := false
	for _, c := range d.Conditions {
		held = held || c.Code == "B03" && string(c.State) != "met"
	}
	if !held {
		t.Errorf("after an impact no condition asks for an inspection: %+v", d.Conditions)
	}
}
