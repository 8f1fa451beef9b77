package main

import (
	"fmt"
	"io"
	"text/tabwriter"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// printReplay writes what a plan comes to over the weather that may come: the
// sum in a few lines and, with each, a line for each job.
func printReplay(w io.Writer, s schedule.Snapshot, p schedule.Plan, each bool) {
	r := p.Replay
	if r == nil {
		fmt.Fprintln(w, "\nNobody can say what the plan comes to over the weather to come: it was not carried out in any.")
		return
	}
	fmt.Fprintf(w, "\nThe plan in %d possible weathers, by the usual repairs, %s to %s:\n\n", r.Futures, r.From.Short(), r.Until.Short())
	fmt.Fprintf(w, "  promises kept    %.1f of %d on average\n", r.Kept, r.Promises)
	if r.CannotSay > 0 {
		fmt.Fprintf(w, "  promises unsure  %d, of which nobody can say\n", r.CannotSay)
	}
	fmt.Fprintf(w, "  half-days lost   %.1f on average\n", r.Lost)
	if r.Cost.Known {
		fmt.Fprintf(w, "  cost             %s on average, %s to %s in 8 of 10\n", r.Cost.Mean, r.Cost.P10, r.Cost.P90)
	} else {
		fmt.Fprintln(w, "  cost             nobody can say: weather that it needs is not known")
	}
	if p.Choice != nil {
		fmt.Fprintf(w, "\n%s\n", p.Choice.Say)
	}
	if each {
		printFinishes(w, s, r)
	}
}

func printFinishes(w io.Writer, s schedule.Snapshot, r *schedule.Replayed) {
	refs := map[string]string{}
	for _, j := range s.Jobs {
		refs[j.ID.String()] = j.Ref
	}
	day := func(d civil.Date) string {
		if !d.Known() {
			return "later"
		}
		return d.Short()
	}
	fmt.Fprintln(w)
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "job\tplanned\t1 of 10 by\t5 of 10 by\t9 of 10 by\tpromised\tkept\tlost\thire\t")
	for _, j := range r.Jobs {
		ref := refs[j.Job.String()]
		switch j.Finish {
		case schedule.FinishDone:
		case schedule.FinishSpread:
			fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%.1f\t%s\t\n", ref, day(j.Planned), day(j.P10), day(j.P50), day(j.P90), promised(j), promiseChance(j, r), j.Lost, j.Hire)
		default:
			fmt.Fprintf(t, "%s\t%s\n", ref, j.Why)
		}
	}
	t.Flush()
}

func promised(j schedule.JobReplay) string {
	if !j.Promised.Known() {
		return "-"
	}
	return j.Promised.Short()
}

func promiseChance(j schedule.JobReplay, r *schedule.Replayed) string {
	switch {
	case !j.Promised.Known():
		return "-"
	case j.Promised < r.From:
		return "passed"
	case !j.Chance.Known:
		return "nobody can say"
	}
	return fmt.Sprintf("%.0f%%", 100*j.Chance.P)
}
