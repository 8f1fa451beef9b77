package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"toeboard/weather/fault"
)

// kind is one stable problem type of the contract. Its address never changes;
// what it says to a person may.
type kind struct {
	name   string // the last part of the type URI
	status int
	title  string
}

// The problem types. Every answer that is not a success is one of these.
var (
	malformed         = kind{"malformed", http.StatusBadRequest, "The request cannot be read"}
	keyMissing        = kind{"key-missing", http.StatusBadRequest, "The Idempotency-Key is missing"}
	notSignedIn       = kind{"not-signed-in", http.StatusUnauthorized, "Nobody is signed in"}
	forbidden         = kind{"forbidden", http.StatusForbidden, "Not allowed"}
	notFound          = kind{"not-found", http.StatusNotFound, "Not found"}
	methodNotAllowed  = kind{"method-not-allowed", http.StatusMethodNotAllowed, "This address does not take that method"}
	conflict          = kind{"conflict", http.StatusConflict, "It changed meanwhile"}
	stillRunning      = kind{"still-running", http.StatusConflict, "The first request with this key is still running"}
	stale             = kind{"stale", http.StatusPreconditionFailed, "What you looked at is no longer current"}
	tooLarge          = kind{"too-large", http.StatusRequestEntityTooLarge, "The request is too large"}
	unsupportedMedia  = kind{"unsupported-media", http.StatusUnsupportedMediaType, "This kind of content is not taken here"}
	invalid           = kind{"invalid", http.StatusUnprocessableEntity, "Something in it is wrong"}
	keyReused         = kind{"key-reused", http.StatusUnprocessableEntity, "The Idempotency-Key was used for something else"}
	conditionRequired = kind{"condition-required", http.StatusPreconditionRequired, "Say which version you mean to replace"}
	tooMany           = kind{"too-many", http.StatusTooManyRequests, "Too many tries"}
	internal          = kind{"internal", http.StatusInternalServerError, "Our failure"}
	unavailable       = kind{"unavailable", http.StatusServiceUnavailable, "Not available just now"}
)

// kinds lists them all, for the test that asks for each.
var kinds = []kind{malformed, keyMissing, notSignedIn, forbidden, notFound, methodNotAllowed, conflict, stillRunning,
	stale, tooLarge, unsupportedMedia, invalid, keyReused, conditionRequired, tooMany, internal, unavailable}

// refusal is an answer that only the edge can give: what HTTP itself refuses.
// The rooms below refuse with a fault.Error.
type refusal struct {
	kind       kind
	detail     string
	current    string        // what is current, when something else was expected
	retryAfter time.Duration // 0 = not said
	errors     []ProblemError
}

func (r *refusal) Error() string { return r.kind.name + ": " + r.detail }

// refusalOf is the one place where an error becomes an answer. The text of an
// error that nobody classified stays inside: the caller gets the number under
// which the log has it.
func refusalOf(err error) *refusal {
	var r *refusal
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &r):
		return r
	case errors.As(err, &large):
		return &refusal{kind: tooLarge, detail: fmt.Sprintf("at most %s are taken here", bytesInWords(large.Limit))}
	}
	if all := fault.Each(err); len(all) > 0 {
		return ofFaults(all)
	}
	if errors.Is(err, context.DeadlineExceeded) || unreachable(err) {
		return &refusal{kind: unavailable, detail: "the database did not answer in time: try again in a minute", retryAfter: time.Minute}
	}
	return &refusal{kind: internal, detail: "nothing was saved; the number of this request tells us where to look"}
}

// ofFaults makes one answer of all refusals joined together: the gravest kind
// speaks, invalid fields are each named.
func ofFaults(all []*fault.Error) *refusal {
	first := all[0]
	for _, f := range all {
		if f.Kind != fault.Invalid {
			first = f
			break
		}
	}
	r := &refusal{kind: kindOf(first.Kind)}
	switch first.Kind {
	case fault.Internal:
		r.detail = "nothing was saved; the number of this request tells us where to look"
		return r
	case fault.Unavailable:
		r.retryAfter = time.Minute
	}
	r.detail = sayFault(first)
	if first.Kind == fault.Invalid {
		for _, f := range all {
			r.errors = append(r.errors, ProblemError{Pointer: f.Field, Detail: sayFault(f)})
		}
		if len(all) > 1 {
			r.detail = fmt.Sprintf("%d things are wrong: each is named below", len(all))
		}
	}
	return r
}

func kindOf(k fault.Kind) kind {
	switch k {
	case fault.Invalid:
		return invalid
	case fault.NotFound:
		return notFound
	case fault.Conflict:
		return conflict
	case fault.Forbidden:
		return forbidden
	case fault.Unsigned:
		return notSignedIn
	case fault.Unavailable:
		return unavailable
	default:
		return internal
	}
}

// sayFault writes field, value and remedy, and never the cause.
func sayFault(f *fault.Error) string {
	outside := *f
	outside.Err = nil
	return outside.Error()
}

// problem is the document that the contract promises.
func (r *refusal) problem(request string) Problem {
	p := Problem{Type: "/problems/" + r.kind.name, Title: r.kind.title, Status: r.kind.status}
	if r.detail != "" {
		p.Detail = &r.detail
	}
	if r.current != "" {
		p.Current = &r.current
	}
	if request != "" {
		instance := "urn:uuid:" + request
		p.Instance = &instance
	}
	if len(r.errors) > 0 {
		p.Errors = &r.errors
	}
	return p
}

func bytesInWords(n int64) string {
	switch {
	case n >= 1<<20 && n%(1<<20) == 0:
		return fmt.Sprintf("%d MiB", n>>20)
	case n >= 1<<10 && n%(1<<10) == 0:
		return fmt.Sprintf("%d KiB", n>>10)
	default:
		return fmt.Sprintf("%d bytes", n)
	}
}

// sentence joins the refusal for a page that has one line for it.
func (r *refusal) sentence() string {
	parts := []string{r.kind.title}
	if r.detail != "" {
		parts = append(parts, r.detail)
	}
	return strings.Join(parts, ": ")
}
