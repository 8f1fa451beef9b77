package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"
	"github.com/jackc/pgx/v5/pgconn"

	"toeboard/schedule"
	"toeboard/weather/fault"
)

const secretText = "pq: password of the database is hunter2"

// Each kind of error that a room can give, and what the edge makes of it.
func TestEveryKindOfErrorHasItsAnswer(t *testing.T) {
	t.Parallel()
	cause := errors.New(secretText)
	for _, c := range []struct {
		name string
		err  error
		want kind
	}{
		{"a plain error", cause, internal},
		{"wrapped", fmt.Errorf("save: %w", cause), internal},
		{"internal", &fault.Error{Kind: fault.Internal, Want: secretText, Err: cause}, internal},
		{"invalid", &fault.Error{Kind: fault.Invalid, Field: "day", Value: "x", Want: "a date", Err: cause}, invalid},
		{"not found", fault.Missing("job", "Q-1"), notFound},
		{"conflict", &fault.Error{Kind: fault.Conflict, Field: "plan", Want: "look again", Err: cause}, conflict},
		{"forbidden", &fault.Error{Kind: fault.Forbidden, Want: "only the office", Err: cause}, forbidden},
		{"unsigned", errUnsigned, notSignedIn},
		{"unavailable", &fault.Error{Kind: fault.Unavailable, Want: "later", Err: cause}, unavailable},
		{"an unknown kind", &fault.Error{Kind: 99, Want: "?", Err: cause}, internal},
		{"a joined pair", errors.Join(fault.Bad("a", "1", "2"), fault.Bad("b", "3", "4")), invalid},
		{"invalid and forbidden", errors.Join(fault.Bad("a", "1", "2"), &fault.Error{Kind: fault.Forbidden}), forbidden},
		{"too late", fmt.Errorf("read: %w", context.DeadlineExceeded), unavailable},
		{"no connection", &pgconn.ConnectError{}, unavailable},
		{"shutting down", &pgconn.PgError{Code: "57P01", Message: secretText}, unavailable},
		{"a body too large", &http.MaxBytesError{Limit: 65536}, tooLarge},
	} {
		got := refusalOf(c.err)
		if got.kind != c.want {
			t.Errorf("%s: %s, want %s", c.name, got.kind.name, c.want.name)
		}
		p := got.problem("r")
		if text := fmt.Sprintf("%+v %s %s", p, valueOf(p.Detail), got.sentence()); strings.Contains(text, secretText) {
			t.Errorf("%s: the cause leaves the service: %s", c.name, text)
		}
		if p.Status != got.kind.status || p.Type != "/problems/"+got.kind.name || p.Title == "" {
			t.Errorf("%s: %+v", c.name, p)
		}
	}
}

func TestEveryBadFieldIsNamed(t *testing.T) {
	t.Parallel()
	p := refusalOf(errors.Join(fault.Bad("line 3, modules", "abc", "1 to 200"), fault.Bad("line 7, ref", "", "a reference"))).problem("")
	if p.Errors == nil || len(*p.Errors) != 2 {
		t.Fatalf("errors: %+v", p.Errors)
	}
	first := (*p.Errors)[0]
	if first.Pointer != "line 3, modules" || !strings.Contains(first.Detail, `"abc"`) || !strings.Contains(first.Detail, "1 to 200") {
		t.Errorf("the first is %+v", first)
	}
}

