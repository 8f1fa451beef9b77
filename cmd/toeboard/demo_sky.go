package main

import (
	"context"
	"time"

	"toeboard/api"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/composed"
	"toeboard/weather/openmeteo"
)

// skyMembers is how many futures the composed forecast has beside its control.
const skyMembers = 20

// skiesTried is how many composed skies are looked at for one worth showing.
const skiesTried = 1000

// fairSky picks a composed sky in which the first roofs can be worked on the
// first day and bad weather comes after it, so that the demo shows both.
// When no sky of those tried is so, the last one is taken as it is: every
// decision stays true to the sky it has.
func fairSky(sc scenario, now time.Time) uint64 {
	loc, err := sc.firm.Location()
	if err != nil {
		return skiesTried
	}
	for seed := uint64(1); seed < skiesTried; seed++ {
		fair := true
		for _, j := range sc.jobs[:firstRoofs] {
			fair = fair && fairAt(j.Site, sc.firm.Hours, sc.day, now, loc, seed)
		}
		if fair {
			return seed
		}
	}
	return skiesTried
}

// fairAt tells whether a roof has a workable first day and bad weather after
// it.
func fairAt(site schedule.Site, hours civil.Hours, day civil.Date, now time.Time, loc *time.Location, seed uint64) bool {
	all, err := openmeteo.Parse(composed.Body(site.Lat, site.Lon, now, 9, 0, seed), now)
	terrain, terrainErr := weather.ParseTerrain(site.Terrain)
	if err != nil || terrainErr != nil || len(all) == 0 {
		return false
	}
	work := func(h civil.HalfDay) weather.Verdict {
		from, to := hours.Window(h, loc)
		return weather.Judge(all[0], weather.DefaultLimits(), weather.Work{Place: weather.Place{Lat: site.Lat, Lon: site.Lon,
			Terrain: terrain, HeightM: site.WorkingHeightM}, Task: weather.PanelCarrying, From: from, To: to, Loc: loc, Now: now}).Verdict
	}
	return work(day.In(civil.Morning)) == weather.Go && work(day.In(civil.Afternoon)) == weather.Go && worsens(day, work)
}

// worsens tells whether the weather stops at least three of the four half-days
// after day, so that waiting is no use.
func worsens(day civil.Date, work func(civil.HalfDay) weather.Verdict) bool {
	stops := 0
	for h := (day + 1).In(civil.Morning); h <= (day + 2).In(civil.Afternoon); h++ {
		if work(h) == weather.Stop {
			stops++
		}
	}
	return stops >= 3
}

// The demo's made-up weather services.
const (
	keyComposed    = "composed"
	keyComposedRun = "composed-run"
)

// providerOneRun is the name under which answers of the second one are kept.
const providerOneRun = "composed weather, one run (no real forecast)"

// skies puts the made-up weather services in, or with --live the real ones.
func (d *demo) skies(deps *api.Deps) {
	if d.verb.Live {
		d.settings.skies(deps)
		return
	}
	deps.Services = []api.WeatherService{
		{Key: keyComposed, Provider: openmeteo.Composed, Note: "Made up for this demonstration: an ensemble of 21 members, ten days ahead."},
		{Key: keyComposedRun, Provider: providerOneRun, Note: "Made up for this demonstration: one run of the same sky, without members."},
	}
	deps.FirstServices = weather.Services{Version: 1, Order: []string{keyComposed, keyComposedRun}, Together: weather.FirstAnswers}
}

// oneRun is the made-up sky as a service without an ensemble gives it: its last
// member alone, which strays from the others.
type oneRun struct{ all openMeteo }

// Fetch gives the answers in the points' order.
func (o oneRun) Fetch(ctx context.Context, points []weather.Point) ([]api.Fetched, error) {
	answers, err := o.all.Fetch(ctx, points)
	for i := range answers {
		answers[i].Provider, answers[i].Series = providerOneRun, lastRun(answers[i].Series)
	}
	return answers, err
}

// readOneRun reads such an answer, which is kept whole.
func readOneRun(body []byte, fetchedAt time.Time) ([]weather.Series, error) {
	all, err := openmeteo.Parse(body, fetchedAt)
	for i := range all {
		all[i] = lastRun(all[i])
	}
	return all, err
}

func lastRun(s weather.Series) weather.Series {
	s.Provider = providerOneRun
	if n := len(s.Members); n > 0 {
		s.Members = s.Members[n-1:]
	}
	return s
}
