package api

import (
	"context"
	"encoding/json"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/archive"
	"toeboard/weather/civil"
)

// scene is an invented firm on Tuesday 1 December 2026, 07:15: a roof crew with
// a standing scaffold at job Q-1, an electrical crew at the same job, a second
// job whose scaffold is still to come, and a published plan made by hand.
type scene struct {
	*bench
	office, lead, mate, spark, sparkMate uuid.UUID
	emails                               map[uuid.UUID]string
	alder, damson                        schedule.Crew
	yard                                 schedule.ScaffoldFirm
	q1, q2                               schedule.Job
	plan                                 schedule.Plan
}

var tuesday = civil.On(2026, 12, 1)

func newScene(t *testing.T) *scene {
	t.Helper()
	s := &scene{bench: newBench(t), emails: map[uuid.UUID]string{}}
	s.people()
	s.crewsAndFirms()
	s.jobs()
	s.forecasts(calm)
	s.scaffoldUp()
	s.assess(s.q1.Ref)
	s.plan = s.publishByHand(nil)
	return s
}

func (s *scene) people() {
	far := tuesday + 400
	add := func(name string, role schedule.Role, can ...string) uuid.UUID {
		id, email := s.addPerson(s.firm, name, role)
		s.emails[id] = email
		must(s.t, s.svc.accounts.setPIN(context.Background(), s.firm, id, id, testPINHash(), benchStart.AddDate(0, 0, -30)))
		for _, k := range can {
			must(s.t, s.safety.SaveCompetence(context.Background(), s.firm, id, safety.Competence{Kind: k, From: tuesday - 300, Until: far}))
		}
		return id
	}
	s.office = add("Imogen Thackray", schedule.Office)
	s.lead = add("Rhodri Pask", schedule.CrewLead, safety.LeadRoof, safety.Roof)
	s.mate = add("Dele Ashworth", schedule.CrewMember, safety.Roof, safety.FirstAid, safety.RoofRescue)
	s.spark = add("Callum Reyes", schedule.CrewLead, safety.Electrical)
	s.sparkMate = add("Beth Nowak", schedule.CrewMember, safety.FirstAid)
	for name, id := range map[string]uuid.UUID{"Imogen Thackray": s.office, "Rhodri Pask": s.lead, "Dele Ashworth": s.mate, "Callum Reyes": s.spark, "Beth Nowak": s.sparkMate} {
		s.induct(id, name)
	}
}

// induct keeps that somebody was told everything when they started.
func (s *scene) induct(person uuid.UUID, name string) {
	i := safety.Induction{On: tuesday - 200, GivenBy: "Gwen Strand, safety adviser", Proof: safety.ByPIN, RecordedBy: person, At: benchStart.AddDate(0, 0, -30)}
	for _, topic := range safety.Topics() {
		i.Covered = append(i.Covered, topic.Key)
	}
	_, err := s.safety.AddInduction(context.Background(), s.firm, safety.Person{ID: person, Name: name}, i, tuesday-30)
	must(s.t, err)
}

func (s *scene) crewsAndFirms() {
	ctx := context.Background()
	crew := func(name string, trade schedule.Trade, people ...uuid.UUID) schedule.Crew {
		k := schedule.Crew{ID: uuid.New(), Name: name, Trade: trade, HomeLat: 51.5, HomeLon: -0.1, HalfDayCost: 150_00, Active: true}
		must(s.t, s.schedule.SaveCrew(ctx, s.firm, k))
		for i, p := range people {
			must(s.t, s.schedule.AddMember(ctx, s.firm, k.ID, schedule.Membership{Person: schedule.Person{ID: p}, From: tuesday - 300, Until: civil.NoDate, Lead: i == 0}))
		}
		return k
	}
	s.alder = crew("Alder", schedule.RoofTrade, s.lead, s.mate)
	s.damson = crew("Damson", schedule.ElectricalTrade, s.spark, s.sparkMate)
	s.yard = schedule.ScaffoldFirm{ID: uuid.New(), Name: "Upright & Brace", Email: "yard@brace.example", Phone: "01632 960101", GangsPerDay: 1, Sets: 4,
		ErectNotice: 5, StrikeNotice: 3, VisitPrice: 780_00, IncludedWeeks: 4, WeeklyHire: 45_00, Active: true}
	must(s.t, s.schedule.SaveScaffoldFirm(ctx, s.firm, s.yard))
}

