package weather_test

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"toeboard/weather"
)

// A day made by hand, judged for scaffold erection at 10 m in open country, where
// the wind is that of the forecast: rain of 5 mm (stop from 4 mm, limits.csv) from
// 11 to 13 and from 16 on, a gust of 13 m/s (caution from 12.5) from 9 to 10.
func rainyDay(t *testing.T) (weather.Series, weather.Work) {
	t.Helper()
	day := func(h int) time.Time { return time.Date(2026, 6, 3, h, 0, 0, 0, time.UTC) }
	var hours []weather.Hour
	for h := -30; h < 30; h++ {
		hour := calmHour(day(h))
		if h == 9 {
			hour.WindGust = weather.Is(13)
		}
		if h == 11 || h == 12 || h == 16 {
			hour.Rain = weather.Is(5)
		}
		hours = append(hours, hour)
	}
	return weather.Series{FetchedAt: day(7), Members: []weather.Member{{Hours: hours}}},
		weather.Work{Place: weather.Place{Lat: 53.8, Lon: -1.5, Terrain: weather.TerrainII, HeightM: 10}, Task: weather.ScaffoldErection, From: day(8), To: day(17), Loc: time.UTC, Now: day(7)}
}

func TestWorkableWindowsAndTheWayBack(t *testing.T) {
	t.Parallel()
	series, ask := rainyDay(t)
	j := weather.Judge(series, weather.DefaultLimits(), ask)
	var got []string
	for _, w := range j.Windows() {
		got = append(got, w.From.Format("15")+"-"+w.To.Format("15")+" "+w.Verdict.String())
	}
	if say := strings.Join(got, ", "); say != "08-11 caution, 13-16 caution" { // after the rain its hours count as a caution
		t.Errorf("workable %s", say)
	}
	turn := j.Turn()
	if turn.OffBy.Hour() != 11 || turn.BackAt.Hour() != 13 || turn.Verdict != weather.Stop || turn.Because != "rain in the hour 5.0 mm (stop at 4)" {
		t.Errorf("turns %+v", turn)
	}
	if say, want := j.Hours(time.UTC), "Longest workable stretch 08:00 to 11:00, 3 hours. Be off by 11:00: rain in the hour 5.0 mm (stop at 4). Workable again from 13:00 by this forecast."; say != want {
		t.Errorf("%q, want %q", say, want)
	}
	ask.From = time.Date(2026, 6, 3, 13, 30, 0, 0, time.UTC) // a window that begins within a step
	j = weather.Judge(series, weather.DefaultLimits(), ask)
	if say, want := j.Hours(time.UTC), "Longest workable stretch 13:30 to 16:00, 2 h 30 min. Be off by 16:00: rain in the hour 5.0 mm (stop at 4). It does not turn back by 17:00."; say != want {
		t.Errorf("%q, want %q", say, want)
	}
	ask.From, ask.To = time.Date(2026, 6, 3, 11, 0, 0, 0, time.UTC), time.Date(2026, 6, 3, 13, 0, 0, 0, time.UTC)
	if say := weather.Judge(series, weather.DefaultLimits(), ask).Hours(time.UTC); say != "No hour of it is workable." {
		t.Errorf("%q", say)
	}
	ask.From, ask.To = time.Date(2026, 6, 3, 8, 0, 0, 0, time.UTC), time.Date(2026, 6, 3, 9, 0, 0, 0, time.UTC)
	if say := weather.Judge(series, weather.DefaultLimits(), ask).Hours(time.UTC); say != "" {
		t.Errorf("a window that is workable throughout: %q", say)
	}
}

// Whatever the hours are: windows do not touch or overlap, lie within the window
// that was asked for, hold no step that is a stop or not known, and together with
// those make up the whole.
func TestWindowsCoverWhatIsWorkable(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		start := time.Date(2026, 6, 3, 0, 0, 0, 0, time.UTC)
		var hours []weather.Hour
		for h := range 24 {
			hour := calmHour(start.Add(time.Duration(h) * time.Hour))
			switch rapid.IntRange(0, 3).Draw(t, "hour") {
			case 0:
				hour.Rain = weather.Is(9)
			case 1:
				hour.Rain = weather.Value{}
			case 2:
				hour.WindGust = weather.Is(13)
			}
			hours = append(hours, hour)
		}
		from := start.Add(time.Duration(rapid.IntRange(0, 20*60).Draw(t, "from")) * time.Minute)
		to := from.Add(time.Duration(rapid.IntRange(1, 9*60).Draw(t, "lasts")) * time.Minute)
		j := weather.Judge(weather.Series{FetchedAt: start, Members: []weather.Member{{Hours: hours}}}, weather.DefaultLimits(),
			weather.Work{Place: weather.Place{Lat: 53.8, Lon: -1.5, Terrain: weather.TerrainII, HeightM: 10}, Task: weather.ScaffoldErection, From: from, To: to, Loc: time.UTC, Now: start})
		for at := from; at.Before(to); at = at.Add(time.Minute) {
			in := 0
			for _, w := range j.Windows() {
				if !at.Before(w.From) && at.Before(w.To) {
					in++
				}
			}
			bad := false
			for _, s := range j.Steps {
				if !at.Before(s.From) && at.Before(s.To) {
					bad = s.Verdict == weather.Stop || s.Verdict == weather.Unknown
				}
			}
			if want := map[bool]int{true: 0, false: 1}[bad]; in != want {
				t.Fatalf("%s lies in %d windows, bad is %v: %+v", at.Format("15:04"), in, bad, j.Windows())
			}
		}
		all := j.Windows()
		for i := 1; i < len(all); i++ {
			if all[i].To.Sub(all[i].From) > all[i-1].To.Sub(all[i-1].From) {
				t.Fatalf("a longer window comes after a shorter: %+v", all)
			}
		}
	})
}

