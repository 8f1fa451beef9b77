package api

import (
	"cmp"
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/url"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
)

// Every answer in these tests is held against openapi.yaml by agent.json.

func TestJobsAreListedByPage(t *testing.T) {
	s := newScene(t)
	for i := range 5 {
		must(t, s.schedule.SaveJob(context.Background(), s.firm, s.job(fmt.Sprintf("R-%d/ä", i)), "test", benchStart))
	}
	a := s.by(s.office)
	var refs []string
	path := "/jobs?limit=3&state=open"
	for range 10 {
		var list JobList
		got := a.json("GET", path, nil, nil).want(200).into(&list)
		for _, j := range list.Jobs {
			refs = append(refs, j.Ref)
		}
		link := got.Header.Get("Link")
		if link == "" {
			break
		}
		next, _, _ := strings.Cut(strings.TrimPrefix(link, "<"), ">")
		path = strings.TrimPrefix(next, apiBase)
	}
	want := []string{"Q-1", "Q-2", "R-0/ä", "R-1/ä", "R-2/ä", "R-3/ä", "R-4/ä"}
	if !slices.Equal(refs, want) {
		t.Errorf("pages give %v, want %v", refs, want)
	}
	// A reference with a slash in it is an address too.
	var j Job
	a.json("GET", "/jobs/"+url.PathEscape("R-0/ä"), nil, nil).want(200).into(&j)
	if j.Ref != "R-0/ä" {
		t.Errorf("got %q", j.Ref)
	}
	a.json("GET", "/jobs?limit=0", nil, nil).refused(malformed)
	a.json("GET", "/jobs?state=lost", nil, nil).refused(malformed)
}

func TestOneJob(t *testing.T) {
	s := newScene(t)
	a := s.by(s.mate)
	var j Job
	a.json("GET", "/jobs/Q-1", nil, nil).want(200).into(&j)
	if j.ID != s.q1.ID || len(j.Stages) != 6 || j.Stages[0].State != StageStateDone || *j.Stages[0].DoneOn != tuesday-4 {
		t.Errorf("the job is %+v", j)
	}
	if j.Assessment == nil || !j.Assessment.Approved || j.Assessment.Outdated || len(j.Assessment.Hazards) == 0 {
		t.Errorf("its assessment is %+v", j.Assessment)
	}
	if j.ReadyOn != nil || j.PromisedOn == nil || *j.PromisedOn != tuesday+17 {
		t.Errorf("ready %v, promised %v: what is not known must be absent", j.ReadyOn, j.PromisedOn)
	}
	a.json("GET", "/jobs/Q-99", nil, nil).refused(notFound)
}

func TestImportThroughTheContract(t *testing.T) {
	s := newScene(t)
	a := s.by(s.office)
	send := func(dryRun bool, key, file string) answer {
		return a.raw("POST", fmt.Sprintf("%s/imports?dry_run=%t", apiBase, dryRun), map[string]string{"Content-Type": "text/csv", "Idempotency-Key": key}, []byte(file))
	}
	file := string(a.raw("GET", apiBase+"/exports/jobs", nil, nil).want(200).Body)
	if !strings.HasPrefix(file, "\ufeffreference,") {
		t.Fatalf("the export begins %q", file[:40])
	}
	changed := strings.Replace(file, "Hallam household", "Hallam family", 1)
	var dry, done Import
	send(true, uuid.NewString(), changed).want(200).into(&dry)
	if !dry.DryRun || dry.Changed != 1 || dry.Unchanged != 1 || len(dry.Changes) != 1 || dry.Changes[0].Fields[0].After != "Hallam family" {
		t.Errorf("the dry run says %+v", dry)
	}
	j, err := s.schedule.Job(context.Background(), s.firm, "Q-1")
	must(t, err)
	if j.Customer.Name != "Hallam household" {
		t.Error("the dry run changed something")
	}
	send(false, "import-1", changed).want(200).into(&done)
	send(false, "import-1", changed).want(200)
	if j, err = s.schedule.Job(context.Background(), s.firm, "Q-1"); err != nil || j.Customer.Name != "Hallam family" {
		t.Errorf("the import gave %q, %v", j.Customer.Name, err)
	}
	// A bad row is named with line, column, value and what would be right, and
	// nothing of the file is taken.
	bad := strings.Replace(changed, "Hallam family", "Hallam clan", 1)
	bad = strings.ReplaceAll(bad, ",10,430,", ",ten,430,")
	p := send(false, uuid.NewString(), bad).refused(invalid)
	if p.Errors == nil || len(*p.Errors) != 2 || !strings.Contains((*p.Errors)[0].Pointer, "line 2, modules") || !strings.Contains((*p.Errors)[0].Detail, `"ten"`) {
		t.Errorf("the refusal is %+v", p)
	}
	if j, err = s.schedule.Job(context.Background(), s.firm, "Q-1"); err != nil || j.Customer.Name != "Hallam family" {
		t.Errorf("half of a bad file was taken: %q, %v", j.Customer.Name, err)
	}
	send(true, uuid.NewString(), "").refused(invalid)
	a.json("POST", "/imports?dry_run=true", nil, map[string]any{}).refused(unsupportedMedia)
	a.raw("POST", apiBase+"/imports", map[string]string{"Content-Type": "text/csv", "Idempotency-Key": "x"}, []byte(file)).refused(malformed)
}

