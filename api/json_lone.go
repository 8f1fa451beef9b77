package api

import (
	"context"
	"time"

	"toeboard/safety"
)

// ArrangeCheckIn writes down whom somebody rings who works alone.
func (j *jsonServer) ArrangeCheckIn(ctx context.Context, r ArrangeCheckInRequestObject) (ArrangeCheckInResponseObject, error) {
	b := r.Body
	m, err := j.Service.ArrangeCheckIn(ctx, callerOf(ctx), b.CrewID, b.JobRef, safety.CheckIn{ID: recordID(ctx), Day: b.Day, Contact: b.Contact, Phone: b.Phone, EveryMin: b.EveryMin, IfMissed: b.IfMissed, Email: valueOf(b.Email)})
	if err != nil {
		return nil, err
	}
	return ArrangeCheckIn201JSONResponse(recorded(recordID(ctx), m)), nil
}

// ListCheckIns lists who works alone today and whether they let know that all is
// well.
func (j *jsonServer) ListCheckIns(ctx context.Context, _ ListCheckInsRequestObject) (ListCheckInsResponseObject, error) {
	all, err := j.Service.LoneWorkers(ctx, callerOf(ctx).Firm)
	if err != nil {
		return nil, err
	}
	return ListCheckIns200JSONResponse(mapped(all, func(w WatchedWorker) LoneWorker { return loneWorkerView(w, j.now()) })), nil
}

// RecordCall keeps a call of somebody who works alone, or that they left.
func (j *jsonServer) RecordCall(ctx context.Context, r RecordCallRequestObject) (RecordCallResponseObject, error) {
	w, err := j.Service.RecordCall(ctx, callerOf(ctx), recordID(ctx), r.Body.CrewID, r.Body.JobRef, r.Body.Day, string(r.Body.What))
	if err != nil {
		return nil, err
	}
	return RecordCall201JSONResponse(loneWorkerView(w, j.now())), nil
}

func loneWorkerView(w WatchedWorker, now time.Time) LoneWorker {
	k := w.Watch.Arranged
	return LoneWorker{Person: w.Person.Name, CrewID: k.Crew, JobRef: w.Job.Ref, Day: w.Day, Contact: k.Contact, Phone: k.Phone, IfMissed: k.IfMissed,
		Last: optionalTime(w.Watch.Last), Due: optionalTime(w.Watch.Due), Overdue: w.Watch.Overdue(now), Sentence: w.Says}
}
