package api

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/gin-gonic/gin"

	"toeboard/schedule"
	"toeboard/web"
)

// server is the HTTP side of a Service: it decodes, asks the Service, encodes.
type server struct {
	*Service
	sessions *scs.SessionManager
	auth     Authenticator
	contract *contract
	answers  answers
	running  running
	links    *tries // requests to private addresses, by place
	feeds    madeFeeds
}

// How much a request may hold.
const (
	smallBody = 64 << 10
	fileBody  = 8 << 20
)

// newServer builds the HTTP side.
func newServer(s *Service) (*server, error) {
	k, err := readContract()
	if err != nil {
		return nil, err
	}
	srv := &server{
		Service: s, contract: k, answers: answers{s.pool},
		running: running{keys: map[onceKey]bool{}},
		links:   newTries(s.linksAMinute, time.Minute, 10_000),
	}
	srv.sessions = newSessions(s.accounts, s.secure, srv.refuse)
	srv.auth = bySession{accounts: s.accounts, sessions: srv.sessions}
	return srv, nil
}

// handler puts the parts in order: what every answer carries, the log line, the
// check against writes from other sites, the session, the routes.
func (s *server) handler() (http.Handler, error) {
	engine, err := s.engine()
	if err != nil {
		return nil, err
	}
	withSession := s.sessions.LoadAndSave(engine)
	chosen := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodHead {
			// Answered as GET is; the server leaves the content away by itself.
			r = r.Clone(r.Context())
			r.Method = http.MethodGet
		}
		if sessionless(r.URL.Path) {
			engine.ServeHTTP(w, r)
			return
		}
		withSession.ServeHTTP(w, r)
	})
	guard := http.NewCrossOriginProtection()
	for _, origin := range s.trustedOrigins {
		if err := guard.AddTrustedOrigin(origin); err != nil {
			return nil, fmt.Errorf("trust the origin %q: %w", origin, err)
		}
	}
	guard.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.refuse(w, r, &refusal{kind: forbidden, detail: "this came from a page of another site; behind a proxy that changes the Host, name the public address as trusted"})
	}))
	return s.logged(s.dressed(guard.Handler(chosen))), nil
}

// sessionless are the addresses that belong to nobody who signs in.
func sessionless(path string) bool {
	for _, prefix := range []string{"/static/", "/feeds/", "/scaffold/", "/healthz"} {
		if strings.HasPrefix(path, prefix) {
			return true
		}
	}
	return false
}

// engine lists every route. gin is known in this package only.
func (s *server) engine() (*gin.Engine, error) {
	gin.SetMode(gin.ReleaseMode)
	e := gin.New()
	e.ContextWithFallback = true
	e.HandleMethodNotAllowed = true
	e.RedirectTrailingSlash = false
	e.UseRawPath = true // a job's reference may hold a slash
	if err := e.SetTrustedProxies(s.trustedProxies); err != nil {
		return nil, fmt.Errorf("trust the proxies: %w", err)
	}
	e.Use(s.named, s.recovered, placed)
	e.NoRoute(s.recognized, func(c *gin.Context) { s.fail(c, &refusal{kind: notFound, detail: "there is nothing at this address"}) })
	e.NoMethod(s.recognized, func(c *gin.Context) {
		s.fail(c, &refusal{kind: methodNotAllowed, detail: "this address takes " + c.Writer.Header().Get("Allow")})
	})
	e.GET("/healthz", s.health)
	e.GET("/static/*file", gin.WrapH(s.static()))
	e.GET("/told.js", s.toldScript)
	e.GET("/api/openapi.yaml", func(c *gin.Context) { c.Data(http.StatusOK, "application/yaml", contractText) })
	e.GET("/problems/:name", s.recognized, s.problemType)
	s.contractRoutes(e)
	s.pageRoutes(e)
	s.linkRoutes(e)
	return e, nil
}

// contractRoutes are those of openapi.yaml.
func (s *server) contractRoutes(e *gin.Engine) {
	g := e.Group("", s.within(30*time.Second), s.limitBody, s.knownCaller, s.onceForWrites, s.checked)
	strict := NewStrictHandlerWithOptions(&jsonServer{s}, nil, StrictGinServerOptions{
		RequestErrorHandlerFunc:  func(c *gin.Context, err error) { s.fail(c, asMalformed(err)) },
		HandlerErrorFunc:         s.fail,
		ResponseErrorHandlerFunc: s.fail,
	})
	RegisterHandlersWithOptions(g, strict, GinServerOptions{
		BaseURL:      apiBase,
		ErrorHandler: func(c *gin.Context, err error, _ int) { s.fail(c, asMalformed(err)) },
	})
}

