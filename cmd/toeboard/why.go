package main

import (
	"context"
	"fmt"
	"io"
	"os"

	"github.com/google/uuid"

	"toeboard/api"
	"toeboard/schedule"
	"toeboard/weather/fault"
)

type whyVerb struct {
	Job   string `arg:"" help:"The reference of a job."`
	Stage string `arg:"" help:"One of its stages that is still to be done, such as roof_work."`
	Draft bool   `help:"Ask about the newest draft; otherwise about the published plan."`
	Firm  string `help:"The firm's identifier; not needed when there is only one." placeholder:"ID"`
}

// Run says why a stage stands where it does in a plan, why not sooner and why
// not by somebody else, or what stands against it.
func (v whyVerb) Run(ctx context.Context, s *Settings) error {
	k, err := schedule.StageFromKey(v.Stage)
	if err != nil {
		return err
	}
	r, firm, done, err := openRooms(ctx, s, v.Firm)
	if err != nil {
		return err
	}
	defer done()
	x, err := r.service.Explain(ctx, firm, v.Job, k, v.Draft)
	if err != nil {
		return err
	}
	printWhy(os.Stdout, x)
	return nil
}

// openRooms opens the database and gives the service with one firm of it. done
// closes it.
func openRooms(ctx context.Context, s *Settings, typed string) (r rooms, firm uuid.UUID, done func(), err error) {
	log := s.logger(os.Stderr)
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return r, firm, nil, err
	}
	done = func() { closeAll(log, db) }
	if r, err = wire(db, now, s.PublicURL, log, s.skies); err == nil {
		firm, err = whichFirm(ctx, r.schedule, typed)
	}
	if err != nil {
		done()
	}
	return r, firm, done, err
}

func printWhy(w io.Writer, x api.Explained) {
	plan := fmt.Sprintf("%s plan %d", x.Plan.State, x.Plan.Version)
	if x.Visit == nil {
		fmt.Fprintf(w, "%s of %s has no place in %s.\n", x.Stage, x.Job.Ref, plan)
		if say := x.SayOpen(); say != "" {
			fmt.Fprintln(w, say)
		}
	} else {
		fmt.Fprintf(w, "%s of %s: %s to %s in %s.\n", x.Stage, x.Job.Ref, x.Visit.First().Short(), x.Visit.Last().Short(), plan)
		if x.Visit.Why != "" {
			fmt.Fprintln(w, x.Visit.Why)
		}
	}
	if x.Lost != nil {
		fmt.Fprintf(w, "The plan has it on %s, and the facts no longer allow that: plan again.\n", x.Lost.First().Short())
	}
	if x.Move != nil {
		fmt.Fprintln(w, x.Move.Say())
	}
	list(w, "What stands against it, all together", x.Clash, func(r schedule.Reason) string { return r.Say() + "." })
	list(w, "Why then", x.Then, schedule.Instead.Say)
	list(w, "Why not sooner", x.Sooner, schedule.Instead.Say)
	list(w, "Why not somebody else", x.Crews, schedule.Other.Say)
	if x.Unsaid > 0 {
		fmt.Fprintf(w, "  (of %d more nothing is said: crews from farther off, or dearer scaffold firms)\n", x.Unsaid)
	}
}

// list prints a heading and a line for each, and nothing for none.
func list[T any](w io.Writer, heading string, all []T, say func(T) string) {
	if len(all) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s:\n", heading)
	for _, one := range all {
		fmt.Fprintf(w, "- %s\n", say(one))
	}
}

// whoIs finds a crew, a person of one, or a scaffold firm by name.
func whoIs(ctx context.Context, store *schedule.Store, firm uuid.UUID, name string) (uuid.UUID, error) {
	crews, err := store.Crews(ctx, firm)
	if err != nil {
		return uuid.Nil, err
	}
	for _, c := range crews {
		if c.Name == name {
			return c.ID, nil
		}
		for _, m := range c.Members {
			if m.Person.Name == name {
				return m.Person.ID, nil
			}
		}
	}
	firms, err := store.ScaffoldFirms(ctx, firm)
	if err != nil {
		return uuid.Nil, err
	}
	for _, f := range firms {
		if f.Name == name {
			return f.ID, nil
		}
	}
	return uuid.Nil, fault.Bad("--who", name, "the name of a crew, a person in one, or a scaffold firm")
}
