package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// Distances are a dry run unless applied; every bad row is named by its line and
// nothing of such a file is taken.
func TestDistancesByTheCommandLine(t *testing.T) {
	h := newHousehold(t)
	store := schedule.NewStore(h.db.App, newID)
	ctx := context.Background()
	firm, err := whichFirm(ctx, store, "")
	if err != nil {
		t.Fatal(err)
	}
	if err := store.SaveCrew(ctx, firm, schedule.Crew{ID: uuid.New(), Name: "Alder", Trade: schedule.RoofTrade, HomeLat: 53.2, HomeLon: -0.4, HalfDayCost: 150_00, Active: true}); err != nil {
		t.Fatal(err)
	}
	sc := newScenario(civil.MustParse("2026-12-01"), nil, newID)
	if err := store.SaveJob(ctx, firm, sc.jobs[5], "Imogen", time.Now()); err != nil {
		t.Fatal(err)
	}
	ref := sc.jobs[5].Ref
	if got := h.run("distances"); got != "from,to,km\n" {
		t.Errorf("a firm begins with %q", got)
	}
	file := filepath.Join(h.home, "roads.csv")
	give := func(text string, args ...string) (out, errs string, err error) {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return h.try(append([]string{"distances", file}, args...)...)
	}
	apply := []string{"--apply", "--by", "Imogen"}
	bad := "from,to,km\nAlder," + ref + ",far\nAlder,Alder,3\n" + ref + ",the quarry,4\n"
	if _, errs, err := give(bad, apply...); err == nil || !strings.Contains(errs, `line 2, km is "far"`) || !strings.Contains(errs, "line 3, to") || !strings.Contains(errs, "nothing was saved: 2 places") {
		t.Errorf("a bad file: %v, %s", err, errs)
	}
	good := "from,to,km\n" + ref + ",Alder,12.5\nAlder,the quarry,4\n"
	if _, errs, err := give(good, "--apply"); err == nil || !strings.Contains(errs, "--by") {
		t.Errorf("applied by nobody: %v, %s", err, errs)
	}
	out, errs, err := give(good)
	if err != nil || !strings.Contains(out, "2 new, 0 changed, 0 as they were; 0 in") || !strings.Contains(out, "called the quarry:") || !strings.Contains(out, "Nothing was saved") {
		t.Errorf("the dry run: %v, %s%s", err, out, errs)
	}
	if got := h.run("distances"); got != "from,to,km\n" {
		t.Errorf("what was refused or not applied is in force: %q", got)
	}
	if out, errs, err := give(good, apply...); err != nil || !strings.Contains(out, "Version 1 is in force, set by Imogen") {
		t.Errorf("applied: %v, %s%s", err, out, errs)
	}
	if got, want := h.run("distances"), "from,to,km\nAlder,"+ref+",12.5\nAlder,the quarry,4\n"; got != want {
		t.Errorf("in force is %q, want %q", got, want)
	}
	if out, errs, err := give(good, apply...); err != nil || !strings.Contains(out, "Nothing changes: version 1") {
		t.Errorf("the same again: %v, %s%s", err, out, errs)
	}
	out, errs, err = give("from,to,km\nAlder,"+ref+",13\n", apply...)
	if err != nil || !strings.Contains(out, "0 new, 1 changed, 0 as they were; 1 in") || !strings.Contains(out, "- Alder to "+ref+": 12.5 km becomes 13 km") || !strings.Contains(out, "Version 2") {
		t.Errorf("another file: %v, %s%s", err, out, errs)
	}
}
