package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/alexedwards/argon2id"
	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/legacy"
	"github.com/google/uuid"

	"toeboard/migrations/dbtest"
	"toeboard/migrations/queue"
	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/archive"
	"toeboard/weather/civil"
	"toeboard/web"
)

// bench is one test's whole service: its own database, a firm, a clock that the
// test moves, and a server on loopback.
type bench struct {
	t    *testing.T
	db   *dbtest.DB
	svc  *Service
	http *httptest.Server
	log  *lockedBuffer
	firm uuid.UUID
	doc  routers.Router

	schedule *schedule.Store
	safety   *safety.Store
	archive  *archive.Store
	queue    *queue.Queue

	mu  sync.Mutex
	now time.Time
}

// lockedBuffer is a log that several requests write.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func (b *bench) clock() time.Time {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.now
}

func (b *bench) setClock(t time.Time) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.now = t
}

// benchStart is a Tuesday, 07:15 in London in winter.
var benchStart = time.Date(2026, 12, 1, 7, 15, 0, 0, time.UTC)

func newBench(t *testing.T) *bench {
	t.Helper()
	t.Parallel()
	b := &bench{t: t, db: dbtest.New(t), log: &lockedBuffer{}, now: benchStart}
	renderer, err := theRenderer()
	must(t, err)
	ids := func() uuid.UUID { return uuid.Must(uuid.NewV7()) }
	b.schedule, b.safety, b.archive = schedule.NewStore(b.db.App, ids), safety.NewStore(b.db.App, ids), archive.NewStore(b.db.App, ids)
	b.queue, err = queue.New(b.db.App, slog.New(slog.NewTextHandler(b.log, nil)))
	must(t, err)
	b.svc, err = New(Deps{
		Queue: b.queue,
		Pool:  b.db.App, Schedule: b.schedule, Safety: b.safety, Archive: b.archive, Web: renderer, Now: b.clock, IDs: ids,
		Log: slog.New(slog.NewTextHandler(b.log, nil)), BaseURL: "http://toeboard.example",
		ParseForecast: map[string]ForecastParser{testProvider: readSky},
	})
	must(t, err)
	b.http = httptest.NewServer(b.svc.Handler())
	t.Cleanup(b.http.Close)
	b.doc = contractRouter(t)
	b.firm = b.addFirm("Quillmere Solar")
	return b
}

