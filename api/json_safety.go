package api

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/weather/fault"
)

// Assessments, what is seen on site, sums, scaffolds and the firm's hazards, in
// JSON.

// shaped brings a value to a type of the contract by its names in JSON, so that
// records that carry the same names are not written out twice.
func shaped[T any](v any) (T, error) {
	var out T
	b, err := json.Marshal(v)
	if err == nil {
		err = json.Unmarshal(b, &out)
	}
	if err != nil {
		return out, fmt.Errorf("shape an answer: %w", err)
	}
	return out, nil
}

// object is a JSON object with members that may be left out.
type object map[string]any

// with sets a member when there is something to say.
func (o object) with(name string, value any, known bool) object {
	if known {
		o[name] = value
	}
	return o
}

// GetAssessment gives one version as it was issued.
func (j *jsonServer) GetAssessment(ctx context.Context, r GetAssessmentRequestObject) (GetAssessmentResponseObject, error) {
	f, err := j.AssessmentFile(ctx, callerOf(ctx).Firm, r.Ref)
	if err != nil {
		return nil, err
	}
	for _, a := range f.Versions {
		if a.ID == r.AssessmentID {
			o := object{"id": a.ID, "version": a.Version, "approved": a.Approved, "body_hash": a.BodyHash, "facts_hash": a.FactsHash, "made_by": a.MadeBy, "made_at": a.MadeAt.UTC(), "body": a.Body}
			return shaped[GetAssessment200JSONResponse](o.with("approved_by", a.ApprovedBy, a.Approved))
		}
	}
	return nil, fault.Missing("assessment", r.AssessmentID.String())
}

// ListAssessments gives the versions, what is not known and what was seen.
func (j *jsonServer) ListAssessments(ctx context.Context, r ListAssessmentsRequestObject) (ListAssessmentsResponseObject, error) {
	f, err := j.AssessmentFile(ctx, callerOf(ctx).Firm, r.Ref)
	if err != nil {
		return nil, err
	}
	pending := []string{}
	if v := f.Newest(); v != nil {
		for _, d := range safety.Diff(v.Body, f.Made) {
			pending = append(pending, d.Sentence())
		}
	}
	versions := mapped(f.Versions, func(a safety.AssessmentInForce) object {
		o := object{"id": a.ID, "version": a.Version, "approved": a.Approved, "body_hash": a.BodyHash, "made_by": a.MadeBy, "made_at": a.MadeAt.UTC()}
		return o.with("approved_by", a.ApprovedBy, a.Approved)
	})
	seen := mapped(f.Site, func(h safety.SiteHazard) object {
		o := object{"id": h.ID, "code": h.Code(), "what": h.What(), "seen": h.Why, "by": h.By, "at": h.At.UTC()}
		return o.with("photo_sha256", h.PhotoSum, h.PhotoSum.Known())
	})
	return shaped[ListAssessments200JSONResponse](object{"versions": some(versions), "questions": some(safety.Questions(f.Facts)), "pending": pending, "site_hazards": some(seen)})
}

