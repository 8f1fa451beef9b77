package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/fault"
)

type costVerb struct {
	Instance string `arg:"" help:"A planning problem as 'toeboard plan --dump' writes it (JSON, see schedule/MODEL.md)." type:"existingfile"`
	Plan     string `arg:"" help:"A plan of it, made by anybody (JSON)." type:"existingfile"`
	Lines    bool   `help:"Print every line of the cost, not only the sums."`
	JSON     bool   `help:"One JSON object."`
}

// Run prices the plan and names each rule that it breaks; then it fails. It
// needs no database.
func (v costVerb) Run() error {
	s, p, err := readPlanFiles(v.Instance, v.Plan)
	if err != nil {
		return err
	}
	c := judge(s, p)
	if v.JSON {
		err = json.NewEncoder(os.Stdout).Encode(c)
	} else {
		err = c.print(os.Stdout, v.Lines)
	}
	if err == nil && len(c.Broken) > 0 {
		err = fmt.Errorf("the plan breaks the rules in %s", places(len(c.Broken)))
	}
	return err
}

func places(n int) string {
	if n == 1 {
		return "1 place"
	}
	return fmt.Sprintf("%d places", n)
}

// readPlanFiles reads a problem and a plan of it. Each fault names its file and
// its path in it.
func readPlanFiles(instance, plan string) (schedule.Snapshot, schedule.Plan, error) {
	text, err := readBounded(instance)
	if err != nil {
		return schedule.Snapshot{}, schedule.Plan{}, err
	}
	s, err := schedule.ReadInstance(text)
	if err != nil {
		return s, schedule.Plan{}, inFile(instance, err)
	}
	if text, err = readBounded(plan); err != nil {
		return s, schedule.Plan{}, err
	}
	p, err := schedule.ReadPlan(s, text)
	return s, p, inFile(plan, err)
}

// readBounded reads a file, unless it is larger than any that we write.
func readBounded(path string) ([]byte, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, schedule.MostFileBytes+1))
	if err == nil && len(text) > schedule.MostFileBytes {
		err = fault.Bad(path, "", fmt.Sprintf("at most %d bytes", schedule.MostFileBytes))
	}
	return text, err
}

// inFile puts the file's name before each fault.
func inFile(path string, err error) error {
	var all []error
	for _, one := range fault.Each(err) {
		all = append(all, fmt.Errorf("%s: %w", path, one))
	}
	return errors.Join(all...)
}

// judged is what a plan costs and which rules it breaks.
type judged struct {
	Total     schedule.Pence            `json:"total_pence"`
	Stated    *schedule.Pence           `json:"stated_total_pence"` // by the plan's file; null = not stated
	Sums      map[string]schedule.Pence `json:"sums_pence"`
	Lines     []judgedLine              `json:"lines"`
	Broken    []brokenRule              `json:"broken"`
	SameFacts bool                      `json:"made_from_these_facts"` // by the plan's own word

	notes string
}

type judgedLine struct {
	Item   string         `json:"item"`
	Job    string         `json:"job,omitempty"`
	Crew   string         `json:"crew,omitempty"`
	Amount schedule.Pence `json:"amount_pence"`
	Why    string         `json:"why"`
}

type brokenRule struct {
	Rule  string `json:"rule"`
	Job   string `json:"job,omitempty"`
	Stage string `json:"stage,omitempty"`
	Say   string `json:"say"`
}

// judge prices a plan and holds it against every rule. A cost that the plan's
// file states is held against the one worked out here.
func judge(s schedule.Snapshot, p schedule.Plan) judged {
	cost := schedule.Price(s, p)
	c := judged{Total: cost.Total, Sums: map[string]schedule.Pence{}, Lines: []judgedLine{}, Broken: []brokenRule{}, SameFacts: p.Hash == s.HashOf()}
	if p.Cost.Total != 0 || len(p.Cost.Lines) > 0 {
		c.Stated = &p.Cost.Total
	}
	jobs, crews := jobRefs(s), map[uuid.UUID]string{}
	for _, x := range s.Crews {
		crews[x.ID] = x.Name
	}
	for item, sum := range cost.By() {
		c.Sums[string(item)] = sum
	}
	for _, l := range cost.Lines {
		c.Lines = append(c.Lines, judgedLine{string(l.Item), jobs[l.Job], crews[l.Crew], l.Amount, l.Why})
	}
	for _, b := range schedule.Validate(s, p) {
		c.Broken = append(c.Broken, brokenRule{b.Rule, jobs[b.Job], b.Stage.Key(), b.Say})
	}
	if c.Stated != nil && *c.Stated != c.Total {
		c.Broken = append(c.Broken, brokenRule{Rule: "the cost as stated", Say: fmt.Sprintf("The file states %s, the plan costs %s.", *c.Stated, c.Total)})
	}
	switch {
	case p.Hash == [32]byte{}:
		c.notes = "The plan does not say from which facts it was made."
	case !c.SameFacts:
		c.notes = "The plan was made from other facts than these."
	}
	return c
}

// print writes sums, lines and what is broken.
func (c judged) print(w io.Writer, lines bool) error {
	fmt.Fprintf(w, "The plan costs %s\n\n", c.Total)
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	items := make([]string, 0, len(c.Sums))
	for item := range c.Sums {
		items = append(items, item)
	}
	slices.SortFunc(items, func(a, b string) int {
		if c.Sums[a] != c.Sums[b] {
			return int(min(1, max(-1, c.Sums[b]-c.Sums[a])))
		}
		return strings.Compare(a, b)
	})
	for _, item := range items {
		n := 0
		for _, l := range c.Lines {
			if l.Item == item {
				n++
			}
		}
		fmt.Fprintf(t, "%s\t%14s\t%d lines\n", item, c.Sums[item], n)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, item := range items {
		for _, l := range c.Lines {
			if lines && l.Item == item {
				fmt.Fprintf(w, "%14s  %s\n", l.Amount, l.Why)
			}
		}
	}
	if c.notes != "" {
		fmt.Fprintf(w, "\n%s\n", c.notes)
	}
	if len(c.Broken) == 0 {
		_, err := fmt.Fprintln(w, "\nIt keeps every rule.")
		return err
	}
	fmt.Fprintf(w, "\nIt breaks the rules in %s:\n", places(len(c.Broken)))
	for _, b := range c.Broken {
		fmt.Fprintf(w, "- %s: %s\n", b.Rule, b.Say)
	}
	return nil
}

// planFileBeside names the file of the plan that stands beside an instance's:
// week.json has week.plan.json.
func planFileBeside(path string) string {
	return strings.TrimSuffix(path, filepath.Ext(path)) + ".plan.json"
}

// dumpPlan writes a problem and its plan as files that 'toeboard cost' reads.
// The pair is priced before it is written: facts that changed while the plan was
// made would give another cost.
func dumpPlan(path string, s schedule.Snapshot, p schedule.Plan) error {
	if p.Hash != s.HashOf() || schedule.Price(s, p).Total != p.Cost.Total {
		return fault.Changed("facts", "", "they changed while the plan was made, so nothing was dumped: plan again")
	}
	instance, err := schedule.WriteInstance(s)
	if err != nil {
		return err
	}
	plan, err := schedule.WritePlan(s, p)
	if err != nil {
		return err
	}
	if err := os.WriteFile(path, instance, 0o644); err != nil {
		return err
	}
	return os.WriteFile(planFileBeside(path), plan, 0o644)
}
