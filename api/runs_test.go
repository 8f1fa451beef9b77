package api

import (
	"context"
	"errors"
	"log/slog"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/queue"
	"toeboard/schedule"
	"toeboard/weather/fault"
)

// quickRuns are the times of a run, short enough to wait for.
var quickRuns = RunTimes{Beat: 50 * time.Millisecond, Silent: 2 * time.Second, Unseen: time.Minute, Longest: time.Minute,
	Program: 200 * time.Millisecond, Form: 300 * time.Millisecond}

// slow is a search that lasts until it is let go or its context ends, whatever
// the planner is like, and then gives a real plan.
type slow struct {
	begun chan struct{} // one value for each search that began
	gate  chan struct{} // closed to let them end
}

func newSlow() *slow { return &slow{begun: make(chan struct{}, 100), gate: make(chan struct{})} }

func (w *slow) solve(ctx context.Context, s schedule.Snapshot, _ schedule.Futures, _ schedule.Aim, stop schedule.Stop, seed uint64) (schedule.Plan, error) {
	stop.Progress(schedule.Progress{Schedules: 17, Of: stop.Schedules, Best: 500_00, Bound: 400_00})
	w.begun <- struct{}{}
	select {
	case <-w.gate:
	case <-ctx.Done():
	}
	return schedule.Solve(context.WithoutCancel(ctx), s, schedule.Stop{Schedules: 20}, seed)
}

// slowScene is a scene whose searches are slow.
func slowScene(t *testing.T) (*scene, *slow) {
	t.Helper()
	s, w := newScene(t), newSlow()
	s.svc.solve, s.svc.times = w.solve, quickRuns
	return s, w
}

// another is a second instance of the service on the same database.
func (s *scene) another() *Service {
	s.t.Helper()
	log := slog.New(slog.NewTextHandler(s.log, nil))
	q, err := queue.New(s.db.App, log)
	must(s.t, err)
	svc, err := New(Deps{Pool: s.db.App, Schedule: s.schedule, Safety: s.safety, Archive: s.archive, Web: s.svc.web, Now: s.clock, IDs: s.svc.ids,
		Log: log, Queue: q, RunTimes: quickRuns, ParseForecast: s.svc.parse, BaseURL: "http://toeboard.example"})
	must(s.t, err)
	return svc
}

func (s *scene) ask(by string) schedule.Run {
	s.t.Helper()
	r, own, err := s.svc.StartRun(context.Background(), s.firm, RunAsk{By: by, Seed: 1, Schedules: 1000})
	must(s.t, err)
	if !own {
		s.t.Fatalf("%s is led to the run of %s", by, r.AskedBy)
	}
	return r
}

func (s *scene) ended(id uuid.UUID) schedule.Run {
	s.t.Helper()
	r, err := s.svc.Await(context.Background(), s.firm, id, 30*time.Second)
	must(s.t, err)
	if !r.Ended() {
		s.t.Fatalf("the run is %s after 30 s", r.State)
	}
	return r
}

// drafts counts the plans but the published one, past the service.
func (s *scene) drafts() (n int) {
	s.t.Helper()
	must(s.t, s.db.Owner.QueryRow(context.Background(), `SELECT count(*) FROM plan WHERE state = 'draft'`).Scan(&n))
	return n
}

func (s *scene) jobsThere() (n int) {
	s.t.Helper()
	must(s.t, s.db.Owner.QueryRow(context.Background(), `SELECT count(*) FROM queue.river_job WHERE kind = 'plan_run'`).Scan(&n))
	return n
}

// wait waits until a search has begun.
func (w *slow) wait(t *testing.T) {
	t.Helper()
	select {
	case <-w.begun:
	case <-time.After(30 * time.Second):
		t.Fatal("no search has begun after 30 s")
	}
}

