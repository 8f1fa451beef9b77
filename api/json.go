package api

import (
	"bytes"
	"context"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/fault"
)

// jsonServer answers the operations of the contract. Each decodes, asks the
// Service and encodes; what the contract says of lengths and ranges was checked
// before.
type jsonServer struct{ *server }

var _ StrictServerInterface = (*jsonServer)(nil)

// SignIn signs somebody in.
func (j *jsonServer) SignIn(ctx context.Context, r SignInRequestObject) (SignInResponseObject, error) {
	c, err := j.signIn(ctx, r.Body.Email, r.Body.Password, valueOf(r.Body.FirmID))
	if err != nil {
		return nil, err
	}
	return SignIn200JSONResponse(meOf(c)), nil
}

// SignOut ends the session, here and in the database.
func (j *jsonServer) SignOut(ctx context.Context, _ SignOutRequestObject) (SignOutResponseObject, error) {
	if err := j.sessions.Destroy(ctx); err != nil {
		return nil, err
	}
	return SignOut204Response{}, nil
}

// Me tells who is signed in.
func (j *jsonServer) Me(ctx context.Context, _ MeRequestObject) (MeResponseObject, error) {
	return Me200JSONResponse(meOf(callerOf(ctx))), nil
}

func meOf(c Caller) Me {
	m := Me{PersonID: c.Person, Name: c.Name, Role: Role(c.Role), FirmID: c.Firm, Firm: c.FirmName, TimeZone: c.TimeZone, May: []string{}}
	for _, a := range actions {
		if may(c.Role, a) {
			m.May = append(m.May, string(a))
		}
	}
	return m
}

// ListJobs gives jobs by reference, from the one after the cursor on.
func (j *jsonServer) ListJobs(ctx context.Context, r ListJobsRequestObject) (ListJobsResponseObject, error) {
	jobs, err := j.schedule.Jobs(ctx, callerOf(ctx).Firm)
	if err != nil {
		return nil, err
	}
	after, limit := valueOf(r.Params.After), 100
	if r.Params.Limit != nil {
		limit = *r.Params.Limit
	}
	// A cursor is the reference that a page ended with; jobs are never removed.
	if after != "" && !slices.ContainsFunc(jobs, func(job schedule.Job) bool { return job.Ref == after }) {
		return nil, badRequest(bad("after", after, "no page ended here: take the address in the Link header of the page before as it is, or leave it out to begin with the first job"))
	}
	out := ListJobs200JSONResponse{Body: JobList{Jobs: []JobSummary{}}}
	slices.SortFunc(jobs, func(a, b schedule.Job) int { return strings.Compare(a.Ref, b.Ref) })
	for _, job := range jobs {
		switch {
		case job.Ref <= after && after != "", r.Params.State != nil && string(job.State) != string(*r.Params.State):
		case len(out.Body.Jobs) == limit:
			out.Headers.Link = new(nextPage(r.Params, out.Body.Jobs[limit-1].Ref))
			return out, nil
		default:
			out.Body.Jobs = append(out.Body.Jobs, jobSummary(job))
		}
	}
	return out, nil
}

// nextPage is the Link header that leads to what comes after a reference.
func nextPage(p ListJobsParams, after string) string {
	q := url.Values{"after": {after}}
	if p.State != nil {
		q.Set("state", string(*p.State))
	}
	if p.Limit != nil {
		q.Set("limit", strconv.Itoa(*p.Limit))
	}
	return "<" + apiBase + "/jobs?" + q.Encode() + `>; rel="next"`
}

// GetJob gives one job with its assessment.
func (j *jsonServer) GetJob(ctx context.Context, r GetJobRequestObject) (GetJobResponseObject, error) {
	v, err := j.jobNow(ctx, callerOf(ctx).Firm, r.Ref)
	return GetJob200JSONResponse(v), err
}

// IssueAssessment makes a version from the facts as they are now.
func (j *jsonServer) IssueAssessment(ctx context.Context, r IssueAssessmentRequestObject) (IssueAssessmentResponseObject, error) {
	c := callerOf(ctx)
	a, err := j.Service.IssueAssessment(ctx, c.Firm, r.Ref, c.Name)
	if err != nil {
		return nil, err
	}
	return IssueAssessment201JSONResponse(assessmentView(a)), nil
}

