package safety

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"toeboard/weather"
	"toeboard/weather/fault"
)

// Sum is one sum of a job: what went in, what came out, what it is held
// against, and where the rule comes from.
type Sum struct {
	Key    string `json:"key"`
	Title  string `json:"title"`
	Inputs []Line `json:"inputs"`
	Result string `json:"result"` // with its unit; "" = something is missing
	Limit  string `json:"limit"`
	State  State  `json:"state"` // Met = inside, NotMet = outside, Unknown = not yet
	Says   string `json:"says"`  // what follows, in a sentence
	Source string `json:"source"`
}

// SumsDefer stands under every sum.
const SumsDefer = "A screening sum for planning. It says what published guidance says of plain cases; the competent person on site decides of this one."

// SumInput is one number or word that a person may put into the sums.
type SumInput struct {
	Key      string
	Name     string
	Unit     string
	Min, Max float64
	Words    []string // of a word; nil = a number
	Usual    string   // what stands there until somebody types; "" = not known
	Of       string   // key of the sum
}

// SumInputs lists what may be put in, in the order of the sums. What a job's
// facts say stands in place of the usual value.
func SumInputs() []SumInput {
	number := func(of, key, name, unit string, least, most float64, usual string) SumInput {
		return SumInput{Key: key, Name: name, Unit: unit, Min: least, Max: most, Usual: usual, Of: of}
	}
	choice := func(of, key, name, usual string, words ...string) SumInput {
		return SumInput{Key: key, Name: name, Words: words, Usual: usual, Of: of}
	}
	return []SumInput{
		number("platform", "stack_modules", "modules stacked on the bay", "modules", 0, 200, ""),
		number("platform", "module_kg", "weight of one module", "kg", 1, 60, ""),
		number("platform", "bay_width_m", "width of the bay", "m", 0.3, 5, "1.1"),
		number("platform", "bay_length_m", "length of the bay", "m", 0.5, 5, "2.3"),
		number("platform", "bay_people", "people on the bay", "people", 0, 10, "2"),
		number("platform", "load_class", "load class of the handover", "EN 12811-1", 1, 6, ""),
		choice("team", "lift_zone", "height of the hands", "elbow to shoulder", LiftZones()...),
		choice("team", "lift_reach", "arms", "close to the body", "close to the body", "extended"),
		number("team", "men", "men who lift", "people", 0, 3, "2"),
		number("team", "women", "women who lift", "people", 0, 3, "0"),
		number("niosh", "lift_kg", "weight that one person lifts", "kg", 0.1, 100, ""),
		number("niosh", "lift_h_cm", "hands in front of the ankles", "cm", 1, 100, "40"),
		number("niosh", "lift_v_cm", "hands above the floor at the start", "cm", 0, 200, "75"),
		number("niosh", "lift_d_cm", "height that it is lifted", "cm", 0, 200, "100"),
		number("niosh", "lift_a_deg", "turn of the body", "degrees", 0, 180, "0"),
		number("niosh", "lift_per_min", "lifts a minute", "1/min", 0, 30, "0.2"),
		choice("niosh", "lift_hours", "how long it goes on", "1", "1", "2", "8"),
		choice("niosh", "lift_coupling", "grip", "poor", "good", "fair", "poor"),
		number("fall", "fall_lanyard_m", "length of the lanyard", "m", 0, 5, "2"),
		number("fall", "fall_extension_m", "extension of the absorber, maker's figure", "m", 0, 4, "1.75"),
		number("fall", "fall_body_m", "attachment to feet", "m", 0, 3, "1.5"),
		number("fall", "fall_stretch_m", "stretch of the harness", "m", 0, 1, "0.3"),
		number("fall", "fall_margin_m", "kept above what is below", "m", 0, 3, "1"),
		number("fall", "fall_free_m", "height that is free below the feet", "m", 0, 60, ""),
		number("ladder", "ladder_landing_m", "height of the landing", "m", 0.5, 15, ""),
		choice("line", "ohl_support", "the line is carried by", "", "none", "wood_pole", "tower"),
		number("line", "ohl_distance_m", "distance of the line", "m", 0, 500, ""),
		number("notify", "project_days", "working days on site", "days", 0, 1000, ""),
		number("notify", "project_at_once", "most people at once", "people", 0, 200, ""),
		number("notify", "project_person_days", "person-days in all", "person-days", 0, 10000, ""),
		number("carry", "module_m2", "area of one module", "m2", 0.1, 5, ""),
		number("carry", "carriers", "people who carry it", "people", 1, 4, "2"),
		number("string", "string_modules", "modules in the string", "modules", 1, 100, ""),
		number("string", "voc_stc_v", "Voc of one module at 25 degrees C", "V", 5, 200, ""),
		number("string", "voc_coeff", "temperature coefficient of Voc", "%/K", -1, 0, ""),
		number("string", "cell_c", "temperature of the modules", "degrees C", -40, 100, ""),
		choice("string", "polarity", "polarity proved first", "not_looked_at", "not_looked_at", "yes", "no"),
		number("string", "voc_measured_v", "Voc measured", "V", 0, 2000, ""),
		number("string", "insulation_mohm", "insulation resistance measured", "Mohm", 0, 100000, ""),
		number("grid", "ac_watts", "AC ratings at the premises, added up", "W", 0, 200000, ""),
		choice("grid", "phases", "phases of the supply", "1", "1", "3"),
	}
}

