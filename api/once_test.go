package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/schedule"
)

// onceBench is a server with one write behind once, that counts how often it
// really ran.
type onceBench struct {
	*bench
	engine *gin.Engine
	caller Caller
	ran    atomic.Int64
	ids    []uuid.UUID
	before func() // runs inside the write
	status int
}

func newOnceBench(t *testing.T) *onceBench {
	b := newBench(t)
	srv, err := newServer(b.svc)
	must(t, err)
	o := &onceBench{bench: b, engine: gin.New(), before: func() {}, status: http.StatusCreated}
	person, _ := b.addPerson(b.firm, "Rhodri Pask", schedule.CrewLead)
	o.caller, err = b.svc.accounts.caller(context.Background(), b.firm, person)
	must(t, err)
	write := func(c *gin.Context) {
		o.before()
		n := o.ran.Add(1)
		o.ids = append(o.ids, recordID(c.Request.Context()))
		c.Header("Location", fmt.Sprint("/things/", n))
		c.JSON(o.status, gin.H{"n": n})
	}
	o.engine.Use(srv.recovered, func(c *gin.Context) { c.Request = c.Request.WithContext(withCaller(c.Request.Context(), o.caller)) })
	o.engine.POST(apiBase+"/things", srv.once, write)
	o.engine.POST("/things", srv.once, write)
	o.engine.POST(apiBase+"/things/:ref/parts", srv.once, write)
	return o
}

func (o *onceBench) send(path, contentType, key, body string) answer {
	o.t.Helper()
	r := httptest.NewRequest("POST", path, strings.NewReader(body))
	r.Header.Set("Content-Type", contentType)
	if key != "" {
		r.Header.Set("Idempotency-Key", key)
	}
	w := httptest.NewRecorder()
	o.engine.ServeHTTP(w, r)
	return answer{t: o.t, what: "POST " + path, Status: w.Code, Header: w.Header(), Body: w.Body.Bytes()}
}

func (o *onceBench) post(key, body string) answer {
	o.t.Helper()
	return o.send(apiBase+"/things", "application/json", key, body)
}

func TestOneKeyOneEffect(t *testing.T) {
	o := newOnceBench(t)
	first := o.post("k1", `{"a": 1, "b": [2]}`).want(201)
	// The same again, written differently and with the quotes of the draft
	// standard: the same answer, word for word, and nothing runs.
	again := o.post(`"k1"`, `{"b":[2],"a":1}`).want(201)
	if !bytes.Equal(first.Body, again.Body) || first.Header.Get("Location") != again.Header.Get("Location") || again.Header.Get("Content-Type") != first.Header.Get("Content-Type") {
		t.Errorf("first %s %v, again %s %v", first.Body, first.Header, again.Body, again.Header)
	}
	if again.Header.Get("Idempotency-Replayed") != "true" || first.Header.Get("Idempotency-Replayed") != "" {
		t.Error("a replay does not say that it is one")
	}
	if n := o.ran.Load(); n != 1 {
		t.Errorf("it ran %d times", n)
	}
	o.post("k1", `{"a": 2, "b": [2]}`).refused(keyReused)
	o.post("", `{}`).refused(keyMissing)
	o.post(strings.Repeat("k", 201), `{}`).refused(keyMissing)
	o.post("k2", `{"a": 1, "b": [2]}`).want(201)
	if n := o.ran.Load(); n != 2 {
		t.Errorf("it ran %d times, want 2", n)
	}
}

// A retry must write something before it is answered: under synchronous
// replication a transaction that only reads does not wait for the standby, and
// would acknowledge what a failover then loses.
func TestReplayWritesBeforeItAnswers(t *testing.T) {
	o := newOnceBench(t)
	o.post("k1", `{}`).want(201)
	version := func() (x string) {
		must(t, o.db.Owner.QueryRow(context.Background(), `SELECT xmin::text FROM idempotency`).Scan(&x))
		return x
	}
	before := version()
	o.post("k1", `{}`).want(201)
	if version() == before {
		t.Error("the replay read the row and wrote nothing")
	}
}

func TestSecondWhileTheFirstRuns(t *testing.T) {
	o := newOnceBench(t)
	started, goOn := make(chan struct{}), make(chan struct{})
	o.before = func() { close(started); <-goOn }
	done := make(chan answer)
	go func() { done <- o.post("k1", `{}`) }()
	<-started
	busy := o.post("k1", `{}`)
	busy.refused(stillRunning)
	if busy.Header.Get("Retry-After") == "" {
		t.Error("no Retry-After")
	}
	close(goOn)
	(<-done).want(201)
	o.before = func() {}
	o.post("k1", `{}`).want(201)
	if n := o.ran.Load(); n != 1 {
		t.Errorf("it ran %d times", n)
	}
}

// The same key at another address of the same route is another record, also
// when the first answer was lost.
func TestRecordsBelongToTheirAddress(t *testing.T) {
	o := newOnceBench(t)
	for _, to := range []string{"/things/a/parts", "/things/b/parts", "/things/b/parts?job=1", "/things/a/parts"} {
		o.send(apiBase+to, "application/json", "k1", `{}`).want(201)
		_, err := o.db.Owner.Exec(context.Background(), `DELETE FROM idempotency`)
		must(t, err)
	}
	if o.ids[0] == o.ids[1] || o.ids[1] == o.ids[2] || o.ids[0] != o.ids[3] {
		t.Errorf("the records are %v, want the first and the last alike and no others", o.ids)
	}
}

func TestARefusalIsNotKept(t *testing.T) {
	o := newOnceBench(t)
	o.status = 422
	o.post("k1", `{"wrong": true}`).want(422)
	o.status = 201
	o.post("k1", `{"right": true}`).want(201)
}

