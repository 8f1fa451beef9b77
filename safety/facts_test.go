package safety

import (
	"encoding/json"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"toeboard/weather/fault"
)

func TestFactListIsSound(t *testing.T) {
	t.Parallel()
	froms := []FactFrom{FromPlan, FromSurvey, FromRecord, FromDay}
	for _, d := range FactList() {
		if d.Key == "" || d.Name == "" || !strings.HasSuffix(d.Ask, "?") || !slices.Contains(froms, d.From) {
			t.Errorf("%+v: key, name, a question and where it comes from are all needed", d)
		}
		switch d.Kind {
		case YesNo, Text:
		case Number:
			if d.Unit == "" || !(d.Min < d.Max) {
				t.Errorf("%s: a number has a unit and a range", d.Key)
			}
		case Word:
			if len(d.Words) < 2 {
				t.Errorf("%s: a word has at least two words to choose from", d.Key)
			}
		default:
			t.Errorf("%s: kind %q is none", d.Key, d.Kind)
		}
	}
}

func TestFactsFromReadsWhatSurveysHold(t *testing.T) {
	t.Parallel()
	var raw map[string]any
	if err := json.Unmarshal([]byte(`{"pitch_deg": 35, "moss": "yes", "battery": false, "covering": "Concrete tile",
		"year_built": "1998", "has_rooflight": null, "children": "", "pets": "unknown", "hospital": " Quillmere General "}`), &raw); err != nil {
		t.Fatal(err)
	}
	got, err := FactsFrom(raw)
	if err != nil {
		t.Fatal(err)
	}
	want := Facts{
		"pitch_deg": {Kind: Number, N: 35}, "moss": {Kind: YesNo, Yes: true}, "battery": {Kind: YesNo},
		"covering": {Kind: Word, S: "concrete_tile"}, "year_built": {Kind: Number, N: 1998}, "hospital": {Kind: Text, S: "Quillmere General"},
	}
	if len(got) != len(want) {
		t.Errorf("got %v, want %v: null, empty and \"unknown\" are not known", got, want)
	}
	for k, w := range want {
		if got[k] != w {
			t.Errorf("%s: got %+v, want %+v", k, got[k], w)
		}
	}
}

func TestFactsFromNamesEveryBadFactAndKeepsItUnknown(t *testing.T) {
	t.Parallel()
	got, err := FactsFrom(map[string]any{
		"pitch_deg": 350.0, "covering": "straw", "moss": "perhaps", "has_rooflght": true, "battery": true,
		"ohl_distance_m": "NaN", "hospital": "a\x00b", "year_built": []any{1.0},
	})
	var fields []string
	for _, e := range fault.Each(err) {
		fields = append(fields, e.Field)
		if e.Kind != fault.Invalid || e.Want == "" {
			t.Errorf("%v: a bad fact is invalid and says what would be right", e)
		}
	}
	want := []string{"fact covering", "fact has_rooflght", "fact hospital", "fact moss", "fact ohl_distance_m", "fact pitch_deg", "fact year_built"}
	if !slices.Equal(fields, want) {
		t.Errorf("named %v, want %v", fields, want)
	}
	if len(got) != 1 || !got["battery"].Yes {
		t.Errorf("got %v: only the good fact stands", got)
	}
}

func TestFactsOfTakesTheJobsOwnNumbers(t *testing.T) {
	t.Parallel()
	f, err := FactsOf(map[string]any{"modules": 3.0, "battery": true}, JobNumbers{
		Address: "7 Heron Row, Quillmere", Lat: 53.17, Lon: -0.38, WorkingHeightM: 6.5, Modules: 12, ModuleWatts: 430,
		ModuleKg: 21.5, ModuleM2: 1.95, Stages: []string{"scaffold_erection", "roof_work", "scaffold_strike"},
	})
	if err != nil {
		t.Fatal(err)
	}
	for key, want := range map[string]string{"modules": "12", "module_kg": "21.5", "roof_work": "yes", "scaffold": "yes",
		"first_fix": "no", "commissioning": "no", "contractors": "2", "address": "7 Heron Row, Quillmere", "lat": "53.17", "battery": "yes"} {
		if got, known := f[key]; !known || got.String() != want {
			t.Errorf("%s: got %q, want %q", key, got, want)
		}
	}
	none, err := FactsOf(nil, JobNumbers{})
	if err != nil || len(none) != 0 {
		t.Errorf("of nothing known: got %v, %v", none, err)
	}
}

