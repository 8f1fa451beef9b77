package api

import (
	"bytes"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"toeboard/schedule"
	"toeboard/web"
)

// pageRoute is one address that people use.
type pageRoute struct {
	method, path string
	needs        Action
	handle       func(*gin.Context, Caller) error
	dry          bool // a POST that needs no key: it changes nothing, or says why beside its row
}

// pages lists the pages of people who are signed in. Every POST that changes
// something is a form with a field "key" and ends in a redirect; a GET changes
// nothing.
func (s *server) pages() []pageRoute {
	const get, post = http.MethodGet, http.MethodPost
	return []pageRoute{
		{method: get, path: "/", needs: SeeWeek, handle: s.weekPage},
		{method: get, path: "/plan", needs: SeePlans, handle: s.planPage},
		{method: post, path: "/plan", needs: MakePlan, handle: s.planForm},
		{method: get, path: "/plan/runs/:run", needs: SeePlans, handle: s.runPage},
		{method: post, path: "/plan/runs/:run/stop", needs: MakePlan, handle: s.stopRunForm},
		{method: post, path: "/plan/:plan/publish", needs: PublishPlan, handle: s.publishForm},
		{method: post, path: "/plan/:plan/drop", needs: MakePlan, handle: s.dropForm},
		{method: get, path: "/why/:ref/:stage", needs: SeePlans, handle: s.whyPage},
		{method: get, path: "/what-if", needs: SeePlans, handle: s.whatIfPage},
		{method: get, path: "/offers", needs: SeePlans, handle: s.offersPage},
		{method: post, path: "/offers", needs: MakePlan, handle: s.holdForm},
		{method: post, path: "/offers/:offer/take", needs: ChangeJobs, handle: s.takeForm},
		{method: post, path: "/offers/:offer/release", needs: MakePlan, handle: s.releaseForm},
		{method: get, path: "/calendar", needs: SeeMorning, handle: s.calendarPage},
		{method: post, path: "/calendar/:crew", needs: SeeMorning, handle: s.calendarForm, dry: true}, // its answer is a secret that no stored answer may hold
		{method: get, path: "/settings/rates", needs: SeePlans, handle: s.ratesPage},
		{method: post, path: "/settings/rates", needs: MakePlan, handle: s.ratesForm},
		{method: get, path: "/settings/scaffold-firms", needs: SeePlans, handle: s.scaffoldTermsPage},
		{method: post, path: "/settings/scaffold-firms/:firm", needs: MakePlan, handle: s.scaffoldTermsForm},
		{method: get, path: "/settings/limits", needs: SeeJob, handle: s.limitsPage},
		{method: post, path: "/settings/limits", needs: SetLimits, handle: s.limitForm},
		{method: get, path: "/settings/services", needs: SeeJob, handle: s.servicesPage},
		{method: post, path: "/settings/services", needs: SetLimits, handle: s.servicesForm},
		{method: get, path: "/weather/record", needs: SeePlans, handle: s.weatherRecordPage},
		{method: post, path: "/weather/record", needs: MakePlan, handle: s.weatherRecordForm},
		{method: get, path: "/pins", needs: SeePlans, handle: s.pinsPage},
		{method: post, path: "/pins", needs: MakePlan, handle: s.pinForm},
		{method: post, path: "/pins/:pin/remove", needs: MakePlan, handle: s.removePinForm},
		{method: get, path: "/jobs", needs: SeeJobs, handle: s.jobsPage},
		{method: get, path: "/jobs/:ref", needs: SeeJob, handle: s.jobPage},
		{method: post, path: "/jobs/:ref/assessments", needs: Assess, handle: s.issueForm},
		{method: post, path: "/jobs/:ref/assessments/approve", needs: Assess, handle: s.approveForm},
		{method: post, path: "/jobs/:ref/scaffold-reports", needs: ReportFinding, handle: s.reportForm},
		{method: post, path: "/jobs/:ref/scaffold-events", needs: ReportFinding, handle: s.eventForm},
		{method: post, path: "/jobs/:ref/progress", needs: TellProgress, handle: s.progressForm},
		{method: post, path: "/jobs/:ref/consents", needs: ChangeJobs, handle: s.consentForm},
		{method: post, path: "/jobs/:ref/promise", needs: ChangeJobs, handle: s.promiseForm},
		{method: post, path: "/jobs/:ref/confirmations", needs: ChangeJobs, handle: s.confirmVisitForm},
		{method: post, path: "/jobs/:ref/kit", needs: ChangeJobs, handle: s.kitForm},
		{method: post, path: "/jobs/:ref/booking/accept", needs: AnswerBooking, handle: s.acceptForm},
		{method: get, path: "/bookings", needs: SeeBookings, handle: s.bookingsPage},
		{method: get, path: "/bookings.csv", needs: TakeJobsAway, handle: s.bookingsFile},
		{method: get, path: "/bookings/:booking/files/:file", needs: SeeBookings, handle: s.handoverFile},
		{method: post, path: "/bookings/:booking/take", needs: AnswerBooking, handle: s.bookingStep("accepted", s.takeOffer)},
		{method: post, path: "/bookings/:booking/decline", needs: AnswerBooking, handle: s.bookingStep("declined", s.declineOffer)},
		{method: post, path: "/bookings/:booking/off-hire", needs: AnswerBooking, handle: s.bookingStep("off-hire", s.offHire)},
		{method: post, path: "/bookings/:booking/keep", needs: AnswerBooking, handle: s.bookingStep("kept-on-hire", s.keepOnHire)},
		{method: post, path: "/bookings/:booking/inspected", needs: AnswerBooking, handle: s.bookingStep("inspected", s.inspected)},
		{method: get, path: "/private-links", needs: AnswerBooking, handle: s.linksPage},
		{method: post, path: "/private-links/firms/:firm", needs: AnswerBooking, handle: s.giveLinkForm, dry: true}, // its answer is a secret that no stored answer may hold
		{method: post, path: "/private-links/firms/:firm/end", needs: AnswerBooking, handle: s.endLinksForm},
		{method: post, path: "/private-links/:link/until", needs: AnswerBooking, handle: s.keepLinkForm},
		{method: post, path: "/private-links/:link/end", needs: AnswerBooking, handle: s.endLinkForm},
		{method: get, path: "/messages", needs: SeeBookings, handle: s.messagesPage},
		{method: post, path: "/messages/quiet", needs: AnswerBooking, handle: s.quietForm},
		{method: post, path: "/messages/:message/again", needs: AnswerBooking, handle: s.againForm},
		{method: get, path: "/jobs/:ref/assessment", needs: SeeJob, handle: s.assessmentPage},
		{method: post, path: "/jobs/:ref/assessment", needs: ReportFinding, handle: s.issueHereForm},
		{method: post, path: "/jobs/:ref/assessment/approve", needs: Assess, handle: s.approveHereForm},
		{method: post, path: "/jobs/:ref/assessment/answers", needs: ReportFinding, handle: s.answersForm},
		{method: post, path: "/jobs/:ref/assessment/seen", needs: ReportFinding, handle: s.seenForm},
		{method: post, path: "/jobs/:ref/assessment/seen/:seen/remove", needs: ReportFinding, handle: s.awayForm},
		{method: get, path: "/jobs/:ref/assessment/changes", needs: SeeJob, handle: s.changesPage},
		{method: get, path: "/jobs/:ref/sums", needs: SeeJob, handle: s.sumsPage},
		{method: get, path: "/jobs/:ref/scaffold", needs: SeeJob, handle: s.scaffoldFilePage},
		{method: post, path: "/jobs/:ref/scaffold/reports/:report/remedies", needs: ReportFinding, handle: s.remedyForm},
		{method: post, path: "/jobs/:ref/scaffold/reports/:report/delivery", needs: ReportFinding, handle: s.deliveryForm},
		{method: get, path: "/photos/:photo", needs: SeeJob, handle: s.photoFile},
		{method: get, path: "/photos/:photo/as-sent", needs: SeeRecord, handle: s.photoAsSent},
		{method: get, path: "/settings/hazards", needs: SeeJob, handle: s.hazardsPage},
		{method: post, path: "/settings/hazards", needs: Assess, handle: s.hazardsForm},
		{method: get, path: "/import", needs: ChangeJobs, handle: s.importPage},
		{method: post, path: "/import", needs: ChangeJobs, handle: s.importForm, dry: true},
		{method: post, path: "/import/confirm", needs: ChangeJobs, handle: s.confirmForm},
		{method: get, path: "/export/jobs.csv", needs: TakeJobsAway, handle: s.exportFile},
		{method: get, path: "/jobs/:ref/records", needs: SeeJob, handle: s.jobRecordsPage},
		{method: post, path: "/jobs/:ref/records", needs: KeepRecords, handle: s.addRecordForm},
		{method: post, path: "/jobs/:ref/modules", needs: KeepRecords, handle: s.moduleForm},
		{method: get, path: "/due", needs: ChangeJobs, handle: s.duePage},
		{method: post, path: "/due/:ref", needs: ChangeJobs, handle: s.sentForm},
		{method: get, path: "/settings/own-rules", needs: SeeJob, handle: s.ownRulesPage},
		{method: post, path: "/settings/own-rules", needs: ChangePeople, handle: s.ownRuleForm},
		{method: post, path: "/morning/:crew/:date/except", needs: KeepRecords, handle: s.exceptForm},
		{method: post, path: "/morning/:crew/:date/fit", needs: KeepRecords, handle: s.fitForm},
		{method: get, path: "/people", needs: SeePeople, handle: s.peoplePage},
		{method: post, path: "/people/:person/competences", needs: ChangePeople, handle: s.competenceForm},
		{method: post, path: "/people/:person/inductions", needs: KeepRecords, handle: s.inductionForm},
		{method: post, path: "/morning/:crew/:date/check-in", needs: KeepRecords, handle: s.checkInForm},
		{method: post, path: "/morning/:crew/:date/call", needs: KeepRecords, handle: s.callForm},
		{method: post, path: "/people/:person/pin", needs: SeePeople, handle: s.signingPINForm},
		{method: get, path: "/record", needs: SeeRecord, handle: s.recordPage},
		{method: post, path: "/record/heads", needs: SeeRecord, handle: s.signHeadForm},
		{method: post, path: "/record/recipient", needs: SeeRecord, handle: s.headRecipientForm},
		{method: get, path: "/record/export", needs: SeeRecord, handle: s.exportRecord},
		{method: get, path: "/record/entries/:seq", needs: SeeRecord, handle: s.entryPage},
		{method: get, path: "/record/decision/:decision", needs: SeeJob, handle: s.paperPage},
		{method: get, path: "/morning/:crew/:date/pack", needs: SeeMorning, handle: s.packFile},
		{method: get, path: "/morning", needs: SeeMorning, handle: s.morningStart},
		{method: get, path: "/morning/:crew/:date", needs: SeeMorning, handle: s.morningPage},
		{method: post, path: "/morning/:crew/:date/checks", needs: HoldBriefing, handle: s.checksForm},
		{method: post, path: "/morning/:crew/:date/sign", needs: SignOneself, handle: s.signForm},
		{method: post, path: "/morning/:crew/:date/sky", needs: StopAnyWork, handle: s.skyForm},
		{method: post, path: "/morning/:crew/:date/stop", needs: StopAnyWork, handle: s.stopForm},
		{method: post, path: "/morning/:crew/:date/lift", needs: LiftAStop, handle: s.liftForm},
	}
}

