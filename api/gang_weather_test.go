package api

import (
	"context"
	"strings"
	"testing"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// On a calm day a scaffold goes up; where its scaffold firm stops from gusts of
// 1 m/s on it does not, and the page, the contract and the plan's chances say whose
// limit that is. Roof work and whoever has no limit of its own are as before.
func TestAGangStopsAtItsOwnGust(t *testing.T) {
	s := newScene(t)
	office, ctx := s.by(s.office), context.Background()
	s.publishByHand(func(p *schedule.Plan) { // the forecast reaches tomorrow
		for i := range p.Visits {
			if v := &p.Visits[i]; v.Job == s.q2.ID && v.Stage == schedule.ScaffoldErection {
				v.HalfDays = []civil.HalfDay{(tuesday + 1).In(civil.Morning)}
			}
		}
	})
	verdict := func(query string) (w RoofWeather) {
		t.Helper()
		office.json("GET", "/jobs/Q-2/weather?day=2026-12-02"+query, nil, nil).want(200).into(&w)
		return w
	}
	chances := func() (all, own []weather.Chance) {
		t.Helper()
		snap, err := s.svc.Snapshot(ctx, s.firm, 14)
		must(t, err)
		for _, o := range snap.Outlooks {
			switch {
			case o.Site != s.q2.Site.ID || o.Task != weather.ScaffoldErection:
			case o.By == uuid.Nil:
				all = o.Chances
			case o.By == s.yard.ID:
				own = o.Chances
			}
		}
		return all, own
	}
	roof := verdict("")
	if calm := verdict("&task=scaffold_erection"); calm.Verdict == "stop" || calm.Verdict == "unknown" {
		t.Fatalf("a calm day: %s", calm.Sentence)
	}
	office.get("/jobs/Q-2").want(200).says("Erecting scaffold on Wed 2 Dec: ")
	if _, own := chances(); own != nil {
		t.Error("a firm without a limit of its own has chances of its own")
	}
	f := s.yard
	f.GustLimit = 1
	must(t, s.schedule.SaveScaffoldFirm(ctx, s.firm, f))
	for _, task := range []string{"scaffold_erection", "scaffold_strike"} {
		if w := verdict("&task=" + task); w.Verdict != "stop" || !strings.Contains(w.Sentence, "limit of "+f.Name) {
			t.Errorf("%s: %s", task, w.Sentence)
		}
	}
	office.get("/jobs/Q-2").want(200).says("Erecting scaffold on Wed 2 Dec: stop").says("limit of " + f.Name)
	if now := verdict(""); now.Sentence != roof.Sentence {
		t.Errorf("roof work: %s, was %s", now.Sentence, roof.Sentence)
	}
	all, own := chances()
	if len(own) != len(all) || !own[2].Known || own[2].P >= all[2].P {
		t.Errorf("chances %v of %v", own[:4], all[:4])
	}
	for i := range own {
		if own[i].Known && (!all[i].Known || own[i].P > all[i].P) {
			t.Errorf("half-day %d: its own limit makes %v of %v", i, own[i], all[i])
		}
	}
	office.get("/settings/scaffold-firms").want(200).says("Neither erects nor strikes from gusts of 1 m/s on")
	office.json("GET", "/jobs/Q-2/weather?task=plumbing", nil, nil).refused(malformed)
	snap, futures, err := s.svc.SnapshotWithFutures(ctx, s.firm, 14)
	must(t, err)
	rows := 0
	for _, r := range futures.Rows {
		if r.By == f.ID {
			rows++
		}
	}
	if rows != 2*2 || len(snap.Outlooks) != 6+4 {
		t.Errorf("%d rows of futures, %d outlooks", rows, len(snap.Outlooks))
	}
}
