package api

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/google/uuid"

	"toeboard/schedule"
)

// The contract has every rate under its own name with its own bounds: a program
// is told of a value out of bounds by the document, a person by RateFields.
func TestTheContractKnowsEveryRate(t *testing.T) {
	t.Parallel()
	doc, err := openapi3.NewLoader().LoadFromFile("openapi.yaml")
	must(t, err)
	rates := doc.Components.Schemas["Rates"].Value
	if len(rates.Properties) != len(schedule.RateFields) || len(rates.Required) != len(schedule.RateFields) {
		t.Errorf("%d rates in the contract, %d of them required, %d in all", len(rates.Properties), len(rates.Required), len(schedule.RateFields))
	}
	for _, f := range schedule.RateFields {
		most := f.Most
		if f.Unit == schedule.Pounds {
			most *= 100
		}
		p := rates.Properties[f.Key]
		if p == nil || p.Value.Min == nil || p.Value.Max == nil || *p.Value.Min != 0 || *p.Value.Max != most {
			t.Errorf("%s: the contract does not bound it by 0 and %v", f.Key, most)
		}
	}
}

func TestRatesThroughTheContract(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	var in RatesInForce
	office.json("GET", "/rates", nil, nil).want(200).into(&in)
	if in.Version != 1 || len(in.History) != 0 || in.Rates.LateToldPerDayPence != int64(schedule.DefaultRates().LateTold) {
		t.Fatalf("the firm begins with %+v", in)
	}
	ours := in.Rates
	ours.LateToldPerDayPence, ours.RoadFactor = 120_50, 1.25
	body := map[string]any{"version": 1, "rates": ours}
	key := map[string]string{"Idempotency-Key": "rates-1"}
	var now RatesInForce
	office.json("PUT", "/rates", key, body).want(200).into(&now)
	if now.Version != 2 || now.Rates != ours || len(now.History) != 1 || now.History[0].SetBy != "Imogen Thackray" || len(now.History[0].Changes) != 2 {
		t.Errorf("set, they are %+v", now)
	}
	// The same again is one, when its answer is known and when it was lost.
	if got := office.json("PUT", "/rates", key, body).want(200); got.Header.Get("Idempotency-Replayed") != "true" {
		t.Error("the same request was worked twice")
	}
	office.json("PUT", "/rates", nil, body).want(200).into(&now)
	if now.Version != 2 {
		t.Errorf("the same again made version %d", now.Version)
	}
	other := ours
	other.HandoverPence = 1
	p := office.json("PUT", "/rates", nil, map[string]any{"version": 1, "rates": other}).refused(conflict)
	if !strings.Contains(valueOf(p.Detail), "version 2 is in force now") {
		t.Errorf("the refusal is %+v", p)
	}
	// Nothing is half-set: a rate out of bounds, one that is missing, and two that
	// contradict each other are named.
	other.LeastChancePercent = 91
	if p := office.json("PUT", "/rates", nil, map[string]any{"version": 2, "rates": other}).refused(malformed); !strings.Contains(valueOf(p.Detail), "/rates/least_chance_percent") {
		t.Errorf("the refusal is %+v", p)
	}
	var less map[string]any
	text, err := json.Marshal(ours)
	must(t, err)
	must(t, json.Unmarshal(text, &less))
	delete(less, "frozen_days")
	if p := office.json("PUT", "/rates", nil, map[string]any{"version": 2, "rates": less}).refused(malformed); !strings.Contains(valueOf(p.Detail), "/rates/frozen_days") {
		t.Errorf("the refusal is %+v", p)
	}
	other = ours
	other.MovedSoonPence = other.MovedVisitPence - 1
	office.json("PUT", "/rates", nil, map[string]any{"version": 2, "rates": other}).refused(invalid)
	office.json("GET", "/rates", nil, nil).want(200).into(&now)
	if now.Version != 2 || now.Rates != ours {
		t.Errorf("after refusals they are %+v", now)
	}
	s.by(s.lead).json("GET", "/rates", nil, nil).refused(forbidden)
}

