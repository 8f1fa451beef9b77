package web

import (
	"math"
	"strings"
	"testing"
	"time"
)

// Every hour's verdict is told by shape and by word or sign: four verdicts, four
// shapes, and a band for each run of hours.
func TestTheStripTellsEachHoursVerdict(t *testing.T) {
	var hours []StripHour
	for i, sky := range []Sky{SkyGo, SkyGo, SkyGo, SkyCaution, SkyCaution, SkyCaution, SkyCaution, SkyStop, SkyStop, SkyUnknown, SkyGo, SkyCaution} {
		hours = append(hours, StripHour{From: at("2026-12-01", "07:00").Add(time.Duration(i) * time.Hour), GustMS: N(5), RainMM: N(0), Sky: sky})
	}
	s := Strip{Place: "Roof of 1042", Hours: hours}
	want := []struct {
		word  string
		hours float64
	}{{"go", 3}, {"caution", 4}, {"stop", 2}, {"?", 1}, {"go", 1}, {"!", 1}}
	bands, x := s.Bands(), 0.0
	if len(bands) != len(want) {
		t.Fatalf("%d bands, want %d", len(bands), len(want))
	}
	for i, b := range bands {
		if b.Word != want[i].word || math.Abs(b.Width-want[i].hours*100/12) > 1e-9 || math.Abs(b.X-x) > 1e-9 {
			t.Errorf("band %d: %+v, want %+v from %.2f%%", i, b, want[i], x)
		}
		x += b.Width
	}
	morning := sampleMorning()
	morning.Strip = &s
	doc := render(t, morning)
	row := doc.Find(".hours rect[y='160']")
	if n := row.Length(); n != len(want)+2 { // and a bar on each caution
		t.Errorf("%d shapes in the row of verdicts", n)
	}
	shapes := map[string]string{}
	for _, sky := range []Sky{SkyUnknown, SkyStop, SkyCaution, SkyGo} {
		shape := sky.Shape()
		if sky.Warns() {
			shape += " barred"
		}
		if other, taken := shapes[shape]; taken {
			t.Errorf("%s and %s are drawn alike", sky, other)
		}
		shapes[shape] = sky.String()
	}
	words := doc.Find(".hours text[y='176']").Text()
	if strings.Join(strings.Fields(words), " ") != "gocautionstop?go!" {
		t.Errorf("the row says %q", words)
	}
}
