package safety

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// tenJobs reads ten invented jobs (testdata/safety, see its SOURCE.md) and what
// each is expected to hold, read off the triggers by hand.
func tenJobs(t *testing.T) (names []string, facts []Facts) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "testdata", "safety", "ten_jobs.json"))
	if err != nil {
		t.Fatal(err)
	}
	var jobs []struct {
		Job   string         `json:"job"`
		Facts map[string]any `json:"facts"`
	}
	if err := json.Unmarshal(b, &jobs); err != nil {
		t.Fatal(err)
	}
	for _, j := range jobs {
		f, err := FactsFrom(j.Facts)
		if err != nil {
			t.Fatalf("%s: %v", j.Job, err)
		}
		names, facts = append(names, j.Job), append(facts, f)
	}
	return names, facts
}

// onTen lists the hazards that facts put on each job, by hand from the triggers
// of the library; those that only the day decides are apart.
var onTen = []string{
	"H01 H03 H06 H08 H09 H12 H16 H17 H19 H20 H22 H23 H24 H25 H29 H30 H32 H37 H40 H49 H52 H55",
	"H01 H02 H05 H06 H08 H12 H13 H14 H15 H16 H17 H18 H19 H20 H21 H24 H29 H30 H32 H34 H37 H40 H45 H46 H51 H57",
	"H01 H02 H03 H06 H12 H13 H14 H15 H16 H17 H19 H20 H24 H32 H34 H35 H38 H40 H51",
	"H01 H02 H03 H04 H06 H16 H17 H22 H23 H24 H40 H51 H52",
	"H13 H14 H16 H17 H18 H30 H32 H37 H41 H42 H43 H45 H46 H50 H56",
	"H01 H03 H06 H08 H12 H13 H14 H15 H16 H17 H18 H20 H22 H23 H24 H29 H30 H31 H32 H33 H34 H37 H40 H45 H47 H48 H52 H53 H55 H57",
	"H16 H20 H30 H37 H49 H56",
	"H01 H03 H05 H06 H08 H12 H13 H14 H15 H16 H17 H18 H20 H21 H22 H23 H24 H30 H32 H37 H40 H44 H45 H51 H52 H53 H54 H58",
	"H14 H16 H17 H29 H30 H37 H51",
	"H01 H06 H12 H24 H40",
}

func TestTenJobsGetTheirOwnHazards(t *testing.T) {
	t.Parallel()
	lib := DefaultLibrary()
	names, facts := tenJobs(t)
	if len(names) != 10 || len(onTen) != 10 {
		t.Fatalf("%d jobs, %d expectations", len(names), len(onTen))
	}
	seen := map[string]string{}
	for i, f := range facts {
		a := Assess(f, lib)
		var present, open []string
		for _, e := range a.Entries {
			switch e.Presence {
			case Present:
				present = append(present, e.Hazard)
				if len(e.Because) == 0 {
					t.Errorf("%s: %s is there without a fact", names[i], e.Hazard)
				}
			case ToConfirm:
				open = append(open, e.Hazard)
			}
			// None without its trigger: the rule, asked again, does not rule it out.
			for _, h := range lib.Hazards {
				if h.ID == e.Hazard && h.When.Judge(a.Facts).Truth == False {
					t.Errorf("%s: %s is there though its facts rule it out", names[i], e.Hazard)
				}
			}
		}
		// None missing when its fact holds.
		for _, h := range lib.Hazards {
			if h.When.Judge(a.Facts).Truth != False && entryOf(a, h.ID) == nil {
				t.Errorf("%s: %s is missing", names[i], h.ID)
			}
		}
		if want := strings.Fields(onTen[i]); !slices.Equal(present, want) {
			t.Errorf("%s:\n got %v\nwant %v", names[i], present, want)
		}
		// Where everything was surveyed nothing is left to confirm.
		if surveyed := i != 9; surveyed == (len(open) > 0) {
			t.Errorf("%s: to be confirmed %v", names[i], open)
		}
		key := fmt.Sprint(present)
		if other := seen[key]; other != "" {
			t.Errorf("%s and %s have the same hazards", names[i], other)
		}
		seen[key] = names[i]
		t.Logf("%s: %d present, %d to confirm, %d decided on the day", names[i], len(present), len(open), len(a.Entries)-len(present)-len(open))
		for _, e := range a.Entries {
			if e.Presence == Present {
				t.Logf("  %s %s: %s", e.Hazard, e.Name, strings.Join(e.Because, "; "))
			}
		}
	}
}
