package metno

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"toeboard/weather"
	"toeboard/weather/fault"
	"toeboard/weather/manners"
)

// CompleteURL is the address of the product that has all that is read here; the
// compact one lacks dew point and the probability of rain.
const CompleteURL = "https://api.met.no/weatherapi/locationforecast/2.0/complete"

// Client fetches forecasts and keeps the service's manners. It may be used by
// several goroutines; requests go out one after another.
type Client struct {
	BaseURL   string           // the product's whole address
	HTTP      *http.Client     // required
	UserAgent string           // required: application and contact, as "toeboard/1.0 office@firm.example"
	Now       func() time.Time // required
	Timeout   time.Duration    // of one request; 0 is 30 s
	MaxBody   int64            // largest answer read [bytes]; 0 is 64 MiB

	mu       sync.Mutex
	patience manners.Patience
}

// Answer is what the service said about one point, with what is needed to ask
// again politely.
type Answer struct {
	Point        weather.Point
	Body         []byte // as it came
	Series       weather.Series
	Expires      time.Time // UTC: not to be asked again before this
	LastModified string    // as the service wrote it, to be sent back word for word
	Unchanged    bool      // this time nothing new was sent: the stored answer still holds
	Deprecated   bool      // the service announces the end of this version (203): tell whoever runs this
}

const (
	// shortestLife is how long an answer is kept that gives no time of its own.
	shortestLife = 10 * time.Minute
	decimals     = 4 // more are refused by the service
	// The grid is finer than a tenth of a degree everywhere; an answer further
	// away is for another place.
	farthestAnswer = 0.5
	// An answer that begins longer ago than this is an old one from some cache.
	oldestStart = 2 * 24 * time.Hour
)

