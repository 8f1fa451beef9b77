package main

import (
	"context"
	"fmt"
	"net/http"
	"slices"
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
	w := &warner{http: &http.Client{Timeout: time.Minute}, linked: &http.Client{Timeout: time.Minute, CheckRedirect: sameHost}, named: s.Warnings, agent: "toeboard/" + version + " " + s.Contact, now: now, feeds: map[string]*manners.Patience{}}
	return w.get
}

// sameHost lets a redirect lead nowhere but on the host that was asked: where a
// feed's link leads to is not the firm's choice.
func sameHost(req *http.Request, via []*http.Request) error {
	if first := via[0].URL; req.URL.Host != first.Host || req.URL.Scheme != first.Scheme && req.URL.Scheme != "https" || len(via) > 3 {
		return fmt.Errorf("it leads to %s, and only %s is asked", req.URL.Host, first.Host)
	}
	return nil
}

type warner struct {
	http   *http.Client // for the addresses of the settings
	linked *http.Client // for the messages that they name
	named  []string
	agent  string
	now    func() time.Time

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
	ask := manners.Request{HTTP: w.http, Address: feed, UserAgent: w.agent, Accept: "application/cap+xml, application/atom+xml, application/xml;q=0.9", MaxBody: cap.MostBytes}
	if !slices.Contains(w.named, feed) {
		ask.HTTP, ask.MaxBody = w.linked, cap.MostLinkedBytes
	}
	reply, err := ask.Get(ctx)
	if ctx.Err() != nil {
		return nil, err
	}
	if err != nil {
		return nil, p.Failed(w.now(), 0, err.Error())
	}
	if reply.Status != http.StatusOK {
		return nil, p.Failed(w.now(), manners.RetryAfter(reply.Header.Get("Retry-After"), w.now()), fmt.Sprintf("the service answered %d", reply.Status))
	}
	delete(w.feeds, feed) // nothing is held against it, and messages come and go
	return reply.Body, nil
}
