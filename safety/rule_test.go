package safety

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"toeboard/weather/fault"
)

func yes() Fact             { return Fact{Kind: YesNo, Yes: true} }
func no() Fact              { return Fact{Kind: YesNo} }
func number(n float64) Fact { return Fact{Kind: Number, N: n} }
func word(s string) Fact    { return Fact{Kind: Word, S: s} }

// The strong three-valued tables of Kleene (Introduction to Metamathematics,
// 1952, section 64, from memory), which SQL uses too: SELECT NULL::bool AND
// false is false, NULL::bool OR true is true, NOT NULL::bool is NULL.
func TestRuleThreeValuedTables(t *testing.T) {
	t.Parallel()
	const F, U, T = False, Unsure, True
	values := []Truth{F, U, T}
	and := map[Truth][3]Truth{F: {F, F, F}, U: {F, U, U}, T: {F, U, T}}
	or := map[Truth][3]Truth{F: {F, U, T}, U: {U, U, T}, T: {T, T, T}}
	not := map[Truth]Truth{F: T, U: U, T: F}
	facts := func(a, b Truth) Facts {
		f := Facts{}
		for key, v := range map[string]Truth{"moss": a, "battery": b} {
			if v != U {
				f[key] = Fact{Kind: YesNo, Yes: v == T}
			}
		}
		return f
	}
	for _, a := range values {
		for j, b := range values {
			for text, want := range map[string]Truth{"moss and battery": and[a][j], "moss or battery": or[a][j], "not moss": not[a]} {
				if got := mustRule(text).Judge(facts(a, b)).Truth; got != want {
					t.Errorf("%s with %s, %s: got %s, want %s", text, a, b, got, want)
				}
			}
		}
	}
}

func TestRuleComparisons(t *testing.T) {
	t.Parallel()
	f := Facts{"pitch_deg": number(30), "covering": word("slate"), "moss": no()}
	for text, want := range map[string]Truth{
		"pitch_deg >= 30": True, "pitch_deg > 30": False, "pitch_deg <= 30": True, "pitch_deg < 30": False,
		"pitch_deg = 30": True, "pitch_deg != 30": False, "pitch_deg>=29.5": True,
		"covering = slate": True, "covering != slate": False, "covering in (metal, slate)": True, "covering in (metal)": False,
		"moss or covering = slate and pitch_deg = 30":   True, // and binds tighter
		"(moss or covering = slate) and pitch_deg > 30": False,
		"not moss and not pitch_deg > 30":               True,
		"temp_c <= 2":                                   Unsure,
		"not frost":                                     Unsure,
	} {
		if got := mustRule(text).Judge(f).Truth; got != want {
			t.Errorf("%s: got %s, want %s", text, got, want)
		}
	}
}

func TestRuleSaysWhyAndWhatIsMissing(t *testing.T) {
	t.Parallel()
	r := mustRule("roof_work and (pitch_deg >= 30 or moss or frost)")
	for _, c := range []struct {
		facts            Facts
		truth            Truth
		because, missing []string
	}{
		{Facts{"roof_work": yes(), "pitch_deg": number(35)}, True, []string{"roof_work", "pitch_deg"}, nil},
		{Facts{"roof_work": yes(), "pitch_deg": number(20)}, Unsure, []string{"roof_work"}, []string{"moss", "frost"}},
		{Facts{"roof_work": yes(), "pitch_deg": number(20), "moss": no(), "frost": no()}, False, []string{"pitch_deg", "moss", "frost"}, nil},
		{Facts{"roof_work": no(), "moss": yes()}, False, []string{"roof_work"}, nil},
		{Facts{}, Unsure, nil, []string{"roof_work", "pitch_deg", "moss", "frost"}},
	} {
		got := r.Judge(c.facts)
		if got.Truth != c.truth || !slices.Equal(got.Because, c.because) || !slices.Equal(got.Missing, c.missing) {
			t.Errorf("%v: got %+v, want %s because %v missing %v", c.facts, got, c.truth, c.because, c.missing)
		}
	}
}

// A fact of the wrong kind, as an old record might hold, is not an answer.
func TestRuleDoesNotReadAFactOfAnotherKind(t *testing.T) {
	t.Parallel()
	if got := mustRule("not moss").Judge(Facts{"moss": number(1)}).Truth; got != Unsure {
		t.Errorf("got %s, want unsure", got)
	}
}

func TestParseRuleRefuses(t *testing.T) {
	t.Parallel()
	for _, text := range []string{
		"rooflight", "roof_work and", "and", "roof_work roof_work", "(roof_work", "roof_work)", "pitch_deg", "pitch_deg > steep",
		"pitch_deg => 30", "pitch_deg > 900", "covering = straw", "covering > slate", "covering in slate", "covering in (slate", "covering in ()",
		"hospital = near", "address", "roof_work & moss", "not", "roof_work = yes", "MOSS",
	} {
		_, err := ParseRule(text)
		if err == nil || fault.KindOf(err) != fault.Invalid {
			t.Errorf("%q: got %v, want it refused", text, err)
		}
	}
}

// Learning a fact may answer an unsure rule, but never turns a yes into a no or
// back: an answer never rests on what was not known.
func TestRuleAnswersNeverRestOnWhatIsNotKnown(t *testing.T) {
	t.Parallel()
	lib := DefaultLibrary()
	var rules []Rule
	for _, h := range lib.Hazards {
		rules = append(rules, h.When)
	}
	for _, code := range sortedKeys(siteRules) {
		rules = append(rules, siteRules[code])
	}
	rapid.Check(t, func(t *rapid.T) {
		f := drawFacts(t)
		r := rapid.SampledFrom(rules).Draw(t, "rule")
		before := r.Judge(f)
		for _, key := range r.Keys() {
			if _, known := f[key]; !known && rapid.Bool().Draw(t, "learn "+key) {
				f[key] = drawFact(t, factByKey[key])
			}
		}
		after := r.Judge(f)
		if before.Truth != Unsure && after.Truth != before.Truth {
			t.Fatalf("%s: was %s, became %s by learning more", r, before.Truth, after.Truth)
		}
		if before.Truth == Unsure && len(before.Missing) == 0 {
			t.Fatalf("%s is unsure and does not say what is missing", r)
		}
		if before.Truth == True && len(before.Because) == 0 {
			t.Fatalf("%s holds and does not say why", r)
		}
	})
}

func FuzzParseRule(f *testing.F) {
	for _, h := range DefaultLibrary().Hazards {
		f.Add(h.When.String())
	}
	f.Add("((((((((((not not not moss))")
	f.Add("covering in (slate, , metal)")
	f.Fuzz(func(t *testing.T, text string) {
		r, err := ParseRule(text)
		if err != nil {
			if fault.KindOf(err) != fault.Invalid {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		again, err := ParseRule(r.String())
		if err != nil || !slices.Equal(again.Keys(), r.Keys()) {
			t.Fatalf("%q does not read back: %v", text, err)
		}
		r.Judge(Facts{})
	})
}
