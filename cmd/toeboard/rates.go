package main

import (
	"context"
	"fmt"
	"os"

	"toeboard/schedule"
)

type ratesVerb struct {
	Firm string `help:"The firm's identifier; not needed when there is only one." placeholder:"ID"`
	Set  string `help:"Store this JSON file as the firm's next version; 'toeboard rates' writes one to start from." type:"existingfile" placeholder:"FILE" and:"set"`
	By   string `help:"Who sets the rates: the name stands in the record." placeholder:"NAME" and:"set"`
}

// Run prints the rates in force as JSON, or says what a file changes in them
// and stores it as a new version.
func (v ratesVerb) Run(ctx context.Context, s *Settings) error {
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
	inForce, err := store.Rates(ctx, firm)
	if err != nil {
		return err
	}
	if v.Set == "" {
		_, err = os.Stdout.Write(schedule.RatesJSON(inForce.Rates))
		return err
	}
	text, err := os.ReadFile(v.Set)
	if err != nil {
		return err
	}
	wanted, err := schedule.ParseRates(text)
	if err != nil {
		return refuse(os.Stderr, v.Set, err)
	}
	changes := wanted.Changes(inForce.Rates)
	for _, c := range changes {
		fmt.Println("-", c)
	}
	if len(changes) == 0 {
		fmt.Printf("Nothing changes: version %d stays in force.\n", inForce.Version)
		return nil
	}
	version, err := store.SetRates(ctx, firm, wanted, inForce.Version, v.By, now())
	if err != nil {
		return err
	}
	fmt.Printf("Version %d is in force, set by %s. Plan again to plan by it.\n", version, v.By)
	return nil
}
