package api

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"
)

// Writes carry a key, in the Idempotency-Key header or in the form field "key".
// A write runs in its own transaction, then its answer is kept in a second one,
// then it is sent. What can go wrong between:
//
//   - before the write commits: nothing happened; a retry does it.
//   - after it, before the answer is kept: a retry runs it again and meets its
//     own row, since the record's identifier is made from the key and the
//     address (recordID, alreadyThere). One with other content is refused: it
//     would be another record. Writes that make no record ask for a state, such
//     as "published" or "confirmed", and find it reached.
//   - after the answer is kept: a retry gets that answer.
//
// Only successes are kept: a refused request changed nothing, and may be
// corrected and sent again under its key. After a failure (5xx) nobody knows
// whether it changed something: the corrected request is then refused as above.

// keyLife is how long a key is remembered. A phone may lie in a van for weeks.
const keyLife = 30 * 24 * time.Hour

// running holds the keys whose first request this process is still working on.
type running struct {
	mu   sync.Mutex
	keys map[onceKey]bool
}

// begin takes a key; false when it is taken.
func (r *running) begin(k onceKey) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.keys[k] {
		return false
	}
	r.keys[k] = true
	return true
}

func (r *running) end(k onceKey) {
	r.mu.Lock()
	defer r.mu.Unlock()
	delete(r.keys, k)
}

// once answers a key at most once. It stands after sign-in, since a key belongs
// to a person, and before the handler.
func (s *server) once(c *gin.Context) {
	key, request, err := keyOf(c)
	if err != nil {
		s.fail(c, err)
		return
	}
	caller := callerOf(c.Request.Context())
	k := onceKey{Firm: caller.Firm, Person: caller.Person, Route: c.Request.Method + " " + c.FullPath(), Key: key}
	if !s.running.begin(k) {
		s.fail(c, &refusal{kind: stillRunning, detail: "the first request with this key is still being worked on: ask again in a few seconds", retryAfter: 2 * time.Second})
		return
	}
	defer s.running.end(k)
	stored, found, err := s.answers.recall(c.Request.Context(), k)
	switch {
	case err != nil:
		s.fail(c, err)
	case found && s.now().Sub(stored.MadeAt) < keyLife:
		s.replay(c, stored, request)
	default:
		k.Address = c.Request.URL.Path + "?" + c.Request.URL.RawQuery
		s.runOnce(c, k, request)
	}
}

// runOnce runs the handler into memory, keeps what it answered, then sends it.
func (s *server) runOnce(c *gin.Context, k onceKey, request [32]byte) {
	c.Request = c.Request.WithContext(withRecord(c.Request.Context(), k))
	out := c.Writer
	held := &heldWriter{ResponseWriter: out, status: http.StatusOK}
	s.hold(c, held)
	if held.status >= 400 || held.status < 200 {
		held.send(out)
		return
	}
	ctx, cancel := afterwards(c.Request.Context())
	defer cancel()
	stored, err := s.answers.keep(ctx, k, storedAnswer{Request: request, Status: held.status, Body: held.pack(), MadeAt: s.now()})
	if err != nil {
		s.fail(c, fmt.Errorf("keep the answer of a write: %w", err))
		return
	}
	s.send(c, stored)
}

// hold runs the handlers into memory; the connection is given back even when
// one panics, so that the refusal for that goes out.
func (s *server) hold(c *gin.Context, held *heldWriter) {
	defer func(out gin.ResponseWriter) { c.Writer = out }(c.Writer)
	c.Writer = held
	c.Next()
}

// replay gives a kept answer again, to the same request only.
func (s *server) replay(c *gin.Context, stored storedAnswer, request [32]byte) {
	c.Abort()
	if stored.Request != request {
		s.fail(c, &refusal{kind: keyReused, detail: "this key was used for a request with other content: take a new key for a new request"})
		return
	}
	c.Header("Idempotency-Replayed", "true")
	s.send(c, stored)
}

func (s *server) send(c *gin.Context, stored storedAnswer) {
	var p packed
	if err := json.Unmarshal(stored.Body, &p); err != nil {
		s.fail(c, fmt.Errorf("read a kept answer: %w", err))
		return
	}
	for name, value := range p.Header {
		c.Writer.Header().Set(name, value)
	}
	c.Writer.WriteHeader(stored.Status)
	c.Writer.WriteHeaderNow()
	if _, err := c.Writer.Write(p.Body); err != nil {
		s.log.Warn("send an answer", "request", requestID(c.Request.Context()), "error", err)
	}
}

// packed is how an answer is kept.
type packed struct {
	Header map[string]string `json:"header"`
	Body   []byte            `json:"body"`
}

// keptHeaders are those that belong to the answer and not to the connection or
// the moment.
var keptHeaders = []string{"Content-Type", "Location", "ETag", "Link"}

