package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// fetcher answers for the points that it is told, as if the grid point lay off
// from each, and then fails.
type fetcher struct {
	answers func(i int) bool // nil = all
	off     float64          // [degrees] of latitude
	now     time.Time
	asked   []weather.Point
}

var errSky = errors.New("the service does not answer")

func (f *fetcher) Fetch(_ context.Context, points []weather.Point) ([]Fetched, error) {
	f.asked = points
	body, err := json.Marshal(storm)
	if err != nil {
		return nil, err
	}
	var all []Fetched
	for i, p := range points {
		if f.answers != nil && !f.answers(i) {
			continue
		}
		series, err := readSky(body, f.now)
		if err != nil {
			return nil, err
		}
		series[0].Lat, series[0].Lon = p.Lat+f.off, p.Lon
		all = append(all, Fetched{Point: p, Provider: testProvider, Body: body, Series: series[0]})
	}
	if len(all) < len(points) {
		return all, errSky
	}
	return all, nil
}

// stormy tells which of the jobs' sites have the new forecast.
func (s *scene) stormy(jobs ...schedule.Job) (refs []string) {
	s.t.Helper()
	for _, j := range jobs {
		series, err := s.svc.forecastOf(context.Background(), s.firm, j.Site.ID)
		must(s.t, err)
		if len(series.Members) > 0 && series.Members[0].Hours[0].WindMean.N > 10 {
			refs = append(refs, j.Ref)
		}
	}
	return refs
}

// moved puts a job's site elsewhere.
func (s *scene) moved(j schedule.Job, lat float64) schedule.Job {
	s.t.Helper()
	j.Site.Lat = lat
	must(s.t, s.schedule.SaveJob(context.Background(), s.firm, j, "test", benchStart))
	return j
}

// An answer that came beside a failure is kept at the site it is about, also
// when the point before it has none.
func TestForecastsAreKeptAsFarAsTheyCame(t *testing.T) {
	s := newScene(t)
	ctx := context.Background()
	must(t, s.schedule.SaveJob(ctx, s.firm, func() schedule.Job { j := s.job("Q-3"); j.State = schedule.JobDone; return j }(), "test", benchStart))
	q2 := s.moved(s.q2, 51.6)
	f := &fetcher{now: s.clock(), answers: func(i int) bool { return i == 1 }}
	n, err := s.svc.RefreshForecasts(ctx, s.firm, Sources{{"test", f}})
	if n != 1 || !errors.Is(err, errSky) {
		t.Errorf("kept %d, %v; want 1 and the failure", n, err)
	}
	if len(f.asked) != 2 || f.asked[1].Lat != 51.6 {
		t.Fatalf("asked for %+v, want the two open jobs' sites", f.asked)
	}
	if got := s.stormy(s.q1, q2); !slices.Equal(got, []string{"Q-2"}) {
		t.Errorf("the forecast of Q-2 stands at %v", got)
	}
	f.answers = nil
	if n, err = s.svc.RefreshForecasts(ctx, s.firm, Sources{{"test", f}}); n != 2 || err != nil {
		t.Errorf("kept %d, %v", n, err)
	}
	empty := s.addFirm("No Jobs Yet")
	if n, err = s.svc.RefreshForecasts(ctx, empty, Sources{{"test", f}}); n != 0 || err != nil {
		t.Errorf("a firm without jobs: kept %d, %v", n, err)
	}
}

// Two sites at one point are asked about once and both have the answer.
func TestSitesAtOnePointShareAnAnswer(t *testing.T) {
	s := newScene(t)
	f := &fetcher{now: s.clock()}
	if n, err := s.svc.RefreshForecasts(context.Background(), s.firm, Sources{{"test", f}}); n != 2 || err != nil || len(f.asked) != 1 {
		t.Errorf("asked for %d points, kept %d, %v", len(f.asked), n, err)
	}
	if got := s.stormy(s.q1, s.q2); len(got) != 2 {
		t.Errorf("the new forecast stands at %v", got)
	}
}

