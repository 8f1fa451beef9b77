package main

import (
	"context"
	"fmt"
	"io"
	"os"

	"toeboard/schedule"
	"toeboard/weather/fault"
)

type importVerb struct {
	File  string `arg:"" help:"A CSV file of jobs; 'toeboard export' writes one to start from." type:"existingfile"`
	Firm  string `help:"The firm's identifier; not needed when there is only one." placeholder:"ID"`
	Apply bool   `help:"Save what the file says; otherwise only say what would change."`
}

// Run reads the file, says what would change and every cell that is wrong, and
// with --apply saves all of it or nothing.
func (v importVerb) Run(ctx context.Context, s *Settings) error {
	log := s.logger(os.Stderr)
	file, err := os.Open(v.File)
	if err != nil {
		return err
	}
	defer file.Close()
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return err
	}
	defer closeAll(log, db)
	store := schedule.NewStore(db.pool, newID)
	firm, err := whichFirm(ctx, store, v.Firm)
	if err != nil {
		return err
	}
	known, err := store.Jobs(ctx, firm)
	if err != nil {
		return err
	}
	in, err := schedule.ReadJobs(file, known)
	if err != nil {
		return refuse(os.Stderr, v.File, err)
	}
	printImport(os.Stdout, in)
	if !v.Apply {
		fmt.Println("\nNothing was saved: add --apply to save it.")
		return nil
	}
	if err := store.ApplyImport(ctx, firm, in, "toeboard import", now()); err != nil {
		return err
	}
	fmt.Println("\nSaved.")
	return nil
}

// refuse names each wrong cell on a line of its own.
func refuse(w io.Writer, file string, err error) error {
	cells := fault.Each(err)
	for _, c := range cells {
		fmt.Fprintln(w, c.Error())
	}
	if len(cells) == 0 {
		return fmt.Errorf("%s: %w", file, err)
	}
	return fault.Bad(file, "", fmt.Sprintf("nothing was saved: %d places to put right", len(cells)))
}

func printImport(w io.Writer, in schedule.Import) {
	fmt.Fprintf(w, "%d new, %d changed, %d unchanged\n", len(in.New), len(in.Changed), in.Unchanged)
	for _, n := range in.New {
		fmt.Fprintf(w, "line %d  %s is new: %s\n", n.Line, n.Job.Ref, n.Job.Site.Address)
	}
	for _, c := range in.Changed {
		for _, d := range c.Diffs {
			fmt.Fprintf(w, "line %d  %s %s\n", c.Line, c.After.Ref, d)
		}
	}
	for _, note := range in.Notes {
		fmt.Fprintln(w, "note:", note)
	}
}
