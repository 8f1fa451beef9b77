package weather_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// besides are what two services say, and the two put together.
func besides(first, second weather.Series) weather.Series {
	first.Provider, second.Provider = "First", "Second"
	first.Beside = []weather.Series{second}
	return first
}

// Of two services the worse counts, quantity by quantity and hour by hour, and
// the reason names who said it; what is better in the second changes nothing.
func TestOfTwoServicesTheWorseCounts(t *testing.T) {
	t.Parallel()
	w := sunWork(weather.RoofCovering, weather.Value{})
	calm := roofDay(weather.Is(40))
	if j := weather.Judge(besides(calm, roofDay(weather.Is(40))), weather.DefaultLimits(), w); j.Verdict != weather.Go || j.Services() != "First, and Second where it is worse" {
		t.Errorf("two calm ones: %s, by %s", j.Sentence(), j.Services())
	}
	gusty := roofDay(weather.Is(40))
	gusty.Members[0].Hours[24+11].WindGust = weather.Is(25)
	j := weather.Judge(besides(calm, gusty), weather.DefaultLimits(), w)
	if j.Verdict != weather.Stop || !strings.Contains(j.Sentence(), "gust while working on the roof covering (by Second) at Tue 1 Dec 11:00") {
		t.Errorf("the second says 25 m/s at eleven: %s", j.Sentence())
	}
	for _, s := range j.Steps {
		if stop := s.From.Hour() == 11; (s.Verdict == weather.Stop) != stop {
			t.Errorf("%s is %s", s.From, s.Verdict)
		}
	}
	if back := weather.Judge(besides(gusty, calm), weather.DefaultLimits(), w); back.Verdict != weather.Stop || strings.Contains(back.Sentence(), "(by") {
		t.Errorf("the first says it: %s", back.Sentence())
	}
	old := gusty
	old.FetchedAt = w.Now.Add(-30 * time.Hour)
	if j := weather.Judge(besides(calm, old), weather.DefaultLimits(), w); j.Verdict != weather.Go || len(j.Beside) != 0 || j.Services() != "First" {
		t.Errorf("a second that is 30 h old: %s, by %s", j.Sentence(), j.Services())
	}
}

// Whatever two services say: the verdict is never better than the first's own,
// nor than the second's stops, and what the first does not know the second does
// not make known.
func TestASecondServiceNeverMakesItBetter(t *testing.T) {
	t.Parallel()
	rank := func(v weather.Verdict) int {
		return slices.Index([]weather.Verdict{weather.Stop, weather.Unknown, weather.Caution, weather.Go}, v)
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawnDay(t, "a"), drawnDay(t, "b")
		w := sunWork(rapid.SampledFrom(weather.OutdoorTasks()).Draw(t, "task"), weather.Value{})
		both := weather.Judge(besides(a, b), weather.DefaultLimits(), w)
		first, second := weather.Judge(a, weather.DefaultLimits(), w), weather.Judge(b, weather.DefaultLimits(), w)
		if rank(both.Verdict) > rank(first.Verdict) {
			t.Fatalf("%s alone, %s with another beside it", first.Sentence(), both.Sentence())
		}
		for i, step := range both.Steps {
			if was := first.Steps[i].Verdict; rank(step.Verdict) > rank(was) || second.Steps[i].Verdict == weather.Stop && step.Verdict != weather.Stop {
				t.Fatalf("%s: %s and %s became %s", step.From, was, second.Steps[i].Verdict, step.Verdict)
			}
		}
		ahead := weather.Ahead{Place: w.Place, Tasks: weather.OutdoorTasks(), First: civil.On(2026, 12, 1).In(civil.Morning), N: 6, Hours: civil.UsualHours, Loc: time.UTC, Now: w.Now}
		alone, with := weather.Outlook(a, weather.DefaultLimits(), ahead), weather.Outlook(besides(a, b), weather.DefaultLimits(), ahead)
		for i := range with {
			for h := range with[i] {
				if with[i][h].Known != alone[i][h].Known || with[i][h].P > alone[i][h].P {
					t.Fatalf("%s, half-day %d: %+v alone, %+v with another", ahead.Tasks[i], h, alone[i][h], with[i][h])
				}
			}
		}
	})
}