// Twenty people press at the same moment: one run, and each of them is told it.
func TestPressingAtOnceMakesOneRun(t *testing.T) {
	s, w := slowScene(t)
	s.works()
	var press, ready sync.WaitGroup
	start := make(chan struct{})
	runs, owns := make([]schedule.Run, 20), make([]bool, 20)
	errs := make([]error, 20)
	for i := range runs {
		ready.Add(1)
		press.Go(func() {
			ready.Done()
			<-start
			runs[i], owns[i], errs[i] = s.svc.StartRun(context.Background(), s.firm, RunAsk{By: "Asha", Seed: 1, Schedules: 1000})
		})
	}
	ready.Wait()
	close(start)
	press.Wait()
	own := 0
	for i, r := range runs {
		must(t, errs[i])
		if r.ID != runs[0].ID {
			t.Errorf("presser %d is told run %s, the first %s", i, r.ID, runs[0].ID)
		}
		if owns[i] {
			own++
		}
	}
	if own != 1 {
		t.Errorf("%d pressers are told that the run is theirs", own)
	}
	w.wait(t)
	close(w.gate)
	if r := s.ended(runs[0].ID); r.State != schedule.RunDone || s.drafts() != 1 {
		t.Errorf("the run is %s, %d drafts", r.State, s.drafts())
	}
	if n := s.jobsThere(); n != 1 {
		t.Errorf("%d jobs were put into the queue", n)
	}
}

// A run and its job are there together or not at all.
func TestARunWhoseJobIsRolledBackIsNotThere(t *testing.T) {
	s, _ := slowScene(t)
	ctx := context.Background()
	full := errors.New("the queue is full")
	r := s.svc.newRun(RunAsk{By: "Asha", Seed: 1, Schedules: 10})
	_, _, err := s.schedule.AskRun(ctx, s.firm, r, false, func(tx pgx.Tx, run uuid.UUID) error {
		must(t, s.svc.wake(ctx, s.firm, 0)(tx, run))
		return full
	})
	if !errors.Is(err, full) {
		t.Fatalf("asking gives %v", err)
	}
	if now, err := s.svc.RunUnderWay(ctx, s.firm); now != nil || err != nil || s.jobsThere() != 0 {
		t.Errorf("under way is %+v (%v), %d jobs", now, err, s.jobsThere())
	}
}

// Stopping is heard within a second; with keep the best plan so far is a draft.
func TestStoppingARun(t *testing.T) {
	s, w := slowScene(t)
	s.works()
	for _, keep := range []bool{false, true} {
		r := s.ask("Asha")
		w.wait(t)
		before, pressed := s.drafts(), time.Now()
		_, err := s.svc.StopRun(context.Background(), s.firm, r.ID, "Imogen Thackray", keep)
		must(t, err)
		r = s.ended(r.ID)
		if took := time.Since(pressed); took > 5*time.Second { // a second, and four for a busy machine
			t.Errorf("the stop was heard after %s", took)
		}
		if r.State != schedule.RunStopped || !strings.HasPrefix(r.Reason, "Imogen Thackray stopped it.") || (r.Plan != uuid.Nil) != keep {
			t.Errorf("keep %v: the run is %s, %q, plan %s", keep, r.State, r.Reason, r.Plan)
		}
		if made := s.drafts() - before; (made == 1) != keep {
			t.Errorf("keep %v: %d drafts more", keep, made)
		}
		// Once more changes nothing.
		again, err := s.svc.StopRun(context.Background(), s.firm, r.ID, "Dele Ashworth", !keep)
		if err != nil || again.Reason != r.Reason || again.Plan != r.Plan {
			t.Errorf("stopped once more: %+v, %v", again, err)
		}
	}
}

// One that no worker has taken up ends at once.
func TestStoppingARunThatWaits(t *testing.T) {
	s, _ := slowScene(t)
	r := s.ask("Asha")
	r, err := s.svc.StopRun(context.Background(), s.firm, r.ID, "Asha", true)
	if err != nil || r.State != schedule.RunStopped || r.Plan != uuid.Nil || r.Reason != "Asha stopped it. No plan was kept." {
		t.Errorf("the run is %+v, %v", r, err)
	}
	s.svc.solve = schedule.SolveFor
	s.works() // its job wakes a worker, who finds nothing to do
	next := s.ask("Imogen Thackray")
	if done := s.ended(next.ID); done.State != schedule.RunDone || s.drafts() != 1 {
		t.Errorf("the next run is %s, %d drafts", done.State, s.drafts())
	}
}

