package api

import (
	"context"
	"strings"
	"sync"
	"testing"

	"github.com/google/uuid"

	"toeboard/schedule"
)

// The office asks why, on a page and by the contract; a crew lead may not, since
// the answer is money.
func TestWhyThen(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	page := office.get("/why/Q-2/roof_work").want(200).says("Why then, and why by them?").says("Q-2").says("published plan 1").says("Why not sooner?")
	if page.page().Find("a[href='/why/Q-2/scaffold_erection']").Length() != 1 {
		t.Error("the page does not lead to the job's other stages")
	}
	page.says("needs 5 working days' notice to erect")
	// A stage without a place says what stands against it.
	office.get("/why/Q-2/roof-work").want(200).says("Why then, and why by them?")
	office.get("/why/Q-2/commissioning").want(200).says("Why has it no place?")
	office.get("/why/Q-2/sunbathing").want(404)
	office.get("/why/Q-99/roof_work").want(404)
	s.by(s.lead).get("/why/Q-2/roof_work").want(403)

	var x Explanation
	office.json("GET", "/jobs/Q-2/stages/roof_work/explanation", nil, nil).want(200).into(&x)
	if x.PlanID != s.plan.ID || x.Visit == nil || len(x.Sooner) == 0 || len(x.Then) == 0 {
		t.Errorf("the explanation is %+v", x)
	}
	for _, n := range x.Sooner {
		if n.Possible == (n.MorePence == nil) || !n.Possible && len(n.Reasons) == 0 || n.Say == "" {
			t.Errorf("an earlier start says %+v", n)
		}
	}
	office.json("GET", "/jobs/Q-2/stages/roof_work/explanation?plan=draft", nil, nil).refused(notFound)
	draft := s.saveByHand(aDayLater)
	office.json("GET", "/jobs/Q-2/stages/roof_work/explanation?plan=draft", nil, nil).want(200).into(&x)
	if x.PlanID != draft.ID || x.Move == nil || x.Move.Say == "" {
		t.Errorf("of the draft it is %+v", x)
	}
	office.get("/why/Q-2/roof_work?plan=draft").want(200).says("proposal 2").says("It moves from Thu 10 Dec am and pm")
	var moves MoveList
	office.json("GET", "/plans/draft/moves", nil, nil).want(200).into(&moves)
	if len(moves.Moves) == 0 || moves.Moves[0].Say == "" || len(moves.Moves[0].Disturbs) == 0 {
		t.Errorf("the moves are %+v", moves)
	}
}

// count tells how many rows some tables have.
func (s *scene) count(tables ...string) (n int) {
	s.t.Helper()
	for _, table := range tables {
		var rows int
		must(s.t, s.db.Owner.QueryRow(context.Background(), "SELECT count(*) FROM "+table).Scan(&rows))
		n += rows
	}
	return n
}

var written = []string{"plan", "visit", "job", "pin", "booking", "held_offer", "held_place", "absence", "crew", "idempotency", "plan_run"}

func TestWhatIfSavesNothing(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	before := s.count(written...)
	office.get("/what-if").want(200).says("What if …?").says("A promise moves")
	office.get("/what-if?kind=promise&job=Q-2&on=2027-02-01").want(200).says("Q-2 is promised for Mon 1 Feb").says("Promises planned in time").says("250 schedules and seed 1")
	office.get("/what-if?kind=drop_job&job=Q-2").want(200).says("Q-2 is dropped")
	office.get("/what-if?kind=add_crew&who=" + s.damson.ID.String()).want(200).says("A second crew like Damson is there")
	office.get("/what-if?kind=pin&job=Q-2&stage=roof_work&on=2026-11-01").want(422).says("a day from 2026-12-01")
	office.get("/what-if?kind=pin&job=Q-99&stage=roof_work&on=2026-12-11").want(422).says("the reference of an open job")
	s.by(s.mate).get("/what-if").want(403)

	var w WhatIfAnswer
	ask := map[string]any{"changes": []any{map[string]any{"kind": "absence", "who": s.damson.ID, "on": "2026-12-07", "until": "2026-12-11"}}}
	office.json("POST", "/what-ifs", map[string]string{"Idempotency-Key": ""}, ask).want(200).into(&w)
	if w.Say == "" || w.Schedules != 250 || len(w.Words) != 1 || !strings.Contains(w.Words[0], "Damson") {
		t.Errorf("the answer is %+v", w)
	}
	office.json("POST", "/what-ifs", nil, map[string]any{"changes": []any{map[string]any{"kind": "drop_job", "job_ref": "Q-99"}}}).refused(notFound)
	if now := s.count(written...); now != before {
		t.Errorf("%d rows before, %d after", before, now)
	}
}

func newRoof() map[string]any {
	return map[string]any{"postcode": "XQ1 9ZZ", "terrain": "III", "working_height_m": 6.5, "modules": 10, "module_m2": 1.95, "stages": []any{
		map[string]any{"kind": "scaffold_erection", "half_days": 1}, map[string]any{"kind": "roof_work", "half_days": 2}, map[string]any{"kind": "first_fix", "half_days": 1},
		map[string]any{"kind": "second_fix", "half_days": 1}, map[string]any{"kind": "commissioning", "half_days": 1}, map[string]any{"kind": "scaffold_strike", "half_days": 1}}}
}