func (s *server) pageRoutes(e *gin.Engine) {
	g := e.Group("", s.within(60*time.Second), s.limitBody)
	g.GET("/sign-in", s.signInPage)
	g.POST("/sign-in", s.signInForm)
	g.POST("/sign-out", s.signOutForm)
	for _, p := range s.pages() {
		chain := []gin.HandlerFunc{s.knownPerson(p.needs)}
		if p.method == http.MethodPost && !p.dry {
			chain = append(chain, s.once)
		}
		g.Handle(p.method, p.path, append(chain, s.page(p.handle))...)
	}
}

func (s *server) page(handle func(*gin.Context, Caller) error) gin.HandlerFunc {
	return func(c *gin.Context) {
		if err := handle(c, callerOf(c.Request.Context())); err != nil {
			s.fail(c, err)
		}
	}
}

// knownPerson lets through who may. Whoever is not signed in and only looks is
// sent to sign in and then comes back.
func (s *server) knownPerson(a Action) gin.HandlerFunc {
	return func(c *gin.Context) {
		caller, err := s.auth.Authenticate(c.Request)
		if err == errUnsigned && c.Request.Method == http.MethodGet {
			c.Redirect(http.StatusSeeOther, "/sign-in?next="+url.QueryEscape(c.Request.URL.RequestURI()))
			c.Abort()
			return
		}
		if err == nil {
			s.remember(c, caller)
			err = caller.need(a)
		}
		if err != nil {
			s.fail(c, err)
		}
	}
}

