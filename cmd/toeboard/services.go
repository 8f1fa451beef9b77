package main

import (
	"context"
	"fmt"
	"os"
	"strings"

	"toeboard/weather"
)

type servicesVerb struct {
	Firm     string   `help:"The firm's identifier; not needed when there is only one." placeholder:"ID"`
	Set      []string `help:"Ask these weather services from now on, in this order: open-meteo, met-norway, site-hourly." placeholder:"NAME,..." and:"set"`
	Together string   `help:"Which answer counts: first, the first that answers, or worst, the worse of those that answer; empty leaves it as it is." enum:"first,worst," default:""`
	By       string   `help:"Who sets it: the name stands in the record." placeholder:"NAME" and:"set"`
	Why      string   `help:"Why it is changed: it stands in the record." placeholder:"WORDS" and:"set"`
}

// Run prints which weather services count for a firm, or says what changes in
// that and stores it as a new version. What changes nothing makes no version.
func (v servicesVerb) Run(ctx context.Context, s *Settings) error {
	log := s.logger(os.Stderr)
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return err
	}
	defer closeAll(log, db)
	r, err := wire(db, now, s.PublicURL, log, s.skies)
	if err != nil {
		return err
	}
	firm, err := whichFirm(ctx, r.schedule, v.Firm)
	if err != nil {
		return err
	}
	inForce, err := r.service.Services(ctx, firm)
	if err != nil {
		return err
	}
	if v.Set == nil {
		fmt.Printf("%s: %s (version %d)\n", strings.Join(inForce.Order, ","), inForce.Together.Words(), inForce.Version)
		return nil
	}
	want := weather.Services{Version: inForce.Version, Order: v.Set, Together: inForce.Together}
	if v.Together != "" {
		want.Together = weather.Together(v.Together)
	}
	changes := want.Changes(inForce, func(key string) string { return key })
	for _, c := range changes {
		fmt.Println("-", c)
	}
	if len(changes) == 0 {
		fmt.Printf("Nothing changes: version %d stays in force.\n", inForce.Version)
		return nil
	}
	version, err := r.service.SetServices(ctx, firm, want, v.By, v.Why)
	if err != nil {
		return err
	}
	fmt.Printf("Version %d is in force, set by %s. Forecasts are read by it within the hour; plan again to plan by it.\n", version, v.By)
	return nil
}
