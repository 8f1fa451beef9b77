package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"toeboard/api"
	"toeboard/schedule"
)

// A dumped problem and its plan are priced and judged without the database, as
// they were with it. Nobody's name, number or address is in the files.
func TestADumpedPlanIsPricedWithoutTheDatabase(t *testing.T) {
	t.Parallel()
	h := openHouse(t, nil)
	ctx := context.Background()
	plan, err := h.service.Plan(ctx, h.scen.firm.ID, api.RunAsk{By: "a test", Seed: 1, Schedules: 60, Workers: 1}, nil)
	if err != nil {
		t.Fatal(err)
	}
	instance := filepath.Join(t.TempDir(), "week.json")
	v := planVerb{Dump: instance}
	if err := v.dump(ctx, h.service, h.scen.firm.ID, plan); err != nil {
		t.Fatal(err)
	}
	beside := planFileBeside(instance)
	s, p, err := readPlanFiles(instance, beside)
	if err != nil {
		t.Fatal(err)
	}
	c := judge(s, p)
	if c.Total != plan.Cost.Total || c.Stated == nil || *c.Stated != plan.Cost.Total || !c.SameFacts || len(c.Broken) > 0 {
		t.Errorf("the plan costs %s; from the files %+v", plan.Cost.Total, c)
	}
	for _, path := range []string{instance, beside} {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, j := range s.Jobs {
			whole, err := h.schedule.Job(ctx, h.scen.firm.ID, j.Ref)
			if err != nil {
				t.Fatal(err)
			}
			for _, private := range []string{whole.Customer.Name, whole.Customer.Email, whole.Customer.Phone, whole.Site.Address, whole.Site.Postcode, whole.Note} {
				if private != "" && strings.Contains(string(text), private) {
					t.Errorf("%s holds %q", filepath.Base(path), private)
				}
			}
		}
	}
	if code := run(ctx, []string{"cost", instance, beside}); code != 0 {
		t.Errorf("a plan that keeps the rules ends with %d", code)
	}
	// The same plan with a crew's visit lost, and one with the cost made smaller.
	lost := p
	lost.Visits = p.Visits[1:]
	cheap := p
	cheap.Cost = schedule.Cost{Total: p.Cost.Total - 1}
	for name, bad := range map[string]schedule.Plan{"lost": lost, "cheap": cheap} {
		text, err := schedule.WritePlan(s, bad)
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), name+".json")
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
		if code := run(ctx, []string{"cost", "--json", instance, path}); code != 1 {
			t.Errorf("%s: a plan that breaks a rule ends with %d", name, code)
		}
		if _, got, err := readPlanFiles(instance, path); err != nil || len(judge(s, got).Broken) == 0 {
			t.Errorf("%s: nothing is broken (%v)", name, err)
		}
	}
	// Facts that changed since the plan was made are not dumped with it.
	if err := dumpPlan(instance, s, cheap); err == nil {
		t.Error("a plan with another cost was dumped")
	}
}

// Faults in a file are named with the file.
func TestAFileThatIsNoProblemIsNamed(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "broken.json")
	if err := os.WriteFile(path, []byte(`{"form": "toeboard instance", "version": 7}`), 0o600); err != nil {
		t.Fatal(err)
	}
	_, _, err := readPlanFiles(path, path)
	if err == nil || !strings.Contains(err.Error(), path+`: version is "7": 1`) {
		t.Errorf("got %v", err)
	}
}

// What is printed says the sums, what is broken, and whose facts they were.
func TestTheCostIsPrintedWithItsSums(t *testing.T) {
	t.Parallel()
	c := judged{Total: 1234_56, Sums: map[string]schedule.Pence{"travel": 1000_00, "lateness": 234_56},
		Lines:  []judgedLine{{Item: "travel", Amount: 1000_00, Why: "Roof 1: far."}, {Item: "lateness", Amount: 234_56, Why: "J-1: late."}},
		Broken: []brokenRule{{Rule: "gangs a day", Say: "Northgate has 3."}}, notes: "The plan was made from other facts than these."}
	var b strings.Builder
	if err := c.print(&b, true); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"The plan costs £1,234.56", "travel         £1,000.00  1 lines", "£234.56  J-1: late.", "made from other facts", "- gangs a day: Northgate has 3.", "in 1 place:"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
}
