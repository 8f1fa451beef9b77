package api

import (
	"context"

	"toeboard/safety"
)

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
