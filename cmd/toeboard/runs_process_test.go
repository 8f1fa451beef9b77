//go:build unix

package main

import (
	"bytes"
	"context"
	"errors"
	"os/exec"
	"syscall"
	"testing"
	"time"

	"toeboard/api"
	"toeboard/schedule"
)

// startWorker starts the built program as a worker on the house's database; it
// ends itself as a kill would at the named point, "" = nowhere.
func (h *house) startWorker(t *testing.T, crashAt string) (ended <-chan error, out *lockedBuffer, stop func()) {
	t.Helper()
	cmd := program(t, t.TempDir(), "work")
	cmd.Env = append(cmd.Env, "DATABASE_URL="+h.db.url, "TOEBOARD_PLAN_LOST=2s", "TOEBOARD_CRASH_AT="+crashAt)
	out = &lockedBuffer{}
	cmd.Stdout, cmd.Stderr = out, out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	gone := make(chan struct{})
	go func() {
		done <- cmd.Wait()
		close(gone)
	}()
	stop = func() {
		cmd.Process.Signal(syscall.SIGTERM) // fails when it is gone already
		<-gone
	}
	t.Cleanup(stop)
	return done, out, stop
}

// A worker is killed in the middle of a run: before it searches, after it has
// searched, and after the plan is saved and before the queue knows. Another
// process makes an end of it, and there is one plan.
func TestAKilledWorkersRunIsTakenOverAndItsPlanSavedOnce(t *testing.T) {
	h := openHouse(t, nil)
	ctx, firm := context.Background(), h.scen.firm.ID
	for i, point := range []string{"run taken", "run searched", "run saved"} {
		run, own, err := h.service.StartRun(ctx, firm, api.RunAsk{By: "Imogen Thackray", Seed: uint64(i + 2), Schedules: 100})
		if err != nil || !own {
			t.Fatal(own, err)
		}
		ended, out, _ := h.startWorker(t, point)
		select {
		case err := <-ended:
			var exit *exec.ExitError
			if !errors.As(err, &exit) || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
				t.Fatalf("at %q the worker ended by itself: %v\n%s", point, err, out)
			}
		case <-time.After(time.Minute):
			t.Fatalf("no worker came to %q; it says\n%s", point, out)
		}
		killed := time.Now()
		_, out, stop := h.startWorker(t, "")
		run, err = h.service.Await(ctx, firm, run.ID, time.Minute)
		if err != nil || run.State != schedule.RunDone {
			t.Fatalf("after a kill at %q the run is %s (%s), %v; the next worker says\n%s", point, run.State, run.Reason, err, out)
		}
		t.Logf("killed at %q: done %.1f s later", point, time.Since(killed).Seconds())
		if n := h.plansOfRuns(t); n != i+1 {
			t.Errorf("after a kill at %q, %d runs have made %d plans", point, i+1, n)
		}
		wantLost := 1
		if point == "run saved" {
			wantLost = 0
		}
		if run.Losses != wantLost {
			t.Errorf("at %q the run counts %d lost workers, want %d", point, run.Losses, wantLost)
		}
		stop() // the next run is for the worker that dies
	}
}

// plansOfRuns counts the drafts: the scene's own plan is published.
func (h *house) plansOfRuns(t *testing.T) (n int) {
	t.Helper()
	if err := h.owner.QueryRow(context.Background(), `SELECT count(*) FROM plan WHERE state = 'draft'`).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// 'toeboard plan' makes a run too: refused while another is under way, and it
// says how far it is.
func TestPlanningByCommandIsARunLikeAnother(t *testing.T) {
	h := openHouse(t, nil)
	ctx, firm := context.Background(), h.scen.firm.ID
	run, own, err := h.service.StartRun(ctx, firm, api.RunAsk{By: "Imogen Thackray", Seed: 1, Schedules: 100})
	if err != nil || !own {
		t.Fatal(own, err)
	}
	plan := func() (string, string, error) {
		cmd := program(t, t.TempDir(), "plan", "--schedules", "100", "--days", "1")
		cmd.Env = append(cmd.Env, "DATABASE_URL="+h.db.url)
		var out, errs bytes.Buffer
		cmd.Stdout, cmd.Stderr = &out, &errs
		err := cmd.Run()
		return out.String(), errs.String(), err
	}
	if out, errs, err := plan(); err == nil || !bytes.Contains([]byte(errs), []byte("Imogen Thackray has been making a plan since")) {
		t.Errorf("beside a run it says %q and %q, %v", out, errs, err)
	}
	if _, err := h.service.StopRun(ctx, firm, run.ID, "Imogen Thackray", false); err != nil {
		t.Fatal(err)
	}
	// The house's clock stands in November 2026 and the command's does not: what
	// it answers about the facts is not looked at here, but its run is.
	_, errs, err := plan()
	var state string
	if scanErr := h.owner.QueryRow(ctx, `SELECT state FROM plan_run WHERE asked_by = 'toeboard plan'`).Scan(&state); scanErr != nil {
		t.Fatalf("it left no run: %v; it says %q, %v", scanErr, errs, err)
	}
	if (state == "done") != (err == nil) {
		t.Errorf("its run is %s; it says %q, %v", state, errs, err)
	}
}
