package api

import (
	"context"
)

// jsonServer answers the operations of the contract. Each decodes, asks the
// Service and encodes.
type jsonServer struct {
	*server
	unfinished
}

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

// valueOf gives what an optional field holds, the zero value when it is absent.
func valueOf[T any](p *T) T {
	var zero T
	if p == nil {
		return zero
	}
	return *p
}

type unfinished = StrictServerInterface
