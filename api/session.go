package api

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/google/uuid"
)

// How long somebody stays signed in. The idle time spans a weekend: a crew lead
// who used the phone on Friday afternoon need not type a password with cold
// hands on Monday. The whole time ends a session however much it is used.
const (
	idleTime  = 72 * time.Hour
	wholeTime = 14 * 24 * time.Hour
)

// cookieName names the session cookie; the contract says the same.
const cookieName = "toeboard"

// newSessions sets up the session manager over our own table. secure is for a
// service that is reached by https.
func newSessions(a accounts, secure bool, failed func(http.ResponseWriter, *http.Request, error)) *scs.SessionManager {
	s := scs.New()
	s.Store = a
	s.IdleTimeout = idleTime
	s.Lifetime = wholeTime
	s.ErrorFunc = failed
	s.Cookie.Name = cookieName
	s.Cookie.HttpOnly = true
	s.Cookie.SameSite = http.SameSiteLaxMode
	s.Cookie.Secure = secure
	s.Cookie.Persist = true
	return s
}

// signedIn reads whose session some session data is; uuid.Nil for one in which
// nobody is signed in.
func signedIn(data []byte) (firm, person uuid.UUID, err error) {
	_, values, err := scs.GobCodec{}.Decode(data)
	if err != nil {
		return uuid.Nil, uuid.Nil, fmt.Errorf("read a session: %w", err)
	}
	who, ok := values["who"].(string)
	if !ok {
		return uuid.Nil, uuid.Nil, nil
	}
	return parseWho(who)
}

func who(firm, person uuid.UUID) string { return firm.String() + "/" + person.String() }

func parseWho(s string) (firm, person uuid.UUID, err error) {
	f, p, _ := strings.Cut(s, "/")
	if firm, err = uuid.Parse(f); err == nil {
		person, err = uuid.Parse(p)
	}
	if err != nil {
		return uuid.Nil, uuid.Nil, fmt.Errorf("read whose session it is: %w", err)
	}
	return firm, person, nil
}

// bySession is the Authenticator of the session cookie.
type bySession struct {
	accounts accounts
	sessions *scs.SessionManager
}

// Authenticate reads who is signed in. The request's context must have gone
// through the session manager.
func (b bySession) Authenticate(r *http.Request) (Caller, error) {
	s := b.sessions.GetString(r.Context(), "who")
	if s == "" {
		return Caller{}, errUnsigned
	}
	firm, person, err := parseWho(s)
	if err != nil {
		return Caller{}, err
	}
	return b.accounts.caller(r.Context(), firm, person)
}

// signIn checks a password and starts a session for its person. The token
// changes: one that somebody planted before is worth nothing.
func (s *server) signIn(ctx context.Context, email, password string, firm uuid.UUID) (Caller, error) {
	l, err := s.gate.check(ctx, email, password, firm, placeOf(ctx))
	if err != nil {
		return Caller{}, err
	}
	c, err := s.accounts.caller(ctx, l.Firm, l.Person)
	if err == errUnsigned { // somebody who left: the same words as for a wrong password
		wrong := wrongSignIn
		return Caller{}, &wrong
	}
	if err != nil {
		return Caller{}, err
	}
	if err := s.sessions.RenewToken(ctx); err != nil {
		return Caller{}, fmt.Errorf("start a session: %w", err)
	}
	s.sessions.Put(ctx, "who", who(c.Firm, c.Person))
	if _, _, err := s.sessions.Commit(starting(ctx)); err != nil {
		return Caller{}, fmt.Errorf("start a session: %w", err)
	}
	return c, nil
}
