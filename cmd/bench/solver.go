package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"time"

	"toeboard/schedule/solver"
	"toeboard/weather/fault"
)

type solverVerb struct {
	Dir       string   `arg:"" help:"Folder with instances (.sm), in subfolders too." type:"existingdir"`
	Best      string   `help:"Table of the best known results; best_known.csv in DIR or above it if left out." type:"existingfile" placeholder:"FILE.csv"`
	Schedules int      `help:"Budget for each instance in schedules; 5000 unless --seconds is given." placeholder:"N"`
	Seconds   float64  `help:"No instance takes longer than this. Schedules and seed alone can be done again alike." placeholder:"S"`
	Seed      uint64   `help:"Seed of the search." default:"1"`
	Workers   int      `help:"Searches side by side for each instance." default:"1"`
	Prove     int      `help:"After the search, an exact one with so many dead ends: it raises the bound and may find a shorter schedule." placeholder:"N"`
	Every     int      `help:"Only each so-manyth instance of a set." default:"1"`
	Hard      bool     `help:"Only the first instance of the hard cells: low resource strength."`
	Only      []string `help:"Only these instances, by name." placeholder:"NAME"`
	Each      bool     `help:"Print every instance too."`
	JSON      bool     `help:"One object a line."`
}

// usualSchedules is the middle of the three budgets that the literature
// compares by (1,000, 5,000 and 50,000).
const usualSchedules = 5000

// Run solves set after set. Every schedule is held against solver.Verify,
// which shares no code with the search; the first that fails ends the run.
func (v solverVerb) Run(ctx context.Context, o out) error {
	if err := v.check(); err != nil {
		return err
	}
	if v.Schedules == 0 {
		v.Schedules = usualSchedules
		if v.Seconds > 0 {
			v.Schedules = math.MaxInt32
		}
	}
	sets, err := v.sets()
	if err != nil {
		return err
	}
	var rows []setRow
	for _, set := range sets {
		one, err := v.solveSet(ctx, o, set)
		if err != nil {
			return err
		}
		if v.JSON {
			if err := o.line(one); err != nil {
				return err
			}
		}
		rows = append(rows, one)
	}
	if v.JSON {
		return nil
	}
	return printSets(o, rows)
}

func (v solverVerb) check() error {
	var bad []error
	if v.Schedules < 0 || v.Schedules > 1<<30 {
		bad = append(bad, fault.Bad("--schedules", fmt.Sprint(v.Schedules), "1 to 1073741824"))
	}
	if !(v.Seconds >= 0 && v.Seconds <= 86400) {
		bad = append(bad, fault.Bad("--seconds", fmt.Sprint(v.Seconds), "up to 86400 s"))
	}
	if v.Workers < 1 || v.Workers > 256 {
		bad = append(bad, fault.Bad("--workers", fmt.Sprint(v.Workers), "1 to 256"))
	}
	if v.Prove < 0 || v.Prove > 1<<30 {
		bad = append(bad, fault.Bad("--prove", fmt.Sprint(v.Prove), "0 to 1073741824"))
	}
	if v.Every < 1 {
		bad = append(bad, fault.Bad("--every", fmt.Sprint(v.Every), "1 or more"))
	}
	return errors.Join(bad...)
}

// solved is one instance with what the search made of it.
type solved struct {
	instance
	makespan, bound, longest solver.Slot
	schedules                int
	took                     time.Duration
	allocs                   uint64
	cut                      bool // the clock ended it before its schedules
	byProof                  bool // the exact search found a shorter schedule
	proving                  time.Duration
}

func (v solverVerb) solveSet(ctx context.Context, o out, set []instance) (setRow, error) {
	var all []solved
	told := time.Now()
	for i, in := range set {
		one, err := v.solveOne(ctx, in)
		if err != nil {
			return setRow{}, err
		}
		all = append(all, one)
		if v.Each {
			if err := printEach(o, v.JSON, one); err != nil {
				return setRow{}, err
			}
		}
		if time.Since(told) > 10*time.Second {
			fmt.Fprintf(o.notes, "%s: %d of %d\n", in.set, i+1, len(set))
			told = time.Now()
		}
	}
	return v.row(all), nil
}

func (v solverVerb) solveOne(ctx context.Context, in instance) (solved, error) {
	d, err := readInstance(in.path)
	if err != nil {
		return solved{}, err
	}
	limited, cancel := ctx, context.CancelFunc(func() {})
	if v.Seconds > 0 {
		limited, cancel = context.WithTimeout(ctx, time.Duration(v.Seconds*float64(time.Second)))
	}
	defer cancel()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	start := time.Now()
	r, err := solver.Solve(limited, d, solver.Stop{Schedules: v.Schedules, Workers: v.Workers}, v.Seed)
	took := time.Since(start)
	runtime.ReadMemStats(&after)
	if err != nil {
		return solved{}, fmt.Errorf("%s: %w", in.path, err)
	}
	if ctx.Err() != nil {
		return solved{}, fmt.Errorf("interrupted at %s", in.name)
	}
	one := solved{instance: in, makespan: solver.Slot(r.Cost), longest: solver.CriticalPath(&d), schedules: r.Schedules,
		took: took, allocs: after.Mallocs - before.Mallocs, cut: limited.Err() != nil && r.Schedules < v.Schedules}
	one.bound = max(solver.Bound(&d), solver.Slot(r.Bound))
	if v.Prove > 0 && one.bound < one.makespan {
		one.prove(limited, d, &r, v.Prove)
	}
	return one, one.verify(d, r)
}

// prove lets the exact search go on from what the other left.
func (s *solved) prove(ctx context.Context, d solver.Data, r *solver.Result, conflicts int) {
	start := time.Now()
	p := solver.Prove(ctx, &d, s.makespan, conflicts)
	s.proving, s.cut = time.Since(start), s.cut || ctx.Err() != nil
	s.bound = max(s.bound, p.Bound)
	if p.Placed != nil {
		s.byProof = true
		r.Placed, r.Cost = p.Placed, solver.Price(d, p.Placed)
		s.makespan = solver.Slot(r.Cost)
	}
}

// verify is the check that no figure is printed without: the schedule keeps
// every rule, leaves nothing out, and is not below what is proven.
func (s solved) verify(d solver.Data, r solver.Result) error {
	for _, wrong := range solver.Verify(d, r) {
		return fmt.Errorf("%s: the schedule fails its check: %s", s.path, wrong)
	}
	for i, at := range r.Placed {
		if at.Mode < 0 {
			return fmt.Errorf("%s: the schedule leaves activity %d out", s.path, i)
		}
	}
	if s.makespan < s.bound {
		return fmt.Errorf("%s: makespan %d is below the bound %d: one of them is wrong", s.path, s.makespan, s.bound)
	}
	if s.best != nil && s.makespan < s.best.lower {
		return fmt.Errorf("%s: makespan %d is below the published lower bound %d: one of them is wrong", s.path, s.makespan, s.best.lower)
	}
	if s.best != nil && s.bound > s.best.upper {
		return fmt.Errorf("%s: bound %d is above the published schedule of %d: one of them is wrong", s.path, s.bound, s.best.upper)
	}
	return nil
}