// job makes a house about which all is known that a clear morning needs.
func (s *scene) job(ref string) schedule.Job {
	j := schedule.Job{
		ID: uuid.New(), Ref: ref, State: schedule.JobOpen,
		Customer: schedule.Customer{ID: uuid.New(), Name: "Hallam household", Email: "hallam@mail.example", Phone: "01632 960205"},
		Site: schedule.Site{ID: uuid.New(), Address: ref + " Heron Row, Quillmere", Postcode: "XQ1 1AB", Lat: 51.5, Lon: -0.12, Terrain: "III", WorkingHeightM: 6.5,
			Facts: map[string]any{"pitch_deg": 35.0, "inverter": "micro", "ohl_support": "none", "service_overhead": false, "year_built": 2004.0,
				"phase_plan": true, "customer_access": true, "spare_tiles": 20.0, "scaffold_load_class": 2.0, "scaffold_lifts": 2.0}},
		Modules: 10, ModuleWatts: 430, ModuleKg: 21.5, ModuleM2: 1.95, ReadyOn: civil.NoDate, PromisedOn: tuesday + 17, CreatedAt: benchStart.AddDate(0, -1, 0),
	}
	for _, k := range schedule.StageKinds {
		halves := map[schedule.StageKind]int{schedule.ScaffoldErection: 2, schedule.RoofWork: 2}[k]
		j.Stages = append(j.Stages, schedule.Stage{Kind: k, HalfDays: max(1, halves), StartedOn: civil.NoDate, DoneOn: civil.NoDate})
	}
	j.Kit = []schedule.Kit{{Item: "430 W modules", Quantity: 10, DueOn: tuesday - 4, ArrivedOn: tuesday - 4}}
	return j
}

func (s *scene) jobs() {
	s.q1, s.q2 = s.job("Q-1"), s.job("Q-2")
	for _, j := range []schedule.Job{s.q1, s.q2} {
		must(s.t, s.schedule.SaveJob(context.Background(), s.firm, j, "Imogen Thackray", benchStart))
	}
}

// scaffoldUp makes the scaffold at Q-1 stand, handed over and inspected.
func (s *scene) scaffoldUp() {
	ctx := context.Background()
	must(s.t, s.schedule.AddStanding(ctx, s.firm, schedule.Booking{Job: s.q1.ID, ScaffoldFirm: s.yard.ID, ErectOn: tuesday - 4, StrikeOn: tuesday + 6}, benchStart.AddDate(0, 0, -4)))
	must(s.t, s.schedule.StageDone(ctx, s.firm, s.q1.Ref, schedule.ScaffoldErection, tuesday-4, "Imogen Thackray", benchStart.AddDate(0, 0, -4)))
	for kind, days := range map[string]int{safety.Handover: -4, safety.Inspection: -3} {
		r := goodReport(kind, benchStart.AddDate(0, 0, days))
		r.Job = s.q1.ID
		_, err := s.safety.AddReport(ctx, s.firm, r)
		must(s.t, err)
	}
}

func goodReport(kind string, at time.Time) safety.ScaffoldReport {
	var c safety.Certificate
	if kind == safety.Handover {
		c = safety.Certificate{DesignRef: "compliance sheet 12", Lifts: 2, Ties: "through ties, every other lift", ReceivedBy: "Imogen Thackray"}
	}
	return safety.ScaffoldReport{Certificate: c, Kind: kind, ForWhom: "Quillmere Solar, 1 Yard Lane", Location: "front and back", Description: "two lifts, independent tied",
		At: at, Risks: "none found", ActionTaken: "none", Further: "none", ByName: "Gwen Strand", ByPosition: "scaffold inspector", Fit: true, LoadClass: 2,
		RecordedBy: "Imogen Thackray", RecordedAt: at.Add(time.Hour)}
}

// assess issues and approves a job's assessment.
func (s *scene) assess(ref string) safety.AssessmentInForce {
	a, err := s.svc.IssueAssessment(context.Background(), s.firm, ref, "Imogen Thackray")
	must(s.t, err)
	a, err = s.svc.ApproveAssessment(context.Background(), s.firm, ref, a.ID, s.office)
	must(s.t, err)
	return a
}

// sky is a whole test forecast in one word.
type sky string

const (
	calm  sky = "calm"
	storm sky = "storm"

	turning sky = "turning" // calm until 13:00 UTC of the scene's Tuesday, then a storm
)

// testProvider is a provider whose stored answer is one word: four days of the
// same weather from six hours before it was fetched.
const testProvider = "Test sky"

func readSky(body []byte, fetchedAt time.Time) ([]weather.Series, error) {
	var word sky
	if err := json.Unmarshal(body, &word); err != nil {
		return nil, err
	}
	s := weather.Series{Provider: testProvider, FetchedAt: fetchedAt, ModelRun: fetchedAt.Add(-time.Hour), Lat: 51.5, Lon: -0.12}
	wind := map[sky]float64{calm: 2, storm: 19}[word]
	m := weather.Member{}
	for i := range 96 {
		if word == turning {
			wind = 2
			if at := fetchedAt.Truncate(time.Hour).Add(time.Duration(i-48) * time.Hour); !at.Before(time.Date(2026, 12, 1, 13, 0, 0, 0, time.UTC)) {
				wind = 19
			}
		}
		m.Hours = append(m.Hours, weather.Hour{
			From: fetchedAt.Truncate(time.Hour).Add(time.Duration(i-48) * time.Hour), Span: time.Hour,
			WindMean: weather.Is(wind), WindGust: weather.Is(1.4 * wind), Rain: weather.Is(0), RainChance: weather.Is(0),
			Temp: weather.Is(9), DewPoint: weather.Is(3), Humidity: weather.Is(66), Cloud: weather.Is(100), Thunder: weather.Is(0),
		})
	}
	s.Members = []weather.Member{m}
	return []weather.Series{s}, nil
}

