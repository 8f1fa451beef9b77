package api

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/archive"
	"toeboard/weather/civil"
)

// What the sky allows at a roof, by the contract: a calm day is one window, a
// storm has none and says why, another firm's job and one that is none are not
// there, and without a forecast nothing is known.
func TestTheRoofsWeatherThroughTheContract(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	var w RoofWeather
	lead.json("GET", "/jobs/Q-1/weather", nil, nil).want(200).into(&w)
	if w.Verdict != "go" && w.Verdict != "caution" || len(w.Windows) != 1 || !w.Windows[0].From.Equal(w.From) || !w.Windows[0].To.Equal(w.To) || w.OffBy != nil || w.Hours != nil {
		t.Errorf("a calm day: %+v", w)
	}
	if w.From.Format("2006-01-02 15:04") != "2026-12-01 08:00" || w.Carrying == nil || !strings.Contains(*w.Carrying, "1.95 m²") {
		t.Errorf("from %s, carrying %v", w.From, w.Carrying)
	}
	s.forecasts(storm)
	lead.json("GET", "/jobs/Q-1/weather?day=2026-12-02", nil, nil).want(200).into(&w)
	if w.Verdict != "stop" || len(w.Windows) != 0 || w.Hours == nil || *w.Hours != "No hour of it is workable." || len(w.Spells) != 1 || w.Spells[0].Verdict != "stop" || w.Reasons[0].Margin == nil || *w.Reasons[0].Margin >= 0 {
		t.Errorf("a storm: %+v", w)
	}
	lead.json("GET", "/jobs/Q-1/weather?day=2027-01-20", nil, nil).want(200).into(&w)
	if w.Verdict != "unknown" || len(w.Windows) != 0 {
		t.Errorf("beyond the forecast: %+v", w)
	}
	lead.json("GET", "/jobs/Q-99/weather", nil, nil).refused(notFound)
	lead.json("GET", "/jobs/Q-1/weather?day=soon", nil, nil).refused(invalid)
}

// A forecast that was fetched after midnight and knows nothing of yesterday is
// judged with what an earlier one knew of it.
func TestYesterdayIsReadFromAnEarlierForecast(t *testing.T) {
	s := newScene(t) // whose forecast of 06:55 reaches 48 hours back
	ctx := t.Context()
	begins := benchStart.Truncate(24 * time.Hour)
	body, err := json.Marshal("from midnight")
	must(t, err)
	s.svc.parse["Midnight"] = func(_ []byte, fetchedAt time.Time) (list []weather.Series, err error) {
		list, err = readSky([]byte(`"calm"`), fetchedAt)
		hours := list[0].Members[0].Hours
		for !hours[0].From.Equal(begins) {
			hours = hours[1:]
		}
		list[0].Members[0].Hours = hours
		return list, err
	}
	must(t, s.archive.Save(ctx, s.firm, archive.Answer{Site: s.q1.Site.ID, Provider: "Midnight", FetchedAt: benchStart.Add(-10 * time.Minute), From: begins, To: begins.Add(48 * time.Hour), Body: body}))
	alone, err := s.svc.forecastOf(ctx, s.firm, s.q1.Site.ID)
	must(t, err)
	with, err := s.svc.forecastWithPast(ctx, s.firm, s.q1.Site.ID)
	must(t, err)
	if a, w := alone.Members[0].Hours[0].From, with.Members[0].Hours[0].From; !a.Equal(begins) || w.After(begins.Add(-24*time.Hour)) {
		t.Errorf("alone from %s, with the past from %s", a, w)
	}
}

