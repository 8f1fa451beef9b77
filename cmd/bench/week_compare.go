package main

import (
	"context"
	"errors"
	"fmt"

	"toeboard/schedule"
)

// priorityOrders is how many first plans the search makes by priority rules
// before it improves the best of them (schedule/solver, construct).
const priorityOrders = 6

// comparedFirms is how many invented firms are compared.
const comparedFirms = 10

// compareRow is one firm planned in three ways, each plan held against every
// rule.
type compareRow struct {
	Seed     uint64 `json:"seed"`
	Plan     int64  `json:"plan_pence"`
	Priority int64  `json:"priority_rules_pence"` // the best of the search's first plans
	Rule     int64  `json:"persons_rule_pence"`
	RuleOut  int    `json:"persons_rule_could_start"` // stages that the person's rule left out though they could start
	PlanOut  int    `json:"plan_could_start"`
}

// compare plans ten firms by the search, by priority rules alone, and by a rule
// that a person may follow.
func (v weekVerb) compare(ctx context.Context, o out) error {
	var cells [][]string
	var plans, priorities, rules float64
	for i := range uint64(comparedFirms) {
		row, err := v.compareOne(ctx, v.Seed+i)
		if err != nil {
			return fmt.Errorf("seed %d: %w", v.Seed+i, err)
		}
		if v.JSON {
			if err := o.line(row); err != nil {
				return err
			}
			continue
		}
		plans, priorities, rules = plans+float64(row.Plan), priorities+float64(row.Priority), rules+float64(row.Rule)
		cells = append(cells, []string{fmt.Sprint(row.Seed), schedule.Pence(row.Plan).String(), schedule.Pence(row.Priority).String(), above(row.Priority, row.Plan),
			schedule.Pence(row.Rule).String(), above(row.Rule, row.Plan), fmt.Sprintf("%d/%d", row.PlanOut, row.RuleOut)})
	}
	if v.JSON {
		return nil
	}
	cells = append(cells, []string{"all", schedule.Pence(plans).String(), schedule.Pence(priorities).String(), above(int64(priorities), int64(plans)),
		schedule.Pence(rules).String(), above(int64(rules), int64(plans)), ""})
	if err := o.table([]string{"seed", "plan", "priority rules", "", "person's rule", "", "not planned: plan/rule"}, cells); err != nil {
		return err
	}
	fmt.Fprintf(o.result, "\nInvented firms of %d jobs and %d crews, %d schedules. The person's rule: by promised day, first crew free, scaffold as late as it fits. Every plan keeps every rule.\n",
		v.Jobs, v.Crews, v.Schedules)
	return nil
}

func above(x, of int64) string { return fmt.Sprintf("%+.1f%%", percent(float64(x), float64(of))) }

func (v weekVerb) compareOne(ctx context.Context, seed uint64) (compareRow, error) {
	row := compareRow{Seed: seed}
	s, err := inventFirm(v.size(), seed)
	if err != nil {
		return row, err
	}
	first, err := schedule.Solve(ctx, s, schedule.Stop{Schedules: priorityOrders}, seed)
	if err != nil {
		return row, err
	}
	p, err := schedule.Solve(ctx, s, schedule.Stop{Schedules: v.Schedules, Workers: v.Workers}, seed)
	if err != nil {
		return row, err
	}
	if ctx.Err() != nil {
		return row, errors.New("interrupted")
	}
	rule := byRule(s)
	row.Plan, row.Priority, row.Rule = int64(p.Cost.Total), int64(first.Cost.Total), int64(rule.Cost.Total)
	row.PlanOut, row.RuleOut = couldStart(p), couldStart(rule)
	return row, errors.Join(holds(s, first), holds(s, p), holds(s, rule))
}

// couldStart counts the stages that are priced as not planned.
func couldStart(p schedule.Plan) (n int) {
	for _, l := range p.Cost.Lines {
		if l.Item == schedule.NotPlanned {
			n++
		}
	}
	return n
}
