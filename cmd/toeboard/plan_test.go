package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A flag that is out of its bounds, or a file that cannot be written, is told
// before anything is planned: check needs no database.
func TestPlanChecksItsFlagsBeforeItPlans(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	good := planVerb{Schedules: 1, Workers: 64, Days: 1, Dump: filepath.Join(dir, "x.json")}
	if err := good.check(); err != nil {
		t.Errorf("nothing is wrong, and it says %v", err)
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
		t.Errorf("looking whether files can be written left %v (%v)", left, err)
	}
	kept := filepath.Join(dir, "kept.json")
	if err := os.WriteFile(kept, []byte("{}"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := (planVerb{Schedules: 1, Workers: 1, Days: 1, Dump: kept}).check(); err != nil {
		t.Error(err)
	}
	if text, err := os.ReadFile(kept); err != nil || string(text) != "{}" {
		t.Errorf("a file that was there now holds %q (%v)", text, err)
	}
	for says, bad := range map[string]func(*planVerb){
		`--schedules is "0": 1 to 2147483647`:        func(v *planVerb) { v.Schedules = 0 },
		`--schedules is "-4": 1 to 2147483647`:       func(v *planVerb) { v.Schedules = -4 },
		`--workers is "0": 1 to 64`:                  func(v *planVerb) { v.Workers = 0 },
		`--workers is "-3": 1 to 64`:                 func(v *planVerb) { v.Workers = -3 },
		`--workers is "65": 1 to 64`:                 func(v *planVerb) { v.Workers = 65 },
		`--days is "0": 1 to 400`:                    func(v *planVerb) { v.Days = 0 },
		"a file that can be written":                 func(v *planVerb) { v.Dump = filepath.Join(dir, "nowhere", "x.json") },
		"(open " + filepath.Join(dir, "d.plan.json"): func(v *planVerb) { v.Dump = filepath.Join(dir, "d.json") },
	} {
		v := good
		bad(&v)
		if strings.Contains(says, "d.plan.json") { // the plan's own file is in the way
			if err := os.Mkdir(filepath.Join(dir, "d.plan.json"), 0o700); err != nil {
				t.Fatal(err)
			}
		}
		if err := v.check(); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("want %s, it says %v", says, err)
		}
	}
}
