package weather_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"toeboard/weather"
)

var (
	london  = mustLoad("Europe/London")
	morning = time.Date(2026, 4, 14, 7, 0, 0, 0, time.UTC) // 08:00 by the clock
)

func mustLoad(name string) *time.Location {
	loc, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return loc
}

// suburb is a two-storey house among others, near Leeds.
var suburb = weather.Place{Lat: 53.8, Lon: -1.55, Terrain: weather.TerrainIII, HeightM: 8}

// open is the forecast's own height and ground: winds come through unchanged.
var open = weather.Place{Lat: 53.8, Lon: -1.55, Terrain: weather.TerrainII, HeightM: 10}

func work(task weather.Task) weather.Work {
	return weather.Work{Place: open, Task: task, From: morning, To: morning.Add(4 * time.Hour), Loc: london, Now: morning.Add(-time.Hour)}
}

// calmHour is an hour that nothing is to be said against.
func calmHour(from time.Time) weather.Hour {
	return weather.Hour{
		From: from, Span: time.Hour, WindMean: weather.Is(2), WindGust: weather.Is(4), Rain: weather.Is(0), Temp: weather.Is(12),
		DewPoint: weather.Is(5), Humidity: weather.Is(60), Cloud: weather.Is(80), Thunder: weather.Is(0),
	}
}

// series makes a forecast of a day before and two days after the morning, with
// as many members as there are changes; a change may be nil.
func series(changes ...func(h *weather.Hour)) weather.Series {
	s := weather.Series{Provider: "test", FetchedAt: morning.Add(-2 * time.Hour), ModelRun: morning.Add(-5 * time.Hour)}
	for _, change := range changes {
		var m weather.Member
		for i := -24; i < 48; i++ {
			h := calmHour(morning.Add(time.Duration(i) * time.Hour))
			if change != nil {
				change(&h)
			}
			m.Hours = append(m.Hours, h)
		}
		s.Members = append(s.Members, m)
	}
	return s
}

func calm() weather.Series { return series(nil) }

// at changes one hour of the window, counted from its start.
func at(hour int, change func(h *weather.Hour)) func(h *weather.Hour) {
	return func(h *weather.Hour) {
		if h.From.Equal(morning.Add(time.Duration(hour) * time.Hour)) {
			change(h)
		}
	}
}

func judge(s weather.Series, task weather.Task) weather.Judgement {
	return weather.Judge(s, weather.DefaultLimits(), work(task))
}

func TestACalmDryMorningIsGoForEveryTask(t *testing.T) {
	t.Parallel()
	for _, task := range append(weather.OutdoorTasks(), weather.Indoors) {
		j := judge(calm(), task)
		if j.Verdict != weather.Go {
			t.Errorf("%s: %s", task, j.Sentence())
		}
		if task != weather.Indoors && (len(j.Steps) != 4 || len(j.Reasons) < 8) {
			t.Errorf("%s: %d steps, %d reasons", task, len(j.Steps), len(j.Reasons))
		}
	}
}