// Given are the values of the inputs: numbers and words by key, those that a
// person typed over those that the job says over the usual ones.
type Given struct {
	n map[string]float64
	s map[string]string
}

// ReadSumInputs takes the job's own numbers and what was typed, and names every value
// that cannot be one. A text that is empty leaves what stood there.
func ReadSumInputs(job map[string]string, typed map[string]string) (Given, error) {
	g := Given{map[string]float64{}, map[string]string{}}
	var bad []error
	for _, in := range SumInputs() {
		text := in.Usual
		for _, over := range []map[string]string{job, typed} {
			if t := strings.TrimSpace(over[in.Key]); t != "" {
				text = t
			}
		}
		if text == "" {
			continue
		}
		if in.Words != nil {
			if !contains(in.Words, text) {
				bad = append(bad, fault.Bad(in.Key, text, "one of "+strings.Join(in.Words, ", ")))
			}
			g.s[in.Key] = text
			continue
		}
		n, err := strconv.ParseFloat(text, 64)
		if err != nil || !(n >= in.Min && n <= in.Max) {
			bad = append(bad, fault.Bad(in.Key, text, fmt.Sprintf("a number from %g to %g %s", in.Min, in.Max, in.Unit)))
			continue
		}
		g.n[in.Key] = n
	}
	return g, errors.Join(bad...)
}

func contains(all []string, s string) bool {
	for _, a := range all {
		if a == s {
			return true
		}
	}
	return false
}

// Text writes a value as it was given, for the form; "" when it is not known.
func (g Given) Text(key string) string {
	if n, known := g.n[key]; known {
		return strconv.FormatFloat(n, 'f', -1, 64)
	}
	return g.s[key]
}

// has tells whether all of some numbers are known.
func (g Given) has(keys ...string) bool {
	for _, k := range keys {
		if _, known := g.n[k]; !known {
			return false
		}
	}
	return true
}

// FactInputs gives what a job's facts say of the inputs.
func FactInputs(f Facts) map[string]string {
	out := map[string]string{}
	for input, fact := range map[string]string{"module_kg": "module_kg", "stack_modules": "modules", "load_class": "scaffold_load_class", "lift_kg": "module_kg",
		"fall_free_m": "working_height_m", "ladder_landing_m": "working_height_m", "ohl_support": "ohl_support", "ohl_distance_m": "ohl_distance_m", "module_m2": "module_m2"} {
		if v, known := f[fact]; known {
			out[input] = v.String()
			if v.Kind == Word {
				out[input] = v.S
			}
		}
	}
	if a, known := f["ac_amps_per_phase"]; known {
		out["ac_watts"] = strconv.FormatFloat(a.N*230, 'f', -1, 64)
	}
	return out
}

// Sums works out every sum of a job.
func Sums(g Given) []Sum {
	all := []Sum{g.platform(), g.team(), g.niosh(), g.fall(), g.ladder(), g.line(), g.notify(), g.carry(), g.voc(), g.insulation(), g.grid()}
	for i := range all {
		all[i].Inputs = g.inputs(strings.TrimSuffix(all[i].Key, "_ir"))
	}
	return all
}