// Fetch asks for the forecast of a point. last is the answer stored from the
// time before, or nil: before it expires it is given back without a request,
// and after that the service is asked only whether it changed.
//
// A refusal or a failure is of kind fault.Unavailable and carries a
// weather.Later; until then Fetch fails at once without asking. What is wrong
// with this point alone, a place that the service does not cover or an answer
// about another one, carries none: other points may be asked for.
func (c *Client) Fetch(ctx context.Context, p weather.Point, last *Answer) (Answer, error) {
	if err := c.check(p); err != nil {
		return Answer{}, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.Now()
	if last != nil && rounded(last.Point) != rounded(p) {
		last = nil // an answer about somewhere else
	}
	if last != nil && now.Before(last.Expires) {
		kept := *last
		kept.Unchanged = true
		return kept, nil
	}
	c.patience.Provider = Provider
	if err := c.patience.May(now); err != nil {
		return Answer{}, err
	}
	return c.request(ctx, now, p, last)
}

func (c *Client) check(p weather.Point) error {
	if c.HTTP == nil || c.Now == nil || c.BaseURL == "" {
		return errors.New("metno: a Client needs BaseURL, HTTP and Now")
	}
	// A name without an address or a site to reach somebody is refused by the
	// service with 403; better to find out before the first request.
	if !strings.ContainsAny(c.UserAgent, "@") && !strings.Contains(c.UserAgent, "://") {
		return fault.Bad("user agent", c.UserAgent, "the application's name and a contact: an e-mail address or a web address")
	}
	if !(math.Abs(p.Lat) <= 90 && math.Abs(p.Lon) <= 180) {
		return fault.Bad("point", fmt.Sprintf("%v, %v", p.Lat, p.Lon), "latitude from -90 to 90 and longitude from -180 to 180")
	}
	return nil
}

// rounded cuts a point to the decimals the service takes.
func rounded(p weather.Point) weather.Point {
	unit := math.Pow(10, decimals)
	return weather.Point{Lat: math.Round(p.Lat*unit) / unit, Lon: math.Round(p.Lon*unit) / unit}
}

func (c *Client) request(ctx context.Context, now time.Time, p weather.Point, last *Answer) (Answer, error) {
	cell := rounded(p)
	q := url.Values{"lat": {strconv.FormatFloat(cell.Lat, 'f', -1, 64)}, "lon": {strconv.FormatFloat(cell.Lon, 'f', -1, 64)}}
	ask := manners.Request{HTTP: c.HTTP, Address: c.BaseURL + "?" + q.Encode(), UserAgent: c.UserAgent, Timeout: c.Timeout, MaxBody: c.MaxBody}
	if last != nil {
		ask.Since = last.LastModified
	}
	reply, err := ask.Get(ctx)
	var broken *manners.Broken
	switch {
	case errors.As(err, &broken):
		return Answer{}, c.patience.Failed(now, 0, broken.Why)
	case err != nil:
		return Answer{}, fmt.Errorf("metno: %w", err)
	}
	return c.understand(now, p, last, reply)
}

// understand turns the reply into an answer.
func (c *Client) understand(now time.Time, p weather.Point, last *Answer, reply manners.Reply) (Answer, error) {
	a := Answer{
		Point: p, Body: reply.Body, Expires: expires(reply.Header, now), LastModified: reply.Header.Get("Last-Modified"),
		Deprecated: reply.Status == http.StatusNonAuthoritativeInfo,
	}
	switch {
	case reply.Status == http.StatusNotModified && last != nil:
		a.Body, a.Unchanged, a.Deprecated = last.Body, true, last.Deprecated
		if a.LastModified == "" {
			a.LastModified = last.LastModified
		}
	case notHere(reply.Status):
		return Answer{}, fault.Bad("point", fmt.Sprintf("%.2f, %.2f", p.Lat, p.Lon), "a place that "+Provider+" covers; it "+refusal(reply))
	case reply.Status != http.StatusOK && !a.Deprecated:
		return Answer{}, c.patience.Failed(now, manners.RetryAfter(reply.Header.Get("Retry-After"), now), refusal(reply))
	}
	s, err := Parse(a.Body, now)
	if err != nil {
		return Answer{}, errors.Join(c.patience.Failed(now, 0, "the answer cannot be used"), err)
	}
	if err := fits(s, rounded(p), now); err != nil {
		return Answer{}, &fault.Error{Kind: fault.Unavailable, Field: Provider, Want: "an answer about this place and time", Err: err}
	}
	a.Series = s
	c.patience.Succeeded()
	return a, nil
}

// notHere tells a refusal of the point from one of the asking: a request that is
// wrong, a place that is not there or not covered.
func notHere(status int) bool {
	return status == http.StatusBadRequest || status == http.StatusNotFound || status == http.StatusUnprocessableEntity
}

// fits refuses an answer about another place or another time.
func fits(s weather.Series, p weather.Point, now time.Time) error {
	if math.Abs(s.Lat-p.Lat) > farthestAnswer || math.Abs(math.Remainder(s.Lon-p.Lon, 360)) > farthestAnswer {
		return fault.Bad("geometry.coordinates", fmt.Sprintf("%v, %v", s.Lon, s.Lat), fmt.Sprintf("a point near %v, %v", p.Lon, p.Lat))
	}
	hours := s.Members[0].Hours
	last := hours[len(hours)-1]
	if now.Sub(hours[0].From) > oldestStart || !last.From.Add(last.Span).After(now) {
		return fault.Bad("properties.timeseries", hours[0].From.Format(time.RFC3339), "hours around "+now.UTC().Format(time.RFC3339)+"; an old answer came from some cache")
	}
	return nil
}

// refusal tells the status; error pages are HTML for people and are not quoted.
func refusal(reply manners.Reply) string {
	why := fmt.Sprintf("answered %d %s", reply.Status, http.StatusText(reply.Status))
	switch {
	case reply.Status == http.StatusForbidden:
		return why + ": the User-Agent lacks a contact, or this address is blocked"
	case reply.Status == http.StatusTooManyRequests:
		return why + ": stop, and ask less often"
	case strings.Contains(reply.Header.Get("Content-Type"), "html") || strings.HasPrefix(strings.TrimSpace(string(reply.Body)), "<"):
		return why + " with a page instead of data"
	}
	return why
}

// expires reads the header, and gives an answer without one a short life.
func expires(h http.Header, now time.Time) time.Time {
	at, err := http.ParseTime(h.Get("Expires"))
	if err != nil || at.Before(now.Add(time.Minute)) {
		return now.Add(shortestLife).UTC()
	}
	// A day is far more than the service ever says; a wrong clock or a broken
	// header must not freeze the forecast.
	if latest := now.Add(24 * time.Hour); at.After(latest) {
		at = latest
	}
	return at.UTC()
}
