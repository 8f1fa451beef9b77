package api

import (
	"context"
	"errors"
	"strings"

	"toeboard/safety"
	"toeboard/weather/fault"
)

// RecordEvent records something that could have affected a scaffold.
func (j *jsonServer) RecordEvent(ctx context.Context, r RecordEventRequestObject) (RecordEventResponseObject, error) {
	b := r.Body
	at, err := j.Service.RecordEvent(ctx, callerOf(ctx), recordID(ctx), b.JobRef,
		safety.ScaffoldEvent{What: string(b.What), Detail: strings.TrimSpace(b.Detail), At: b.At.UTC()})
	if f := (*fault.Error)(nil); errors.As(err, &f) && f.Field == "event_at" {
		err = fault.Bad("at", f.Value, f.Want) // the page's name for it, beside the report's form
	}
	if err != nil {
		return nil, err
	}
	return RecordEvent201JSONResponse{ID: recordID(ctx), At: at.UTC()}, nil
}