// ApproveAssessment approves the version in force.
func (j *jsonServer) ApproveAssessment(ctx context.Context, r ApproveAssessmentRequestObject) (ApproveAssessmentResponseObject, error) {
	c := callerOf(ctx)
	a, err := j.Service.ApproveAssessment(ctx, c.Firm, r.Ref, r.AssessmentID, c.Person)
	if err != nil {
		return nil, err
	}
	return ApproveAssessment201JSONResponse(assessmentView(a)), nil
}

// ImportJobs takes a file, or shows what it would change.
func (j *jsonServer) ImportJobs(ctx context.Context, r ImportJobsRequestObject) (ImportJobsResponseObject, error) {
	c := callerOf(ctx)
	var done schedule.Import
	var err error
	if r.Params.DryRun {
		done, err = j.ReadImport(ctx, c.Firm, r.Body)
	} else {
		done, err = j.Import(ctx, c.Firm, c.Name, r.Body)
	}
	if err != nil {
		return nil, err
	}
	out := Import{DryRun: r.Params.DryRun, Added: len(done.New), Changed: len(done.Changed), Unchanged: done.Unchanged, Changes: []ImportChange{}}
	for _, n := range done.New {
		out.Changes = append(out.Changes, ImportChange{Ref: n.Job.Ref, IsNew: true, Fields: []FieldChange{}})
	}
	for _, k := range done.Changed {
		out.Changes = append(out.Changes, ImportChange{Ref: k.After.Ref, Fields: mapped(k.Diffs, func(d schedule.Diff) FieldChange {
			return FieldChange{Field: d.Field, Before: d.Was, After: d.Becomes}
		})})
	}
	return ImportJobs200JSONResponse(out), nil
}

// ExportJobs gives all jobs as the import takes them.
func (j *jsonServer) ExportJobs(ctx context.Context, _ ExportJobsRequestObject) (ExportJobsResponseObject, error) {
	var b bytes.Buffer
	if err := j.Export(ctx, callerOf(ctx).Firm, &b); err != nil {
		return nil, err
	}
	return ExportJobs200TextCsvResponse{Body: &b, ContentLength: int64(b.Len())}, nil
}

// ListPlans gives the newest draft and the published plan.
func (j *jsonServer) ListPlans(ctx context.Context, _ ListPlansRequestObject) (ListPlansResponseObject, error) {
	p, err := j.Proposal(ctx, callerOf(ctx).Firm)
	if err != nil {
		return nil, err
	}
	list := PlanList{Plans: []PlanSummary{}}
	for _, plan := range []*schedule.Plan{p.Draft, p.Current} {
		if plan != nil {
			list.Plans = append(list.Plans, planSummary(*plan))
		}
	}
	return ListPlans200JSONResponse(list), nil
}

// planTag is the strong ETag of the published plan: a plan's content never
// changes, so its identity says it all.
func planTag(p *schedule.Plan) string {
	if p == nil {
		return ""
	}
	return `"` + p.ID.String() + `"`
}

var noPlan = fault.Error{Kind: fault.NotFound, Field: "plan", Want: "no plan is published yet"}

// CurrentPlan gives the published plan.
func (j *jsonServer) CurrentPlan(ctx context.Context, _ CurrentPlanRequestObject) (CurrentPlanResponseObject, error) {
	firm := callerOf(ctx).Firm
	p, err := j.current(ctx, firm)
	if err != nil {
		return nil, err
	}
	if p == nil {
		none := noPlan
		return nil, &none
	}
	d, err := j.directory(ctx, firm)
	if err != nil {
		return nil, err
	}
	return CurrentPlan200JSONResponse{Body: planFor(callerOf(ctx), *p, d), Headers: CurrentPlan200ResponseHeaders{ETag: planTag(p)}}, nil
}

// planFor leaves the money out for whoever may not see it.
func planFor(c Caller, p schedule.Plan, d directory) Plan {
	if !may(c.Role, SeePlans) {
		v := planView(p, d)
		v.Cost = nil
		return v
	}
	return planView(p, d)
}

