package api

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
)

// The crew hears thunder: whoever is there logs it by one press, without script,
// and by the contract; the page and the decision say from when the roof is open
// again, a second thunder starts the half-hour again, and when it is over the
// decision stands on the forecast as before. (30 minutes after the last thunder:
// guidance of national weather services.)
func TestThunderIsLoggedOnTheMorningPage(t *testing.T) {
	s := newScene(t)
	mate, lead := s.by(s.mate), s.by(s.lead)
	page := morningHref(s.alder.ID, tuesday)
	press := func(a *agent, fields ...string) answer {
		t.Helper()
		to, form := fieldsOf(t, a.get(page).want(200).page(), "/sky")
		for i := 0; i < len(fields); i += 2 {
			form.Set(fields[i], fields[i+1])
		}
		return a.form(to, form)
	}
	if n := mate.get(page).page().Find("#thunder").Length(); n != 0 {
		t.Error("the clock runs before anybody heard anything")
	}
	before := s.decisionOf(lead).condition("B10")

	press(mate, "sky", "thunder", "sky_at", "07:12").want(303)
	mate.get(page).says("Roof again from 07:42 at the earliest.").says("Thunder heard at 07:12 by Dele Ashworth.")
	d := s.decisionOf(lead)
	if c := d.condition("B10"); c.State != ConditionStateNotMet || !strings.Contains(c.Value, "roof again from 07:42 at the earliest") {
		t.Errorf("%s", c.Sentence)
	}
	if want := time.Date(2026, 12, 1, 7, 42, 0, 0, time.UTC); d.RoofAgainFrom == nil || !d.RoofAgainFrom.Equal(want) {
		t.Errorf("roof again from %v", d.RoofAgainFrom)
	}

	s.setClock(benchStart.Add(20 * time.Minute)) // 07:35
	var got SkyRecorded
	key := map[string]string{"Idempotency-Key": uuid.NewString()}
	lead.json("POST", "/sky-reports", key, map[string]any{"job_ref": "Q-1", "what": "lightning"}).want(201).into(&got)
	lead.json("POST", "/sky-reports", key, map[string]any{"job_ref": "Q-1", "what": "lightning"}).want(201) // a retry is no second flash
	if got.RoofAgainFrom == nil || got.RoofAgainFrom.Format("15:04") != "08:05" {
		t.Errorf("recorded %+v", got)
	}
	s.setClock(benchStart.Add(49 * time.Minute)) // 08:04
	lead.get(page).says("Roof again from 08:05 at the earliest.").says("Lightning seen at 07:35 by Rhodri Pask.")
	s.setClock(benchStart.Add(50 * time.Minute)) // 08:05
	if lead.get(page).page().Find("#thunder").Length() != 0 {
		t.Error("the clock still runs half an hour after the last flash")
	}
	lead.get(page).says("Lightning seen at 07:35 by Rhodri Pask, over 30 minutes ago. The forecast still counts.")
	if c := s.decisionOf(lead).condition("B10"); c.State != before.State {
		t.Errorf("after the storm: %s; before: %s", c.Sentence, before.Sentence)
	}

	// What cannot be: nothing is logged, and the page says what would be right.
	for typed, says := range map[string]string{"noon": "a time of today as 10:12", "09:00": "a time that has passed, by 08:05"} {
		a := press(mate, "sky", "thunder", "sky_at", typed).want(422)
		if got := a.page().Find("#fault-sky_at").Text(); !strings.Contains(got, says) {
			t.Errorf("%q: %q", typed, got)
		}
	}
	lead.json("POST", "/sky-reports", nil, map[string]any{"job_ref": "Q-1", "what": "thunder", "at": "2026-12-01T09:00:00Z"}).refused(invalid)
	lead.json("POST", "/sky-reports", nil, map[string]any{"job_ref": "Q-1", "what": "thunder", "gust_ms": 3}).refused(invalid)
	lead.json("POST", "/sky-reports", nil, map[string]any{"job_ref": "Q-99", "what": "thunder"}).refused(notFound)
	if lead.get(page).page().Find("#thunder").Length() != 0 {
		t.Error("something of that was logged")
	}
}

// A gust read on site by itself stops the work at the limit, and a lower one
// takes that back only for as long as no warning or forecast says stop.
func TestAGustIsReadWithoutABriefing(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	page := morningHref(s.alder.ID, tuesday)
	read := func(gust string) answer {
		return lead.form(page+"/sky?job=Q-1", url.Values{"key": {uuid.NewString()}, "sky": {"gust"}, "sky_gust": {gust}})
	}
	read("14,5").want(303)
	if c := s.decisionOf(lead).condition("B10"); c.State != ConditionStateNotMet || !strings.Contains(c.Value, "gust of 14.5 m/s read on site at 07:15") {
		t.Errorf("%s", c.Sentence)
	}
	lead.get(page).says("gust of 14.5 m/s (32 mph) read on site") // 14.5 / 0.44704 = 32.4 mph
	s.setClock(benchStart.Add(time.Minute))
	read("4").want(303)
	if c := s.decisionOf(lead).condition("B10"); strings.Contains(c.Value, "14.5") {
		t.Errorf("after 4 m/s were read: %s", c.Sentence)
	}
	s.forecasts(storm)
	if c := s.decisionOf(lead).condition("B10"); c.State != ConditionStateNotMet {
		t.Errorf("4 m/s read, a storm forecast: %s", c.Sentence)
	}
	for _, typed := range []string{"", "breezy", "-1", "120"} {
		if got := read(typed).want(422).page().Find("#fault-sky_gust").Text(); !strings.Contains(got, "number of m/s") {
			t.Errorf("%q: %q", typed, got)
		}
	}
}