// aDayLater moves the scaffold and the roof work at Q-2.
func aDayLater(p *schedule.Plan) {
	for _, i := range []int{3, 4} {
		p.Visits[i].HalfDays = []civil.HalfDay{p.Visits[i].HalfDays[0] + 2, p.Visits[i].HalfDays[1] + 2}
	}
}

func TestPublishingAgainstItsBase(t *testing.T) {
	s := newScene(t)
	a := s.by(s.office)
	put := func(plan uuid.UUID, headers map[string]string) answer {
		return a.json("PUT", "/plans/current", headers, map[string]any{"plan_id": plan})
	}
	now := a.json("GET", "/plans/current", nil, nil).want(200)
	tag := now.Header.Get("ETag")
	var plan Plan
	now.into(&plan)
	if tag != `"`+s.plan.ID.String()+`"` || plan.ID != s.plan.ID || len(plan.Visits) != 6 || plan.Visits[0].Who == "" {
		t.Fatalf("tag %s, plan %+v", tag, plan)
	}
	draft := s.saveByHand(aDayLater)
	put(draft.ID, nil).refused(conditionRequired)
	put(draft.ID, map[string]string{"If-Match": `"another"`}).refused(stale)
	put(draft.ID, map[string]string{"If-None-Match": "*"}).refused(stale)
	p := put(draft.ID, map[string]string{"If-Match": "W/" + tag}).refused(stale) // a weak tag never matches (RFC 9110 13.1.1)
	if valueOf(p.Current) != tag {
		t.Errorf("the refusal does not say what is current: %+v", p)
	}
	published := put(draft.ID, map[string]string{"If-Match": `"x", ` + tag, "Idempotency-Key": "publish-1"}).want(200)
	var done Published
	published.into(&done)
	if done.Plan.State != PlanStatePublished || published.Header.Get("ETag") != `"`+draft.ID.String()+`"` {
		t.Errorf("published %+v, tag %s", done.Plan, published.Header.Get("ETag"))
	}
	if len(done.Bookings) != 1 || done.Bookings[0].Booking.ErectOn != tuesday+9 || *done.Bookings[0].WasErectOn != tuesday+8 || done.Bookings[0].Booking.Sequence != 1 {
		t.Errorf("the bookings' changes are %+v", done.Bookings)
	}
	// The same once more gets the same; with a new key the state is reached.
	again := put(draft.ID, map[string]string{"If-Match": `"x", ` + tag, "Idempotency-Key": "publish-1"}).want(200)
	if string(again.Body) != string(published.Body) || again.Header.Get("ETag") != published.Header.Get("ETag") {
		t.Error("the replay differs")
	}
	put(draft.ID, map[string]string{"If-Match": tag}).want(200)
	put(uuid.New(), map[string]string{"If-Match": published.Header.Get("ETag")}).refused(notFound)
}

// A draft made from a plan that is no longer published is refused even when its
// sender names the plan that is.
func TestADraftOvertakenByAnother(t *testing.T) {
	s := newScene(t)
	a := s.by(s.office)
	first, second := s.saveByHand(nil), s.saveByHand(nil)
	tag := a.json("GET", "/plans/current", nil, nil).want(200).Header.Get("ETag")
	tag = a.json("PUT", "/plans/current", map[string]string{"If-Match": tag}, map[string]any{"plan_id": first.ID}).want(200).Header.Get("ETag")
	p := a.json("PUT", "/plans/current", map[string]string{"If-Match": tag}, map[string]any{"plan_id": second.ID}).refused(conflict)
	if !strings.Contains(valueOf(p.Detail), fmt.Sprint("plan ", first.Version)) {
		t.Errorf("the refusal does not say what changed: %s", valueOf(p.Detail))
	}
}

