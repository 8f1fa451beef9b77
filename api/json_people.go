package api

import (
	"context"

	"github.com/google/uuid"

	"toeboard/safety"
)

// SetSigningPin sets the PIN with which a person signs.
func (j *jsonServer) SetSigningPin(ctx context.Context, r SetSigningPinRequestObject) (SetSigningPinResponseObject, error) {
	if err := j.Service.SetPIN(ctx, callerOf(ctx), r.PersonID, r.Body.Pin, valueOf(r.Body.Password)); err != nil {
		return nil, err
	}
	return SetSigningPin204Response{}, nil
}

func basisShown(b SigningBasis) safety.Basis {
	return safety.Basis{Assessment: b.Assessment, Crew: b.Crew, Scaffold: b.Scaffold, Tasks: b.Tasks, Forecast: b.Forecast}
}

func signingBasis(b safety.Basis) SigningBasis {
	return SigningBasis{Assessment: b.Assessment, Crew: b.Crew, Scaffold: b.Scaffold, Tasks: b.Tasks, Forecast: b.Forecast}
}

func signedBefore(m Judged, person uuid.UUID) *SignedBefore {
	b, before := m.Before[person]
	if !before {
		return nil
	}
	return &SignedBefore{Version: b.Version, Day: b.Day, Changed: append([]string{}, b.Changed...)}
}