// Which way a roof face looks is asked until the survey says, then the judgement
// has low sun ahead as a caution, on the page too, and it travels in the jobs
// file.
func TestWhereTheRoofLooksIsAskedAndThenJudged(t *testing.T) {
	s := newScene(t)
	lead, office := s.by(s.lead), s.by(s.office)
	s.svc.parse[testProvider] = func(body []byte, fetchedAt time.Time) ([]weather.Series, error) {
		list, err := readSky(body, fetchedAt)
		for i := range list[0].Members[0].Hours {
			list[0].Members[0].Hours[i].Cloud = weather.Is(40) // the sun comes through
		}
		return list, err
	}
	const want = "Which way the roof face looks is not known, so low sun in the crew's eyes is not told."
	low := func(w RoofWeather) (n int) {
		for _, r := range w.Reasons {
			if r.Quantity == "low_sun" {
				n++
			}
		}
		return n
	}
	var w RoofWeather
	lead.json("GET", "/jobs/Q-1/weather", nil, nil).want(200).into(&w)
	if w.Asks == nil || len(*w.Asks) != 1 || (*w.Asks)[0] != want || w.RoofFacesDeg != nil || low(w) != 0 {
		t.Errorf("not known: %v, %v, %v", w.Asks, w.RoofFacesDeg, w.Reasons)
	}
	lead.get("/jobs/Q-1").want(200).says("Which way the roof face looks is not known")
	lead.json("POST", "/jobs/Q-1/survey-answers", nil, map[string]any{"answers": map[string]any{"roof_faces_deg": 400}}).refused(invalid)
	lead.json("POST", "/jobs/Q-1/survey-answers", nil, map[string]any{"answers": map[string]any{"roof_faces_deg": 170}}).want(201)
	w = RoofWeather{}
	lead.json("GET", "/jobs/Q-1/weather", nil, nil).want(200).into(&w)
	if w.Asks != nil || w.RoofFacesDeg == nil || *w.RoofFacesDeg != 170 || low(w) != 1 || w.Verdict == "stop" || w.Verdict == "unknown" {
		t.Errorf("face to the south: asks %v, %v, %s, %v", w.Asks, w.RoofFacesDeg, w.Verdict, w.Reasons)
	}
	page := lead.get("/jobs/Q-1").want(200).says("its face to the south (170° from north)")
	if strings.Contains(string(page.Body), "Which way the roof face looks is not known") {
		t.Error("the job page asks for what is known")
	}
	if csv := office.get("/export/jobs.csv").want(200).Body; !strings.Contains(string(csv), "survey roof_faces_deg") {
		t.Errorf("not in the jobs file: %.300s", csv)
	}
}

// A firm that lets the worse of two services count is stopped by either; one
// that fell silent hours ago no longer counts, and the page names both and
// credits both.
func TestTheWorseOfTwoServicesStopsTheRoof(t *testing.T) {
	s := newScene(t)
	ctx := t.Context()
	second := func(word sky, at time.Time) {
		body, err := json.Marshal(word)
		must(t, err)
		must(t, s.archive.Save(ctx, s.firm, archive.Answer{Site: s.q1.Site.ID, Provider: "MET Norway", FetchedAt: at, From: at.Add(-48 * time.Hour), To: at.Add(48 * time.Hour), Body: body}))
	}
	s.svc.parse["MET Norway"] = func(body []byte, fetchedAt time.Time) ([]weather.Series, error) {
		list, err := readSky(body, fetchedAt)
		list[0].Provider = "MET Norway"
		return list, err
	}
	sky := func() (w RoofWeather) {
		s.by(s.lead).json("GET", "/jobs/Q-1/weather", nil, nil).want(200).into(&w)
		return w
	}
	s.offers()
	s.setServices(1, "worst", "test", "met-norway")
	if w := sky(); w.Verdict != "go" && w.Verdict != "caution" || w.Provider != testProvider {
		t.Errorf("one service answered: %s by %s", w.Sentence, w.Provider)
	}
	second(storm, s.clock().Add(-10*time.Minute))
	if w := sky(); w.Verdict != "stop" || !strings.Contains(w.Sentence, "(by MET Norway)") || w.Provider != testProvider+", and MET Norway where it is worse" ||
		w.Attribution == nil || !strings.Contains(*w.Attribution, "Weather data by MET Norway (CC BY 4.0)") {
		t.Errorf("a storm by the second: %s by %s", w.Sentence, w.Provider)
	}
	s.by(s.lead).get("/jobs/Q-1").want(200).says("MET Norway where it is worse")
	snap, futures, err := s.svc.SnapshotWithFutures(ctx, s.firm, 10)
	must(t, err)
	for _, l := range snap.Outlooks {
		if l.Site == s.q1.Site.ID && l.Task == weather.PanelCarrying && (!l.Chances[2].Known || l.Chances[2].P > 0.2) {
			t.Errorf("tomorrow's chance: %+v", l.Chances[2])
		}
	}
	for _, row := range futures.Rows {
		passes := 0
		for f := range futures.N {
			if row.Passing.In(snap.FirstDay.In(civil.Morning)+2, f) {
				passes++
			}
		}
		if row.Site == s.q1.Site.ID && row.Task == weather.PanelCarrying && passes > futures.N/5 {
			t.Errorf("tomorrow passes in %d of %d futures", passes, futures.N)
		}
	}
	s.setServices(2, "worst", "met-norway", "test")
	second(calm, s.clock().Add(-5*time.Minute))
	s.forecasts(storm)
	if w := sky(); w.Verdict != "stop" || !strings.HasPrefix(w.Provider, "MET Norway, and") {
		t.Errorf("a storm by the other, which is second now: %s by %s", w.Sentence, w.Provider)
	}
	s.setClock(s.clock().Add(4 * time.Hour))
	second(calm, s.clock())
	if w := sky(); w.Verdict == "stop" || w.Provider != "MET Norway" {
		t.Errorf("the other fell silent four hours ago: %s by %s", w.Sentence, w.Provider)
	}

	// The first of the firm's order that answered in the last three hours counts
	// alone; one that the firm does not name counts never.
	s.forecasts(storm)
	for version, c := range []struct {
		order   []string
		verdict SkyVerdict
	}{{[]string{"test", "met-norway"}, "stop"}, {[]string{"met-norway", "test"}, "go"}, {[]string{"met-norway"}, "go"}, {[]string{"test"}, "stop"}} {
		s.setServices(version+3, "first", c.order...)
		if w := sky(); (w.Verdict == "stop") != (c.verdict == "stop") || w.Verdict == "unknown" || strings.Contains(w.Provider, " and ") {
			t.Errorf("asked in the order %v: %s by %s", c.order, w.Sentence, w.Provider)
		}
	}
	s.setClock(s.clock().Add(4 * time.Hour))
	second(calm, s.clock())
	s.setServices(7, "first", "test", "met-norway")
	if w := sky(); w.Provider != "MET Norway" {
		t.Errorf("the first fell silent, and it counts still: %s by %s", w.Sentence, w.Provider)
	}
}

