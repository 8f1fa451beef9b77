package csvhours_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/csvhours"
	"toeboard/weather/mangle"
)

// Two days of a table whose every hour is at a stop for wind, rain, frost and
// thunder at once, damaged in a thousand ways: an error, or no hour of it go.
func TestThousandMangledGalesNeverGo(t *testing.T) {
	t.Parallel()
	var table strings.Builder
	table.WriteString("from,wind_mean [m/s],wind_gust [m/s],rain [mm],temp [C],dew_point [C],humidity [%],thunder [0/1]\n")
	for h := range 48 {
		fmt.Fprintf(&table, "%s,22,35,8.5,-9,-9,99,1\n", fetched.Add(time.Duration(h-20)*time.Hour).Format("2006-01-02T15:04Z07:00"))
	}
	gale := []byte(table.String())
	r := rand.New(rand.NewPCG(2026, 11))
	read, refused := 0, 0
	for range 1000 {
		mangled := mangle.Damage(r, gale)
		s, err := csvhours.Parse(mangled, fetched)
		if err != nil {
			refused++
			continue
		}
		read++
		for _, task := range weather.OutdoorTasks() {
			j := weather.Judge(s, weather.DefaultLimits(), weather.Work{Place: weather.Place{Lat: 53.8, Lon: -1.5, Terrain: weather.TerrainIII, HeightM: 8}, Task: task,
				From: fetched.Add(3 * time.Hour), To: fetched.Add(8 * time.Hour), Loc: time.UTC, Now: fetched})
			if j.Verdict == weather.Go || j.Verdict == weather.Caution {
				t.Errorf("%s in a mangled gale: %s\n%s", task, j.Sentence(), mangled)
			}
		}
	}
	if read < 80 || refused < 100 {
		t.Errorf("%d read, %d refused: the damage shows little", read, refused)
	}
}
