package main

import (
	"context"
	"fmt"
	"strings"
	"time"
)

// outcome is how a step or a test ended. The zero value is a failure: what
// nobody decided did not pass.
type outcome int

const (
	failed outcome = iota
	passed
	skipped // not run, for a reason that is told
)

func (o outcome) String() string {
	switch o {
	case passed:
		return "passed"
	case skipped:
		return "NOT RUN"
	}
	return "FAILED"
}

// result is one row of the summary: one step, or one kind of tests.
type result struct {
	name    string
	outcome outcome
	took    time.Duration
	note    string
	tests   map[outcome]int // nil for a step that is one check by itself
}

// summary gathers the rows, and what a person must still read: each failure's
// text and each skipped test with its reason.
type summary struct {
	start time.Time
	rows  []result
	fails []string
	skips []string
}

// step is one check: it gives its output and whether it passed, was not run
// (an error of type notRun) or failed.
type step struct {
	name string
	do   func(ctx context.Context) (output string, err error)
}

// notRun is the error of a step that could not be run for an outside reason.
type notRun string

func (n notRun) Error() string { return string(n) }

func (s *summary) step(ctx context.Context, st step) {
	fmt.Printf("%-28s", st.name)
	start := time.Now()
	output, err := st.do(ctx)
	r := result{name: st.name, outcome: passed, took: time.Since(start)}
	switch reason := err.(type) {
	case nil:
	case notRun:
		r.outcome, r.note = skipped, string(reason)
		s.skips = append(s.skips, st.name+": "+string(reason))
	default:
		r.outcome, r.note = failed, firstLineOf(err.Error())
		s.fails = append(s.fails, st.name+": "+strings.TrimSpace(err.Error()+"\n"+ending(output)))
	}
	fmt.Printf("%-8s %s %s\n", r.outcome, seconds(r.took), r.note)
	s.add(r)
}

func (s *summary) add(r result) { s.rows = append(s.rows, r) }

// count is the number of checks and tests that ended so.
func (s *summary) count(o outcome) int {
	n := 0
	for _, r := range s.rows {
		if r.tests == nil {
			if r.outcome == o {
				n++
			}
			continue
		}
		n += r.tests[o]
	}
	return n
}

// String is the summary as the last thing printed. Its last line is
// "N passed, N failed, N skipped": a form that tools know.
func (s *summary) String() string {
	var b strings.Builder
	for _, text := range s.fails {
		fmt.Fprintf(&b, "\n--- FAILED: %s\n", text)
	}
	if len(s.skips) > 0 {
		b.WriteString("\nSkipped, each with its reason:\n")
		for _, text := range s.skips {
			fmt.Fprintf(&b, "  %s\n", text)
		}
	}
	fmt.Fprintf(&b, "\n%-28s %-8s %8s %7s %7s %8s  %s\n", "step", "result", "time", "passed", "failed", "skipped", "note")
	for _, r := range s.rows {
		counts := []string{"", "", ""}
		if r.tests != nil {
			for i, o := range []outcome{passed, failed, skipped} {
				counts[i] = fmt.Sprint(r.tests[o])
			}
		}
		fmt.Fprintf(&b, "%-28s %-8s %8s %7s %7s %8s  %s\n", r.name, r.outcome, seconds(r.took), counts[0], counts[1], counts[2], r.note)
	}
	fmt.Fprintf(&b, "%-28s %-8s %8s\n\n", "all, by the clock", "", seconds(time.Since(s.start)))
	fmt.Fprintf(&b, "%d passed, %d failed, %d skipped\n", s.count(passed), s.count(failed), s.count(skipped))
	return b.String()
}

func seconds(d time.Duration) string { return fmt.Sprintf("%.1f s", d.Seconds()) }

// ending is the end of a long text, where its cause mostly stands.
func ending(text string) string {
	const most = 80
	lines := strings.SplitAfter(text, "\n")
	if len(lines) <= most {
		return text
	}
	return fmt.Sprintf("(%d lines before these)\n", len(lines)-most) + strings.Join(lines[len(lines)-most:], "")
}

func firstLineOf(s string) string {
	line, _, _ := strings.Cut(strings.TrimSpace(s), "\n")
	return line
}