// inputs lists what went into a sum.
func (g Given) inputs(of string) []Line {
	all := []Line{}
	for _, in := range SumInputs() {
		if in.Of == of {
			say := g.Text(in.Key)
			if say == "" {
				say = "not known"
			}
			all = append(all, Line{in.Name, strings.TrimSpace(strings.ReplaceAll(say, "_", " ") + " " + in.Unit)})
		}
	}
	return all
}

// personKN is what one person with tools stands for on a platform [kN] (common
// practice, no source: 100 kg).
const personKN = 100 * gravity / 1000

func (g Given) platform() Sum {
	s := Sum{Key: "platform", Title: "Modules and people on one bay of the scaffold", Limit: "the load class's service load, spread over the bay",
		Source: "EN 12811-1 table 3 [second-hand, check against the original]; a person with tools counts 100 kg [common practice, no source]"}
	if !g.has("stack_modules", "module_kg", "bay_width_m", "bay_length_m", "bay_people") {
		s.Says = "Not yet: modules, their weight and the bay's size are needed."
		return s
	}
	area := g.n["bay_width_m"] * g.n["bay_length_m"]
	stack := g.n["stack_modules"] * g.n["module_kg"] * gravity / 1000 / area
	load := stack + g.n["bay_people"]*personKN/area
	s.Result = fmt.Sprintf("%.2f kN/m2: modules %.2f, people %.2f", load, stack, load-stack)
	class := int(g.n["load_class"])
	bears, stated := LoadOfClass(class)
	switch {
	case !stated:
		s.Says = "The load class is not stated"
	case stack > 0 && class < storesFrom:
		s.State, s.Says = NotMet, fmt.Sprintf("Class %d is not for storing: %.2f kN/m2 of modules may not lie on it", class, stack)
	case load > bears:
		s.State, s.Says = NotMet, fmt.Sprintf("%.2f kN/m2 is more than the %g that class %d bears: spread it over more bays", load, bears, class)
	default:
		s.State, s.Says = Met, fmt.Sprintf("%.2f of the %g kN/m2 that class %d bears", load, bears, class)
	}
	s.Says += ". A single bay also wants the concentrated load checked, by the scaffold's designer."
	return s
}

func (g Given) team() Sum {
	s := Sum{Key: "team", Title: "A team lifts one module", Limit: "the filter of the team: two people two thirds of the sum, three a half",
		Source: "HSE L23 / INDG143 [figures mostly from memory, check against the original]"}
	filters := teamFilters(int(g.n["men"]), int(g.n["women"]), g.s["lift_zone"], g.s["lift_reach"])
	kg, ok := TeamCapacity(filters...)
	switch {
	case !ok:
		s.Says = "Not yet: the guidance covers one to three people."
		return s
	case !g.has("module_kg"):
		s.Says = "Not yet: the module's weight is needed."
	case g.n["module_kg"] <= kg:
		s.State, s.Says = Met, fmt.Sprintf("%g kg lies inside the filter.", g.n["module_kg"])
	default:
		s.State, s.Says = NotMet, fmt.Sprintf("%g kg lies above the filter: hoist, more people, or a detailed assessment.", g.n["module_kg"])
	}
	s.Result = fmt.Sprintf("%.2f kg", kg)
	return s
}

func (g Given) niosh() Sum {
	s := Sum{Key: "niosh", Title: "One person lifts at the van or on the ground (NIOSH)", Limit: "a lifting index up to 1",
		Source: "NIOSH 94-110, revised lifting equation, metric; not for ladders, roofs, slippery ground or team lifts"}
	hours, _ := strconv.ParseFloat(g.s["lift_hours"], 64)
	l := Lift{H: g.n["lift_h_cm"], V: g.n["lift_v_cm"], D: g.n["lift_d_cm"], A: g.n["lift_a_deg"], PerMin: g.n["lift_per_min"], Hours: hours, Coupling: g.s["lift_coupling"]}
	rwl, ok := l.RWL()
	switch kg := g.n["lift_kg"]; {
	case !ok || !g.has("lift_h_cm", "lift_v_cm", "lift_d_cm"):
		s.Says = "Not yet: where the hands are is needed."
	case rwl <= 0:
		s.State, s.Result, s.Says = NotMet, "0 kg", "Outside what the equation reaches: nothing is recommended."
	case kg <= 0:
		s.Result, s.Says = fmt.Sprintf("recommended weight limit %.1f kg", rwl), "Not yet: the weight is needed."
	default:
		index := kg / rwl
		s.Result = fmt.Sprintf("recommended weight limit %.1f kg, lifting index %.2f", rwl, index)
		s.State, s.Says = Met, "Inside what the equation recommends."
		if index > 1 {
			s.State, s.Says = NotMet, fmt.Sprintf("%g kg is above it: two people, a sack truck, or another height.", kg)
		}
	}
	return s
}