// One row a limit: what is changed in a single hour, what the verdict becomes
// and which number and limit the reason tells. Limits are those of limits.csv.
func TestEachLimitSpeaksForItself(t *testing.T) {
	t.Parallel()
	type c struct {
		name     string
		task     weather.Task
		change   func(h *weather.Hour)
		verdict  weather.Verdict
		quantity weather.Quantity
		says     string
	}
	for _, c := range []c{
		{"mean at the limit", weather.RoofCovering, func(h *weather.Hour) { h.WindMean = weather.Is(10.28); h.WindGust = weather.Is(11) }, weather.Stop, weather.WindMean, "10.3 m/s against a limit of 10.28 m/s: stop"},
		{"mean under it", weather.RoofCovering, func(h *weather.Hour) { h.WindMean = weather.Is(10.2); h.WindGust = weather.Is(11) }, weather.Caution, weather.WindMean, "10.2 m/s against a limit of 8 m/s: caution"},
		{"gust over roofing", weather.RoofCovering, func(h *weather.Hour) { h.WindGust = weather.Is(16) }, weather.Stop, weather.WindGust, "16 m/s against a limit of 15.65 m/s"},
		{"gust under it", weather.RoofCovering, func(h *weather.Hour) { h.WindGust = weather.Is(15) }, weather.Caution, weather.WindGust, "15 m/s against a limit of 12.5 m/s"},
		{"the same gust with a module in hand", weather.PanelCarrying, func(h *weather.Hour) { h.WindGust = weather.Is(11) }, weather.Stop, weather.WindGust, "11 m/s against a limit of 10.28 m/s"},
		{"rain", weather.RoofCovering, func(h *weather.Hour) { h.Rain = weather.Is(0.3) }, weather.Stop, weather.Rain, "0.3 mm against a limit of 0.2 mm"},
		{"drizzle", weather.RoofCovering, func(h *weather.Hour) { h.Rain = weather.Is(0.1) }, weather.Caution, weather.Rain, "0.1 mm"},
		{"the same rain on scaffold", weather.ScaffoldErection, func(h *weather.Hour) { h.Rain = weather.Is(0.3) }, weather.Go, weather.Rain, ""},
		{"frost", weather.RoofCovering, func(h *weather.Hour) { h.Temp = weather.Is(-0.5) }, weather.Stop, weather.Temperature, "-0.5 °C against a limit of 0 °C"},
		{"cold", weather.RoofCovering, func(h *weather.Hour) { h.Temp = weather.Is(1.5); h.Cloud = weather.Is(100) }, weather.Caution, weather.Temperature, "1.5 °C against a limit of 2 °C"},
		{"thunder", weather.LadderAccess, func(h *weather.Hour) { h.Thunder = weather.Is(1) }, weather.Stop, weather.Lightning, "thunderstorm while using a ladder at Tue 14 Apr 10:00 is forecast: stop"},
		{"wind not known", weather.RoofCovering, func(h *weather.Hour) { h.WindMean = weather.Value{}; h.WindGust = weather.Value{} }, weather.Unknown, weather.WindMean, "is not known, so it is not clear"},
		{"rain not known", weather.RoofCovering, func(h *weather.Hour) { h.Rain = weather.Value{} }, weather.Unknown, weather.Rain, "is not known, so it is not clear"},
		{"temperature not known", weather.ScaffoldStrike, func(h *weather.Hour) { h.Temp = weather.Value{} }, weather.Unknown, weather.Temperature, "is not known"},
		{"thunder not known", weather.ExternalCable, func(h *weather.Hour) { h.Thunder = weather.Value{} }, weather.Unknown, weather.Lightning, "is not known"},
		{"gust not given, mean small", weather.PanelCarrying, func(h *weather.Hour) { h.WindGust = weather.Value{} }, weather.Go, weather.WindGust, ""},
		{"gust not given, mean moderate", weather.PanelCarrying, func(h *weather.Hour) { h.WindGust = weather.Value{}; h.WindMean = weather.Is(6) }, weather.Stop, weather.WindGust, "estimated from the mean wind"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			j := judge(series(at(2, c.change)), c.task)
			if j.Verdict != c.verdict || j.Steps[2].Verdict != c.verdict {
				t.Fatalf("%s, the step %s; want %s", j.Sentence(), j.Steps[2].Verdict, c.verdict)
			}
			i := slices.IndexFunc(j.Reasons, func(r weather.Reason) bool { return r.Quantity == c.quantity })
			if i < 0 || !strings.Contains(j.Reasons[i].Sentence(), c.says) {
				t.Errorf("reasons %+v; want one that says %q", j.Reasons, c.says)
			}
			if c.verdict != weather.Go && j.Reasons[i].Subject != "Tue 14 Apr 10:00" {
				t.Errorf("the hour is told as %q", j.Reasons[i].Subject)
			}
		})
	}
}

