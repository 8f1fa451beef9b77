package api

import (
	"context"
	"strings"
	"testing"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
)

// gustOf gives the gust that the roof's judgement found at most, and the level
// that it was held against.
func gustOf(t *testing.T, j weather.Judgement) (highestGust weather.Value, level weather.Level) {
	t.Helper()
	for i, l := range j.Levels {
		if l.Quantity == weather.WindGust {
			return highest(j.Steps, i), l
		}
	}
	t.Fatalf("no gust was judged: %+v", j.Levels)
	return weather.Value{}, weather.Level{}
}

// A firm that sets a stricter gust limit than the morning's gusts is stopped by
// it, with all else as it was when the morning was clear.
func TestTheFirmsOwnLimitsDecide(t *testing.T) {
	s := newScene(t)
	ctx := context.Background()
	lead := s.by(s.lead)
	d := s.decisionOf(lead)
	var r RecordedWithDecision
	lead.json("POST", "/briefings", nil, briefing(s, d)).want(201)
	for _, p := range []uuid.UUID{s.lead, s.mate} {
		lead.json("POST", "/sign-offs", nil, signature(s, d, p)).want(201).into(&r)
	}
	if r.Decision.Verdict != DecisionVerdictClear {
		t.Fatalf("not clear under the usual limits: %s", holding(r.Decision))
	}
	before, err := s.svc.Morning(ctx, s.firm, s.alder.ID, "Q-1", tuesday)
	must(t, err)
	gust, _ := gustOf(t, before.Snapshot.Weather)
	if !gust.Known || before.Snapshot.Weather.Limits != 1 {
		t.Fatalf("gust %+v, limits version %d", gust, before.Snapshot.Weather.Limits)
	}
	chance := func() weather.Chance {
		snap, err := s.svc.Snapshot(ctx, s.firm, 28)
		must(t, err)
		for _, o := range snap.Outlooks {
			if o.Site == s.q1.Site.ID && o.Task == weather.PanelCarrying {
				return o.At(o.First + 2)
			}
		}
		t.Fatal("no outlook for carrying at Q-1")
		return weather.Chance{}
	}
	usual := chance()

	limits, err := s.archive.Limits(ctx, s.firm)
	must(t, err)
	own := weather.Limits{Version: limits.Version}
	for _, row := range limits.Rows {
		if row.Task == weather.PanelCarrying && row.Quantity == weather.WindGust {
			row.Caution, row.Stop = weather.Is(gust.N-0.2), weather.Is(gust.N-0.1)
		}
		own.Rows = append(own.Rows, row)
	}
	version, err := s.archive.SetLimits(ctx, s.firm, own, "Imogen Thackray", "a test", s.clock())
	must(t, err)

	after, err := s.svc.Morning(ctx, s.firm, s.alder.ID, "Q-1", tuesday)
	must(t, err)
	if j := after.Snapshot.Weather; j.Verdict != weather.Stop || j.Limits != version {
		t.Errorf("under the firm's own limits: %s, by version %d", j.Sentence(), j.Limits)
	}
	if d = s.decisionOf(lead); d.Verdict != DecisionVerdictNotClear || d.condition("B10").State != ConditionStateNotMet {
		t.Errorf("the decision: %s %+v", d.Verdict, d.condition("B10"))
	}
	if strict := chance(); !usual.Known || !strict.Known || strict.P >= usual.P {
		t.Errorf("plans count on %+v, and on %+v before", strict, usual)
	}
}

// A job's own module is judged, not one that stands in for it.
func TestTheJobsOwnModuleIsJudged(t *testing.T) {
	s := newScene(t)
	ctx := context.Background()
	level := func() weather.Level {
		m, err := s.svc.Morning(ctx, s.firm, s.alder.ID, "Q-1", tuesday)
		must(t, err)
		_, l := gustOf(t, m.Snapshot.Weather)
		return l
	}
	// 1.95 m² stands 11.94 m/s (weather/panel_test.go): the firm's 10.28 m/s holds.
	if l := level(); l.Stop.N != 10.28 || strings.Contains(l.Source, "not named") {
		t.Errorf("a module of 1.95 m²: %+v", l)
	}
	large := s.q1
	large.ModuleM2 = 3.1
	must(t, s.schedule.SaveJob(ctx, s.firm, large, "test", s.clock()))
	if l := level(); !(l.Stop.N < 10.28) || !strings.HasPrefix(l.Source, "module of 3.10 m²") {
		t.Errorf("a module of 3.1 m²: %+v", l)
	}
	for _, path := range []string{"/jobs/Q-1", "/", "/morning"} {
		if page := s.by(s.office).get(path).want(200); strings.Contains(string(page.Body), "module not named") {
			t.Errorf("%s says that the module is not named", path)
		}
	}
}

func TestTheLargestModuleCounts(t *testing.T) {
	t.Parallel()
	job := func(m2 float64, state schedule.JobState) schedule.Job {
		return schedule.Job{ModuleM2: m2, State: state}
	}
	open := schedule.JobOpen
	for name, c := range map[string]struct {
		jobs []schedule.Job
		m2   float64 // 0 = nobody named one
	}{
		"of two":                        {[]schedule.Job{job(1.7, open), job(1.95, open)}, 1.95},
		"of a done job no more":         {[]schedule.Job{job(1.7, open), job(2.9, schedule.JobDone)}, 1.7},
		"not named is a large one":      {[]schedule.Job{job(1.7, open), job(0, open)}, 0},
		"larger than the one not named": {[]schedule.Job{job(0, open), job(2.9, open)}, 2.9},
		"of no job at all is not named": {nil, 0},
		"smaller after one not named":   {[]schedule.Job{job(0, open), job(1.7, open)}, 0},
	} {
		p := largestModule(c.jobs)
		switch {
		case (p == nil) != (c.m2 == 0):
			t.Errorf("%s: %+v", name, p)
		case p != nil && !near(p.WidthM*p.HeightM, c.m2):
			t.Errorf("%s: %v m²", name, p.WidthM*p.HeightM)
		}
	}
}

func near(a, b float64) bool { return a-b < 1e-9 && b-a < 1e-9 }