func TestFactsHash(t *testing.T) {
	t.Parallel()
	base := Facts{"pitch_deg": {Kind: Number, N: 35}, "moss": {Kind: YesNo, Yes: true}, "covering": {Kind: Word, S: "slate"}}
	with := func(key string, f Fact) Facts {
		more := maps.Clone(base)
		more[key] = f
		return more
	}
	if base.Hash() == with("battery", Fact{Kind: YesNo}).Hash() {
		t.Error("a survey fact that becomes known changes the hash: known \"no\" is not unknown")
	}
	if base.Hash() == with("moss", Fact{Kind: YesNo}).Hash() {
		t.Error("a survey fact that changes does not change the hash")
	}
	for _, key := range []string{"phase_plan", "frost", "handover"} {
		if base.Hash() != with(key, Fact{Kind: YesNo, Yes: true}).Hash() {
			t.Errorf("%s is of the day or a paper and must not make an assessment stale", key)
		}
	}
}

// The facts are found in any order, and stored and read back, and stay the
// same facts.
func TestFactsHashWhateverTheOrder(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := drawFacts(t)
		keys := sortedKeys(f)
		r := rand.New(rand.NewPCG(1, uint64(rapid.IntRange(0, 1<<20).Draw(t, "seed"))))
		r.Shuffle(len(keys), func(i, j int) { keys[i], keys[j] = keys[j], keys[i] })
		again := Facts{}
		for _, k := range keys {
			again[k] = f[k]
		}
		if again.Hash() != f.Hash() || Assess(again, defaultLibrary()).Hash() != Assess(f, defaultLibrary()).Hash() {
			t.Fatal("the order in which facts are found changed a hash")
		}
		text, err := json.Marshal(f)
		if err != nil {
			t.Fatal(err)
		}
		var read Facts
		if err := json.Unmarshal(text, &read); err != nil {
			t.Fatal(err)
		}
		if read.Hash() != f.Hash() {
			t.Fatalf("%s read back has another hash", text)
		}
	})
}

// drawFacts draws some facts of every kind, each within its range.
func drawFacts(t *rapid.T) Facts {
	f := Facts{}
	for _, d := range FactList() {
		if rapid.Bool().Draw(t, d.Key+" known") {
			f[d.Key] = drawFact(t, d)
		}
	}
	return f
}

func drawFact(t *rapid.T, d FactDef) Fact {
	switch d.Kind {
	case YesNo:
		return Fact{Kind: YesNo, Yes: rapid.Bool().Draw(t, d.Key)}
	case Number:
		return Fact{Kind: Number, N: rapid.Float64Range(d.Min, d.Max).Draw(t, d.Key)}
	case Word:
		return Fact{Kind: Word, S: rapid.SampledFrom(d.Words).Draw(t, d.Key)}
	default:
		return Fact{Kind: Text, S: rapid.StringMatching(`[A-Za-z0-9 ,.<>&"é]{1,30}`).Draw(t, d.Key)}
	}
}

// Whatever facts there are, their bytes are those that encoding/json writes of such a
// map: stored hashes rest on them.
func TestFactsAreWrittenAsEncodingJSONWritesThem(t *testing.T) {
	t.Parallel()
	type plain map[string]any
	rapid.Check(t, func(t *rapid.T) {
		facts, want := Facts{}, plain{}
		for range rapid.IntRange(0, 12).Draw(t, "n") {
			key := rapid.OneOf(rapid.SampledFrom([]string{"moss", "pitch_deg", "covering", "address"}), rapid.String()).Draw(t, "key")
			switch rapid.IntRange(0, 3).Draw(t, "kind") {
			case 0:
				yes := rapid.Bool().Draw(t, "yes")
				facts[key], want[key] = Fact{Kind: YesNo, Yes: yes}, yes
			case 1:
				n := rapid.OneOf(rapid.Float64Range(-1e22, 1e22), rapid.Map(rapid.Int64Range(-1e12, 1e12), func(i int64) float64 { return float64(i) }),
					rapid.SampledFrom([]float64{0, math.Copysign(0, -1), 1, 1e9, 1e9 - 1, 0.5, 1e21})).Draw(t, "number")
				facts[key], want[key] = Fact{Kind: Number, N: n}, n
			case 2:
				facts[key], want[key] = Fact{Kind: Word, S: "clay_tile"}, "clay_tile"
			default:
				text := rapid.String().Draw(t, "text")
				b, err := json.Marshal(text) // what stands between < and > has always been escaped here
				if err != nil {
					t.Fatal(err)
				}
				facts[key], want[key] = Fact{Kind: Text, S: text}, json.RawMessage(b)
			}
		}
		got, err := canonical(struct{ Facts Facts }{facts})
		is, wrong := canonical(struct{ Facts plain }{want})
		if err != nil || wrong != nil || string(got) != string(is) {
			t.Fatalf("written %s, want %s (%v, %v)", got, is, err, wrong)
		}
	})
	if b, err := canonical(Facts(nil)); err != nil || string(b) != "null" {
		t.Errorf("no facts are written %s, %v", b, err)
	}
}
