package safety

import (
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"
)

// Assessment is the risk assessment of one job, made from its facts by a
// library. It is stored whole, as a version that never changes.
type Assessment struct {
	Library   string        `json:"library"` // name and version of the hazard library
	Facts     Facts         `json:"facts"`   // what it was made from: plan and survey only
	Entries   []Entry       `json:"entries"` // in the order of the hazards' ids
	Questions []Question    `json:"questions"`
	Method    []MethodStage `json:"method"`
	Rescue    []string      `json:"rescue"` // step by step
	Emergency []Line        `json:"emergency"`
	Sums      []Line        `json:"sums"`   // team lifts, ladders: with numbers and limits
	Matrix    Matrix        `json:"matrix"` // what the scores and bands meant when it was made
	Cautions  []string      `json:"cautions"`
	Aside     []Line        `json:"aside,omitempty"` // hazards that the firm put aside, with its reason
}

// Presence tells how sure it is that a hazard is on the job.
type Presence string

// How a hazard came into an assessment. One that facts rule out is not in it;
// one that a missing fact leaves open is.
const (
	Present     Presence = "present"         // the facts put it there
	ToConfirm   Presence = "to be confirmed" // a fact of the survey or the plan is missing
	DecidedThen Presence = "on the day"      // only the day itself decides: wind, frost, who is there
)

// Entry is one hazard of one job.
type Entry struct {
	Hazard      string    `json:"hazard"` // its id
	Name        string    `json:"name"`
	Presence    Presence  `json:"presence"`
	Because     []string  `json:"because"` // the facts that put it here, in words
	Missing     []string  `json:"missing"` // keys of the facts that would decide it
	Stages      []string  `json:"stages"`
	Who         []string  `json:"who"`
	Before      Score     `json:"before"`
	BandBefore  string    `json:"band_before"`
	Controls    []Control `json:"controls"`
	After       Score     `json:"after"`
	BandAfter   string    `json:"band_after"`
	Evidence    []string  `json:"evidence"`
	ConfirmedBy []string  `json:"confirmed_by"`
	Source      string    `json:"source"`
	Photos      []Photo   `json:"photos,omitempty"` // of what was seen on site
}

// Photo names a kept photo by what it holds.
type Photo struct {
	ID     uuid.UUID `json:"id"`
	SHA256 Hash      `json:"sha256"`
}

// Why says in one sentence why the hazard is here.
func (e Entry) Why() string {
	parts := []string{}
	if len(e.Because) > 0 {
		parts = append(parts, strings.Join(e.Because, ", "))
	}
	var open, day []string
	for _, key := range e.Missing {
		if factByKey[key].From == FromDay {
			day = append(day, key)
		} else {
			open = append(open, key)
		}
	}
	if len(open) > 0 {
		parts = append(parts, "to be confirmed, not known yet: "+names(open))
	}
	if len(day) > 0 {
		parts = append(parts, "decided on the day: "+names(day))
	}
	return upperFirst(strings.Join(parts, "; ")) + "."
}

// names lists facts by their names.
func names(keys []string) string {
	var all []string
	for _, k := range keys {
		name := factByKey[k].Name
		if name == "" {
			name = k
		}
		all = append(all, name)
	}
	return strings.Join(all, ", ")
}

// Question asks for one fact that is missing.
type Question struct {
	Fact  string   `json:"fact"` // its key
	Ask   string   `json:"ask"`
	Unit  string   `json:"unit"`
	Words []string `json:"words"` // the allowed answers, where they are words
	For   []string `json:"for"`   // the hazards and conditions that wait for it
}

// MethodStage is what is done in one stage, step by step.
type MethodStage struct {
	Stage string   `json:"stage"`
	Steps []string `json:"steps"`
}

// Line is one line of the emergency sheet.
type Line struct {
	Label string `json:"label"`
	Say   string `json:"say"`
}

// Assess makes the assessment of one job. Only facts of the plan and the survey
// count, so that the same job gives the same text on any day and in any order.
func Assess(f Facts, lib Library) Assessment {
	f = f.Assessed()
	a := Assessment{
		Library:   lib.Words(),
		Facts:     f,
		Entries:   []Entry{},
		Questions: lib.questions(f),
		Method:    []MethodStage{},
		Rescue:    stepsFor(f, lib.Method.Rescue),
		Emergency: emergencySheet(f),
		Sums:      sumsFor(f),
		Matrix:    lib.Matrix,
		Cautions:  lib.Method.Cautions,
		Aside:     lib.Aside,
	}
	for _, h := range lib.Hazards {
		if e, ok := h.entry(f, lib.Matrix); ok {
			a.Entries = append(a.Entries, e)
		}
	}
	for _, s := range lib.Method.Stages {
		// A stage that nobody ruled out is described.
		if s.Needs.Judge(f).Truth != False {
			a.Method = append(a.Method, MethodStage{Stage: s.Stage, Steps: stepsFor(f, s.Steps)})
		}
	}
	return a
}

// Words names the library with its versions.
func (lib Library) Words() string {
	w := fmt.Sprintf("%s, version %d", lib.Name, lib.Version)
	if lib.Firm > 0 {
		w += fmt.Sprintf("; the firm's own, version %d", lib.Firm)
	}
	return w
}

