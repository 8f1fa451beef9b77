package weather_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"toeboard/weather"
)

// What is looser than at the start is named, level by level, for high and low
// quantities alike, and what is tighter is not. The start values are those of
// limits.csv: 10.28 m/s is 23 mph, the figure of guidance on work at height.
func TestALooserLimitIsNamed(t *testing.T) {
	t.Parallel()
	start := weather.DefaultLimits()
	if say := start.Loosened(); len(say) != 0 {
		t.Fatalf("the start values are looser than themselves: %q", say)
	}
	row := func(task weather.Task, q weather.Quantity) weather.Limit {
		r, ok := start.Row(task, q)
		if !ok {
			t.Fatalf("no row for %s, %s", task, q)
		}
		return r
	}
	is, none := weather.Is, weather.Value{}
	for name, c := range map[string]struct {
		row    weather.Limit
		change func(*weather.Limit)
		says   string // "" = not looser
	}{
		"a higher stop for the gust": {row(weather.PanelCarrying, weather.WindGust), func(r *weather.Limit) { r.Stop = is(12) },
			"gust while carrying modules: stop 12 m/s is looser than the start value 10.28 m/s"},
		"a lower stop for the gust":     {row(weather.PanelCarrying, weather.WindGust), func(r *weather.Limit) { r.Stop = is(9) }, ""},
		"a lower stop for the cold":     {row(weather.RoofCovering, weather.Temperature), func(r *weather.Limit) { r.Stop = is(-3) }, "stop -3 °C is looser than the start value 0 °C"},
		"a higher stop for the cold":    {row(weather.RoofCovering, weather.Temperature), func(r *weather.Limit) { r.Stop = is(1) }, ""},
		"no caution":                    {row(weather.RoofCovering, weather.WindMean), func(r *weather.Limit) { r.Caution = none }, "caution 10.28 m/s is looser than the start value 8 m/s"},
		"fewer hours of rain before":    {row(weather.LadderAccess, weather.RecentRain), func(r *weather.Limit) { r.Hours = 1 }, "hours 1 are fewer than the start value 3"},
		"more hours of rain before":     {row(weather.LadderAccess, weather.RecentRain), func(r *weather.Limit) { r.Hours = 6 }, ""},
		"the row of all outdoor tasks":  {row(weather.Outdoors, weather.Heat), func(r *weather.Limit) { r.Caution = is(38) }, "felt heat while working outdoors: caution 38 °C is looser"},
		"the wetness taken out":         {row(weather.RoofCovering, weather.RoofFilm), func(r *weather.Limit) { r.Caution = none }, "water on the roof while working on the roof covering: caution none is looser"},
		"a quantity that was not there": {weather.Limit{Task: weather.Outdoors, Quantity: weather.Visibility, Caution: is(200), Unit: "m", Source: "x", Mark: weather.FirmsOwn}, func(*weather.Limit) {}, ""},
	} {
		r := c.row
		c.change(&r)
		l := start.With(r)
		say := strings.Join(l.Loosened(), "; ")
		if !strings.Contains(say, c.says) || (c.says == "" && say != "") {
			t.Errorf("%s: %q, want %q", name, say, c.says)
		}
	}
}

// A reason that rests on a looser limit says so to whoever is judged by it.
func TestAReasonNamesALooserLimit(t *testing.T) {
	t.Parallel()
	start := weather.DefaultLimits()
	r, _ := start.Row(weather.RoofCovering, weather.WindMean)
	r.Stop = weather.Is(12)
	from := time.Date(2026, 6, 2, 8, 0, 0, 0, time.UTC)
	j := weather.Judge(weather.Series{}, start.With(r), weather.Work{Place: weather.Place{Lat: 51.5, Terrain: weather.TerrainIII, HeightM: 7}, Task: weather.RoofCovering,
		From: from, To: from.Add(time.Hour), Loc: time.UTC, Now: from})
	if j.Verdict != weather.Unknown {
		t.Fatalf("without a forecast: %s", j.Verdict)
	}
	dry := weather.Hour{From: from, Span: time.Hour, WindMean: weather.Is(11), WindGust: weather.Is(13)}
	j = weather.Judge(weather.Series{FetchedAt: from, Members: []weather.Member{{Hours: []weather.Hour{dry}}}}, start.With(r),
		weather.Work{Place: weather.Place{Lat: 51.5, Terrain: weather.TerrainII, HeightM: 10}, Task: weather.RoofCovering, From: from, To: from.Add(time.Hour), Loc: time.UTC, Now: from})
	said := ""
	for _, reason := range j.Reasons {
		said += reason.Sentence() + "\n"
	}
	if !strings.Contains(said, "stop 12 m/s is looser than the start value 10.28 m/s") {
		t.Errorf("%s", said)
	}
}

