package main

import (
	"context"
	"fmt"
	"os"
	"text/tabwriter"
	"time"

	"toeboard/weather"
	"toeboard/weather/csvhours"
	"toeboard/weather/fault"
)

type climateVerb struct {
	Record string `arg:"" help:"An hourly record of some years near the firm's sites: a table of hours (CSV) with wind, rain and temperature." type:"existingfile"`
	Of     string `help:"Where and when the record comes from." placeholder:"TEXT" required:""`
	By     string `help:"Who sets it: the name stands in the record." placeholder:"NAME" required:""`
	Firm   string `help:"The firm's identifier; not needed when there is only one." placeholder:"ID"`
}

// Run counts how often each month's half-days of a record were workable and
// makes that what the firm plans by beyond the forecast.
func (v climateVerb) Run(ctx context.Context, s *Settings) error {
	body, err := os.ReadFile(v.Record)
	if err != nil {
		return err
	}
	record, err := csvhours.Parse(body, time.Time{})
	if err != nil {
		return fmt.Errorf("%s: %w", v.Record, err)
	}
	if years := len(record.Members[0].Hours) / (365 * 24); years < 1 {
		return fault.Bad("record", fmt.Sprintf("%d hours", len(record.Members[0].Hours)), "at least a year of hours, so that every month is in it")
	}
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return err
	}
	log := s.logger(os.Stderr)
	defer closeAll(log, db)
	r, err := wire(db, now, s.PublicURL, log, s.skies)
	if err != nil {
		return err
	}
	firm, err := whichFirm(ctx, r.schedule, v.Firm)
	if err != nil {
		return err
	}
	version, rows, err := r.service.SetClimate(ctx, firm, record.Members[0], v.Of, v.By)
	if err != nil {
		return err
	}
	for _, note := range record.Notes {
		fmt.Fprintln(os.Stderr, "note: "+note)
	}
	return printClimate(version, rows)
}

// printClimate shows the share of workable half-days of roof work in suburbs.
func printClimate(version int, rows []weather.ClimateRow) error {
	t := tabwriter.NewWriter(os.Stdout, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "month\thalf\thalf-days\tworkable\tshare")
	for _, r := range rows {
		if r.Task == weather.RoofCovering && r.Terrain == weather.TerrainIII && r.HalfDays > 0 {
			fmt.Fprintf(t, "%s\t%s\t%d\t%d\t%.0f%%\n", r.Month, r.Half, r.HalfDays, r.Workable, 100*float64(r.Workable)/float64(r.HalfDays))
		}
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Printf("\nRoof covering in suburbs (terrain III), daylight not counted. Version %d is in force: plan again to plan by it.\n", version)
	return nil
}