// The real planner, through the contract: the same facts, seed and budget give
// the same plan, every plan passes the validator, and publishing it books.
func TestMakingAndPublishingAPlan(t *testing.T) {
	s := newScene(t)
	s.works()
	a := s.by(s.office)
	var first, second Plan
	made := a.json("POST", "/plans", map[string]string{"Idempotency-Key": "plan-1"}, map[string]any{"seed": 7, "schedules": 200}).want(201)
	made.into(&first)
	if to := made.Header.Get("Location"); to != apiBase+"/plans/"+first.ID.String() {
		t.Errorf("it is said to be at %q", to)
	}
	a.json("POST", "/plans", map[string]string{"Idempotency-Key": "plan-1"}, map[string]any{"seed": 7, "schedules": 200}).want(201).into(&second)
	if second.ID != first.ID {
		t.Error("the same key made two plans")
	}
	a.json("POST", "/plans", nil, map[string]any{"seed": 7, "schedules": 200}).want(201).into(&second)
	if second.ID == first.ID || second.SnapshotHash != first.SnapshotHash || !reflect.DeepEqual(second.Visits, first.Visits) || second.Cost.TotalPence != first.Cost.TotalPence {
		t.Errorf("the same facts and seed give another plan: cost %d and %d", first.Cost.TotalPence, second.Cost.TotalPence)
	}
	if first.State != PlanStateDraft || *first.BasePlanID != s.plan.ID || len(first.Visits) == 0 || first.Seed != 7 || first.Schedules > 200 {
		t.Errorf("the plan is %s with %d visits, seed %d, %d schedules", first.State, len(first.Visits), first.Seed, first.Schedules)
	}
	snap, err := s.svc.Snapshot(context.Background(), s.firm, planDays)
	must(t, err)
	stored, err := s.schedule.Plan(context.Background(), s.firm, second.ID)
	must(t, err)
	if broken := schedule.Validate(snap, stored); len(broken) > 0 {
		t.Errorf("what was stored breaks rules: %+v", broken)
	}
	tag := a.json("GET", "/plans/current", nil, nil).want(200).Header.Get("ETag")
	a.json("PUT", "/plans/current", map[string]string{"If-Match": tag}, map[string]any{"plan_id": second.ID}).want(200)
	a.json("POST", "/plans", nil, map[string]any{"schedules": 0}).refused(malformed)
	a.json("POST", "/plans", nil, map[string]any{"seed": -1}).refused(malformed)
}

// A draft no longer fits when the facts change: somebody of its crew is away.
func TestADraftThatTheFactsOvertook(t *testing.T) {
	s := newScene(t)
	s.works()
	a := s.by(s.office)
	var p Plan
	a.json("POST", "/plans", nil, map[string]any{"schedules": 50}).want(201).into(&p)
	var roof *Visit
	for i, v := range p.Visits {
		if v.Stage == StageKindRoofWork && v.JobRef == "Q-2" {
			roof = &p.Visits[i]
		}
	}
	if roof == nil {
		t.Fatalf("the plan has no roof work at Q-2: %+v", p.Unplanned)
	}
	day := civil.MustParse(strings.Fields(roof.HalfDays[0])[0])
	must(t, s.schedule.AddAbsence(context.Background(), s.firm, s.lead, schedule.Absence{From: day, Until: day, Reason: "sick"}))
	tag := a.json("GET", "/plans/current", nil, nil).want(200).Header.Get("ETag")
	got := a.json("PUT", "/plans/current", map[string]string{"If-Match": tag}, map[string]any{"plan_id": p.ID}).refused(conflict)
	if !strings.Contains(valueOf(got.Detail), "the facts changed since it was made") {
		t.Errorf("it says %s", valueOf(got.Detail))
	}
	a.get("/plan").want(200).says("the facts changed since it was made")
}

