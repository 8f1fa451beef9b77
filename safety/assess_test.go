package safety

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// table reads a file of testdata/safety (see its SOURCE.md) as maps by column.
func table(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", "safety", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.FieldsPerRecord = -1
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var all []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, name := range rows[0] {
			if i < len(row) {
				m[name] = row[i]
			}
		}
		all = append(all, m)
	}
	return all
}

// Every hazard of the reference table is in the library with its scores, and
// its trigger speaks of every fact that the table's trigger speaks of.
func TestLibraryHoldsTheReferenceHazards(t *testing.T) {
	t.Parallel()
	lib := DefaultLibrary()
	// The table's words for facts that the list of facts calls otherwise.
	renamed := map[string]string{"panel_m2": "module_m2", "panel_kg": "module_kg", "gust": "gust_over_limit", "travel_min": "day_min", "work_min": "day_min"}
	// Words of the table that are answers or remarks, not facts.
	remarks := []string{"in", "or", "limit", "fibre_cement", "cement_slate", "corrugated", "string", "ladder", "wood", "pole", "tower"}
	words := regexp.MustCompile(`[a-z][a-z_0-9]*`)
	rows := table(t, "hazards.csv")
	if len(rows) != 40 || len(lib.Hazards) < 40 {
		t.Fatalf("%d rows, %d hazards, want 40 rows and no fewer hazards", len(rows), len(lib.Hazards))
	}
	// The table's words for who may be harmed, where ours say more.
	harmed := map[string][]string{"responders": {"fire service"}, "scaffolder": {"scaffolders"}, "wildlife/legal": {"wildlife", "the firm, in law"}, "all": {"everybody on site"}}
	for i, row := range rows {
		h := lib.Hazards[i]
		want := func(col string) int { n, _ := strconv.Atoi(row[col]); return n }
		if h.ID != row["id"] || h.Before != (Score{want("L0"), want("S0")}) || h.After != (Score{want("L1"), want("S1")}) {
			t.Errorf("%s: got %s %v %v", row["id"], h.ID, h.Before, h.After)
		}
		if h.Before.Product() != want("score0") || h.After.Product() != want("score1") {
			t.Errorf("%s: products %d and %d, want %s and %s", h.ID, h.Before.Product(), h.After.Product(), row["score0"], row["score1"])
		}
		for _, who := range strings.Split(row["who"], "+") {
			want := harmed[who]
			if want == nil {
				want = []string{who}
			}
			for _, w := range want {
				if !slices.Contains(h.Who, w) {
					t.Errorf("%s: the table says %q may be harmed, ours %v", h.ID, who, h.Who)
				}
			}
		}
		for _, w := range words.FindAllString(row["trigger_job_facts"], -1) {
			if other, ok := renamed[w]; ok {
				w = other
			}
			if !slices.Contains(h.When.Keys(), w) && !slices.Contains(remarks, w) {
				t.Errorf("%s: the table's trigger %q speaks of %q, ours %q does not", h.ID, row["trigger_job_facts"], w, h.When)
			}
		}
	}
}

