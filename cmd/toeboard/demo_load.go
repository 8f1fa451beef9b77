package main

import (
	"cmp"
	"context"
	"fmt"
	"net"
	"net/http"
	"slices"
	"time"

	"github.com/google/uuid"

	"toeboard/api"
	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/composed"
	"toeboard/weather/openmeteo"
)

// begin loads a new invented firm and remembers it. What it remembers is
// written last: a load that was cut short is begun again with another firm, and
// nobody sees the half one.
func (d *demo) begin(ctx context.Context, path string) error {
	holidays, err := schedule.BankHolidays("england-and-wales")
	if err != nil {
		return err
	}
	if err := d.load(ctx, newScenario(d.day, holidays, newID), holidays); err != nil {
		return err
	}
	d.state.Loaded = true
	return d.state.write(path)
}

// load puts the invented firm into the database, reads its forecasts, plans
// and publishes.
func (d *demo) load(ctx context.Context, sc scenario, holidays []schedule.Holiday) error {
	d.state.Firm, d.state.Password = sc.firm.ID, "quill-"+newToken()[:8]
	if err := d.loadFirm(ctx, sc, holidays); err != nil {
		return fmt.Errorf("load the invented firm: %w", err)
	}
	if err := d.loadSafety(ctx, sc); err != nil {
		return fmt.Errorf("load the invented firm's assessments: %w", err)
	}
	if _, err := d.service.RefreshForecasts(ctx, sc.firm.ID, d.fetch); err != nil {
		return fmt.Errorf("read the forecasts: %w", err)
	}
	return d.planAndPublish(ctx, sc)
}

func (d *demo) loadFirm(ctx context.Context, sc scenario, holidays []schedule.Holiday) error {
	firm := sc.firm.ID
	if err := d.schedule.CreateFirm(ctx, sc.firm, holidays); err != nil {
		return err
	}
	for _, p := range sc.people {
		if err := d.schedule.SavePerson(ctx, firm, p.Person); err != nil {
			return err
		}
		if err := d.loadSignIn(ctx, firm, p); err != nil {
			return err
		}
		if err := d.loadInduction(ctx, sc, p); err != nil {
			return err
		}
		office := api.Caller{Firm: firm, Person: sc.people[0].ID, Role: schedule.Office}
		if err := d.service.SetPIN(ctx, office, p.ID, d.state.pinOf(p.Name), ""); err != nil {
			return err
		}
	}
	for _, c := range sc.crews {
		if err := d.schedule.SaveCrew(ctx, firm, c); err != nil {
			return err
		}
		for _, m := range c.Members {
			if err := d.schedule.AddMember(ctx, firm, c.ID, m); err != nil {
				return err
			}
		}
	}
	for _, f := range sc.scaffoldFirms {
		if err := d.schedule.SaveScaffoldFirm(ctx, firm, f); err != nil {
			return err
		}
		if err := d.loadLinks(ctx, firm, f); err != nil {
			return err
		}
	}
	for _, j := range sc.jobs {
		if err := d.schedule.SaveJob(ctx, firm, j, sc.people[0].Name, d.now()); err != nil {
			return err
		}
	}
	for _, p := range sc.pins {
		p.pin.SetAt = d.now()
		if _, err := d.schedule.SetPin(ctx, firm, p.ref, p.pin); err != nil {
			return err
		}
	}
	return d.loadStanding(ctx, sc)
}

func (d *demo) loadSignIn(ctx context.Context, firm uuid.UUID, p scenarioPerson) error {
	if err := d.service.SetPassword(ctx, firm, p.ID, p.email, d.state.Password); err != nil {
		return err
	}
	for _, c := range p.competences {
		if err := d.safety.SaveCompetence(ctx, firm, p.ID, safety.Competence{Kind: c.kind, From: d.day - 300, Until: c.until, Evidence: "card seen by the office"}); err != nil {
			return err
		}
	}
	return nil
}

// loadInduction keeps that somebody was told everything when they started.
func (d *demo) loadInduction(ctx context.Context, sc scenario, p scenarioPerson) error {
	giver := sc.people[0]
	if giver.ID == p.ID {
		giver = sc.people[1]
	}
	i := safety.Induction{ID: newID(), On: d.day - 300, GivenBy: giver.Name, Proof: safety.ByPIN, RecordedBy: p.ID, At: d.now()}
	for _, topic := range safety.Topics() {
		i.Covered = append(i.Covered, topic.Key)
	}
	_, err := d.safety.AddInduction(ctx, sc.firm.ID, safety.Person{ID: p.ID, Name: p.Name}, i, d.day)
	return err
}

