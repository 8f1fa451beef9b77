package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/google/uuid"

	"toeboard/api"
	"toeboard/schedule"
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
	log := s.logger(os.Stderr)
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return err
	}
	defer closeAll(log, db)
	r, err := wire(db, now, s.PublicURL, log)
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