// However a row is changed: either nothing is named and no value of that
// quantity is judged better than at the start, or something is named.
func TestNoLooserLimitGoesUnnamed(t *testing.T) {
	t.Parallel()
	start := weather.DefaultLimits()
	rows := slices.DeleteFunc(slices.Clone(start.Rows), func(r weather.Limit) bool { return r.Quantity != weather.WindMean && r.Quantity != weather.Temperature })
	rapid.Check(t, func(t *rapid.T) {
		row := rapid.SampledFrom(rows).Draw(t, "row")
		row.Stop = weather.Is(row.Stop.N + float64(rapid.IntRange(-30, 30).Draw(t, "stop"))/10)
		apart := float64(rapid.IntRange(0, 30).Draw(t, "caution before it")) / 10
		if row.Quantity.LowStops() {
			apart = -apart
		}
		row.Caution = weather.Is(row.Stop.N - apart)
		l := start.With(row)
		if err := l.Check(); err != nil {
			t.Fatalf("limits in their order are refused: %v", err)
		}
		from := time.Date(2026, 6, 2, 8, 0, 0, 0, time.UTC)
		at := weather.Place{Lat: 51.5, Terrain: weather.TerrainII, HeightM: 10} // where factors are 1
		judge := func(l weather.Limits, v float64) weather.Verdict {
			h := weather.Hour{From: from, Span: time.Hour, WindMean: weather.Is(v), Temp: weather.Is(v)}
			j := weather.Judge(weather.Series{FetchedAt: from, Members: []weather.Member{{Hours: []weather.Hour{h}}}}, l,
				weather.Work{Place: at, Task: row.Task, From: from, To: from.Add(time.Hour), Loc: time.UTC, Now: from})
			for i, level := range j.Levels {
				if level.Quantity == row.Quantity {
					return j.Steps[0].Checks[i].Verdict
				}
			}
			return weather.Unknown
		}
		v := float64(rapid.IntRange(-100, 200).Draw(t, "value")) / 10
		was, now := judge(start, v), judge(l, v)
		if weather.Worse(was, now) == was && was != now && len(l.Loosened()) == 0 {
			t.Fatalf("%s at %v was %s, is %s, and nothing is named: %+v", row.Quantity, v, was, now, row)
		}
	})
}

// The two limits of carrying and the one that counts, by hand for a module of
// 1.95 m² (see TestAModuleKnownByItsAreaOnly): the drag allows 11.94 m/s, the
// firm 10.28; when the firm allows more, the module's counts.
func TestCarryingShowsItsSum(t *testing.T) {
	t.Parallel()
	p := weather.PanelOfArea(1.95, 2)
	c, err := weather.CarryingLimit(weather.DefaultLimits(), &p)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "stop", c.Stop, 10.28, 1e-9)
	for _, part := range []string{"gust of 10.3 m/s", "firm's 10.28 m/s", "11.9 m/s", "the firm's counts", "1/2 x 1.225 kg/m³ x Cd 1.17 x 1.95 m² x (11.9 m/s)² = 200 N", "two thirds of 2 x 150 N"} {
		if !strings.Contains(c.Sentence(), part) {
			t.Errorf("%q does not say %q", c.Sentence(), part)
		}
	}
	big := weather.PanelOfArea(3.1, 2)
	if c, err = weather.CarryingLimit(weather.DefaultLimits(), &big); err != nil || c.Stop >= 10.28 || !strings.Contains(c.Sentence(), "the module's counts") {
		t.Errorf("a large module: %v, %s", err, c.Sentence())
	}
	if c, err = weather.CarryingLimit(weather.DefaultLimits(), nil); err != nil || !strings.Contains(c.Sentence(), "module not named, taken as 1.13 x 2.28 m") {
		t.Errorf("no module named: %v, %s", err, c.Sentence())
	}
}
