package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"toeboard/web"
)

// fail answers a request with what went wrong and runs no further handler.
func (s *server) fail(c *gin.Context, err error) {
	c.Abort()
	if c.Writer.Written() {
		s.log.Error("failed after the answer had begun", "request", requestID(c.Request.Context()), "error", err)
		return
	}
	s.refuse(c.Writer, c.Request, err)
}

// refuse writes a refusal as the caller reads it: a problem document for
// programs, a page for people. What is our own fault goes to the log in full
// and to the caller as a number.
func (s *server) refuse(w http.ResponseWriter, r *http.Request, err error) {
	out := refusalOf(err)
	if out.kind.status >= 500 {
		s.log.Error("refused", "request", requestID(r.Context()), "kind", out.kind.name, "error", err)
	}
	if out.retryAfter > 0 {
		w.Header().Set("Retry-After", strconv.Itoa(int(out.retryAfter.Seconds())+1))
	}
	w.Header().Del("ETag")
	if isPage(r.URL.Path) {
		s.refusePage(w, r, out)
		return
	}
	body, marshalErr := json.Marshal(out.problem(requestID(r.Context())))
	if marshalErr != nil {
		panic(marshalErr) // strings and numbers can always be written
	}
	w.Header().Set("Content-Type", "application/problem+json")
	w.Header().Set("Content-Length", strconv.Itoa(len(body)))
	w.WriteHeader(out.kind.status)
	_, _ = w.Write(body) // the other end may be gone; the log line has the status
}

// isPage tells whether an address is read by people.
func isPage(path string) bool {
	for _, prefix := range []string{"/api/", "/feeds/", "/static/", "/healthz"} {
		if strings.HasPrefix(path, prefix) {
			return false
		}
	}
	return true
}

// refusePage writes the refusal as a page. Should even that fail, one line of
// text is left.
func (s *server) refusePage(w http.ResponseWriter, r *http.Request, out *refusal) {
	page := web.Problem{Status: out.kind.status, Say: out.kind.title + ".", Do: doNext(out), Number: requestID(r.Context())}
	if c := callerOf(r.Context()); c.Role != "" {
		page.Sheet = s.sheet(r, c)
		page.Back = web.Link{Words: "To the start", Href: startOf(c)}
	} else if leadsToSignIn(out.kind) && !sessionless(r.URL.Path) {
		page.Back = web.Link{Words: "Sign in", Href: "/sign-in"}
	}
	for _, e := range out.errors {
		page.Faults = append(page.Faults, web.Fault{Field: e.Pointer, Say: e.Detail})
	}
	var b bytes.Buffer
	if err := s.web.Render(&b, page); err != nil {
		s.log.Error("render the problem page", "request", requestID(r.Context()), "error", err)
		b.Reset()
		fmt.Fprintln(&b, out.sentence())
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	} else {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
	}
	w.WriteHeader(out.kind.status)
	_, _ = w.Write(b.Bytes()) // the other end may be gone; the log line has the status
}

// leadsToSignIn tells after which refusals somebody who is not signed in may be
// helped by signing in.
func leadsToSignIn(k kind) bool { return k == notSignedIn || k == notFound || k == methodNotAllowed }

// doNext is the part of a refusal that helps; the detail starts with a capital
// on a page.
func doNext(out *refusal) string {
	if out.detail == "" {
		return ""
	}
	return strings.ToUpper(out.detail[:1]) + out.detail[1:] + "."
}
