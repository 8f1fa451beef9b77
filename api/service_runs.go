package api

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// RunTimes are how long things take in the life of a run.
type RunTimes struct {
	Beat    time.Duration // how often a worker writes how far it is, and hears whether to stop
	Silent  time.Duration // a worker that has not written for so long is lost; at least four beats
	Unseen  time.Duration // a run that nobody looked at for so long ends with its best plan
	Longest time.Duration // a run ends after so long with its best plan

	Program time.Duration // how long a program that asks for a plan waits for it
	Form    time.Duration // how long a form does, so that a short search feels like none
}

// UsualRunTimes are those of the service (start values, common practice, no
// source). A lost worker's run is taken up again within Silent and a quarter.
var UsualRunTimes = RunTimes{Beat: 500 * time.Millisecond, Silent: 10 * time.Second, Unseen: 10 * time.Minute, Longest: 30 * time.Minute,
	Program: 10 * time.Second, Form: time.Second}

// mostLosses is how many workers may be lost over one run: a search that ends
// its process must not go round for ever.
const mostLosses = 3

// RunAsk is what somebody wants of a search.
type RunAsk struct {
	ID        uuid.UUID // of the run; uuid.Nil = a new one
	By        string
	Why       string // "" = not said
	Aim       schedule.Aim
	Seed      uint64
	Schedules int
	Workers   int // 0 = 1
}

func (s *Service) newRun(a RunAsk) schedule.Run {
	return schedule.Run{ID: a.ID, AskedBy: a.By, AskedAt: s.now(), Why: a.Why, Aim: a.Aim, Seed: a.Seed, Schedules: a.Schedules, Workers: max(1, a.Workers)}
}

// StartRun has a plan made in the background. A firm has one run at a time: own
// is false when another one is under way, which is then given.
func (s *Service) StartRun(ctx context.Context, firm uuid.UUID, a RunAsk) (run schedule.Run, own bool, err error) {
	return s.schedule.AskRun(ctx, firm, s.newRun(a), false, s.wake(ctx, firm, 0))
}

// Plan makes a draft here and now from the facts as they are, and saves it. It
// is a run like any other, worked by the caller: while one is under way it is
// refused. Should the caller be killed, a worker takes the run up. told is told
// how far it is; nil = nobody.
//
// A plan that the validator finds fault with is not saved: that is our failure,
// and the log says which rule was broken.
func (s *Service) Plan(ctx context.Context, firm uuid.UUID, a RunAsk, told func(schedule.Progress)) (schedule.Plan, error) {
	r, own, err := s.schedule.AskRun(ctx, firm, s.newRun(a), true, s.wake(ctx, firm, s.times.Silent))
	if err != nil {
		return schedule.Plan{}, err
	}
	if !own {
		return schedule.Plan{}, s.underWay(ctx, firm, r)
	}
	w := s.newWork(firm, r)
	w.told, w.givenUp = told, schedule.RunEnd{Rule: schedule.EndAsked, By: a.By}
	if r, err = w.work(ctx); err != nil {
		return schedule.Plan{}, err
	}
	return s.planOf(ctx, firm, r)
}

// underWay refuses, because a run is under way.
func (s *Service) underWay(ctx context.Context, firm uuid.UUID, r schedule.Run) error {
	words, err := s.runWords(ctx, firm, r)
	if err != nil {
		return err
	}
	return fault.Changed("plan", "", words+": look at it, or wait for it")
}

// runWords says who is making a plan and since when.
func (s *Service) runWords(ctx context.Context, firm uuid.UUID, r schedule.Run) (string, error) {
	_, loc, err := s.firmAndZone(ctx, firm)
	if err != nil {
		return "", err
	}
	return runSince(r, s.now(), loc), nil
}

