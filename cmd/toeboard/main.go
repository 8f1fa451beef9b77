// Command toeboard is the whole product in one binary. Each verb is one file;
// this one only lists them.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // a firm's zone must be known on machines that have none installed

	"github.com/alecthomas/kong"
)

type verbs struct {
	Settings

	Demo      demoVerb      `cmd:"" help:"Start an invented firm on a private database, plan it and serve it."`
	Serve     serveVerb     `cmd:"" help:"Serve the firms in the database."`
	Work      workVerb      `cmd:"" help:"Run the rounds by the clock without serving pages."`
	Firm      firmVerb      `cmd:"" help:"Add a firm and its first sign-in."`
	Team      teamVerb      `cmd:"" help:"Read the firm's people, crews and scaffold firms from a JSON file; a dry run unless --apply is given."`
	Plan      planVerb      `cmd:"" help:"Plan a firm's coming weeks and print the plan."`
	Why       whyVerb       `cmd:"" help:"Say why a stage stands where it does in the plan, why not sooner, and why not by somebody else."`
	WhatIf    whatIfVerb    `cmd:"" help:"Say what a change would do to cost, promises and appointments; nothing is saved."`
	Import    importVerb    `cmd:"" help:"Read jobs from a CSV file; a dry run unless --apply is given."`
	Export    exportVerb    `cmd:"" help:"Write the jobs as CSV, as import takes them."`
	Record    recordVerb    `cmd:"" help:"Write a firm's log of safety records, or one job's part of it, as an open file with proofs."`
	Verify    verifyVerb    `cmd:"" help:"Prove such a file without a server, or with --database hold every stored record against the log. Exit status 3: not proven."`
	Cost      costVerb      `cmd:"" help:"Price any plan of a dumped planning problem and name every rule it breaks; no database needed."`
	Solve     solveVerb     `cmd:"" help:"Solve one instance of the scheduling library and draw the schedule."`
	Weather   weatherVerb   `cmd:"" help:"Read a forecast file and print the verdict for each hour."`
	Services  servicesVerb  `cmd:"" help:"Print which weather services count for the firm, or set them."`
	Limits    limitsVerb    `cmd:"" help:"Print the firm's weather limits as CSV, or set them from such a file."`
	Rates     ratesVerb     `cmd:"" help:"Print what the firm's days cost and the rules it plans by as JSON, or set them from such a file."`
	Hazards   hazardsVerb   `cmd:"" help:"Print the firm's own hazards and overrides as JSON, set them from such a file, or list the library with its triggers in words."`
	Distances distancesVerb `cmd:"" help:"Read how far places are apart by road from a CSV file; a dry run unless --apply is given. Without a file, print the distances in force."`
	Climate   climateVerb   `cmd:"" help:"Count an hourly record and plan by it beyond the forecast."`
	Calibrate calibrateVerb `cmd:"" help:"Hold kept forecasts against what then happened, and learn from it."`
	MailIn    mailInVerb    `cmd:"" name:"mail-in" help:"Read what scaffold firms answered by mail: from standard input, a mailbox file or a Maildir."`
	Migrate   migrateVerb   `cmd:"" help:"Bring the database to this program's schema."`
	Config    configVerb    `cmd:"" help:"Print every setting with its value; secrets are hidden."`
	Health    healthVerb    `cmd:"" help:"Ask a running server whether it is well; for containers."`
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:])
	stop()
	os.Exit(code)
}

// run runs one command line and gives the exit status: 0 done, 1 failed with a
// sentence on standard error, 2 the command line is wrong, 3 'verify' found
// something.
func run(ctx context.Context, args []string) int {
	var v verbs
	parser, err := kong.New(&v,
		kong.Name("toeboard"),
		kong.Description("Plans rooftop-solar jobs, books the scaffold, reads the weather, and says when it is clear to start."),
		kong.DefaultEnvars("TOEBOARD"),
		kong.UsageOnError(),
		kong.Vars(defaults),
		kong.BindTo(ctx, (*context.Context)(nil)),
	)
	if err != nil {
		fmt.Fprintln(os.Stderr, "toeboard:", err)
		return 1
	}
	parsed, err := parser.Parse(args)
	if err != nil {
		fmt.Fprintln(os.Stderr, "toeboard:", err)
		return 2
	}
	if err := parsed.Run(&v.Settings); err != nil && !errors.Is(err, context.Canceled) {
		fmt.Fprintln(os.Stderr, "toeboard:", err)
		var other interface{ ExitStatus() int }
		if errors.As(err, &other) {
			return other.ExitStatus()
		}
		return 1
	}
	return 0
}