// A grid point 0.44 degrees away is 49 km away, one at 0.46 degrees 51 km (a
// degree of latitude is 111.2 km).
func TestAnAnswerAboutAnotherPlaceIsNotKept(t *testing.T) {
	s := newScene(t)
	f := &fetcher{now: s.clock(), off: 0.46}
	n, err := s.svc.RefreshForecasts(context.Background(), s.firm, Sources{{"test", f}})
	if n != 0 || err == nil || len(s.stormy(s.q1, s.q2)) != 0 {
		t.Errorf("kept %d, %v", n, err)
	}
	f.off = 0.44
	if n, err := s.svc.RefreshForecasts(context.Background(), s.firm, Sources{{"test", f}}); n != 2 || err != nil {
		t.Errorf("49 km away: kept %d, %v", n, err)
	}
}

// The forecast of the place where a site lay says nothing about the place where
// it lies: neither for the morning nor for the plan.
func TestASiteThatMovedHasNoForecast(t *testing.T) {
	s := newScene(t)
	ctx := context.Background()
	known := func() (morning, plan bool) {
		series, err := s.svc.forecastOf(ctx, s.firm, s.q1.Site.ID)
		must(t, err)
		snap, err := s.svc.Snapshot(ctx, s.firm, 28)
		must(t, err)
		for _, o := range snap.Outlooks {
			if o.Site == s.q1.Site.ID && o.Task == weather.PanelCarrying {
				plan = !strings.Contains(o.At((tuesday + 1).In(civil.Morning)).Basis, "climate")
			}
		}
		return len(series.Members) > 0, plan
	}
	if morning, plan := known(); !morning || !plan {
		t.Fatalf("before: %v, %v", morning, plan)
	}
	s.moved(s.q1, 51.9) // 44 km
	if morning, plan := known(); !morning || !plan {
		t.Errorf("44 km away: %v, %v", morning, plan)
	}
	s.moved(s.q1, 57.8) // 700 km
	if morning, plan := known(); morning || plan {
		t.Errorf("700 km away the old forecast counts: %v, %v", morning, plan)
	}
}

func TestOutlooksFollowTheForecast(t *testing.T) {
	s := newScene(t)
	ctx := context.Background()
	of := func() map[weather.Task]weather.Chance {
		snap, err := s.svc.Snapshot(ctx, s.firm, 28)
		must(t, err)
		if len(snap.Outlooks) != 6 {
			t.Fatalf("%d outlooks, want one for each of two sites and three tasks", len(snap.Outlooks))
		}
		at := map[weather.Task]weather.Chance{}
		for _, o := range snap.Outlooks {
			if o.Site == s.q1.Site.ID {
				at[o.Task] = o.At((tuesday + 1).In(civil.Morning))
			}
		}
		return at
	}
	calmly := of()
	s.forecasts(storm)
	stormily := of()
	for _, task := range []weather.Task{weather.ScaffoldErection, weather.ScaffoldStrike, weather.PanelCarrying} {
		a, b := calmly[task], stormily[task]
		if !a.Known || !b.Known || a.P < 0.8 || b.P > 0.3 {
			t.Errorf("%s: %+v when calm, %+v in a storm", task, a, b)
		}
	}
}

// Of two chances the lesser counts, and what is not known stays so.
func TestLesserChance(t *testing.T) {
	t.Parallel()
	is := func(p float64) weather.Chance { return weather.Chance{Known: true, P: p} }
	got := lesser([]weather.Chance{is(.3), is(.9), {}, is(.5), {}}, []weather.Chance{is(.7), is(.2), is(.9), {}, {}})
	for i, want := range []weather.Chance{is(.3), is(.2), {}, {}, {}} {
		if got[i] != want {
			t.Errorf("%d: %+v, want %+v", i, got[i], want)
		}
	}
}

