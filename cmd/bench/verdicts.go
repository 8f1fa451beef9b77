package main

import (
	"context"
	"fmt"
	"math"
	"math/bits"
	"math/rand/v2"
	"runtime/metrics"
	"sync"
	"time"

	"toeboard/weather"
	"toeboard/weather/fault"
)

type verdictsVerb struct {
	Sites   int    `help:"Places with a forecast of their own." default:"10000"`
	Hours   int    `help:"Hours of each forecast." default:"240"`
	Members int    `help:"Members of each forecast." default:"50"`
	Tasks   int    `help:"Tasks judged, 1 to 8." default:"8"`
	Workers int    `help:"Goroutines." default:"2"`
	Seed    uint64 `help:"Of the invented weather." default:"1"`
	JSON    bool   `help:"One object a line." name:"json"`
}

type verdictsRow struct {
	Sites          int     `json:"sites"`
	Hours          int     `json:"hours"`
	Members        int     `json:"members"`
	Tasks          int     `json:"tasks"`
	Workers        int     `json:"workers"`
	Seconds        float64 `json:"seconds"`        // wall clock of judging, the invention of weather left out
	NsPerVerdict   float64 `json:"ns_per_verdict"` // of one core
	NsPerRead      float64 `json:"ns_per_read"`    // of a bare loop over the same numbers, per verdict
	RatioToRead    float64 `json:"ratio_to_read"`
	AllocsPerSite  float64 `json:"allocs_per_site"`
	PeakMiB        float64 `json:"peak_mib"`
	ShareOfStops   float64 `json:"share_stop"`
	ShareOfGo      float64 `json:"share_go"`
	ShareOfUnknown float64 `json:"share_unknown"`
}

// Run judges many places, one after the other in memory that is used again, and
// holds the time against a loop that only reads the same numbers.
func (v verdictsVerb) Run(ctx context.Context, o out) error {
	tasks := weather.OutdoorTasks()
	for field, c := range map[string]struct{ value, most int }{
		"--sites": {v.Sites, 10_000_000}, "--hours": {v.Hours, 1000}, "--members": {v.Members, 1000}, "--tasks": {v.Tasks, len(tasks)}, "--workers": {v.Workers, 64},
	} {
		if c.value < 1 || c.value > c.most {
			return fault.Bad(field, fmt.Sprint(c.value), fmt.Sprintf("1 to %d", c.most))
		}
	}
	workers := make([]*judging, v.Workers)
	var wait sync.WaitGroup
	for w := range workers {
		workers[w] = &judging{verb: v, tasks: tasks[:v.Tasks], worker: w}
		wait.Go(func() { workers[w].run(ctx) })
	}
	wait.Wait()
	row := verdictsRow{Sites: v.Sites, Hours: v.Hours, Members: v.Members, Tasks: v.Tasks, Workers: v.Workers}
	var judged, read time.Duration
	var counts [4]uint64
	for _, w := range workers {
		if w.err != nil {
			return w.err
		}
		judged, read = judged+w.judged, read+w.read
		row.Seconds = max(row.Seconds, w.judged.Seconds())
		for i, n := range w.counts {
			counts[i] += n
		}
	}
	n := float64(v.Sites) * float64(v.Hours) * float64(v.Members) * float64(v.Tasks)
	row.NsPerVerdict, row.NsPerRead = float64(judged)/n, float64(read)/n
	row.RatioToRead = row.NsPerVerdict / row.NsPerRead
	counts[weather.Go] = uint64(n) - counts[weather.Stop] - counts[weather.Unknown] - counts[weather.Caution]
	row.ShareOfStops, row.ShareOfGo, row.ShareOfUnknown = float64(counts[weather.Stop])/n, float64(counts[weather.Go])/n, float64(counts[weather.Unknown])/n
	row.AllocsPerSite = workers[0].allocs
	row.PeakMiB = float64(peakMemory()) / (1 << 20)
	return v.print(o, row)
}

func (v verdictsVerb) print(o out, row verdictsRow) error {
	if v.JSON {
		return o.line(row)
	}
	return o.table(
		[]string{"sites", "hours", "members", "tasks", "seconds", "ns a verdict", "ns a read", "ratio", "allocs a site", "peak MiB", "stop", "go", "unknown"},
		[][]string{{fmt.Sprint(row.Sites), fmt.Sprint(row.Hours), fmt.Sprint(row.Members), fmt.Sprint(row.Tasks), fmt.Sprintf("%.2f", row.Seconds),
			fmt.Sprintf("%.2f", row.NsPerVerdict), fmt.Sprintf("%.2f", row.NsPerRead), fmt.Sprintf("%.2f", row.RatioToRead), fmt.Sprintf("%.0f", row.AllocsPerSite),
			fmt.Sprintf("%.1f", row.PeakMiB), fmt.Sprintf("%.1f%%", 100*row.ShareOfStops), fmt.Sprintf("%.1f%%", 100*row.ShareOfGo), fmt.Sprintf("%.1f%%", 100*row.ShareOfUnknown)}})
}