func TestEveryReasonIsGivenTheWorstFirst(t *testing.T) {
	t.Parallel()
	j := judge(series(func(h *weather.Hour) {
		at(0, func(h *weather.Hour) { h.Temp = weather.Is(1) })(h)
		at(1, func(h *weather.Hour) { h.Rain = weather.Value{} })(h)
		at(2, func(h *weather.Hour) { h.WindGust = weather.Is(17) })(h)
		at(3, func(h *weather.Hour) { h.WindGust = weather.Is(22); h.Rain = weather.Is(2) })(h)
	}), weather.RoofCovering)
	var got []string
	for _, r := range j.Reasons {
		if r.Verdict != weather.Go {
			got = append(got, r.Verdict.String()+" "+r.Quantity.String())
		}
	}
	// Rain at ten times its limit comes before a gust at one and a half.
	want := []string{"stop rain", "stop wind_gust", "unknown rain", "caution frost_risk", "caution roof_film", "caution recent_rain", "caution temperature"}
	if !slices.Equal(got, want) {
		t.Errorf("reasons %q, want %q", got, want)
	}
	gust := j.Reasons[slices.IndexFunc(j.Reasons, func(r weather.Reason) bool { return r.Quantity == weather.WindGust })]
	if gust.Value != 22 || gust.Steps != 2 || !gust.Margin.Known || gust.Margin.N != 15.65-22 {
		t.Errorf("the worst of two gusts is told as %+v", gust)
	}
	if !strings.HasPrefix(j.Sentence(), "stop: ") {
		t.Errorf("%s", j.Sentence())
	}
}

func TestTheJudgementHasAllAStripNeeds(t *testing.T) {
	t.Parallel()
	j := judge(series(at(1, func(h *weather.Hour) { h.WindGust = weather.Is(20) })), weather.RoofCovering)
	if len(j.Levels) < 8 {
		t.Fatalf("%d levels", len(j.Levels))
	}
	for k, step := range j.Steps {
		if got := step.To.Sub(step.From); got != time.Hour || !step.From.Equal(morning.Add(time.Duration(k)*time.Hour)) {
			t.Errorf("step %d from %s, %s long", k, step.From, got)
		}
	}
	gust := slices.IndexFunc(j.Levels, func(l weather.Level) bool { return l.Quantity == weather.WindGust })
	if c := j.Steps[1].Checks[gust]; c.Value.N != 20 || c.Verdict != weather.Stop || j.Levels[gust].Stop.N != 15.65 {
		t.Errorf("the gust of the second hour: %+v against %+v", c, j.Levels[gust])
	}
	if want := morning.Add(time.Hour); !j.OffBy.Equal(want) {
		t.Errorf("off by %s, want %s", j.OffBy, want)
	}
	spells := j.Spells()
	if len(spells) != 3 || spells[1].Verdict != weather.Stop || !spells[2].From.Equal(morning.Add(2*time.Hour)) {
		t.Errorf("spells %+v", spells)
	}
	text, err := json.Marshal(j)
	if err != nil {
		t.Fatal(err)
	}
	var back weather.Judgement
	if err := json.Unmarshal(text, &back); err != nil || back.Verdict != weather.Stop || len(back.Steps) != 4 {
		t.Errorf("through JSON: %v, %v", back.Verdict, err)
	}
}

func TestAForecastTooOldIsUnknown(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change  func(s *weather.Series)
		verdict weather.Verdict
	}{
		"fresh":                     {func(*weather.Series) {}, weather.Go},
		"run not given":             {func(s *weather.Series) { s.ModelRun = time.Time{} }, weather.Go},
		"fetched 8 h ago":           {func(s *weather.Series) { s.FetchedAt = morning.Add(-9 * time.Hour) }, weather.Caution},
		"fetched 25 h ago":          {func(s *weather.Series) { s.FetchedAt = morning.Add(-26 * time.Hour) }, weather.Unknown},
		"fetched nobody knows when": {func(s *weather.Series) { s.FetchedAt = time.Time{} }, weather.Unknown},
		"fetched tomorrow":          {func(s *weather.Series) { s.FetchedAt = morning.Add(24 * time.Hour) }, weather.Unknown},
		"a run of two days ago":     {func(s *weather.Series) { s.ModelRun = morning.Add(-48 * time.Hour) }, weather.Unknown},
	} {
		s := calm()
		c.change(&s)
		if j := judge(s, weather.RoofCovering); j.Verdict != c.verdict {
			t.Errorf("%s: %s; want %s", name, j.Sentence(), c.verdict)
		}
	}
}

