package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"runtime/debug"
	"strings"
	"time"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

type weekVerb struct {
	Jobs        int     `help:"Open jobs of the invented firm." default:"200"`
	Crews       int     `help:"Its crews." default:"20"`
	Scaffolders int     `help:"Its scaffold firms; in proportion to the crews if left out." placeholder:"N"`
	Days        int     `help:"Days planned: by default as many as ten jobs a crew take from March on." default:"112"`
	Seed        uint64  `help:"Seed of the firm and of the search." default:"1"`
	Published   bool    `help:"With a plan published before, which the measured one starts from."`
	Schedules   int     `help:"Budget of the search in schedules; 2000 unless --seconds is given." placeholder:"N"`
	Seconds     float64 `help:"The search ends after this long. Schedules and seed alone can be done again alike." placeholder:"S"`
	Workers     int     `help:"Searches side by side." default:"1"`
	Long        int     `help:"Schedules of a long run with another seed that the gap is estimated against as well; 0 = none." default:"0"`
	Dump        string  `help:"Write the firm to this file (JSON, see schedule/MODEL.md), and the plan beside it (.plan.json)." placeholder:"FILE.json"`
	Curve       bool    `help:"Measure 20, 200, 2,000 and 10,000 jobs, crews and scaffold firms in proportion; each search ends after 60 s unless --seconds says otherwise."`
	Compare     bool    `help:"Compare with a plan by priority rules and one by a person's rule, on ten firms."`
	Replay      bool    `help:"Carry the plan of each of --firms firms out over the weather that may come: what it costs then, and the promises it keeps."`
	Firms       int     `help:"How many firms --replay plans, seeds from --seed on." default:"1"`
	From        string  `help:"The morning on which the firm plans, a working day." default:"2027-03-01" placeholder:"DATE"`
	Events      bool    `help:"Time planning anew after a refused scaffold, a sick electrician, a storm, a late consent."`
	Memory      float64 `help:"End the run rather than hold more memory than this [GB]." default:"6"`
	JSON        bool    `help:"One object a line."`
}

// usualBudget is what the service plans with unless told otherwise.
const usualBudget = 2000

// Run invents a firm, plans it and says what that cost and took. Every plan is
// held against schedule.Validate, which shares no search with the planner; the
// first that breaks a rule ends the run.
func (v weekVerb) Run(ctx context.Context, o out) error {
	if err := v.check(); err != nil {
		return err
	}
	if v.Schedules == 0 {
		v.Schedules = usualBudget
		if v.Seconds > 0 {
			v.Schedules = math.MaxInt32
		}
	}
	defer guardMemory(int64(v.Memory * 1e9))()
	switch {
	case v.Curve:
		return v.curve(ctx, o)
	case v.Compare:
		return v.compare(ctx, o)
	case v.Events:
		return v.events(ctx, o)
	case v.Replay:
		return v.replays(ctx, o)
	}
	row, err := v.measure(ctx, v.size(), v.Dump)
	if err != nil {
		return err
	}
	return v.print(o, []weekRow{row})
}

func (v weekVerb) check() error {
	bad := []error{v.size().check()}
	if _, err := civil.Parse(v.From); err != nil {
		bad = append(bad, fault.Bad("--from", v.From, "a date such as 2027-01-04"))
	}
	if v.Firms < 1 || v.Firms > 1000 {
		bad = append(bad, fault.Bad("--firms", fmt.Sprint(v.Firms), "1 to 1000"))
	}
	if v.Schedules < 0 || v.Schedules > 1<<30 {
		bad = append(bad, fault.Bad("--schedules", fmt.Sprint(v.Schedules), "1 to 1073741824"))
	}
	if !(v.Seconds >= 0 && v.Seconds <= 86400) {
		bad = append(bad, fault.Bad("--seconds", fmt.Sprint(v.Seconds), "up to 86400 s"))
	}
	if v.Workers < 1 || v.Workers > 256 {
		bad = append(bad, fault.Bad("--workers", fmt.Sprint(v.Workers), "1 to 256"))
	}
	if !(v.Memory >= 0.1 && v.Memory <= 1000) {
		bad = append(bad, fault.Bad("--memory", fmt.Sprint(v.Memory), "0.1 to 1000 GB"))
	}
	return errors.Join(bad...)
}

// size is the firm that is asked for.
func (v weekVerb) size() firmSize {
	first, _ := civil.Parse(v.From) // check refuses what is no date
	return firmSize{v.Jobs, v.Crews, v.Scaffolders, v.Days, first}
}

