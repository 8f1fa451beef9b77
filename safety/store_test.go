package safety_test

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/dbtest"
	"toeboard/migrations/tenant"
	"toeboard/safety"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// scene is one firm with a crew, a job and people, set past the policies by
// the owner, and a store as the service has it.
type scene struct {
	*dbtest.DB
	store                              *safety.Store
	firm, crew, job, lead, mate, other uuid.UUID
}

var day = civil.On(2026, 11, 30)

func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

func newScene(t *testing.T) *scene {
	t.Helper()
	db := dbtest.New(t)
	sc := &scene{DB: db, store: safety.NewStore(db.App, newID)}
	sc.addFirm(t)
	return sc
}

// addFirm makes another firm and turns the scene to it.
func (sc *scene) addFirm(t *testing.T) {
	t.Helper()
	sc.firm, sc.crew, sc.job, sc.lead, sc.mate, sc.other = newID(), newID(), newID(), newID(), newID(), newID()
	customer, site := newID(), newID()
	exec := func(sql string, args ...any) {
		t.Helper()
		if _, err := sc.Owner.Exec(t.Context(), sql, args...); err != nil {
			t.Fatalf("set the scene: %v", err)
		}
	}
	exec(`INSERT INTO firm (firm_id, name, time_zone, division, hours, rates, base_lat, base_lon, created_at)
	      VALUES ($1, 'Quillmere Solar', 'Europe/London', 'england-and-wales', '{}', '{}', 53, -0.4, now())`, sc.firm)
	for who, name := range map[uuid.UUID]string{sc.lead: "Rhodri Pask", sc.mate: "Dele Ashworth", sc.other: "Imogen Thackray"} {
		exec(`INSERT INTO person (firm_id, person_id, name, role) VALUES ($1, $2, $3, 'crew_member')`, sc.firm, who, name)
	}
	exec(`INSERT INTO crew (firm_id, crew_id, name, trade, home_lat, home_lon, half_day_cost_pence) VALUES ($1, $2, 'Alder', 'roof', 53, -0.4, 20000)`, sc.firm, sc.crew)
	exec(`INSERT INTO crew_member (firm_id, crew_id, person_id, during, is_lead) VALUES ($1, $2, $3, '[2026-01-01,)', true)`, sc.firm, sc.crew, sc.lead)
	exec(`INSERT INTO crew_member (firm_id, crew_id, person_id, during, is_lead) VALUES ($1, $2, $3, '[2026-01-01,)', false)`, sc.firm, sc.crew, sc.mate)
	exec(`INSERT INTO customer (firm_id, customer_id, name) VALUES ($1, $2, 'Abara household')`, sc.firm, customer)
	exec(`INSERT INTO site (firm_id, site_id, address, lat, lon, terrain, working_height_m, facts) VALUES ($1, $2, '7 Heron Row, Quillmere', 53.17, -0.38, 'III', 6.5, $3)`,
		sc.firm, site, `{"pitch_deg": 35, "ohl_support": "none", "service_overhead": "no", "year_built": 2004, "phase_plan": true, "moss": "a bit", "note": "blue door"}`)
	exec(`INSERT INTO job (firm_id, job_id, ref, site_id, customer_id, state, modules, module_watts, module_kg, module_m2, created_at)
	      VALUES ($1, $2, 'Q-1041', $3, $4, 'open', 12, 430, 21.5, 1.95, now())`, sc.firm, sc.job, site, customer)
	for _, kind := range []string{"scaffold_erection", "roof_work", "scaffold_strike"} {
		exec(`INSERT INTO stage (firm_id, job_id, kind, half_days, state) VALUES ($1, $2, $3, 2, 'planned')`, sc.firm, sc.job, kind)
	}
	exec(`UPDATE stage SET state = 'done', done_on = '2026-11-27' WHERE job_id = $1 AND kind = 'scaffold_erection'`, sc.job)
	yard, booking := newID(), newID()
	exec(`INSERT INTO scaffold_firm (firm_id, scaffold_firm_id, name, gangs_per_day, sets, erect_notice, strike_notice, visit_pence, included_weeks, weekly_hire_pence)
	      VALUES ($1, $2, 'Yard Scaffolding', 1, 5, 2, 2, 40000, 6, 5000)`, sc.firm, yard)
	exec(`INSERT INTO booking (firm_id, booking_id, job_id, scaffold_firm_id, uid, state, erect_on, strike_on, sequence, changed_at)
	      VALUES ($1, $2, $3, $4, $5, 'erected', '2026-11-27', '2026-12-04', 1, now())`, sc.firm, booking, sc.job, yard, booking.String()+"@toeboard.example")
	exec(`INSERT INTO consent (firm_id, job_id, kind, stage_kind, state, granted_on) VALUES ($1, $2, 'landlord', 'roof_work', 'granted', '2026-11-01')`, sc.firm, sc.job)
	exec(`INSERT INTO kit (firm_id, job_id, item, quantity, arrived_on) VALUES ($1, $2, 'modules', 12, '2026-11-27')`, sc.firm, sc.job)
	exec(`INSERT INTO kit (firm_id, job_id, item, quantity) VALUES ($1, $2, 'rails', 1)`, sc.firm, sc.job)
}