func TestHoursThatNoForecastCoversAreUnknown(t *testing.T) {
	t.Parallel()
	l := weather.DefaultLimits()
	w := work(weather.RoofCovering)
	s := calm()
	last := s.Members[0].Hours[len(s.Members[0].Hours)-1]
	end := last.From.Add(time.Hour)
	for name, change := range map[string]func(){
		"past the end":  func() { w.From, w.To = end.Add(-2*time.Hour), end.Add(time.Hour) },
		"wholly beyond": func() { w.From, w.To = end.Add(240*time.Hour), end.Add(244*time.Hour) },
		"before it":     func() { w.From, w.To = morning.Add(-26*time.Hour), morning.Add(-23*time.Hour) },
		"a hole": func() {
			w = work(weather.RoofCovering)
			s.Members[0].Hours = slices.Delete(slices.Clone(s.Members[0].Hours), 25, 26)
		},
		"no hours":       func() { w = work(weather.RoofCovering); s.Members[0].Hours = nil },
		"no members":     func() { s.Members = nil },
		"no series":      func() { s = weather.Series{} },
		"empty window":   func() { s = calm(); w.To = w.From },
		"window upside":  func() { w.To = w.From.Add(-time.Hour) },
		"endless window": func() { w.To = w.From.Add(10000 * time.Hour) },
		"no zone":        func() { w = work(weather.RoofCovering); w.Loc = nil },
		"no present":     func() { w = work(weather.RoofCovering); w.Now = time.Time{} },
		"no place":       func() { w = work(weather.RoofCovering); w.Place = weather.Place{} },
		"no task":        func() { w = work(weather.TaskUnknown) },
		"every task":     func() { w = work(weather.Outdoors) },
	} {
		s, w = calm(), work(weather.RoofCovering)
		change()
		j := weather.Judge(s, l, w)
		if j.Verdict != weather.Unknown || len(j.Reasons) == 0 || !strings.Contains(j.Sentence(), "not clear") {
			t.Errorf("%s: %s", name, j.Sentence())
		}
	}
}

func TestTheWindowKeepsWithinDaylight(t *testing.T) {
	t.Parallel()
	// Leeds, 14 April 2026: civil dusk about 20:35 by the clock (NOAA-type
	// almanacs agree within a minute; sun_test.go holds the sun to an ephemeris).
	w := work(weather.RoofCovering)
	w.From, w.To = morning.Add(11*time.Hour), morning.Add(14*time.Hour) // 19:00 to 22:00
	j := weather.Judge(calm(), weather.DefaultLimits(), w)
	if j.Verdict != weather.Stop || j.Reasons[0].Quantity != weather.Daylight || !(j.Reasons[0].Value < 0) {
		t.Errorf("an evening into the dark: %s", j.Sentence())
	}
	if j.Steps[0].Verdict == weather.Stop || !j.OffBy.Equal(morning.Add(12*time.Hour)) {
		t.Errorf("off by %s; steps %v %v %v", j.OffBy, j.Steps[0].Verdict, j.Steps[1].Verdict, j.Steps[2].Verdict)
	}
	l := weather.DefaultLimits()
	cut, enough := w.WithinDaylight(l)
	if !cut.From.Equal(w.From) || enough || cut.To.After(morning.Add(12*time.Hour+40*time.Minute)) || cut.To.Before(morning.Add(12*time.Hour+20*time.Minute)) {
		t.Errorf("cut to %s until %s, enough %v", cut.From, cut.To, enough)
	}
	if j := weather.Judge(calm(), l, cut); j.Verdict != weather.Caution {
		t.Errorf("what is left in the light: %s", j.Sentence())
	}
	tromso := weather.Place{Lat: 69.6492, Lon: 18.9553, Terrain: weather.TerrainII, HeightM: 5}
	june := time.Date(2026, 6, 21, 20, 0, 0, 0, time.UTC)
	summer := weather.Work{Place: tromso, Task: weather.RoofCovering, From: june, To: june.Add(4 * time.Hour), Loc: mustLoad("Europe/Oslo"), Now: june}
	if cut, enough := summer.WithinDaylight(l); !enough || !cut.To.Equal(summer.To) {
		t.Error("midsummer night in Tromso is light")
	}
	december := time.Date(2026, 12, 21, 10, 0, 0, 0, time.UTC)
	winter := weather.Work{Place: weather.Place{Lat: 85, Terrain: weather.TerrainII, HeightM: 5}, Task: weather.RoofCovering, From: december, To: december.Add(4 * time.Hour), Loc: time.UTC, Now: december}
	if _, enough := winter.WithinDaylight(l); enough {
		t.Error("the polar night is dark")
	}
	winter.Task = weather.Indoors
	if cut, enough := winter.WithinDaylight(l); !enough || !cut.From.Equal(winter.From) || !cut.To.Equal(winter.To) {
		t.Error("indoors the polar night is no matter")
	}
	if _, enough := w.WithinDaylight(weather.Limits{}); enough {
		t.Error("without limits there is no daylight to rely on")
	}
}