// Two tasks on one roof: an hour is as bad as the worse of both, and when to be
// off is the earlier of both.
func TestBothTasksTurnTheDay(t *testing.T) {
	t.Parallel()
	series, ask := rainyDay(t)
	scaffold := weather.Judge(series, weather.DefaultLimits(), ask)
	ask.Task = weather.PanelCarrying // stops at the gust of 13 m/s at 9
	carrying := weather.Judge(series, weather.DefaultLimits(), ask)
	for _, both := range []weather.Judgement{scaffold.Both(carrying), carrying.Both(scaffold)} {
		if both.OffBy.Hour() != 9 {
			t.Errorf("off by %s", both.OffBy)
		}
		for i, s := range both.Steps {
			if s.Verdict != weather.Worse(scaffold.Steps[i].Verdict, carrying.Steps[i].Verdict) {
				t.Errorf("%s: %s", s.From.Format("15:04"), s.Verdict)
			}
		}
	}
	if got := scaffold.Both(weather.Judgement{}); len(got.Windows()) != 0 {
		t.Errorf("with a task of which nothing is known: %+v", got.Windows())
	}
	if scaffold.OffBy.Hour() != 11 {
		t.Error("the judgement itself was changed")
	}
}

// A forecast that begins at midnight assumes a wet roof; with the dry, breezy day
// before it of an earlier forecast the film is gone by the balance's own
// arithmetic, and with a day of which nobody knows the rain it is not.
func TestAKnownDryDayBeforeDriesTheRoof(t *testing.T) {
	t.Parallel()
	midnight := time.Date(2026, 6, 3, 0, 0, 0, 0, time.UTC)
	day := func(from, to int, change func(*weather.Hour)) (hours []weather.Hour) {
		for h := from; h < to; h++ {
			hour := calmHour(midnight.Add(time.Duration(h) * time.Hour))
			hour.WindMean, hour.Humidity, hour.Cloud = weather.Is(4), weather.Is(55), weather.Is(100)
			change(&hour)
			hours = append(hours, hour)
		}
		return hours
	}
	same := func(*weather.Hour) {}
	newest := weather.Series{FetchedAt: midnight.Add(time.Hour), Members: []weather.Member{{Name: "", Hours: day(0, 48, same)}, {Name: "01", Hours: day(0, 48, same)}}}
	at := func(s weather.Series) weather.Value {
		j := weather.Judge(s, weather.DefaultLimits(), weather.Work{Place: weather.Place{Lat: 53.8, Lon: -1.5, Terrain: weather.TerrainIII, HeightM: 8}, Task: weather.RoofCovering,
			From: midnight.Add(time.Hour), To: midnight.Add(2 * time.Hour), Loc: time.UTC, Now: midnight.Add(time.Hour)})
		for i, l := range j.Levels {
			if l.Quantity == weather.RoofFilm {
				return j.Steps[0].Checks[i].Value
			}
		}
		return weather.Value{}
	}
	alone := at(newest)
	if !alone.Known || alone.N < 0.1 {
		t.Fatalf("alone the roof has %+v mm, want the full film of the start to be felt", alone)
	}
	dry := newest.WithPast(weather.Series{FetchedAt: midnight.Add(-6 * time.Hour), Members: []weather.Member{{Hours: day(-24, 20, same)}}})
	if got := at(dry); !got.Known || got.N != 0 {
		t.Errorf("after a known dry day: %+v mm", got)
	}
	if n := len(dry.Members[1].Hours); n != 72 || !dry.Members[1].Hours[0].From.Equal(midnight.Add(-24*time.Hour)) || len(newest.Members[1].Hours) != 48 {
		t.Errorf("the second member has %d hours", n)
	}
	if len(dry.Notes) != 1 || !strings.Contains(dry.Notes[0], "fetched 2026-06-02 18:00 UTC") {
		t.Errorf("noted: %q", dry.Notes)
	}
	for name, past := range map[string]weather.Series{
		"rain in the evening":        {Members: []weather.Member{{Hours: day(-24, 20, func(h *weather.Hour) { h.Rain = weather.Is(map[bool]float64{true: 2}[h.From.Hour() >= 22]) })}}},
		"rain not known":             {Members: []weather.Member{{Hours: day(-24, 20, func(h *weather.Hour) { h.Rain = weather.Value{} })}}},
		"a gap before midnight":      {Members: []weather.Member{{Hours: day(-24, -1, same)}}},
		"nothing":                    {},
		"a member without any hours": {Members: []weather.Member{{}}},
	} {
		if got := at(newest.WithPast(past)); !got.Known || got.N < 0.1 {
			t.Errorf("%s: %+v mm", name, got)
		}
	}
	broken := day(-24, 20, same)
	broken = append(broken[:10:10], broken[12:]...)
	if got := newest.WithPast(weather.Series{Members: []weather.Member{{Hours: broken}}}); !got.Members[0].Hours[0].From.Equal(midnight.Add(-12 * time.Hour)) {
		t.Errorf("past a gap: from %s", got.Members[0].Hours[0].From)
	}
}