// runSince says who is making a plan and since when, with the day unless it is
// today.
func runSince(r schedule.Run, now time.Time, loc *time.Location) string {
	at, layout := r.AskedAt.In(loc), "15:04"
	if civil.DateOf(at, loc) != civil.DateOf(now, loc) {
		layout = "Mon 2 Jan 15:04"
	}
	return fmt.Sprintf("%s has been making a plan since %s", r.AskedBy, at.Format(layout))
}

// planOf gives the draft of a run that has ended, or why there is none.
func (s *Service) planOf(ctx context.Context, firm uuid.UUID, r schedule.Run) (schedule.Plan, error) {
	switch {
	case r.Plan != uuid.Nil:
		return s.schedule.Plan(ctx, firm, r.Plan)
	case r.State == schedule.RunFailed && r.Reason == ourFailure:
		return schedule.Plan{}, errors.New(r.Reason)
	case r.State == schedule.RunFailed:
		return schedule.Plan{}, &fault.Error{Kind: fault.Invalid, Field: "plan", Want: r.Reason}
	}
	return schedule.Plan{}, fault.Changed("plan", "", r.Reason)
}

// Run gives a run for somebody who looks at it, which keeps it alive.
func (s *Service) Run(ctx context.Context, firm, id uuid.UUID) (schedule.Run, error) {
	return s.schedule.Run(ctx, firm, id, s.times.Unseen/20)
}

// RunUnderWay gives the run that has not ended; nil = none.
func (s *Service) RunUnderWay(ctx context.Context, firm uuid.UUID) (*schedule.Run, error) {
	r, err := s.schedule.RunUnderWay(ctx, firm)
	switch {
	case err == nil:
		return &r, nil
	case fault.KindOf(err) == fault.NotFound:
		return nil, nil
	}
	return nil, err
}

// StopRun ends a run; with keep its best plan so far becomes a draft. Its worker
// hears of it within a beat.
func (s *Service) StopRun(ctx context.Context, firm, id uuid.UUID, by string, keep bool) (schedule.Run, error) {
	return s.schedule.StopRun(ctx, firm, id, by, keep, s.now())
}

// Await waits until a run has ended, for patience at most, and gives it as it
// is then.
func (s *Service) Await(ctx context.Context, firm, id uuid.UUID, patience time.Duration) (schedule.Run, error) {
	deadline := time.Now().Add(patience)
	for pause := 20 * time.Millisecond; ; pause = min(2*pause, 200*time.Millisecond) {
		r, err := s.Run(ctx, firm, id)
		if err != nil || r.Ended() || !time.Now().Before(deadline) {
			return r, err
		}
		select {
		case <-ctx.Done():
			return r, ctx.Err()
		case <-time.After(min(pause, time.Until(deadline))):
		}
	}
}

// workRun takes up a run that a job names. inHand tells that another worker has
// it, so that the job looks again later.
func (s *Service) workRun(ctx context.Context, firm, id uuid.UUID) (inHand bool, err error) {
	r, mine, err := s.schedule.TakeRun(ctx, firm, id, s.now(), s.times.Silent)
	switch {
	case fault.KindOf(err) == fault.NotFound:
		return false, nil
	case err != nil:
		return false, err
	case !mine:
		return !r.Ended(), nil
	}
	w := s.newWork(firm, r)
	if r.Losses >= mostLosses {
		_, err := w.end(schedule.RunFailed, schedule.RunEnd{Rule: schedule.EndLost, Lost: r.Losses}.Sentence(), nil)
		return false, err
	}
	w.giveBack = true
	s.at("run taken")
	_, err = w.work(ctx)
	s.at("run saved")
	if errors.Is(err, errRunTaken) {
		err = nil
	}
	return false, err
}

// runWork is one worker's work on one run.
type runWork struct {
	*Service
	firm     uuid.UUID
	run      schedule.Run
	told     func(schedule.Progress)
	giveBack bool            // when this instance stops; otherwise
	givenUp  schedule.RunEnd // is why the run ends then
	progress atomic.Pointer[schedule.Progress]
}

