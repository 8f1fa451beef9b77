package api

import (
	"context"

	"toeboard/safety"
)

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
