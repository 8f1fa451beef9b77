package api

import (
	"context"
)

// DeclareFitness keeps whether somebody is fit for work today.
func (j *jsonServer) DeclareFitness(ctx context.Context, r DeclareFitnessRequestObject) (DeclareFitnessResponseObject, error) {
	if err := j.Service.DeclareFitness(ctx, callerOf(ctx), recordID(ctx), FitnessInput{r.Body.PersonID, r.Body.Day, r.Body.Fit, valueOf(r.Body.Pin)}); err != nil {
		return nil, err
	}
	return DeclareFitness204Response{}, nil
}
