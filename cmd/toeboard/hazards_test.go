package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What the command prints is what it takes; a refused file changes nothing.
func TestHazardsByTheCommandLine(t *testing.T) {
	h := newHousehold(t)
	usual := h.run("hazards")
	if !strings.Contains(usual, `"overrides": []`) {
		t.Fatalf("a firm begins with %s", usual)
	}
	if list := h.run("hazards", "--list"); !strings.Contains(list, "H02 Fall through") || !strings.Contains(list, "roof covering is fibre cement or corrugated") {
		t.Errorf("the list: %s", list)
	}
	file := filepath.Join(h.home, "hazards.json")
	set := func(text string, args ...string) (out, errs string, err error) {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return h.try(append([]string{"hazards", "--set", file}, args...)...)
	}
	ours := `{"version": 0, "own": [], "event_gust_ms": 15, "overrides": [{"hazard": "H25", "why": "we never strip", "off": true}]}`
	for name, c := range map[string]struct {
		text string
		args []string
		says string
	}{
		"nobody sets them": {ours, nil, "--by"},
		"severity 5 off":   {strings.Replace(ours, "H25", "H01", 1), []string{"--by", "Imogen", "--why", "careful"}, "never switched off"},
		"no JSON":          {"from,to,km\n", []string{"--by", "Imogen", "--why", "careful"}, "JSON as"},
	} {
		if out, errs, err := set(c.text, c.args...); err == nil || !strings.Contains(errs, c.says) {
			t.Errorf("%s: %v, %s%s; want an error that says %q", name, err, out, errs, c.says)
		}
	}
	if out, errs, err := set(ours, "--by", "Imogen", "--why", "windy valley"); err != nil || !strings.Contains(out, "- new override: H25") || !strings.Contains(out, "Version 1 is in force, set by Imogen") {
		t.Errorf("the firm's own: %v, %s%s", err, out, errs)
	}
	now := h.run("hazards")
	if out, errs, err := set(now, "--by", "Imogen", "--why", "again"); err != nil || !strings.Contains(out, "Nothing changes: version 1") {
		t.Errorf("the same again: %v, %s%s", err, out, errs)
	}
	if list := h.run("hazards", "--list"); !strings.Contains(list, "the firm put it aside: we never strip") {
		t.Errorf("put aside: %s", list)
	}
}
