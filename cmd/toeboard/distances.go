package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"

	"toeboard/schedule"
	"toeboard/weather/fault"
)

type distancesVerb struct {
	File  string `arg:"" optional:"" help:"A CSV file with the columns from, to and km; a place is a crew's name or a job's reference. Without it, the distances in force are printed." type:"existingfile"`
	Firm  string `help:"The firm's identifier; not needed when there is only one." placeholder:"ID"`
	Apply bool   `help:"Store what the file says in place of the distances in force; otherwise only say what would change." and:"apply"`
	By    string `help:"Who sets the distances: the name stands in the record." placeholder:"NAME" and:"apply"`
}

// Run prints the distances in force as CSV, or says what a file changes in them
// and every row that is wrong, and with --apply stores all of it as a new
// version.
func (v distancesVerb) Run(ctx context.Context, s *Settings) error {
	if v.File == "" && v.Apply {
		return fault.Bad("--apply", "", "with a CSV file of distances")
	}
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
	inForce, err := store.Travel(ctx, firm)
	if err != nil {
		return err
	}
	if v.File == "" {
		return schedule.WriteLegs(os.Stdout, inForce.Legs)
	}
	wanted, err := readDistances(v.File, os.Stderr)
	if err != nil {
		return err
	}
	jobs, err := store.Jobs(ctx, firm)
	if err != nil {
		return err
	}
	crews, err := store.Crews(ctx, firm)
	if err != nil {
		return err
	}
	changed := printDistances(os.Stdout, inForce.Legs, wanted, schedule.UnknownPlaces(wanted, crews, jobs))
	if !changed {
		fmt.Printf("Nothing changes: version %d stays in force.\n", inForce.Version)
		return nil
	}
	if !v.Apply {
		fmt.Println("\nNothing was saved: add --apply --by NAME to save it.")
		return nil
	}
	version, err := store.SetTravel(ctx, firm, wanted, inForce.Version, v.By, now())
	if err != nil {
		return err
	}
	fmt.Printf("\nVersion %d is in force, set by %s. Plan again to plan by it.\n", version, v.By)
	return nil
}

// readDistances reads a file of distances and names every row that is wrong.
func readDistances(file string, w io.Writer) ([]schedule.Leg, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	legs, err := schedule.ReadLegs(f)
	if err != nil {
		return nil, refuse(w, file, err)
	}
	return legs, nil
}

// printDistances says what changes, and which names are nobody's; it tells
// whether anything changes.
func printDistances(w io.Writer, inForce, wanted []schedule.Leg, unknown []string) bool {
	was := map[[2]string]float64{}
	for _, l := range inForce {
		was[[2]string{l.From, l.To}] = l.Km
	}
	added, changed := 0, 0
	var list []string
	for _, l := range wanted {
		pair := [2]string{l.From, l.To}
		km, there := was[pair]
		switch {
		case !there:
			added++
		case km != l.Km:
			changed++
			list = append(list, fmt.Sprintf("- %s to %s: %g km becomes %g km", l.From, l.To, km, l.Km))
		}
		delete(was, pair)
	}
	fmt.Fprintf(w, "distances: %d new, %d changed, %d as they were; %d in force are not in the file and go\n", added, changed, len(wanted)-added-changed, len(was))
	for _, line := range list {
		fmt.Fprintln(w, line)
	}
	if len(unknown) > 0 {
		fmt.Fprintf(w, "note: no crew and no job is called %s: their legs are kept and count for nothing\n", strings.Join(unknown, ", "))
	}
	return added+changed+len(was) > 0
}
