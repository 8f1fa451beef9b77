package main

import (
	"context"
	"fmt"
	"net/http"
	"sync"
	"time"

	"toeboard/api"
	"toeboard/weather/cap"
	"toeboard/weather/manners"
)

// warner gives what asks the warning services of the settings, each with its
// own patience; nil when nobody can be told who is asking.
func (s *Settings) warner(now func() time.Time) api.GetWarnings {
	if len(s.Warnings) == 0 || s.Contact == "" {
		return nil
	}
	w := &warner{http: &http.Client{Timeout: time.Minute}, agent: "toeboard/" + version + " " + s.Contact, now: now, feeds: map[string]*manners.Patience{}}
	return w.get
}

type warner struct {
	http  *http.Client
	agent string
	now   func() time.Time

	mu    sync.Mutex
	feeds map[string]*manners.Patience
}

// get asks one feed, one request at a time.
func (w *warner) get(ctx context.Context, feed string) ([]byte, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	p := w.feeds[feed]
	if p == nil {
		p = &manners.Patience{Provider: "warnings"}
		w.feeds[feed] = p
	}
	if err := p.May(w.now()); err != nil {
		return nil, err
	}
	reply, err := manners.Request{HTTP: w.http, Address: feed, UserAgent: w.agent, Accept: "application/cap+xml, application/atom+xml, application/xml;q=0.9", MaxBody: cap.MostBytes}.Get(ctx)
	if ctx.Err() != nil {
		return nil, err
	}
	if err != nil {
		return nil, p.Failed(w.now(), 0, err.Error())
	}
	if reply.Status != http.StatusOK {
		return nil, p.Failed(w.now(), manners.RetryAfter(reply.Header.Get("Retry-After"), w.now()), fmt.Sprintf("the service answered %d", reply.Status))
	}
	p.Succeeded()
	return reply.Body, nil
}