func (s *Service) newWork(firm uuid.UUID, r schedule.Run) *runWork {
	return &runWork{Service: s, firm: firm, run: r}
}

// errRunTaken is the end of a worker that was too slow: the run is another's.
var errRunTaken = errors.New("another worker has taken the run over")

// stopped is why a search was ended: the cause in its context.
type stopped struct {
	end  schedule.RunEnd
	keep bool
}

func (s stopped) Error() string { return s.end.Sentence() }

// ourFailure is what is said of a failure that nobody but us can mend.
const ourFailure = "The planner failed, and nothing was saved. The service's log says why."

// work searches, saves what it finds and ends the run. It beats until all of
// that is done.
func (w *runWork) work(ctx context.Context) (schedule.Run, error) {
	search, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	beats, still := context.WithCancel(context.WithoutCancel(ctx))
	quiet := make(chan struct{})
	go func() {
		defer close(quiet)
		w.beat(beats, cancel)
	}()
	defer func() {
		still()
		<-quiet
	}()
	limit := time.AfterFunc(w.times.Longest, func() {
		cancel(stopped{schedule.RunEnd{Rule: schedule.EndTooLong, After: w.times.Longest}, true})
	})
	defer limit.Stop()
	plan, err := w.plan(search)
	w.at("run searched")
	return w.settle(ctx, context.Cause(search), plan, err)
}

// plan makes the plan; when its context ends, the best so far.
func (w *runWork) plan(ctx context.Context) (schedule.Plan, error) {
	snap, futures, err := w.SnapshotWithFutures(ctx, w.firm, planDays)
	if err != nil {
		return schedule.Plan{}, err
	}
	p, err := w.solve(ctx, snap, futures, w.run.Aim, schedule.Stop{Schedules: w.run.Schedules, Workers: w.run.Workers, Progress: w.tell}, w.run.Seed)
	if err != nil {
		return schedule.Plan{}, err
	}
	if broken := schedule.Validate(snap, p); len(broken) > 0 {
		return schedule.Plan{}, fmt.Errorf("the planner broke %d rules, the first: %s: %s", len(broken), broken[0].Rule, broken[0].Say)
	}
	p.MadeBy, p.MadeAt, p.State = w.run.AskedBy, w.now(), schedule.Draft
	return p, nil
}

func (w *runWork) tell(p schedule.Progress) {
	w.progress.Store(&p)
	if w.told != nil {
		w.told(p)
	}
}

// beat writes how far the run is and ends the search when it is to end.
func (w *runWork) beat(ctx context.Context, end context.CancelCauseFunc) {
	tick := time.NewTicker(w.times.Beat)
	defer tick.Stop()
	heard := time.Now()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		o, err := w.beatOnce(ctx)
		switch {
		case ctx.Err() != nil:
			return
		case err != nil && time.Since(heard) > w.times.Silent:
			end(errRunTaken) // by now somebody else may have it
		case err != nil:
			w.log.Warn("write how far a run is", "run", w.run.ID, "error", err)
		case o.Lost:
			end(errRunTaken)
		case o.StopBy != "":
			end(stopped{schedule.RunEnd{Rule: schedule.EndAsked, By: o.StopBy}, o.Keep})
		case o.Unseen:
			end(stopped{schedule.RunEnd{Rule: schedule.EndUnseen, After: w.times.Unseen}, true})
		}
		if err == nil {
			heard = time.Now()
		}
	}
}

func (w *runWork) beatOnce(ctx context.Context) (schedule.RunOrder, error) {
	ctx, cancel := context.WithTimeout(ctx, w.times.Silent/2)
	defer cancel()
	var p schedule.Progress
	if told := w.progress.Load(); told != nil {
		p = *told
	}
	return w.schedule.Beat(ctx, w.firm, w.run, p, w.times.Unseen)
}