func at(hour, minute int) time.Time {
	loc, err := time.LoadLocation("Europe/London")
	if err != nil {
		panic(err)
	}
	return day.At(hour, minute, loc).UTC()
}

func (sc *scene) assess(t *testing.T) safety.Assessment {
	t.Helper()
	facts, _, err := sc.store.Facts(t.Context(), sc.firm, sc.job)
	if err != nil {
		t.Fatal(err)
	}
	return safety.Assess(facts, safety.DefaultLibrary())
}

func (sc *scene) issue(t *testing.T, base int) safety.AssessmentInForce {
	t.Helper()
	got, err := sc.store.IssueAssessment(t.Context(), sc.firm, sc.job, sc.assess(t), base, "Imogen Thackray", at(6, 0))
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func (sc *scene) report(kind string, when time.Time) safety.ScaffoldReport {
	return safety.ScaffoldReport{Certificate: certificateOf(kind), Job: sc.job, Kind: kind, ForWhom: "Quillmere Solar, 1 Yard Lane", Location: "7 Heron Row", Description: "two lifts",
		At: when, Risks: "none found", ActionTaken: "none", Further: "none", ByName: "Ines Varga", ByPosition: "scaffold inspector", Fit: true, LoadClass: 3,
		RecordedBy: "Ines Varga", RecordedAt: when.Add(20 * time.Minute)}
}

// fill leaves one row in each table of the room.
func (sc *scene) fill(t *testing.T) (safety.AssessmentInForce, safety.SignOff) {
	t.Helper()
	ctx := t.Context()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, who := range []uuid.UUID{sc.lead, sc.mate} {
		for _, kind := range []string{safety.LeadRoof, safety.Roof, safety.FirstAid, safety.RoofRescue} {
			must(sc.store.SaveCompetence(ctx, sc.firm, who, safety.Competence{Kind: kind, From: day - 100, Until: day + 100, Evidence: "card"}))
		}
	}
	v := sc.issue(t, 0)
	must(sc.store.Approve(ctx, sc.firm, v.ID, sc.other, at(6, 30)))
	for kind, when := range map[string]time.Time{safety.Handover: at(7, 0).AddDate(0, 0, -3), safety.Inspection: at(7, 30).AddDate(0, 0, -3)} {
		_, err := sc.store.AddReport(ctx, sc.firm, sc.report(kind, when))
		must(err)
	}
	sc.fillSite(t)
	_, err := sc.store.AddEvent(ctx, sc.firm, safety.ScaffoldEvent{Job: sc.job, What: "wind", Detail: "gust 22 m/s", At: at(7, 0).AddDate(0, 0, -9), By: "Imogen Thackray", RecordedAt: at(8, 0).AddDate(0, 0, -9)})
	must(err)
	stop, err := sc.store.StopWork(ctx, sc.firm, safety.StopWork{Job: sc.job, Reason: "loose board", ByID: sc.mate, At: at(7, 10)})
	must(err)
	must(sc.store.LiftStop(ctx, sc.firm, stop.ID, sc.other, "board fixed", at(7, 20)))
	snap, err := sc.store.Morning(ctx, sc.firm, sc.crew, sc.job, day)
	must(err)
	snap.Stages, snap.Outdoors, snap.StartAt, snap.EndAt = []string{"roof_work"}, true, at(8, 0), at(15, 0)
	snap.Weather.Verdict = weather.Go
	b := safety.Briefing{Crew: sc.crew, Job: sc.job, Day: day, Assessment: v.ID, Checks: map[string]safety.Answer{}, GustMS: weather.Is(4.5), By: sc.lead, At: at(7, 40)}
	for _, c := range safety.ChecksFor(snap) {
		b.Checks[c.Key] = safety.Yes
	}
	_, err = sc.store.SaveBriefing(ctx, sc.firm, b)
	must(err)
	var last safety.SignOff
	for _, p := range snap.People {
		last, err = sc.store.AddSignOff(ctx, sc.firm, safety.SignOff{ID: newID(), Crew: sc.crew, Job: sc.job, Day: day, Person: p.ID, Assessment: v.ID,
			BodyHash: v.BodyHash, Statement: safety.Statement(snap, p), TypedName: p.Name, Proof: safety.ByPIN,
			Drawing: "M10 20L12 25", OnPhoneOf: sc.lead, GivenFor: safety.BasisOf(snap), DeviceAt: at(7, 41), ReceivedAt: at(7, 45)})
		must(err)
	}
	sc.fillOwn(t)
	return v, last
}

// From the rows in the database to a clear decision, stored and read back.
func TestMorningFromTheDatabase(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	v, _ := sc.fill(t)
	snap, err := sc.store.Morning(t.Context(), sc.firm, sc.crew, sc.job, day)
	if err != nil {
		t.Fatal(err)
	}
	if len(snap.FactFaults) != 2 || !strings.Contains(strings.Join(snap.FactFaults, "; "), `fact moss is "a bit": yes or no`) {
		t.Errorf("facts that cannot be read are named: %v", snap.FactFaults)
	}
	if snap.Assessment == nil || snap.Assessment.Body.Hash() != v.BodyHash || snap.Assessment.ApprovedBy != "Imogen Thackray" {
		t.Fatalf("the assessment in force: %+v", snap.Assessment)
	}
	snap.Stages, snap.Outdoors, snap.StartAt, snap.EndAt = []string{"roof_work"}, true, at(8, 0), at(15, 0)
	snap.Weather = weather.Judgement{Task: weather.PanelCarrying, From: at(8, 0), To: at(15, 0), Verdict: weather.Go,
		Levels: []weather.Level{{Quantity: weather.WindGust, Stop: weather.Is(8.4)}}}
	d := safety.Decide(snap, at(7, 50))
	if d.Verdict != safety.Clear {
		t.Fatalf("not clear: %+v", d.Holding())
	}
	for _, c := range d.Conditions {
		if want := map[string]safety.State{"B16": safety.NotMet, "B17": safety.Unknown, "B18": safety.Unknown}[c.Code]; c.Advice && c.State != want {
			t.Errorf("%s", c.Sentence())
		}
	}
	id, err := sc.store.SaveDecision(t.Context(), sc.firm, snap, d)
	if err != nil {
		t.Fatal(err)
	}
	all, err := sc.store.Decisions(t.Context(), sc.firm, sc.crew, day)
	if err != nil || len(all) != 1 || all[0].ID != id || all[0].SnapshotHash != snap.Hash() || all[0].Decision.Verdict != safety.Clear ||
		len(all[0].Decision.Conditions) != len(d.Conditions) || all[0].Decision.Conditions[1] != d.Conditions[1] {
		t.Errorf("read back %+v, %v", all, err)
	}
	// What is not there is said, not guessed.
	if _, err := sc.store.Morning(t.Context(), sc.firm, newID(), sc.job, day); fault.KindOf(err) != fault.NotFound {
		t.Errorf("a crew that is not there: %v", err)
	}
	if _, err := sc.store.Morning(t.Context(), sc.firm, sc.crew, newID(), day); fault.KindOf(err) != fault.NotFound {
		t.Errorf("a job that is not there: %v", err)
	}
}

// What the schedule's StageDone, StageStarted and MarkStruck leave in the tables
// of stages and bookings, each written here in plain SQL: after it the day's
// roof work is not clear, though every report is still fit.
func TestAStruckScaffoldIsNotClear(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	sc.fill(t)
	judge := func() safety.Decision {
		t.Helper()
		snap, err := sc.store.Morning(t.Context(), sc.firm, sc.crew, sc.job, day)
		if err != nil {
			t.Fatal(err)
		}
		snap.Stages, snap.Outdoors, snap.StartAt, snap.EndAt = []string{"roof_work"}, true, at(8, 0), at(15, 0)
		snap.Weather = weather.Judgement{Task: weather.PanelCarrying, From: at(8, 0), To: at(15, 0), Verdict: weather.Go,
			Levels: []weather.Level{{Quantity: weather.WindGust, Stop: weather.Is(8.4)}}}
		return safety.Decide(snap, at(7, 50))
	}
	stage := `UPDATE stage SET state = $2, started_on = $3, done_on = $4 WHERE job_id = $1 AND kind = $5`
	for _, step := range []struct {
		name, sql string
		args      []any
		want      string // words of B01 when it holds the crew; "" = clear
	}{
		{"as it stands", `SELECT $1::uuid`, nil, ""},
		{"strike started", stage, []any{"started", day, nil, "scaffold_strike"}, "its strike started on Mon 30 Nov"},
		{"struck by its stage", stage, []any{"done", nil, day, "scaffold_strike"}, "struck on Mon 30 Nov"},
		{"not struck after all", stage, []any{"planned", nil, nil, "scaffold_strike"}, ""},
		{"never erected", stage, []any{"planned", nil, nil, "scaffold_erection"}, "its erection is planned"},
		{"erected anew today", stage, []any{"done", nil, day, "scaffold_erection"}, "older than the erection on Mon 30 Nov"},
		{"struck by its booking", `UPDATE booking SET state = 'struck', strike_on = $2 WHERE job_id = $1`, []any{day}, "struck on Mon 30 Nov"},
	} {
		if _, err := sc.Owner.Exec(t.Context(), step.sql, append([]any{sc.job}, step.args...)...); err != nil {
			t.Fatalf("%s: %v", step.name, err)
		}
		d := judge()
		if step.want == "" {
			if d.Verdict != safety.Clear {
				t.Errorf("%s: not clear: %+v", step.name, d.Holding())
			}
			continue
		}
		if d.Verdict == safety.Clear || d.Conditions[0].State != safety.NotMet || !strings.Contains(d.Conditions[0].Value, step.want) {
			t.Errorf("%s: %s, %s, want not met with %q", step.name, d.Verdict, d.Conditions[0].Sentence(), step.want)
		}
	}
}

func TestMorningLeavesOutWhoIsAway(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	away := func(sql string, args ...any) {
		t.Helper()
		if _, err := sc.Owner.Exec(t.Context(), sql, args...); err != nil {
			t.Fatal(err)
		}
	}
	away(`INSERT INTO absence (firm_id, absence_id, person_id, during, reason) VALUES ($1, $2, $3, '[2026-11-28,2026-12-01)', 'leave')`, sc.firm, newID(), sc.mate)
	for d, want := range map[civil.Date]int{day - 3: 2, day: 1, day + 1: 2} {
		snap, err := sc.store.Morning(t.Context(), sc.firm, sc.crew, sc.job, d)
		if err != nil {
			t.Fatal(err)
		}
		if len(snap.People) != want || !snap.People[0].Lead {
			t.Errorf("%s: %d people, want %d, the lead first", d, len(snap.People), want)
		}
	}
}

// Another firm sees nothing and cannot add to what is not its own.
func TestASecondFirmSeesNothing(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	v, signed := sc.fill(t)
	first := *sc
	sc.addFirm(t)
	ctx := t.Context()
	err := tenant.Snapshot(ctx, sc.App, sc.firm, func(tx pgx.Tx) error {
		for _, table := range []string{"competence", "risk_assessment", "assessment_approval", "scaffold_report", "scaffold_event", "briefing", "sign_off", "induction", "check_in", "lone_call", "stop_work", "stop_work_lift", "decision"} {
			var n int
			if err := tx.QueryRow(ctx, `SELECT count(*) FROM `+table).Scan(&n); err != nil {
				return err
			}
			if n != 0 {
				t.Errorf("the second firm sees %d rows of %s", n, table)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := sc.store.CurrentAssessment(ctx, sc.firm, first.job); fault.KindOf(err) != fault.NotFound {
		t.Errorf("the second firm reads the first's assessment: %v", err)
	}
	if _, err := sc.store.AssessmentVersion(ctx, sc.firm, v.ID); fault.KindOf(err) != fault.NotFound {
		t.Errorf("by its identity: %v", err)
	}
	if _, err := sc.store.Morning(ctx, sc.firm, first.crew, first.job, day); fault.KindOf(err) != fault.NotFound {
		t.Errorf("the second firm reads the first's morning: %v", err)
	}
	if err := sc.store.Approve(ctx, sc.firm, v.ID, sc.other, at(9, 0)); fault.KindOf(err) != fault.NotFound {
		t.Errorf("the second firm approves the first's assessment: %v", err)
	}
	if _, err := sc.store.StopWork(ctx, sc.firm, safety.StopWork{Job: first.job, Reason: "mischief", ByID: sc.mate, At: at(9, 0)}); fault.KindOf(err) != fault.NotFound {
		t.Errorf("the second firm stops the first's work: %v", err)
	}
	// The same identity in another firm is another signature, not a replay.
	other := sc.issue(t, 0)
	signed.Crew, signed.Job, signed.Person, signed.Assessment, signed.BodyHash, signed.OnPhoneOf = sc.crew, sc.job, sc.mate, other.ID, other.BodyHash, sc.lead
	if got, err := sc.store.AddSignOff(ctx, sc.firm, signed); err != nil || got.Person != sc.mate {
		t.Errorf("a signature with an identity that another firm used: %+v, %v", got, err)
	}
}

// The service's role can neither change nor remove a record, and whoever has
// the right is stopped by the trigger.
func TestRecordsCannotBeChangedOrRemoved(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	sc.fill(t)
	snap, err := sc.store.Morning(t.Context(), sc.firm, sc.crew, sc.job, day)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := sc.store.SaveDecision(t.Context(), sc.firm, snap, safety.Decide(snap, at(8, 0))); err != nil {
		t.Fatal(err)
	}
	ctx := t.Context()
	for table, column := range map[string]string{"risk_assessment": "made_by", "assessment_approval": "approved_at", "scaffold_report": "result",
		"scaffold_event": "detail", "briefing": "checks", "sign_off": "statement", "stop_work": "reason", "stop_work_lift": "why", "decision": "verdict"} {
		for _, sql := range []string{`UPDATE ` + table + ` SET ` + column + ` = ` + column, `DELETE FROM ` + table} {
			err := tenant.Write(ctx, sc.App, sc.firm, func(tx pgx.Tx) error {
				_, err := tx.Exec(ctx, sql)
				return err
			})
			if err == nil || !strings.Contains(err.Error(), "permission denied") {
				t.Errorf("the service: %s: %v", sql, err)
			}
			_, err = sc.Owner.Exec(ctx, sql)
			if err == nil || fault.KindOf(tenant.Meaning(err)) != fault.Forbidden {
				t.Errorf("the owner: %s: %v", sql, err)
			}
		}
	}
}

func TestSignOffIsTheSameHoweverOftenItIsSent(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	v := sc.issue(t, 0)
	so := safety.SignOff{ID: newID(), Crew: sc.crew, Job: sc.job, Day: day, Person: sc.mate, Assessment: v.ID, BodyHash: v.BodyHash,
		Statement: "I have read it", TypedName: "Dele Ashworth", Proof: safety.ByPIN, DeviceAt: at(7, 41).Add(123456789), ReceivedAt: at(7, 45).Add(987654321)}
	first, err := sc.store.AddSignOff(t.Context(), sc.firm, so)
	if err != nil {
		t.Fatal(err)
	}
	// Ten phones in a tunnel: the same signature at once, with later clocks.
	var wg sync.WaitGroup
	for i := range 10 {
		wg.Go(func() {
			again := so
			again.ReceivedAt = at(8, i)
			got, err := sc.store.AddSignOff(context.Background(), sc.firm, again)
			if err != nil || got != first {
				t.Errorf("sent again: %+v, %v, want what was stored first", got, err)
			}
		})
	}
	wg.Wait()
	var n int
	if err := sc.Owner.QueryRow(t.Context(), `SELECT count(*) FROM sign_off`).Scan(&n); err != nil || n != 1 {
		t.Errorf("%d signatures stored, %v, want 1", n, err)
	}
	for name, change := range map[string]func(*safety.SignOff){
		"another name":      func(s *safety.SignOff) { s.TypedName = "Somebody Else" },
		"another statement": func(s *safety.SignOff) { s.Statement = "I have not read it" },
		"another person":    func(s *safety.SignOff) { s.Person = sc.lead },
		"another text":      func(s *safety.SignOff) { s.BodyHash = safety.Hash{1} },
		"another time":      func(s *safety.SignOff) { s.DeviceAt = at(7, 0) },
	} {
		other := so
		change(&other)
		if _, err := sc.store.AddSignOff(t.Context(), sc.firm, other); fault.KindOf(err) != fault.Conflict {
			t.Errorf("%s under the same identity: %v", name, err)
		}
	}
	for name, change := range map[string]func(*safety.SignOff){
		"no name":      func(s *safety.SignOff) { s.TypedName = " " },
		"no statement": func(s *safety.SignOff) { s.Statement = "" },
		"no day":       func(s *safety.SignOff) { s.Day = civil.NoDate },
	} {
		other := so
		other.ID = newID()
		change(&other)
		if _, err := sc.store.AddSignOff(t.Context(), sc.firm, other); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: %v", name, err)
		}
	}
	gone := so
	gone.ID, gone.Assessment = newID(), newID()
	var f *fault.Error
	if _, err := sc.store.AddSignOff(t.Context(), sc.firm, gone); !errors.As(err, &f) || f.Kind != fault.NotFound || f.Field != "assessment" {
		t.Errorf("an assessment that is not there: %v", err)
	}
}

func TestAssessmentVersionsRace(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	first := sc.issue(t, 0)
	a := sc.assess(t)
	// Two people look at version 1 and issue the next.
	if _, err := sc.store.IssueAssessment(t.Context(), sc.firm, sc.job, a, 1, "Rhodri Pask", at(6, 5)); err != nil {
		t.Fatal(err)
	}
	if _, err := sc.store.IssueAssessment(t.Context(), sc.firm, sc.job, a, 1, "Dele Ashworth", at(6, 6)); fault.KindOf(err) != fault.Conflict {
		t.Errorf("the second of two: %v", err)
	}
	// Eight at the same moment: one wins.
	var wg sync.WaitGroup
	var mu sync.Mutex
	won := 0
	for range 8 {
		wg.Go(func() {
			_, err := sc.store.IssueAssessment(context.Background(), sc.firm, sc.job, a, 2, "Rhodri Pask", at(6, 7))
			mu.Lock()
			defer mu.Unlock()
			if err == nil {
				won++
			} else if fault.KindOf(err) != fault.Conflict {
				t.Errorf("a lost race is a conflict: %v", err)
			}
		})
	}
	wg.Wait()
	if won != 1 {
		t.Errorf("%d of 8 issued version 3, want 1", won)
	}
	now, err := sc.store.CurrentAssessment(t.Context(), sc.firm, sc.job)
	if err != nil || now.Version != 3 || now.Approved || now.FactsNow != now.FactsHash {
		t.Errorf("in force %+v, %v", now, err)
	}
	old, err := sc.store.AssessmentVersion(t.Context(), sc.firm, first.ID)
	if err != nil || old.Version != 1 || old.Body.Hash() != first.BodyHash {
		t.Errorf("version 1 as it was: %+v, %v", old, err)
	}
	// The facts change: the version in force says so.
	if _, err := sc.Owner.Exec(t.Context(), `UPDATE site SET facts = facts || '{"battery": true}'`); err != nil {
		t.Fatal(err)
	}
	if now, err = sc.store.CurrentAssessment(t.Context(), sc.firm, sc.job); err != nil || now.FactsNow == now.FactsHash {
		t.Errorf("a survey fact changed and the version in force does not know: %v", err)
	}
	if _, err := sc.store.IssueAssessment(t.Context(), sc.firm, newID(), a, 0, "Rhodri Pask", at(6, 8)); fault.KindOf(err) != fault.NotFound {
		t.Errorf("for a job that is not there: %v", err)
	}
	if _, err := sc.store.IssueAssessment(t.Context(), sc.firm, sc.job, a, 3, " ", at(6, 8)); fault.KindOf(err) != fault.Invalid {
		t.Errorf("issued by nobody: %v", err)
	}
}

func TestAStopIsLiftedByAnotherAndOnce(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	ctx := t.Context()
	stop, err := sc.store.StopWork(ctx, sc.firm, safety.StopWork{ID: newID(), Job: sc.job, Reason: "loose board", ByID: sc.mate, At: at(7, 10)})
	if err != nil || stop.By != "Dele Ashworth" || !stop.Open() {
		t.Fatalf("stopped: %+v, %v", stop, err)
	}
	if again, err := sc.store.StopWork(ctx, sc.firm, stop); err != nil || again != stop {
		t.Errorf("sent again: %+v, %v", again, err)
	}
	other := stop
	other.Reason = "nothing"
	if _, err := sc.store.StopWork(ctx, sc.firm, other); fault.KindOf(err) != fault.Conflict {
		t.Errorf("another stop under the same identity: %v", err)
	}
	if _, err := sc.store.StopWork(ctx, sc.firm, safety.StopWork{Job: sc.job, ByID: sc.mate, At: at(7, 10)}); fault.KindOf(err) != fault.Invalid {
		t.Errorf("a stop without a reason: %v", err)
	}
	if _, err := sc.store.StopWork(ctx, sc.firm, safety.StopWork{Job: sc.job, Reason: "a\x00b", ByID: sc.mate, At: at(7, 10)}); fault.KindOf(err) != fault.Invalid {
		t.Errorf("a reason that cannot be stored: %v", err)
	}
	if err := sc.store.LiftStop(ctx, sc.firm, stop.ID, sc.mate, "changed my mind", at(7, 15)); fault.KindOf(err) != fault.Forbidden {
		t.Errorf("lifted by whoever stopped: %v", err)
	}
	if err := sc.store.LiftStop(ctx, sc.firm, stop.ID, sc.other, "  ", at(7, 15)); fault.KindOf(err) != fault.Invalid {
		t.Errorf("lifted without a reason: %v", err)
	}
	if err := sc.store.LiftStop(ctx, sc.firm, newID(), sc.other, "fixed", at(7, 15)); fault.KindOf(err) != fault.NotFound {
		t.Errorf("a stop that is not there: %v", err)
	}
	if err := sc.store.LiftStop(ctx, sc.firm, stop.ID, sc.other, "fixed", at(7, 15)); err != nil {
		t.Fatal(err)
	}
	if err := sc.store.LiftStop(ctx, sc.firm, stop.ID, sc.lead, "fixed too", at(7, 16)); fault.KindOf(err) != fault.Conflict {
		t.Errorf("lifted twice: %v", err)
	}
	all, err := sc.store.Stops(ctx, sc.firm, sc.job)
	if err != nil || len(all) != 1 || all[0].Open() || all[0].LiftedBy != "Imogen Thackray" || !all[0].LiftedAt.Equal(at(7, 15)) || all[0].LiftWhy != "fixed" {
		t.Errorf("stops: %+v, %v", all, err)
	}
}

func TestBadRecordsAreRefusedWithNothingSaved(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	ctx := t.Context()
	v := sc.issue(t, 0)
	bad := sc.report(safety.Inspection, at(7, 0))
	bad.Risks, bad.ByPosition = "", " "
	if _, err := sc.store.AddReport(ctx, sc.firm, bad); len(fault.Each(err)) != 2 {
		t.Errorf("a report without two particulars: %v", err)
	}
	bad = sc.report(safety.Inspection, at(7, 0))
	bad.RecordedBy = ""
	if _, err := sc.store.AddReport(ctx, sc.firm, bad); fault.KindOf(err) != fault.Invalid {
		t.Errorf("a report recorded by nobody: %v", err)
	}
	event := safety.ScaffoldEvent{Job: sc.job, What: "wind", Detail: "gust", At: at(7, 0), By: "Imogen Thackray", RecordedAt: at(7, 0)}
	for name, spoil := range map[string]func(*safety.ScaffoldEvent){
		"what": func(e *safety.ScaffoldEvent) { e.What = "snow" }, "detail": func(e *safety.ScaffoldEvent) { e.Detail = "" },
		"at": func(e *safety.ScaffoldEvent) { e.At = time.Time{} }, "recorded by": func(e *safety.ScaffoldEvent) { e.By = "" },
	} {
		e := event
		spoil(&e)
		var f *fault.Error
		if _, err := sc.store.AddEvent(ctx, sc.firm, e); !errors.As(err, &f) || f.Field != name {
			t.Errorf("an event without %s: %v", name, err)
		}
	}
	b := safety.Briefing{Crew: sc.crew, Job: sc.job, Day: day, Assessment: v.ID, Checks: map[string]safety.Answer{"ladder_tied": safety.Yes}, By: sc.lead, At: at(7, 30)}
	for name, spoil := range map[string]func(*safety.Briefing){
		"check": func(b *safety.Briefing) { b.Checks = map[string]safety.Answer{"ladder_tide": safety.Yes} },
		"gust":  func(b *safety.Briefing) { b.GustMS = weather.Is(-1) },
		"day":   func(b *safety.Briefing) { b.Day = civil.NoDate },
	} {
		one := b
		spoil(&one)
		var f *fault.Error
		if _, err := sc.store.SaveBriefing(ctx, sc.firm, one); !errors.As(err, &f) || f.Field != name {
			t.Errorf("a briefing with a bad %s: %v", name, err)
		}
	}
	for name, c := range map[string]safety.Competence{
		"kind": {Kind: "juggling", From: day, Until: civil.NoDate}, "from": {Kind: safety.Roof, From: civil.NoDate, Until: civil.NoDate},
		"to": {Kind: safety.Roof, From: day, Until: day - 1},
	} {
		if err := sc.store.SaveCompetence(ctx, sc.firm, sc.mate, c); fault.KindOf(err) != fault.Invalid {
			t.Errorf("a competence with a bad %s: %v", name, err)
		}
	}
	for _, table := range []string{"scaffold_report", "scaffold_event", "briefing", "competence"} {
		var n int
		if err := sc.Owner.QueryRow(ctx, `SELECT count(*) FROM `+table).Scan(&n); err != nil || n != 0 {
			t.Errorf("%d rows of %s saved, %v", n, table, err)
		}
	}
	if err := sc.store.SaveCompetence(ctx, sc.firm, newID(), safety.Competence{Kind: safety.Roof, From: day, Until: civil.NoDate}); fault.KindOf(err) != fault.NotFound {
		t.Errorf("a competence of nobody: %v", err)
	}
}

func TestCompetencesAreCorrectedAndReadBack(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	ctx := t.Context()
	for _, c := range []safety.Competence{
		{Kind: safety.Roof, From: day - 10, Until: day, Evidence: "card"},
		{Kind: safety.FirstAid, From: day - 10, Until: civil.NoDate, Evidence: "course"},
		{Kind: safety.Roof, From: day - 10, Until: day + 90, Evidence: "renewed card"},
	} {
		if err := sc.store.SaveCompetence(ctx, sc.firm, sc.mate, c); err != nil {
			t.Fatal(err)
		}
	}
	got, err := sc.store.CompetencesOf(ctx, sc.firm, sc.mate)
	if err != nil || len(got) != 2 || got[0].Until.Known() || got[1] != (safety.Competence{Kind: safety.Roof, From: day - 10, Until: day + 90, Evidence: "renewed card"}) {
		t.Errorf("got %+v, %v", got, err)
	}
}

// The newest briefing of the day is the one that counts.
func TestALaterBriefingStandsInFront(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	v := sc.issue(t, 0)
	for i, answer := range []safety.Answer{safety.No, safety.Yes} {
		_, err := sc.store.SaveBriefing(t.Context(), sc.firm, safety.Briefing{Crew: sc.crew, Job: sc.job, Day: day, Assessment: v.ID,
			Checks: map[string]safety.Answer{"ladder_tied": answer}, By: sc.lead, At: at(7, 30+i)})
		if err != nil {
			t.Fatal(err)
		}
	}
	snap, err := sc.store.Morning(t.Context(), sc.firm, sc.crew, sc.job, day)
	if err != nil || snap.Briefing == nil || snap.Briefing.Checks["ladder_tied"] != safety.Yes || snap.Briefing.GustMS.Known {
		t.Errorf("briefing %+v, %v", snap.Briefing, err)
	}
	if tomorrow, err := sc.store.Morning(t.Context(), sc.firm, sc.crew, sc.job, day+1); err != nil || tomorrow.Briefing != nil {
		t.Errorf("tomorrow's briefing %+v, %v", tomorrow.Briefing, err)
	}
}

// A job that the office cancelled or closed is not clear, whatever else is.
func TestACancelledJobIsNotClear(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	sc.fill(t)
	for _, state := range []string{"cancelled", "done", "open"} {
		if _, err := sc.Owner.Exec(t.Context(), `UPDATE job SET state = $2 WHERE job_id = $1`, sc.job, state); err != nil {
			t.Fatal(err)
		}
		snap, err := sc.store.Morning(t.Context(), sc.firm, sc.crew, sc.job, day)
		if err != nil {
			t.Fatal(err)
		}
		snap.Stages, snap.Outdoors, snap.StartAt, snap.EndAt = []string{"first_fix"}, false, at(8, 0), at(15, 0)
		for _, c := range safety.Decide(snap, at(7, 50)).Conditions {
			if want := state == "open"; c.Code == "B21" && (c.State == safety.Met) != want {
				t.Errorf("%s: %s", state, c.Sentence())
			}
		}
	}
}

// A caution agreed to at the briefing, with the number that was read out, is
// stored; a later forecast with a worse one was not spoken about.
func TestAnAgreedCautionIsNoBlankCheque(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	sc.fill(t)
	morning := func(gust float64) safety.Snapshot {
		t.Helper()
		snap, err := sc.store.Morning(t.Context(), sc.firm, sc.crew, sc.job, day)
		if err != nil {
			t.Fatal(err)
		}
		snap.Stages, snap.Outdoors, snap.StartAt, snap.EndAt = []string{"roof_work"}, true, at(8, 0), at(15, 0)
		snap.Weather = weather.Judgement{Task: weather.PanelCarrying, From: at(8, 0), To: at(15, 0), Verdict: weather.Caution,
			Levels: []weather.Level{{Quantity: weather.WindGust, Caution: weather.Is(8), Stop: weather.Is(10.28)}},
			Reasons: []weather.Reason{{Rule: "gust while carrying modules", Verdict: weather.Caution, Quantity: weather.WindGust, Known: true,
				Value: gust, Limit: 8, Unit: "m/s", Source: "firm"}}}
		for i := range snap.SignOffs { // given when the forecast said caution
			snap.SignOffs[i].GivenFor = safety.BasisOf(snap)
		}
		return snap
	}
	snap := morning(8.31)
	b := safety.Briefing{Crew: sc.crew, Job: sc.job, Day: day, Assessment: snap.Assessment.ID, Checks: map[string]safety.Answer{}, By: sc.lead, At: at(7, 46)}
	for _, c := range safety.ChecksFor(snap) {
		b.Checks[c.Key] = safety.Yes
	}
	if _, err := sc.store.SaveBriefing(t.Context(), sc.firm, b); err != nil {
		t.Fatal(err)
	}
	for gust, want := range map[float64]safety.Verdict{8.31: safety.Clear, 8.1: safety.Clear, 8.99: safety.NotClear} {
		if d := safety.Decide(morning(gust), at(7, 50)); d.Verdict != want {
			t.Errorf("8.31 m/s agreed, %g m/s forecast: %s, %+v", gust, d.Verdict, d.Holding())
		}
	}
	b.ID, b.Checks = uuid.Nil, map[string]safety.Answer{"weather_caution:wind_gust:much:8": safety.Yes}
	if _, err := sc.store.SaveBriefing(t.Context(), sc.firm, b); fault.KindOf(err) != fault.Invalid {
		t.Errorf("an answer to no caution: %v", err)
	}
}

// 14 m/s read, then the same briefing again with the field left empty: the
// reading stands, until 4 m/s are read.
func TestAReadingIsNotErasedByAnEmptyField(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	v := sc.issue(t, 0)
	for i, step := range []struct {
		gust weather.Value
		want safety.State
	}{{weather.Is(14), safety.NotMet}, {weather.Value{}, safety.NotMet}, {weather.Is(4), safety.Met}, {weather.Value{}, safety.Met}} {
		_, err := sc.store.SaveBriefing(t.Context(), sc.firm, safety.Briefing{Crew: sc.crew, Job: sc.job, Day: day, Assessment: v.ID,
			Checks: map[string]safety.Answer{}, GustMS: step.gust, By: sc.lead, At: at(7, 30+i)})
		if err != nil {
			t.Fatal(err)
		}
		snap, err := sc.store.Morning(t.Context(), sc.firm, sc.crew, sc.job, day)
		if err != nil {
			t.Fatal(err)
		}
		snap.Stages, snap.Outdoors, snap.StartAt, snap.EndAt = []string{"roof_work"}, true, at(8, 0), at(15, 0)
		snap.Weather = weather.Judgement{Task: weather.PanelCarrying, From: at(8, 0), To: at(15, 0), Verdict: weather.Go,
			Levels: []weather.Level{{Quantity: weather.WindGust, Stop: weather.Is(10.3)}}}
		for _, c := range safety.Decide(snap, at(7, 50)).Conditions {
			if c.Code == "B10" && c.State != step.want {
				t.Errorf("briefing %d: %s, want %s", i+1, c.Sentence(), step.want)
			}
		}
	}
}

func TestReportsAndEventsReadBackAsWritten(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	ctx := t.Context()
	w1, err := sc.store.AddReport(ctx, sc.firm, sc.report(safety.Handover, at(15, 0).AddDate(0, 0, -2)))
	if err != nil {
		t.Fatal(err)
	}
	second := sc.report(safety.Inspection, at(7, 0))
	second.Fit, second.Further, second.LoadClass = false, "tie missing", 0
	w2, err := sc.store.AddReport(ctx, sc.firm, second)
	if err != nil {
		t.Fatal(err)
	}
	got, err := sc.store.Reports(ctx, sc.firm, sc.job)
	if err != nil || len(got) != 2 || got[0] != w2 || got[1] != w1 {
		t.Errorf("got %+v, %v, want %+v then %+v", got, err, w2, w1)
	}
	e, err := sc.store.AddEvent(ctx, sc.firm, safety.ScaffoldEvent{Job: sc.job, What: "impact", Detail: "lorry", At: at(9, 0), By: "Imogen Thackray", RecordedAt: at(9, 5)})
	if err != nil {
		t.Fatal(err)
	}
	events, err := sc.store.Events(ctx, sc.firm, sc.job)
	if err != nil || len(events) != 1 || events[0] != e {
		t.Errorf("got %+v, %v, want %+v", events, err, e)
	}
}