// show renders a page.
func (s *server) show(c *gin.Context, status int, page web.Page) error {
	var b bytes.Buffer
	if err := s.web.Render(&b, page); err != nil {
		return err
	}
	c.Data(status, "text/html; charset=utf-8", b.Bytes())
	return nil
}

// done sends the browser on after a form, with a word for what was done.
func (s *server) done(c *gin.Context, to, what string) error {
	if what != "" {
		to += "?done=" + what
	}
	c.Redirect(http.StatusSeeOther, to)
	return nil
}

// sheet is what every page of a signed-in person has around it.
func (s *server) sheet(r *http.Request, c Caller) web.Sheet {
	top, beside := nav(c, r.URL.Path)
	return web.Sheet{
		Firm: c.FirmName, Who: c.Name, Role: roleTitle(c.Role), SignOut: "/sign-out",
		Nav: top, Beside: beside,
		Notice: notices[r.URL.Query().Get("done")],
		Key:    s.ids().String(),
		AsOf:   s.now().In(c.Location),
	}
}

func roleTitle(r schedule.Role) string {
	switch r {
	case schedule.Office:
		return "office"
	case schedule.CrewLead:
		return "crew lead"
	case schedule.CrewMember:
		return "crew member"
	default:
		return ""
	}
}

// signInPage shows the form; whoever is signed in already goes on.
func (s *server) signInPage(c *gin.Context) {
	if err := s.show(c, http.StatusOK, web.SignIn{
		Sheet: web.Sheet{Key: s.ids().String()}, Action: "/sign-in", Next: ownAddress(c.Query("next")),
	}); err != nil {
		s.fail(c, err)
	}
}

