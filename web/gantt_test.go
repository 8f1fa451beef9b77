package web

import (
	"encoding/xml"
	"io"
	"regexp"
	"strings"
	"testing"
)

func sampleGantt() Gantt {
	return Gantt{Title: `Plan <1> & "2"`, Says: "12 slots", Slots: 12,
		Bars:  []GanttBar{{Name: "a<b", First: 0, Last: 3}, {Name: "c", First: 4, Last: 11, Tight: true}},
		Loads: []GanttLoad{{Name: "R1", Capacity: 4, Used: []int{2, 2, 2, 2, 4, 4, 4, 4, 4, 4, 4, 4}}}}
}

// The picture must be XML that any reader takes (W3C, XML 1.0), whatever the
// names are, and of the palette's colours only.
func TestGanttIsXMLInThePalette(t *testing.T) {
	var b strings.Builder
	if err := sampleGantt().WriteSVG(&b); err != nil {
		t.Fatal(err)
	}
	texts := map[string]bool{}
	for read := xml.NewDecoder(strings.NewReader(b.String())); ; {
		token, err := read.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("%v in\n%s", err, b.String())
		}
		if c, ok := token.(xml.CharData); ok {
			texts[string(c)] = true
		}
	}
	for _, want := range []string{`Plan <1> & "2"`, "a<b", "c \u25a0", "has 4", "12"} {
		if !texts[want] {
			t.Errorf("%q is not written in the picture: %v", want, texts)
		}
	}
	known := map[string]bool{}
	for _, hex := range palette(t) {
		known[hex] = true
	}
	for _, hex := range regexp.MustCompile(`#[0-9a-f]{6}`).FindAllString(b.String(), -1) {
		if !known[hex] {
			t.Errorf("%s is not in the palette", hex)
		}
	}
}

func TestGanttBarsLieWhereTheSlotsAre(t *testing.T) {
	var b strings.Builder
	if err := sampleGantt().WriteSVG(&b); err != nil {
		t.Fatal(err)
	}
	// 900 px for 12 slots are 75 px each; the line begins at 76 px.
	for _, want := range []string{`<rect x="76.00" y="81" width="300.00"`, `<rect x="376.00" y="95" width="600.00"`} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %s in\n%s", want, b.String())
		}
	}
}

func TestRoundStep(t *testing.T) {
	for length, want := range map[int]int{1: 1, 20: 1, 21: 2, 43: 5, 130: 10, 201: 20, 5000: 500} {
		if got := roundStep(length, 20); got != want {
			t.Errorf("%d slots: a line each %d, want %d", length, got, want)
		}
	}
}
