package main

import (
	"time"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/composed"
	"toeboard/weather/openmeteo"
)

// skyMembers is how many futures the composed forecast has beside its control.
const skyMembers = 20

// skiesTried is how many composed skies are looked at for one worth showing.
const skiesTried = 300

// fairSky picks a composed sky in which the first morning can be worked at the
// firm's yard and bad weather comes within the week, so that the demo shows
// both. When no sky of those tried is so, the last one is taken as it is: every
// decision stays true to the sky it has.
func fairSky(firm schedule.Firm, day civil.Date, now time.Time) uint64 {
	loc, err := firm.Location()
	if err != nil {
		return skiesTried
	}
	for seed := uint64(1); seed < skiesTried; seed++ {
		all, err := openmeteo.Parse(composed.Body(firm.BaseLat, firm.BaseLon, now, 9, 0, seed), now)
		if err != nil || len(all) == 0 {
			continue
		}
		work := func(h civil.HalfDay) weather.Verdict {
			from, to := firm.Hours.Window(h, loc)
			return weather.Judge(all[0], weather.DefaultLimits(), weather.Work{Place: weather.Place{Lat: firm.BaseLat, Lon: firm.BaseLon,
				Terrain: weather.TerrainIII, HeightM: 8.5}, Task: weather.PanelCarrying, From: from, To: to, Loc: loc, Now: now}).Verdict
		}
		afternoon := work(day.In(civil.Afternoon)) // in winter seldom better than caution: dusk is near
		fair := work(day.In(civil.Morning)) == weather.Go && (afternoon == weather.Go || afternoon == weather.Caution)
		if fair && stopsWithin(day, work) {
			return seed
		}
	}
	return skiesTried
}

// stopsWithin tells whether the weather stops at least three half-days of the
// week after day.
func stopsWithin(day civil.Date, work func(civil.HalfDay) weather.Verdict) bool {
	stops := 0
	for h := (day + 1).In(civil.Morning); h < (day + 7).In(civil.Morning); h++ {
		if work(h) == weather.Stop {
			stops++
		}
	}
	return stops >= 3
}