// PublishPlan puts a draft in the place of the published plan.
func (j *jsonServer) PublishPlan(ctx context.Context, r PublishPlanRequestObject) (PublishPlanResponseObject, error) {
	c := callerOf(ctx)
	var agreed []uuid.UUID
	if r.Body.AgreedBookings != nil {
		agreed = *r.Body.AgreedBookings
	}
	p, changes, err := j.Publish(ctx, c.Firm, r.Body.PlanID, c.Name, func(now *schedule.Plan) error { return precondition(r.Params, now) }, agreed...)
	if err != nil {
		return nil, err
	}
	d, err := j.directory(ctx, c.Firm)
	if err != nil {
		return nil, err
	}
	return PublishPlan200JSONResponse{
		Body:    Published{Plan: planSummary(p), Bookings: mapped(changes, func(k schedule.BookingChange) BookingChange { return changeView(k, d) })},
		Headers: PublishPlan200ResponseHeaders{ETag: planTag(&p)},
	}, nil
}

// precondition holds a publication against the plan that its sender saw
// (RFC 9110 13.1).
func precondition(p PublishPlanParams, now *schedule.Plan) error {
	switch {
	case p.IfMatch == nil && p.IfNoneMatch == nil:
		return &refusal{kind: conditionRequired, current: planTag(now),
			detail: `name the plan you replace: If-Match with the ETag of /plans/current, or If-None-Match: * when there is none`}
	case p.IfMatch != nil && (now == nil || !names(*p.IfMatch, planTag(now))):
		return staleAgainst(now)
	case p.IfNoneMatch != nil && now != nil && matches(*p.IfNoneMatch, planTag(now)):
		return staleAgainst(now)
	}
	return nil
}

// names tells whether an If-Match header names a tag: strong comparison.
func names(header, tag string) bool {
	for _, one := range strings.Split(header, ",") {
		if one = strings.TrimSpace(one); one == "*" || one == tag {
			return true
		}
	}
	return false
}

func staleAgainst(now *schedule.Plan) error {
	if now == nil {
		return &refusal{kind: stale, detail: "no plan is published: send If-None-Match: *"}
	}
	return &refusal{kind: stale, current: planTag(now),
		detail: fmt.Sprintf("plan %d, published by %s, is in force now: look at it and decide again", now.Version, now.PublishedBy)}
}

// NewestDraft gives the newest draft.
func (j *jsonServer) NewestDraft(ctx context.Context, _ NewestDraftRequestObject) (NewestDraftResponseObject, error) {
	p, err := j.Proposal(ctx, callerOf(ctx).Firm)
	if err != nil {
		return nil, err
	}
	if p.Draft == nil {
		return nil, &fault.Error{Kind: fault.NotFound, Field: "draft", Want: "there is no draft newer than the published plan: make one"}
	}
	return NewestDraft200JSONResponse(planView(*p.Draft, p.directory)), nil
}

// GetPlan gives any plan that was ever saved.
func (j *jsonServer) GetPlan(ctx context.Context, r GetPlanRequestObject) (GetPlanResponseObject, error) {
	firm := callerOf(ctx).Firm
	p, err := j.schedule.Plan(ctx, firm, r.PlanID)
	if err != nil {
		return nil, err
	}
	d, err := j.directory(ctx, firm)
	if err != nil {
		return nil, err
	}
	return GetPlan200JSONResponse(planView(p, d)), nil
}

// ListBookings gives the bookings by erection date.
func (j *jsonServer) ListBookings(ctx context.Context, _ ListBookingsRequestObject) (ListBookingsResponseObject, error) {
	firm := callerOf(ctx).Firm
	all, err := j.schedule.Bookings(ctx, firm)
	if err != nil {
		return nil, err
	}
	d, err := j.directory(ctx, firm)
	if err != nil {
		return nil, err
	}
	slices.SortFunc(all, byErection)
	return ListBookings200JSONResponse{Bookings: mapped(all, func(b schedule.Booking) Booking { return bookingView(b, d) })}, nil
}

// GetBooking gives one booking and everything it ever was.
func (j *jsonServer) GetBooking(ctx context.Context, r GetBookingRequestObject) (GetBookingResponseObject, error) {
	firm := callerOf(ctx).Firm
	b, err := j.schedule.Booking(ctx, firm, r.BookingID)
	if err != nil {
		return nil, err
	}
	d, err := j.directory(ctx, firm)
	if err != nil {
		return nil, err
	}
	history, err := j.schedule.BookingHistory(ctx, firm, r.BookingID)
	if err != nil {
		return nil, err
	}
	return GetBooking200JSONResponse{Booking: bookingView(b, d), History: mapped(history, versionView)}, nil
}