// offers has the service offer two weather services that can be asked and one
// that cannot, of which a firm begins with the first.
func (s *scene) offers() {
	s.svc.offered = []WeatherService{{Key: "test", Provider: testProvider}, {Key: "met-norway", Provider: "MET Norway", Note: "One run."}, {Key: "shut", Provider: "Shut", Closed: "It has no address."}}
	s.svc.firstServices = weather.Services{Order: []string{"test"}, Together: weather.FirstAnswers}
}

// setServices sets which weather services count, as the office does.
func (s *scene) setServices(version int, together string, order ...string) {
	s.t.Helper()
	s.by(s.office).json("PUT", "/weather-services", nil, map[string]any{"version": version, "why": "a test", "order": order, "together": together}).want(200)
}

// The office sets which weather services count, on the page and by the contract,
// with a why; it is asked for by that from then on. What is wrong is said at its
// field and nothing is kept; the crew reads and does not set; a neighbour has its
// own.
func TestTheFirmSetsItsWeatherServices(t *testing.T) {
	s := newScene(t)
	s.offers()
	office, lead := s.by(s.office), s.by(s.lead)
	const path = "/settings/services"
	page := office.get(path).want(200).says("Whose forecasts count?").says("what a firm starts with").says("Every roof is judged by " + testProvider + " alone").says("Cannot be asked here: It has no address.").says("kept for 2 sites")
	if n := page.page().Find("select[name=service2] option").Length(); n != 3 {
		t.Errorf("second may be one of %d, want nobody and the two that can be asked", n)
	}
	send := func(change map[string]string) answer {
		t.Helper()
		action, form := fieldsOf(t, office.get(path).page(), path)
		for k, v := range map[string]string{"service1": "met-norway", "service2": "test", "together": "worst", "why": "it knows our gusts"} {
			form.Set(k, v)
		}
		for k, v := range change {
			form.Set(k, v)
		}
		return office.form(action, form)
	}
	for name, c := range map[string]struct {
		change map[string]string
		field  string
	}{
		"no why":           {map[string]string{"why": " "}, "why"},
		"twice the same":   {map[string]string{"service2": "met-norway"}, "service1"},
		"nobody":           {map[string]string{"service1": "", "service2": ""}, "service1"},
		"worst of one":     {map[string]string{"service2": ""}, "together"},
		"an average":       {map[string]string{"together": "average"}, "together"},
		"one that is not":  {map[string]string{"service1": "oracle"}, "service1"},
		"one that is shut": {map[string]string{"service1": "shut"}, "service1"},
		"nothing changes":  {map[string]string{"service1": "test", "service2": "", "together": "first"}, "service1"},
	} {
		a := send(c.change).want(422)
		if a.page().Find(".faults a[href='#f-"+c.field+"']").Length() == 0 || a.page().Find("#fault-"+c.field).Length() != 1 {
			t.Errorf("%s: not said at %s: %q", name, c.field, a.page().Find(".faults").Text())
		}
		if got := a.page().Find("#f-why").AttrOr("value", ""); c.field != "why" && got != "it knows our gusts" {
			t.Errorf("%s: what was typed is lost: %q", name, got)
		}
	}
	if to := send(nil).want(303).Header.Get("Location"); to != path+"?done=services" {
		t.Errorf("sent to %s", to)
	}
	office.get(path).says("Every roof is judged by MET Norway; " + testProvider + " can only make it worse").says("Why: it knows our gusts").says("Imogen Thackray").says("Asked: " + testProvider + " becomes MET Norway, then " + testProvider)
	send(map[string]string{"version": "1", "together": "first"}).want(409)

	// What is asked at the next reading.
	first, second := &fetcher{now: s.clock()}, &fetcher{now: s.clock()}
	if n, err := s.svc.RefreshForecasts(t.Context(), s.firm, Sources{{"test", first}, {"met-norway", second}}); err != nil || n != 4 || len(first.asked) != 1 || len(second.asked) != 1 {
		t.Errorf("kept %d, %v; asked %v and %v", n, err, first.asked, second.asked)
	}
	if _, err := s.svc.RefreshForecasts(t.Context(), s.firm, Sources{{"another", first}}); err == nil || !strings.Contains(err.Error(), "met-norway, test") {
		t.Errorf("none of them can be asked: %v", err)
	}

	// The crew, the contract, and the neighbour.
	if lead.get(path).want(200).page().Find("form.stack").Length() != 0 {
		t.Error("a crew lead is offered the form")
	}
	var now WeatherServicesInForce
	lead.json("GET", "/weather-services", nil, nil).want(200).into(&now)
	if now.Version != 2 || now.Together != "worst" || len(now.Services) != 3 || now.Services[2].Closed == nil || now.Services[0].LastAnswered == nil || now.Services[1].LastAnswered != nil ||
		len(now.History) != 1 || now.History[0].Why != "it knows our gusts" || now.History[0].SetBy != "Imogen Thackray" {
		t.Errorf("in force: %+v", now)
	}
	change := map[string]any{"version": 2, "why": "x", "order": []string{"test"}, "together": "first"}
	lead.json("PUT", "/weather-services", nil, change).refused(forbidden)
	office.json("PUT", "/weather-services", nil, map[string]any{"version": 2, "why": "x", "order": []string{"shut"}, "together": "first"}).refused(invalid)
	office.json("PUT", "/weather-services", nil, change).want(200).into(&now)
	if now.Version != 3 || len(now.Order) != 1 {
		t.Errorf("set by the contract: %+v", now)
	}
	office.json("PUT", "/weather-services", nil, change).refused(conflict)
	if use, err := s.svc.Services(t.Context(), s.addFirm("Neighbour")); err != nil || use.Version != 1 || use.Order[0] != "test" {
		t.Errorf("the neighbour begins with %+v, %v", use, err)
	}
}