func TestPlansAreListed(t *testing.T) {
	s := newScene(t)
	a := s.by(s.office)
	a.json("GET", "/plans/draft", nil, nil).refused(notFound)
	draft := s.saveByHand(nil)
	var list PlanList
	a.json("GET", "/plans", nil, nil).want(200).into(&list)
	if len(list.Plans) != 2 || list.Plans[0].ID != draft.ID || list.Plans[1].ID != s.plan.ID || list.Plans[0].TotalPence != 1560_00 {
		t.Errorf("the list is %+v", list)
	}
	var got Plan
	a.json("GET", "/plans/draft", nil, nil).want(200).into(&got)
	if got.ID != draft.ID || *got.BasePlanID != s.plan.ID || got.Cost.TotalPence != 1560_00 || len(got.Unplanned) != 5 || got.Unplanned[0].JobRef != "Q-2" {
		t.Errorf("the draft is %+v", got)
	}
	a.json("GET", "/plans/"+s.plan.ID.String(), nil, nil).want(200)
	a.json("GET", "/plans/"+uuid.NewString(), nil, nil).refused(notFound)
	a.json("GET", "/plans/nonsense", nil, nil).refused(malformed)
	// A crew sees where it is to be, not what it costs.
	// What it may not know is absent and not a cost of nothing.
	for _, person := range []uuid.UUID{s.mate, s.lead} {
		var plan struct {
			Visits []Visit          `json:"visits"`
			Cost   *json.RawMessage `json:"cost"`
		}
		s.by(person).json("GET", "/plans/current", nil, nil).want(200).into(&plan)
		if plan.Cost != nil || len(plan.Visits) == 0 {
			t.Errorf("a crew is told a cost: %s", *plan.Cost)
		}
	}
	var current Plan
	if a.json("GET", "/plans/current", nil, nil).want(200).into(&current); current.Cost == nil || current.Cost.TotalPence != 1560_00 {
		t.Errorf("the office is not told the cost: %+v", current.Cost)
	}
}

func TestBookingsAreAnswered(t *testing.T) {
	s := newScene(t)
	a := s.by(s.office)
	var list BookingList
	a.json("GET", "/bookings", nil, nil).want(200).into(&list)
	if len(list.Bookings) != 2 || list.Bookings[0].State != BookingStateErected || list.Bookings[1].JobRef != "Q-2" || list.Bookings[1].ScaffoldFirm != "Upright & Brace" {
		t.Fatalf("the bookings are %+v", list)
	}
	b := list.Bookings[1]
	post := func(body map[string]any) answer {
		return a.json("POST", "/bookings/"+b.ID.String()+"/answers", nil, body)
	}
	post(map[string]any{"answer": "offer", "sequence": b.Sequence}).refused(invalid)
	post(map[string]any{"answer": "offer", "sequence": b.Sequence, "offered_on": "2026-11-01"}).refused(invalid)
	post(map[string]any{"answer": "confirm", "sequence": b.Sequence + 3}).refused(conflict)
	post(map[string]any{"answer": "perhaps", "sequence": b.Sequence}).refused(malformed)
	var got Booking
	post(map[string]any{"answer": "offer", "sequence": b.Sequence, "offered_on": "2026-12-10"}).want(200).into(&got)
	if got.State != BookingStateCountered || *got.OfferedOn != civil.On(2026, 12, 10) || got.ErectOn != b.ErectOn {
		t.Errorf("after an offer it is %+v", got)
	}
	got = Booking{Sequence: got.Sequence}
	post(map[string]any{"answer": "confirm", "sequence": got.Sequence}).want(200).into(&got)
	if got.State != BookingStateConfirmed || got.OfferedOn != nil {
		t.Errorf("after a confirmation it is %+v", got)
	}
	var whole BookingWithHistory
	a.json("GET", "/bookings/"+b.ID.String(), nil, nil).want(200).into(&whole)
	if len(whole.History) != 3 || whole.History[2].ChangedBy != "Imogen Thackray, for the scaffold firm" || whole.Booking.State != BookingStateConfirmed {
		t.Errorf("its history is %+v", whole)
	}
	a.json("GET", "/bookings/"+uuid.NewString(), nil, nil).refused(notFound)
}

func TestTheOfficeTakesAnOfferByTheContract(t *testing.T) {
	s := newScene(t)
	a := s.by(s.office)
	b := s.booking(s.q2)
	post := func(answer string, sequence int, on string) answer {
		return a.json("POST", "/bookings/"+b.ID.String()+"/answers", nil, map[string]any{"answer": answer, "sequence": sequence, "offered_on": on})
	}
	post("accept", b.Sequence, "2026-12-11").refused(conflict) // nothing is offered
	var offered, got Booking
	post("offer", b.Sequence, "2026-12-11").want(200).into(&offered)
	a.json("POST", "/bookings/"+b.ID.String()+"/answers", nil, map[string]any{"answer": "accept", "sequence": offered.Sequence}).refused(invalid)
	post("accept", offered.Sequence, "2026-12-10").refused(conflict)
	post("accept", offered.Sequence+1, "2026-12-11").refused(conflict)
	for range 2 { // the same again is one
		got = Booking{}
		post("accept", offered.Sequence, "2026-12-11").want(200).into(&got)
		if got.State != BookingStateConfirmed || got.ErectOn != civil.On(2026, 12, 11) || got.OfferedOn != nil || got.Sequence != offered.Sequence+1 {
			t.Errorf("after taking it: %+v", got)
		}
	}
	var whole BookingWithHistory
	a.json("GET", "/bookings/"+b.ID.String(), nil, nil).want(200).into(&whole)
	if last := whole.History[len(whole.History)-1]; len(whole.History) != 3 || last.ChangedBy != "Imogen Thackray" {
		t.Errorf("its history is %+v", whole.History)
	}
}

