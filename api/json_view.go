package api

import (
	"encoding/hex"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// The rooms' types as the contract writes them. What is not known is absent.

// valueOf gives what an optional field holds, the zero value when it is absent.
func valueOf[T any](p *T) T {
	var zero T
	if p == nil {
		return zero
	}
	return *p
}

// optional gives the address of a value that is known.
func optional[T any](v T, known bool) *T {
	if !known {
		return nil
	}
	return &v
}

func optionalDate(d civil.Date) *Date     { return optional(d, d.Known()) }
func optionalText(s string) *string       { return optional(s, s != "") }
func optionalID(id uuid.UUID) *ID         { return optional(id, id != uuid.Nil) }
func optionalTime(t time.Time) *time.Time { return optional(t.UTC(), !t.IsZero()) }

func optionalNumber(v weather.Value) *float64 { return optional(v.N, v.Known) }

// mapped gives each element of a list as another type; an empty list stays a
// list.
func mapped[A, B any](all []A, f func(A) B) []B {
	out := make([]B, 0, len(all))
	for _, a := range all {
		out = append(out, f(a))
	}
	return out
}

func jobSummary(j schedule.Job) JobSummary {
	return JobSummary{
		ID: j.ID, Ref: j.Ref, State: JobState(j.State), Customer: j.Customer.Name, Address: j.Site.Address,
		Modules: j.Modules, ArrayKw: float64(j.Modules*j.ModuleWatts) / 1000,
		ReadyOn: optionalDate(j.ReadyOn), PromisedOn: optionalDate(j.PromisedOn),
	}
}

func jobView(j schedule.Job, a *safety.AssessmentInForce) Job {
	v := Job{
		ID: j.ID, Ref: j.Ref, State: JobState(j.State),
		Customer: Customer{Name: j.Customer.Name, Email: j.Customer.Email, Phone: j.Customer.Phone},
		Site: Site{ID: j.Site.ID, Address: j.Site.Address, Postcode: j.Site.Postcode, Lat: j.Site.Lat, Lon: j.Site.Lon,
			Terrain: j.Site.Terrain, WorkingHeightM: j.Site.WorkingHeightM, Facts: optional(j.Site.Facts, len(j.Site.Facts) > 0)},
		Modules: j.Modules, ModuleWatts: j.ModuleWatts, ModuleKg: j.ModuleKg, ModuleM2: j.ModuleM2,
		ReadyOn: optionalDate(j.ReadyOn), PromisedOn: optionalDate(j.PromisedOn), Note: j.Note,
		Stages: mapped(j.Stages, func(s schedule.Stage) Stage {
			return Stage{Kind: StageKind(s.Kind.Key()), HalfDays: s.HalfDays, State: StageState(s.State.Key()),
				StartedOn: optionalDate(s.StartedOn), DoneOn: optionalDate(s.DoneOn)}
		}),
		Consents: mapped(j.Consents, func(c schedule.Consent) Consent {
			return Consent{Kind: string(c.Kind), Stage: StageKind(c.Stage.Key()), State: ConsentState(c.State),
				ExpectedOn: optionalDate(c.ExpectedOn), GrantedOn: optionalDate(c.GrantedOn)}
		}),
		Kit: mapped(j.Kit, func(k schedule.Kit) Kit {
			return Kit{Item: k.Item, Quantity: k.Quantity, DueOn: optionalDate(k.DueOn), ArrivedOn: optionalDate(k.ArrivedOn)}
		}),
	}
	v.PromiseTold = optional(j.PromiseTold, j.PromisedOn.Known())
	v.Confirmed = mapped(j.Confirmed, func(c schedule.Confirmation) Confirmation {
		return Confirmation{Stage: StageKind(c.Stage.Key()), On: c.On}
	})
	if a != nil {
		v.Assessment = new(assessmentView(*a))
	}
	return v
}

func assessmentView(a safety.AssessmentInForce) Assessment {
	return Assessment{
		ID: a.ID, Version: a.Version, Approved: a.Approved, ApprovedBy: optionalText(a.ApprovedBy),
		Outdated: a.FactsHash != a.FactsNow, BodyHash: a.BodyHash.String(), MadeAt: a.MadeAt.UTC(),
		Hazards: mapped(a.Body.Entries, func(e safety.Entry) Hazard {
			return Hazard{ID: e.Hazard, Hazard: e.Name, Presence: string(e.Presence), Why: e.Why(), Who: e.Who,
				Before: Score(e.Before), After: Score(e.After), BandAfter: e.BandAfter, Source: e.Source,
				Controls: mapped(e.Controls, func(c safety.Control) string { return c.Do })}
		}),
	}
}

func planSummary(p schedule.Plan) PlanSummary {
	return PlanSummary{
		ID: p.ID, Version: p.Version, State: PlanState(p.State), FirstDay: p.FirstDay, Days: p.Days,
		TotalPence: int64(p.Cost.Total), MadeBy: p.MadeBy, MadeAt: p.MadeAt.UTC(), Visits: len(p.Visits), Unplanned: len(p.Unplanned),
	}
}

// directory finds names by identifiers.
type directory struct {
	jobs  map[uuid.UUID]schedule.Job
	crews map[uuid.UUID]schedule.Crew
	firms map[uuid.UUID]schedule.ScaffoldFirm
}

func newDirectory(jobs []schedule.Job, crews []schedule.Crew, firms []schedule.ScaffoldFirm) directory {
	d := directory{jobs: map[uuid.UUID]schedule.Job{}, crews: map[uuid.UUID]schedule.Crew{}, firms: map[uuid.UUID]schedule.ScaffoldFirm{}}
	for _, j := range jobs {
		d.jobs[j.ID] = j
	}
	for _, c := range crews {
		d.crews[c.ID] = c
	}
	for _, f := range firms {
		d.firms[f.ID] = f
	}
	return d
}

// who names the crew or the scaffold firm of a visit.
func (d directory) who(v schedule.Visit) string {
	if v.Crew != uuid.Nil {
		return d.crews[v.Crew].Name
	}
	return d.firms[v.ScaffoldFirm].Name
}

func planView(p schedule.Plan, d directory) Plan {
	return Plan{
		ID: p.ID, Version: p.Version, State: PlanState(p.State), BasePlanID: optionalID(p.Base), FirstDay: p.FirstDay, Days: p.Days,
		Seed: int64(p.Seed), Schedules: p.Schedules, SnapshotHash: hex.EncodeToString(p.Hash[:]),
		Visits: mapped(p.Visits, func(v schedule.Visit) Visit { return visitView(v, d) }),
		Cost: &Cost{TotalPence: int64(p.Cost.Total), Lines: mapped(p.Cost.Lines, func(l schedule.CostLine) CostLine {
			return CostLine{Item: string(l.Item), JobID: optionalID(l.Job), CrewID: optionalID(l.Crew), AmountPence: int64(l.Amount), Why: l.Why}
		})},
		Unplanned: mapped(p.Unplanned, func(u schedule.Unplanned) Unplanned {
			return Unplanned{JobID: u.Job, JobRef: d.jobs[u.Job].Ref, Stage: StageKind(u.Stage.Key()), Why: u.Why}
		}),
		MadeBy: p.MadeBy, MadeAt: p.MadeAt.UTC(), PublishedBy: optionalText(p.PublishedBy), PublishedAt: optionalTime(p.PublishedAt),
	}
}

func visitView(v schedule.Visit, d directory) Visit {
	return Visit{
		JobID: v.Job, JobRef: d.jobs[v.Job].Ref, Stage: StageKind(v.Stage.Key()), Who: d.who(v),
		CrewID: optionalID(v.Crew), ScaffoldFirmID: optionalID(v.ScaffoldFirm),
		HalfDays: mapped(v.HalfDays, civil.HalfDay.String), ReserveHalfDays: reserveOf(v, d.jobs[v.Job]),
		Chance: optional(v.Chance.P, v.Chance.Known), ChanceBasis: optionalText(v.Chance.Basis), Why: v.Why,
	}
}

// reserveOf says how many half-days of a visit are kept for weather; nil = the
// stage has begun, or the job has none, so nobody counts them.
func reserveOf(v schedule.Visit, j schedule.Job) *int {
	st, has := j.Stage(v.Stage)
	if !has || st.State != schedule.StatePlanned {
		return nil
	}
	return new(v.Reserve(st.HalfDays))
}

func bookingView(b schedule.Booking, d directory) Booking {
	return Booking{
		ID: b.ID, JobID: b.Job, JobRef: d.jobs[b.Job].Ref, ScaffoldFirmID: b.ScaffoldFirm, ScaffoldFirm: d.firms[b.ScaffoldFirm].Name,
		UID: b.UID, State: BookingState(b.State), ErectOn: b.ErectOn, StrikeOn: b.StrikeOn, Sequence: b.Sequence,
		OfferedOn: optionalDate(b.OfferedOn), ChangedAt: b.ChangedAt.UTC(),
	}
}

func changeView(c schedule.BookingChange, d directory) BookingChange {
	v := BookingChange{Booking: bookingView(c.After, d), Why: c.Why}
	if c.Before != nil {
		v.WasErectOn, v.WasStrikeOn = optionalDate(c.Before.ErectOn), optionalDate(c.Before.StrikeOn)
	}
	return v
}

// decisionView puts the decision beside what the crew needs to get to "clear":
// who has to sign which text, and what the lead has to look at.
func decisionView(m Judged) Decision {
	s := m.Snapshot
	v := Decision{
		CrewID: s.Crew, Crew: s.CrewName, JobID: s.Job, JobRef: s.JobRef, Day: s.Day, StartAt: s.StartAt.UTC(), EndAt: s.EndAt.UTC(),
		Stages:   mapped(s.Stages, func(k string) StageKind { return StageKind(k) }),
		GivenFor: signingBasis(safety.BasisOf(s)),
		Verdict:  DecisionVerdict(m.Decision.Verdict.Key()), At: m.Decision.At.UTC(), Until: optionalTime(m.Decision.Until),
		Conditions: mapped(m.Decision.Conditions, conditionView),
		People: mapped(m.signers(), func(g signer) Signer {
			return Signer{PersonID: g.person.ID, Name: g.person.Name, Lead: g.person.Lead, Signed: g.signed != nil, Statement: optionalText(g.statement), Lapsed: optionalText(g.lapsed), SignedBefore: signedBefore(m, g.person.ID)}
		}),
		Checks: mapped(safety.ChecksFor(s), func(c safety.Check) MorningCheck {
			answer := CheckAnswer(m.answer(c.Key).Key())
			return MorningCheck{Key: c.Key, Question: c.Question, Evidence: optionalText(c.Evidence), Answer: &answer}
		}),
	}
	v.Stops = mapped(s.Stops, stopView)
	if len(m.Decision.ClearFor) > 0 {
		v.ClearFor = new(mapped(m.Decision.ClearFor, func(c safety.ClearStage) ClearStage {
			return ClearStage{Stage: StageKind(c.Stage), Until: c.Until.UTC()}
		}))
	}
	if len(s.Isolations) > 0 {
		v.Isolations = new(mapped(s.Isolations, isolationView))
	}
	again, _ := safety.RoofAgain(s, m.Decision.At)
	v.RoofAgainFrom = optionalTime(again)
	if a := s.Assessment; a != nil {
		v.Assessment = &AssessmentRef{ID: a.ID, Version: a.Version, BodyHash: a.BodyHash.String(), Approved: a.Approved}
	}
	return v
}

func isolationView(p safety.Permit) OpenIsolation {
	return OpenIsolation{Permit: p.ID, What: p.What, Where: p.Where, HoldsKey: p.Key, HolderID: p.HeldBy, Holder: p.Holder, At: p.At.UTC(), TakenAt: optionalTime(p.Taken)}
}

func stopView(w safety.StopWork) Stop {
	return Stop{ID: w.ID, Reason: w.Reason, By: w.By, At: w.At.UTC(), Open: w.Open(),
		LiftedBy: optionalText(w.LiftedBy), LiftedAt: optionalTime(w.LiftedAt), LiftWhy: optionalText(w.LiftWhy)}
}

func conditionView(c safety.Condition) Condition {
	return Condition{Code: c.Code, Rule: c.Rule, Subject: c.Subject, State: ConditionState(c.State.Key()), Value: c.Value, Limit: c.Limit,
		Source: c.Source, Remedy: c.Remedy, Advice: c.Advice, Own: optional(c.Own, c.Own), Exception: optionalText(c.Except), Applies: c.Applies, Sentence: c.Sentence()}
}

func forecastView(site uuid.UUID, s weather.Series, attribution string) Forecast {
	v := Forecast{SiteID: site, Provider: s.Provider, FetchedAt: s.FetchedAt.UTC(), ModelRun: optionalTime(s.ModelRun),
		Members: len(s.Members), Attribution: attribution, Hours: []ForecastHour{}}
	if len(s.Members) == 0 {
		return v
	}
	v.Hours = mapped(s.Members[0].Hours, func(h weather.Hour) ForecastHour {
		return ForecastHour{
			From: h.From.UTC(), Minutes: int(h.Span.Minutes()),
			WindMeanMs: optionalNumber(h.WindMean), WindGustMs: optionalNumber(h.WindGust), RainMm: optionalNumber(h.Rain),
			RainChance: optionalNumber(h.RainChance), TempC: optionalNumber(h.Temp), DewPointC: optionalNumber(h.DewPoint),
			HumidityPercent: optionalNumber(h.Humidity), CloudPercent: optionalNumber(h.Cloud), Thunder: optionalNumber(h.Thunder),
		}
	})
	return v
}
