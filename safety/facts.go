package safety

import (
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"toeboard/weather/fault"
)

// FactKind is what sort of answer a fact takes.
type FactKind string

// The kinds of a fact.
const (
	YesNo  FactKind = "yes_no"
	Number FactKind = "number" // in the unit its FactDef states
	Word   FactKind = "word"   // one of the words its FactDef lists
	Text   FactKind = "text"   // free; no rule looks into it
)

// FactFrom tells who knows a fact.
type FactFrom string

// Where facts come from. Only those of the plan and the survey make an
// assessment and its hash: papers that arrive later and the weather of the day
// do not make a signed assessment stale, they are asked for by the decision.
const (
	FromPlan   FactFrom = "plan"   // the job's own numbers
	FromSurvey FactFrom = "survey" // what somebody saw at the house
	FromRecord FactFrom = "record" // papers and agreements
	FromDay    FactFrom = "day"    // known only on the day
)

// FactDef is one fact that hazards and conditions may speak of.
type FactDef struct {
	Key      string
	Name     string // in the middle of a sentence: "roof pitch"
	Kind     FactKind
	Unit     string  // of a Number
	Min, Max float64 // of a Number, both allowed
	Words    []string
	From     FactFrom
	OfMost   bool   // it puts hazards on most jobs, so it says little of one: all of the plan, and those of the survey that are marked so
	Ask      string // the question put to whoever knows
}

//go:embed facts.csv
var factsCSV string

// factList is the vocabulary, in the order of the file; factByKey and factByName
// find in it.
var (
	factList, factByKey = readFactList(factsCSV)
	factByName          = factsByName(factList)
)

func factsByName(all []FactDef) map[string]FactDef {
	byName := map[string]FactDef{}
	for _, d := range all {
		byName[d.Name] = d
	}
	return byName
}

// FactList gives every fact that the assessment and the decision know, with its
// kind, unit and range.
func FactList() []FactDef { return slices.Clone(factList) }

func readFactList(text string) ([]FactDef, map[string]FactDef) {
	byKey := map[string]FactDef{}
	var all []FactDef
	for _, r := range ownRows("facts.csv", text) {
		d := FactDef{Key: r[0], Name: r[1], Kind: FactKind(r[2]), Unit: r[3], From: FactFrom(r[7]), Ask: r[9]}
		d.OfMost = d.From == FromPlan || r[8] == "yes"
		if d.Kind == Number {
			d.Min, d.Max = mustFloat(r[4]), mustFloat(r[5])
		}
		if d.Kind == Word {
			d.Words = strings.Split(r[6], "|")
		}
		all = append(all, d)
		byKey[d.Key] = d
	}
	return all, byKey
}

func mustFloat(s string) float64 {
	f, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic("safety: facts.csv: " + err.Error())
	}
	return f
}

// Fact is one thing known of a job. A fact that is not known has no Fact.
type Fact struct {
	Kind FactKind
	Yes  bool    // of YesNo
	N    float64 // of Number, in the unit of its FactDef
	S    string  // of Word and Text
}

// String writes the fact's value without its unit.
func (f Fact) String() string {
	switch f.Kind {
	case YesNo:
		if f.Yes {
			return "yes"
		}
		return "no"
	case Number:
		return strconv.FormatFloat(f.N, 'f', -1, 64)
	case Word:
		return strings.ReplaceAll(f.S, "_", " ")
	default:
		return f.S
	}
}

// MarshalJSON writes true, 28.5 or "slate".
func (f Fact) MarshalJSON() ([]byte, error) { return f.append(nil) }

func (f Fact) append(b []byte) ([]byte, error) {
	var v any = f.S
	switch {
	case f.Kind == YesNo:
		return strconv.AppendBool(b, f.Yes), nil
	case f.Kind == Number && f.N >= 1 && f.N < 1e9 && f.N == math.Trunc(f.N): // as json.Marshal writes it, in a tenth of the time
		return strconv.AppendInt(b, int64(f.N), 10), nil
	case f.Kind == Number:
		v = f.N
	case isKey(f.S):
		return append(append(append(b, '"'), f.S...), '"'), nil
	}
	long, err := json.Marshal(v)
	return append(b, long...), err
}