func TestDistancesThroughTheContract(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	var in DistancesInForce
	office.json("GET", "/distances", nil, nil).want(200).into(&in)
	if in.Version != 0 || len(in.Legs) != 0 || in.SetAt != nil {
		t.Fatalf("the firm begins with %+v", in)
	}
	leg := func(from, to string, km float64) map[string]any {
		return map[string]any{"from": from, "to": to, "km": km}
	}
	put := func(version int, legs ...any) answer {
		if legs == nil {
			legs = []any{}
		}
		return office.json("PUT", "/distances", nil, map[string]any{"version": version, "legs": legs})
	}
	put(0, leg("Q-1", "Alder", 12.5), leg("Alder", "Q-1", 12.5), leg("Alder", "the yard", 3)).want(200).into(&in)
	if in.Version != 1 || len(in.Legs) != 2 || in.Legs[0] != (Leg{From: "Alder", To: "Q-1", Km: 12.5}) || len(in.UnknownPlaces) != 1 || in.UnknownPlaces[0] != "the yard" {
		t.Errorf("set, they are %+v", in)
	}
	put(0, leg("Alder", "Q-1", 12.5), leg("Alder", "the yard", 3)).want(200).into(&in) // the same again is one
	if in.Version != 1 || valueOf(in.SetBy) != "Imogen Thackray" {
		t.Errorf("the same again: %+v", in)
	}
	put(0, leg("Alder", "Q-1", 13)).refused(conflict)
	for says, legs := range map[string][]any{
		"/legs/1, km":        {leg("Alder", "Q-1", 12), leg("Q-1", "Alder", 13)},
		"/legs/0, to":        {leg("Alder", "Alder", 12)},
		"the names of two p": {leg(" ", "Alder", 12)},
	} {
		if p := put(1, legs...).refused(invalid); !strings.Contains(valueOf(p.Detail), says) {
			t.Errorf("%v: %s, want %q", legs, valueOf(p.Detail), says)
		}
	}
	put(1, leg("Alder", "Q-1", 2001)).refused(malformed)
	snap, err := s.svc.Snapshot(context.Background(), s.firm, planDays)
	must(t, err)
	if len(snap.Travel) != 2 {
		t.Errorf("planning knows %+v", snap.Travel)
	}
	var many []any // more than a small request, and no fault
	for i := range 3000 {
		many = append(many, leg("Alder", fmt.Sprintf("Q-%d", i+1), 5))
	}
	put(1, many...).want(200)
	put(2).want(200).into(&in)
	if in.Version != 3 || len(in.Legs) != 0 {
		t.Errorf("taken away, they are %+v", in)
	}
	s.by(s.lead).json("GET", "/distances", nil, nil).refused(forbidden)
}

