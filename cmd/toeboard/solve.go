package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"time"

	"toeboard/schedule/solver"
	"toeboard/weather/fault"
)

type solveVerb struct {
	File      string  `arg:"" help:"One instance of the scheduling library (.sm): jobs, what waits for what, resources." type:"existingfile" placeholder:"FILE.sm"`
	Schedules int     `help:"Budget of the search in schedules; 50000 unless --seconds is given." placeholder:"N"`
	Seconds   float64 `help:"Stop after so many seconds, half of them for the search and the rest for the proof. Schedules, dead ends and seed alone can be done again alike." placeholder:"S"`
	Prove     int     `help:"Dead ends that the exact search after it may meet; 20000 unless --seconds is given, 0 is none." default:"-1" placeholder:"N"`
	Seed      uint64  `help:"Seed of the search." default:"1"`
	Workers   int     `help:"Searches side by side." default:"1"`
	SVG       string  `help:"Draw the schedule into this file too." name:"svg" placeholder:"OUT.svg"`
	Quiet     bool    `help:"Say nothing on the way."`
}

// solveSchedules is the largest of the budgets that the literature compares by.
// solveDeadEnds prove nearly all instances of 30 jobs.
const (
	solveSchedules = 50_000
	solveDeadEnds  = 20_000
)

// Run solves one instance and prints the schedule. When it is interrupted it
// prints the best one so far.
func (v solveVerb) Run(ctx context.Context) error {
	if err := v.check(); err != nil {
		return err
	}
	in, err := readInstance(v.File)
	if err != nil {
		return err
	}
	solved, err := v.solve(ctx, in)
	if err != nil {
		return err
	}
	if err := solved.print(os.Stdout); err != nil {
		return err
	}
	if v.SVG == "" {
		return nil
	}
	if err := writeWhole(v.SVG, solved.gantt().WriteSVG); err != nil {
		return fmt.Errorf("drawing the schedule: %w", err)
	}
	fmt.Println("\nDrawn in", v.SVG)
	return nil
}

func (v solveVerb) check() error {
	var bad []error
	if v.Schedules < 0 || v.Schedules > math.MaxInt32 {
		bad = append(bad, fault.Bad("--schedules", fmt.Sprint(v.Schedules), fmt.Sprintf("1 to %d", math.MaxInt32)))
	}
	if v.Prove < -1 || v.Prove > math.MaxInt32 {
		bad = append(bad, fault.Bad("--prove", fmt.Sprint(v.Prove), fmt.Sprintf("0 to %d", math.MaxInt32)))
	}
	if !(v.Seconds >= 0 && v.Seconds <= 86400) {
		bad = append(bad, fault.Bad("--seconds", fmt.Sprint(v.Seconds), "up to 86400 s"))
	}
	if v.Workers < 1 || v.Workers > 256 {
		bad = append(bad, fault.Bad("--workers", fmt.Sprint(v.Workers), "1 to 256"))
	}
	return errors.Join(bad...)
}

// instanceFile is one instance as it was read.
type instanceFile struct {
	name string
	data solver.Data
	jobs []int // the file's job numbers, by activity
}

func readInstance(path string) (instanceFile, error) {
	f, err := os.Open(path)
	if err != nil {
		return instanceFile{}, err
	}
	defer f.Close()
	in := instanceFile{name: filepath.Base(path)}
	if in.data, in.jobs, err = solver.ReadPSPLIBJobs(f); err != nil {
		return in, fmt.Errorf("%s: %w", path, err)
	}
	return in, nil
}

// solve searches, lets the exact search go on from there, and holds what was
// found against the independent check.
func (v solveVerb) solve(ctx context.Context, in instanceFile) (solvedFile, error) {
	s := solvedFile{instanceFile: in, seed: v.Seed}
	began := time.Now()
	half, cancel := v.limit(ctx, v.Seconds/2)
	defer cancel()
	stop := v.stop()
	r, err := solver.Solve(half, in.data, stop, v.Seed)
	if err != nil {
		return s, fmt.Errorf("%s: %w", v.File, err)
	}
	s.result, s.bound = r, max(solver.Bound(&in.data), solver.Slot(r.Bound))
	s.stopped = half.Err() != nil && r.Schedules < stop.Schedules && s.makespan() > s.bound
	if s.makespan() > s.bound && v.deadEnds() > 0 && ctx.Err() == nil {
		rest, cancel := v.limit(ctx, v.Seconds-time.Since(began).Seconds())
		defer cancel()
		s.prove(rest, v)
	}
	s.took = time.Since(began)
	for _, wrong := range solver.Verify(in.data, s.result) {
		return s, fmt.Errorf("%s: the schedule found fails its check, so it is not shown: %s", v.File, wrong)
	}
	return s, nil
}

// prove raises the bound, and takes the shortest schedule when it is found.
func (s *solvedFile) prove(ctx context.Context, v solveVerb) {
	if !v.Quiet {
		fmt.Fprintf(os.Stderr, "%d schedules, the best takes %d slots, none can take less than %d; trying to prove it\n", s.result.Schedules, s.makespan(), s.bound)
	}
	p := solver.Prove(ctx, &s.data, s.makespan(), v.deadEnds())
	s.deadEnds, s.bound = p.Conflicts, max(s.bound, p.Bound)
	s.stopped = s.stopped || ctx.Err() != nil
	if p.Placed != nil {
		s.result.Placed, s.result.Cost = p.Placed, solver.Price(s.data, p.Placed)
	}
}

// limit ends a context after so many seconds when the verb has a limit.
func (v solveVerb) limit(ctx context.Context, seconds float64) (context.Context, context.CancelFunc) {
	if v.Seconds == 0 {
		return context.WithCancel(ctx)
	}
	return context.WithTimeout(ctx, time.Duration(seconds*float64(time.Second)))
}

func (v solveVerb) stop() solver.Stop {
	stop := solver.Stop{Schedules: v.Schedules, Workers: v.Workers}
	if stop.Schedules == 0 {
		stop.Schedules = solveSchedules
		if v.Seconds > 0 {
			stop.Schedules = math.MaxInt32
		}
	}
	if !v.Quiet {
		stop.Progress = tellProgress(os.Stderr)
	}
	return stop
}

func (v solveVerb) deadEnds() int {
	switch {
	case v.Prove >= 0:
		return v.Prove
	case v.Seconds > 0:
		return math.MaxInt32
	}
	return solveDeadEnds
}

// tellProgress writes how far the search is, at most once a second.
func tellProgress(w io.Writer) func(solver.Progress) {
	var last time.Time
	return func(p solver.Progress) {
		if now := time.Now(); now.Sub(last) >= time.Second {
			last = now
			fmt.Fprintf(w, "%d schedules, the best takes %d slots, none can take less than %d\n", p.Schedules, p.Best, p.Bound)
		}
	}
}

// writeWhole writes a file as a whole or not at all.
func writeWhole(path string, write func(io.Writer) error) error {
	tmp, err := os.CreateTemp(filepath.Dir(path), ".toeboard-*")
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name())
	b := bufio.NewWriter(tmp)
	err = write(b)
	err = errors.Join(err, b.Flush(), tmp.Chmod(0o644), tmp.Close())
	if err != nil {
		return err
	}
	return os.Rename(tmp.Name(), path)
}