func TestAPanicIsAnsweredAndMayBeRetried(t *testing.T) {
	o := newOnceBench(t)
	o.before = func() { panic("secret text") }
	p := o.post("k1", `{}`)
	p.refused(internal)
	if strings.Contains(string(p.Body), "secret text") {
		t.Error("the panic's text leaves the service")
	}
	if !strings.Contains(o.log.String(), "secret text") {
		t.Error("the panic's text is not in the log")
	}
	o.before = func() {}
	o.post("k1", `{}`).want(201)
}

func TestKeysBelongToOnePerson(t *testing.T) {
	o := newOnceBench(t)
	o.post("k1", `{}`).want(201)
	other, _ := o.addPerson(o.firm, "Dele Ashworth", schedule.CrewMember)
	o.caller.Person = other
	o.post("k1", `{"other": true}`).want(201)
	if n := o.ran.Load(); n != 2 || o.ids[0] == o.ids[1] {
		t.Errorf("it ran %d times, with records %v", n, o.ids)
	}
}

func TestKeysAreForgottenAfterThirtyDays(t *testing.T) {
	o := newOnceBench(t)
	o.post("k1", `{}`).want(201)
	o.setClock(benchStart.Add(keyLife - time.Hour))
	must(t, o.svc.Sweep(context.Background(), o.firm))
	o.post("k1", `{}`).want(201)
	if n := o.ran.Load(); n != 1 {
		t.Errorf("a key of 29 days ran %d times", n)
	}
	o.setClock(benchStart.Add(keyLife + time.Hour))
	must(t, o.svc.Sweep(context.Background(), o.firm))
	o.post("k1", `{}`).want(201)
	if n := o.ran.Load(); n != 2 {
		t.Errorf("after 30 days it ran %d times", n)
	}
}

// The answer cannot be kept, as if the process died between the write and the
// answer: the caller is not told that it worked, and a retry makes the same
// record, not a second one.
func TestAnswerLostBetweenWriteAndAnswer(t *testing.T) {
	o := newOnceBench(t)
	for _, statement := range []string{
		`CREATE FUNCTION refuse_once() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'disk on fire' USING ERRCODE = '53100'; END $$`,
		`CREATE TRIGGER refuse_once BEFORE INSERT ON idempotency FOR EACH ROW WHEN (NEW.key = 'k1') EXECUTE FUNCTION refuse_once()`,
	} {
		_, err := o.db.Owner.Exec(context.Background(), statement)
		must(t, err)
	}
	p := o.post("k1", `{}`)
	p.refused(unavailable)
	if strings.Contains(string(p.Body), "disk on fire") {
		t.Error("the database's text leaves the service")
	}
	_, err := o.db.Owner.Exec(context.Background(), `DROP TRIGGER refuse_once ON idempotency`)
	must(t, err)
	o.post("k1", `{}`).want(201)
	if len(o.ids) != 2 || o.ids[0] != o.ids[1] || o.ids[0] == uuid.Nil {
		t.Errorf("the retry makes another record: %v", o.ids)
	}
}

func TestFormsCarryTheirKey(t *testing.T) {
	o := newOnceBench(t)
	form := func(fields url.Values) answer {
		return o.send("/things", "application/x-www-form-urlencoded", "", fields.Encode())
	}
	o.status = 303
	form(url.Values{"key": {"k1"}, "name": {"Ada"}, "device_at": {"2026-12-01T07:15:00Z"}}).want(303)
	// A second press of the button: the script fills in another time.
	again := form(url.Values{"key": {"k1"}, "name": {"Ada"}, "device_at": {"2026-12-01T07:15:02Z"}}).want(303)
	if again.Header.Get("Location") != "/things/1" || o.ran.Load() != 1 {
		t.Errorf("the second press ran: %v", again.Header)
	}
	o.send("/things", "application/x-www-form-urlencoded", "", url.Values{"key": {"k1"}, "name": {"Bob"}}.Encode()).want(422)
	o.send("/things", "application/x-www-form-urlencoded", "", "name=Ada").want(400)
}

// A browser draws a new boundary for each try: the same file must still be the
// same request, and another file another one.
func TestFilesAreComparedByContent(t *testing.T) {
	o := newOnceBench(t)
	upload := func(content string) answer {
		var b bytes.Buffer
		m := multipart.NewWriter(&b)
		must(t, m.WriteField("key", "k1"))
		f, err := m.CreateFormFile("file", "jobs.csv")
		must(t, err)
		_, err = io.WriteString(f, content)
		must(t, err)
		must(t, m.Close())
		return o.send("/things", m.FormDataContentType(), "", b.String())
	}
	upload("ref\n1").want(201)
	upload("ref\n1").want(201)
	if n := o.ran.Load(); n != 1 {
		t.Errorf("the same file ran %d times", n)
	}
	upload("ref\n2").want(422)
}

func TestStoredAnswersAreWhole(t *testing.T) {
	t.Parallel()
	h := &heldWriter{status: 201}
	h.Header().Set("Content-Type", "application/json")
	h.Header().Set("Set-Cookie", "toeboard=secret")
	_, _ = h.WriteString(`{"a":1}`)
	var p packed
	must(t, json.Unmarshal(h.pack(), &p))
	if string(p.Body) != `{"a":1}` || p.Header["Content-Type"] != "application/json" {
		t.Errorf("kept %+v", p)
	}
	if _, there := p.Header["Set-Cookie"]; there {
		t.Error("a cookie is kept with the answer")
	}
}