// A run that nobody looks at ends with its best plan; one that is looked at goes
// on.
func TestAnUnseenRunEnds(t *testing.T) {
	s, w := slowScene(t)
	s.svc.times.Unseen = time.Second
	s.works()
	r := s.ask("Asha")
	w.wait(t)
	for until := time.Now().Add(2 * time.Second); time.Now().Before(until); time.Sleep(30 * time.Millisecond) {
		if now, err := s.svc.Run(context.Background(), s.firm, r.ID); err != nil || now.Ended() {
			t.Fatalf("while it is looked at it is %s (%s), %v", now.State, now.Reason, err)
		}
	}
	deadline := time.Now().Add(20 * time.Second)
	for state := ""; state != "stopped"; time.Sleep(50 * time.Millisecond) {
		// Past the service: looking keeps it alive.
		must(t, s.db.Owner.QueryRow(context.Background(), `SELECT state, reason FROM plan_run`).Scan(&state, &r.Reason))
		if time.Now().After(deadline) {
			t.Fatalf("20 s after the last look it is %s", state)
		}
	}
	if want := "Nobody had looked at it for 1 second. The best plan until then is kept as a draft."; r.Reason != want || s.drafts() != 1 {
		t.Errorf("it says %q, %d drafts", r.Reason, s.drafts())
	}
}

// An instance that stops gives its run back, and another one makes the plan.
func TestAnInstanceThatStopsGivesItsRunBack(t *testing.T) {
	s, w := slowScene(t)
	stop, err := s.svc.Work()
	must(t, err)
	r := s.ask("Asha")
	w.wait(t)
	stop()
	if now, err := s.svc.Run(context.Background(), s.firm, r.ID); err != nil || now.State != schedule.RunWaiting || now.Losses != 0 {
		t.Fatalf("after the stop the run is %s, %d losses, %v", now.State, now.Losses, err)
	}
	stopOther, err := s.another().Work()
	must(t, err)
	defer stopOther()
	if r = s.ended(r.ID); r.State != schedule.RunDone || s.drafts() != 1 {
		t.Errorf("the run is %s, %d drafts", r.State, s.drafts())
	}
}

// The database ends every connection in the middle of a run: the run goes on and
// its plan is saved once.
func TestARunSurvivesItsConnections(t *testing.T) {
	s, w := slowScene(t)
	s.works()
	r := s.ask("Asha")
	w.wait(t)
	var ended int
	must(t, s.db.Owner.QueryRow(context.Background(), `SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity
		WHERE datname = current_database() AND application_name = 'toeboard'`).Scan(&ended))
	if ended < 2 {
		t.Fatalf("only %d connections were ended", ended)
	}
	close(w.gate)
	deadline := time.Now().Add(30 * time.Second)
	for {
		now, err := s.svc.Run(context.Background(), s.firm, r.ID)
		if err == nil && now.Ended() {
			r = now
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("the run is %s, %v", now.State, err)
		}
		time.Sleep(50 * time.Millisecond)
	}
	if r.State != schedule.RunDone || s.drafts() != 1 {
		t.Errorf("the run is %s (%s), %d drafts", r.State, r.Reason, s.drafts())
	}
}

// A worker that was given up and still ends its search saves nothing: the run
// is another's.
func TestASlowWorkerCannotSaveWhatAnotherDoes(t *testing.T) {
	s, _ := slowScene(t)
	ctx := context.Background()
	r := s.ask("Asha")
	first, mine, err := s.schedule.TakeRun(ctx, s.firm, r.ID, s.clock(), time.Minute)
	if err != nil || !mine {
		t.Fatal(mine, err)
	}
	if _, mine, err := s.schedule.TakeRun(ctx, s.firm, r.ID, s.clock(), time.Minute); mine || err != nil {
		t.Fatalf("two workers took it up: %v", err)
	}
	second, mine, err := s.schedule.TakeRun(ctx, s.firm, r.ID, s.clock(), 0) // every worker is silent
	if err != nil || !mine || second.Losses != 1 {
		t.Fatal(mine, second.Losses, err)
	}
	snap, err := s.svc.Snapshot(ctx, s.firm, planDays)
	must(t, err)
	plan, err := schedule.Solve(ctx, snap, schedule.Stop{Schedules: 20}, 1)
	must(t, err)
	plan.MadeBy, plan.MadeAt = "Asha", s.clock()
	if o, err := s.schedule.Beat(ctx, s.firm, first, schedule.Progress{}, time.Minute); err != nil || !o.Lost {
		t.Errorf("the slow worker hears %+v, %v", o, err)
	}
	for i, c := range []struct {
		run  schedule.Run
		want bool
	}{{first, false}, {second, true}, {second, false}, {first, false}} {
		c.run.State, c.run.EndedAt = schedule.RunDone, s.clock()
		if _, mine, err := s.schedule.EndRun(ctx, s.firm, c.run, &plan); err != nil || mine != c.want {
			t.Errorf("end %d: %v, %v, want %v", i, mine, err, c.want)
		}
	}
	if n := s.drafts(); n != 1 {
		t.Errorf("%d drafts", n)
	}
}