// entry tells whether a hazard belongs to the job: everything but a clear no.
func (h Hazard) entry(f Facts, m Matrix) (Entry, bool) {
	found := h.When.Judge(f)
	if found.Truth == False {
		return Entry{}, false
	}
	before, _ := m.Band(h.Before)
	after, _ := m.Band(h.After)
	e := Entry{
		Hazard: h.ID, Name: h.Name, Presence: Present, Because: []string{}, Missing: orEmpty(found.Missing),
		Stages: h.Stages, Who: h.Who, Before: h.Before, BandBefore: before.Word, Controls: h.Controls,
		After: h.After, BandAfter: after.Word, Evidence: h.Evidence, ConfirmedBy: orEmpty(h.ConfirmedBy), Source: h.Source,
	}
	for _, key := range found.Because {
		e.Because = append(e.Because, f.Say(key))
	}
	if found.Truth == Unsure {
		e.Presence = ToConfirm
		if !slices.ContainsFunc(found.Missing, func(key string) bool { return factByKey[key].From != FromDay }) {
			e.Presence = DecidedThen
		}
	}
	return e, true
}

// stepsFor gives the steps that the facts call for or do not rule out.
func stepsFor(f Facts, steps []step) []string {
	all := []string{}
	for _, s := range steps {
		if s.When.Judge(f).Truth != False {
			all = append(all, s.Do)
		}
	}
	return all
}

// EmergencySheet is what somebody reads out on the telephone, from the facts as
// they are now.
func EmergencySheet(f Facts) []Line { return emergencySheet(f) }

// emergencySheet is what somebody reads out on the telephone. What nobody
// stated is said to be unknown, not left out.
func emergencySheet(f Facts) []Line {
	text := func(key, ask string) string {
		if v, known := f[key]; known {
			return v.String()
		}
		return "unknown: " + ask
	}
	position := "unknown: take it from a phone on site before work starts"
	if lat, known := f["lat"]; known {
		if lon, known := f["lon"]; known {
			position = degrees(lat.N, "north", "south") + ", " + degrees(lon.N, "east", "west")
		}
	}
	return []Line{
		{"Ring", "999 or 112"},
		{"Address", text("address", "ask the office before work starts")},
		{"Position", position},
		{"Nearest access", text("nearest_access", "walk it before work starts")},
		{"Isolation points", text("isolation_points", "find and name them before work starts")},
		{"Emergency department", text("hospital", "look it up before work starts")},
	}
}

// degrees writes a coordinate so that nobody has to read out a minus.
func degrees(n float64, plus, minus string) string {
	if n < 0 {
		n, plus = -n, minus
	}
	return fmt.Sprintf("%.5f degrees %s", n, plus)
}

// Questions lists the facts that are missing and that a hazard, the emergency
// sheet or a condition of the morning waits for, in the order of the list of
// facts. What only the day can answer is asked by the morning checks instead.
func Questions(f Facts) []Question {
	return DefaultLibrary().Questions(f)
}

// Questions asks for what the library's hazards and the decision's conditions
// need, as the function Questions does.
func (lib Library) Questions(f Facts) []Question {
	waits := lib.waits(f)
	for _, code := range []string{"B12", "B13", "B15"} {
		for _, key := range siteRules[code].Judge(f).Missing {
			waits[key] = append(waits[key], code)
		}
	}
	return ask(f, waits)
}

// questions asks only for what belongs to the assessment itself: its text must
// not change when a paper arrives.
func (lib Library) questions(f Facts) []Question { return ask(f, lib.waits(f)) }

// waits tells which hazards wait for which missing fact.
func (lib Library) waits(f Facts) map[string][]string {
	waits := map[string][]string{}
	for _, h := range lib.Hazards {
		for _, key := range h.When.Judge(f).Missing {
			waits[key] = append(waits[key], h.ID)
		}
	}
	for _, key := range []string{"address", "lat", "lon", "nearest_access", "isolation_points", "hospital"} {
		waits[key] = append(waits[key], "emergency sheet")
	}
	return waits
}

func ask(f Facts, waits map[string][]string) []Question {
	all := []Question{}
	for _, d := range factList {
		_, known := f[d.Key]
		if known || len(waits[d.Key]) == 0 || d.From == FromDay {
			continue
		}
		for_ := slices.Clone(waits[d.Key])
		slices.Sort(for_)
		all = append(all, Question{Fact: d.Key, Ask: d.Ask, Unit: d.Unit, Words: orEmpty(d.Words), For: slices.Compact(for_)})
	}
	return all
}

// Hash is the SHA-256 of the assessment's canonical bytes: what a signature
// names.
func (a Assessment) Hash() Hash { return hashOf(a) }

// Canonical gives the bytes that Hash is taken of.
func (a Assessment) Canonical() ([]byte, error) { return canonical(a) }

// Open tells how many hazards wait to be confirmed.
func (a Assessment) Open() int {
	n := 0
	for _, e := range a.Entries {
		if e.Presence == ToConfirm {
			n++
		}
	}
	return n
}

// orEmpty makes the empty list of a nil one, so that a record reads [] and not
// null whichever it was.
func orEmpty(s []string) []string {
	if s == nil {
		return []string{}
	}
	return s
}
