package api

import (
	"strings"
	"testing"
	"time"
)

// Two forecasts by hand: on Tuesday both days looked calm, on Wednesday evening
// the hours that had passed were a storm. So four chances at each of two sites,
// two on the day and two a day ahead, all of half-days that did not run; page,
// contract and what the plan rests on say the same.
func TestTheRecordOfForecasts(t *testing.T) {
	s := newScene(t) // reads a calm forecast on Tuesday at 06:55
	office := s.by(s.office)
	page := office.get("/weather/record").want(200).says("Can we rely on our forecasts?").says("2 forecasts of 2 sites are kept, from 1 Dec 2026 to 1 Dec 2026.").says("Nothing was learnt yet").says("Amsterdam's typical year")
	action, fields := fieldsOf(t, page.page(), "/weather/record")
	if to := office.form(action, fields).want(303).Header.Get("Location"); to != "/weather/record?done=nothing" {
		t.Errorf("with nothing to learn from: %s", to)
	}
	s.setClock(benchStart.Add(37 * time.Hour)) // Wednesday, 20:15
	s.forecasts(storm)
	action, fields = fieldsOf(t, s.by(s.office).get("/weather/record").page(), "/weather/record")
	office = s.by(s.office)
	if to := office.form(action, fields).want(303).Header.Get("Location"); to != "/weather/record?done=learnt" {
		t.Errorf("sent to %s", to)
	}
	page = office.get("/weather/record").says("From 8 chances for working half-days at 2 sites, given by 4 forecasts fetched since 3 Oct 2026").says("by Imogen Thackray, version 1")
	page.says("The weather never varied in that time").says("The same day").says("One day ahead").says("ran 0 % (90 % interval 0 % to 40 %)") // Wilson 1927, 0 of 4: 2.7055 / (4 + 2.7055) = 40.3 %
	if n := page.page().Find(".reliability svg[role=img]").Length(); n != 2 {
		t.Errorf("%d diagrams, want one for each lead day", n)
	}

	var r WeatherRecord
	office.json("GET", "/weather-record", nil, nil).want(200).into(&r)
	if r.ForecastsKept != 4 || r.Version != 1 || len(r.Leads) != 2 || r.All == nil || r.All.N != 8 || *r.ForecastsRead != 4 || r.ClimateTask != "roof_covering" {
		t.Fatalf("%+v", r)
	}
	for i, l := range r.Leads {
		if l.Days != i || l.Score.N != 4 || l.Score.Uncertainty != 0 || l.Score.Skill != nil || len(l.Bins) != 1 || l.Bins[0].Ran != 0 || l.Bins[0].N != 4 {
			t.Errorf("lead day %d: %+v", i, l)
		}
		if p := l.Bins[0].Said; l.Score.Brier < p*p-1e-9 || l.Keep >= 1 { // all chances of a day are alike, and wrong
			t.Errorf("lead day %d: Brier %v of a chance %v, kept %v", i, l.Score.Brier, p, l.Keep)
		}
	}
	if _, learnt, err := s.svc.experience(t.Context(), s.firm); err != nil || learnt.Keep[1] != r.Leads[1].Keep {
		t.Errorf("the plan rests on %v, the page says %v (%v)", learnt.Keep, r.Leads[1].Keep, err)
	}

	// The climate of another task and terrain; one that is none is refused.
	all, none := 0, 0
	office.json("GET", "/weather-record?task=scaffold_erection&terrain=II", nil, nil).want(200).into(&r)
	for _, row := range r.Climate {
		all, none = all+row.HalfDays, none+row.HalfDays-row.Workable
	}
	if len(r.Climate) != 24 || all < 700 || none == 0 || r.ClimateTerrain != "II" { // a year has 730 half-days
		t.Errorf("%d rows of climate, %d half-days, %d not workable", len(r.Climate), all, none)
	}
	if got := office.get("/weather/record?task=scaffold_erection&terrain=II").page().Find("#f-task option[selected]").Text(); got != "erecting scaffold" {
		t.Errorf("shown is %q", got)
	}
	office.get("/weather/record?task=indoors").want(422)
	office.get("/weather/record?task=dancing").want(422)
	s.by(s.lead).get("/weather/record").want(403)
	if strings.Contains(office.get("/weather/record").page().Text(), "NaN") {
		t.Error("a number that is none is shown")
	}
}