// heldWriter keeps an answer in memory.
type heldWriter struct {
	gin.ResponseWriter
	header  http.Header
	body    bytes.Buffer
	status  int
	written bool
}

func (h *heldWriter) Header() http.Header {
	if h.header == nil {
		h.header = http.Header{}
	}
	return h.header
}

func (h *heldWriter) WriteHeader(status int)               { h.status = status }
func (h *heldWriter) WriteHeaderNow()                      { h.written = true }
func (h *heldWriter) Write(b []byte) (int, error)          { h.written = true; return h.body.Write(b) }
func (h *heldWriter) WriteString(text string) (int, error) { return h.Write([]byte(text)) }
func (h *heldWriter) Status() int                          { return h.status }
func (h *heldWriter) Size() int                            { return h.body.Len() }
func (h *heldWriter) Written() bool                        { return h.written }
func (h *heldWriter) Flush()                               {}

func (h *heldWriter) pack() []byte {
	p := packed{Header: map[string]string{}, Body: h.body.Bytes()}
	for _, name := range keptHeaders {
		if v := h.header.Get(name); v != "" {
			p.Header[name] = v
		}
	}
	b, err := json.Marshal(p)
	if err != nil {
		panic(err) // a map of strings and bytes can always be written
	}
	return b
}

// send gives a refusal on as it is.
func (h *heldWriter) send(out gin.ResponseWriter) {
	for name, values := range h.header {
		out.Header()[name] = values
	}
	out.WriteHeader(h.status)
	out.WriteHeaderNow()
	_, _ = out.Write(h.body.Bytes()) // the other end may be gone; the log line has the status
}

// keyOf reads the key of a write and what it asks, as a hash. The body is read
// whole and put back.
func keyOf(c *gin.Context) (key string, request [32]byte, err error) {
	body, err := io.ReadAll(c.Request.Body)
	if err != nil {
		return "", request, err
	}
	c.Request.Body = io.NopCloser(bytes.NewReader(body))
	h := sha256.New()
	fmt.Fprintf(h, "%s %s?%s\n", c.Request.Method, c.Request.URL.Path, c.Request.URL.RawQuery)
	if strings.HasPrefix(c.Request.URL.Path, apiBase) {
		key = strings.Trim(c.GetHeader("Idempotency-Key"), `"`)
		h.Write(canonical(c.ContentType(), body))
	} else {
		key = c.PostForm("key")
		if err := hashForm(h, c.Request); err != nil {
			return "", request, err
		}
	}
	if key == "" || len(key) > 200 {
		return "", request, &refusal{kind: keyMissing, detail: "send a key of 1 to 200 characters of your own with each write: the header Idempotency-Key, or the form field key"}
	}
	return key, [32]byte(h.Sum(nil)), nil
}

// canonical writes JSON with sorted names and without spaces, so that a client
// that builds the same request anew is not taken for another. What is not JSON
// stays as it is; the contract refuses it later.
func canonical(contentType string, body []byte) []byte {
	if contentType != "application/json" {
		return body
	}
	d := json.NewDecoder(bytes.NewReader(body))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		return body
	}
	if fields, ok := v.(map[string]any); ok {
		for name := range secretFields {
			delete(fields, name)
		}
	}
	b, err := json.Marshal(v)
	if err != nil {
		return body
	}
	return b
}

// secretFields are left out of what is kept of a request, even as a hash: one of
// a few digits would give them away.
var secretFields = map[string]bool{"pin": true, "password": true}

// hashForm hashes what a form says: fields and files, but neither the key,
// the secrets nor the device's time, which a second press of the button would change, nor the
// boundary that a browser draws anew each time.
func hashForm(h io.Writer, r *http.Request) error {
	fields := url.Values{}
	for name, values := range r.PostForm {
		if name != "key" && name != "device_at" && !secretFields[name] {
			fields[name] = values
		}
	}
	fmt.Fprintln(h, fields.Encode())
	if r.MultipartForm == nil {
		return nil
	}
	for _, f := range r.MultipartForm.File["file"] {
		file, err := f.Open()
		if err != nil {
			return fmt.Errorf("read the file that was sent: %w", err)
		}
		_, err = io.Copy(h, file)
		file.Close()
		if err != nil {
			return fmt.Errorf("read the file that was sent: %w", err)
		}
	}
	return nil
}

// records is the name space of the identifiers that are made from keys.
var records = uuid.MustParse("5d0c1f52-41f2-4f0e-9d5b-0d8f6b8f2a11")

func recordOf(k onceKey) uuid.UUID {
	return uuid.NewSHA1(records, []byte(strings.Join([]string{k.Firm.String(), k.Person.String(), k.Route, k.Address, k.Key}, "\n")))
}
