package main

import (
	"context"
	"os"

	"toeboard/schedule"
)

type exportVerb struct {
	Firm string `help:"The firm's identifier; not needed when there is only one." placeholder:"ID"`
}

// Run writes the firm's jobs to standard output as import takes them.
func (v exportVerb) Run(ctx context.Context, s *Settings) error {
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return err
	}
	defer closeAll(s.logger(os.Stderr), db)
	store := schedule.NewStore(db.pool, newID)
	firm, err := whichFirm(ctx, store, v.Firm)
	if err != nil {
		return err
	}
	jobs, err := store.Jobs(ctx, firm)
	if err != nil {
		return err
	}
	return schedule.WriteJobs(os.Stdout, jobs)
}
