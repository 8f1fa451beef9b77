package weather_test

import (
	"encoding/json"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"toeboard/weather"
)

func TestDefaultLimitsAreWholeAndSurviveJSON(t *testing.T) {
	t.Parallel()
	l := weather.DefaultLimits()
	if err := l.Check(); err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(l)
	if err != nil {
		t.Fatal(err)
	}
	var back weather.Limits
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(l, back) {
		t.Errorf("limits changed on the way through JSON:\n%s", text)
	}
	if strings.Contains(string(text), "unknown") {
		t.Errorf("a word is missing: %s", text)
	}
}

// The published figures, in miles an hour, that the defaults rest on: roofing
// trade guidance stops slates and tiles at a mean of 23 mph or gusts of 35 mph,
// guidance on work at height sees balance affected above 23 mph (both read
// second-hand); 1 m/s is 2.236936 mph.
func TestDefaultLimitsAreThePublishedOnes(t *testing.T) {
	t.Parallel()
	want := map[weather.Task]map[weather.Quantity]float64{
		weather.RoofCovering:  {weather.WindMean: 23, weather.WindGust: 35},
		weather.PanelCarrying: {weather.WindMean: 23, weather.WindGust: 23},
	}
	found := 0
	for _, row := range weather.DefaultLimits().Rows {
		if mph, ok := want[row.Task][row.Quantity]; ok {
			found++
			near(t, row.Task.String()+" "+row.Quantity.String(), row.Stop.N*2.236936, mph, 0.02)
		}
	}
	if found != 4 {
		t.Errorf("%d of 4 limits found", found)
	}
}

func TestSecondHandLimitsSayThatTheyAre(t *testing.T) {
	t.Parallel()
	j := weather.Judge(calm(), weather.DefaultLimits(), work(weather.RoofCovering))
	for _, r := range j.Reasons {
		if r.Quantity == weather.WindMean && !strings.Contains(r.Sentence(), "check against the original") {
			t.Errorf("%s", r.Sentence())
		}
		if r.Quantity == weather.Lightning && !strings.Contains(r.Sentence(), "firm's own rule") {
			t.Errorf("%s", r.Sentence())
		}
	}
}

func TestBadLimitsAreRefusedByName(t *testing.T) {
	t.Parallel()
	good, err := os.ReadFile("limits.csv")
	if err != nil {
		t.Fatal(err)
	}
	swap := func(old, new string) string { return strings.Replace(string(good), old, new, 1) }
	for name, c := range map[string]struct{ text, says string }{
		"unknown task":           {swap("roof_covering,rain", "roof_dancing,rain"), "roof_dancing"},
		"unknown quantity":       {swap("roof_covering,rain", "roof_covering,hail"), "hail"},
		"wrong unit":             {swap("8,10.28,m/s,roofing", "18,23,mph,roofing"), "mph"},
		"level that is none":     {swap("8,10.28,m/s,roofing", "8,fast,m/s,roofing"), "fast"},
		"level not a number":     {swap("8,10.28,m/s,roofing", "8,NaN,m/s,roofing"), "NaN"},
		"level out of range":     {swap("8,10.28,m/s,roofing", "8,1028,m/s,roofing"), "1028"},
		"caution after stop":     {swap("8,10.28,m/s,roofing", "11,10.28,m/s,roofing"), "caution"},
		"stop left out":          {swap("8,10.28,m/s,roofing", "8,,m/s,roofing"), "a stop level for wind_mean"},
		"row left out":           {swap("outdoors,lightning,,,1,,forecast thunderstorm: leaving a roof takes time,firm\n", ""), "a stop level for lightning"},
		"row twice":              {swap("external_cable,rain,,0.2,1,", "external_cable,wind_gust,,0.2,1,"), "external_cable"},
		"no source":              {swap("open enclosures and connectors", ""), "source"},
		"no mark":                {swap("open enclosures and connectors,firm", "open enclosures and connectors,hearsay"), "hearsay"},
		"hours for no reason":    {swap("external_cable,rain,,", "external_cable,rain,3,"), "hours"},
		"recent rain, no hours":  {swap("external_cable,recent_rain,3,", "external_cable,recent_rain,,"), "hours"},
		"limit on indoor work":   {swap("external_cable,rain,", "indoors,rain,"), "indoor work has no weather limit"},
		"another header":         {swap("task,quantity", "stage,quantity"), "stage"},
		"a column less":          {swap("external_cable,rain,,", "external_cable,rain,"), "eight columns"},
		"nothing":                {"", "header"},
		"header only":            {strings.SplitAfter(string(good), "\n")[0], "a stop level"},
		"temperature stop above": {swap("2,0,°C,guidance", "2,3,°C,guidance"), "caution"},
	} {
		_, err := weather.ParseLimits([]byte(c.text))
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v; want an error that says %q", name, err, c.says)
		}
	}
}