// some makes the empty list of a nil one.
func some[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// AssessmentChanges gives the differences between two versions.
func (j *jsonServer) AssessmentChanges(ctx context.Context, r AssessmentChangesRequestObject) (AssessmentChangesResponseObject, error) {
	diff, _, err := j.Service.AssessmentChanges(ctx, callerOf(ctx).Firm, r.Ref, r.Params.From, valueOf(r.Params.To))
	if err != nil {
		return nil, err
	}
	changes := mapped(diff, func(d safety.Difference) object {
		return object{"what": d.What, "was": d.Was, "is": d.Is, "says": d.Sentence()}
	})
	o := object{"from": r.Params.From, "changes": some(changes)}
	return shaped[AssessmentChanges200JSONResponse](o.with("to", valueOf(r.Params.To), r.Params.To != nil))
}

// AnswerSurvey records what somebody found out about a site.
func (j *jsonServer) AnswerSurvey(ctx context.Context, r AnswerSurveyRequestObject) (AnswerSurveyResponseObject, error) {
	err := j.Service.AnswerSurvey(ctx, callerOf(ctx), recordID(ctx), r.Ref, r.Body.Answers)
	return AnswerSurvey201JSONResponse{ID: recordID(ctx), At: j.now().UTC()}, err
}

// SeeOnSite records a hazard seen on site.
func (j *jsonServer) SeeOnSite(ctx context.Context, r SeeOnSiteRequestObject) (SeeOnSiteResponseObject, error) {
	b := r.Body
	h := safety.SiteHazard{About: strings.TrimSpace(valueOf(b.About)), Name: strings.TrimSpace(valueOf(b.Name)), Why: strings.TrimSpace(b.Seen), Evidence: strings.TrimSpace(valueOf(b.Evidence)),
		Who: valueOf(b.Who), Stages: mapped(valueOf(b.Stages), func(k StageKind) string { return string(k) }),
		Controls: mapped(b.Controls, func(c SiteControl) safety.Control {
			return safety.Control{Step: string(c.Step), Do: strings.TrimSpace(c.Do)}
		})}
	if b.Before != nil {
		h.Before = safety.Score{Likelihood: b.Before.Likelihood, Severity: b.Before.Severity}
		h.After = safety.Score{Likelihood: valueOf(b.AfterLikelihood), Severity: b.Before.Severity}
	}
	got, err := j.Service.SeeOnSite(ctx, callerOf(ctx), recordID(ctx), r.Ref, h, valueOf(b.Photo))
	return SeeOnSite201JSONResponse{ID: got.ID, At: got.At.UTC()}, err
}

// RemoveSiteHazard takes away what was seen on site. Away already is away.
func (j *jsonServer) RemoveSiteHazard(ctx context.Context, r RemoveSiteHazardRequestObject) (RemoveSiteHazardResponseObject, error) {
	err := j.NoLongerOnSite(ctx, callerOf(ctx), r.Ref, r.SiteHazardID, r.Body.Why)
	if fault.KindOf(err) == fault.Conflict {
		err = nil
	}
	return RemoveSiteHazard201JSONResponse{ID: r.SiteHazardID, At: j.now().UTC()}, err
}

// JobSums gives the sums of a job.
func (j *jsonServer) JobSums(ctx context.Context, r JobSumsRequestObject) (JobSumsResponseObject, error) {
	typed := map[string]string{}
	known := map[string]bool{}
	for _, in := range safety.SumInputs() {
		known[in.Key] = true
	}
	for _, pair := range valueOf(r.Params.With) {
		name, value, _ := strings.Cut(pair, "=")
		if !known[name] {
			return nil, fault.Bad("with", pair, "the key of an input, an equals sign and its value, such as men=1")
		}
		typed[name] = value
	}
	sums, _, _, err := j.Service.JobSums(ctx, callerOf(ctx).Firm, r.Ref, typed)
	if err != nil {
		return nil, err
	}
	return shaped[JobSums200JSONResponse](object{"caution": safety.SumsDefer, "sums": sums})
}

// GetScaffold gives whether a job's scaffold may be used, and what is due.
func (j *jsonServer) GetScaffold(ctx context.Context, r GetScaffoldRequestObject) (GetScaffoldResponseObject, error) {
	c := callerOf(ctx)
	f, _, err := j.ScaffoldFile(ctx, c.Firm, r.Ref)
	if err != nil {
		return nil, err
	}
	own, err := j.safety.FirmHazards(ctx, c.Firm)
	if err != nil {
		return nil, err
	}
	tag := f.Tag(j.now(), c.Location)
	duties := mapped(f.Duties(j.now(), c.Location), func(d safety.Duty) object {
		return object{"rule": d.Rule, "state": d.State, "says": d.Says, "source": d.Source}.with("by", d.By.UTC(), !d.By.IsZero())
	})
	o := object{"may_be_used": tag.State, "tag": tag.Words, "why": tag.Why, "event_gust_ms": own.EventGust(), "duties": duties,
		"reports": some(mapped(f.Reports, func(r safety.ScaffoldReport) object { return reportObject(f, r) }))}
	return shaped[GetScaffold200JSONResponse](o.with("until", tag.Until.UTC(), !tag.Until.IsZero()))
}

func reportObject(f safety.ScaffoldFile, r safety.ScaffoldReport) object {
	remedies := []safety.Line{}
	for _, m := range f.Remedies {
		if m.Report == r.ID {
			remedies = append(remedies, safety.Line{Label: m.By, Say: m.Done})
		}
	}
	o := object{"id": r.ID, "kind": r.Kind, "at": r.At.UTC(), "fit": r.Fit, "finding": r.Finding(), "remedies": remedies}
	for _, d := range f.Deliveries {
		if d.Report == r.ID {
			o["delivered_to"], o["delivered_at"] = d.To, d.At.UTC()
		}
	}
	return o
}

// RemedyFinding records what was done about a finding.
func (j *jsonServer) RemedyFinding(ctx context.Context, r RemedyFindingRequestObject) (RemedyFindingResponseObject, error) {
	at, err := j.Service.RemedyFinding(ctx, callerOf(ctx), recordID(ctx), r.Ref, safety.Remedy{Report: r.Body.ReportID, Done: strings.TrimSpace(r.Body.Done), By: strings.TrimSpace(r.Body.By), DoneAt: r.Body.At})
	return RemedyFinding201JSONResponse{ID: recordID(ctx), At: at.UTC()}, err
}

// DeliverReport records that a report was delivered.
func (j *jsonServer) DeliverReport(ctx context.Context, r DeliverReportRequestObject) (DeliverReportResponseObject, error) {
	at, err := j.Service.DeliverReport(ctx, callerOf(ctx), r.Ref, safety.Delivery{Report: r.Body.ReportID, To: strings.TrimSpace(r.Body.To), At: r.Body.At})
	return DeliverReport201JSONResponse{ID: r.Body.ReportID, At: at.UTC()}, err
}

// GetHazards gives what the firm set and the library as it sees it.
func (j *jsonServer) GetHazards(ctx context.Context, _ GetHazardsRequestObject) (GetHazardsResponseObject, error) {
	o, err := j.hazardsInForce(ctx, callerOf(ctx).Firm)
	if err != nil {
		return nil, err
	}
	return shaped[GetHazards200JSONResponse](o)
}

func (j *jsonServer) hazardsInForce(ctx context.Context, firm uuid.UUID) (object, error) {
	own, err := j.safety.FirmHazards(ctx, firm)
	if err != nil {
		return nil, err
	}
	lib, err := safety.DefaultLibrary().With(own)
	if err != nil {
		return nil, err
	}
	return object{"version": own.Version, "library": lib.Words(), "event_gust_ms": own.EventGust(), "hazards": json.RawMessage(safety.FirmHazardsJSON(own)), "matrix": lib.Matrix, "looser": lib.Matrix.Looser(),
		"in_force": mapped(lib.Hazards, func(h safety.Hazard) object {
			return object{"id": h.ID, "hazard": h.Name, "when": h.When.Words(), "rule": h.When.String(), "source": h.Source}
		})}, nil
}

// SetHazards stores the firm's hazards as the next version.
func (j *jsonServer) SetHazards(ctx context.Context, r SetHazardsRequestObject) (SetHazardsResponseObject, error) {
	text, err := json.Marshal(r.Body.Hazards)
	if err != nil {
		return nil, err
	}
	wanted, err := safety.ParseFirmHazards(text)
	if err != nil {
		return nil, err
	}
	c := callerOf(ctx)
	if _, err := j.SetFirmHazards(ctx, c, wanted, r.Body.Version, r.Body.Why); err != nil {
		return nil, err
	}
	o, err := j.hazardsInForce(ctx, c.Firm)
	if err != nil {
		return nil, err
	}
	return shaped[SetHazards200JSONResponse](o)
}
