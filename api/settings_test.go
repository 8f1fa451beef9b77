package api

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"
	"github.com/google/uuid"

	"toeboard/schedule"
)

// The office changes a rate and the rest stays; what is wrong is said at its
// field with what was typed kept, and who looked at an older version decides
// again. Others may not.
func TestTheOfficeSetsRates(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	page := office.get("/settings/rates").want(200).says("What do our days cost?")
	action, fields := filled(t, page, "/settings/rates", nil)
	for _, f := range schedule.RateFields {
		fields.Set(f.Key, page.page().Find("#f-"+f.Key).AttrOr("value", "none"))
	}
	fields.Set("late_told_per_day_pence", "-5")
	wrong := office.form(action, fields).want(422)
	if wrong.page().Find(".faults a[href='#f-late_told_per_day_pence']").Length() == 0 || wrong.page().Find("#f-late_told_per_day_pence").AttrOr("value", "") != "-5" {
		t.Error("the refusal does not lead to the rate, or what was typed is lost")
	}
	// What cannot be read is named, all of it, and what is out of bounds as well.
	for _, typed := range []map[string]string{{"late_per_day_pence": "x", "late_told_per_day_pence": "-5", "handover_pence": "1,5"}} {
		_, form := filled(t, office.get("/settings/rates"), "/settings/rates", nil)
		for _, f := range schedule.RateFields {
			form.Set(f.Key, fields.Get(f.Key))
		}
		for key, text := range typed {
			form.Set(key, text)
		}
		page := office.form(action, form).want(422).page()
		for key := range typed {
			if page.Find(".faults a[href='#f-"+key+"']").Length() == 0 {
				t.Errorf("%s is not named in %q", key, page.Find(".faults").Text())
			}
		}
	}
	_, again := filled(t, office.get("/settings/rates"), "/settings/rates", nil)
	fields.Set("key", again.Get("key"))
	fields.Set("late_told_per_day_pence", "120.50")
	if to := office.form(action, fields).want(303).Header.Get("Location"); to != "/settings/rates?done=rates" {
		t.Errorf("sent to %s", to)
	}
	r, err := s.schedule.Rates(context.Background(), s.firm)
	must(t, err)
	want := schedule.DefaultRates()
	want.LateTold = 120_50
	if r.Version != 2 || r.Rates != want {
		t.Errorf("version %d has %+v", r.Version, r.Rates)
	}
	office.get("/settings/rates").want(200).says("late per day once told: £90.00 becomes £120.50")
	_, stale := filled(t, office.get("/settings/rates"), "/settings/rates", nil)
	fields.Set("key", stale.Get("key"))
	fields.Set("version", "1")
	fields.Set("late_told_per_day_pence", "130")
	office.form(action, fields).want(409)
	s.by(s.lead).get("/settings/rates").want(403)
}

// A pin is set, listed with what became of it, and taken away again.
func TestTheOfficePins(t *testing.T) {
	s := newScene(t)
	s.setClock(s.clock().Add(time.Minute)) // the plan is older
	office := s.by(s.office)
	page := office.get("/pins?job=Q-2").want(200).says("Nothing is fixed")
	action, fields := filled(t, page, "/pins", map[string]string{"job": "Q-2", "pin": "not_before", "stage": "commissioning", "on": "2026-12-14", "why": ""})
	wrong := office.form(action, fields).want(422)
	if wrong.page().Find(".faults a[href='#f-why']").Length() == 0 || wrong.page().Find("#f-on").AttrOr("value", "") != "2026-12-14" {
		t.Error("the refusal does not lead to the word why, or the day typed is lost")
	}
	_, fields = filled(t, office.get("/pins"), "/pins", map[string]string{"job": "Q-2", "pin": "not_before", "stage": "commissioning", "on": "2026-12-14", "why": "they are on holiday"})
	office.form(action, fields).want(303)
	listed := office.get("/pins?costs=1").want(200).says("commissioning starts not before Mon 14 Dec").says("they are on holiday").says("1 pin: 0 kept, 1 waits for a new plan.")
	remove, gone := filled(t, listed, "/remove", nil)
	office.form(remove, gone).want(303)
	office.get("/pins").want(200).says("Nothing is fixed")
	s.by(s.lead).get("/pins").want(403)
}