// limitBody caps what is read of a request.
func (s *server) limitBody(c *gin.Context) {
	limit := int64(smallBody)
	switch c.FullPath() {
	case apiBase + "/imports", apiBase + "/distances", "/import", "/jobs/:ref/assessment/seen", "/jobs/:ref/records":
		limit = fileBody
	case "/scaffold/:token/bookings/:booking/certificate":
		limit = schedule.MaxHandoverFile + smallBody // the form around the file
	case "/import/confirm", apiBase + "/jobs/:ref/site-hazards", apiBase + "/jobs/:ref/records": // a file in letters
		limit = fileBody + fileBody/2
	}
	c.Request.Body = http.MaxBytesReader(c.Writer, c.Request.Body, limit)
}

// within ends a request's work after d.
func (s *server) within(d time.Duration) gin.HandlerFunc {
	return func(c *gin.Context) {
		ctx, cancel := context.WithTimeout(c.Request.Context(), d)
		defer cancel()
		c.Request = c.Request.WithContext(ctx)
		c.Next()
	}
}

// operationNeeds says what each operation of the contract needs. One that is
// not here is refused, and a test fails.
var operationNeeds = map[string]Action{
	"listJobs":           SeeJobs,
	"getJob":             SeeJob,
	"issueAssessment":    ReportFinding, // the lead issues, the office approves
	"approveAssessment":  Assess,
	"tellPromise":        ChangeJobs,
	"confirmVisit":       ChangeJobs,
	"unconfirmVisit":     ChangeJobs,
	"importJobs":         ChangeJobs,
	"exportJobs":         TakeJobsAway,
	"listPlans":          SeePlans,
	"makePlan":           MakePlan,
	"currentPlan":        SeeWeek,
	"publishPlan":        PublishPlan,
	"newestDraft":        SeePlans,
	"getPlan":            SeePlans,
	"getReplay":          SeePlans,
	"currentPlanRun":     SeePlans,
	"getPlanRun":         SeePlans,
	"stopPlanRun":        MakePlan,
	"explainStage":       SeePlans,
	"draftMoves":         SeePlans,
	"whatIf":             SeePlans,
	"findOffers":         SeePlans,
	"listOffers":         SeePlans,
	"holdOffer":          MakePlan,
	"takeOffer":          ChangeJobs,
	"releaseOffer":       MakePlan,
	"getRates":           SeePlans,
	"setRates":           MakePlan,
	"listScaffoldFirms":  SeePlans,
	"setScaffoldTerms":   MakePlan,
	"getLimits":          SeeJob,
	"weatherRecord":      SeePlans,
	"jobWeather":         SeeJob,
	"setLimits":          SetLimits,
	"getWeatherServices": SeeJob,
	"setWeatherServices": SetLimits,
	"getDistances":       SeePlans,
	"setDistances":       MakePlan,
	"listPins":           SeePlans,
	"setPin":             MakePlan,
	"removePin":          MakePlan,
	"pushKey":            SeeMorning,
	"askPush":            SeeMorning,
	"endPush":            SeeMorning,
	"listBookings":       SeeBookings,
	"getBooking":         SeeBookings,
	"answerBooking":      AnswerBooking,
	"listMessages":       SeeBookings,
	"listPrivateLinks":   AnswerBooking,
	"givePrivateLink":    AnswerBooking,
	"keepPrivateLink":    AnswerBooking,
	"endPrivateLink":     AnswerBooking,
	"endPrivateLinks":    AnswerBooking,
	"listHire":           SeeBookings,
	"stepBooking":        AnswerBooking,
	"sendMessageAgain":   AnswerBooking,
	"getRecord":          SeeRecord,
	"signRecordHead":     SeeRecord,
	"setHeadRecipient":   SeeRecord,
	"getRecordEntry":     SeeRecord,
	"getPack":            SeeMorning,
	"morning":            SeeMorning,
	"decide":             SeeMorning,
	"jobRecords":         SeeJob,
	"addJobRecord":       KeepRecords,
	"placeModule":        KeepRecords,
	"listDue":            ChangeJobs,
	"listOwnRules":       SeeJob,
	"setOwnRule":         ChangePeople,
	"exceptRule":         KeepRecords,
	"declareFitness":     KeepRecords,
	"setSigningPin":      SeePeople,
	"listPeople":         SeePeople,
	"addInduction":       KeepRecords,
	"saveCompetence":     ChangePeople,
	"arrangeCheckIn":     KeepRecords,
	"listCheckIns":       SeeMornings,
	"recordCall":         KeepRecords,
	"holdBriefing":       HoldBriefing,
	"signOff":            SignOneself,
	"reportScaffold":     ReportFinding,
	"getAssessment":      SeeJob,
	"listAssessments":    SeeJob,
	"assessmentChanges":  SeeJob,
	"answerSurvey":       ReportFinding,
	"seeOnSite":          ReportFinding,
	"removeSiteHazard":   ReportFinding,
	"jobSums":            SeeJob,
	"getScaffold":        SeeJob,
	"remedyFinding":      ReportFinding,
	"deliverReport":      ReportFinding,
	"getHazards":         SeeJob,
	"setHazards":         Assess,
	"recordEvent":        ReportFinding,
	"stopWork":           StopAnyWork,
	"reportSky":          StopAnyWork,
	"liftStop":           LiftAStop,
	"forecast":           SeeJob,
}

