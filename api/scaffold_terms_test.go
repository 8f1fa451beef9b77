package api

import (
	"context"
	"net/url"
	"testing"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// typedTerms gives a scaffold firm's form as the page shows it.
func typedTerms(t *testing.T, page answer, f schedule.ScaffoldFirm) (action string, form url.Values) {
	t.Helper()
	id := f.ID.String()
	action, form = filled(t, page, "/settings/scaffold-firms/"+id, nil)
	for _, k := range schedule.ScaffoldFields {
		form.Set(k.Key+"-"+id, page.page().Find("#f-"+k.Key+"-"+id).AttrOr("value", "none"))
	}
	form.Set("active-"+id, "yes")
	return action, form
}

// The office agrees on other terms: what is wrong is said at its field, half an area
// is refused, who looked at older terms decides again, and the next plan keeps to
// them. Others may not.
func TestTheOfficeAgreesOnTerms(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	firms, err := s.schedule.ScaffoldFirms(context.Background(), s.firm)
	must(t, err)
	f, id := firms[0], firms[0].ID.String()
	page := office.get("/settings/scaffold-firms").want(200).says("What did we agree with our scaffold firms?").says("Goes anywhere.").says("Works from Monday to Friday.")
	action, form := typedTerms(t, page, f)
	for key, c := range map[string]struct{ value, says string }{
		"gangs_per_day": {"0", "from 1 to 50 gangs"},
		"cancel_charge": {"90", "1 working day or more, since a charge for cancelling is given"},
		"reach_km":      {"35", "yard and reach together"},
		"visit_price":   {"cheap", "pounds and pence"},
	} {
		_, bad := typedTerms(t, office.get("/settings/scaffold-firms"), f)
		bad.Set(key+"-"+id, c.value)
		wrong := office.form(action, bad).want(422).says(c.says)
		if at := wrong.page().Find("#f-" + key + "-" + id); at.AttrOr("value", "") != c.value || wrong.page().Find(".faults a").Length() == 0 {
			t.Errorf("%s: the refusal leads nowhere, or what was typed is lost", key)
		}
	}
	_, never := typedTerms(t, office.get("/settings/scaffold-firms"), f)
	never["off-"+id] = []string{"monday", "tuesday", "wednesday", "thursday", "friday"}
	if office.form(action, never).want(422).page().Find(".faults a[href='#f-off-"+id+"']").Length() != 1 {
		t.Error("a firm that never works: the refusal does not lead to the days")
	}
	for key, value := range map[string]string{"reach_km": "35", "yard_lat": "51.6", "yard_lon": "-0.2", "cancel_notice": "4", "cancel_charge": "95.50"} {
		form.Set(key+"-"+id, value)
	}
	form["off-"+id] = []string{"monday"}
	if to := office.form(action, form).want(303).Header.Get("Location"); to != "/settings/scaffold-firms?done=terms" {
		t.Errorf("led to %s", to)
	}
	firms, err = s.schedule.ScaffoldFirms(context.Background(), s.firm)
	must(t, err)
	want := f
	want.DaysOff, want.YardLat, want.YardLon, want.ReachKm, want.CancelNotice, want.CancelCharge = schedule.Monday, 51.6, -0.2, 35, 4, 95_50
	if firms[0] != want {
		t.Errorf("kept %+v, want %+v", firms[0], want)
	}
	office.get("/settings/scaffold-firms").want(200).says("Does not work on Mondays.").says("within 35 km of its yard at 51.6, -0.2").says("within 4 working days costs £95.50")
	_, late := typedTerms(t, page, f) // the page of before
	late.Set("sets-"+id, "7")
	late.Set("key", late.Get("key")+"late")
	office.form(action, late).want(409).says("somebody changed the terms of " + f.Name)
	s.by(s.lead).get("/settings/scaffold-firms").want(403)
	snap, err := s.svc.Snapshot(context.Background(), s.firm, 42)
	must(t, err)
	p, err := schedule.Solve(context.Background(), snap, schedule.Stop{Schedules: 50}, 1)
	must(t, err)
	for _, v := range p.Visits {
		if v.ScaffoldFirm == f.ID && v.First().Date().Weekday() == civil.MustParse("2026-12-07").Weekday() {
			t.Errorf("%s is planned on a Monday", v.Stage)
		}
	}
}

func TestScaffoldTermsThroughTheContract(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	var list ScaffoldFirmList
	office.json("GET", "/scaffold-firms", nil, nil).want(200).into(&list)
	if len(list.ScaffoldFirms) == 0 || list.ScaffoldFirms[0].Terms.Area != nil {
		t.Fatalf("%+v", list)
	}
	f := list.ScaffoldFirms[0]
	path := "/scaffold-firms/" + f.ID.String()
	f.Terms.Area = &ScaffoldArea{YardLat: 51.6, YardLon: -0.2, ReachKm: 35}
	f.Terms.DaysOff, f.Terms.CancelNoticeWorkingDays, f.Terms.CancelChargePence = []ScaffoldTermsDaysOff{"monday", "friday"}, 4, 95_00
	body := map[string]any{"seen": f.Mark, "terms": f.Terms}
	var now ScaffoldFirm
	office.json("PUT", path, nil, body).want(200).into(&now)
	if now.Mark == f.Mark || now.Terms.Area == nil || *now.Terms.Area != *f.Terms.Area || len(now.Terms.DaysOff) != 2 || now.Terms.CancelChargePence != 95_00 {
		t.Errorf("in force: %+v", now)
	}
	office.json("PUT", path, nil, body).want(200) // the same again
	f.Terms.Sets++
	office.json("PUT", path, nil, map[string]any{"seen": f.Mark, "terms": f.Terms}).refused(conflict)
	f.Terms.CancelNoticeWorkingDays = 0
	office.json("PUT", path, nil, map[string]any{"seen": now.Mark, "terms": f.Terms}).refused(invalid)
	s.by(s.lead).json("GET", "/scaffold-firms", nil, nil).refused(forbidden)
	s.by(s.lead).json("PUT", path, nil, body).refused(forbidden)
}