// A pinned stage says so on the board, in a word and a shape of its own, and who
// fixed it and why on the job's page and where it is asked why then; a pin that
// the plan does not keep looks otherwise.
func TestAPinnedStageIsMarkedOnTheBoard(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	marks := func(page answer) (symbols []string) {
		page.page().Find(".only-wide .crews .pin use").Each(func(_ int, u *goquery.Selection) { symbols = append(symbols, u.AttrOr("href", "")) })
		return symbols
	}
	if got := marks(office.get("/?from=2026-12-07").want(200)); len(got) != 0 {
		t.Errorf("nothing is pinned, and the board has %v", got)
	}
	pin := func(on string) Pin {
		var p Pin
		office.json("POST", "/pins", nil, map[string]any{"job_ref": "Q-2", "kind": "not_before", "stage": "roof_work", "on": on, "why": "access only then"}).want(201).into(&p)
		return p
	}
	kept := pin("2026-12-09")
	var plan Plan
	office.json("GET", "/plans/current", nil, nil).want(200).into(&plan)
	for _, v := range plan.Visits { // the scene's plan keeps as many half-days as the stages take
		if v.ReserveHalfDays == nil || *v.ReserveHalfDays != 0 {
			t.Errorf("%s of %s keeps %v half-days for weather", v.Stage, v.JobRef, v.ReserveHalfDays)
		}
	}
	if got := marks(office.get("/?from=2026-12-07").want(200).says("pinned")); !slices.Equal(got, []string{"#s-pin"}) {
		t.Errorf("roof work from Thu 10 Dec, pinned not before Wed 9 Dec, is marked %v", got)
	}
	for _, page := range []string{"/jobs/Q-2", "/why/Q-2/roof_work"} {
		office.get(page).want(200).says("Pinned: roof work starts not before Wed 9 Dec. Set by").says("access only then")
	}
	if crew := s.by(s.mate).get("/jobs/Q-2").want(200); strings.Contains(string(crew.Body), "access only then") {
		t.Error("a crew member reads why somebody of the office pinned")
	}
	office.json("DELETE", "/pins/"+kept.ID.String(), nil, nil).want(204)
	pin("2026-12-11")
	if got := marks(office.get("/?from=2026-12-07").want(200).says("pin not kept")); !slices.Equal(got, []string{"#s-pin-off"}) {
		t.Errorf("roof work from Thu 10 Dec, pinned not before Fri 11 Dec, is marked %v", got)
	}
	office.get("/jobs/Q-2").want(200).says("Pinned, and not kept by this plan: roof work starts not before Fri 11 Dec.")
}

// A stage whose day a person fixed and that finds no place stands first among
// those without one, and is said to be so; others are not.
func TestAPinnedDayThatIsNotKeptStandsFirst(t *testing.T) {
	one, two := uuid.New(), uuid.New()
	d := newDirectory([]schedule.Job{{ID: one, Ref: "Q-1"}, {ID: two, Ref: "Q-2"}}, nil, nil)
	out := []schedule.Unplanned{{Job: one, Stage: schedule.RoofWork, Why: "none."}, {Job: two, Stage: schedule.RoofWork, Why: "none."}, {Job: two, Stage: schedule.FirstFix, Why: "none."}}
	pins := []schedule.Pin{{Job: two, Stage: schedule.FirstFix, Kind: schedule.PinStart}, {Job: one, Stage: schedule.RoofWork, Kind: schedule.PinNotBefore}}
	got := webUnplanned(out, d, pins)
	if got[0].Ref != "Q-2" || got[0].Stage != "first fix" || !got[0].Told || got[1].Ref != "Q-1" || got[1].Told || got[2].Told {
		t.Errorf("%+v", got)
	}
}

// What the customer was told and has confirmed is told on the job's page.
func TestTheOfficeRecordsWhatTheCustomerKnows(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	action, fields := filled(t, office.get("/jobs/Q-1").want(200), "/confirmations", map[string]string{"confirm_stage": "roof_work", "confirm_on": "soon"})
	office.form(action, fields).want(422).says("a day, such as 2026-12-31")
	_, fields = filled(t, office.get("/jobs/Q-1"), "/confirmations", map[string]string{"confirm_stage": "roof_work", "confirm_on": "2026-12-09"})
	office.form(action, fields).want(303)
	office.get("/jobs/Q-1").want(200).says("roof work on Wed 9 Dec")
	j := s.jobNow("Q-1")
	j.PromisedOn, j.PromiseTold = tuesday+20, false
	must(t, s.schedule.SaveJob(context.Background(), s.firm, *j, "office", s.clock()))
	action, fields = filled(t, office.get("/jobs/Q-1").says("the customer was not told yet"), "/promise", nil)
	office.form(action, fields).want(303)
	office.get("/jobs/Q-1").says("and the customer was told")
	if !s.jobNow("Q-1").PromiseTold {
		t.Error("told, and not on record")
	}
}