// A search that ends its process each time does not go round for ever.
func TestARunThatLosesItsWorkersFails(t *testing.T) {
	s, _ := slowScene(t)
	ctx := context.Background()
	r := s.ask("Asha")
	for range mostLosses { // the last one's silence is seen by the service
		_, mine, err := s.schedule.TakeRun(ctx, s.firm, r.ID, s.clock(), 0)
		if err != nil || !mine {
			t.Fatal(mine, err)
		}
	}
	s.svc.times.Silent = time.Second
	s.works()
	if r = s.ended(r.ID); r.State != schedule.RunFailed || !strings.HasPrefix(r.Reason, "3 workers ended in the middle of it") {
		t.Errorf("the run is %s: %s", r.State, r.Reason)
	}
}

// What cannot be planned is said; what only we can mend is tried again, then
// said to be ours.
func TestARunThatFails(t *testing.T) {
	s, _ := slowScene(t)
	tries := 0
	s.svc.times.Silent = 200 * time.Millisecond
	why := error(fault.Bad("half-day cost of Alder", "-£1.00", "from £0 to £1,000,000.00"))
	s.svc.solve = func(context.Context, schedule.Snapshot, schedule.Futures, schedule.Aim, schedule.Stop, uint64) (schedule.Plan, error) {
		tries++
		return schedule.Plan{}, why
	}
	s.works()
	r := s.ended(s.ask("Asha").ID)
	if r.State != schedule.RunFailed || tries != 1 || !strings.Contains(r.Reason, "half-day cost of Alder") {
		t.Errorf("after %d tries the run is %s: %s", tries, r.State, r.Reason)
	}
	tries, why = 0, errors.New("secret text of an index out of range")
	r = s.ended(s.ask("Asha").ID)
	if r.State != schedule.RunFailed || tries != mostLosses || r.Reason != ourFailure {
		t.Errorf("after %d tries the run is %s: %s", tries, r.State, r.Reason)
	}
	if !strings.Contains(s.log.String(), "secret text") {
		t.Error("the log does not say why")
	}
}

// In the process that asks: refused while a run is under way, and it is in
// nobody else's way afterwards.
func TestPlanningHereAndNow(t *testing.T) {
	s, w := slowScene(t)
	s.works()
	r := s.ask("Asha")
	w.wait(t)
	here := RunAsk{By: "toeboard plan", Seed: 1, Schedules: 20}
	_, err := s.svc.Plan(context.Background(), s.firm, here, nil)
	if fault.KindOf(err) != fault.Conflict || !strings.Contains(err.Error(), "Asha has been making a plan since 07:15") {
		t.Errorf("planning beside a run gives %v", err)
	}
	close(w.gate)
	s.ended(r.ID)
	told := 0
	p, err := s.svc.Plan(context.Background(), s.firm, here, func(schedule.Progress) { told++ })
	if err != nil || p.Version == 0 || p.MadeBy != "toeboard plan" || told == 0 {
		t.Errorf("planning gives plan %d by %s, told %d times, %v", p.Version, p.MadeBy, told, err)
	}
}