// Every problem type, through HTTP: the media type of RFC 9457 for programs, a
// page for people, the request's number in both.
func TestEveryProblemTypeThroughHTTP(t *testing.T) {
	b := newBench(t)
	srv, err := newServer(b.svc)
	must(t, err)
	e := gin.New()
	seen := map[string]bool{}
	for _, k := range kinds {
		if seen[k.name] {
			t.Errorf("%s is there twice", k.name)
		}
		seen[k.name] = true
		refuse := func(c *gin.Context) { srv.fail(c, &refusal{kind: k, detail: "what happened"}) }
		e.GET("/api/"+k.name, refuse)
		e.GET("/"+k.name, refuse)
	}
	h := srv.logged(e)
	for _, k := range kinds {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("GET", "/api/"+k.name, nil))
		p := answer{t: t, what: k.name, Status: w.Code, Header: w.Header(), Body: w.Body.Bytes()}.refused(k)
		if valueOf(p.Detail) != "what happened" || !strings.HasPrefix(valueOf(p.Instance), "urn:uuid:") {
			t.Errorf("%s: %+v", k.name, p)
		}
		w = httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("GET", "/"+k.name, nil))
		if w.Code != k.status || w.Header().Get("Content-Type") != "text/html; charset=utf-8" || !strings.Contains(w.Body.String(), "What happened.") {
			t.Errorf("%s as a page: %d %s\n%s", k.name, w.Code, w.Header().Get("Content-Type"), w.Body)
		}
	}
}

func TestProblemTypesCanBeLookedUp(t *testing.T) {
	b := newBench(t)
	a := b.agent("reader")
	for _, k := range kinds {
		if got := a.get("/problems/" + k.name).want(200); !strings.Contains(string(got.Body), k.title) {
			t.Errorf("%s says %s", k.name, got.Body)
		}
	}
	a.get("/problems/nonsense").want(404)
}

func TestWhatTheRouterRefuses(t *testing.T) {
	b := newBench(t)
	a := b.as(schedule.Office)
	for _, c := range []struct {
		method, path string
		want         kind
	}{
		{"GET", "/api/v1/nothing", notFound},
		{"GET", "/api/nothing", notFound},
		{"DELETE", "/api/v1/me", methodNotAllowed},
		{"POST", "/api/v1/me", methodNotAllowed},
		{"GET", "/static/nothing.css", notFound},
		{"GET", "/static/", notFound},
	} {
		got := a.raw(c.method, c.path, map[string]string{"Idempotency-Key": "k"}, nil)
		if strings.HasPrefix(c.path, "/static/nothing") {
			got.want(404) // the file server's own words
			continue
		}
		got.refused(c.want)
		if c.want == methodNotAllowed && got.Header.Get("Allow") == "" {
			t.Errorf("%s %s: no Allow", c.method, c.path)
		}
	}
	page := a.get("/nothing").want(404)
	if !strings.HasPrefix(page.Header.Get("Content-Type"), "text/html") {
		t.Errorf("people get %s", page.Header.Get("Content-Type"))
	}
}

// A page that is not there leads back: with navigation for whoever is signed
// in, to the sign-in for others, and nowhere on the private pages.
func TestAPageThatIsNotThereLeadsBack(t *testing.T) {
	b := newBench(t)
	office, lead, nobody := b.as(schedule.Office), b.as(schedule.CrewLead), b.agent("nobody")
	for _, c := range []struct {
		who        *agent
		path, back string
		nav        bool
	}{
		{office, "/nothing", "/", true}, {lead, "/nothing", "/morning", true}, {office, "/problems/nonsense", "/", true},
		{office, "/jobs/Q-99", "/", true}, {nobody, "/nothing", "/sign-in", false}, {nobody, "/problems/nonsense", "/sign-in", false},
		{office, "/scaffold/" + strings.Repeat("A", 43), "", false}, {office, "/scaffold/a/b/c", "", false},
	} {
		page := c.who.get(c.path).want(404).page()
		if back := page.Find("main a.act").AttrOr("href", ""); back != c.back {
			t.Errorf("%s as %s leads to %q, want %q", c.path, c.who.name, back, c.back)
		}
		if nav := page.Find("nav a").Length() > 0; nav != c.nav {
			t.Errorf("%s as %s: navigation %t, want %t", c.path, c.who.name, nav, c.nav)
		}
	}
	if page := office.raw("POST", "/jobs", nil, nil).want(405).page(); page.Find("nav a").Length() == 0 {
		t.Error("a method that is not taken leads nowhere")
	}
}

