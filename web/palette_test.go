package web

import (
	"io/fs"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// luminance is the relative luminance of #rrggbb, and contrast the ratio of two
// colours, as WCAG 2.2 defines both (w3.org/TR/WCAG22, "relative luminance",
// "contrast ratio").
func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	n, err := strconv.ParseUint(strings.TrimPrefix(hex, "#"), 16, 32)
	if err != nil || len(hex) != 7 {
		t.Fatalf("%q is no colour", hex)
	}
	channel := func(shift int) float64 {
		c := float64(n>>shift&0xff) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*channel(16) + 0.7152*channel(8) + 0.0722*channel(0)
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	la, lb := luminance(t, a), luminance(t, b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func TestContrastFormula(t *testing.T) {
	// Black on white is 21:1 by the definition. #767676 on white is the grey that
	// just passes 4.5:1 (4.54) and #595959 the one that just passes 7:1 (7.0), as
	// commonly published for WCAG (from memory).
	for _, c := range []struct {
		a, b string
		want float64
	}{{"#000000", "#ffffff", 21}, {"#767676", "#ffffff", 4.54}, {"#595959", "#ffffff", 7.0}, {"#123456", "#123456", 1}} {
		if got := contrast(t, c.a, c.b); math.Abs(got-c.want) > 0.01 {
			t.Errorf("contrast %s on %s = %.3f, want %.2f", c.a, c.b, got, c.want)
		}
	}
}

func styleSheet(t *testing.T) string {
	t.Helper()
	b, err := fs.ReadFile(Static(), "board.css")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func palette(t *testing.T) map[string]string {
	t.Helper()
	colours := map[string]string{"white": "#ffffff"}
	for _, m := range regexp.MustCompile(`--([a-z-]+): (#[0-9a-f]{6});`).FindAllStringSubmatch(styleSheet(t), -1) {
		colours[m[1]] = m[2]
	}
	return colours
}

// Phones are read in sunlight: text keeps 7:1 (WCAG 2.2, 1.4.6) on every ground
// that it stands on, lines that carry meaning 3:1 (1.4.11).
func TestPaletteIsReadableOutdoors(t *testing.T) {
	c := palette(t)
	for _, p := range []struct {
		fore  string
		backs []string
		least float64
	}{
		{"ink", []string{"paper", "wash", "accent-wash", "plain", "white"}, 7},
		{"pencil", []string{"paper", "wash", "accent-wash", "white"}, 7},
		{"accent", []string{"paper", "wash", "accent-wash", "white"}, 7},
		{"white", []string{"ink", "accent"}, 7},
		{"paper", []string{"ink"}, 7},
		{"rule", []string{"paper", "wash", "accent-wash", "white"}, 3},
	} {
		for _, b := range p.backs {
			if c[p.fore] == "" || c[b] == "" {
				t.Fatalf("the style sheet names no colour %q or %q", p.fore, b)
			}
			if got := contrast(t, c[p.fore], c[b]); got < p.least {
				t.Errorf("%s %s on %s %s: %.2f:1, want at least %g:1", p.fore, c[p.fore], b, c[b], got, p.least)
			}
		}
	}
}

// Every colour written out, in the style sheet or in a drawing, is one of the
// palette's: a new one would not be checked above.
func TestNoColourOutsideThePalette(t *testing.T) {
	known := map[string]bool{}
	for _, hex := range palette(t) {
		known[hex] = true
	}
	sources := []string{styleSheet(t)}
	for _, glob := range []string{"templates/*.html", "templates/*/*.html", "static/*.svg"} {
		names, err := fs.Glob(files, glob)
		if err != nil {
			t.Fatal(err)
		}
		for _, n := range names {
			b, err := fs.ReadFile(files, n)
			if err != nil {
				t.Fatal(err)
			}
			sources = append(sources, string(b))
		}
	}
	found := 0
	for _, s := range sources {
		for _, m := range regexp.MustCompile(`#[0-9a-fA-F]{3,8}\b`).FindAllString(s, -1) {
			if strings.HasPrefix(m, "#f-") || m == "#feed" {
				continue
			}
			hex := strings.ToLower(m)
			if len(hex) == 4 {
				hex = "#" + strings.Repeat(hex[1:2], 2) + strings.Repeat(hex[2:3], 2) + strings.Repeat(hex[3:4], 2)
			}
			found++
			if !known[hex] {
				t.Errorf("%s is not in the palette", m)
			}
		}
	}
	if found < 20 {
		t.Errorf("only %d colours found: the search is broken", found)
	}
}

// Gloves: what is pressed on a phone page is at least 48 px high. Browser tests
// measure it; this holds the rules that make it so.
func TestTargetsAreTall(t *testing.T) {
	css := styleSheet(t)
	for _, rule := range []string{
		`button, .act, .other, .halt {`, `input, select, textarea {`, `.pick {`, `.jump a {`, `.places a {`, `.turn a {`,
		`.hand details > summary {`, `.faults a {`, `.month td a {`,
	} {
		at := strings.Index(css, rule)
		if at < 0 {
			t.Errorf("no rule %s", rule)
			continue
		}
		body := css[at : at+strings.Index(css[at:], "}")]
		if m := regexp.MustCompile(`min-height: ([0-9.]+)rem`).FindStringSubmatch(body); m == nil {
			t.Errorf("%s sets no height", rule)
		} else if h, err := strconv.ParseFloat(m[1], 64); err != nil || h < 3 {
			t.Errorf("%s is %s rem high, want at least 3 (48 px)", rule, m[1])
		}
	}
	if strings.Contains(css, "outline: 0") || !strings.Contains(css, ":focus-visible { outline: 4px") {
		t.Error("the focus is not visible")
	}
	if regexp.MustCompile(`border-radius: [^0]`).MatchString(css) {
		t.Error("a rounded corner")
	}
}
