package main

import (
	"fmt"
	"math"
	"time"
)

// setRow is what is printed of a set. Means are over its instances, in percent;
// a mean for which nothing is published is null.
type setRow struct {
	Set            string   `json:"set"`
	Instances      int      `json:"instances"`
	Reference      string   `json:"reference"`         // what the deviation is from: optimum or critical path
	MeanDevRef     *float64 `json:"mean_dev_ref_pct"`  // (makespan - reference) / reference
	MeanGapBest    *float64 `json:"mean_gap_best_pct"` // (makespan - best known) / best known
	Matched        *float64 `json:"matched_pct"`       // makespan is the best known or below it
	MeanGapBound   float64  `json:"mean_gap_bound_pct"`
	Proven         float64  `json:"proven_pct"`                // makespan is our own lower bound
	BoundBelowBest *float64 `json:"mean_bound_below_best_pct"` // (best known - bound) / best known
	BoundIsBest    *float64 `json:"bound_is_best_pct"`
	PerSecond      float64  `json:"schedules_per_s"`
	Allocs         float64  `json:"allocs_per_schedule"`
	Seed           uint64   `json:"seed"`
	Schedules      int      `json:"schedules"` // budget for each instance
	Seconds        float64  `json:"seconds"`   // the guard for each instance, 0 = none
	Workers        int      `json:"workers"`
	SchedulesMade  int      `json:"schedules_made"` // in all; an instance that is proven ends early
	Took           float64  `json:"took_s"`         // in all, without the exact search
	Prove          int      `json:"prove"`          // dead ends that the exact search may meet in each instance
	ByProof        int      `json:"found_by_proof"` // instances in which the exact search found a shorter schedule
	Proving        float64  `json:"proving_s"`      // in all
	EndedByTheTime int      `json:"ended_by_time"`  // instances that the guard cut short: they cannot be done again alike
}

func percent(above, of float64) float64 { return 100 * (above - of) / of }

// mean gathers what is known and gives its mean, nil when that is nothing.
type mean struct {
	sum float64
	n   int
}

func (m *mean) add(x float64) { m.sum, m.n = m.sum+x, m.n+1 }

func (m *mean) value() *float64 {
	if m.n == 0 {
		return nil
	}
	x := m.sum / float64(m.n)
	return &x
}

// reference gives what the literature measures a schedule against: the optimum
// in J30, where all are proven, else the critical path.
func (s solved) reference() (length float64, known bool) {
	if s.set != "j30" {
		return float64(s.longest), true
	}
	if s.best == nil || !s.best.proven {
		return 0, false
	}
	return float64(s.best.upper), true
}

func (v solverVerb) row(all []solved) setRow {
	r := setRow{Set: all[0].set, Instances: len(all), Reference: "critical path", Seed: v.Seed, Schedules: v.Schedules, Seconds: v.Seconds, Workers: v.Workers, Prove: v.Prove}
	if r.Set == "j30" {
		r.Reference = "optimum"
	}
	var dev, gap, matched, bound, proven, below, is mean
	var took time.Duration
	allocs := 0.0
	for _, s := range all {
		makespan := float64(s.makespan)
		if ref, ok := s.reference(); ok {
			dev.add(percent(makespan, ref))
		}
		if s.best != nil {
			gap.add(percent(makespan, float64(s.best.upper)))
			matched.add(hundredIf(s.makespan <= s.best.upper))
			below.add(-percent(float64(s.bound), float64(s.best.upper)))
			is.add(hundredIf(s.bound == s.best.upper))
		}
		bound.add(percent(makespan, float64(s.bound)))
		proven.add(hundredIf(s.makespan == s.bound))
		r.SchedulesMade += s.schedules
		took += s.took
		r.Proving += s.proving.Seconds()
		if s.byProof {
			r.ByProof++
		}
		allocs += float64(s.allocs)
		if s.cut {
			r.EndedByTheTime++
		}
	}
	r.MeanDevRef, r.MeanGapBest, r.Matched = dev.value(), gap.value(), matched.value()
	r.BoundBelowBest, r.BoundIsBest = below.value(), is.value()
	r.MeanGapBound, r.Proven = *bound.value(), *proven.value()
	r.Took = took.Seconds()
	r.PerSecond, r.Allocs = math.Round(float64(r.SchedulesMade)/r.Took), allocs/float64(r.SchedulesMade)
	return r
}

func hundredIf(yes bool) float64 {
	if yes {
		return 100
	}
	return 0
}

func printSets(o out, rows []setRow) error {
	var cells [][]string
	for _, r := range rows {
		cells = append(cells, []string{r.Set, fmt.Sprint(r.Instances), orUnknown(r.MeanDevRef, 3) + " over " + r.Reference, orUnknown(r.MeanGapBest, 3), orUnknown(r.Matched, 1),
			fmt.Sprintf("%.3f", r.MeanGapBound), fmt.Sprintf("%.1f", r.Proven), orUnknown(r.BoundBelowBest, 3), orUnknown(r.BoundIsBest, 1),
			fmt.Sprint(r.SchedulesMade), fmt.Sprintf("%.0f", r.PerSecond), fmt.Sprintf("%.2f", r.Allocs), fmt.Sprint(r.EndedByTheTime)})
	}
	err := o.table([]string{"set", "instances", "mean deviation %", "over best known %", "matched %", "over bound %", "proven %", "bound below best %", "bound is best %", "schedules", "per second", "allocations each", "ended by time"}, cells)
	if err != nil {
		return err
	}
	r := rows[0]
	for _, r := range rows {
		if r.Prove > 0 {
			fmt.Fprintf(o.result, "\n%s: the exact search, at most %d dead ends an instance, found a shorter schedule in %d, in %.1f s in all.", r.Set, r.Prove, r.ByProof, r.Proving)
		}
	}
	_, err = fmt.Fprintf(o.result, "\nAt most %d schedules an instance, seed %d, %d workers. Every schedule passed the independent check.\n", r.Schedules, r.Seed, r.Workers)
	return err
}

func orUnknown(x *float64, digits int) string {
	if x == nil {
		return "not known"
	}
	return fmt.Sprintf("%.*f", digits, *x)
}

// instanceRow is one instance in --each.
type instanceRow struct {
	Instance  string  `json:"instance"`
	Set       string  `json:"set"`
	Makespan  int     `json:"makespan"`
	Bound     int     `json:"bound"`
	Path      int     `json:"critical_path"`
	BestKnown *int    `json:"best_known"`
	Schedules int     `json:"schedules_made"`
	Took      float64 `json:"took_s"`
}

func printEach(o out, asJSON bool, s solved) error {
	r := instanceRow{Instance: s.name, Set: s.set, Makespan: int(s.makespan), Bound: int(s.bound), Path: int(s.longest), Schedules: s.schedules, Took: s.took.Seconds()}
	known := "not known"
	if s.best != nil {
		upper := int(s.best.upper)
		r.BestKnown, known = &upper, fmt.Sprint(upper)
	}
	if asJSON {
		return o.line(r)
	}
	_, err := fmt.Fprintf(o.result, "%-10s makespan %d, bound %d, best known %s, %d schedules\n", r.Instance, r.Makespan, r.Bound, known, r.Schedules)
	return err
}