func (g Given) fall() Sum {
	s := Sum{Key: "fall", Title: "Room below for a fall into a lanyard", Limit: "the height that is free below",
		Source: "published sums of makers differ (6.0 to 6.85 m for a 2 m lanyard): take the maker's figures; EN 355 allows 1.75 m extension [read]"}
	f := Fall{Lanyard: g.n["fall_lanyard_m"], Extension: g.n["fall_extension_m"], Body: g.n["fall_body_m"], Stretch: g.n["fall_stretch_m"], Margin: g.n["fall_margin_m"]}
	need := f.Clearance()
	s.Result = fmt.Sprintf("%.2f m needed", need)
	switch {
	case !g.has("fall_free_m"):
		s.Says = "Not yet: the free height is needed."
	case g.n["fall_free_m"] >= need:
		s.State, s.Says = Met, fmt.Sprintf("%.2f m is free. Edge protection still comes before a harness.", g.n["fall_free_m"])
	default:
		s.State, s.Says = NotMet, fmt.Sprintf("Only %.2f m is free: somebody who falls hits the ground first. Fall arrest is no answer here.", g.n["fall_free_m"])
	}
	return s
}

func (g Given) ladder() Sum {
	s := Sum{Key: "ladder", Title: "Leaning ladder", Limit: "1 out to 4 up, 1 m above the landing, a rest platform from 9 m on",
		Source: "HSE ladder guidance [read]; rest platforms Work at Height Regulations 2005 schedule 6 [second-hand]"}
	if !g.has("ladder_landing_m") {
		s.Says = "Not yet: the landing's height is needed."
		return s
	}
	foot, length := LadderFor(g.n["ladder_landing_m"])
	s.Result = fmt.Sprintf("foot %.2f m out, at least %.2f m long", foot, length)
	s.State, s.Says = Met, "For getting up and for short light work only, tied, three contacts."
	if g.n["ladder_landing_m"] >= 9 {
		s.State, s.Says = NotMet, "A rise of 9 m or more wants rest platforms: take a stair."
	}
	return s
}

// askWithin is how near a line is asked about [m] (a network operator quoting
// HSE GS6).
var askWithin = map[string]float64{"wood_pole": 9, "tower": 15}

func (g Given) line() Sum {
	s := Sum{Key: "line", Title: "Overhead power line", Limit: "ask its owner within 9 m of wood poles and 15 m of towers",
		Source: "HSE GS6 as quoted by a network operator [read]"}
	within, carried := askWithin[g.s["ohl_support"]]
	switch {
	case g.s["ohl_support"] == "none":
		s.State, s.Result, s.Says = Met, "no line in sight", "Look again on the day; the house's own overhead supply counts too."
	case !carried || !g.has("ohl_distance_m"):
		s.Says = "Not yet: what carries the line and how far it is must be known."
	case g.n["ohl_distance_m"] > within:
		s.State, s.Result, s.Says = Met, fmt.Sprintf("%g m, asked within %g m", g.n["ohl_distance_m"], within), "Far enough not to ask; keep tubes and rails level."
	default:
		s.State, s.Result = NotMet, fmt.Sprintf("%g m, asked within %g m", g.n["ohl_distance_m"], within)
		s.Says = "Ask the owner before the scaffold goes up; no work until the clearance is agreed in writing."
	}
	return s
}

func (g Given) notify() Sum {
	s := Sum{Key: "notify", Title: "Is the project notified before it starts?", Limit: "over 30 working days with over 20 people at once, or over 500 person-days",
		Source: "CDM 2015 reg 6 as quoted in guidance [read]"}
	if !g.has("project_days", "project_at_once", "project_person_days") {
		s.Says = "Not yet: days, people at once and person-days are needed; a published plan gives them."
		return s
	}
	s.Result = fmt.Sprintf("%g days, %g at once, %g person-days", g.n["project_days"], g.n["project_at_once"], g.n["project_person_days"])
	s.State, s.Says = Met, "Not notifiable by these numbers. A construction phase plan is needed all the same."
	if Notifiable(int(g.n["project_days"]), int(g.n["project_at_once"]), int(g.n["project_person_days"])) {
		s.State, s.Says = NotMet, "Notifiable: the client tells the regulator before the construction phase begins."
	}
	return s
}

