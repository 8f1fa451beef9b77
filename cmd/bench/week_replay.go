package main

import (
	"context"
	"errors"
	"fmt"

	"toeboard/schedule"
)

// replayRow is what the plan of one firm comes to over the weather that may come.
type replayRow struct {
	Seed         uint64  `json:"seed"`
	Cost         int64   `json:"cost_pence"`          // as planned
	Mean         int64   `json:"replayed_mean_pence"` // over the futures
	P10          int64   `json:"replayed_p10_pence"`
	P90          int64   `json:"replayed_p90_pence"`
	Promises     int     `json:"promises"`         // of jobs to be commissioned
	InPlan       int     `json:"promises_in_plan"` // that the plan itself keeps
	Kept         float64 `json:"promises_kept"`    // the mean over the futures
	Lost         float64 `json:"lost_half_days"`
	Late         int     `json:"finishes_within"` // jobs finished by the planned day in half of the futures
	Jobs         int     `json:"finishes"`        // jobs that the plan commissions
	LeftOut      int     `json:"left_out"`
	LeftOutCould int     `json:"left_out_that_could_start"`
	Futures      int     `json:"futures"`
}

// replays plans some firms and carries each plan out over its futures.
func (v weekVerb) replays(ctx context.Context, o out) error {
	var cells [][]string
	for k := range v.Firms {
		row, err := v.replayed(ctx, v.Seed+uint64(k))
		if err != nil {
			return err
		}
		if v.JSON {
			if err := o.line(row); err != nil {
				return err
			}
			continue
		}
		cells = append(cells, []string{fmt.Sprint(row.Seed), schedule.Pence(row.Cost).String(), schedule.Pence(row.Mean).String(),
			fmt.Sprintf("%.2f", float64(row.Mean)/float64(row.Cost)), schedule.Pence(row.P10).String(), schedule.Pence(row.P90).String(),
			fmt.Sprintf("%d/%d", row.InPlan, row.Promises), fmt.Sprintf("%.1f", row.Kept), fmt.Sprintf("%d/%d", row.Late, row.Jobs),
			fmt.Sprintf("%.0f", row.Lost), fmt.Sprintf("%d/%d", row.LeftOut, row.LeftOutCould)})
	}
	if v.JSON {
		return nil
	}
	head := []string{"seed", "plan", "replayed mean", "ratio", "P10", "P90", "promises in plan", "kept", "P50 by planned day", "lost", "left out/could start"}
	if err := o.table(head, cells); err != nil {
		return err
	}
	fmt.Fprintf(o.result, "\nInvented firms of %d jobs and %d crews planning on %s for %d days with %d schedules; each plan carried out in its futures.\n", v.Jobs, v.Crews, v.From, v.Days, v.Schedules)
	return nil
}

func (v weekVerb) replayed(ctx context.Context, seed uint64) (replayRow, error) {
	f, err := inventAll(v.size(), seed)
	if err != nil {
		return replayRow{}, err
	}
	futures, err := f.futures()
	if err != nil {
		return replayRow{}, err
	}
	p, err := schedule.Solve(ctx, f.s, schedule.Stop{Schedules: v.Schedules, Workers: v.Workers}, seed)
	if err != nil {
		return replayRow{}, err
	}
	if ctx.Err() != nil {
		return replayRow{}, errors.New("interrupted")
	}
	if err := holds(f.s, p); err != nil {
		return replayRow{}, err
	}
	r := schedule.Replay(f.s, p, futures)
	row := replayRow{Seed: seed, Cost: int64(p.Cost.Total), Mean: int64(r.Cost.Mean), P10: int64(r.Cost.P10), P90: int64(r.Cost.P90),
		Promises: r.Promises, Kept: r.Kept, Lost: r.Lost, LeftOut: len(p.Unplanned), Futures: r.Futures}
	if !r.Cost.Known {
		return row, errors.New("the plan hangs on weather that is not known, so its cost has no spread")
	}
	for _, l := range p.Cost.Lines {
		if l.Item == schedule.NotPlanned {
			row.LeftOutCould++
		}
	}
	for _, j := range r.Jobs {
		if j.Finish != schedule.FinishSpread {
			continue
		}
		row.Jobs++
		if j.P50.Known() && j.P50 <= j.Planned {
			row.Late++
		}
		if j.Promised.Known() && j.Planned <= j.Promised && j.Promised >= f.s.FirstDay {
			row.InPlan++
		}
	}
	return row, nil
}
