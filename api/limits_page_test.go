package api

import (
	"context"
	"strings"
	"testing"

	"github.com/google/uuid"

	"toeboard/weather"
)

// The office changes one limit with a why; the rest stays, the morning is judged
// by it at once, and a limit looser than at the start is called so on the page,
// in the record and in the contract. Who looked at an older version decides
// again, a hole is refused, and the crew reads but does not set.
func TestTheOfficeSetsALimit(t *testing.T) {
	s := newScene(t)
	office, lead := s.by(s.office), s.by(s.lead)
	ask := "/settings/limits?task=panel_carrying&quantity=wind_gust"
	page := office.get(ask).want(200).says("From what weather on do we stop?").says("Nothing here is looser than at the start.").says("what a firm starts with")
	if got := page.page().Find("#f-stop").AttrOr("value", ""); got != "10.28" {
		t.Errorf("the form begins with %q, want the row asked for", got)
	}
	send := func(change map[string]string) answer {
		t.Helper()
		action, form := fieldsOf(t, office.get(ask).page(), "/settings/limits")
		for k, v := range map[string]string{"task": "panel_carrying", "quantity": "wind_gust", "caution": "8", "stop": "12", "source": "our own rule", "mark": "firm", "why": "lighter modules"} {
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
		"no why":             {map[string]string{"why": " "}, "why"},
		"no number":          {map[string]string{"stop": "breezy"}, "stop"},
		"a slip":             {map[string]string{"stop": "120"}, "stop"},
		"caution after stop": {map[string]string{"caution": "13"}, "caution"},
		"no source":          {map[string]string{"source": ""}, "source"},
		"a hole":             {map[string]string{"stop": ""}, "stop"},
		"nothing changes":    {map[string]string{"stop": "10.28", "source": "guidance on work at height: balance is affected above 23 mph; here for the gust"}, "stop"},
	} {
		a := send(c.change).want(422)
		if a.page().Find(".faults a[href='#f-"+c.field+"']").Length() == 0 || a.page().Find("#fault-"+c.field).Length() != 1 {
			t.Errorf("%s: not said at %s: %q", name, c.field, a.page().Find(".faults").Text())
		}
		if got := a.page().Find("#f-why").AttrOr("value", ""); c.field != "why" && got != "lighter modules" {
			t.Errorf("%s: what was typed is lost: %q", name, got)
		}
	}
	if l, err := s.archive.Limits(context.Background(), s.firm); err != nil || l.Version != 1 {
		t.Fatalf("something of that was kept: version %d, %v", l.Version, err)
	}

	if to := send(map[string]string{"stop": "12,0"}).want(303).Header.Get("Location"); to != "/settings/limits?done=looser" {
		t.Errorf("sent to %s", to)
	}
	l, err := s.archive.Limits(context.Background(), s.firm)
	must(t, err)
	row, _ := l.Row(weather.PanelCarrying, weather.WindGust)
	if l.Version != 2 || row.Stop != weather.Is(12) || len(l.Rows) != len(weather.DefaultLimits().Rows) {
		t.Errorf("version %d has %+v", l.Version, row)
	}
	const loose = "gust while carrying modules: stop 12 m/s is looser than the start value 10.28 m/s"
	office.get("/settings/limits").says("Looser than at the start: 1").says(strings.ToUpper(loose[:1]) + loose[1:]).says("Why: lighter modules").says("stop 10.28 m/s becomes 12 m/s").says("Imogen Thackray")

	// The stale form of version 1, and the crew.
	send(map[string]string{"version": "1", "stop": "9"}).want(409)
	lead.get("/settings/limits").want(200).says("Looser than at the start: 1")
	if lead.get("/settings/limits").page().Find("form.stack").Length() != 0 {
		t.Error("a crew lead is offered the form")
	}
	lead.form("/settings/limits", map[string][]string{"key": {uuid.NewString()}}).want(403)

	// The same by the contract.
	var now LimitsInForce
	lead.json("GET", "/limits", nil, nil).want(200).into(&now)
	if now.Version != 2 || len(now.Looser) != 1 || now.Looser[0] != loose || len(now.History) != 1 || now.History[0].Why != "lighter modules" || now.History[0].SetBy != "Imogen Thackray" {
		t.Errorf("in force: version %d, %q, %+v", now.Version, now.Looser, now.History)
	}
	for i, r := range now.Rows {
		if r.Task == "panel_carrying" && r.Quantity == "wind_gust" {
			nine := 9.0
			now.Rows[i].Stop = &nine
		}
	}
	change := map[string]any{"version": now.Version, "why": "tighter again", "rows": now.Rows}
	lead.json("PUT", "/limits", nil, change).refused(forbidden)
	office.json("PUT", "/limits", nil, change).want(200).into(&now)
	if now.Version != 3 || len(now.Looser) != 0 {
		t.Errorf("set by the contract: version %d, looser %q", now.Version, now.Looser)
	}
	office.json("PUT", "/limits", nil, change).refused(conflict) // of version 2
	office.json("PUT", "/limits", nil, map[string]any{"version": 3, "why": "x", "rows": now.Rows[1:]}).refused(invalid)
}

// The job's page shows the sum of its module's wind limit: 1.95 m² allow 11.9
// m/s (weather/panel_test.go), the firm's 10.28 m/s counts.
func TestTheJobShowsWhatItsModuleAllows(t *testing.T) {
	s := newScene(t)
	s.by(s.office).get("/jobs/Q-1").says("How much wind may a module be carried in?").says("1.95 m²").says("the firm's counts").says("two thirds of 2 x 150 N to start or stop a load")
}
