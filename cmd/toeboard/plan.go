package main

import (
	"context"
	"fmt"
	"os"

	"toeboard/api"
)

type planVerb struct {
	Firm      string `help:"The firm's identifier; not needed when there is only one." placeholder:"ID"`
	Publish   bool   `help:"Publish the plan and move the scaffold bookings with it."`
	Seed      uint64 `help:"Seed of the search: the same facts, budget and seed give the same plan." default:"1"`
	Schedules int    `help:"Budget of the search in schedules." default:"${schedules}"`
	Days      int    `help:"Working days to print." default:"10"`
}

// Run plans, saves the draft and prints it; with --publish it takes effect.
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
	plan, err := r.service.Plan(ctx, firm, "toeboard plan", v.Seed, v.Schedules)
	if err != nil {
		return err
	}
	snap, err := r.schedule.Snapshot(ctx, firm, now(), plan.FirstDay, plan.Days)
	if err != nil {
		return err
	}
	printPlan(os.Stdout, snap, plan, v.Days)
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

// defaults are values that help texts and flags take from the code.
var defaults = map[string]string{"schedules": fmt.Sprint(api.DefaultSchedules), "listen": usualListen}
