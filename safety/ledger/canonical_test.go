package ledger

import (
	"encoding/json"
	"strings"
	"testing"
)

// RFC 8785 section 3.2.2 and 3.2.3; "weird" is testdata of the RFC's own
// reference code (see testdata/SOURCE.md); the numbers are rows of appendix B.
func TestPublishedCanonicalForms(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, given, want string }{
		{"RFC 8785 3.2.2, without its one number of too many digits", `{
		  "numbers": [4.50, 2e-3, 0.000000000000000000000000001, 1E30],
		  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
		  "literals": [null, true, false]
		}`, `{"literals":[null,true,false],"numbers":[4.5,0.002,1e-27,1e+30],"string":"€$\u000f\nA'B\"\\\\\"/"}`},
		{"weird", `{"\u20ac": "Euro Sign", "1": "One", "\u0080": "Control\u007f", "\ud83d\ude02": "Smiley",
		  "\u00f6": "Latin Small Letter O With Diaeresis", "\ufb33": "Hebrew Letter Dalet With Dagesh", "</script>": "Browser Challenge"}`,
			"{\"1\":\"One\",\"</script>\":\"Browser Challenge\",\"\u0080\":\"Control\u007f\",\"ö\":\"Latin Small Letter O With Diaeresis\"," +
				"\"€\":\"Euro Sign\",\"😂\":\"Smiley\",\"\ufb33\":\"Hebrew Letter Dalet With Dagesh\"}"},
		{"appendix B", `[-0.0, 5e-324, 1.7976931348623157e308, 9007199254740992, 295147905179352830000, 9.999999999999997e22, 1e23, 1e21, 1e-7, 0.000001, 333333333.3333332]`,
			`[0,5e-324,1.7976931348623157e+308,9007199254740992,295147905179352830000,9.999999999999997e+22,1e+23,1e+21,1e-7,0.000001,333333333.3333332]`},
	} {
		got, err := Canonical([]byte(c.given))
		if err != nil || string(got) != c.want {
			t.Errorf("%s: %v\n%s\nwant\n%s", c.name, err, got, c.want)
		}
	}
}

// Two different records never have the same canonical bytes: what would lose
// something on the way is refused.
func TestWhatWouldLoseSomethingIsRefused(t *testing.T) {
	t.Parallel()
	for _, bad := range []string{
		`{"a":1,"a":2}`, `{"a":"` + "\xff" + `"}`, `333333333.33333329999`, `9007199254740993`, `1e400`, `1e-400`, `0.10000000000000000001`, `{"a":1`, `1 2`,
		strings.Repeat("1", 500),
	} {
		if got, err := Canonical([]byte(bad)); err == nil {
			t.Errorf("%.60s became %s", bad, got)
		}
	}
}

func FuzzCanonical(f *testing.F) {
	f.Add([]byte(`{"b":[1,2.50,"x\u00e9"],"a":null}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		once, err := Canonical(text)
		if err != nil {
			return
		}
		if !json.Valid(once) {
			t.Fatalf("%q became %q, which is no JSON", text, once)
		}
		again, err := Canonical(once)
		if err != nil || string(again) != string(once) {
			t.Fatalf("%q became %q and then %q (%v)", text, once, again, err)
		}
	})
}
