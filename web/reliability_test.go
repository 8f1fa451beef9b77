package web

import (
	"fmt"
	"strings"
	"testing"

	"github.com/PuerkitoBio/goquery"
)

func sampleWeatherRecord() WeatherRecord {
	score := ScoreRow{N: 240, Brier: N(0.142), Reliability: N(0.011), Resolution: N(0.094), Uncertainty: N(0.225), Skill: N(0.37)}
	lead := func(days int, keep float64) LeadRecord {
		return LeadRecord{Days: days, Score: score, Keep: N(keep), Bins: []ReliabilityBin{
			{0, 0.2, 0.08, 0.02, 0, 0.07, 60}, {0.2, 0.4, 0.31, 0.3, 0.17, 0.47, 30}, {0.6, 0.8, 0.7, 0.71, 0.58, 0.81, 50}, {0.8, 1, 0.93, 0.99, 0.95, 1, 100}}}
	}
	return WeatherRecord{Sheet: sampleSheet("Asha Verma", "office", -1), Action: "/weather/record", ShowAction: "/weather/record", Kept: "1,440 forecasts of 12 sites are kept, from 1 Oct 2026 to 1 Dec 2026.",
		Version: 3, By: "Asha Verma", At: "Wed 2 Dec 2026, 09:30", Basis: "From 960 chances for working half-days at 12 sites.", Says: "The chances took away 37 % of the error of always saying how often it runs.",
		All: score, Leads: []LeadRecord{lead(0, 1), lead(1, 0.96), lead(4, 0.61)}, Of: "Amsterdam's typical year", Task: "roof_covering", Terrain: "III",
		Tasks: []Choice{{"roof_covering", "working on the roof covering"}}, Terrains: []Choice{{"III", "villages and suburbs"}},
		Climate: []ClimateMonth{{"January", ClimateCell{38, 62}, ClimateCell{35, 62}}, {"February", ClimateCell{}, ClimateCell{30, 56}}}}
}

// A point stands where its numbers say: what was said to the right and what ran
// upwards, each 2 units for one per cent; one whose interval leaves out what was
// said is a triangle and is told so in words.
func TestAReliabilityDiagramShowsItsNumbers(t *testing.T) {
	page := sampleWeatherRecord()
	doc := render(t, page)
	if n := doc.Find(".reliability").Length(); n != len(page.Leads) {
		t.Fatalf("%d diagrams", n)
	}
	first := doc.Find(".reliability").First()
	var said []string
	first.Find("li").Each(func(_ int, li *goquery.Selection) { said = append(said, strings.Join(strings.Fields(li.Text()), " ")) })
	for i, want := range []string{
		"Said 0 % to 20 %, ran 2 % (90 % interval 0 % to 7 %), 60 half-days: ran less often", "Said 20 % to 40 %, ran 30 % (90 % interval 17 % to 47 %), 30 half-days: as said",
		"Said 60 % to 80 %, ran 71 % (90 % interval 58 % to 81 %), 50 half-days: as said", "Said 80 % to 100 %, ran 99 % (90 % interval 95 % to 100 %), 100 half-days: ran more often"} {
		if i >= len(said) || said[i] != want {
			t.Fatalf("point %d is told as %q, want %q", i+1, said, want)
		}
	}
	if n := first.Find("circle").Length(); n != 2 {
		t.Errorf("%d circles, want one for each of the two that ran as said", n)
	}
	if n := first.Find("path").Length(); n != 2 {
		t.Errorf("%d triangles", n)
	}
	c := first.Find("circle").First()
	if x, y := c.AttrOr("cx", ""), c.AttrOr("cy", ""); x != fmt.Sprint(34+2*31)+".0" || y != fmt.Sprint(10+2*70)+".0" {
		t.Errorf("31 %% said and 30 %% ran stand at %s, %s", x, y)
	}
	if s := page.Leads[1].Says(); s != "One day ahead: 2 of 4 groups of chances ran as often as was said. 96\u00a0% of a chance’s distance from the climate is kept." {
		t.Errorf("%q", s)
	}
	for _, want := range []string{"61\u00a0%38 of 62", "not known", "1,440 forecasts"} {
		if !strings.Contains(doc.Text(), want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}
