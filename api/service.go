// Package api is who asks: routes, sign-in, the JSON contract, pages, feeds.
// It decodes, asks a domain package, encodes. What needs several rooms at once
// (a plan with the weather in it, a morning's decision) is put together here,
// in the methods of Service, which the commands use too.
package api

import (
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/mail"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/api/mailer"
	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/archive"
	"toeboard/weather/fault"
	"toeboard/web"
)

// ForecastParser reads one stored answer of a weather service.
type ForecastParser func(body []byte, fetchedAt time.Time) ([]weather.Series, error)

// Deps are what a Service is built from. All are needed but those said to have
// a default.
type Deps struct {
	Pool          *pool
	Schedule      *schedule.Store
	Safety        *safety.Store
	Archive       *archive.Store
	Web           *web.Renderer
	Now           func() time.Time
	IDs           func() uuid.UUID
	Log           *slog.Logger
	Queue         *jobQueue                 // where runs wait for a worker; Work works them
	RunTimes      RunTimes                  // zero = UsualRunTimes
	Mail          Mail                      // how mail leaves; zero = it waits
	MailTimes     MailTimes                 // zero = UsualMailTimes
	At            func(point string)        // told where in its work a worker is, for tests that end it there; nil = nobody
	ParseForecast map[string]ForecastParser // by the provider's name in the archive
	BaseURL       string                    // what private addresses begin with; https makes the cookie Secure

	Services      []WeatherService // that can be asked; a firm's answers of any other service do not count
	FirstServices weather.Services // how a firm that set nothing uses them

	PrivateLinksAMinute int // how often one place may ask for private pages and feeds; 0 = 120

	WarningFeeds []string // addresses of official warnings (CAP, or Atom feeds of it); none by default
	WarningAreas []string // codes of the areas where the firm works, such as "EMMA_ID:UK005"

	TrustedOrigins []string // other origins whose pages may write; none by default
	TrustedProxies []string // proxies whose X-Forwarded-For counts; none by default
}

// Mail is how mail leaves and how answers come back.
type Mail struct {
	Post    mailer.Sender // nil: messages wait
	From    string        // address that mail comes from
	Answers string        // mailbox that takes plus-addresses, from which 'toeboard mail-in' reads; "" = answers are given on the page
	Folder  string        // where Post writes files instead of sending; "" = it sends
}

// Service is what the product can do, for the web and for the commands.
type Service struct {
	pool           *pool
	accounts       accounts
	schedule       *schedule.Store
	safety         *safety.Store
	archive        *archive.Store
	queue          *jobQueue
	times          RunTimes
	mail           Mail
	mailTimes      MailTimes
	solve          func(context.Context, schedule.Snapshot, schedule.Futures, schedule.Aim, schedule.Stop, uint64) (schedule.Plan, error) // tests make it slow
	at             func(point string)
	rounds         []roundWork
	pushHTTP       *http.Client // reaches push services; tests lead it to their own
	gate           *gate
	pins           *delays // wrong PINs, by person
	web            *web.Renderer
	now            func() time.Time
	ids            func() uuid.UUID
	log            *slog.Logger
	parse          map[string]ForecastParser
	baseURL        string
	linksAMinute   int
	secure         bool
	offered        []WeatherService
	firstServices  weather.Services
	warningFeeds   []string
	warningAreas   []string
	trustedOrigins []string
	trustedProxies []string
	handle         http.Handler
}

// New builds a Service. It starts nothing: whoever serves Handler owns the
// listening and the end.
func New(d Deps) (*Service, error) {
	s := &Service{
		pool: d.Pool, accounts: accounts{d.Pool}, schedule: d.Schedule, safety: d.Safety, archive: d.Archive, web: d.Web, now: d.Now, ids: d.IDs, log: d.Log, parse: d.ParseForecast,
		queue: d.Queue, mail: d.Mail, mailTimes: cmp.Or(d.MailTimes, UsualMailTimes), times: cmp.Or(d.RunTimes, UsualRunTimes), solve: schedule.SolveFor, at: d.At,
		linksAMinute: cmp.Or(d.PrivateLinksAMinute, 120),
		baseURL:      strings.TrimSuffix(d.BaseURL, "/"), secure: strings.HasPrefix(d.BaseURL, "https://"),
		offered: d.Services, firstServices: d.FirstServices, warningFeeds: d.WarningFeeds, warningAreas: d.WarningAreas, trustedOrigins: d.TrustedOrigins, trustedProxies: d.TrustedProxies,
	}
	s.pins = newPINTries()
	s.pushHTTP, s.rounds = pushClient(), s.usualRounds()
	if s.at == nil {
		s.at = func(string) {}
	}
	var err error
	if s.gate, err = newGate(s.accounts, d.Now); err != nil {
		return nil, err
	}
	srv, err := newServer(s)
	if err != nil {
		return nil, err
	}
	if s.handle, err = srv.handler(); err != nil {
		return nil, err
	}
	return s, nil
}

// Handler serves everything: pages, JSON, feeds, static files.
func (s *Service) Handler() http.Handler { return s.handle }

// firmAndZone reads a firm with the zone in which its days and clocks are told.
func (s *Service) firmAndZone(ctx context.Context, firm uuid.UUID) (schedule.Firm, *time.Location, error) {
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return schedule.Firm{}, nil, err
	}
	zone, err := f.Location()
	if err != nil {
		return schedule.Firm{}, nil, fmt.Errorf("read the firm's zone: %w", err)
	}
	return f, zone, nil
}

// SetPassword gives a person a sign-in by e-mail and password, or changes it,
// and ends every session they had.
func (s *Service) SetPassword(ctx context.Context, firm, person uuid.UUID, email, password string) error {
	email = strings.ToLower(strings.TrimSpace(email))
	if a, err := mail.ParseAddress(email); err != nil || a.Address != email {
		return fault.Bad("e-mail", email, "an address such as office@firm.example")
	}
	hash, err := s.gate.hash(ctx, password)
	if err != nil {
		return err
	}
	if err := s.accounts.set(ctx, firm, person, email, hash); err != nil {
		return fmt.Errorf("set a sign-in: %w", err)
	}
	return s.accounts.endAll(ctx, firm, person)
}

// Sweep removes what a firm no longer needs: sessions that expired and answers
// to keys older than 30 days. Call it once a day or so.
func (s *Service) Sweep(ctx context.Context, firm uuid.UUID) error {
	return s.accounts.sweep(ctx, firm, s.now().Add(-keyLife))
}