// decisionOf reads today's decision for Alder at Q-1.
func (s *scene) decisionOf(a *agent) Decision {
	s.t.Helper()
	var m Morning
	a.json("GET", "/mornings/2026-12-01", nil, nil).want(200).into(&m)
	for _, d := range m.Decisions {
		if d.CrewID == s.alder.ID {
			return d
		}
	}
	s.t.Fatalf("no decision for Alder: %+v", m)
	return Decision{}
}

func (d Decision) condition(code string) Condition {
	for _, c := range d.Conditions {
		if c.Code == code {
			return c
		}
	}
	return Condition{}
}

func briefing(s *scene, d Decision) map[string]any {
	checks := map[string]any{}
	for _, c := range d.Checks {
		checks[c.Key] = "yes"
	}
	return map[string]any{"crew_id": s.alder.ID, "job_ref": "Q-1", "day": "2026-12-01", "assessment_id": d.Assessment.ID, "checks": checks, "gust_ms": 3.5}
}

func signature(s *scene, d Decision, person uuid.UUID) map[string]any {
	return map[string]any{"crew_id": s.alder.ID, "job_ref": "Q-1", "day": "2026-12-01", "person_id": person, "assessment_id": d.Assessment.ID, "shown": d.GivenFor,
		"body_hash": d.Assessment.BodyHash, "typed_name": cmp.Or(map[uuid.UUID]string{s.lead: "RHODRI pask", s.mate: "Dele Ashworth"}[person], "Somebody Else"), "pin": testPIN, "drawing": "M10 90L40 20L70 90", "device_at": "2026-12-01T07:16:00Z"}
}

// The whole morning: not clear, briefed, signed by both, clear. Then what was
// clear falls: a stop, and its lift by another with everybody signing again; a
// storm; the inspection running out.
func TestAMorningThroughTheContract(t *testing.T) {
	s := newScene(t)
	lead, mate, office := s.by(s.lead), s.by(s.mate), s.by(s.office)
	d := s.decisionOf(lead)
	if d.Verdict != DecisionVerdictNotClear || d.condition("B19").State == ConditionStateMet || d.condition("B08").State == ConditionStateMet {
		t.Fatalf("before anybody did anything: %s %+v", d.Verdict, d.Conditions)
	}
	if len(d.People) != 2 || d.People[0].Statement == nil || !strings.Contains(*d.People[0].Statement, fmt.Sprintf("version %d", d.Assessment.Version)) {
		t.Fatalf("the people are %+v", d.People)
	}
	var r RecordedWithDecision
	lead.json("POST", "/briefings", nil, briefing(s, d)).want(201).into(&r)
	if r.Decision.Verdict != DecisionVerdictNotClear || r.Decision.condition("B19").State != ConditionStateMet {
		t.Fatalf("after the briefing: %+v", r.Decision.condition("B19"))
	}
	mate.json("POST", "/sign-offs", nil, signature(s, d, s.mate)).want(201).into(&r)
	if r.Decision.Verdict != DecisionVerdictNotClear {
		t.Fatal("clear with one of two signatures")
	}
	lead.json("POST", "/sign-offs", nil, signature(s, d, s.lead)).want(201).into(&r)
	if r.Decision.Verdict != DecisionVerdictClear {
		t.Fatalf("not clear after all was done: %s", holding(r.Decision))
	}
	var stopped Recorded
	office.json("POST", "/stop-works", nil, map[string]any{"job_ref": "Q-1", "reason": "a tie is loose"}).want(201).into(&stopped)
	if d = s.decisionOf(lead); d.Verdict != DecisionVerdictNotClear || d.condition("B11").State != ConditionStateNotMet {
		t.Fatalf("clear under a stop: %+v", d.condition("B11"))
	}
	if len(d.Stops) != 1 || d.Stops[0].ID != stopped.ID || !d.Stops[0].Open || d.Stops[0].Reason != "a tie is loose" || d.Stops[0].By != "Imogen Thackray" {
		t.Fatalf("a program reads these stops: %+v", d.Stops)
	}
	lift := "/jobs/Q-1/stop-works/" + d.Stops[0].ID.String() + "/lift"
	office.json("POST", lift, nil, map[string]any{"why": "it is tight"}).refused(forbidden)
	s.setClock(benchStart.Add(20 * time.Minute))
	lead.json("POST", lift, map[string]string{"Idempotency-Key": "lift-1"}, map[string]any{"why": "tied again and looked at"}).want(201)
	lead.json("POST", lift, map[string]string{"Idempotency-Key": "lift-2"}, map[string]any{"why": "tied again and looked at"}).want(201)
	if d = s.decisionOf(lead); d.Stops[0].Open || *d.Stops[0].LiftedBy != "Rhodri Pask" {
		t.Fatalf("lifted: %+v", d.Stops)
	}
	if d.condition("B08").State != ConditionStateNotMet || d.People[0].Signed {
		t.Fatalf("signatures from before the stop count: %+v", d.condition("B08"))
	}
	s.setClock(benchStart.Add(25 * time.Minute))
	for _, p := range []uuid.UUID{s.lead, s.mate} {
		lead.json("POST", "/sign-offs", nil, signature(s, d, p)).want(201).into(&r)
	}
	if r.Decision.Verdict != DecisionVerdictClear {
		t.Fatalf("not clear after the lift: %s", holding(r.Decision))
	}
	s.forecasts(storm)
	if d = s.decisionOf(lead); d.Verdict != DecisionVerdictNotClear || d.condition("B10").State != ConditionStateNotMet {
		t.Fatalf("clear in a storm: %+v", d.condition("B10"))
	}
}

