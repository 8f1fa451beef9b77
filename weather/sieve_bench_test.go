package weather_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"toeboard/weather"
)

// BenchmarkSieve judges 240 hours of one member for eight tasks.
func BenchmarkSieve(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	var g weather.Grid
	g.From = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	g.Size(50, 240)
	for i := range g.Rain {
		g.WindMean[i], g.WindGust[i], g.Rain[i], g.Temp[i], g.Humidity[i] = 8*r.Float64(), 14*r.Float64(), max(0, 3*r.Float64()-2.5), 16*r.Float64(), 60+40*r.Float64()
		g.Cloud[i], g.DewPoint[i], g.Thunder[i], g.Radiation[i] = 100*r.Float64(), 8*r.Float64(), 0, 300*r.Float64()
	}
	sieve, err := weather.NewSieve(weather.DefaultLimits(), weather.Place{Lat: 53.8, Lon: -1.5, Terrain: weather.TerrainIII, HeightM: 7}, weather.OutdoorTasks(), nil)
	if err != nil {
		b.Fatal(err)
	}
	sieve.Light(&g, time.UTC)
	marks := make([]weather.Marks, g.Hours)
	for i := range b.N {
		sieve.Member(&g, i%g.Members, marks)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/240/8, "ns/verdict")
}
