// Command bench measures. Each verb is one file (some with more beside it:
// solver_*.go); this one lists them and holds how all of them print: a table
// to read or, with --json, one object a line.
package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"text/tabwriter"

	"github.com/alecthomas/kong"
)

type verbs struct {
	Feed     feedVerb     `cmd:"" help:"Serve a scaffold firm's calendar from a real server and Postgres on loopback, and hold the time against a file of the same size."`
	Morning  morningVerb  `cmd:"" help:"Decide the morning of many invented crews by the pure decision."`
	Record   recordVerb   `cmd:"" help:"Invent a log of records, export it, and measure how long it takes to prove it."`
	Solver   solverVerb   `cmd:"" help:"Solve instances of the scheduling library and compare with the published results."`
	Verdicts verdictsVerb `cmd:"" help:"Judge the hours of many places, members and tasks, and hold the time against only reading the numbers."`
	Week     weekVerb     `cmd:"" help:"Invent a firm, plan it, and say what the plan costs and how long it took."`
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], out{os.Stdout, os.Stderr})
	stop()
	os.Exit(code)
}

// run runs one command line and gives the exit status: 0 done, 1 failed with a
// sentence on standard error, 2 the command line is wrong.
func run(ctx context.Context, args []string, o out) int {
	var v verbs
	parser, err := kong.New(&v,
		kong.Name("bench"),
		kong.Description("Measures what toeboard does: each verb prints a table, or with --json one object a line."),
		kong.UsageOnError(),
		kong.Writers(o.result, o.notes),
		kong.BindTo(ctx, (*context.Context)(nil)),
	)
	if err != nil {
		fmt.Fprintln(o.notes, "bench:", err)
		return 1
	}
	parsed, err := parser.Parse(args)
	if err != nil {
		fmt.Fprintln(o.notes, "bench:", err)
		return 2
	}
	if err := parsed.Run(o); err != nil {
		fmt.Fprintln(o.notes, "bench:", err)
		return 1
	}
	return 0
}

// out is where a verb writes: results, which may be piped on, and notes on how
// far it is.
type out struct{ result, notes io.Writer }

// table writes aligned columns under a heading.
func (o out) table(head []string, rows [][]string) error {
	t := tabwriter.NewWriter(o.result, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, strings.Join(head, "\t"))
	for _, r := range rows {
		fmt.Fprintln(t, strings.Join(r, "\t"))
	}
	return t.Flush()
}

// line writes one object as one line of JSON.
func (o out) line(object any) error { return json.NewEncoder(o.result).Encode(object) }