func TestSixHourStepsAreJudgedWholeAndNeverGo(t *testing.T) {
	t.Parallel()
	var m weather.Member
	for i := -4; i < 8; i++ {
		h := calmHour(morning.Add(time.Duration(i) * 6 * time.Hour))
		h.Span = 6 * time.Hour
		m.Hours = append(m.Hours, h)
	}
	s := weather.Series{FetchedAt: morning.Add(-time.Hour), Members: []weather.Member{m}}
	j := judge(s, weather.RoofCovering)
	if j.Verdict != weather.Caution || len(j.Steps) != 1 || j.Steps[0].To.Sub(j.Steps[0].From) != 6*time.Hour {
		t.Fatalf("%s, %d steps", j.Sentence(), len(j.Steps))
	}
	// 0.4 mm anywhere in the six hours may all fall in one of them.
	s.Members[0].Hours[4].Rain = weather.Is(0.4)
	if j := judge(s, weather.RoofCovering); j.Verdict != weather.Stop {
		t.Errorf("%s", j.Sentence())
	}
}

func TestRecentRainIsLookedForAndItsAbsenceFromTheForecastIsNoDryRoof(t *testing.T) {
	t.Parallel()
	j := judge(series(at(-2, func(h *weather.Hour) { h.Rain = weather.Is(1.2) })), weather.RoofCovering)
	if j.Verdict != weather.Caution || j.Reasons[0].Quantity != weather.RecentRain || j.Reasons[0].Value != 1.2 {
		t.Errorf("rain two hours before: %s", j.Sentence())
	}
	s := calm()
	s.Members[0].Hours = s.Members[0].Hours[24:] // starts with the window, as some providers do
	j = judge(s, weather.RoofCovering)
	if j.Verdict != weather.Caution || !strings.Contains(j.Reasons[0].Sentence(), "look before starting") {
		t.Errorf("nobody knows whether it rained: %s", j.Sentence())
	}
}

func TestFrostOnAClearCalmMorning(t *testing.T) {
	t.Parallel()
	night := func(temp, dew, cloud, wind float64) weather.Verdict {
		w := work(weather.LadderAccess)
		w.Now = morning.Add(-10 * time.Hour)
		w.From, w.To = morning.Add(-3*time.Hour+45*time.Minute), morning.Add(-2*time.Hour) // before the sun is up, in civil twilight
		s := series(func(h *weather.Hour) {
			h.Temp, h.DewPoint, h.Cloud, h.WindMean = weather.Is(temp), weather.Is(dew), weather.Is(cloud), weather.Is(wind)
		})
		s.FetchedAt = w.Now
		j := weather.Judge(s, weather.DefaultLimits(), w)
		for _, r := range j.Reasons {
			if r.Quantity == weather.FrostRisk {
				return r.Verdict
			}
		}
		t.Fatal("no frost reason")
		return weather.Unknown
	}
	if night(3, 2, 0, 0) != weather.Caution {
		t.Error("3 C under a clear, calm sky with moist air may be frost on the roof")
	}
	if night(3, -8, 0, 0) != weather.Go {
		t.Error("air whose dew point is -8 C sheds no frost on a roof near -1 C")
	}
	if night(3, 2, 100, 0) != weather.Go || night(3, 2, 0, 8) != weather.Go {
		t.Error("cloud or wind keeps the roof near the air")
	}
}

