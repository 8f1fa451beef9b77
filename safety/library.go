package safety

import (
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
)

//go:embed hazards.json
var hazardsJSON []byte

//go:embed matrix.json
var matrixJSON []byte

//go:embed method.json
var methodJSON []byte

//go:embed morning_checks.csv
var checksCSV string

// Library is everything an assessment is made with, as data: hazards and their
// triggers, the matrix, the method statement. A firm's own library is another
// value of it.
type Library struct {
	Name    string
	Version int
	Firm    int      // version of what the firm set beside it; 0 = nothing
	Hazards []Hazard // in the order of their ids, the firm's own last
	Aside   []Line   // hazards that the firm put aside, and why
	Matrix  Matrix
	Method  Method
}

// Hazard is one thing that can hurt somebody, and when it does.
type Hazard struct {
	ID             string    `json:"id"` // "H01"
	Name           string    `json:"name"`
	When           Rule      `json:"when"`   // the job facts that put it on the job
	Stages         []string  `json:"stages"` // stages of the chain in which it bites
	Who            []string  `json:"who"`    // who may be harmed
	Before         Score     `json:"before"`
	Controls       []Control `json:"controls"` // avoid, then prevent, then mitigate
	After          Score     `json:"after"`
	LowersSeverity string    `json:"lowers_severity,omitempty"` // how a control makes the harm smaller, where After says that it does
	Evidence       []string  `json:"evidence"`                  // what shows that the controls are in place
	ConfirmedBy    []string  `json:"confirmed_by"`              // morning checks that confirm them on site
	Source         string    `json:"source"`
}

// Control is one thing that keeps a hazard down.
type Control struct {
	Step string `json:"step"` // of the hierarchy: avoid, prevent, mitigate
	Do   string `json:"do"`
}

// hierarchy is the order in which controls are preferred (Work at Height
// Regulations 2005 reg 6).
var hierarchy = []string{"avoid", "prevent", "mitigate"}

// Score is a place on the 5 x 5 matrix, 1 to 5 each.
type Score struct {
	Likelihood int `json:"likelihood"`
	Severity   int `json:"severity"`
}

// Product is likelihood times severity: 1 to 25, and never 7, 11 or 13.
func (s Score) Product() int { return s.Likelihood * s.Severity }

// Worst is the severity from which controls must be seen on site before a crew
// starts, whatever the score: its product cannot fall under 5.
const worstSeverity = 5

// Method is the method statement, the rescue plan and the cautions as data:
// each step with the rule that calls for it.
type Method struct {
	Stages []struct {
		Stage string `json:"stage"`
		Needs Rule   `json:"needs"` // whether the job has the stage
		Steps []step `json:"steps"`
	} `json:"stages"`
	Rescue   []step   `json:"rescue"`
	Cautions []string `json:"cautions"`
}

type step struct {
	Do   string `json:"do"`
	When Rule   `json:"when"`
}

// DefaultLibrary is the library that the service comes with: hazards of
// rooftop solar and its neighbours, common practice unless a hazard says
// otherwise.
func DefaultLibrary() Library {
	lib, err := readLibrary(hazardsJSON, matrixJSON, methodJSON)
	if err != nil {
		panic("safety: " + err.Error())
	}
	return lib
}

func readLibrary(hazards, matrix, method []byte) (Library, error) {
	var lib Library
	if err := json.Unmarshal(hazards, &lib); err != nil {
		return Library{}, fmt.Errorf("hazards: %w", err)
	}
	if err := json.Unmarshal(matrix, &lib.Matrix); err != nil {
		return Library{}, fmt.Errorf("matrix: %w", err)
	}
	if err := json.Unmarshal(method, &lib.Method); err != nil {
		return Library{}, fmt.Errorf("method: %w", err)
	}
	return lib, lib.check()
}

// check refuses a library that could not be used: a hazard without a trigger
// would be on every job or on none, controls out of order mislead.
func (lib Library) check() error {
	seen := map[string]bool{}
	for _, h := range lib.Hazards {
		if h.ID == "" || seen[h.ID] {
			return fmt.Errorf("hazard %q: every hazard has an id of its own", h.ID)
		}
		seen[h.ID] = true
		if err := h.check(); err != nil {
			return fmt.Errorf("hazard %s: %w", h.ID, err)
		}
	}
	return errors.Join(lib.Matrix.check()...)
}

// chainStages are the stages of the chain in which a hazard may bite.
var chainStages = []string{"scaffold_erection", "roof_work", "first_fix", "second_fix", "commissioning", "scaffold_strike"}

// check refuses a hazard that lacks a part or contradicts itself.
func (h Hazard) check() error {
	unknownStage := func(s string) bool { return !slices.Contains(chainStages, s) }
	unknownCheck := func(key string) bool {
		return !slices.ContainsFunc(morningChecks, func(c Check) bool { return c.Key == key })
	}
	switch {
	case h.When.String() == "":
		return errors.New("it has no trigger")
	case h.Name == "" || len(h.Controls) == 0 || len(h.Who) == 0 || len(h.Evidence) == 0 || len(h.Stages) == 0 || h.Source == "":
		return errors.New("name, controls, who may be harmed, stages, evidence and source are all needed")
	case slices.ContainsFunc(h.Stages, unknownStage):
		return fmt.Errorf("stages are some of %s", strings.Join(chainStages, ", "))
	case slices.ContainsFunc(h.ConfirmedBy, unknownCheck):
		return errors.New("it is confirmed by something that is no morning check")
	case !onMatrix(h.Before) || !onMatrix(h.After):
		return errors.New("likelihood and severity run from 1 to 5")
	case h.After.Product() > h.Before.Product():
		return errors.New("controls leave more risk than there was")
	case h.After.Severity < h.Before.Severity && h.LowersSeverity == "":
		return errors.New("its severity falls, but no control says how")
	case h.After.Severity == worstSeverity && len(h.ConfirmedBy) == 0:
		return errors.New("severity 5 is left, and no morning check confirms its controls")
	}
	at := 0
	for _, c := range h.Controls {
		step := slices.Index(hierarchy, c.Step)
		if step < at || c.Do == "" {
			return errors.New("controls go avoid, prevent, mitigate")
		}
		at = step
	}
	return nil
}

func onMatrix(s Score) bool {
	return s.Likelihood >= 1 && s.Likelihood <= 5 && s.Severity >= 1 && s.Severity <= 5
}

// Check is one thing that the lead looks at on the morning.
type Check struct {
	Key      string // "ladder_tied"
	Question string // "Ladder or stair tied, gate shut, 1 m above the landing?"
	Evidence string // what shows it: "photo", "reading"
	When     string // "always", "outdoors", "risks" (one for each of the top risks), "worst" (severity 5 risks no other check covers), "caution" (of the forecast)
}

var morningChecks = readChecks(checksCSV)

// MorningChecks lists every morning check there is, in the order in which a
// site is walked. ChecksFor gives those that one morning needs, with the one
// about cautions asked for each of them.
func MorningChecks() []Check { return slices.Clone(morningChecks) }

func readChecks(text string) []Check {
	var all []Check
	for _, r := range ownRows("morning_checks.csv", text) {
		all = append(all, Check{Key: r[0], Question: r[1], Evidence: r[2], When: r[3]})
	}
	return all
}