// By the contract: 202 with where to ask, 409 for another, and stopping.
func TestRunsOfPrograms(t *testing.T) {
	s, w := slowScene(t)
	s.works()
	a := s.by(s.office)
	var run, now PlanRun
	made := a.json("POST", "/plans", map[string]string{"Idempotency-Key": "long"}, map[string]any{"schedules": 5000, "workers": 2, "why": "Q-2 is late"}).want(202)
	made.into(&run)
	if to := made.Header.Get("Location"); to != apiBase+"/plan-runs/"+run.ID.String() || run.Schedules != 5000 || run.Workers != 2 || valueOf(run.Why) != "Q-2 is late" {
		t.Errorf("the run is %+v at %q", run, to)
	}
	a.json("POST", "/plans", map[string]string{"Idempotency-Key": "long"}, map[string]any{"schedules": 5000, "workers": 2, "why": "Q-2 is late"}).want(202).into(&now)
	if now.ID != run.ID {
		t.Error("the same key gives another run")
	}
	p := a.json("POST", "/plans", nil, map[string]any{}).refused(conflict)
	if !strings.Contains(valueOf(p.Detail), "Imogen Thackray has been making a plan since 07:15: ask for it at "+apiBase+"/plan-runs/"+run.ID.String()) {
		t.Errorf("the refusal says %q", valueOf(p.Detail))
	}
	a.json("GET", "/plan-runs/current", nil, nil).want(200).into(&now)
	if now.ID != run.ID || now.AskedBy != "Imogen Thackray" {
		t.Errorf("under way is %+v", now)
	}
	w.wait(t)
	deadline := time.Now().Add(20 * time.Second)
	for now.Generated == 0 && time.Now().Before(deadline) {
		a.json("GET", "/plan-runs/"+run.ID.String(), nil, nil).want(200).into(&now)
	}
	if now.State != RunStateRunning || now.Generated != 17 || valueOf(now.BestPence) != 500_00 || valueOf(now.BoundPence) != 400_00 {
		t.Errorf("the run is %+v", now)
	}
	a.json("DELETE", "/plan-runs/"+run.ID.String()+"?keep=true", nil, nil).want(200).into(&now)
	if now.State != RunStateStopped || now.PlanID == nil {
		t.Errorf("stopped it is %+v", now)
	}
	a.json("GET", "/plans/"+now.PlanID.String(), nil, nil).want(200)
	a.json("GET", "/plan-runs/current", nil, nil).refused(notFound)
	a.json("GET", "/plan-runs/"+uuid.NewString(), nil, nil).refused(notFound)
	a.json("POST", "/plans", nil, map[string]any{"workers": 17}).refused(malformed)
	other := s.addFirm("Other Solar")
	_, email := s.addPerson(other, "Oth Er", schedule.Office)
	s.signedIn(email).json("GET", "/plan-runs/"+run.ID.String(), nil, nil).refused(notFound)
}

// As people do it: the first is led to the run, the second to the same one and
// told whose it is; what came of it is a page or the proposal.
func TestRunsOfPeople(t *testing.T) {
	s, w := slowScene(t)
	s.works()
	first, second := s.by(s.office), s.as(schedule.Office)
	press := func(a *agent, budget string) string {
		action, fields := fieldsOf(t, a.get("/plan").want(200).page(), "/plan")
		fields.Set("schedules", budget)
		return a.form(action, fields).want(303).Header.Get("Location")
	}
	at := press(first, "20000")
	page := first.get(at).want(200).says("How far is the plan?").says("Imogen Thackray has been making a plan since 07:15").says("Take the best plan so far").page()
	if page.Find("progress[max='20000']").Length() != 1 {
		t.Error("no bar with the budget")
	}
	if to := press(second, "2000"); to != at+"?done=underway" {
		t.Errorf("the second is led to %q, the first to %q", to, at)
	}
	second.get(at + "?done=underway").want(200).says("A plan is being made already")
	second.get("/plan").want(200).says("Imogen Thackray has been making a plan since 07:15: look at it")
	first.form("/plan", url.Values{"key": {"x"}, "schedules": {"many"}}).want(400)
	action, fields := fieldsOf(t, second.get(at).want(200).page(), "/stop")
	w.wait(t)
	if fields.Get("keep") != "1" {
		t.Errorf("the first form sends %v", fields)
	}
	if to := second.form(action, fields).want(303).Header.Get("Location"); to != "/plan?done=kept" {
		t.Errorf("after the stop one is led to %q", to)
	}
	first.get("/plan?done=kept").want(200).says("Its best plan is proposed").says("Publish plan")
	first.get(at).want(200).says("What became of the plan?").says("stopped it. The best plan until then is kept as a draft.").says("Look at the proposal")
	// A short one is there at once.
	s.svc.solve = schedule.SolveFor
	if to := press(first, "20"); to != "/plan?done=planned" && !strings.HasPrefix(to, "/plan/runs/") {
		t.Errorf("after a short run one is led to %q", to)
	}
	s.by(s.mate).get(at).want(403)
	first.get("/plan/runs/nonsense").want(404)
}
