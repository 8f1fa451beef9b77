package main

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Every recorded answer of testdata/weather (see its SOURCE.md files) prints a
// table with one verdict for each step, and what is no forecast is refused with
// what the service said.
func TestEveryRecordedForecastPrintsItsVerdicts(t *testing.T) {
	t.Parallel()
	var files []string
	for _, pattern := range []string{"metno/*.json", "openmeteo/*.json"} {
		found, err := filepath.Glob("../../testdata/weather/" + pattern)
		if err != nil || len(found) < 3 {
			t.Fatalf("%s: %v, %v", pattern, found, err)
		}
		files = append(files, found...)
	}
	refused := map[string]string{"error_400.json": "Latitude must be in range", "error_429.json": "request limit exceeded"}
	printed, tooExact := 0, regexp.MustCompile(`at \d+\.\d{3}`)
	for _, file := range files {
		v := weatherVerb{File: file, Task: "roof_covering", Terrain: "III", Height: 7, Exposure: 1, Lat: 51.5, Lon: -0.1, Faces: math.NaN(), Zone: "Europe/London", Hours: 24}
		var out, notes bytes.Buffer
		err := v.print(&out, &notes)
		if says, is := refused[filepath.Base(file)]; is {
			if err == nil || !strings.Contains(err.Error(), says) || out.Len() > 0 {
				t.Errorf("%s: %v", file, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", file, err)
			continue
		}
		lines := strings.Split(out.String(), "\n")
		if n := verdictLines(lines[1:]); n != 24 || !strings.HasPrefix(lines[0], "from") {
			t.Errorf("%s: %d verdicts for 24 hours:\n%s", file, n, out.String())
		}
		printed++
		v.Task, v.Hours = "panel_carrying", 240
		if err := v.print(&out, &notes); err != nil || tooExact.MatchString(out.String()) {
			t.Errorf("%s: the limit worked out from a module's area reads %q, %v", file, tooExact.FindString(out.String()), err)
		}
	}
	if printed != len(files)-len(refused) || printed < 7 {
		t.Errorf("%d tables of %d files", printed, len(files))
	}
}

func verdictLines(lines []string) (n int) {
	for _, l := range lines {
		if l == "" {
			return n // the table ends
		}
		for _, word := range strings.Fields(l) {
			if word == "go" || word == "caution" || word == "stop" || word == "unknown" {
				n++
				break
			}
		}
	}
	return n
}

// A recording is unwrapped only when it is one: an answer that has a member
// named data stays itself.
func TestOnlyRecordingsAreUnwrapped(t *testing.T) {
	t.Parallel()
	body, err := os.ReadFile("../../testdata/weather/metno/lat51.5lon-0.1altitude25_complete.json")
	if err != nil {
		t.Fatal(err)
	}
	if got := unwrapped(body); len(got) >= len(body) || !bytes.HasPrefix(got, []byte("{")) || !bytes.Contains(got[:200], []byte("Feature")) {
		t.Errorf("unwrapped to %.80s", got)
	}
	for _, same := range []string{`{"data":{}}`, `{"status_code":200,"data":{}}`, `from,rain [mm]`, ``} {
		if got := unwrapped([]byte(same)); string(got) != same {
			t.Errorf("%s became %s", same, got)
		}
	}
}