func (d *demo) loadLinks(ctx context.Context, firm uuid.UUID, f schedule.ScaffoldFirm) error {
	link := demoLink{ScaffoldFirm: f.Name, Token: newToken()}
	if _, err := d.service.LinkFor(ctx, firm, f.ID, link.Token, time.Time{}, "the demo"); err != nil {
		return err
	}
	d.state.Links = append(d.state.Links, link)
	return nil
}

// loadStanding books the scaffolds that stand already.
func (d *demo) loadStanding(ctx context.Context, sc scenario) error {
	for _, s := range sc.standing {
		job := sc.jobByRef(s.ref)
		b := schedule.Booking{Job: job.ID, ScaffoldFirm: sc.scaffoldFirms[s.firm].ID, State: schedule.BookingErected,
			ErectOn: s.erected, StrikeOn: s.strike}
		if err := d.schedule.AddStanding(ctx, sc.firm.ID, b, d.now()); err != nil {
			return err
		}
	}
	return nil
}

// loadSafety issues and approves an assessment for each job and writes the
// reports of the scaffolds that stand.
func (d *demo) loadSafety(ctx context.Context, sc scenario) error {
	office := sc.people[0]
	for _, j := range sc.jobs {
		a, err := d.service.IssueAssessment(ctx, sc.firm.ID, j.Ref, office.Name)
		if err != nil {
			return err
		}
		if _, err := d.service.ApproveAssessment(ctx, sc.firm.ID, j.Ref, a.ID, office.ID); err != nil {
			return err
		}
	}
	for _, s := range sc.standing {
		for _, r := range sc.reports(s) {
			r.ID = newID()
			if _, err := d.safety.AddReport(ctx, sc.firm.ID, r); err != nil {
				return err
			}
			if r.Kind != safety.Inspection {
				continue
			}
			if err := d.safety.AddDelivery(ctx, sc.firm.ID, r.Job, safety.Delivery{Report: r.ID, To: sc.firm.Name, At: r.RecordedAt.Add(time.Hour),
				RecordedBy: sc.people[0].Name, RecordedAt: r.RecordedAt.Add(2 * time.Hour)}); err != nil {
				return err
			}
		}
	}
	return nil
}

// planAndPublish plans the weeks and lets the crew that has signed hold its
// briefing at the job the plan gives it.
func (d *demo) planAndPublish(ctx context.Context, sc scenario) error {
	firm := sc.firm.ID
	draft, err := d.service.Plan(ctx, firm, api.RunAsk{By: sc.people[0].Name, Seed: 1, Schedules: d.schedules}, nil)
	if err != nil {
		return fmt.Errorf("plan the weeks: %w", err)
	}
	if _, _, err := d.service.Publish(ctx, firm, draft.ID, sc.people[0].Name, nil); err != nil {
		return fmt.Errorf("publish the plan: %w", err)
	}
	if err := d.confirmDays(ctx, sc, draft); err != nil {
		return fmt.Errorf("record what customers confirmed: %w", err)
	}
	if err := d.holdOffer(ctx, firm, sc.people[0].Name); err != nil {
		return err
	}
	mornings, err := d.service.Mornings(ctx, firm, d.day)
	if err != nil {
		return err
	}
	for _, m := range mornings {
		if sc.signed(m.Job.Ref) {
			if err := d.signCrew(ctx, firm, m.Snapshot); err != nil {
				return fmt.Errorf("sign crew %s in: %w", m.Crew.Name, err)
			}
		}
	}
	return nil
}

// confirmedDays is how many customers have confirmed the day of their roof.
const confirmedDays = 2

// confirmDays has the customers of the first roofs from a week on confirm their
// day.
func (d *demo) confirmDays(ctx context.Context, sc scenario, p schedule.Plan) error {
	var roofs []schedule.Visit
	for _, v := range p.Visits {
		if v.Stage == schedule.RoofWork && v.First().Date() >= sc.day+7 {
			roofs = append(roofs, v)
		}
	}
	refs := map[uuid.UUID]string{}
	for _, j := range sc.jobs {
		refs[j.ID] = j.Ref
	}
	slices.SortFunc(roofs, func(a, b schedule.Visit) int {
		return cmp.Or(cmp.Compare(a.First(), b.First()), cmp.Compare(refs[a.Job], refs[b.Job]))
	})
	for _, v := range roofs[:min(confirmedDays, len(roofs))] {
		if err := d.schedule.ConfirmVisit(ctx, sc.firm.ID, refs[v.Job], v.Stage, v.First().Date(), sc.people[0].Name, d.now()); err != nil {
			return err
		}
	}
	return nil
}

