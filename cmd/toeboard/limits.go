package main

import (
	"context"
	"fmt"
	"io"
	"os"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/archive"
)

type limitsVerb struct {
	Firm string `help:"The firm's identifier; not needed when there is only one." placeholder:"ID"`
	Set  string `help:"Store this CSV file as the firm's next version; 'toeboard limits' writes one to start from." type:"existingfile" placeholder:"FILE" and:"set"`
	By   string `help:"Who sets the limits: the name stands in the record." placeholder:"NAME" and:"set"`
	Why  string `help:"Why they are changed: it stands in the record." placeholder:"WORDS" and:"set"`
}

// Run prints the weather limits in force as CSV, or says what a file changes in
// them and stores it as a new version.
func (v limitsVerb) Run(ctx context.Context, s *Settings) error {
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return err
	}
	defer closeAll(s.logger(os.Stderr), db)
	firm, err := whichFirm(ctx, schedule.NewStore(db.pool, newID), v.Firm)
	if err != nil {
		return err
	}
	store := archive.NewStore(db.pool, newID)
	inForce, err := store.Limits(ctx, firm)
	if err != nil {
		return err
	}
	if v.Set == "" {
		_, err = os.Stdout.Write(inForce.CSV())
		return err
	}
	wanted, err := readLimits(v.Set, os.Stderr)
	if err != nil {
		return err
	}
	return setLimits(ctx, store, firm, inForce, wanted, v.By, v.Why)
}

// readLimits reads a file of limits and names everything that is wrong with it.
func readLimits(file string, w io.Writer) (weather.Limits, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return weather.Limits{}, err
	}
	l, err := weather.ParseLimits(text)
	if err != nil {
		return weather.Limits{}, refuse(w, file, err)
	}
	return l, nil
}

// setLimits says what changes, then stores it. A file that changes nothing
// makes no version.
func setLimits(ctx context.Context, store *archive.Store, firm uuid.UUID, inForce, wanted weather.Limits, by, why string) error {
	changes := wanted.Changes(inForce)
	for _, c := range changes {
		fmt.Println("-", c)
	}
	if len(changes) == 0 {
		fmt.Printf("Nothing changes: version %d stays in force.\n", inForce.Version)
		return nil
	}
	for _, looser := range wanted.Loosened() {
		fmt.Println("! looser than at the start:", looser)
	}
	wanted.Version = inForce.Version
	version, err := store.SetLimits(ctx, firm, wanted, by, why, now())
	if err != nil {
		return err
	}
	fmt.Printf("Version %d is in force, set by %s. Mornings are judged by it from now on; plan again to plan by it.\n", version, by)
	return nil
}
