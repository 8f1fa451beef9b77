package main

import (
	"fmt"
	"io"
	"strings"

	"toeboard/api"
	"toeboard/safety"
	"toeboard/weather/civil"
)

// printMornings writes each crew's decision with what holds it: conditions not
// met first, then those not known. What is met is counted.
func printMornings(w io.Writer, day civil.Date, mornings []api.Judged) {
	fmt.Fprintf(w, "\nMay they start on %s?\n", day.Long())
	if len(mornings) == 0 {
		fmt.Fprintln(w, "\nNo crew has work that morning.")
	}
	for _, m := range mornings {
		fmt.Fprintf(w, "\n%s at %s, %s: %s\n", m.Crew.Name, m.Job.Ref, m.Job.Site.Address, strings.ToUpper(m.Decision.Verdict.String()))
		for _, c := range m.Decision.ClearFor {
			fmt.Fprintf(w, "  clear for %s by itself, until %s\n", strings.ReplaceAll(c.Stage, "_", " "), c.Until.In(m.Snapshot.Location).Format("15:04"))
		}
		printConditions(w, m.Decision.Conditions)
	}
	fmt.Fprintln(w, "\nGuidance, not permission: local codes and the competent people on site come first.")
}

// printConditions names what is not met and not known and counts the rest;
// advice holds nobody and is not counted.
func printConditions(w io.Writer, all []safety.Condition) {
	for _, state := range []safety.State{safety.NotMet, safety.Unknown} {
		for _, c := range all {
			if c.State == state {
				fmt.Fprintf(w, "  %s %s%s\n", c.Code, c.Sentence(), advice(c))
			}
		}
	}
	met, asked, notNeeded := 0, 0, 0
	for _, c := range all {
		switch {
		case c.Advice:
		case !c.Applies:
			notNeeded++
		default:
			asked++
			if c.State == safety.Met {
				met++
			}
		}
	}
	fmt.Fprintf(w, "  %d of %d conditions met, %d not needed for today's work\n", met, asked, notNeeded)
}

func advice(c safety.Condition) string {
	if c.Advice {
		return " (advice: it does not hold the crew)"
	}
	return ""
}