func (s *scene) forecasts(w sky) {
	body, err := json.Marshal(w)
	must(s.t, err)
	now := s.clock().Add(-20 * time.Minute)
	for _, j := range []schedule.Job{s.q1, s.q2} {
		must(s.t, s.archive.Save(context.Background(), s.firm, archive.Answer{Site: j.Site.ID, Provider: testProvider, ModelRun: now.Add(-time.Hour),
			FetchedAt: now, From: now.Add(-48 * time.Hour), To: now.Add(48 * time.Hour), Body: body}))
	}
}

// saveByHand saves a draft: roof work at Q-1 today, electrical work beside it,
// the scaffold at Q-2 next week. change may alter it first.
func (s *scene) saveByHand(change func(*schedule.Plan)) schedule.Plan {
	s.t.Helper()
	day := func(d civil.Date) []civil.HalfDay {
		return []civil.HalfDay{d.In(civil.Morning), d.In(civil.Afternoon)}
	}
	p := schedule.Plan{
		State: schedule.Draft, FirstDay: tuesday, Days: 28, Seed: 1, Schedules: 1, MadeBy: "Imogen Thackray", MadeAt: s.clock(),
		Visits: []schedule.Visit{
			{Job: s.q1.ID, Stage: schedule.RoofWork, Crew: s.alder.ID, HalfDays: day(tuesday), Chance: weather.Chance{Known: true, P: 0.9}, Why: "as early as the scaffold allows"},
			{Job: s.q1.ID, Stage: schedule.FirstFix, Crew: s.damson.ID, HalfDays: day(tuesday)[:1], Why: "as early as it can be"},
			{Job: s.q1.ID, Stage: schedule.ScaffoldStrike, ScaffoldFirm: s.yard.ID, HalfDays: day(tuesday + 7)[:1], Why: "three working days' notice"},
			{Job: s.q2.ID, Stage: schedule.ScaffoldErection, ScaffoldFirm: s.yard.ID, HalfDays: day(tuesday + 8), Why: "five working days' notice"},
			{Job: s.q2.ID, Stage: schedule.RoofWork, Crew: s.alder.ID, HalfDays: day(tuesday + 9), Chance: weather.Chance{Known: true, P: 0.6}, Why: "after the scaffold"},
			{Job: s.q2.ID, Stage: schedule.ScaffoldStrike, ScaffoldFirm: s.yard.ID, HalfDays: day(tuesday + 13)[:1], Why: "after the roof"},
		},
		Cost: schedule.Cost{Total: 1560_00, Lines: []schedule.CostLine{{Item: schedule.ScaffoldVisits, Job: s.q2.ID, Amount: 1560_00, Why: "two scaffolds at £780.00"}}},
	}
	for _, k := range []schedule.StageKind{schedule.Commissioning, schedule.SecondFix, schedule.FirstFix} {
		p.Unplanned = append(p.Unplanned, schedule.Unplanned{Job: s.q2.ID, Stage: k, Why: "no electrical crew is free before Christmas"})
		if k != schedule.FirstFix {
			p.Unplanned = append(p.Unplanned, schedule.Unplanned{Job: s.q1.ID, Stage: k, Why: "no electrical crew is free before Christmas"})
		}
	}
	if current, err := s.schedule.CurrentPlan(context.Background(), s.firm); err == nil {
		p.Base = current.ID
	}
	if change != nil {
		change(&p)
	}
	saved, err := s.schedule.SavePlan(context.Background(), s.firm, p)
	must(s.t, err)
	return saved
}

func (s *scene) publishByHand(change func(*schedule.Plan)) schedule.Plan {
	s.t.Helper()
	p := s.saveByHand(change)
	p, _, err := s.schedule.Publish(context.Background(), s.firm, p.ID, "Imogen Thackray", s.clock(), nil)
	must(s.t, err)
	return p
}

// by gives the agent of one of the scene's people.
func (s *scene) by(person uuid.UUID) *agent {
	s.t.Helper()
	return s.signedIn(s.emails[person])
}

// booking finds the live booking of a job.
func (s *scene) booking(job schedule.Job) schedule.Booking {
	s.t.Helper()
	all, err := s.schedule.Bookings(context.Background(), s.firm)
	must(s.t, err)
	for _, b := range all {
		if b.Job == job.ID && b.Live() {
			return b
		}
	}
	s.t.Fatalf("job %s has no live booking", job.Ref)
	return schedule.Booking{}
}
