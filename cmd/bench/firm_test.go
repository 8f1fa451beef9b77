package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"toeboard/schedule"
)

func small(t *testing.T, seed uint64) schedule.Snapshot {
	t.Helper()
	s, err := inventFirm(firmSize{jobs: 24, crews: 3, days: 56}, seed)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func written(t *testing.T, s schedule.Snapshot) []byte {
	t.Helper()
	text, err := schedule.WriteInstance(s)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// A measurement is worth something only if others can make the same firm.
func TestTheSameSeedInventsTheSameFirm(t *testing.T) {
	t.Parallel()
	a, b, c := written(t, small(t, 1)), written(t, small(t, 1)), written(t, small(t, 2))
	if !bytes.Equal(a, b) {
		t.Error("one seed, two firms")
	}
	if bytes.Equal(a, c) {
		t.Error("two seeds, one firm")
	}
}

// An invented firm has what makes planning hard: two scaffold firms, work at
// every stage, gates, bookings, and chances that the forecast and the climate
// both have a part in.
func TestAnInventedFirmHasWorkAtEveryStage(t *testing.T) {
	t.Parallel()
	s, err := inventFirm(firmSize{jobs: 200, crews: 20, days: 84}, 1)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.ScaffoldFirms) < 2 || len(s.Crews) != 20 || len(s.Jobs) != 200 {
		t.Fatalf("%d scaffold firms, %d crews, %d jobs", len(s.ScaffoldFirms), len(s.Crews), len(s.Jobs))
	}
	states, bookings := map[schedule.StageState]int{}, map[schedule.BookingState]int{}
	consents, kit, promised := 0, 0, 0
	for _, j := range s.Jobs {
		for _, st := range j.Stages {
			states[st.State]++
		}
		consents, kit = consents+len(j.Consents), kit+len(j.Kit)
		if j.PromisedOn.Known() {
			promised++
		}
	}
	for _, b := range s.Bookings {
		bookings[b.State]++
	}
	for what, n := range map[string]int{"started stages": states[schedule.StateStarted], "done stages": states[schedule.StateDone], "consents": consents, "kit": kit, "promises": promised,
		"erected": bookings[schedule.BookingErected], "confirmed": bookings[schedule.BookingConfirmed], "countered": bookings[schedule.BookingCountered]} {
		if n == 0 {
			t.Errorf("no %s", what)
		}
	}
	seen := map[float64]bool{}
	for _, o := range s.Outlooks {
		for _, c := range o.Chances {
			seen[c.P] = true
			if !c.Known || !(c.P > 0 && c.P < 1) {
				t.Fatalf("a chance of %v, known %v", c.P, c.Known)
			}
		}
	}
	if len(seen) < 50 {
		t.Errorf("only %d different chances", len(seen))
	}
}

func TestASizeThatCannotBeIsRefused(t *testing.T) {
	t.Parallel()
	_, err := inventFirm(firmSize{jobs: 0, crews: 1, scaffolders: -1, days: 3}, 1)
	for _, flag := range []string{"--jobs", "--crews", "--scaffolders", "--days"} {
		if err == nil || !strings.Contains(err.Error(), flag) {
			t.Errorf("%s is not named: %v", flag, err)
		}
	}
}

// The person's rule makes plans that keep every rule and cost more than the
// search's.
func TestThePersonsRuleKeepsTheRulesAndCostsMore(t *testing.T) {
	t.Parallel()
	for seed := range uint64(8) {
		s := small(t, seed)
		rule := byRule(s)
		if err := holds(s, rule); err != nil {
			t.Errorf("seed %d: %v", seed, err)
		}
		p, err := schedule.Solve(t.Context(), s, schedule.Stop{Schedules: 300}, seed)
		if err != nil {
			t.Fatal(err)
		}
		if p.Cost.Total > rule.Cost.Total {
			t.Errorf("seed %d: the search costs %s, the rule %s", seed, p.Cost.Total, rule.Cost.Total)
		}
		if len(rule.Visits) < len(p.Visits)*2/3 {
			t.Errorf("seed %d: the rule places %d visits, the search %d", seed, len(rule.Visits), len(p.Visits))
		}
	}
}

// Each event changes the facts, and the plan that follows keeps the rules.
func TestEveryEventIsPlannedAnew(t *testing.T) {
	t.Parallel()
	s, err := publishedWeek(t.Context(), small(t, 3), 3)
	if err != nil {
		t.Fatal(err)
	}
	before := written(t, s)
	v := weekVerb{Schedules: 40, Workers: 1, Seed: 3}
	for _, e := range happenings {
		now := ofItsOwn(s)
		e.happen(&now)
		if same := bytes.Equal(written(t, now), before); same != (e.name == "nothing") {
			t.Errorf("%s changes nothing: %v", e.name, same)
		}
		if _, err := v.replan(t.Context(), now, e.name); err != nil {
			t.Errorf("%s: %v", e.name, err)
		}
	}
	if !bytes.Equal(written(t, s), before) {
		t.Error("an event changed the firm that others start from")
	}
}

// The row says what was measured; the dumped files give the same cost again.
func TestAMeasuredWeekIsDumpedAsItWas(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "week.json")
	var b bytes.Buffer
	code := run(context.Background(), strings.Fields("week --jobs 20 --crews 3 --days 42 --schedules 30 --long 60 --published --json --dump "+path), out{&b, io.Discard})
	var row weekRow
	if err := json.Unmarshal(b.Bytes(), &row); code != 0 || err != nil {
		t.Fatalf("ended with %d, %v: %s", code, err, b.String())
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	s, err := schedule.ReadInstance(text)
	if err != nil {
		t.Fatal(err)
	}
	if text, err = os.ReadFile(strings.TrimSuffix(path, ".json") + ".plan.json"); err != nil {
		t.Fatal(err)
	}
	p, err := schedule.ReadPlan(s, text)
	if err != nil {
		t.Fatal(err)
	}
	if got := schedule.Price(s, p).Total; int64(got) != row.Cost || holds(s, p) != nil || !row.Valid {
		t.Errorf("the row says %d pence, the files give %d", row.Cost, got)
	}
	if row.LongRun == nil || row.EstimatedGap == nil || row.ProvenGap == nil && row.Bound != nil || row.Schedules < 30 || s.Base == nil {
		t.Errorf("the row lacks what was asked for: %s", b.String())
	}
}