// weekRow is what one planning of one firm came to. What was not measured or
// not proven is null.
type weekRow struct {
	Jobs         int      `json:"jobs"`
	Crews        int      `json:"crews"`
	Scaffolders  int      `json:"scaffold_firms"`
	Days         int      `json:"days"`
	Seed         uint64   `json:"seed"`
	Workers      int      `json:"workers"`
	Cost         int64    `json:"cost_pence"`
	CostPerJob   float64  `json:"cost_per_job_pence"`
	Visits       int      `json:"visits"`
	LeftOut      int      `json:"left_out"`
	LeftOutCould int      `json:"left_out_that_could_start"` // priced as not planned
	Schedules    int      `json:"schedules"`
	Took         float64  `json:"took_s"`
	PerSecond    float64  `json:"schedules_per_s"`
	First        *float64 `json:"first_plan_s"`      // until the search told of a plan
	FirstCost    *int64   `json:"first_plan_pence"`  // what that plan cost
	Within2      *float64 `json:"within_2_pct_s"`    // until within 2% of the best of this run and the long one
	Bound        *int64   `json:"bound_pence"`       // no plan costs less
	ProvenGap    *float64 `json:"proven_gap_pct"`    // (cost - bound) / cost
	LongRun      *int64   `json:"long_run_pence"`    // the best of a longer search
	EstimatedGap *float64 `json:"estimated_gap_pct"` // (cost - long run) / cost: a guess, no proof
	PeakMemory   int64    `json:"peak_memory_bytes"` // of this process while it planned; 0 = not known
	Valid        bool     `json:"breaks_no_rule"`
	EndedByTime  bool     `json:"ended_by_time,omitempty"`
}

// told is what the search said of itself and when.
type told struct {
	at   time.Duration
	best schedule.Pence
}

// measure invents a firm and plans it once.
func (v weekVerb) measure(ctx context.Context, z firmSize, dump string) (weekRow, error) {
	s, err := inventFirm(z, v.Seed)
	if err != nil {
		return weekRow{}, err
	}
	if v.Published {
		if s, err = publishedWeek(ctx, s, v.Seed); err != nil {
			return weekRow{}, err
		}
	}
	debug.FreeOSMemory()
	forgetPeak()
	limited, cancel := ctx, context.CancelFunc(func() {})
	if v.Seconds > 0 {
		limited, cancel = context.WithTimeout(ctx, time.Duration(v.Seconds*float64(time.Second)))
	}
	defer cancel()
	var line []told
	bound := schedule.Pence(0)
	start := time.Now()
	p, err := schedule.Solve(limited, s, schedule.Stop{Schedules: v.Schedules, Workers: v.Workers, Progress: func(p schedule.Progress) {
		line = append(line, told{time.Since(start), p.Best})
		bound = max(bound, p.Bound)
	}}, v.Seed)
	took := time.Since(start)
	if err != nil {
		return weekRow{}, err
	}
	if ctx.Err() != nil {
		return weekRow{}, errors.New("interrupted")
	}
	row := weekRow{Jobs: len(s.Jobs), Crews: len(s.Crews), Scaffolders: len(s.ScaffoldFirms), Days: s.Days, Seed: v.Seed, Workers: v.Workers, PeakMemory: peakMemory(),
		Cost: int64(p.Cost.Total), CostPerJob: float64(p.Cost.Total) / float64(len(s.Jobs)), Visits: len(p.Visits), LeftOut: len(p.Unplanned), Schedules: p.Schedules,
		Took: took.Seconds(), PerSecond: float64(p.Schedules) / took.Seconds(), EndedByTime: limited.Err() != nil}
	for _, l := range p.Cost.Lines {
		if l.Item == schedule.NotPlanned {
			row.LeftOutCould++
		}
	}
	if err := holds(s, p); err != nil {
		return row, err
	}
	row.Valid = true
	if bound > 0 {
		row.Bound, row.ProvenGap = new(int64(bound)), new(100*float64(p.Cost.Total-bound)/float64(p.Cost.Total))
	}
	best := p.Cost.Total
	if v.Long > 0 {
		long, err := schedule.Solve(ctx, s, schedule.Stop{Schedules: v.Long, Workers: v.Workers}, v.Seed+1000)
		if err != nil {
			return row, err
		}
		best = min(best, long.Cost.Total)
		row.LongRun = new(int64(long.Cost.Total))
		row.EstimatedGap = new(100 * float64(p.Cost.Total-best) / float64(p.Cost.Total))
	}
	if len(line) > 0 {
		row.First, row.FirstCost = new(line[0].at.Seconds()), new(int64(line[0].best))
	}
	for _, t := range line {
		if float64(t.best) <= 1.02*float64(best) {
			row.Within2 = new(t.at.Seconds())
			break
		}
	}
	return row, dumpWeek(dump, s, p)
}

