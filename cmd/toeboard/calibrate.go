package main

import (
	"context"
	"fmt"
	"os"
	"strings"
	"text/tabwriter"

	"toeboard/api"
	"toeboard/weather"
	"toeboard/weather/fault"
)

type calibrateVerb struct {
	Days int    `help:"How many days back kept forecasts count." default:"180"`
	By   string `help:"Who asks: the name stands in the record." placeholder:"NAME" required:""`
	Firm string `help:"The firm's identifier; not needed when there is only one." placeholder:"ID"`
}

// Run holds kept forecasts against what then happened, prints what they were
// worth, and lets later chances be shrunk by it.
func (v calibrateVerb) Run(ctx context.Context, s *Settings) error {
	if v.Days < 1 || v.Days > 3660 {
		return fault.Bad("--days", fmt.Sprint(v.Days), "1 to 3660")
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
	lesson, err := r.service.Calibrate(ctx, firm, v.By, now().AddDate(0, 0, -v.Days))
	if err != nil {
		return err
	}
	return printLesson(lesson)
}

func printLesson(l api.Lesson) error {
	if l.Version == 0 {
		fmt.Println("Nothing to learn from yet: no kept forecast reaches a half-day of which a later one says what happened.")
		return nil
	}
	t := tabwriter.NewWriter(os.Stdout, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "days ahead\thalf-days\tBrier\treliability\tresolution\tuncertainty\tskill\tkept of distance\tchance given > share that ran (90% interval)")
	for _, d := range l.ByLead {
		fmt.Fprintf(t, "%d\t%d\t%.3f\t%.3f\t%.3f\t%.3f\t%s\t%.0f%%\t%s\n", d.Lead, d.Score.N, d.Score.Brier, d.Score.Reliability, d.Score.Resolution, d.Score.Uncertainty,
			skill(d.Score), 100*d.Keep, diagram(d.Bins))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Printf("\nAll %d chances at %d sites: Brier %.3f, skill %s. Version %d is in force: chances are brought towards the climate by what was learnt.\n",
		l.All.N, l.Sites, l.All.Brier, skill(l.All), l.Version)
	return nil
}

func skill(s weather.Score) string {
	if !s.Skill.Known {
		return "?"
	}
	return fmt.Sprintf("%.2f", s.Skill.N)
}

func diagram(bins []weather.Bin) string {
	var parts []string
	for _, b := range bins {
		parts = append(parts, fmt.Sprintf("%.0f%% > %.0f%% (%.0f-%.0f%%, n %d)", 100*b.P, 100*b.Ran, 100*b.Low, 100*b.High, b.N))
	}
	return strings.Join(parts, "; ")
}