// Where the worse of two services counts, what may come is drawn from the one
// with the smaller chance: as many futures pass as of its members do, whichever
// of the two it is, and of a service without members its chance decides. One that
// is too old to count, or does not reach the half-day, draws nothing.
func TestFuturesAreOfTheWorseService(t *testing.T) {
	t.Parallel()
	const members = 25
	of := func(gales int) weather.Series {
		s := weather.Series{FetchedAt: morning.Add(-time.Hour)}
		for i := range members {
			change := func(*weather.Hour) {}
			if i < gales {
				change = gale
			}
			s.Members = append(s.Members, leads(change, 1).Members[0])
		}
		return s
	}
	first := civil.DateOf(morning, london)
	ask := weather.Ahead{Place: suburb, Tasks: outdoors, First: first.In(civil.Morning), N: 4, Hours: civil.UsualHours, Loc: london,
		Now: morning.Add(-time.Hour), Climate: weather.DefaultClimate()}
	d := weather.NewDraws(first, 2, weather.FuturesOf(members), 5)
	share := func(s weather.Series) float64 {
		row := weather.Futures(s, weather.DefaultLimits(), ask, d)[3]
		n := 0
		for f := range row.Futures {
			n += int(one(row.In(ask.First, f)))
		}
		return float64(n) / float64(row.Futures)
	}
	old := of(20)
	old.FetchedAt = ask.Now.Add(-48 * time.Hour)
	for _, c := range []struct {
		what          string
		first, second weather.Series
		want          float64
	}{
		{"the second is worse", of(5), of(20), 5. / members},
		{"the first is worse", of(20), of(5), 5. / members},
		{"a stormy run beside it", of(5), leads(gale, 1), weather.Outlook(leads(gale, 1), weather.DefaultLimits(), ask)[3][0].P},
		{"one that fell silent", of(5), old, 20. / members},
		{"one without an hour", of(5), weather.Series{FetchedAt: morning.Add(-time.Hour)}, 20. / members},
	} {
		if got := share(besides(c.first, c.second)); got-c.want > 0.02 || c.want-got > 0.02 { // one future of 50
			t.Errorf("%s: %.2f of the futures pass, want %.2f", c.what, got, c.want)
		}
	}
}

// Whatever two services say, a half-day is known in the futures where its chance
// is, and the share of futures that pass lies by the chance: a service of so few
// members claims one more of either kind.
func TestFuturesKeepToTheChancesOfTwoServices(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		several := func(name string) (s weather.Series) {
			for range rapid.IntRange(2, 5).Draw(t, name+" members") {
				day := drawnDay(t, name)
				s.Members, s.FetchedAt, s.ModelRun = append(s.Members, day.Members...), day.FetchedAt, day.ModelRun
			}
			return s
		}
		both := besides(several("a"), several("b"))
		w := sunWork(weather.RoofCovering, weather.Value{})
		first := civil.On(2026, 12, 1)
		ahead := weather.Ahead{Place: w.Place, Tasks: outdoors, First: first.In(civil.Morning), N: 2, Hours: civil.UsualHours, Loc: time.UTC, Now: w.Now}
		look := weather.NewLook(both, weather.DefaultLimits(), ahead)
		rows := look.Futures(weather.NewDraws(first, 1, 60, 3), 2)
		chances := look.Chances(2)
		for i := range outdoors {
			for h := range chances[i] {
				c, n := chances[i][h], 0
				for f := range 60 {
					n += int(one(rows[i].In(ahead.First+civil.HalfDay(h), f)))
				}
				// (i+1)/(m+2) of at least two members is within a quarter of i/m.
				if share := float64(n) / 60; rows[i].Known(ahead.First+civil.HalfDay(h)) != c.Known || c.Known && (share-c.P > 0.26 || c.P-share > 0.26) || !c.Known && n > 0 {
					t.Fatalf("%s, half-day %d: %.2f of the futures pass, the chance is %+v", outdoors[i].Doing(), h, share, c)
				}
			}
		}
	})
}

// A member is asked about a half-day once: what becomes of its hours after the
// chances were given does not reach the futures, while another look sees it.
func TestAMemberIsJudgedOnce(t *testing.T) {
	t.Parallel()
	s := leads(func(*weather.Hour) {}, 20)
	first := civil.DateOf(morning, london)
	ask := weather.Ahead{Place: suburb, Tasks: outdoors, First: first.In(civil.Morning), N: 4, Hours: civil.UsualHours, Loc: london,
		Now: morning.Add(-time.Hour), Climate: weather.DefaultClimate()}
	d := weather.NewDraws(first, 2, 60, 5)
	look := weather.NewLook(s, weather.DefaultLimits(), ask)
	before := look.Chances(4)
	for i := range s.Members {
		for h := range s.Members[i].Hours {
			gale(&s.Members[i].Hours[h])
		}
	}
	if rows := look.Futures(d, 4); before[3][0].P < 0.9 || !rows[3].In(ask.First, 0) || !rows[3].In(ask.First+3, 59) {
		t.Errorf("judged again: chance %+v, and the futures do not pass", before[3][0])
	}
	if rows := weather.Futures(s, weather.DefaultLimits(), ask, d); rows[3].In(ask.First, 0) {
		t.Error("a gale in every member passes: the test asks nothing")
	}
}

// drawnDay is a day in which each of the quantities that stop work may be fine,
// bad or not known in each hour.
func drawnDay(t *rapid.T, name string) weather.Series {
	s := roofDay(weather.Is(40))
	draw := func(what string, fine, bad float64) weather.Value {
		return rapid.SampledFrom([]weather.Value{weather.Is(fine), weather.Is(fine), weather.Is(fine), weather.Is(bad), {}}).Draw(t, name+" "+what)
	}
	for range rapid.IntRange(0, 4).Draw(t, name+" changes") {
		h := &s.Members[0].Hours[24+rapid.IntRange(6, 16).Draw(t, name+" hour")]
		h.WindMean, h.WindGust = draw("mean", 1, 18), draw("gust", 2, 30)
		h.Rain, h.Temp, h.Thunder = draw("rain", 0, 6), draw("temp", 12, -5), draw("thunder", 0, 1)
	}
	return s
}