func holding(d Decision) string {
	var all []string
	for _, c := range d.Conditions {
		if !c.Advice && c.State != ConditionStateMet {
			all = append(all, c.Code+" "+c.Sentence)
		}
	}
	return strings.Join(all, "; ")
}

// Nothing that nobody knows is clear: no forecast at all.
func TestNoForecastIsNotClear(t *testing.T) {
	s := newScene(t)
	_, err := s.db.Owner.Exec(context.Background(), `ALTER TABLE forecast DISABLE TRIGGER record_is_kept`)
	must(t, err)
	_, err = s.db.Owner.Exec(context.Background(), `UPDATE forecast SET provider = 'nobody reads this'`)
	must(t, err)
	d := s.decisionOf(s.by(s.office))
	if c := d.condition("B10"); c.State != ConditionStateUnknown || d.Verdict != DecisionVerdictNotClear {
		t.Errorf("without a forecast: %+v", c)
	}
}

func TestDecisionsAreKept(t *testing.T) {
	s := newScene(t)
	a := s.by(s.lead)
	var d Decision
	a.json("POST", "/decisions", nil, map[string]any{"crew_id": s.alder.ID, "job_ref": "Q-1", "day": "2026-12-01"}).want(201).into(&d)
	kept, err := s.safety.Decisions(context.Background(), s.firm, s.alder.ID, tuesday)
	must(t, err)
	if len(kept) != 1 || kept[0].Decision.Verdict.Key() != string(d.Verdict) || len(kept[0].Decision.Conditions) != len(d.Conditions) {
		t.Errorf("kept %+v", kept)
	}
	a.json("POST", "/decisions", nil, map[string]any{"crew_id": s.alder.ID, "job_ref": "Q-2", "day": "2026-12-01"}).refused(notFound)
	a.json("POST", "/decisions", nil, map[string]any{"crew_id": s.damson.ID, "job_ref": "Q-1", "day": "2026-12-01"}).refused(forbidden)
}

func TestSignaturesToAnotherVersionAreKept(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	d := s.decisionOf(lead)
	// The survey learns something: another version is issued and approved.
	j := s.q1
	j.Site.Facts["pitch_deg"] = 41.0
	must(t, s.schedule.SaveJob(context.Background(), s.firm, j, "test", benchStart))
	newer := s.assess("Q-1")
	if newer.Version != 2 {
		t.Fatalf("version %d", newer.Version)
	}
	var r RecordedWithDecision
	lead.json("POST", "/sign-offs", nil, signature(s, d, s.lead)).want(201).into(&r)
	if r.Decision.condition("B08").State == ConditionStateMet {
		t.Error("a signature to version 1 counts for version 2")
	}
	var kept int
	must(t, s.db.Owner.QueryRow(context.Background(), `SELECT count(*) FROM sign_off WHERE body_hash = decode($1, 'hex') AND statement LIKE '%version 1%'`, d.Assessment.BodyHash).Scan(&kept))
	if kept != 1 {
		t.Errorf("%d signatures are kept with the text that was shown", kept)
	}
	wrong := signature(s, d, s.lead)
	wrong["body_hash"] = hex.EncodeToString(make([]byte, 32))
	lead.json("POST", "/sign-offs", nil, wrong).refused(invalid)
}