func (g Given) carry() Sum {
	s := Sum{Key: "carry", Title: "Wind on a module that is carried", Limit: "150 N to start or stop and 70 N to keep moving, two people two thirds of the sum",
		Source: "HSE L23 / INDG143 push and pull [read], drag of a flat plate [engineers' data book]; an even floor, which a roof is not"}
	if !g.has("module_m2", "carriers") {
		s.Says = "Not yet: the module's area is needed."
		return s
	}
	l, err := weather.PanelWindLimit(weather.PanelOfArea(g.n["module_m2"], int(g.n["carriers"])))
	if err != nil {
		s.Says = "Not yet: a module of this area has no usual sides."
		return s
	}
	s.Result = fmt.Sprintf("care from %.1f m/s (%.0f mph), stop at %.1f m/s (%.0f mph)", l.Caution, l.Caution*weather.MphPerMs, l.Stop, l.Stop*weather.MphPerMs)
	s.State, s.Says = Met, "Gusts, at the working height. The firm's limits may be lower; then they hold. "+l.Sum+"."
	return s
}

func (g Given) stringTest() StringTest {
	polarity, _ := AnswerFromKey(g.s["polarity"])
	return StringTest{Modules: int(g.n["string_modules"]), VocSTC: g.n["voc_stc_v"], TempCoeff: g.n["voc_coeff"], CellTempC: g.n["cell_c"],
		MeasuredV: g.n["voc_measured_v"], PolarityOK: polarity, InsulationM: g.n["insulation_mohm"]}
}

func (g Given) voc() Sum {
	s := Sum{Key: "string", Title: "Open-circuit voltage of a string", Limit: "within 5% of the data sheet at the modules' temperature",
		Source: "IEC 62446-1 6.2 and 6.4 [5% read on a poster for like strings]; against the corrected data sheet: the firm's own rule"}
	if !g.has("string_modules", "voc_stc_v", "voc_coeff", "cell_c") {
		s.Says = "Not yet: modules, Voc, its coefficient and the temperature are needed."
		return s
	}
	t := g.stringTest()
	s.State, s.Says = t.Voc()
	s.Result, s.Says = fmt.Sprintf("%.1f V expected", t.ExpectedVoc()), upperFirst(s.Says)+"."
	return s
}

func (g Given) insulation() Sum {
	s := Sum{Key: "string_ir", Title: "Insulation resistance of a string", Limit: "0.5 Mohm under 120 V, 1 Mohm above",
		Source: "IEC 62446-1 6.7 [voltages read, least values from memory, check against the original]"}
	if !g.has("string_modules", "voc_stc_v", "voc_coeff", "cell_c") {
		s.Says = "Not yet: modules and Voc are needed."
		return s
	}
	t := g.stringTest()
	s.State, s.Says = t.Insulation()
	volts, _ := InsulationLimit(t.SystemVoltage())
	s.Result, s.Says = fmt.Sprintf("test at %d V", volts), upperFirst(s.Says)+"."
	return s
}

func (g Given) grid() Sum {
	s := Sum{Key: "grid", Title: "AC ratings against the grid operator's route", Limit: "up to 16 A a phase connect and notify, above it approval first",
		Source: "EREC G98 and G99; sum of ratings without diversity, a network operator's page [read]"}
	phases, _ := strconv.Atoi(g.s["phases"])
	amps, ok := AmpsPerPhase(g.n["ac_watts"], phases)
	if !ok || !g.has("ac_watts") {
		s.Says = "Not yet: the AC ratings are needed."
		return s
	}
	s.Result = fmt.Sprintf("%.2f A a phase", amps)
	s.State, s.Says = Met, "Connect and notify within 28 days of commissioning."
	if amps > 16 {
		s.State, s.Says = NotMet, "Approval first: nothing is energised before it is there, up to 45 working days."
	}
	return s
}