// signCrew holds the briefing with every check answered yes and signs each
// person in.
func (d *demo) signCrew(ctx context.Context, firm uuid.UUID, s safety.Snapshot) error {
	now := d.now()
	b := safety.Briefing{ID: newID(), Crew: s.Crew, Job: s.Job, Day: s.Day, Assessment: s.Assessment.ID,
		Checks: map[string]safety.Answer{}, GustMS: weather.Is(4.1), At: now}
	for _, c := range safety.ChecksFor(s) {
		b.Checks[c.Key] = safety.Yes
	}
	for _, p := range s.People {
		if p.Lead {
			b.By = p.ID
		}
	}
	if _, err := d.safety.SaveBriefing(ctx, firm, b); err != nil {
		return err
	}
	for _, p := range s.People {
		_, err := d.safety.AddSignOff(ctx, firm, safety.SignOff{ID: newID(), Crew: s.Crew, Job: s.Job, Day: s.Day, Person: p.ID,
			Assessment: s.Assessment.ID, BodyHash: s.Assessment.BodyHash, Statement: safety.Statement(s, p), TypedName: p.Name,
			Proof: safety.ByPIN, OnPhoneOf: b.By, GivenFor: safety.BasisOf(s), ReceivedAt: now})
		if err != nil {
			return err
		}
	}
	return nil
}

// sky is the composed forecast on a loopback address of its own, so that the
// demo reads it with the client that reads the real service.
func (d *demo) sky() (stop func(), err error) {
	if d.verb.Live {
		d.fetch, err = d.settings.sources(d.now)
		return func() {}, err
	}
	if d.state.Sky == 0 {
		d.state.Sky = fairSky(newScenario(d.day, nil, newID), d.now())
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, fmt.Errorf("serve the composed sky: %w", err)
	}
	srv := &http.Server{Handler: composed.Handler(d.now, skyMembers, d.state.Sky), ReadHeaderTimeout: 5 * time.Second}
	go srv.Serve(l)
	made := openMeteo{&openmeteo.Client{BaseURL: "http://" + l.Addr().String() + composed.Path, HTTP: &http.Client{},
		UserAgent: "toeboard/" + version + " demo", Now: d.now, Days: 10}}
	d.fetch = api.Sources{{Key: keyComposed, Fetcher: made}, {Key: keyComposedRun, Fetcher: oneRun{made}}}
	return func() { srv.Close() }, nil
}

// reports are a handover on the day of erection with its first inspection, and
// the last inspection.
func (sc *scenario) reports(s standing) []safety.ScaffoldReport {
	job := sc.jobByRef(s.ref)
	loc, err := sc.firm.Location()
	if err != nil {
		loc = time.UTC
	}
	report := func(kind string, day civil.Date, hour int, name, position string) safety.ScaffoldReport {
		at := day.At(hour, 10, loc).UTC()
		var c safety.Certificate
		if kind == safety.Handover {
			c = safety.Certificate{DesignRef: "compliance sheet 12, rev B", Lifts: 2, Ties: "through ties, every other lift", ReceivedBy: sc.people[0].Name}
		}
		return safety.ScaffoldReport{Certificate: c, Job: job.ID, Kind: kind, ForWhom: sc.firm.Name + ", 1 Drove Yard, Quillmere", Location: job.Site.Address,
			Description: "tube and fitting scaffold, eaves and one gable, two lifts", At: at, Risks: "none found", ActionTaken: "none needed",
			Further: "none", ByName: name, ByPosition: position, Fit: true, LoadClass: 3, RecordedBy: sc.people[0].Name, RecordedAt: at.Add(20 * time.Minute)}
	}
	foreman := "Ossie Tranter"
	all := []safety.ScaffoldReport{
		report("handover", s.erected, 14, foreman, "scaffold firm's supervisor"),
		report("inspection", s.erected, 15, foreman, "scaffold firm's supervisor"),
	}
	if s.inspected != s.erected {
		all = append(all, report("inspection", s.inspected, s.hour, "Saoirse Lund", "crew lead, scaffold inspection ticket"))
	}
	return all
}

func (sc *scenario) jobByRef(ref string) schedule.Job {
	for _, j := range sc.jobs {
		if j.Ref == ref {
			return j
		}
	}
	return schedule.Job{}
}

func (sc *scenario) signed(ref string) bool {
	for _, s := range sc.standing {
		if s.ref == ref {
			return s.signed
		}
	}
	return false
}