// A phone may lie in the van until tomorrow; a signature for tomorrow is no
// signature.
func TestSignaturesThatWaited(t *testing.T) {
	s := newScene(t)
	lead := s.by(s.lead)
	d := s.decisionOf(lead)
	s.setClock(benchStart.AddDate(0, 0, 1))
	lead.json("POST", "/sign-offs", nil, signature(s, d, s.lead)).want(201)
	s.setClock(benchStart.AddDate(0, 0, -1))
	lead.json("POST", "/sign-offs", nil, signature(s, d, s.lead)).refused(invalid)
	late := briefing(s, d)
	s.setClock(benchStart.AddDate(0, 0, 1))
	lead.json("POST", "/briefings", nil, late).refused(invalid)
}

func TestWhoMaySignAndBrief(t *testing.T) {
	s := newScene(t)
	d := s.decisionOf(s.by(s.office))
	mate, spark := s.by(s.mate), s.by(s.spark)
	mate.json("POST", "/sign-offs", nil, signature(s, d, s.lead)).refused(forbidden)             // for another
	spark.json("POST", "/sign-offs", nil, signature(s, d, s.spark)).refused(forbidden)           // of another crew
	s.by(s.lead).json("POST", "/sign-offs", nil, signature(s, d, s.spark)).refused(forbidden)    // for another crew's
	spark.json("POST", "/briefings", nil, briefing(s, d)).refused(forbidden)                     // leads, but another crew
	s.by(s.office).json("POST", "/sign-offs", nil, signature(s, d, s.office)).refused(forbidden) // the office does not sign
	bad := briefing(s, d)
	bad["checks"] = map[string]any{"no_such_check": "yes"}
	s.by(s.lead).json("POST", "/briefings", nil, bad).refused(invalid)
	var rows int
	must(t, s.db.Owner.QueryRow(context.Background(), `SELECT (SELECT count(*) FROM sign_off) + (SELECT count(*) FROM briefing)`).Scan(&rows))
	if rows != 0 {
		t.Errorf("%d records were made by people who may not", rows)
	}
}

// A retry of each write whose answer was lost: the same key again when nothing
// is stored, as after a crash between the write and its answer. There is one
// record, and the retry succeeds.
func TestRetriesAfterALostAnswerMakeOneRecord(t *testing.T) {
	s := newScene(t)
	lead, office := s.by(s.lead), s.by(s.office)
	d := s.decisionOf(lead)
	report := map[string]any{"job_ref": "Q-1", "kind": "inspection", "for_whom": "Quillmere Solar, 1 Yard Lane", "location": "front", "description": "two lifts",
		"at": "2026-12-01T07:00:00Z", "risks": "none found", "action_taken": "none", "further": "none", "by_name": "Gwen Strand", "by_position": "inspector", "result": "fit", "load_class": 2}
	for _, w := range []struct {
		who         *agent
		path, table string
		body        map[string]any
	}{
		{lead, "/briefings", "briefing", briefing(s, d)},
		{lead, "/sign-offs", "sign_off", signature(s, d, s.lead)},
		{lead, "/scaffold-reports", "scaffold_report", report},
		{lead, "/stop-works", "stop_work", map[string]any{"job_ref": "Q-1", "reason": "a tie is loose"}},
		{office, "/jobs/Q-2/assessments", "risk_assessment", nil},
	} {
		count := func() (n int) {
			must(t, s.db.Owner.QueryRow(context.Background(), `SELECT count(*) FROM `+w.table).Scan(&n))
			return n
		}
		before := count()
		key := map[string]string{"Idempotency-Key": "lost " + w.table}
		first := w.who.json("POST", w.path, key, w.body).want(201)
		_, err := s.db.Owner.Exec(context.Background(), `DELETE FROM idempotency`)
		must(t, err)
		again := w.who.json("POST", w.path, key, w.body).want(201)
		if n := count() - before; n != 1 {
			t.Errorf("%s: %d records after the retry, want 1", w.path, n)
		}
		var a, b struct{ ID uuid.UUID }
		first.into(&a)
		again.into(&b)
		if a.ID != b.ID || a.ID == uuid.Nil {
			t.Errorf("%s: the retry names %s, the first %s", w.path, b.ID, a.ID)
		}
	}
}

