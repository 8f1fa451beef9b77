package api

import (
	"context"
	"maps"

	"toeboard/safety"
)

// JobRecords gives what is recorded of a job beside its mornings.
func (j *jsonServer) JobRecords(ctx context.Context, r JobRecordsRequestObject) (JobRecordsResponseObject, error) {
	b, err := j.Service.ReadBook(ctx, callerOf(ctx).Firm, r.Ref)
	if err != nil {
		return nil, err
	}
	return JobRecords200JSONResponse{
		JobRef: b.Job.Ref, MayStrike: ConditionState(b.MayStrike.Key()), StrikeSays: b.StrikeSays, DeadTestsOpen: append([]string{}, b.NotYet...),
		Records: mapped(b.Records, func(r safety.Record) JobRecord {
			return JobRecord{ID: r.ID, Kind: JobRecordKind(r.Kind), At: r.At.UTC(), By: r.ByName, Body: maps.Clone(map[string]string(r.Body)), RecordedAt: r.RecordedAt.UTC()}
		}),
		Tests: mapped(b.Tests, func(t safety.TestResult) ElectricalResult {
			return ElectricalResult{Test: t.Test.Key, Circuit: t.Circuit, State: ConditionState(t.State.Key()), Says: t.Says, Source: t.Test.Source, By: t.By, At: t.At.UTC()}
		}),
		Modules: mapped(b.Modules, func(m safety.ModulePlace) ModulePlace {
			return ModulePlace{Row: m.Row, Col: m.Col, Serial: m.Serial}
		}),
		Isolations: mapped(b.Isolations, isolationView),
		Cleared: mapped(b.Cleared, func(c safety.Clearance) ModuleClearance {
			return ModuleClearance{Row: c.Was.Row, Col: c.Was.Col, Serial: c.Was.Serial, PlacedBy: c.PlacedBy, PlacedAt: c.Was.At.UTC(), By: c.ByName, At: c.At.UTC()}
		}),
	}, nil
}

// AddJobRecord keeps a record of a job.
func (j *jsonServer) AddJobRecord(ctx context.Context, r AddJobRecordRequestObject) (AddJobRecordResponseObject, error) {
	got, err := j.Service.AddRecord(ctx, callerOf(ctx), recordID(ctx), r.Ref, string(r.Body.Kind), valueOf(r.Body.At), safety.Fields(r.Body.Body), valueOf(r.Body.Photo))
	if err != nil {
		return nil, err
	}
	return AddJobRecord201JSONResponse{ID: got.ID, At: got.RecordedAt.UTC()}, nil
}

// PlaceModule notes where a module sits; an empty serial takes it off.
func (j *jsonServer) PlaceModule(ctx context.Context, r PlaceModuleRequestObject) (PlaceModuleResponseObject, error) {
	if err := j.Service.PlaceModule(ctx, callerOf(ctx), recordID(ctx), r.Ref, r.Body.Row, r.Body.Col, r.Body.Serial); err != nil {
		return nil, err
	}
	return PlaceModule204Response{}, nil
}

// ListDue lists what is due after jobs.
func (j *jsonServer) ListDue(ctx context.Context, _ ListDueRequestObject) (ListDueResponseObject, error) {
	all, today, err := j.Service.Due(ctx, callerOf(ctx).Firm)
	if err != nil {
		return nil, err
	}
	return ListDue200JSONResponse(mapped(all, func(d safety.Due) Due {
		return Due{Code: d.Code, JobRef: d.JobRef, Words: d.Words, Who: d.Who, Began: d.Began, Deadline: optionalDate(d.Deadline), Clock: d.Clock, Evidence: d.Evidence, IncidentID: optionalID(d.Incident),
			SentOn: optionalDate(d.Sent), Overdue: d.Overdue(today), Sentence: d.Sentence(today), Source: d.Source}
	})), nil
}

// ListOwnRules lists the conditions that the firm may bind itself to.
func (j *jsonServer) ListOwnRules(ctx context.Context, _ ListOwnRulesRequestObject) (ListOwnRulesResponseObject, error) {
	set, err := j.Service.safety.OwnRules(ctx, callerOf(ctx).Firm)
	if err != nil {
		return nil, err
	}
	return ListOwnRules200JSONResponse(mapped(ownRules(set), ownRuleView)), nil
}

func ownRuleView(r safety.OwnRule) OwnRule {
	rule, limit := safety.RuleOf(r.Code)
	return OwnRule{Code: OwnRuleCode(r.Code), Rule: rule, Limit: limit, Version: r.Version, Binding: r.Binding, HolderID: optionalID(r.Holder.ID), Holder: optionalText(r.Holder.Name), Why: optionalText(r.Why)}
}

// ownRules gives a row for each condition that may be a firm's own, set or not.
func ownRules(set []safety.OwnRule) []safety.OwnRule {
	return mapped(safety.OwnRuleCodes(), func(code string) safety.OwnRule {
		for _, r := range set {
			if r.Code == code {
				return r
			}
		}
		return safety.OwnRule{Code: code}
	})
}

// SetOwnRule binds the firm to a condition that only advises, or frees it.
func (j *jsonServer) SetOwnRule(ctx context.Context, r SetOwnRuleRequestObject) (SetOwnRuleResponseObject, error) {
	got, err := j.Service.SetOwnRule(ctx, callerOf(ctx), safety.OwnRule{Code: string(r.Body.Code), Version: r.Body.Version, Binding: r.Body.Binding,
		Holder: safety.Person{ID: valueOf(r.Body.HolderID)}, Why: r.Body.Why})
	if err != nil {
		return nil, err
	}
	return SetOwnRule200JSONResponse(ownRuleView(got)), nil
}

// ExceptRule records an exception from a rule of the firm's own.
func (j *jsonServer) ExceptRule(ctx context.Context, r ExceptRuleRequestObject) (ExceptRuleResponseObject, error) {
	m, err := j.Service.ExceptRule(ctx, callerOf(ctx), recordID(ctx), r.Body.CrewID, r.Body.JobRef, r.Body.Day, r.Body.Code, r.Body.Reason)
	if err != nil {
		return nil, err
	}
	return ExceptRule201JSONResponse(recorded(recordID(ctx), m)), nil
}

// DeclareFitness keeps whether somebody is fit for work today.
func (j *jsonServer) DeclareFitness(ctx context.Context, r DeclareFitnessRequestObject) (DeclareFitnessResponseObject, error) {
	if err := j.Service.DeclareFitness(ctx, callerOf(ctx), recordID(ctx), FitnessInput{r.Body.PersonID, r.Body.Day, r.Body.Fit, valueOf(r.Body.Pin)}); err != nil {
		return nil, err
	}
	return DeclareFitness204Response{}, nil
}