func versionView(v schedule.BookingVersion) BookingVersion {
	return BookingVersion{Version: v.Version, Sequence: v.Sequence, State: BookingState(v.State), ErectOn: v.ErectOn, StrikeOn: v.StrikeOn,
		OfferedOn: optionalDate(v.OfferedOn), How: BookingHow(v.How), Why: v.Why, ChangedBy: v.ChangedBy, ChangedAt: v.ChangedAt.UTC()}
}

// AnswerBooking records what a scaffold firm said on the telephone, or takes
// the day that it offered.
func (j *jsonServer) AnswerBooking(ctx context.Context, r AnswerBookingRequestObject) (AnswerBookingResponseObject, error) {
	c := callerOf(ctx)
	confirms, refuses := r.Body.Answer == BookingAnswerAnswerConfirm, r.Body.Answer == BookingAnswerAnswerRefuse
	if !confirms && !refuses && r.Body.OfferedOn == nil {
		return nil, fault.Bad("offered_on", "", "the day that the scaffold firm offers")
	}
	var b schedule.Booking
	var err error
	switch r.Body.Answer {
	case BookingAnswerAnswerAccept:
		b, err = j.AcceptOffer(ctx, c.Firm, r.BookingID, r.Body.Sequence, *r.Body.OfferedOn, c.Name)
	case BookingAnswerAnswerDecline:
		b, err = j.schedule.DeclineOffer(ctx, c.Firm, r.BookingID, r.Body.Sequence, *r.Body.OfferedOn, c.Name, j.now())
	default:
		a := schedule.Answer{Confirm: confirms, Refuse: refuses, How: schedule.ByFeed}
		if !confirms && !refuses {
			a.OfferedOn = *r.Body.OfferedOn
		}
		b, err = j.Service.AnswerBooking(ctx, c.Firm, r.BookingID, r.Body.Sequence, a, c.Name+", for the scaffold firm")
	}
	if err != nil {
		return nil, err
	}
	d, err := j.directory(ctx, c.Firm)
	if err != nil {
		return nil, err
	}
	return AnswerBooking200JSONResponse(bookingView(b, d)), nil
}

// Morning gives each crew's decision of a day, or one's own crew's.
func (j *jsonServer) Morning(ctx context.Context, r MorningRequestObject) (MorningResponseObject, error) {
	c := callerOf(ctx)
	all, err := j.Mornings(ctx, c.Firm, r.Date)
	if err != nil {
		return nil, err
	}
	out := Morning{Day: r.Date, Decisions: []Decision{}}
	for _, m := range all {
		if ownCrew(c, m.Crew, r.Date) == nil {
			out.Decisions = append(out.Decisions, decisionView(m))
		}
	}
	return Morning200JSONResponse(out), nil
}

// Decide judges a crew at a job and keeps the decision.
func (j *jsonServer) Decide(ctx context.Context, r DecideRequestObject) (DecideResponseObject, error) {
	c := callerOf(ctx)
	if _, _, err := j.atWork(ctx, c, r.Body.CrewID, r.Body.JobRef, r.Body.Day); err != nil {
		return nil, err
	}
	m, err := j.Service.Decide(ctx, c.Firm, r.Body.CrewID, r.Body.JobRef, r.Body.Day)
	if err != nil {
		return nil, err
	}
	return Decide201JSONResponse(decisionView(m)), nil
}

// HoldBriefing records what the lead found.
func (j *jsonServer) HoldBriefing(ctx context.Context, r HoldBriefingRequestObject) (HoldBriefingResponseObject, error) {
	in := BriefingInput{Crew: r.Body.CrewID, JobRef: r.Body.JobRef, Day: r.Body.Day, Assessment: r.Body.AssessmentID, Checks: map[string]safety.Answer{}}
	for key, answer := range r.Body.Checks {
		a, err := safety.AnswerFromKey(string(answer))
		if err != nil {
			return nil, err
		}
		in.Checks[key] = a
	}
	if r.Body.GustMs != nil {
		in.GustMS = weather.Is(*r.Body.GustMs)
	}
	m, err := j.Service.HoldBriefing(ctx, callerOf(ctx), recordID(ctx), in)
	if err != nil {
		return nil, err
	}
	return HoldBriefing201JSONResponse(recorded(recordID(ctx), m)), nil
}