func TestPinsThroughTheContract(t *testing.T) {
	s := newScene(t)
	s.setClock(s.clock().Add(time.Minute)) // the plan is older
	office := s.by(s.office)
	wish := map[string]any{"job_ref": "Q-2", "kind": "not_before", "stage": "roof_work", "on": "2026-12-14", "why": "they are away"}
	key := map[string]string{"Idempotency-Key": "pin-1"}
	var pin, again Pin
	office.json("POST", "/pins", key, wish).want(201).into(&pin)
	if pin.JobRef != "Q-2" || pin.Says != "roof work starts not before Mon 14 Dec" || pin.State != PinStateWaits || pin.StateSays == "" || pin.CostPence != nil || pin.Half != nil || pin.Who != nil {
		t.Errorf("the pin is %+v", pin)
	}
	// When the answer was lost, the same is the same pin, and other content is refused.
	_, err := s.db.Owner.Exec(context.Background(), `DELETE FROM idempotency`)
	must(t, err)
	office.json("POST", "/pins", key, wish).want(201).into(&again)
	if again.ID != pin.ID || !again.SetAt.Equal(pin.SetAt) || s.count("pin") != 1 {
		t.Errorf("sent again it is %+v, first %+v", again, pin)
	}
	_, err = s.db.Owner.Exec(context.Background(), `DELETE FROM idempotency`)
	must(t, err)
	wish["on"] = "2026-12-15"
	office.json("POST", "/pins", key, wish).refused(conflict)
	office.json("POST", "/pins", nil, wish).refused(conflict) // pinned already
	s.setClock(s.clock().Add(time.Minute))
	var start Pin
	office.json("POST", "/pins", nil, map[string]any{"job_ref": "Q-1", "kind": "start", "stage": "commissioning", "on": "2026-12-10", "half": "afternoon", "why": "the meter man"}).want(201).into(&start)
	if valueOf(start.Half) != HalfAfternoon || start.On == nil || start.On.String() != "2026-12-10" || valueOf(start.Stage) != StageKindCommissioning {
		t.Errorf("the start is %+v", start)
	}
	var by Pin
	office.json("POST", "/pins", nil, map[string]any{"job_ref": "Q-2", "kind": "not_by", "stage": "roof_work", "who": s.alder.ID, "why": "a feud"}).want(201).into(&by)
	if valueOf(by.Who) != s.alder.ID || by.Says != "roof work is not done by Alder" {
		t.Errorf("the pin on a crew is %+v", by)
	}
	for says, change := range map[string]map[string]any{
		"half":              {"kind": "start", "on": "2026-12-14"},
		"half is":           {"half": "morning"},
		"on is":             {"kind": "by", "who": s.alder.ID, "on": "2026-12-14"},
		"who is":            {"who": s.alder.ID},
		"a roof crew":       {"kind": "by", "who": s.damson.ID},
		"no stage":          {"kind": "stays"},
		"the day that it i": {"kind": "not_after"},
	} {
		body := map[string]any{"job_ref": "Q-1", "kind": "not_before", "stage": "roof_work", "why": "because"}
		if change["kind"] == nil {
			body["on"] = "2026-12-14"
		}
		for k, v := range change {
			body[k] = v
		}
		if p := office.json("POST", "/pins", nil, body).refused(invalid); !strings.Contains(valueOf(p.Detail), says) {
			t.Errorf("%v: %s, want %q", change, valueOf(p.Detail), says)
		}
	}
	office.json("POST", "/pins", nil, map[string]any{"job_ref": "Q-99", "kind": "stays", "why": "x"}).refused(notFound)
	office.json("POST", "/pins", nil, map[string]any{"job_ref": "Q-1", "kind": "stays", "why": ""}).refused(malformed)
	var list PinList
	office.json("GET", "/pins?costs=true", nil, nil).want(200).into(&list)
	if len(list.Pins) != 3 || list.Pins[0].ID != pin.ID || list.Pins[0].CostPence == nil {
		t.Errorf("the list is %+v", list)
	}
	for range 2 { // away is away
		office.json("DELETE", "/pins/"+pin.ID.String()+"?why=back+early", nil, nil).want(204)
	}
	office.json("DELETE", "/pins/"+uuid.NewString(), nil, nil).refused(notFound)
	office.json("GET", "/pins", nil, nil).want(200).into(&list)
	if len(list.Pins) != 2 || s.count("pin_removal") != 1 {
		t.Errorf("left are %+v", list)
	}
	s.by(s.lead).json("GET", "/pins", nil, nil).refused(forbidden)
}

func TestWhatCustomersKnowThroughTheContract(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	var j Job
	for _, told := range []bool{true, true, false} {
		office.json("POST", "/jobs/Q-1/promise", nil, map[string]any{"told": told}).want(200).into(&j)
		if valueOf(j.PromiseTold) != told || s.jobNow("Q-1").PromiseTold != told {
			t.Errorf("told %t, and the job says %v", told, j.PromiseTold)
		}
	}
	confirmed := "/jobs/Q-1/stages/roof_work/confirmation"
	for _, on := range []string{"2026-12-09", "2026-12-10"} { // the newest word counts
		office.json("POST", confirmed, nil, map[string]any{"on": on}).want(200).into(&j)
		if len(j.Confirmed) != 1 || j.Confirmed[0].Stage != StageKindRoofWork || j.Confirmed[0].On.String() != on {
			t.Errorf("confirmed for %s, it is %+v", on, j.Confirmed)
		}
	}
	office.json("POST", confirmed, nil, map[string]any{"on": "2126-12-09"}).refused(invalid)
	office.json("POST", confirmed, nil, map[string]any{}).refused(malformed)
	office.json("POST", "/jobs/Q-1/stages/tea/confirmation", nil, map[string]any{"on": "2026-12-09"}).refused(malformed)
	office.json("POST", "/jobs/Q-99/stages/roof_work/confirmation", nil, map[string]any{"on": "2026-12-09"}).refused(notFound)
	for range 2 {
		j = Job{}
		office.json("DELETE", confirmed, nil, nil).want(200).into(&j)
		if len(j.Confirmed) != 0 {
			t.Errorf("taken back, it is %+v", j.Confirmed)
		}
	}
	office.json("POST", "/jobs/Q-99/promise", nil, map[string]any{"told": true}).refused(notFound)
	s.by(s.lead).json("POST", confirmed, nil, map[string]any{"on": "2026-12-09"}).refused(forbidden)
}
