package main

import (
	"context"
	"fmt"
	"os"

	"toeboard/safety"
	"toeboard/schedule"
)

type hazardsVerb struct {
	Firm string `help:"The firm's identifier; not needed when there is only one." placeholder:"ID"`
	List bool   `help:"Print every hazard in force with its trigger in words instead."`
	Set  string `help:"Store this JSON file as the firm's next version; 'toeboard hazards' writes one to start from." type:"existingfile" placeholder:"FILE" and:"set"`
	By   string `help:"Who sets them: the name stands in the record." placeholder:"NAME" and:"set"`
	Why  string `help:"Why they are set: it stands in the record." placeholder:"REASON" and:"set"`
}

// Run prints what the firm set beside the hazard library as JSON, or says what a
// file changes in it and stores it as a new version.
func (v hazardsVerb) Run(ctx context.Context, s *Settings) error {
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return err
	}
	defer closeAll(s.logger(os.Stderr), db)
	firm, err := whichFirm(ctx, schedule.NewStore(db.pool, newID), v.Firm)
	if err != nil {
		return err
	}
	store := safety.NewStore(db.pool, newID)
	own, err := store.FirmHazards(ctx, firm)
	if err != nil {
		return err
	}
	switch {
	case v.List:
		return listHazards(own)
	case v.Set == "":
		_, err = os.Stdout.Write(safety.FirmHazardsJSON(own))
		return err
	}
	text, err := os.ReadFile(v.Set)
	if err != nil {
		return err
	}
	wanted, err := safety.ParseFirmHazards(text)
	if err != nil {
		return refuse(os.Stderr, v.Set, err)
	}
	changes := wanted.Changes(own)
	for _, c := range changes {
		fmt.Println("-", c)
	}
	if len(changes) == 0 {
		fmt.Printf("Nothing changes: version %d stays in force.\n", own.Version)
		return nil
	}
	set, err := store.SetFirmHazards(ctx, firm, wanted, own.Version, v.Why, v.By, now())
	if err != nil {
		return err
	}
	fmt.Printf("Version %d is in force, set by %s. Assessments that are issued from now on are made by it.\n", set.Version, v.By)
	return nil
}

// listHazards prints every hazard in force with its trigger.
func listHazards(own safety.FirmHazards) error {
	lib, err := safety.DefaultLibrary().With(own)
	if err != nil {
		return err
	}
	fmt.Println(lib.Words())
	for _, h := range lib.Hazards {
		fmt.Printf("%s %s\n    when %s\n    %d x %d without controls, %d x %d with them; %s\n", h.ID, h.Name, h.When.Words(), h.Before.Likelihood, h.Before.Severity,
			h.After.Likelihood, h.After.Severity, h.Source)
	}
	for _, l := range lib.Aside {
		fmt.Printf("%s: %s\n", l.Label, l.Say)
	}
	return nil
}