// signInForm signs in and goes on. What was wrong is said on the same page.
func (s *server) signInForm(c *gin.Context) {
	next := ownAddress(c.PostForm("next"))
	caller, err := s.signIn(c.Request.Context(), c.PostForm("email"), c.PostForm("password"), [16]byte{})
	if err == nil {
		c.Redirect(http.StatusSeeOther, orStart(next, caller))
		return
	}
	out := refusalOf(err)
	if out.kind.status >= 500 {
		s.fail(c, err)
		return
	}
	page := web.SignIn{Sheet: web.Sheet{Key: s.ids().String()}, Action: "/sign-in", Email: c.PostForm("email"), Next: next}
	page.Faults = []web.Fault{{Field: "email", Say: sayOnPage(out)}}
	if err := s.show(c, out.kind.status, page); err != nil {
		s.fail(c, err)
	}
}

func sayOnPage(out *refusal) string {
	if out.kind == notSignedIn {
		return "E-mail or password is not right: type both again."
	}
	return doNext(out)
}

func (s *server) signOutForm(c *gin.Context) {
	if err := s.sessions.Destroy(c.Request.Context()); err != nil {
		s.fail(c, err)
		return
	}
	c.Redirect(http.StatusSeeOther, "/sign-in")
}

// ownAddress keeps an address only when it stays on this site.
func ownAddress(next string) string {
	u, err := url.Parse(next)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\n\r\t") {
		return ""
	}
	return next
}

// orStart is where somebody goes after signing in: where they wanted to go, or
// where their day begins. Whoever only opened the site wanted no page of it.
func orStart(next string, c Caller) string {
	if next == "" || next == "/" {
		return startOf(c)
	}
	return next
}

// startOf is where somebody's day begins: a crew's with the morning, the
// office's with the week.
func startOf(c Caller) string {
	if may(c.Role, SeeMornings) {
		return "/"
	}
	return "/morning"
}