// works has this bench's service work its queue until the test ends.
func (b *bench) works() {
	b.t.Helper()
	stop, err := b.svc.Work()
	must(b.t, err)
	b.t.Cleanup(stop)
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func (b *bench) addFirm(name string) uuid.UUID {
	b.t.Helper()
	id := uuid.New()
	must(b.t, b.schedule.CreateFirm(context.Background(), schedule.Firm{ID: id, Name: name, TimeZone: "Europe/London", Division: "england-and-wales",
		Hours: civil.UsualHours, Rates: schedule.DefaultRates(), BaseLat: 51.5, BaseLon: -0.1},
		[]schedule.Holiday{{Day: civil.On(2026, 12, 25), Title: "Christmas Day", Source: "test"}}))
	return id
}

const testPassword = "a long enough password"

// addPerson makes somebody who can sign in with testPassword.
func (b *bench) addPerson(firm uuid.UUID, name string, role schedule.Role) (person uuid.UUID, email string) {
	b.t.Helper()
	person = uuid.New()
	email = strings.ToLower(strings.ReplaceAll(name, " ", ".")) + "@firm.example"
	must(b.t, b.schedule.SavePerson(context.Background(), firm, schedule.Person{ID: person, Name: name, Role: role, Active: true}))
	// One hash for all: what a hash costs is measured in signin_test.go.
	must(b.t, b.svc.accounts.set(context.Background(), firm, person, email, testHash()))
	return person, email
}

// testHash is a hash of testPassword at the least cost there is.
var testHash = sync.OnceValue(func() string {
	h, err := argon2id.CreateHash(testPassword, &argon2id.Params{Memory: 64, Iterations: 1, Parallelism: 1, SaltLength: 16, KeyLength: 32})
	if err != nil {
		panic(err)
	}
	return h
})

// testPIN is everybody's PIN in these tests; testPINHash its hash at the least
// cost there is.
const testPIN = "407193" // long enough that no number in a log holds it by chance

var testPINHash = sync.OnceValue(func() string {
	h, err := argon2id.CreateHash(testPIN, &argon2id.Params{Memory: 64, Iterations: 1, Parallelism: 1, SaltLength: 16, KeyLength: 32})
	if err != nil {
		panic(err)
	}
	return h
})

// contractRouter finds the operation of a response, independently of the
// service's own routes. It is read once: the contract is long.
func contractRouter(t *testing.T) routers.Router {
	t.Helper()
	r, err := theContract()
	must(t, err)
	return r
}

var theContract = sync.OnceValues(func() (routers.Router, error) {
	doc, err := openapi3.NewLoader().LoadFromFile("openapi.yaml")
	if err != nil {
		return nil, err
	}
	if err := doc.Validate(context.Background()); err != nil {
		return nil, err
	}
	return legacy.NewRouter(doc)
})

// theRenderer is read once: it may be used by several servers.
var theRenderer = sync.OnceValues(web.New)

// agent is one browser or program.
type agent struct {
	*bench
	client *http.Client
	name   string
}

func (b *bench) agent(name string) *agent {
	jar, err := cookiejar.New(nil)
	must(b.t, err)
	return &agent{bench: b, name: name, client: &http.Client{
		Jar:           jar,
		Timeout:       time.Minute,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
}

// signedIn gives an agent who has signed in through the JSON route.
func (b *bench) signedIn(email string) *agent {
	b.t.Helper()
	a := b.agent(email)
	got := a.json("POST", "/session", nil, map[string]any{"email": email, "password": testPassword})
	got.want(200)
	return a
}

func (b *bench) as(role schedule.Role) *agent {
	b.t.Helper()
	_, email := b.addPerson(b.firm, string(role)+" "+uuid.NewString()[:8], role)
	return b.signedIn(email)
}

// answer is a whole response.
type answer struct {
	t      *testing.T
	what   string
	Status int
	Header http.Header
	Body   []byte
}

func (a answer) want(status int) answer {
	a.t.Helper()
	if a.Status != status {
		a.t.Fatalf("%s: got %d, want %d: %s", a.what, a.Status, status, a.Body)
	}
	return a
}

// refused checks a problem document's type.
func (a answer) refused(k kind) Problem {
	a.t.Helper()
	a.want(k.status)
	if ct := a.Header.Get("Content-Type"); ct != "application/problem+json" {
		a.t.Fatalf("%s: content type %q", a.what, ct)
	}
	var p Problem
	a.into(&p)
	if p.Type != "/problems/"+k.name || p.Status != k.status {
		a.t.Fatalf("%s: problem %s %d, want %s: %s", a.what, p.Type, p.Status, k.name, a.Body)
	}
	return p
}

func (a answer) into(v any) answer {
	a.t.Helper()
	if err := json.Unmarshal(a.Body, v); err != nil {
		a.t.Fatalf("%s: %v in %s", a.what, err, a.Body)
	}
	return a
}

// json sends a JSON request under the contract and holds the answer against it.
// A write without a key in headers gets a new one.
func (a *agent) json(method, path string, headers map[string]string, body any) answer {
	a.t.Helper()
	var content []byte
	if body != nil {
		var err error
		content, err = json.Marshal(body)
		must(a.t, err)
	}
	h := map[string]string{"Content-Type": "application/json"}
	if method != "GET" && !strings.HasPrefix(path, "/session") {
		h["Idempotency-Key"] = `"` + uuid.NewString() + `"`
	}
	for name, v := range headers {
		h[name] = v
	}
	return a.raw(method, apiBase+path, h, content)
}

func (a *agent) raw(method, path string, headers map[string]string, body []byte) answer {
	a.t.Helper()
	req, err := http.NewRequest(method, a.http.URL+path, bytes.NewReader(body))
	must(a.t, err)
	for name, v := range headers {
		if v == "" {
			req.Header.Del(name)
		} else {
			req.Header.Set(name, v)
		}
	}
	res, err := a.client.Do(req)
	must(a.t, err)
	defer res.Body.Close()
	got, err := io.ReadAll(res.Body)
	must(a.t, err)
	out := answer{t: a.t, what: fmt.Sprintf("%s %s as %s", method, path, a.name), Status: res.StatusCode, Header: res.Header, Body: got}
	if strings.HasPrefix(path, apiBase) {
		a.heldToContract(req, out)
	}
	return out
}

// heldToContract validates one response against the document with kin-openapi.
func (a *agent) heldToContract(req *http.Request, got answer) {
	a.t.Helper()
	r, err := http.NewRequest(req.Method, strings.TrimPrefix(req.URL.RequestURI(), ""), nil)
	must(a.t, err)
	route, params, err := a.doc.FindRoute(r)
	if err != nil {
		if got.Status != 404 && got.Status != 405 {
			a.t.Errorf("%s: %d at an address that the contract does not have", got.what, got.Status)
		}
		return
	}
	err = openapi3filter.ValidateResponse(context.Background(), &openapi3filter.ResponseValidationInput{
		RequestValidationInput: &openapi3filter.RequestValidationInput{Request: r, PathParams: params, Route: route},
		Status:                 got.Status, Header: got.Header, Body: io.NopCloser(bytes.NewReader(got.Body)),
		Options: &openapi3filter.Options{IncludeResponseStatus: true, ExcludeResponseBody: strings.HasPrefix(got.Header.Get("Content-Type"), "text/csv")},
	})
	if err != nil {
		a.t.Errorf("%s: the answer breaks the contract: %v\n%s", got.what, err, got.Body)
	}
}

// form posts a form as a browser does.
func (a *agent) form(path string, fields url.Values) answer {
	a.t.Helper()
	return a.raw("POST", path, map[string]string{"Content-Type": "application/x-www-form-urlencoded", "Sec-Fetch-Site": "same-origin"}, []byte(fields.Encode()))
}

func (a *agent) get(path string) answer {
	a.t.Helper()
	return a.raw("GET", path, nil, nil)
}
