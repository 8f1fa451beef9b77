package main

import (
	"context"
	"fmt"
	"io"
	"os"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

type whatIfVerb struct {
	Kind  string `arg:"" enum:"pin,promise,drop_job,absence,add_crew,hire" help:"pin: --job, --stage starts on --on (by --who). promise: --job is promised for --on. drop_job: --job. absence: --who is away from --on to --until. add_crew: one like --who. hire: scaffold firm --who gives --weeks more in its price."`
	Job   string `help:"The reference of an open job." placeholder:"REF"`
	Stage string `help:"A stage of it, such as roof_work." placeholder:"STAGE"`
	Who   string `help:"The name of a crew, a person in one, or a scaffold firm." placeholder:"NAME"`
	On    string `help:"A day as 2026-12-31." placeholder:"DAY"`
	Until string `help:"The last day, as 2026-12-31." placeholder:"DAY"`
	Weeks int    `help:"Weeks of hire."`
	Firm  string `help:"The firm's identifier; not needed when there is only one." placeholder:"ID"`
}

// Run answers what a change would do to cost, promises and appointments.
// Nothing is saved.
func (v whatIfVerb) Run(ctx context.Context, s *Settings) error {
	r, firm, done, err := openRooms(ctx, s, v.Firm)
	if err != nil {
		return err
	}
	defer done()
	c := schedule.Change{Kind: schedule.ChangeKind(v.Kind), On: civil.NoDate, Until: civil.NoDate, Weeks: v.Weeks}
	if v.Job != "" {
		j, err := r.schedule.Job(ctx, firm, v.Job)
		if err != nil {
			return err
		}
		c.Job = j.ID
	}
	if v.Stage != "" {
		if c.Stage, err = schedule.StageFromKey(v.Stage); err != nil {
			return err
		}
	}
	if v.Who != "" {
		if c.Who, err = whoIs(ctx, r.schedule, firm, v.Who); err != nil {
			return err
		}
	}
	for _, f := range []struct {
		flag, typed string
		to          *civil.Date
	}{{"--on", v.On, &c.On}, {"--until", v.Until, &c.Until}} {
		if f.typed == "" {
			continue
		}
		if *f.to, err = civil.Parse(f.typed); err != nil {
			return fault.Bad(f.flag, f.typed, "a day as 2026-12-31")
		}
	}
	w, _, err := r.service.WhatIf(ctx, firm, []schedule.Change{c})
	if err != nil {
		return err
	}
	printWhatIf(os.Stdout, w)
	return nil
}

func printWhatIf(out io.Writer, w schedule.WhatIf) {
	fmt.Fprintln(out, w.Say())
	list(out, "Not kept, because facts stand against it", w.Lost, func(s string) string { return s + "." })
	list(out, "What stands against it", w.Clash, func(r schedule.Reason) string { return r.Say() + "." })
	list(out, "The cost", w.Items, func(d schedule.CostDiff) string {
		if d.More < 0 {
			return fmt.Sprintf("%s: %s less", d.Item, -d.More)
		}
		return fmt.Sprintf("%s: %s more", d.Item, d.More)
	})
	list(out, "Promises that would no longer be planned in time", w.Late, func(s string) string { return s })
	list(out, "Promises that would be planned in time after all", w.Saved, func(s string) string { return s })
	list(out, "Published visits that would move", w.Moves, func(m schedule.Move) string {
		to := "taken out"
		if m.To != nil {
			to = "to " + m.To.First().Short()
		}
		return fmt.Sprintf("%s %s from %s %s", m.Ref, m.Stage, m.From.First().Short(), to)
	})
	fmt.Fprintf(out, "\nBoth sides were searched with %d schedules and seed %d; with another seed the side without the change costs %s more or less. Nothing was saved.\n", w.Schedules, w.Seed, w.Noise)
}