// holds checks a plan by the validator.
func holds(s schedule.Snapshot, p schedule.Plan) error {
	if broken := schedule.Validate(s, p); len(broken) > 0 {
		return fmt.Errorf("the plan breaks %d rules, the first: %s: %s", len(broken), broken[0].Rule, broken[0].Say)
	}
	return nil
}

// dumpWeek writes the firm and the plan as files that 'toeboard cost' reads.
func dumpWeek(path string, s schedule.Snapshot, p schedule.Plan) error {
	if path == "" {
		return nil
	}
	text, err := schedule.WriteInstance(s)
	if err != nil {
		return err
	}
	if err := os.WriteFile(path, text, 0o644); err != nil {
		return err
	}
	if text, err = schedule.WritePlan(s, p); err != nil {
		return err
	}
	return os.WriteFile(strings.TrimSuffix(path, ".json")+".plan.json", text, 0o644)
}

// curveSeconds ends each search of the curve unless --seconds says otherwise.
const curveSeconds = 60

// curve measures firms of four sizes, everything in proportion.
func (v weekVerb) curve(ctx context.Context, o out) error {
	if v.Seconds == 0 {
		v.Seconds = curveSeconds
	}
	var rows []weekRow
	for _, jobs := range []int{20, 200, 2_000, 10_000} {
		if n := len(rows); n > 0 {
			// Memory has been seen to grow with jobs x crews, both in proportion.
			growth := float64(jobs) / float64(rows[n-1].Jobs)
			if about := growth * growth * float64(rows[n-1].PeakMemory) / 1e9; about > v.Memory {
				fmt.Fprintf(o.notes, "%d jobs: left out, may need %.0f GB by the growth so far; --memory allows more\n", jobs, about)
				break
			}
		}
		fmt.Fprintf(o.notes, "%d jobs\n", jobs)
		row, err := v.measure(ctx, firmSize{jobs, max(2, jobs/10), 0, v.Days, v.size().first}, "")
		if err != nil {
			return fmt.Errorf("%d jobs: %w", jobs, err)
		}
		rows = append(rows, row)
		if v.JSON {
			if err := o.line(row); err != nil {
				return err
			}
		}
	}
	if v.JSON {
		return nil
	}
	return v.print(o, rows)
}

func (v weekVerb) print(o out, rows []weekRow) error {
	if v.JSON {
		for _, r := range rows {
			if err := o.line(r); err != nil {
				return err
			}
		}
		return nil
	}
	var cells [][]string
	for _, r := range rows {
		cells = append(cells, []string{
			fmt.Sprint(r.Jobs), fmt.Sprint(r.Crews), fmt.Sprint(r.Scaffolders), schedule.Pence(r.Cost).String(), schedule.Pence(math.Round(r.CostPerJob)).String(),
			gapWords(r), fmt.Sprintf("%d/%d", r.LeftOut, r.LeftOutCould), seconds(r.First), seconds(r.Within2), fmt.Sprintf("%.1f s", r.Took),
			fmt.Sprint(r.Schedules), fmt.Sprintf("%.0f", r.PerSecond), fmt.Sprintf("%.0f MB", float64(r.PeakMemory)/1e6),
		})
	}
	head := []string{"jobs", "crews", "scaffolders", "cost", "per job", "gap", "left out/could start", "first plan", "within 2%", "took", "schedules", "per s", "peak"}
	if err := o.table(head, cells); err != nil {
		return err
	}
	fmt.Fprintf(o.result, "\nInvented firms, seed %d, %d days, %d at work side by side. Every plan keeps every rule.\n", v.Seed, v.Days, v.Workers)
	return nil
}

// gapWords says how far the plan may be from the best, and how that is known.
func gapWords(r weekRow) string {
	var words []string
	if r.ProvenGap != nil {
		words = append(words, fmt.Sprintf("%.1f%% proven", *r.ProvenGap))
	}
	if r.EstimatedGap != nil {
		words = append(words, fmt.Sprintf("%.1f%% to a long run", *r.EstimatedGap))
	}
	if len(words) == 0 {
		return "not known"
	}
	return strings.Join(words, ", ")
}

func seconds(x *float64) string {
	if x == nil {
		return "not told"
	}
	return fmt.Sprintf("%.2f s", *x)
}