// Broken requests: none is a failure of ours, each says what would be right.
func TestBrokenBodies(t *testing.T) {
	b := newBench(t)
	a := b.agent("x")
	post := func(contentType, body string) answer {
		return a.raw("POST", apiBase+"/session", map[string]string{"Content-Type": contentType}, []byte(body))
	}
	for _, c := range []struct {
		name, contentType, body string
		want                    kind
		says                    string
	}{
		{"nothing", "application/json", "", malformed, ""},
		{"not JSON", "application/json", "email=a", malformed, ""},
		{"half of it", "application/json", `{"email": "a@b.example", "pass`, malformed, ""},
		{"an array", "application/json", `[]`, malformed, "object"},
		{"null", "application/json", `null`, malformed, "null"},
		{"a wrong type", "application/json", `{"email": 3, "password": "x"}`, malformed, "/email"},
		{"a field too few", "application/json", `{"email": "a@b.example"}`, malformed, "password"},
		{"a field too many", "application/json", `{"email": "a@b.example", "password": "x", "admin": true}`, malformed, "admin"},
		{"too short", "application/json", `{"email": "a", "password": "x"}`, malformed, "/email"},
		{"no uuid", "application/json", `{"email": "a@b.example", "password": "x", "firm_id": "nobody"}`, malformed, "firm_id"},
		{"a form", "application/x-www-form-urlencoded", "email=a&password=b", unsupportedMedia, "application/json"},
		{"no type", "", `{}`, unsupportedMedia, "application/json"},
		{"too large", "application/json", `{"email": "` + strings.Repeat("a", 70_000) + `"}`, tooLarge, "64 KiB"},
		{"deep", "application/json", strings.Repeat(`{"a":`, 10_500), malformed, ""},
	} {
		got := post(c.contentType, c.body)
		p := got.refused(c.want)
		if !strings.Contains(string(got.Body), c.says) {
			t.Errorf("%s: does not say %q: %s", c.name, c.says, got.Body)
		}
		if c.want == malformed && (p.Errors == nil || len(*p.Errors) == 0) {
			t.Errorf("%s: names no place: %s", c.name, got.Body)
		}
	}
}

func TestWritesFromOtherSitesAreRefused(t *testing.T) {
	b := newBench(t)
	_, email := b.addPerson(b.firm, "Imogen Thackray", schedule.Office)
	a := b.signedIn(email)
	for name, headers := range map[string]map[string]string{
		"a browser that says so": {"Sec-Fetch-Site": "cross-site"},
		"a sister site":          {"Sec-Fetch-Site": "same-site"},
		"an older browser":       {"Origin": "https://evil.example"},
	} {
		a.raw("DELETE", apiBase+"/session", headers, nil).refused(forbidden)
		if got := a.raw("POST", "/sign-out", headers, nil); got.Status != 403 {
			t.Errorf("%s: a form goes through: %d", name, got.Status)
		}
	}
	a.json("GET", "/me", nil, nil).want(200)
	a.raw("DELETE", apiBase+"/session", map[string]string{"Sec-Fetch-Site": "same-origin"}, nil).want(204)
}

func TestEveryAnswerIsDressed(t *testing.T) {
	b := newBench(t)
	a := b.agent("x")
	for _, path := range []string{"/sign-in", "/api/v1/me", "/nothing", "/healthz", "/static/board.css"} {
		got := a.get(path)
		for name, want := range map[string]string{
			"Content-Security-Policy": "default-src 'self'", "X-Content-Type-Options": "nosniff", "Referrer-Policy": "same-origin",
		} {
			if !strings.Contains(got.Header.Get(name), want) {
				t.Errorf("%s: %s is %q", path, name, got.Header.Get(name))
			}
		}
		if !strings.Contains(got.Header.Get("Content-Security-Policy"), "frame-ancestors 'none'") {
			t.Errorf("%s may be framed", path)
		}
		if cc := got.Header.Get("Cache-Control"); !strings.HasPrefix(path, "/static/") && !strings.Contains(cc, "no-store") {
			t.Errorf("%s may be cached: %q", path, cc)
		}
	}
}

func TestHealthTellsWhenTheDatabaseIsGone(t *testing.T) {
	b := newBench(t)
	a := b.agent("probe")
	a.get("/healthz").want(200)
	b.db.App.Close()
	a.get("/healthz").want(503)
}