// isKey tells whether a text is of letters, digits and underscores alone, as keys
// and words are: nothing in it is escaped.
func isKey(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool {
		return !(r == '_' || r >= '0' && r <= '9' || r >= 'a' && r <= 'z')
	})
}

// Facts is what is known of one job, by the keys of FactList. A key that is not
// there is not known, and no rule takes it for "no".
type Facts map[string]Fact

// MarshalJSON writes the facts by key, as encoding/json writes any map: a decision
// hashes them twice, and by reflection they would be a third of what it allocates.
func (f Facts) MarshalJSON() ([]byte, error) {
	if f == nil {
		return []byte("null"), nil
	}
	b := append(make([]byte, 0, 2048), '{')
	for i, key := range sortedKeys(f) {
		if i > 0 {
			b = append(b, ',')
		}
		var err error
		if isKey(key) {
			b = append(append(append(b, '"'), key...), '"')
		} else {
			name, wrong := canonical(key)
			b, err = append(b, name...), wrong
		}
		if err != nil {
			return nil, err
		}
		if b, err = f[key].append(append(b, ':')); err != nil {
			return nil, err
		}
	}
	return append(b, '}'), nil
}

// UnmarshalJSON reads stored facts back as they were written, whatever the
// list of facts says today: a record keeps what it rested on. Facts from
// outside go through FactsFrom, which checks them.
func (f *Facts) UnmarshalJSON(b []byte) error {
	var raw map[string]any
	if err := json.Unmarshal(b, &raw); err != nil {
		return fmt.Errorf("facts: %w", err)
	}
	*f = Facts{}
	for key, v := range raw {
		switch v := v.(type) {
		case bool:
			(*f)[key] = Fact{Kind: YesNo, Yes: v}
		case float64:
			(*f)[key] = Fact{Kind: Number, N: v}
		case string:
			kind := Text
			if factByKey[key].Kind == Word {
				kind = Word
			}
			(*f)[key] = Fact{Kind: kind, S: v}
		}
	}
	return nil
}

// JobNumbers is what the job itself says: how much of what is fitted where.
// Zero stands for not known.
type JobNumbers struct {
	Address        string
	Lat, Lon       float64 // [degrees]; both zero = not known
	WorkingHeightM float64 // [m]
	Modules        int
	ModuleWatts    int      // [W] each
	ModuleKg       float64  // [kg] each
	ModuleM2       float64  // [m2] each
	Stages         []string // keys of the job's stages; nil = not known
}

// FactsOf puts together what the survey found (a site's facts, as stored) and
// the job's numbers. Facts that can be read stand; each that cannot stays
// unknown and is named in the error, joined, so that all are seen at once.
func FactsOf(site map[string]any, job JobNumbers) (Facts, error) {
	raw := map[string]any{}
	for k, v := range site {
		raw[k] = v
	}
	number := func(key string, n float64) {
		if n != 0 {
			raw[key] = n
		}
	}
	if job.Address != "" {
		raw["address"] = job.Address
	}
	if job.Lat != 0 || job.Lon != 0 {
		raw["lat"], raw["lon"] = job.Lat, job.Lon
	}
	number("working_height_m", job.WorkingHeightM)
	number("modules", float64(job.Modules))
	number("module_watts", float64(job.ModuleWatts))
	number("module_kg", job.ModuleKg)
	number("module_m2", job.ModuleM2)
	if job.Stages != nil {
		for key, stage := range map[string]string{"scaffold": "scaffold_erection", "roof_work": "roof_work",
			"first_fix": "first_fix", "second_fix": "second_fix", "commissioning": "commissioning"} {
			raw[key] = slices.Contains(job.Stages, stage)
		}
		if _, said := raw["contractors"]; !said {
			raw["contractors"] = float64(1)
			if slices.Contains(job.Stages, "scaffold_erection") {
				raw["contractors"] = float64(2) // the scaffold firm is another
			}
		}
	}
	return FactsFrom(raw)
}