// What the survey says of the wind at a roof's edges multiplies it, mean and
// gust: 1.5 times 2 m/s. A number that is none is refused by name.
func TestTheWindAtTheRoofsEdgesIsTheSurveys(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	wind := func() (mean, gust float64) {
		var w RoofWeather
		lead.json("GET", "/jobs/Q-1/weather", nil, nil).want(200).into(&w)
		for _, r := range w.Reasons {
			switch {
			case r.Value == nil:
			case r.Quantity == "wind_mean":
				mean = *r.Value
			case r.Quantity == "wind_gust":
				gust = *r.Value
			}
		}
		return mean, gust
	}
	mean, gust := wind()
	half := lead.json("POST", "/jobs/Q-1/survey-answers", nil, map[string]any{"answers": map[string]any{"edge_wind": 0.5}})
	if half.refused(invalid); !strings.Contains(string(half.Body), "1 to 3") {
		t.Errorf("half the wind: %s", half.Body)
	}
	lead.json("POST", "/jobs/Q-1/survey-answers", nil, map[string]any{"answers": map[string]any{"edge_wind": 1.5}}).want(201)
	stronger, gustier := wind()
	if mean <= 0 || math.Abs(stronger-1.5*mean) > 1e-9 || math.Abs(gustier-1.5*gust) > 1e-9 {
		t.Errorf("%v and %v m/s became %v and %v", mean, gust, stronger, gustier)
	}
	lead.get("/jobs/Q-1").want(200).says("wind at its edges taken 1.5 times")
}