func TestScaffoldReportsAreChecked(t *testing.T) {
	s := newScene(t)
	a := s.by(s.lead)
	report := map[string]any{"job_ref": "Q-2", "kind": "handover", "for_whom": "Quillmere Solar, 1 Yard Lane", "location": "front", "description": "two lifts",
		"at": "2026-12-01T07:00:00Z", "risks": "none found", "action_taken": "none", "further": "none", "by_name": "Gwen Strand", "by_position": "inspector", "result": "fit", "load_class": 2,
		"design_ref": "compliance sheet 12", "lifts": 2, "ties": "none, free-standing", "received_by": "Rhodri Pask"}
	send := func(name string, value any) answer {
		changed := map[string]any{}
		for k, v := range report {
			changed[k] = v
		}
		changed[name] = value
		return a.json("POST", "/scaffold-reports", nil, changed)
	}
	send("risks", "").refused(malformed)
	send("risks", "  ").refused(invalid)
	send("at", "2026-12-01T09:00:00Z").refused(invalid) // not yet
	send("at", "yesterday").refused(malformed)
	send("load_class", 7).refused(malformed)
	send("result", "maybe").refused(malformed)
	send("job_ref", "Q-99").refused(notFound)
	send("by_name", "Gwen Strand").want(201)
	all, err := s.safety.Reports(context.Background(), s.firm, s.q2.ID)
	must(t, err)
	if len(all) != 1 || all[0].RecordedBy != "Rhodri Pask" || !all[0].Fit || all[0].Kind != safety.Handover {
		t.Errorf("recorded %+v", all)
	}
}

func TestForecastOfASite(t *testing.T) {
	s := newScene(t)
	a := s.by(s.mate)
	var f Forecast
	a.json("GET", "/sites/"+s.q1.Site.ID.String()+"/forecast", nil, nil).want(200).into(&f)
	if f.Provider != testProvider || len(f.Hours) != 96 || *f.Hours[0].WindMeanMs != 2 || f.Hours[0].Minutes != 60 || f.Attribution == "" {
		t.Errorf("the forecast is %+v", f)
	}
	a.json("GET", "/sites/"+uuid.NewString()+"/forecast", nil, nil).refused(notFound)
}

// A crew with work on the roof and indoors in a storm: the day is not clear, the
// indoor task is, and page, list and contract say which. A stop takes that back.
func TestADayThatIsClearForSomeTasks(t *testing.T) {
	s := newScene(t)
	s.publishByHand(func(p *schedule.Plan) {
		for i, v := range p.Visits {
			if v.Job == s.q1.ID && v.Stage == schedule.FirstFix {
				p.Visits[i].Crew = s.alder.ID
			}
			if v.Job == s.q1.ID && v.Stage == schedule.RoofWork {
				p.Visits[i].HalfDays = []civil.HalfDay{tuesday.In(civil.Afternoon)}
			}
		}
	})
	must(s.t, s.safety.SaveCompetence(t.Context(), s.firm, s.lead, safety.Competence{Kind: safety.Electrical, From: tuesday - 300, Until: tuesday + 300}))
	s.forecasts(storm)
	lead := s.by(s.lead)
	d := s.decisionOf(lead)
	lead.json("POST", "/briefings", nil, briefing(s, d)).want(201)
	d = s.decisionOf(lead) // the gust that was read makes the scaffold one to inspect again
	for _, p := range []uuid.UUID{s.lead, s.mate} {
		lead.json("POST", "/sign-offs", nil, signature(s, d, p)).want(201)
	}
	if d = s.decisionOf(lead); d.Verdict != DecisionVerdictNotClear || d.ClearFor == nil || len(*d.ClearFor) != 1 || (*d.ClearFor)[0].Stage != StageKindFirstFix {
		t.Fatalf("%s, clear for %+v: %+v", d.Verdict, d.ClearFor, d.Conditions)
	}
	to := morningHref(s.alder.ID, tuesday)
	lead.get(to).want(200).says("Not clear").says("Clear for some tasks: first fix, until ").says("Not for roof work.")
	s.by(s.office).get("/morning?day=2026-12-01").want(200).says("Clear for some tasks: first fix")
	s.by(s.mate).json("POST", "/stop-works", nil, map[string]any{"job_ref": "Q-1", "reason": "a tie is loose"}).want(201)
	if d = s.decisionOf(lead); d.ClearFor != nil {
		t.Errorf("clear for %+v under a stop", *d.ClearFor)
	}
}