// open and own are the operations that need no right: signing in, and what
// everybody who is signed in may do.
var (
	openOperations = map[string]bool{"signIn": true}
	ownOperations  = map[string]bool{"signOut": true, "me": true}

	// dryOperations are questions that need a body: they change nothing, so they
	// carry no key. Nor does what answers with a secret, which no stored answer may
	// hold.
	dryOperations = map[string]bool{"whatIf": true, "findOffers": true, "givePrivateLink": true}
)

// knownCaller finds out who asks and whether they may.
func (s *server) knownCaller(c *gin.Context) {
	route, _ := s.contract.route(c)
	if route == nil || route.Operation == nil {
		s.fail(c, &refusal{kind: notFound, detail: "there is nothing at this address"})
		return
	}
	id := route.Operation.OperationID
	if openOperations[id] {
		return
	}
	caller, err := s.auth.Authenticate(c.Request)
	if err == nil && !ownOperations[id] {
		err = caller.need(operationNeeds[id])
	}
	if err != nil {
		s.fail(c, err)
		return
	}
	s.remember(c, caller)
}

// remember puts the caller where handlers and the log line find them.
func (s *server) remember(c *gin.Context, caller Caller) {
	c.Request = c.Request.WithContext(withCaller(c.Request.Context(), caller))
	if line := lineOf(c.Request.Context()); line != nil {
		line.firm, line.person = caller.Firm, caller.Person
	}
}

// recognized remembers who asks, if anybody is signed in, at an address that is
// open to all: a page that is not there then still leads back.
func (s *server) recognized(c *gin.Context) {
	if !isPage(c.Request.URL.Path) || sessionless(c.Request.URL.Path) {
		return
	}
	if caller, err := s.auth.Authenticate(c.Request); err == nil {
		s.remember(c, caller)
	}
}

// onceForWrites is once for the operations that carry a key.
func (s *server) onceForWrites(c *gin.Context) {
	route, _ := s.contract.route(c)
	if id := route.Operation.OperationID; c.Request.Method == http.MethodGet || openOperations[id] || ownOperations[id] || dryOperations[id] {
		return
	}
	s.once(c)
}

func (s *server) checked(c *gin.Context) {
	if err := s.contract.check(c); err != nil {
		s.fail(c, err)
	}
}

// health answers whether the service can do its work: it asks the database.
func (s *server) health(c *gin.Context) {
	ctx, cancel := context.WithTimeout(c.Request.Context(), 2*time.Second)
	defer cancel()
	if err := s.accounts.ping(ctx); err != nil {
		s.log.Error("health: the database does not answer", "error", err)
		c.String(http.StatusServiceUnavailable, "the database does not answer\n")
		return
	}
	c.String(http.StatusOK, "ok\n")
}