func TestMembersThatDisagreeTighten(t *testing.T) {
	t.Parallel()
	gale := at(1, func(h *weather.Hour) { h.WindGust = weather.Is(25) })
	judgeOf := func(stormy, quiet int) weather.Judgement {
		var changes []func(*weather.Hour)
		for range quiet {
			changes = append(changes, nil)
		}
		for range stormy {
			changes = append(changes, gale)
		}
		return judge(series(changes...), weather.RoofCovering)
	}
	for _, c := range []struct {
		stormy, quiet int
		want          weather.Verdict
	}{{1, 19, weather.Go}, {4, 16, weather.Caution}, {10, 10, weather.Stop}} {
		j := judgeOf(c.stormy, c.quiet)
		if j.Verdict != c.want {
			t.Errorf("%d of %d members stormy: %s, want %s", c.stormy, c.stormy+c.quiet, j.Sentence(), c.want)
		}
	}
	if s := judgeOf(4, 16).Reasons[0].Sentence(); !strings.Contains(s, "20 % against a limit of 20 %") {
		t.Errorf("%s", s)
	}
}

// A member that does not know an hour is not one in which the work can run; when
// fewer than five know, nothing is known of their agreement.
func TestMembersThatDoNotKnowDoNotAgree(t *testing.T) {
	t.Parallel()
	silent := at(1, func(h *weather.Hour) { *h = weather.Hour{From: h.From, Span: h.Span} })
	gale := at(1, func(h *weather.Hour) { h.WindGust = weather.Is(25) })
	for _, c := range []struct {
		quiet, silent, stormy int
		want                  weather.Verdict
	}{
		{19, 1, 0, weather.Go}, {16, 4, 0, weather.Caution}, {10, 10, 0, weather.Stop}, {16, 2, 2, weather.Caution}, {10, 5, 5, weather.Stop},
		{4, 16, 0, weather.Unknown}, {4, 3, 0, weather.Unknown}, {1, 19, 0, weather.Unknown}, {5, 0, 0, weather.Go},
	} {
		var changes []func(*weather.Hour)
		for range c.quiet { // the control among them
			changes = append(changes, nil)
		}
		for range c.silent {
			changes = append(changes, silent)
		}
		for range c.stormy {
			changes = append(changes, gale)
		}
		if j := judge(series(changes...), weather.RoofCovering); j.Verdict != c.want {
			t.Errorf("%d quiet, %d that do not know, %d stormy: %s, want %s", c.quiet, c.silent, c.stormy, j.Sentence(), c.want)
		}
	}
}

// What is taken away from a forecast never turns a verdict to go.
func TestUnknownNeverBecomesGo(t *testing.T) {
	t.Parallel()
	needed := []func(h *weather.Hour){
		func(h *weather.Hour) { h.WindMean = weather.Value{} }, func(h *weather.Hour) { h.Rain = weather.Value{} },
		func(h *weather.Hour) { h.Temp = weather.Value{} }, func(h *weather.Hour) { h.Thunder = weather.Value{} },
		func(h *weather.Hour) { *h = weather.Hour{From: h.From, Span: h.Span} },
	}
	rapid.Check(t, func(t *rapid.T) {
		task := rapid.SampledFrom(weather.OutdoorTasks()).Draw(t, "task")
		hour := rapid.IntRange(0, 3).Draw(t, "hour")
		members := rapid.IntRange(1, 7).Draw(t, "members")
		forget := rapid.SampledFrom(needed).Draw(t, "forgotten")
		changes := make([]func(*weather.Hour), members)
		for i := range changes {
			changes[i] = at(hour, forget)
		}
		s := series(changes...)
		if j := judge(s, task); j.Verdict == weather.Go || j.Verdict == weather.Caution || j.Steps[hour].Verdict == weather.Go {
			t.Fatalf("%s: %s", task, j.Sentence())
		}
		a := weather.Ask{Work: work(task)}
		if c := weather.ChanceOf(s, weather.DefaultLimits(), a); c.Known {
			t.Fatalf("%s: no member knows hour %d, yet the chance is %+v", task, hour, c)
		}
	})
}

