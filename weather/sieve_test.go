package weather_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"toeboard/weather"
)

// The sieve and Judge must never differ: every hour of drawn forecasts, with
// holes and with numbers on the very limits, judged both ways.
func TestSieveIsJudge(t *testing.T) {
	t.Parallel()
	tasks := weather.OutdoorTasks()
	limits := weather.DefaultLimits()
	for _, task := range tasks { // and one that no default asks for
		limits.Rows = append(limits.Rows, weather.Limit{Task: task, Quantity: weather.Visibility, Caution: weather.Is(200), Stop: weather.Is(50), Unit: "m", Source: "a test", Mark: weather.FirmsOwn})
	}
	seen := map[weather.Verdict]int{}
	rapid.Check(t, func(rt *rapid.T) {
		hours := drawHours(rt)
		odd := rapid.SampledFrom([]int{3, 10, 60}).Draw(rt, "odd")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1)) // rapid itself draws edges too often for a common hour
		for i := range hours {
			h := &hours[i]
			pick := func(likely float64, others ...float64) weather.Value {
				switch n := r.IntN(odd*len(others)+2) - 1; {
				case n < 0:
					return weather.Value{}
				case n < len(others):
					return weather.Is(others[n])
				}
				return weather.Is(likely)
			}
			h.WindMean = pick(2, 7.6, 10.28, 10.28/0.7, 14)
			h.WindGust = pick(4, 8, 10.28, 12.5, 15.65, 20)
			h.Rain = pick(0, 0.1, 0.2, 0.05, 4)
			h.Temp = pick(12, 2, 0, -2, 33, 1, 9)
			h.DewPoint = pick(3, -2, 12)
			h.Thunder = pick(0, 1)
			h.Visibility = pick(9000, 200, 50)
		}
		s := weather.Series{Provider: "test", FetchedAt: hours[0].From, Lat: 53.8, Lon: -1.5, Members: []weather.Member{{Hours: hours}}}
		place := weather.Place{Lat: 53.8, Lon: -1.5, Terrain: weather.Terrain(rapid.IntRange(1, 5).Draw(rt, "terrain")), HeightM: rapid.Float64Range(2, 30).Draw(rt, "height"), Exposure: 1.2}
		sieve, err := weather.NewSieve(limits, place, tasks, nil)
		if err != nil {
			rt.Fatal(err)
		}
		var g weather.Grid
		if !g.Fill(s) {
			rt.Fatal("whole hours in a row are a grid")
		}
		marks := make([]weather.Marks, g.Hours)
		sieve.Light(&g, time.UTC)
		sieve.Member(&g, 0, marks)
		for k, task := range tasks {
			j := weather.Judge(s, limits, weather.Work{Place: place, Task: task, From: g.From, To: g.From.Add(time.Duration(g.Hours) * time.Hour), Loc: time.UTC, Now: g.From})
			for i, step := range j.Steps {
				got := (marks[i] | sieve.Bright()[i]).Of(k)
				seen[got]++
				if got != step.Verdict {
					rt.Fatalf("%s, hour %d: the sieve says %s, Judge %s: %+v", task, i, got, step.Verdict, hours[i])
				}
			}
		}
	})
	for _, v := range []weather.Verdict{weather.Stop, weather.Unknown, weather.Caution, weather.Go} {
		if seen[v] < 100 {
			t.Errorf("only %d hours are %s: the comparison shows little", seen[v], v)
		}
	}
}

func TestGridRefusesWhatIsNotHourly(t *testing.T) {
	t.Parallel()
	hour := func(from time.Time, span time.Duration) weather.Hour { return weather.Hour{From: from, Span: span} }
	at := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	for name, members := range map[string][]weather.Member{
		"nothing":     nil,
		"six hours":   {{Hours: []weather.Hour{hour(at, 6*time.Hour)}}},
		"a gap":       {{Hours: []weather.Hour{hour(at, time.Hour), hour(at.Add(2*time.Hour), time.Hour)}}},
		"half past":   {{Hours: []weather.Hour{hour(at.Add(30*time.Minute), time.Hour)}}},
		"two lengths": {{Hours: []weather.Hour{hour(at, time.Hour)}}, {}},
	} {
		var g weather.Grid
		if g.Fill(weather.Series{Members: members}) || g.Hours != 0 {
			t.Errorf("%s is taken for a grid of %d hours", name, g.Hours)
		}
	}
}

func TestSieveAllocatesNothingPerHour(t *testing.T) {
	var g weather.Grid
	g.From = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	g.Size(3, 240)
	for i := range g.Rain {
		g.WindMean[i], g.WindGust[i], g.Rain[i], g.Temp[i], g.Humidity[i], g.Cloud[i] = 3, math.NaN(), float64(i%7)/20, float64(i%40)-5, 80, 50
	}
	sieve, err := weather.NewSieve(weather.DefaultLimits(), weather.Place{Lat: 53.8, Lon: -1.5, Terrain: weather.TerrainIII, HeightM: 7}, weather.OutdoorTasks(), nil)
	if err != nil {
		t.Fatal(err)
	}
	sieve.Light(&g, time.UTC)
	marks := make([]weather.Marks, g.Hours)
	if n := testing.AllocsPerRun(20, func() { sieve.Member(&g, 1, marks) }); n != 0 {
		t.Errorf("%v allocations for 240 hours", n)
	}
}
