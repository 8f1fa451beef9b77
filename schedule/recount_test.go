package schedule_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"testing"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// recounted is what recount.py prints of one plan.
type recounted struct {
	Total schedule.Pence                       `json:"total_pence"`
	Sums  map[schedule.CostItem]schedule.Pence `json:"sums_pence"`
}

func recount(t *testing.T, instance []byte, plans [][]byte) []recounted {
	t.Helper()
	const interpreter = "/usr/bin/python3"
	if _, err := os.Stat(interpreter); err != nil {
		if os.Getenv("TOEBOARD_REQUIRE_TOOLS") == "1" {
			t.Fatalf("MISSING TOOL: %s: %v", interpreter, err)
		}
		t.Skipf("NOT CHECKED, missing tool: %s: %v", interpreter, err)
	}
	if _, err := os.ReadFile("recount.py"); err != nil { // read, so that a change of it makes an old result void
		t.Fatal(err)
	}
	dir := t.TempDir()
	args := []string{"recount.py", filepath.Join(dir, "instance.json")}
	if err := os.WriteFile(args[1], instance, 0o600); err != nil {
		t.Fatal(err)
	}
	for i, p := range plans {
		args = append(args, filepath.Join(dir, fmt.Sprintf("%d.json", i)))
		if err := os.WriteFile(args[len(args)-1], p, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.Command(interpreter, args...)
	var complaint bytes.Buffer
	cmd.Stderr = &complaint
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, complaint.String())
	}
	var all []recounted
	for d := json.NewDecoder(bytes.NewReader(out)); d.More(); {
		var one recounted
		if err := d.Decode(&one); err != nil {
			t.Fatal(err)
		}
		all = append(all, one)
	}
	if len(all) != len(plans) {
		t.Fatalf("%d plans, %d recounted", len(plans), len(all))
	}
	return all
}

// A second program, in another language, works out the same cost to the penny
// from the two files alone, item by item, for plans that keep the rules and for
// plans that do not. So MODEL.md and the files say all that the cost rests on.
func TestARecountFromTheFilesGivesTheSameCost(t *testing.T) {
	t.Parallel()
	priced := map[schedule.CostItem]int{}
	for seed := range uint64(14) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			s, p := midWork(t, seed, 5+int(seed), 2+int(seed%6), 25+int(seed))
			s = richer(s, seed)
			ownTerms(rand.New(rand.NewPCG(seed, 21)), &s)
			var files [][]byte
			for _, one := range append(badPlans(s, p, seed), p, schedule.Plan{FirstDay: s.FirstDay, Days: s.Days}) {
				files = append(files, planFile(t, s, one))
			}
			text := instance(t, s)
			s = readBack(t, text)
			for i, got := range recount(t, text, files) {
				one, err := schedule.ReadPlan(s, files[i])
				if err != nil {
					t.Fatal(err)
				}
				cost := schedule.Price(s, one)
				if got.Total != cost.Total || !reflect.DeepEqual(got.Sums, cost.By()) {
					t.Errorf("plan %d costs %s %v, recounted %s %v", i, cost.Total, cost.By(), got.Total, got.Sums)
				}
				for item := range cost.By() {
					priced[item]++
				}
			}
		})
	}
	for _, item := range []schedule.CostItem{schedule.Lateness, schedule.ScaffoldHire, schedule.ScaffoldVisits, schedule.IdleCrew, schedule.Travel, schedule.WeatherRisk,
		schedule.Moved, schedule.NotPlanned, schedule.ScaffoldIdle, schedule.Handovers, schedule.Overtime} {
		if priced[item] < 5 {
			t.Errorf("only %d of the plans have a line for %s", priced[item], item)
		}
	}
}

// richer gives a firm rates of its own, told promises, confirmed days, unknown
// chances and half-empty crews: all that a cost may rest on.
func richer(s schedule.Snapshot, seed uint64) schedule.Snapshot {
	r := rand.New(rand.NewPCG(seed, 6))
	rates := &s.Firm.Rates
	rates.LateGrowth, rates.IdleShare, rates.RoadFactor = r.IntN(60), r.IntN(101), 1+r.Float64()/2
	rates.OvertimePercent, rates.LeastChance = int(seed%2)*(50+r.IntN(100)), r.IntN(3)*15
	rates.LatePerDay, rates.TravelPerKm = schedule.Pence(r.IntN(6000)), schedule.Pence(r.IntN(200))
	s.Jobs = append([]schedule.Job(nil), s.Jobs...)
	for i := range s.Jobs {
		j := &s.Jobs[i]
		j.PromiseTold = r.IntN(2) == 0
		for _, v := range s.Base.Visits {
			if v.Job == j.ID && r.IntN(2) == 0 {
				j.Confirmed = append(j.Confirmed, schedule.Confirmation{Stage: v.Stage, On: v.First().Date() + civil.Date(r.IntN(2))})
			}
		}
	}
	for i := range s.Jobs {
		if r.IntN(4) > 0 {
			continue
		}
		stages := append([]schedule.Stage(nil), s.Jobs[i].Stages...)
		st := &stages[r.IntN(len(stages))] // begun or done, whatever it should have waited for
		st.State, st.StartedOn, st.DoneOn = schedule.StateStarted, s.FirstDay-1, civil.NoDate
		if r.IntN(2) == 0 {
			st.State, st.DoneOn = schedule.StateDone, s.FirstDay+civil.Date(r.IntN(s.Days))
		}
		s.Jobs[i].Stages = stages
	}
	s.Outlooks = append([]schedule.Outlook(nil), s.Outlooks...)
	for i := range s.Outlooks {
		if r.IntN(10) == 0 {
			s.Outlooks[i].Chances = []weather.Chance{}
		}
	}
	return s
}