// The file that the limits are read from is what they are written as, byte for
// byte; and what a firm writes into a source survives.
func TestLimitsAreWrittenAsTheyAreRead(t *testing.T) {
	t.Parallel()
	file, err := os.ReadFile("limits.csv")
	if err != nil {
		t.Fatal(err)
	}
	if got := weather.DefaultLimits().CSV(); string(got) != string(file) {
		t.Errorf("the default limits are written as\n%s", got)
	}
	rapid.Check(t, func(t *rapid.T) {
		l := weather.DefaultLimits()
		for i := range l.Rows {
			row := &l.Rows[i]
			row.Source = rapid.StringMatching(`[ -~é,"\n]{1,20}[a-z]`).Draw(t, "source")
			if row.Quantity == weather.WindGust {
				row.Stop = weather.Is(rapid.Float64Range(row.Caution.N, 25).Draw(t, "stop"))
			}
		}
		back, err := weather.ParseLimits(l.CSV())
		if err != nil || !reflect.DeepEqual(back, l) {
			t.Fatalf("%v: came back as\n%s", err, back.CSV())
		}
	})
}

func TestWhatChangesBetweenLimitsIsSaid(t *testing.T) {
	t.Parallel()
	from, to := weather.DefaultLimits(), weather.DefaultLimits()
	if say := to.Changes(from); len(say) != 0 {
		t.Errorf("nothing changed, and it says %q", say)
	}
	removed := weather.Limit{}
	for i := range to.Rows {
		row := &to.Rows[i]
		switch {
		case row.Task == weather.PanelCarrying && row.Quantity == weather.WindGust:
			row.Caution, row.Stop = weather.Is(6), weather.Is(7.5)
		case row.Task == weather.LadderAccess && row.Quantity == weather.Rain:
			row.Source = "wet feet"
		case row.Quantity == weather.FrostRisk:
			removed = *row
		}
	}
	to.Rows = slices.DeleteFunc(to.Rows, func(row weather.Limit) bool { return row == removed })
	to.Rows = append(to.Rows, weather.Limit{Task: weather.ExternalCable, Quantity: weather.FrostRisk, Caution: weather.Is(2), Unit: "K", Source: "x", Mark: weather.FirmsOwn})
	say := to.Changes(from)
	for i, want := range []string{
		"caution 8 m/s becomes 6 m/s, stop 10.28 m/s becomes 7.5 m/s",
		`source "wet rungs; firm's own rule" becomes "wet feet; firm's own rule"`,
		"new, caution 2 K, stop none",
		"taken out, was caution 1 K, stop none",
	} {
		if len(say) != 4 || !strings.Contains(say[i], want) {
			t.Fatalf("says %q; want four, one with %q", say, want)
		}
	}
}

func TestLimitsWithAHoleJudgeNothing(t *testing.T) {
	t.Parallel()
	l := weather.DefaultLimits()
	l.Rows = l.Rows[1:]
	for _, broken := range []weather.Limits{{}, {Version: 1}, l} {
		for _, task := range weather.OutdoorTasks() {
			if j := weather.Judge(calm(), broken, work(task)); j.Verdict != weather.Unknown || len(j.Reasons) == 0 {
				t.Errorf("%s: %s", task, j.Sentence())
			}
			if c := weather.ChanceOf(calm(), broken, weather.Ask{Work: work(task)}); c.Known {
				t.Errorf("%s: chance %v", task, c)
			}
		}
	}
}
