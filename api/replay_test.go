package api

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// A plan is replayed when it is made; its page, the job's page once it is
// published, and programs say what it comes to.
func TestAPlanIsReplayedWhenItIsMade(t *testing.T) {
	s := newScene(t)
	s.works()
	a := s.by(s.office)
	page := a.get("/plan").want(200)
	page.says("keeps promises").says("cheapest on average")
	a.form("/plan", url.Values{"key": {"aim"}, "aim": {"keeps_promises"}, "schedules": {"60"}}).want(303)
	draft, err := s.schedule.NewestDraft(t.Context(), s.firm)
	must(t, err)
	if draft.Replay == nil || draft.Replay.Futures < 50 || draft.Choice == nil || draft.Choice.Aim != schedule.KeepsPromises {
		t.Fatalf("replay %+v, choice %+v", draft.Replay, draft.Choice)
	}
	a.get("/plan").want(200).says("When would each job be finished, whatever the weather?").says("in 8 of 10 futures").says(draft.Choice.Say[:20])

	var r Replay
	a.json("GET", "/plans/"+draft.ID.String()+"/replay", nil, nil).want(200).into(&r)
	if r.Futures != draft.Replay.Futures || r.Choice == nil || r.Choice.Says != draft.Choice.Say || len(r.Jobs) != len(draft.Replay.Jobs) || r.Cost == nil || r.Cost.MeanPence != int64(draft.Replay.Cost.Mean) {
		t.Errorf("to programs %+v", r)
	}
	for i, j := range r.Jobs {
		if was := draft.Replay.Jobs[i]; j.JobID != was.Job || j.JobRef == "" || (j.P50On == nil) == was.P50.Known() || (j.PromiseChance == nil) == was.Chance.Known {
			t.Errorf("to programs %+v, kept %+v", j, was)
		}
	}
	_, _, err = s.svc.Publish(t.Context(), s.firm, draft.ID, "Imogen Thackray", nil)
	must(t, err)
	told := draft.Replay.Jobs[0]
	for _, j := range s.directoryNow().jobs {
		if j.ID == told.Job {
			a.get("/jobs/" + j.Ref).want(200).says("When is it finished, whatever the weather?").says("possible weathers by the usual repairs")
		}
	}
	a.json("GET", "/plans/"+s.plan.ID.String()+"/replay", nil, nil).refused(notFound)
	s.by(s.lead).json("GET", "/plans/"+draft.ID.String()+"/replay", nil, nil).refused(forbidden)
}

// An aim that is none is refused, and no plan is made.
func TestAnAimThatIsNoneIsRefused(t *testing.T) {
	s := newScene(t)
	s.works()
	a := s.by(s.office)
	before, err := s.svc.Proposal(t.Context(), s.firm)
	must(t, err)
	if got := a.form("/plan", url.Values{"key": {"bad"}, "aim": {"best"}}); got.Status < 400 || !strings.Contains(string(got.Body), "least_cost") {
		t.Errorf("the form answers %d", got.Status)
	}
	a.json("POST", "/plans", nil, map[string]any{"aim": "best"}).refused(malformed)
	after, err := s.svc.Proposal(t.Context(), s.firm)
	must(t, err)
	if (before.Draft == nil) != (after.Draft == nil) {
		t.Error("a plan was made")
	}
	made := a.json("POST", "/plans", nil, map[string]any{"aim": "cheapest_on_average", "schedules": 50}).want(201)
	var p Plan
	made.into(&p)
	d, err := s.schedule.Plan(t.Context(), s.firm, p.ID)
	must(t, err)
	if d.Choice == nil || d.Choice.Aim != schedule.CheapestOnAverage {
		t.Errorf("choice %+v", d.Choice)
	}
}

func (s *scene) directoryNow() directory {
	s.t.Helper()
	d, err := s.svc.directory(s.t.Context(), s.firm)
	must(s.t, err)
	return d
}

// Futures past the forecast are the firm's own climate's: where its record says
// that no half-day of carrying runs, none does in any future.
func TestFuturesAreOfTheFirmsOwnClimate(t *testing.T) {
	s := newScene(t)
	passing := func() (n int) {
		t.Helper()
		snap, futures, err := s.svc.SnapshotWithFutures(t.Context(), s.firm, 60)
		must(t, err)
		for _, row := range futures.Rows {
			for f := range futures.N {
				if h := (snap.FirstDay + 50).In(civil.Afternoon); row.Task == weather.PanelCarrying && row.Passing.In(h, f) {
					n++
				}
			}
		}
		return n
	}
	if passing() == 0 {
		t.Fatal("in the usual climate nothing runs either: the test asks nothing")
	}
	var rows []weather.ClimateRow
	for _, task := range weather.OutdoorTasks() {
		for month := time.January; month <= time.December; month++ {
			for half := civil.Morning; half <= civil.Afternoon; half++ {
				rows = append(rows, weather.ClimateRow{Task: task, Terrain: weather.TerrainIII, Month: month, Half: half, HalfDays: 1000})
			}
		}
	}
	_, err := s.archive.SetClimate(t.Context(), s.firm, "a place where it always storms", rows, "Imogen Thackray", s.clock())
	must(t, err)
	if n := passing(); n != 0 {
		t.Errorf("%d futures still run", n)
	}
}
