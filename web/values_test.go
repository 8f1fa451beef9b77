package web

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// The words are those of the IPCC guidance note on uncertainties (2010, table
// 1; from memory): very likely 90-100 %, likely 66-100 %, about as likely as
// not 33-66 %, unlikely 0-33 %, very unlikely 0-10 %.
func TestChanceInWordsAndNumber(t *testing.T) {
	for _, c := range []struct {
		p    float64
		want string
	}{
		{0.009, "very unlikely (under 1 %)"}, {0.01, "very unlikely (1 %)"}, {0.049, "very unlikely (4 %)"}, {0.06, "very unlikely (6 %)"}, {0.07, "very unlikely (7 %)"}, {0.099, "very unlikely (9 %)"}, {0.1, "unlikely (10 %)"}, {0.3, "unlikely (30 %)"},
		{0.36, "as likely as not (40 %)"}, {0.5, "as likely as not (50 %)"}, {0.62, "as likely as not (60 %)"},
		{0.66, "likely (70 %)"}, {0.7, "likely (70 %)"}, {0.84, "likely (80 %)"}, {0.9, "very likely (90 %)"}, {0.99, "very likely (over 95 %)"},
	} {
		got := strings.ReplaceAll(Chance{Known: true, P: c.p}.Words(), "\u00a0", " ")
		if got != c.want {
			t.Errorf("%g: %q, want %q", c.p, got, c.want)
		}
	}
	if got := (Chance{P: 0.9}).Words(); got != "not known" {
		t.Errorf("a chance that is not known reads %q", got)
	}
}

func TestChanceIsNeverCertain(t *testing.T) {
	for i := range 1001 {
		c := Chance{Known: true, P: float64(i) / 1000}
		if p := c.Percent(); p < 1 || p > 95 {
			t.Fatalf("%g reads as %d %%", c.P, p)
		}
		if f := c.Figure(); strings.HasPrefix(f, "0") || strings.HasPrefix(f, "100") {
			t.Fatalf("%g reads as %q", c.P, f)
		}
	}
}

// A hatch thins as its chance falls: the patterns' line distances must grow
// from h9 to h1, and a better chance never gets a thinner pattern.
func TestHatchThinsAsTheChanceFalls(t *testing.T) {
	b, err := files.ReadFile("templates/parts/symbols.html")
	if err != nil {
		t.Fatal(err)
	}
	distance := map[string]float64{}
	for _, m := range regexp.MustCompile(`<pattern id="(h[0-9])" width="([0-9.]+)"`).FindAllStringSubmatch(string(b), -1) {
		distance[m[1]], err = strconv.ParseFloat(m[2], 64)
		if err != nil {
			t.Fatal(err)
		}
	}
	last := math.Inf(1)
	for i := range 101 {
		d, ok := distance[Chance{Known: true, P: float64(i) / 100}.Hatch()]
		if !ok || d > last {
			t.Fatalf("at %d %% the lines stand %g px apart, at the chance below %g px", i, d, last)
		}
		last = d
	}
	if first := distance[Chance{Known: true, P: 0}.Hatch()]; last >= first/3 {
		t.Errorf("from %g px to %g px is hard to see", first, last)
	}
	if (Chance{P: 1}).Hatch() != "h0" {
		t.Error("a chance that is not known is drawn like a known one")
	}
}

func TestNumbersKeepTheirUnit(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{N(8.44).In(1, "m/s"), "8.4 m/s"}, {N(-0.04).In(1, "°C"), "0.0 °C"}, {N(-2.5).In(1, "°C"), "−2.5 °C"}, {Num{}.In(1, "m/s"), "not known"}, {Num{N: 3}.In(1, "m/s"), "not known"},
		{Money(123456).String(), "£1,234.56"}, {Money(-5).String(), "−£0.05"}, {Money(100000000).String(), "£1,000,000.00"}, {Money(0).Change(), "no change"}, {Money(2000).Change(), "+£20.00"}, {Money(-2000).Change(), "−£20.00"},
		{Day("2026-12-03").Short(), "Thu 3 Dec"}, {Day("2026-12-03").Long(), "Thursday 3 December 2026"}, {Day("").Short(), "not known"}, {Day("2026-02-30").Short(), "not known"},
		{Half{"2026-12-03", true}.String(), "Thu 3 Dec pm"}, {Half{}.String(), "not known"},
	} {
		if strings.ReplaceAll(c.got, "\u00a0", " ") != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

func TestGaugeTellsOverFromEqual(t *testing.T) {
	for _, c := range []struct {
		v, l Num
		over bool
		want string
	}{
		{N(7.4), N(8.4), false, "7.4 of 8.4 m/s"},
		{N(8.4), N(8.4), false, "8.4 of 8.4 m/s"},
		{N(8.41), N(8.4), true, "8.41 over 8.4 m/s"},
		{N(13), N(8.4), true, "13.0 over 8.4 m/s"},
		{Num{}, N(8.4), false, "not known"},
		{N(7), Num{}, false, "7.0 m/s, no limit set"},
	} {
		g := gauge{Name: "gust", value: c.v, limit: c.l, unit: "m/s", full: 20}
		if got := strings.ReplaceAll(g.Say(), "\u00a0", " "); got != c.want || g.Over() != c.over {
			t.Errorf("%v against %v: %q over %v, want %q %v", c.v, c.l, got, g.Over(), c.want, c.over)
		}
	}
}
