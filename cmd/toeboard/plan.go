package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"time"

	"github.com/google/uuid"

	"toeboard/api"
	"toeboard/schedule"
	"toeboard/weather/fault"
)

type planVerb struct {
	Firm      string `help:"The firm's identifier; not needed when there is only one." placeholder:"ID"`
	Publish   bool   `help:"Publish the plan and move the scaffold bookings with it."`
	Seed      uint64 `help:"Seed of the search: the same facts, budget and seed give the same plan." default:"1"`
	Schedules int    `help:"Budget of the search in schedules." default:"${schedules}"`
	Workers   int    `help:"Searches side by side; the plan depends on the number." default:"1"`
	Aim       string `help:"What the plan is to be best at: least_cost (by the firm's rates, one search), cheapest_on_average or keeps_promises (five searches share the budget, each plan is carried out over the weather that may come)." enum:"least_cost,cheapest_on_average,keeps_promises" default:"least_cost"`
	Replay    bool   `help:"Print for each job when it is finished over the weather that may come, and the chance of its promise."`
	Days      int    `help:"Working days to print." default:"10"`
	Dump      string `help:"Write the problem that was planned to this file (JSON, see schedule/MODEL.md) and the plan beside it (.plan.json). No names of customers or people, no addresses; the positions of the sites are in it." placeholder:"FILE.json"`
}

// Run plans, saves the draft and prints it; with --publish it takes effect. It
// is a run like one from the page, made by this process: there is one at a time,
// and the pages show how far it is.
func (v planVerb) Run(ctx context.Context, s *Settings) error {
	if err := v.check(); err != nil {
		return err
	}
	log := s.logger(os.Stderr)
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return err
	}
	defer closeAll(log, db)
	r, err := wire(db, now, s.PublicURL, log, s.skies)
	if err != nil {
		return err
	}
	firm, err := whichFirm(ctx, r.schedule, v.Firm)
	if err != nil {
		return err
	}
	aim, err := schedule.AimFromKey(v.Aim)
	if err != nil {
		return err
	}
	plan, err := r.service.Plan(ctx, firm, api.RunAsk{By: "toeboard plan", Aim: aim, Seed: v.Seed, Schedules: v.Schedules, Workers: v.Workers}, tellPlanProgress(os.Stderr))
	if err != nil {
		return err
	}
	snap, err := r.schedule.Snapshot(ctx, firm, now(), plan.FirstDay, plan.Days)
	if err != nil {
		return err
	}
	printPlan(os.Stdout, snap, plan, v.Days)
	printReplay(os.Stdout, snap, plan, v.Replay)
	if v.Dump != "" {
		if err := v.dump(ctx, r.service, firm, plan); err != nil {
			return err
		}
	}
	if !v.Publish {
		fmt.Printf("\nPlan %d is a draft: publish it on /plan or with --publish.\n", plan.Version)
		return nil
	}
	published, changes, err := r.service.Publish(ctx, firm, plan.ID, "toeboard plan", nil)
	if err != nil {
		return err
	}
	fmt.Printf("\nPlan %d is published; %d scaffold bookings changed.\n", published.Version, len(changes))
	for _, c := range changes {
		fmt.Println("-", c.Why)
	}
	return nil
}

// The bounds of a run, which are those of its record, and of what is printed of
// its plan.
const (
	mostSchedules = math.MaxInt32
	mostWorkers   = 64
	mostDays      = 400
)

// check holds the flags against their bounds before anything is planned, and
// sees that what is to be dumped can be written.
func (v planVerb) check() error {
	var bad []error
	for _, f := range []struct {
		flag     string
		is, most int
	}{{"--schedules", v.Schedules, mostSchedules}, {"--workers", v.Workers, mostWorkers}, {"--days", v.Days, mostDays}} {
		if f.is < 1 || f.is > f.most {
			bad = append(bad, fault.Bad(f.flag, fmt.Sprint(f.is), fmt.Sprintf("1 to %d", f.most)))
		}
	}
	if len(bad) > 0 || v.Dump == "" {
		return errors.Join(bad...)
	}
	for _, path := range []string{v.Dump, planFileBeside(v.Dump)} {
		if err := mayWrite(path); err != nil {
			return fault.Bad("--dump", v.Dump, fmt.Sprintf("a file that can be written (%s)", err))
		}
	}
	return nil
}

// mayWrite opens a file for writing and leaves everything as it was.
func mayWrite(path string) error {
	_, err := os.Stat(path)
	isNew := errors.Is(err, fs.ErrNotExist)
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE, 0o644)
	if err != nil {
		return err
	}
	err = file.Close()
	if isNew {
		err = errors.Join(err, os.Remove(path))
	}
	return err
}

// dump writes the facts as they are now, which are those of the plan unless
// somebody changed them this moment.
func (v planVerb) dump(ctx context.Context, service *api.Service, firm uuid.UUID, plan schedule.Plan) error {
	facts, err := service.Snapshot(ctx, firm, plan.Days)
	if err != nil {
		return err
	}
	if err := dumpPlan(v.Dump, facts, plan); err != nil {
		return err
	}
	fmt.Printf("\nWritten: %s and %s; 'toeboard cost' prices them.\n", v.Dump, planFileBeside(v.Dump))
	return nil
}

// tellPlanProgress writes how far a search is, once a second at most.
func tellPlanProgress(w io.Writer) func(schedule.Progress) {
	var last time.Time
	return func(p schedule.Progress) {
		if time.Since(last) < time.Second {
			return
		}
		last = time.Now()
		bound := "nothing is proven"
		if p.Bound > 0 {
			bound = "no plan costs less than " + p.Bound.String()
		}
		fmt.Fprintf(w, "%d of %d schedules, the best plan costs %s, %s\n", p.Schedules, p.Of, p.Best, bound)
	}
}

// defaults are values that help texts and flags take from the code.
var defaults = map[string]string{"schedules": fmt.Sprint(api.DefaultSchedules), "listen": usualListen}