// problemType says what a problem type means, at the type's own address.
func (s *server) problemType(c *gin.Context) {
	for _, k := range kinds {
		if k.name == c.Param("name") {
			c.String(http.StatusOK, "/problems/%s (status %d): %s.\nThe document that named it says what happened and what to do.\n", k.name, k.status, k.title)
			return
		}
	}
	s.fail(c, &refusal{kind: notFound, detail: "there is no such problem type"})
}

// toldScript is the service worker that shows what phones are told. It stands at
// the root because a service worker works beneath its own address.
func (s *server) toldScript(c *gin.Context) {
	c.Header("Cache-Control", "no-cache")
	c.FileFromFS("told.js", http.FS(web.Static()))
}

// static serves the style sheet and scripts. An address with the content's hash
// may be kept for ever.
func (s *server) static() http.Handler {
	files := http.StripPrefix("/static/", http.FileServerFS(web.Static()))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasSuffix(r.URL.Path, "/") {
			s.refuse(w, r, &refusal{kind: notFound, detail: "there is nothing at this address"})
			return
		}
		if r.URL.Query().Get("v") != "" {
			w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
		} else {
			w.Header().Set("Cache-Control", "no-cache")
		}
		files.ServeHTTP(w, r)
	})
}

// logLine is what the log says of one request. Addresses are logged as route
// templates, without parameters and queries: those hold tokens and names.
type logLine struct {
	route        string
	firm, person fmt.Stringer
}

type logKey struct{}

func lineOf(ctx context.Context) *logLine {
	line, _ := ctx.Value(logKey{}).(*logLine)
	return line
}

// logged gives each request its number and its line in the log.
func (s *server) logged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		started := time.Now()
		line := &logLine{route: "none"}
		id := s.ids().String()
		ctx := context.WithValue(context.WithValue(r.Context(), logKey{}, line), requestKey, id)
		seen := &seenWriter{ResponseWriter: w}
		next.ServeHTTP(seen, r.WithContext(ctx))
		level := slog.LevelInfo
		if seen.status >= 500 {
			level = slog.LevelError
		}
		attrs := []slog.Attr{slog.String("request", id), slog.String("method", r.Method), slog.String("route", line.route),
			slog.Int("status", seen.status), slog.Int("bytes", seen.bytes), slog.Duration("took", time.Since(started))}
		if line.person != nil {
			attrs = append(attrs, slog.String("firm", line.firm.String()), slog.String("person", line.person.String()))
		}
		s.log.LogAttrs(ctx, level, "request", attrs...)
	})
}

// seenWriter remembers what was answered.
type seenWriter struct {
	http.ResponseWriter
	status, bytes int
}

func (w *seenWriter) WriteHeader(status int) {
	if w.status == 0 {
		w.status = status
	}
	w.ResponseWriter.WriteHeader(status)
}

func (w *seenWriter) Write(b []byte) (int, error) {
	if w.status == 0 {
		w.status = http.StatusOK
	}
	n, err := w.ResponseWriter.Write(b)
	w.bytes += n
	return n, err
}

// Unwrap lets the standard library reach the connection.
func (w *seenWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// named tells the log line which route it was.
func (s *server) named(c *gin.Context) {
	if line := lineOf(c.Request.Context()); line != nil && c.FullPath() != "" {
		line.route = c.FullPath()
	}
}

// placed notes where the request comes from.
func placed(c *gin.Context) {
	c.Request = c.Request.WithContext(context.WithValue(c.Request.Context(), placeKey, networkPlace(c.ClientIP())))
}

// recovered turns a panic into an answer; its text goes to the log only.
func (s *server) recovered(c *gin.Context) {
	defer func() {
		if p := recover(); p != nil {
			if p == http.ErrAbortHandler {
				panic(p)
			}
			s.fail(c, fmt.Errorf("panic: %v", p))
		}
	}()
	c.Next()
}

// dressed puts on every answer what keeps a browser from mischief, and keeps
// what is not static out of every cache: a "clear to start" of an hour ago must
// not come back out of one.
func (s *server) dressed(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'self'; frame-ancestors 'none'; form-action 'self'; base-uri 'none'; object-src 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if s.secure {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		next.ServeHTTP(w, r)
	})
}

// afterwards gives a context for what must still be written when the caller
// has gone: a phone that lost its signal did send the request.
func afterwards(ctx context.Context) (context.Context, context.CancelFunc) {
	return context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
}

func withRecord(ctx context.Context, k onceKey) context.Context {
	return context.WithValue(ctx, recordKey, recordOf(k))
}