// For each row of the reference table the least facts with which its trigger
// holds, read off the table by hand (roof work added where the hazard is on the
// roof). The hazard must be in the assessment, present, and say why.
var triggers = map[string]string{
	"H01": `{"roof_work": true}`,
	"H02": `{"roof_work": true, "has_rooflight": true}`,
	"H03": `{"roof_work": true, "pitch_deg": 30}`,
	"H04": `{"roof_work": true, "pitch_deg": 46}`,
	"H05": `{"roof_work": true, "access": "ladder"}`,
	"H06": `{"scaffold": true}`,
	"H07": `{"scaffold": true}`,
	"H08": `{"roof_work": true, "footpath": true}`,
	"H09": `{"scaffold": true, "footpath": true, "footpath_within_m": 1.9}`,
	"H10": `{"roof_work": true, "module_m2": 1.5}`,
	"H11": `{"roof_work": true}`,
	"H12": `{"roof_work": true, "module_kg": 20}`,
	"H13": `{"unit_kg": 26}`,
	"H14": `{"inverter": "string"}`,
	"H15": `{"inverter": "string", "roof_work": true}`,
	"H16": `{"ac_connection": true}`,
	"H17": `{"inverter": "micro"}`,
	"H18": `{"battery": true}`,
	"H19": `{"ohl_support": "tower", "ohl_distance_m": 15}`,
	"H20": `{"year_built": 1999, "soffit_board": true}`,
	"H21": `{"cut_tile": true}`,
	"H22": `{"loft_work": true}`,
	"H23": `{"loft_work": true}`,
	"H24": `{"roof_work": true}`,
	"H25": `{"strip_slates": true}`,
	"H26": `{"loft_work": false}`,
	"H27": `{}`,
	"H28": `{}`,
	"H29": `{"occupied": true, "pets": true}`,
	"H30": `{"occupied": true}`,
	"H31": `{"hot_work": true}`,
	"H32": `{"wall_drill": true}`,
	"H33": `{"heat_pump": true}`,
	"H34": `{"drill_minutes": 60}`,
	"H35": `{"bat_evidence": true}`,
	"H36": `{}`,
	"H37": `{"occupied": true}`,
	"H38": `{"harness": true}`,
	"H39": `{}`,
	"H40": `{"contractors": 2}`,
	// Those beyond the table: the least facts of each, read off its trigger by hand.
	"H41": `{"ev_charger": true, "earthing": "tn_c_s"}`,
	"H42": `{"ev_charger": true, "heat_pump": true}`,
	"H43": `{"ev_charger": true}`,
	"H44": `{"battery": true, "battery_place": "bedroom"}`,
	"H45": `{"battery": true}`,
	"H46": `{"battery": true, "battery_place": "garage"}`,
	"H47": `{"heat_pump": true, "refrigerant": "flammable"}`,
	"H48": `{"heat_pump": true}`,
	"H49": `{"consumer_unit_change": true, "old_board": true}`,
	"H50": `{"existing_generator": true, "ac_connection": true}`,
	"H51": `{"ac_connection": true, "consumer_unit_change": false}`,
	"H52": `{"roof_work": true, "loft_work": true}`,
	"H53": `{"inverter": "hybrid", "loft_work": true}`,
	"H54": `{"spray_foam": true, "loft_work": true}`,
	"H55": `{"roof_work": true, "flue_near": true}`,
	"H56": `{"medical_equipment": true, "ac_connection": true}`,
	"H57": `{"gas_near": true, "wall_drill": true}`,
	"H58": `{"battery": true, "loft_work": true, "battery_place": "loft"}`,
}

// onTheDay are the hazards that only the day itself decides.
var onTheDay = []string{"H07", "H10", "H11", "H26", "H27", "H28", "H36", "H39"}

