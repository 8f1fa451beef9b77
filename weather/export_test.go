package weather

import (
	"time"

	"toeboard/weather/civil"
)

// ProfileOver is the wind profile over any roughness length, for comparison
// with values that others computed.
var ProfileOver = profileOver

// WorkableIn tells which windows of an hourly record a task could have run in,
// in suburbs at the climate's working height, judged as CountClimate does.
func WorkableIn(record Member, task Task, windows [][2]time.Time) []bool {
	rs, err := rulesFor(DefaultLimits(), Place{Terrain: TerrainIII, HeightM: climateHeightM}, task, nil)
	if err != nil {
		panic(err)
	}
	record = withLikelyGusts(record)
	out := make([]bool, len(windows))
	for i, w := range windows {
		v := rs.passes(&record, w[0], w[1])
		out[i] = v == Go || v == Caution
	}
	return out
}

// On gives the ranks of a day.
func (d *Draws) On(day civil.Date) []float64 { return d.on(day) }