func recorded(id uuid.UUID, m Judged) RecordedWithDecision {
	return RecordedWithDecision{ID: id, At: m.Decision.At.UTC(), Decision: decisionView(m)}
}

// SignOff records one person's signature.
func (j *jsonServer) SignOff(ctx context.Context, r SignOffRequestObject) (SignOffResponseObject, error) {
	in := SignOffInput{Crew: r.Body.CrewID, JobRef: r.Body.JobRef, Day: r.Body.Day, Person: r.Body.PersonID,
		Assessment: r.Body.AssessmentID, TypedName: strings.TrimSpace(valueOf(r.Body.TypedName)), PIN: r.Body.Pin, Drawing: valueOf(r.Body.Drawing),
		DeviceAt: valueOf(r.Body.DeviceAt), Shown: basisShown(r.Body.Shown)}
	if err := in.BodyHash.UnmarshalText([]byte(r.Body.BodyHash)); err != nil {
		return nil, err
	}
	m, err := j.Service.SignOff(ctx, callerOf(ctx), recordID(ctx), in)
	if err != nil {
		return nil, err
	}
	return SignOff201JSONResponse(recorded(recordID(ctx), m)), nil
}

// ReportScaffold records a handover or an inspection.
func (j *jsonServer) ReportScaffold(ctx context.Context, r ReportScaffoldRequestObject) (ReportScaffoldResponseObject, error) {
	b := r.Body
	at, err := j.Service.ReportScaffold(ctx, callerOf(ctx), recordID(ctx), b.JobRef, safety.ScaffoldReport{
		Kind: string(b.Kind), ForWhom: b.ForWhom, Location: b.Location, Description: b.Description, At: b.At.UTC(), Risks: b.Risks,
		ActionTaken: b.ActionTaken, Further: b.Further, ByName: b.ByName, ByPosition: b.ByPosition,
		Fit: b.Result == ScaffoldReportResultFit, LoadClass: valueOf(b.LoadClass),
		Certificate: safety.Certificate{DesignRef: strings.TrimSpace(valueOf(b.DesignRef)), Lifts: valueOf(b.Lifts), Ties: strings.TrimSpace(valueOf(b.Ties)),
			ReceivedBy: strings.TrimSpace(valueOf(b.ReceivedBy))},
	})
	if err != nil {
		return nil, err
	}
	return ReportScaffold201JSONResponse{ID: recordID(ctx), At: at.UTC()}, nil
}

// StopWork stops the work at a job.
func (j *jsonServer) StopWork(ctx context.Context, r StopWorkRequestObject) (StopWorkResponseObject, error) {
	stop, err := j.Service.StopWork(ctx, callerOf(ctx), recordID(ctx), r.Body.JobRef, valueOf(r.Body.Reason))
	if err != nil {
		return nil, err
	}
	return StopWork201JSONResponse{ID: stop.ID, At: stop.At.UTC()}, nil
}

// LiftStop lifts a stop that somebody else called.
func (j *jsonServer) LiftStop(ctx context.Context, r LiftStopRequestObject) (LiftStopResponseObject, error) {
	at, err := j.Service.LiftStop(ctx, callerOf(ctx), r.Ref, r.StopID, r.Body.Why)
	if err != nil {
		return nil, err
	}
	return LiftStop201JSONResponse{ID: r.StopID, At: at.UTC()}, nil
}

// Forecast gives the newest forecast of a site.
func (j *jsonServer) Forecast(ctx context.Context, r ForecastRequestObject) (ForecastResponseObject, error) {
	series, err := j.forecastOf(ctx, callerOf(ctx).Firm, r.SiteID)
	if err != nil {
		return nil, err
	}
	if len(series.Members) == 0 {
		return nil, &fault.Error{Kind: fault.NotFound, Field: "forecast", Value: r.SiteID.String(), Want: "no forecast is known for this site"}
	}
	return Forecast200JSONResponse(forecastView(r.SiteID, series, strings.Join(credits(series.Provider), ", "))), nil
}