func factsFrom(t *testing.T, text string) Facts {
	t.Helper()
	var raw map[string]any
	if err := json.Unmarshal([]byte(text), &raw); err != nil {
		t.Fatal(err)
	}
	f, err := FactsFrom(raw)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func entryOf(a Assessment, id string) *Entry {
	for i := range a.Entries {
		if a.Entries[i].Hazard == id {
			return &a.Entries[i]
		}
	}
	return nil
}

func TestAssessPutsEachHazardWhereItsFactIs(t *testing.T) {
	t.Parallel()
	lib := DefaultLibrary()
	for _, h := range lib.Hazards {
		e := entryOf(Assess(factsFrom(t, triggers[h.ID]), lib), h.ID)
		want := Present
		if slices.Contains(onTheDay, h.ID) {
			want = DecidedThen
		}
		switch {
		case e == nil:
			t.Errorf("%s is missing although %s", h.ID, triggers[h.ID])
		case e.Presence != want:
			t.Errorf("%s is %q with %s, want %q (missing %v)", h.ID, e.Presence, triggers[h.ID], want, e.Missing)
		case want == Present && len(e.Because) == 0:
			t.Errorf("%s does not say which fact put it there", h.ID)
		case e.Why() == "" || strings.Contains(e.Why(), "_"):
			t.Errorf("%s: %q is not a sentence for people", h.ID, e.Why())
		}
	}
}

// With nothing known every hazard is kept and asked about; with everything
// known to be absent none is left but what the day decides.
func TestAssessNeverDropsAHazardForWantOfAFact(t *testing.T) {
	t.Parallel()
	lib := DefaultLibrary()
	nothing := Assess(Facts{}, lib)
	if len(nothing.Entries) != len(lib.Hazards) {
		t.Errorf("with nothing known %d of %d hazards are kept", len(nothing.Entries), len(lib.Hazards))
	}
	asked := map[string]bool{}
	for _, q := range nothing.Questions {
		asked[q.Fact] = true
	}
	for _, e := range nothing.Entries {
		if e.Presence == Present {
			t.Errorf("%s is present with nothing known", e.Hazard)
		}
		for _, key := range e.Missing {
			if from := factByKey[key].From; !asked[key] && from != FromDay {
				t.Errorf("%s waits for %s, and nobody asks for it", e.Hazard, key)
			}
		}
	}
	all := Facts{}
	for _, d := range FactList() {
		switch d.Kind {
		case YesNo:
			all[d.Key] = no()
		case Number:
			all[d.Key] = number(d.Min)
		case Word:
			all[d.Key] = word(d.Words[0])
		default:
			all[d.Key] = Fact{Kind: Text, S: "here"}
		}
	}
	all["year_built"], all["inverter"] = number(2010), word("none")
	a := Assess(all, lib)
	for _, e := range a.Entries {
		if e.Presence != DecidedThen {
			t.Errorf("%s is %q though every fact rules it out: %s", e.Hazard, e.Presence, e.Why())
		}
	}
	if len(a.Questions) != 0 {
		t.Errorf("with everything known it asks %v", a.Questions)
	}
}

// Learning facts may turn "to be confirmed" into present or absent; it never
// turns a present hazard into an absent one.
func TestAssessLearningNeverLosesAPresentHazard(t *testing.T) {
	t.Parallel()
	lib := DefaultLibrary()
	rapid.Check(t, func(t *rapid.T) {
		f := drawFacts(t)
		before := Assess(f, lib)
		for _, d := range FactList() {
			if _, known := f[d.Key]; !known && rapid.Bool().Draw(t, "learn "+d.Key) {
				f[d.Key] = drawFact(t, d)
			}
		}
		after := Assess(f, lib)
		for _, e := range before.Entries {
			if got := entryOf(after, e.Hazard); e.Presence == Present && (got == nil || got.Presence != Present) {
				t.Fatalf("%s was present and is lost by learning more", e.Hazard)
			}
		}
		for _, e := range after.Entries {
			if entryOf(before, e.Hazard) == nil {
				t.Fatalf("%s appears by learning more: it had been dropped", e.Hazard)
			}
			if len(e.Because) == 0 && len(e.Missing) == 0 {
				t.Fatalf("%s is there for no reason", e.Hazard)
			}
		}
	})
}

func TestAssessIsSpecific(t *testing.T) {
	t.Parallel()
	lib := DefaultLibrary()
	a := Assess(factsFrom(t, `{"roof_work": true, "scaffold": true, "first_fix": true, "second_fix": true, "commissioning": true, "contractors": 2,
		"pitch_deg": 35, "covering": "slate", "has_rooflight": true, "conservatory_below": false, "moss": false, "access": "internal_ladder",
		"footpath": true, "footpath_within_m": 1.2, "occupied": true, "children": true, "pets": false, "neighbour_access": false,
		"battery": true, "inverter": "hybrid", "unit_kg": 42, "module_kg": 21.5, "module_m2": 1.95, "consumer_unit_change": false, "ac_connection": true,
		"ohl_support": "none", "service_overhead": false, "year_built": 1965, "soffit_board": false, "textured_ceiling": false, "loft_lagging": false,
		"cut_tile": true, "loft_work": true, "strip_slates": true, "heat_pump": false, "hot_work": false, "trench": false, "wall_drill": true,
		"drill_minutes": 20, "bat_evidence": false, "nest_evidence": false, "harness": false,
		"battery_place": "utility_room", "ev_charger": false, "earthing": "tn_s", "refrigerant": "none", "old_board": false, "existing_generator": false,
		"spray_foam": false, "flue_near": false, "medical_equipment": false, "gas_near": false, "address": "7 Heron Row, Quillmere", "lat": 53.17, "lon": -0.38, "isolation_points": "cut-out in the porch"}`), lib)
	var present []string
	for _, e := range a.Entries {
		if e.Presence == Present {
			present = append(present, e.Hazard)
		}
	}
	want := strings.Fields("H01 H02 H03 H06 H08 H09 H12 H13 H14 H15 H16 H17 H18 H21 H22 H23 H24 H25 H29 H30 H32 H37 H40 H45 H51 H52 H53")
	if !slices.Equal(present, want) {
		t.Errorf("present %v, want %v", present, want)
	}
	if e := entryOf(a, "H09"); e == nil || e.Why() != "Scaffold: yes, public path or road: yes, distance of the public path or road 1.2 m." {
		t.Errorf("H09 says why: %+v", e)
	}
	if a.Open() != 0 {
		t.Errorf("%d hazards are to be confirmed though the survey is complete", a.Open())
	}
	if got := a.Method[1]; got.Stage != "roof_work" || !slices.ContainsFunc(got.Steps, func(s string) bool { return strings.HasPrefix(s, "Strip only") }) {
		t.Errorf("the roof's method says nothing of stripping: %v", got)
	}
	sheet := map[string]string{}
	for _, l := range a.Emergency {
		sheet[l.Label] = l.Say
	}
	if sheet["Position"] != "53.17000 degrees north, 0.38000 degrees west" || sheet["Isolation points"] != "cut-out in the porch" {
		t.Errorf("emergency sheet: %v", sheet)
	}
	for _, label := range []string{"Nearest access", "Emergency department"} {
		if !strings.HasPrefix(sheet[label], "unknown: ") {
			t.Errorf("%s is %q: what nobody stated is said to be unknown", label, sheet[label])
		}
	}
	if len(a.Rescue) < 4 || len(a.Cautions) == 0 {
		t.Errorf("rescue plan %v, cautions %v", a.Rescue, a.Cautions)
	}
}

func TestQuestionsAskWhatHoldsTheMorning(t *testing.T) {
	t.Parallel()
	qs := Questions(Facts{"year_built": number(1965), "soffit_board": yes(), "ohl_support": word("none"), "service_overhead": no()})
	of := map[string][]string{}
	for _, q := range qs {
		of[q.Fact] = q.For
		if q.Ask == "" {
			t.Errorf("%s is asked without a question", q.Fact)
		}
	}
	if !slices.Contains(of["asbestos_result"], "B13") || !slices.Contains(of["phase_plan"], "B15") {
		t.Errorf("asked %v: the asbestos result and the phase plan hold the morning", of)
	}
	if of["ohl_clearance_agreed"] != nil || of["textured_ceiling"] != nil || of["frost"] != nil {
		t.Errorf("asked %v: neither a clearance without a line, nor what cannot change an answer, nor the day's frost", of)
	}
}

func TestAssessmentSurvivesStorage(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a := Assess(drawFacts(t), defaultLibrary())
		b, err := a.Canonical()
		if err != nil {
			t.Fatal(err)
		}
		var read Assessment
		if err := json.Unmarshal(b, &read); err != nil {
			t.Fatal(err)
		}
		if read.Hash() != a.Hash() {
			t.Fatal("an assessment read back has another hash")
		}
		if read.Facts.Hash() != a.Facts.Hash() {
			t.Fatal("its facts have another hash")
		}
	})
}

