package api

import (
	"context"
	"maps"
	"net/url"
	"testing"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// filled gives a form's hidden fields with what a person types added.
func filled(t *testing.T, got answer, action string, typed map[string]string) (string, url.Values) {
	t.Helper()
	to, fields := fieldsOf(t, got.page(), action)
	for name, v := range typed {
		fields.Set(name, v)
	}
	return to, fields
}

func (s *scene) jobNow(ref string) *schedule.Job {
	s.t.Helper()
	j, err := s.schedule.Job(context.Background(), s.firm, ref)
	must(s.t, err)
	return &j
}

// A stage is started, then done, on the days that were typed; a form sent twice
// counts once, and a day that has not come is refused with the words typed kept.
func TestTheOfficeTellsProgress(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	page := office.get("/jobs/Q-1").want(200)
	action, fields := filled(t, page, "/progress", map[string]string{"stage": "roof_work", "progress": "done", "stage_on": "2026-12-02"})
	wrong := office.form(action, fields).want(422).says("a day that has come: today is Tuesday 1 December 2026")
	if wrong.page().Find(".faults a[href='#f-stage_on']").Length() != 1 || wrong.page().Find("#f-stage option[selected]").AttrOr("value", "") != "roof_work" {
		t.Error("the refusal does not lead to the day, or the stage chosen is lost")
	}
	for name, bad := range map[string]string{"stage": "plumbing", "progress": "nearly", "stage_on": "today"} {
		_, broken := filled(t, page, "/progress", map[string]string{"stage": "roof_work", "progress": "done", "stage_on": "2026-12-01", name: bad})
		if got := office.form(action, broken).want(422); got.page().Find(".faults a[href='#f-"+name+"']").Length() != 1 {
			t.Errorf("%s %q: the refusal does not lead to the field", name, bad)
		}
	}
	_, fields = filled(t, page, "/progress", map[string]string{"stage": "roof_work", "progress": "started", "stage_on": "2026-11-30"})
	for range 2 {
		if to := office.form(action, fields).want(303).Header.Get("Location"); to != "/jobs/Q-1?done=progress" {
			t.Errorf("sent to %s", to)
		}
	}
	_, fields = filled(t, office.get("/jobs/Q-1"), "/progress", map[string]string{"stage": "roof_work", "progress": "done", "stage_on": "2026-12-01"})
	office.form(action, fields).want(303)
	if st, _ := s.jobNow("Q-1").Stage(schedule.RoofWork); st.State != schedule.StateDone || st.StartedOn != tuesday-1 || st.DoneOn != tuesday {
		t.Errorf("roof work is %+v", st)
	}
	// What stands in the way of a store is said on the page as well.
	_, fields = filled(t, office.get("/jobs/Q-2"), "/progress", map[string]string{"stage": "scaffold_strike", "progress": "done", "stage_on": "2026-12-01"})
	office.form("/jobs/Q-2/progress", fields).want(409).says("mark it erected first")
}

// A crew lead tells of what the published plan gives to their own crew, and of
// nothing else; a crew member tells nothing.
func TestACrewLeadTellsOfTheirOwnWork(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	page := lead.get("/jobs/Q-1").want(200)
	if n := page.page().Find("#f-stage option").Length(); n != 2 { // "choose" and roof work
		t.Errorf("%d choices for the lead of the roof crew", n)
	}
	action, fields := filled(t, page, "/progress", map[string]string{"stage": "first_fix", "progress": "done", "stage_on": "2026-12-01"})
	lead.form(action, fields).want(403)
	_, fields = filled(t, page, "/progress", map[string]string{"stage": "scaffold_strike", "progress": "done", "stage_on": "2026-12-01", "key": "another"})
	lead.form(action, fields).want(403)
	if st, _ := s.jobNow("Q-1").Stage(schedule.FirstFix); st.State != schedule.StatePlanned {
		t.Errorf("first fix is %+v", st)
	}
	_, fields = filled(t, page, "/progress", map[string]string{"stage": "roof_work", "progress": "done", "stage_on": "2026-12-01", "key": "a third"})
	lead.form(action, fields).want(303)
	if st, _ := s.jobNow("Q-1").Stage(schedule.RoofWork); st.State != schedule.StateDone {
		t.Errorf("roof work is %+v", st)
	}
	for name, a := range map[string]*agent{"lead": lead, "mate": s.by(s.mate)} {
		got := a.get("/jobs/Q-1").want(200).page()
		if got.Find("form[action$='/consents'], form[action$='/kit']").Length() != 0 || name == "mate" && got.Find("form[action$='/progress']").Length() != 0 {
			t.Errorf("the %s is shown a form that is not theirs", name)
		}
	}
}

func TestTheOfficeRecordsConsents(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	send := func(status int, typed map[string]string) answer {
		t.Helper()
		action, fields := filled(t, office.get("/jobs/Q-1"), "/consents", typed)
		return office.form(action, fields).want(status)
	}
	with := func(more map[string]string) map[string]string {
		all := map[string]string{"consent": "grid_connection", "consent_state": "applied"}
		maps.Copy(all, more)
		return all
	}
	for field, bad := range map[string]map[string]string{
		"consent":       with(map[string]string{"consent": "royal_assent"}),
		"consent_stage": with(nil), // a new one must say what waits for it
		"consent_state": with(map[string]string{"consent_state": "perhaps", "consent_stage": "commissioning"}),
		"consent_on":    with(map[string]string{"consent_on": "2026-11-30", "consent_stage": "commissioning"}), // expected in the past
	} {
		if got := send(422, bad); got.page().Find(".faults a[href='#f-"+field+"']").Length() != 1 {
			t.Errorf("%v: the refusal does not lead to %s", bad, field)
		}
	}
	send(303, with(map[string]string{"consent_on": "2026-12-14", "consent_stage": "commissioning"}))
	want := schedule.Consent{Kind: schedule.GridConnection, Stage: schedule.Commissioning, State: schedule.ConsentApplied, ExpectedOn: civil.On(2026, 12, 14), GrantedOn: civil.NoDate}
	is := func() {
		t.Helper()
		if got := s.jobNow("Q-1").Consents; len(got) != 1 || got[0] != want {
			t.Errorf("consents are %+v, want %+v", got, want)
		}
	}
	is()
	// Refused: the day on which it was expected must not let the stage be planned.
	send(422, with(map[string]string{"consent_state": "refused", "consent_on": "2026-12-20"}))
	is()
	send(303, with(map[string]string{"consent_state": "refused"}))
	want.State, want.ExpectedOn = schedule.ConsentRefused, civil.NoDate
	is()
	send(422, with(map[string]string{"consent_state": "granted"}))
	send(422, with(map[string]string{"consent_state": "granted", "consent_on": "2026-12-02"})) // not yet
	is()
	send(303, with(map[string]string{"consent_state": "granted", "consent_on": "2026-12-01"}))
	want.State, want.GrantedOn = schedule.ConsentGranted, tuesday
	is()
}

func TestTheOfficeRecordsKit(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	send := func(status int, typed map[string]string) answer {
		t.Helper()
		action, fields := filled(t, office.get("/jobs/Q-1"), "/kit", typed)
		return office.form(action, fields).want(status)
	}
	for field, bad := range map[string]map[string]string{
		"item":      {"item": " ", "quantity": "1", "kit_state": "due", "kit_on": "2026-12-03"},
		"quantity":  {"item": "inverter", "quantity": "one", "kit_state": "due", "kit_on": "2026-12-03"},
		"kit_state": {"item": "inverter", "quantity": "1", "kit_on": "2026-12-03"},
		"kit_on":    {"item": "inverter", "quantity": "1", "kit_state": "arrived", "kit_on": "2026-12-03"}, // not yet
	} {
		if got := send(422, bad); got.page().Find(".faults a[href='#f-"+field+"']").Length() != 1 {
			t.Errorf("%v: the refusal does not lead to %s", bad, field)
		}
	}
	if got := send(422, map[string]string{"item": "inverter", "quantity": "0", "kit_state": "unknown"}); got.page().Find(".faults a[href='#f-quantity']").Length() != 1 {
		t.Error("what the store refuses does not lead to its field")
	}
	send(303, map[string]string{"item": "inverter", "quantity": "1", "kit_state": "due", "kit_on": "2026-12-03"})
	send(303, map[string]string{"item": "inverter", "kit_state": "arrived", "kit_on": "2026-12-01"})
	send(303, map[string]string{"item": "430 W modules", "kit_state": "unknown"}) // it was another firm's pallet
	want := []schedule.Kit{{Item: "430 W modules", Quantity: 10, DueOn: civil.NoDate, ArrivedOn: civil.NoDate},
		{Item: "inverter", Quantity: 1, DueOn: tuesday + 2, ArrivedOn: tuesday}}
	if got := s.jobNow("Q-1").Kit; len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("kit is %+v, want %+v", got, want)
	}
}
