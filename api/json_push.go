package api

import "context"

// Phones that want to be told at once, in JSON.

// PushKey gives the key with which a browser asks.
func (j *jsonServer) PushKey(ctx context.Context, _ PushKeyRequestObject) (PushKeyResponseObject, error) {
	_, public, err := j.pushKey(ctx, callerOf(ctx).Firm)
	return PushKey200JSONResponse{PublicKey: public}, err
}

// AskPush keeps a phone that asked.
func (j *jsonServer) AskPush(ctx context.Context, r AskPushRequestObject) (AskPushResponseObject, error) {
	return AskPush204Response{}, j.Service.AskPush(ctx, callerOf(ctx), r.Body.Endpoint, r.Body.P256Dh, r.Body.Auth)
}

// EndPush takes back what a phone asked.
func (j *jsonServer) EndPush(ctx context.Context, r EndPushRequestObject) (EndPushResponseObject, error) {
	c := callerOf(ctx)
	return EndPush204Response{}, j.endPhone(ctx, c.Firm, c.Person, r.Params.Endpoint)
}