func TestMoreWindNeverHelps(t *testing.T) {
	t.Parallel()
	order := []weather.Verdict{weather.Stop, weather.Unknown, weather.Caution, weather.Go}
	rapid.Check(t, func(t *rapid.T) {
		place := weather.Place{
			Lat: 53.8, Lon: -1.55, Terrain: weather.Terrain(rapid.IntRange(1, 5).Draw(t, "terrain")), HeightM: rapid.Float64Range(2, 30).Draw(t, "height"),
		}
		task := rapid.SampledFrom(weather.OutdoorTasks()).Draw(t, "task")
		mean, gust := rapid.Float64Range(0, 20).Draw(t, "mean"), rapid.Float64Range(0, 30).Draw(t, "gust")
		moreMean, moreGust := mean+rapid.Float64Range(0, 5).Draw(t, "more mean"), gust+rapid.Float64Range(0, 5).Draw(t, "more gust")
		gustKnown := rapid.Bool().Draw(t, "gust known")
		ask := func(mean, gust float64) (weather.Verdict, float64) {
			s := series(func(h *weather.Hour) {
				h.WindMean, h.WindGust = weather.Is(mean), weather.Is(gust)
				if !gustKnown {
					h.WindGust = weather.Value{}
				}
			})
			w := work(task)
			w.Place = place
			l := weather.DefaultLimits() // without the water on the roof, which wind dries
			l.Rows = slices.DeleteFunc(l.Rows, func(r weather.Limit) bool { return r.Quantity == weather.RoofFilm })
			return weather.Judge(s, l, w).Verdict, weather.ChanceOf(s, l, weather.Ask{Work: w}).P
		}
		before, chanceBefore := ask(mean, gust)
		after, chanceAfter := ask(moreMean, moreGust)
		if slices.Index(order, after) > slices.Index(order, before) || chanceAfter > chanceBefore {
			t.Fatalf("%v/%v gives %s %v, %v/%v gives %s %v", mean, gust, before, chanceBefore, moreMean, moreGust, after, chanceAfter)
		}
	})
}

func TestTableShowsWhatIsUnknownAsUnknown(t *testing.T) {
	t.Parallel()
	s := series(func(h *weather.Hour) {
		at(1, func(h *weather.Hour) { h.Rain = weather.Value{} })(h)
		at(2, func(h *weather.Hour) { h.WindGust = weather.Is(20) })(h)
	})
	rows, j := weather.Table(s, weather.DefaultLimits(), work(weather.RoofCovering))
	if len(rows) != 4 || j.Verdict != weather.Stop {
		t.Fatalf("%d rows, %s", len(rows), j.Sentence())
	}
	want := [][]string{
		{"Tue 14 Apr 08:00", "2.0", "4.0", "0.0", "12.0", "go", ""},
		{"Tue 14 Apr 09:00", "2.0", "4.0", "?", "12.0", "unknown", "rain in the hour not known; water on the roof 0.3 mm (caution at 0.1)"},
		{"Tue 14 Apr 10:00", "2.0", "20.0", "0.0", "12.0", "stop", "gust 20.0 m/s (stop at 15.65); rain in the hours before not known; water on the roof 0.3 mm (caution at 0.1)"},
	}
	for i, cells := range want {
		if got := rows[i].Cells(); !slices.Equal(got, cells) {
			t.Errorf("row %d is %q, want %q", i, got, cells)
		}
	}
	if len(weather.TableHeader()) != len(rows[0].Cells()) {
		t.Error("header and cells differ in number")
	}
}
