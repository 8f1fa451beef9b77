package api

import (
	"context"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"toeboard/schedule"
)

// A request that is still running when its session is ended must not bring the
// session back as it finishes.
func TestASessionThatEndedStaysEnded(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	person, email := b.addPerson(b.firm, "Tom Okafor", schedule.CrewLead)
	sessions := newSessions(b.svc.accounts, false, func(_ http.ResponseWriter, _ *http.Request, err error) { t.Error(err) })
	for what, end := range map[string]func(token string) error{
		"a changed password": func(string) error { return b.svc.SetPassword(ctx, b.firm, person, email, testPassword) },
		"a sign-out":         func(token string) error { return b.svc.accounts.DeleteCtx(ctx, token) },
	} {
		a := b.signedIn(email)
		token := a.client.Jar.Cookies(mustURL(t, b.http.URL))[0].Value
		slow := httptest.NewServer(sessions.LoadAndSave(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if sessions.GetString(r.Context(), "who") == "" {
				t.Error("the slow request is not signed in")
			}
			if err := end(token); err != nil {
				t.Error(err)
			}
			w.WriteHeader(http.StatusNoContent)
		})))
		r, err := http.NewRequest("GET", slow.URL, nil)
		must(t, err)
		r.AddCookie(&http.Cookie{Name: cookieName, Value: token})
		res, err := http.DefaultClient.Do(r)
		must(t, err)
		must(t, res.Body.Close())
		slow.Close()
		b.agent("old").raw("GET", apiBase+"/me", map[string]string{"Cookie": cookieName + "=" + token}, nil).refused(notSignedIn)
		var rows int
		must(t, b.db.Owner.QueryRow(ctx, `SELECT count(*) FROM session`).Scan(&rows))
		if rows != 0 {
			t.Errorf("after %s %d sessions are left", what, rows)
		}
	}
}

// Use moves a session's end on, though not at every request.
func TestUseKeepsASession(t *testing.T) {
	b := newBench(t)
	_, email := b.addPerson(b.firm, "Tom Okafor", schedule.CrewLead)
	a := b.signedIn(email)
	for setBack, moves := range map[time.Duration]bool{time.Hour: true, time.Minute: false} {
		var was, is time.Time
		must(t, b.db.Owner.QueryRow(context.Background(), `UPDATE session SET expires_at = now() + $1::interval RETURNING expires_at`, idleTime-setBack).Scan(&was))
		a.json("GET", "/me", nil, nil).want(200)
		must(t, b.db.Owner.QueryRow(context.Background(), `SELECT expires_at FROM session`).Scan(&is))
		if is.After(was) != moves {
			t.Errorf("%s after the last move the end went from %s to %s", setBack, was, is)
		}
	}
}