// settle ends the run by what became of its search. ctx is the worker's own,
// cause why the search was ended, if it was.
func (w *runWork) settle(ctx context.Context, cause error, plan schedule.Plan, err error) (schedule.Run, error) {
	var stop stopped
	switch {
	case errors.Is(cause, errRunTaken):
		return schedule.Run{}, errRunTaken
	case errors.As(cause, &stop):
	case ctx.Err() != nil && w.giveBack:
		return schedule.Run{}, w.back(false, 0)
	case ctx.Err() != nil:
		stop = stopped{end: w.givenUp}
	case err != nil:
		return w.fail(err)
	default:
		return w.end(schedule.RunDone, "", &plan)
	}
	if !stop.keep || err != nil {
		return w.end(schedule.RunStopped, stop.end.Sentence(), nil)
	}
	stop.end.Kept = true
	return w.end(schedule.RunStopped, stop.end.Sentence(), &plan)
}

// fail ends the run for a reason that trying again does not mend; for another
// the run goes back.
func (w *runWork) fail(err error) (schedule.Run, error) {
	switch fault.KindOf(err) {
	case fault.Invalid, fault.Conflict, fault.NotFound, fault.Forbidden:
		return w.end(schedule.RunFailed, "The facts cannot be planned: "+sentenceOf(err)+".", nil)
	}
	w.log.Error("make a plan", "firm", w.firm, "run", w.run.ID, "error", err)
	if w.giveBack && w.run.Losses+1 < mostLosses {
		return schedule.Run{}, w.back(true, w.times.Silent/4)
	}
	return w.end(schedule.RunFailed, ourFailure, nil)
}

// sentenceOf says an error that its reader can mend, the first of several.
func sentenceOf(err error) string {
	if all := fault.Each(err); len(all) > 0 {
		return all[0].Error()
	}
	return err.Error()
}

// end writes the end of the run, and its draft with it. A database that is away
// for a moment must not cost a search, so it is tried for as long as the run is
// surely still this worker's.
func (w *runWork) end(state schedule.RunState, reason string, plan *schedule.Plan) (schedule.Run, error) {
	r := w.run
	r.State, r.Reason, r.EndedAt = state, reason, w.now()
	if p := w.progress.Load(); p != nil {
		r.Generated = p.Schedules
	}
	if plan != nil {
		r.Generated, r.Best = plan.Schedules, &plan.Cost.Total
	}
	ctx, cancel := context.WithTimeout(context.Background(), w.times.Silent)
	defer cancel()
	for {
		saved, mine, err := w.schedule.EndRun(ctx, w.firm, r, plan)
		switch {
		case err == nil && !mine:
			return schedule.Run{}, errRunTaken
		case err == nil:
			return saved, nil
		case fault.KindOf(err) != fault.Internal && fault.KindOf(err) != fault.Unavailable:
			return w.unsaved(ctx, err)
		}
		w.log.Warn("save the end of a run", "run", r.ID, "error", err)
		select {
		case <-ctx.Done():
			return schedule.Run{}, fmt.Errorf("save the end of a run: %w", err)
		case <-time.After(w.times.Beat):
		}
	}
}

// unsaved ends a run whose plan the database refused.
func (w *runWork) unsaved(ctx context.Context, why error) (schedule.Run, error) {
	w.log.Error("save a run's plan", "firm", w.firm, "run", w.run.ID, "error", why)
	r := w.run
	r.State, r.Reason, r.EndedAt = schedule.RunFailed, ourFailure, w.now()
	saved, mine, err := w.schedule.EndRun(ctx, w.firm, r, nil)
	if err == nil && !mine {
		err = errRunTaken
	}
	return saved, err
}

// back lets go of the run, for another worker or a later try.
func (w *runWork) back(lost bool, after time.Duration) error {
	ctx, cancel := context.WithTimeout(context.Background(), w.times.Silent)
	defer cancel()
	return w.schedule.GiveBackRun(ctx, w.firm, w.run, lost, w.wake(ctx, w.firm, after))
}