// FactsFrom reads facts as JSON gives them: true or "yes", 35 or "35", "slate".
// Null, "" and "unknown" are not known. Errors are as of FactsOf.
func FactsFrom(raw map[string]any) (Facts, error) {
	facts := Facts{}
	var bad []error
	for _, key := range sortedKeys(raw) {
		def, known := factByKey[key]
		if !known {
			bad = append(bad, fault.Bad("fact "+key, fmt.Sprint(raw[key]), "this is not a fact the assessment knows: look for its name in the list of facts"))
			continue
		}
		f, ok, err := def.read(raw[key])
		if err != nil {
			bad = append(bad, err)
		} else if ok {
			facts[key] = f
		}
	}
	return facts, errors.Join(bad...)
}

// read makes a fact of a JSON value; ok is false when it is not known.
func (d FactDef) read(v any) (f Fact, ok bool, err error) {
	if s, isText := v.(string); isText {
		s = strings.TrimSpace(s)
		if s == "" || strings.EqualFold(s, "unknown") {
			return Fact{}, false, nil
		}
		v = s
	}
	if v == nil {
		return Fact{}, false, nil
	}
	refuse := func() (Fact, bool, error) {
		return Fact{}, false, fault.Bad("fact "+d.Key, fmt.Sprint(v), d.want())
	}
	switch d.Kind {
	case YesNo:
		yes, known := readYesNo(v)
		if !known {
			return refuse()
		}
		return Fact{Kind: YesNo, Yes: yes}, true, nil
	case Number:
		n, known := readNumber(v)
		if !known || !(n >= d.Min && n <= d.Max) {
			return refuse()
		}
		return Fact{Kind: Number, N: n}, true, nil
	case Word:
		s, isText := v.(string)
		s = strings.ReplaceAll(strings.ToLower(s), " ", "_")
		if !isText || !slices.Contains(d.Words, s) {
			return refuse()
		}
		return Fact{Kind: Word, S: s}, true, nil
	default:
		s, isText := v.(string)
		if !isText || !utf8.ValidString(s) || len(s) > 2000 || strings.ContainsRune(s, 0) {
			return refuse()
		}
		return Fact{Kind: Text, S: s}, true, nil
	}
}

func readYesNo(v any) (yes, ok bool) {
	switch v := v.(type) {
	case bool:
		return v, true
	case string:
		switch strings.ToLower(v) {
		case "yes", "true":
			return true, true
		case "no", "false":
			return false, true
		}
	}
	return false, false
}

func readNumber(v any) (float64, bool) {
	switch v := v.(type) {
	case float64:
		return v, true
	case int:
		return float64(v), true
	case json.Number:
		n, err := v.Float64()
		return n, err == nil
	case string:
		n, err := strconv.ParseFloat(v, 64)
		return n, err == nil
	}
	return 0, false
}

// want says in words what would be right.
func (d FactDef) want() string {
	switch d.Kind {
	case YesNo:
		return "yes or no"
	case Number:
		return fmt.Sprintf("a number from %g to %g %s", d.Min, d.Max, d.Unit)
	case Word:
		return "one of " + strings.Join(d.Words, ", ")
	default:
		return "text of at most 2000 characters"
	}
}

// Say writes a fact with its name and unit: "roof pitch 35 degrees", "battery:
// yes".
func (f Facts) Say(key string) string {
	v, known := f[key]
	def := factByKey[key]
	switch {
	case !known:
		return def.Name + ": not known"
	case v.Kind == Number && def.Unit == "year":
		return def.Name + " " + v.String()
	case v.Kind == Number:
		return def.Name + " " + v.String() + " " + def.Unit
	default:
		return def.Name + ": " + v.String()
	}
}

// factSaid finds the fact of which Say made a sentence; ok is false when no fact
// is said so.
func factSaid(sentence string) (d FactDef, ok bool) {
	for name := sentence; name != ""; {
		if d, ok := factByName[name]; ok {
			return d, true
		}
		name = name[:max(strings.LastIndexAny(name, " :"), 0)]
	}
	return FactDef{}, false
}

// Assessed gives those facts that an assessment is made from.
func (f Facts) Assessed() Facts {
	some := Facts{}
	for k, v := range f {
		if from := factByKey[k].From; from == FromPlan || from == FromSurvey {
			some[k] = v
		}
	}
	return some
}

// Hash is the SHA-256 of the facts that an assessment is made from, whatever
// the order in which they were found.
func (f Facts) Hash() Hash { return hashOf(f.Assessed()) }

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