// Somebody rings: places are found, one is held, nobody else is told it, it
// becomes a job, and the next plan has the job on that day.
func TestWhenCanYouCome(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	before := s.count(written...)
	var found OfferList
	office.json("POST", "/offers/searches", map[string]string{"Idempotency-Key": ""}, newRoof()).want(200).into(&found)
	if len(found.Offers) == 0 || found.Offers[0].Say == "" || len(found.Offers[0].Visits) != 6 || !strings.Contains(found.Place, "2 open jobs' sites in XQ1") {
		t.Fatalf("found %+v", found)
	}
	if now := s.count(written...); now != before {
		t.Errorf("looking for a place wrote %d rows", now-before)
	}
	on := found.Offers[0].On
	hold := map[string]any{"question": newRoof(), "on": on, "for": "Mr Bird", "contact": "01632 960131"}
	var held HeldOffer
	key := map[string]string{"Idempotency-Key": `"hold-1"`}
	office.json("POST", "/offers", key, hold).want(201).into(&held)
	var again HeldOffer
	office.json("POST", "/offers", key, hold).want(201).into(&again)
	if again.ID != held.ID || held.State != "held" || s.count("held_offer") != 1 {
		t.Errorf("held %+v, again %+v", held, again)
	}
	// The same crew half-days are told to nobody else.
	office.json("POST", "/offers/searches", nil, newRoof()).want(200).into(&found)
	for _, o := range found.Offers {
		for _, v := range o.Visits {
			for _, mine := range held.Visits {
				if v.CrewID != nil && mine.CrewID != nil && *v.CrewID == *mine.CrewID && v.HalfDays[0] == mine.HalfDays[0] {
					t.Errorf("%s on %s is offered, and is held", v.Stage, v.HalfDays[0])
				}
			}
		}
	}
	var job Job
	office.json("POST", "/offers/"+held.ID.String()+"/take", nil, map[string]any{"job_ref": "N-1"}).want(201).into(&job)
	if job.Ref != "N-1" || job.PromisedOn == nil || *job.PromisedOn != *held.DoneOn {
		t.Errorf("the job is %+v", job)
	}
	p, err := s.svc.Plan(context.Background(), s.firm, RunAsk{By: "Imogen Thackray", Seed: 1, Schedules: 60}, nil)
	must(t, err)
	for _, was := range held.Visits {
		for _, v := range p.Visits {
			if v.Job == job.ID && v.Stage.Key() == string(was.Stage) && was.CrewID != nil && v.HalfDays[0].String() != string(was.HalfDays[0]) {
				t.Errorf("%s was told for %s, the plan has %s", was.Stage, was.HalfDays[0], v.HalfDays[0])
			}
		}
	}
	office.json("POST", "/offers/"+held.ID.String()+"/release", nil, nil).refused(conflict)
}

// Two people at two telephones hold the same place at once: one has it, the
// other is told.
func TestTwoTelephonesOnePlace(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	var found OfferList
	office.json("POST", "/offers/searches", nil, newRoof()).want(200).into(&found)
	hold := map[string]any{"question": newRoof(), "on": found.Offers[0].On, "for": "Mr Bird"}
	const people = 4
	agents := make([]*agent, people)
	for i := range agents {
		agents[i] = s.by(s.office)
	}
	status := make([]int, people)
	var all sync.WaitGroup
	for i, a := range agents {
		all.Add(1)
		go func() {
			defer all.Done()
			status[i] = a.json("POST", "/offers", nil, hold).Status
		}()
	}
	all.Wait()
	won := 0
	for _, got := range status {
		switch got {
		case 201:
			won++
		case 409:
		default:
			t.Errorf("answered %d", got)
		}
	}
	if won != 1 || s.count("held_offer") != 1 {
		t.Errorf("%d hold it, %d are kept", won, s.count("held_offer"))
	}
}

func TestTheOffersPage(t *testing.T) {
	s := newScene(t)
	office := s.by(s.office)
	office.get("/offers").want(200).says("When can you come?").says("What is to be done, and where?")
	office.get("/offers?ask=1&postcode=AB1+2CD").want(422).says("the postcode, or its first half, of a site of an open job")
	office.get("/offers?ask=1&postcode=XQ1&modules=many").want(422).says("a whole number from 1 to 200")
	page := office.get("/offers?ask=1&postcode=XQ1").want(200).says("Which days are free?").says("if all weather holds").says("Chances are from the forecast for Q-")
	action, fields := fieldsOf(t, page.page(), "/offers")
	fields.Set("for", "Mr Bird")
	fields.Set("days", "2")
	if to := office.form(action, fields).want(303).Header.Get("Location"); to != "/offers?done=held" {
		t.Errorf("sent to %s", to)
	}
	office.form(action, fields).want(303) // a second press
	list := office.get("/offers").want(200).says("Mr Bird").says("held until Thu 3 Dec")
	fields.Set("key", uuid.NewString())
	office.form(action, fields).want(409).says("look again at what is free")
	take, fields := fieldsOf(t, list.page(), "/take")
	fields.Set("ref", "Q-1")
	office.form(take, fields).want(422).says("one that no other job has")
	fields.Set("ref", "N-7")
	fields.Set("key", uuid.NewString())
	office.form(take, fields).want(303)
	office.get("/offers").want(200).says("It is job N-7")
	j, err := s.schedule.Job(context.Background(), s.firm, "N-7")
	must(t, err)
	if j.State != schedule.JobOpen || !j.PromisedOn.Known() || j.Customer.Name != "Mr Bird" {
		t.Errorf("the job is %+v", j)
	}
	s.by(s.lead).get("/offers").want(403)
}
