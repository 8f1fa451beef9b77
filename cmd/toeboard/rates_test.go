package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"toeboard/schedule"
)

// What the command prints is what it takes; what it takes is in force; and what
// is refused changes nothing.
func TestRatesByTheCommandLine(t *testing.T) {
	h := newHousehold(t)
	usual := h.run("rates")
	if usual != string(schedule.RatesJSON(schedule.DefaultRates())) {
		t.Fatalf("a firm begins with %s", usual)
	}
	file := filepath.Join(h.home, "rates.json")
	set := func(text string, args ...string) (out, errs string, err error) {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return h.try(append([]string{"rates", "--set", file}, args...)...)
	}
	const key = `"handover_pence": 4000`
	ours := strings.Replace(usual, key, `"handover_pence": 5550`, 1)
	for name, c := range map[string]struct {
		text string
		args []string
		says string
	}{
		"nobody sets them": {ours, nil, "--by"},
		"below nothing":    {strings.Replace(usual, key, `"handover_pence": -1`, 1), []string{"--by", "Imogen"}, "hand-over"},
		"half a penny":     {strings.Replace(usual, key, `"handover_pence": 4000.5`, 1), []string{"--by", "Imogen"}, "money in whole pence"},
		"one is missing":   {strings.Replace(usual, key+",", "", 1), []string{"--by", "Imogen"}, "handover_pence: missing"},
		"no rates at all":  {"from,to,km\n", []string{"--by", "Imogen"}, "a JSON object"},
	} {
		if out, errs, err := set(c.text, c.args...); err == nil || !strings.Contains(errs, c.says) {
			t.Errorf("%s: %v, %s%s; want an error that says %q", name, err, out, errs, c.says)
		}
	}
	if out, errs, err := set(usual, "--by", "Imogen"); err != nil || !strings.Contains(out, "Nothing changes: version 1") {
		t.Errorf("the same again: %v, %s%s", err, out, errs)
	}
	out, errs, err := set(ours, "--by", "Imogen")
	if err != nil || !strings.Contains(out, "- hand-over: £40.00 becomes £55.50") || strings.Count(out, "becomes") != 1 || !strings.Contains(out, "Version 2 is in force, set by Imogen") {
		t.Errorf("the firm's own: %v, %s%s", err, out, errs)
	}
	if now := h.run("rates"); now != ours {
		t.Errorf("after setting: %s", now)
	}
}
