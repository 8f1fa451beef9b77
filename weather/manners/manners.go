// Package manners is how a client of a public weather service behaves: one
// bounded request with a deadline, and silence after a refusal until the
// service wants to be asked again. The adapters share it, so that none of them
// can start a storm.
package manners

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"toeboard/weather"
)

// Patience remembers when a provider may be asked again. It is not safe for
// concurrent use: the client that owns it holds its own lock.
type Patience struct {
	Provider string

	notBefore time.Time
	why       string
	failures  int
}

const (
	firstWait   = time.Minute // after a failure that says nothing better
	longestWait = 6 * time.Hour
)

// May gives nil when the provider may be asked now, else the refusal that says
// when.
func (p *Patience) May(now time.Time) error {
	if now.Before(p.notBefore) {
		return weather.NotNow(p.Provider, p.notBefore, p.why)
	}
	return nil
}

// Failed notes a failure and gives the refusal for it. The wait is what the
// service asked for, else a minute that doubles with every failure in a row up
// to six hours; chance makes it up to a quarter longer, so that many
// installations do not come back together.
func (p *Patience) Failed(now time.Time, wait time.Duration, why string) error {
	if wait <= 0 {
		wait = min(firstWait<<min(p.failures, 10), longestWait)
	}
	p.failures++
	p.notBefore = now.Add(wait + time.Duration(rand.Int64N(int64(wait/4)+1)))
	p.why = why
	return weather.NotNow(p.Provider, p.notBefore, why)
}

// Succeeded forgets the failures.
func (p *Patience) Succeeded() { p.failures = 0 }

// Request is one bounded GET.
type Request struct {
	HTTP      *http.Client
	Address   string
	UserAgent string
	Accept    string        // what may come back; empty is JSON
	Key       [2]string     // a further header, name and value, such as a key; none without a name
	Since     string        // sent as If-Modified-Since when not empty
	Timeout   time.Duration // 0 is 30 s
	MaxBody   int64         // largest answer read [bytes]; 0 is 64 MiB
}

// Reply is what came back, whatever its status.
type Reply struct {
	Status int
	Header http.Header
	Body   []byte
}

// Broken is a request that got no whole answer.
type Broken struct{ Why string }

// Error says why in words, without the address: it holds coordinates.
func (b *Broken) Error() string { return b.Why }

// Get makes the request. It gives a *Broken when the service did not answer
// whole and in time, and the context's own error when the caller gave up.
func (r Request) Get(ctx context.Context) (Reply, error) {
	timeout, limit := r.Timeout, r.MaxBody
	if timeout <= 0 {
		timeout = 30 * time.Second
	}
	if limit <= 0 {
		limit = 64 << 20
	}
	limited, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	req, err := http.NewRequestWithContext(limited, http.MethodGet, r.Address, nil)
	if err != nil {
		return Reply{}, fmt.Errorf("making the request: %w", err)
	}
	req.Header.Set("User-Agent", r.UserAgent)
	req.Header.Set("Accept", cmp.Or(r.Accept, "application/json"))
	if r.Key[0] != "" {
		req.Header.Set(r.Key[0], r.Key[1])
	}
	if r.Since != "" {
		req.Header.Set("If-Modified-Since", r.Since)
	}
	res, err := r.HTTP.Do(req)
	if err != nil {
		return Reply{}, broken(ctx, "cannot be reached", err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(io.LimitReader(res.Body, limit+1))
	if err != nil {
		return Reply{}, broken(ctx, "the answer broke off", err)
	}
	if int64(len(body)) > limit {
		return Reply{}, &Broken{Why: fmt.Sprintf("the answer is larger than %d bytes", limit)}
	}
	return Reply{Status: res.StatusCode, Header: res.Header, Body: body}, nil
}

func broken(ctx context.Context, what string, err error) error {
	if ctx.Err() != nil {
		return fmt.Errorf("fetching: %w", ctx.Err()) // the caller gave up, the service did not fail
	}
	var u *url.Error
	if errors.As(err, &u) {
		err = u.Err
	}
	return &Broken{Why: what + ": " + err.Error()}
}

// RetryAfter reads the header Retry-After, seconds or a date (RFC 9110,
// 10.2.3); 0 when it says nothing usable. More than a week is read as a week.
func RetryAfter(header string, now time.Time) time.Duration {
	const week = 7 * 24 * time.Hour
	if seconds, err := strconv.Atoi(strings.TrimSpace(header)); err == nil && seconds > 0 {
		return min(time.Duration(min(seconds, int(week/time.Second)))*time.Second, week)
	}
	if at, err := http.ParseTime(header); err == nil && at.After(now) {
		return min(at.Sub(now), week)
	}
	return 0
}