// An hour that is not known could hide a higher gust.
func TestHighestIsUnknownWhenAnHourIs(t *testing.T) {
	t.Parallel()
	step := func(v weather.Value) weather.StepVerdict {
		return weather.StepVerdict{Checks: []weather.Check{{Value: v}}}
	}
	if v := highest([]weather.StepVerdict{step(weather.Is(-2)), step(weather.Is(-5))}, 0); v != weather.Is(-2) {
		t.Errorf("highest of -2 and -5 is %+v", v)
	}
	if v := highest([]weather.StepVerdict{step(weather.Is(4)), step(weather.Value{})}, 0); v.Known {
		t.Errorf("highest of 4 and unknown is %+v", v)
	}
	if v := highest(nil, 0); v.Known {
		t.Errorf("highest of nothing is %+v", v)
	}
	if v := highest([]weather.StepVerdict{step(weather.Is(4))}, 3); v.Known {
		t.Errorf("a level that was not checked gives %+v", v)
	}
}

// Roof work keeps the limits of carrying modules and of the covering, both, at
// every wind, and says why.
func TestRoofWorkKeepsTheLimitsOfAllItsTasks(t *testing.T) {
	t.Parallel()
	loc, err := time.LoadLocation("Europe/London")
	must(t, err)
	now := benchStart
	body, err := json.Marshal(calm)
	must(t, err)
	all, err := readSky(body, now)
	must(t, err)
	series := all[0]
	place := weather.Place{Lat: 51.5, Lon: -0.12, Terrain: weather.TerrainIII, HeightM: 6.5}
	work := weather.Work{Place: place, From: now.Add(2 * time.Hour), To: now.Add(5 * time.Hour), Loc: loc, Now: now}
	if j := judgeRoof(series, weather.DefaultLimits(), work); j.Verdict != weather.Go {
		t.Fatalf("a calm morning is %s", j.Sentence())
	}
	for mean := 0.0; mean < 20; mean += 0.25 {
		for i := range series.Members[0].Hours {
			series.Members[0].Hours[i].WindMean, series.Members[0].Hours[i].WindGust = weather.Is(mean), weather.Is(1.4*mean)
		}
		got := judgeRoof(series, weather.DefaultLimits(), work)
		want := weather.Go
		for _, task := range roofTasks {
			w := work
			w.Task = task
			want = weather.Worse(want, weather.Judge(series, weather.DefaultLimits(), w).Verdict)
		}
		if got.Verdict != want {
			t.Fatalf("at %.2f m/s the roof is %s, its tasks together %s", mean, got.Verdict, want)
		}
		if got.Verdict != weather.Go && (len(got.Reasons) == 0 || got.Reasons[0].Verdict != got.Verdict) {
			t.Fatalf("at %.2f m/s: %s without a reason", mean, got.Verdict)
		}
	}
	if j := judgeRoof(weather.Series{}, weather.DefaultLimits(), work); j.Verdict != weather.Unknown {
		t.Errorf("without a forecast the roof is %s", j.Verdict)
	}
}

func TestMostExposedSite(t *testing.T) {
	t.Parallel()
	site := func(terrain string, height float64) schedule.Job {
		return schedule.Job{State: schedule.JobOpen, Site: schedule.Site{ID: uuid.New(), Terrain: terrain, WorkingHeightM: height}}
	}
	coast, town, gone, nowhere := site("0", 8), site("IV", 12), site("0", 20), site("?", 8)
	gone.State = schedule.JobDone
	got, n, ok := mostExposed([]schedule.Job{town, coast, gone, nowhere})
	if !ok || got.ID != coast.Site.ID || n != 3 {
		t.Errorf("the most exposed of %d is %+v", n, got)
	}
	if _, _, ok := mostExposed(nil); ok {
		t.Error("of nothing something is the most exposed")
	}
}

// Each is done once, and a panic in one is the caller's.
func TestEachIsDoneOnceAndAPanicIsTheCallers(t *testing.T) {
	t.Parallel()
	var done [100]atomic.Int32
	eachOf(len(done), func(i int) { done[i].Add(1) })
	for i := range done {
		if n := done[i].Load(); n != 1 {
			t.Errorf("%d was done %d times", i, n)
		}
	}
	eachOf(0, func(int) { t.Error("of none something is done") })
	defer func() {
		if p := recover(); p == nil || !strings.Contains(fmt.Sprint(p), "three is bad") {
			t.Errorf("the panic came to %v", p)
		}
	}()
	eachOf(10, func(i int) {
		if i == 3 {
			panic("three is bad")
		}
	})
}
