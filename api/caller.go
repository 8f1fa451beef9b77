package api

import (
	"context"
	"net/http"
	"net/netip"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
)

// Caller is the person who asks, as the database knows them at this request.
type Caller struct {
	Firm     uuid.UUID
	Person   uuid.UUID
	Name     string
	Role     schedule.Role
	FirmName string
	TimeZone string         // IANA
	Location *time.Location // of TimeZone
}

// Authenticator tells who sends a request. There is one today, the session
// cookie; passkeys end in the same cookie, and tokens for programs would be a
// second one. An error of kind Unsigned means nobody; any other error means
// that it could not be found out, which is never "nobody".
type Authenticator interface {
	Authenticate(r *http.Request) (Caller, error)
}

type contextKey int

const (
	callerKey contextKey = iota
	recordKey
	requestKey
	placeKey
)

func withCaller(ctx context.Context, c Caller) context.Context {
	return context.WithValue(ctx, callerKey, c)
}

// callerOf gives the caller of a request that went through signedInOnly; the
// zero Caller otherwise, which may do nothing.
func callerOf(ctx context.Context) Caller {
	c, _ := ctx.Value(callerKey).(Caller)
	return c
}

// recordID gives the identifier of the record that this request makes. It is
// made from the request's idempotency key, so that a retry whose first answer
// was lost meets its own row and not a second one.
func recordID(ctx context.Context) uuid.UUID {
	id, _ := ctx.Value(recordKey).(uuid.UUID)
	return id
}

// requestID gives the number under which the log has this request.
func requestID(ctx context.Context) string {
	id, _ := ctx.Value(requestKey).(string)
	return id
}

// placeOf gives the network place a request comes from, for counting tries: an
// IPv4 address, or the first 64 bits of an IPv6 one, since a home has them all.
func placeOf(ctx context.Context) string {
	place, _ := ctx.Value(placeKey).(string)
	return place
}

func networkPlace(ip string) string {
	a, err := netip.ParseAddr(ip)
	if err != nil || a.Is4() || a.Is4In6() {
		return ip
	}
	p, err := a.WithZone("").Prefix(64)
	if err != nil {
		return ip
	}
	return p.String()
}