// A firm's own library is refused when it would mislead.
func TestLibraryCheck(t *testing.T) {
	t.Parallel()
	for want, spoil := range map[string]func(*Library){
		"trigger":       func(l *Library) { l.Hazards[0].When = Rule{} },
		"of its own":    func(l *Library) { l.Hazards[1].ID = "H01" },
		"avoid":         func(l *Library) { slices.Reverse(l.Hazards[0].Controls) },
		"says how":      func(l *Library) { l.Hazards[0].After.Severity = 3 },
		"morning check": func(l *Library) { l.Hazards[0].ConfirmedBy = nil },
		"1 to 5":        func(l *Library) { l.Hazards[0].After.Likelihood = 0 },
		"evidence":      func(l *Library) { l.Hazards[0].Evidence = nil },
		"band":          func(l *Library) { l.Matrix.Bands = l.Matrix.Bands[1:] },
	} {
		lib := DefaultLibrary()
		spoil(&lib)
		if err := lib.check(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v", want, err)
		}
	}
}

// Whatever stage a hazard bites in, the checks that confirm its controls are
// asked of a crew doing that stage: otherwise it could never start.
func TestEveryWorstRiskCanBeConfirmed(t *testing.T) {
	t.Parallel()
	known := map[string]bool{}
	for _, c := range MorningChecks() {
		known[c.Key] = true
	}
	lib := DefaultLibrary()
	a := Assess(Facts{}, lib)
	for _, h := range lib.Hazards {
		for _, key := range h.ConfirmedBy {
			if !known[key] {
				t.Errorf("%s is confirmed by %q, which is no morning check", h.ID, key)
			}
		}
	}
	for _, stage := range []string{"roof_work", "first_fix", "second_fix", "commissioning"} {
		s := Snapshot{Stages: []string{stage}, Assessment: &AssessmentInForce{Body: a}}
		var asked []string
		for _, c := range ChecksFor(s) {
			asked = append(asked, c.Key)
		}
		m := &morning{Snapshot: s}
		for _, e := range m.worstToday() {
			for _, key := range e.confirmedBy() {
				if !slices.Contains(asked, key) {
					t.Errorf("%s in %s is confirmed by %s, which that crew is not asked", e.Hazard, stage, key)
				}
			}
		}
	}
}

// The 14 checks of the reference table are all asked, in its order, before our
// own three.
func TestMorningChecksHoldTheReferenceTable(t *testing.T) {
	t.Parallel()
	rows, checks := table(t, "morning_checks.csv"), MorningChecks()
	if len(rows) != 14 || len(checks) != 17 {
		t.Fatalf("%d rows, %d checks", len(rows), len(checks))
	}
	// One telling word of each row, in order.
	telling := []string{"address", "scaffold", "toe-boards", "ladder", "weather", "roof dry", "rescue", "crew", "overhead", "isolation", "briefed", "kit counted", "briefing read", "stop-work"}
	for i, row := range rows {
		ours, theirs := strings.ToLower(checks[i].Question), strings.ToLower(row["check"])
		if !strings.Contains(ours, telling[i]) || !strings.Contains(theirs, telling[i]) {
			t.Errorf("check %d: ours %q, the table's %q", i+1, ours, theirs)
		}
	}
}