// mallocCount gives how many times this process allocated.
func mallocCount() uint64 {
	sample := []metrics.Sample{{Name: "/gc/heap/allocs:objects"}}
	metrics.Read(sample)
	return sample[0].Value.Uint64()
}

// judging is one worker's share of the sites.
type judging struct {
	verb         verdictsVerb
	tasks        []weather.Task
	worker       int
	judged, read time.Duration
	counts       [4]uint64
	allocs       float64
	sum          float64 // of what the bare loop read, so that it is not left out
	err          error
}

// variants is how many invented forecasts a worker has; its sites take them in
// turn, each at a place of its own, so that inventing is not what is measured.
const variants = 8

func (j *judging) run(ctx context.Context) {
	v := j.verb
	r := rand.New(rand.NewPCG(v.Seed, uint64(j.worker)))
	grids := make([]weather.Grid, variants)
	for i := range grids {
		invent(&grids[i], r, v.Members, v.Hours)
	}
	marks := make([]weather.Marks, v.Hours)
	limits := weather.DefaultLimits()
	mallocs := mallocCount()
	sites := 0
	for site := j.worker; site < v.Sites && ctx.Err() == nil; site += v.Workers {
		g := &grids[sites%variants]
		sites++
		began := time.Now()
		place := weather.Place{Lat: 50 + 8*r.Float64(), Lon: -5 + 6*r.Float64(), Terrain: weather.Terrain(1 + r.IntN(5)), HeightM: 4 + 8*r.Float64()}
		sieve, err := weather.NewSieve(limits, place, j.tasks, nil)
		if err != nil {
			j.err = err
			return
		}
		sieve.Light(g, time.UTC)
		for m := range v.Members {
			sieve.Member(g, m, marks)
			j.count(marks, sieve.Bright())
		}
		j.judged += time.Since(began)
		began = time.Now()
		for range j.tasks {
			j.sum += readAll(g)
		}
		j.read += time.Since(began)
	}
	if sites > 0 {
		j.allocs = float64(mallocCount()-mallocs) / float64(sites)
	}
	j.err = ctx.Err()
}

// count takes in every verdict of one member: stop before unknown before the
// rest, a byte a task.
func (j *judging) count(marks, bright []weather.Marks) {
	for k, m := range marks {
		m |= bright[k]
		stop, unknown, caution := m.Stops(), m.Unknowns(), m.Cautions()
		unknown &^= stop
		caution &^= stop | unknown
		j.counts[weather.Stop] += uint64(bits.OnesCount64(stop))
		j.counts[weather.Unknown] += uint64(bits.OnesCount64(unknown))
		j.counts[weather.Caution] += uint64(bits.OnesCount64(caution))
	}
}

// readAll only reads the numbers that judging asks for.
func readAll(g *weather.Grid) float64 {
	sum := 0.0
	for _, column := range [][]float64{g.WindMean, g.WindGust, g.Rain, g.Temp, g.DewPoint, g.Humidity, g.Cloud, g.Thunder, g.Radiation} {
		for _, v := range column {
			sum += v
		}
	}
	return sum
}

// invent makes up weather that wanders through all verdicts: synthetic.
func invent(g *weather.Grid, r *rand.Rand, members, hours int) {
	g.From = time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC)
	g.Size(members, hours)
	for m := range members {
		mean, temp, wet := 2+5*r.Float64(), 2+12*r.Float64(), false
		for k := range hours {
			i := m*hours + k
			mean = min(18, max(0, mean+r.NormFloat64()))
			temp = min(34, max(-8, temp+r.NormFloat64()))
			if r.Float64() < 0.15 {
				wet = !wet && r.Float64() < 0.6
			}
			day := max(0, math.Sin(2*math.Pi*(float64(k%24)-6)/24))
			g.WindMean[i], g.WindGust[i], g.Temp[i] = mean, mean*(1.3+0.4*r.Float64()), temp+4*day
			g.Rain[i], g.Thunder[i] = 0, 0
			if wet {
				g.Rain[i] = 2 * r.Float64()
			}
			g.Humidity[i], g.Cloud[i], g.Radiation[i] = 55+45*r.Float64(), 100*r.Float64(), 600*day*r.Float64()
			g.DewPoint[i] = temp - 5*r.Float64()
			if r.IntN(2000) == 0 {
				g.Thunder[i] = 1
			}
			if r.IntN(500) == 0 {
				g.Rain[i] = math.NaN()
			}
		}
	}
}
