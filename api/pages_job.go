package api

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

// jobsPage lists the jobs with what comes next in each.
func (s *server) jobsPage(c *gin.Context, caller Caller) error {
	ctx := c.Request.Context()
	d, err := s.directory(ctx, caller.Firm)
	if err != nil {
		return err
	}
	plan, err := s.current(ctx, caller.Firm)
	if err != nil {
		return err
	}
	holidays, err := s.schedule.Holidays(ctx, caller.Firm)
	if err != nil {
		return err
	}
	page := web.Jobs{Sheet: s.sheet(c.Request, caller), Shown: "open jobs by reference"}
	all := c.Query("state") == "all"
	if all {
		page.Shown = "all jobs by reference"
	}
	today := civil.DateOf(s.now(), caller.Location)
	for _, j := range d.byRef() {
		if all || j.State == schedule.JobOpen {
			page.Rows = append(page.Rows, jobRow(j, plan, today, holidays))
		}
	}
	if may(caller.Role, ChangeJobs) {
		page.ImportHref = "/import"
	}
	if may(caller.Role, TakeJobsAway) {
		page.ExportHref = "/export/jobs.csv"
	}
	return s.show(c, http.StatusOK, page)
}

// byRef gives the jobs by reference.
func (d directory) byRef() []schedule.Job {
	all := make([]schedule.Job, 0, len(d.jobs))
	for _, j := range d.jobs {
		all = append(all, j)
	}
	slices.SortFunc(all, func(a, b schedule.Job) int { return strings.Compare(a.Ref, b.Ref) })
	return all
}

func jobRow(j schedule.Job, plan *schedule.Plan, today civil.Date, holidays []schedule.Holiday) web.JobRow {
	row := web.JobRow{Ref: j.Ref, Href: jobHref(j.Ref), Customer: j.Customer.Name, Place: shortPlace(j.Site.Address),
		State: string(j.State), Promised: webDay(j.PromisedOn), Holds: holdsUp(j, plan)}
	if plan == nil {
		return row
	}
	next := civil.NoHalfDay
	for _, v := range plan.Visits {
		stage, _ := j.Stage(v.Stage)
		if v.Job != j.ID || stage.State == schedule.StateDone {
			continue
		}
		if v.Last().Date() >= today && (!next.Known() || v.First() < next) {
			next = v.First()
			row.Next = capital(v.Stage.String()) + ", " + v.First().Short()
		}
		if v.Stage == schedule.Commissioning {
			row.Finish = webDay(v.Last().Date())
			row.LateDays = lateDays(j.PromisedOn, v.Last().Date(), holidays)
		}
	}
	return row
}

// lateDays counts the working days from a promise to the day it is kept.
func lateDays(promised, finished civil.Date, holidays []schedule.Holiday) int {
	if !promised.Known() {
		return 0
	}
	n := 0
	for d := promised + 1; d <= finished; d++ {
		if schedule.WorkingDay(d, holidays) {
			n++
		}
	}
	return n
}

// holdsUp says what a job waits for; "" = nothing.
func holdsUp(j schedule.Job, plan *schedule.Plan) string {
	for _, c := range j.Consents {
		if c.State != schedule.ConsentGranted && !c.ExpectedOn.Known() {
			return c.Kind.Words() + " " + string(c.State) + ", no date known"
		}
	}
	if plan != nil {
		for _, u := range plan.Unplanned {
			if u.Job == j.ID {
				return u.Stage.String() + " found no place: " + u.Why
			}
		}
	}
	return ""
}

// jobPage shows one job.
func (s *server) jobPage(c *gin.Context, caller Caller) error {
	return s.showJob(c, caller, http.StatusOK, nil)
}

// showJob shows the job page, after a form with what was wrong in it.
func (s *server) showJob(c *gin.Context, caller Caller, status int, wrong []web.Fault) error {
	j, err := s.JobFile(c.Request.Context(), caller.Firm, c.Param("ref"))
	if err != nil {
		return err
	}
	page := jobPageView(j, caller)
	page.Sheet = s.sheet(c.Request, caller)
	page.Faults = wrong
	page.Strip, page.Plume, page.Carrying = j.Strip, j.Plume, j.Carrying
	if j.Strip != nil {
		page.Credits = j.Strip.Credits
	}
	page.Report, page.Event = reportTyped(c, j, s.now()), eventTyped(c)
	offerChanges(&page, j, caller, civil.DateOf(s.now(), j.Location))
	changesTyped(c, &page)
	return s.show(c, status, page)
}

func jobPageView(f JobFile, caller Caller) web.JobPage {
	j := f.Job
	here := jobHref(j.Ref)
	page := web.JobPage{
		Ref: j.Ref, State: string(j.State), Customer: j.Customer.Name, Phone: j.Customer.Phone, Email: j.Customer.Email,
		Address: j.Site.Address, Postcode: j.Site.Postcode, Terrain: terrainWords(j.Site.Terrain), HeightM: j.Site.WorkingHeightM,
		Modules: j.Modules, ModuleWatts: j.ModuleWatts, ModuleKg: j.ModuleKg, ModuleM2: j.ModuleM2,
		Ready: webDay(j.ReadyOn), Promised: webDay(j.PromisedOn), Note: j.Note,
		Stages: stageLines(f), Consents: mapped(j.Consents, consentLine),
		Kit: mapped(j.Kit, func(k schedule.Kit) web.KitLine {
			return web.KitLine{Item: k.Item, Quantity: k.Quantity, Due: webDay(k.DueOn), Arrived: webDay(k.ArrivedOn)}
		}),
		Reports: mapped(f.Reports, func(r safety.ScaffoldReport) web.ScaffoldReport { return webReport(r, f.Location) }),
		Events: mapped(f.Events, func(e safety.ScaffoldEvent) web.ScaffoldEvent {
			return web.ScaffoldEvent{What: e.What, Detail: e.Detail, By: e.By, At: localTime(e.At, f.Location)}
		}),
		Facts: factLines(j), SafetyHref: here,
	}
	if !may(caller.Role, SeePlans) { // whoever may not pin is not told why others did
		for i := range page.Stages {
			page.Stages[i].Pins = nil
		}
	}
	page.Packs = packLinks(f, caller)
	if may(caller.Role, SeeRecord) {
		page.RecordHref = "/record?job=" + queryPart(j.Ref)
	}
	if f.Plan != nil {
		page.Finishes = finishesView(*f.Plan, f.directory, f.Location, j.ID)
	}
	if f.Booking != nil {
		page.Booking = bookingNow(f)
		if b := f.Booking; b.State == schedule.BookingCountered && may(caller.Role, AnswerBooking) {
			page.Booking.AcceptAction = fmt.Sprintf("%s/booking/accept?booking=%s&seen=%d&on=%s", here, b.ID, b.Sequence, b.OfferedOn)
		}
		page.BookingHistory = mapped(f.History, func(v schedule.BookingVersion) web.BookingStep {
			return web.BookingStep{Version: v.Version, Sequence: v.Sequence, State: v.State.String(), Erect: webDay(v.ErectOn),
				Strike: webDay(v.StrikeOn), Why: v.Why, By: v.ChangedBy, At: localTime(v.ChangedAt, f.Location)}
		})
	}
	if f.Assessment != nil {
		page.Assessment = new(webAssessment(*f.Assessment, f.Location))
	}
	if may(caller.Role, Assess) {
		page.IssueAction = here + "/assessments"
		if f.Assessment != nil && !f.Assessment.Approved {
			page.ApproveAction = here + "/assessments/approve"
		}
	}
	if may(caller.Role, ReportFinding) {
		page.ReportAction, page.EventAction = here+"/scaffold-reports", here+"/scaffold-events"
	}
	return page
}

func terrainWords(key string) string {
	words := map[string]string{"0": "open sea or coast", "I": "flat and open", "II": "open country", "III": "villages and suburbs", "IV": "town"}
	if words[key] == "" {
		return "not known"
	}
	return words[key] + " (EN 1991-1-4 " + key + ")"
}

func stageLines(f JobFile) []web.StageLine {
	visits := map[schedule.StageKind]schedule.Visit{}
	why := map[schedule.StageKind]string{}
	if f.Plan != nil {
		for _, v := range f.Plan.Visits {
			if v.Job == f.Job.ID {
				visits[v.Stage] = v
			}
		}
		for _, u := range f.Plan.Unplanned {
			if u.Job == f.Job.ID {
				why[u.Stage] = u.Why
			}
		}
	}
	return mapped(f.Job.Stages, func(st schedule.Stage) web.StageLine {
		line := web.StageLine{Stage: st.Kind.String(), Mark: webMark(st.Kind), HalfDays: st.HalfDays, DoneOn: webDay(st.DoneOn), Why: why[st.Kind]}
		if v, planned := visits[st.Kind]; planned {
			line.Progress, line.Halves, line.Who = web.Planned, webHalves(v.HalfDays), f.who(v)
			line.Chance, line.Why = outdoorChance(v), v.Why
			line.Pins = stagePins(f.Pins, f.directory, f.Job.ID, st, &v, f.Location)
		} else {
			line.Pins = stagePins(f.Pins, f.directory, f.Job.ID, st, nil, f.Location)
		}
		switch st.State {
		case schedule.StateDone:
			line.Progress = web.Done
		case schedule.StateStarted:
			line.Progress = web.Started
		}
		return line
	})
}

func consentLine(c schedule.Consent) web.ConsentLine {
	line := web.ConsentLine{Consent: c.Kind.Words(), State: string(c.State), Stage: c.Stage.String(), Holds: web.NotMet}
	switch {
	case c.State == schedule.ConsentGranted:
		line.Holds = web.Met
		line.When = "granted " + c.GrantedOn.Short()
	case c.ExpectedOn.Known():
		line.When = "expected " + c.ExpectedOn.Short()
	}
	return line
}

// factLines lists what the survey may find, found or not.
func factLines(j schedule.Job) []web.FactLine {
	facts, _ := safety.FactsFrom(j.Site.Facts) // what cannot be read is shown as not known
	var lines []web.FactLine
	for _, d := range safety.FactList() {
		if d.From != safety.FromSurvey {
			continue
		}
		line := web.FactLine{Fact: d.Name}
		if f, known := facts[d.Key]; known {
			line.Found = strings.TrimSpace(f.String() + " " + d.Unit)
		}
		lines = append(lines, line)
	}
	return lines
}

func bookingNow(f JobFile) *web.BookingNow {
	b, firm := f.Booking, f.firms[f.Booking.ScaffoldFirm]
	until := b.ErectOn + civil.Date(7*firm.IncludedWeeks) - 1
	now := &web.BookingNow{Firm: firm.Name, Phone: firm.Phone, State: bookingWords(*b), Erect: webDay(b.ErectOn), Strike: webDay(b.StrikeOn),
		Offered: webDay(b.OfferedOn), Sequence: b.Sequence, HireUntil: webDay(until)}
	if g := f.Gang; g != nil {
		now.Sky = fmt.Sprintf("%s on %s: %s", capital(g.task.Doing()), g.day.Short(), web.WithMPH(g.sky.Sentence()))
	}
	if b.StrikeOn <= until {
		now.Hire = fmt.Sprintf("%s in the price, the strike lies within", counted(firm.IncludedWeeks, "week", "weeks"))
	} else {
		weeks := (int(b.StrikeOn-until) + 6) / 7
		now.Hire = fmt.Sprintf("%s past it at %s each", counted(weeks, "week", "weeks"), firm.WeeklyHire)
	}
	return now
}

// acceptForm takes the day that the scaffold firm offered, as the page showed
// it: the address says which booking and which offer that was.
func (s *server) acceptForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Query("booking"))
	if err != nil {
		return badID("booking", c.Query("booking"))
	}
	seen, err := strconv.Atoi(c.Query("seen"))
	if err != nil {
		return &refusal{kind: malformed, detail: "the form does not say which version was seen: open the page again"}
	}
	on, err := civil.Parse(c.Query("on"))
	if err != nil {
		return fault.Bad("offered day", c.Query("on"), "the day that the page shows: open it again")
	}
	_, err = s.AcceptOffer(c.Request.Context(), caller.Firm, id, seen, on, caller.Name)
	if faults := pageFaults(err); faults != nil {
		for i := range faults {
			faults[i].Field = "" // of no input
		}
		return s.showJob(c, caller, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.done(c, jobHref(c.Param("ref")), "accepted")
}

func webReport(r safety.ScaffoldReport, loc *time.Location) web.ScaffoldReport {
	return web.ScaffoldReport{Kind: r.Kind, ForWhom: r.ForWhom, Location: r.Location, Description: r.Description, At: localTime(r.At, loc),
		Risks: r.Risks, ActionTaken: r.ActionTaken, Further: r.Further, ByName: r.ByName, ByPosition: r.ByPosition, Fit: r.Fit,
		LoadClass: r.LoadClass, RecordedBy: r.RecordedBy, RecordedAt: localTime(r.RecordedAt, loc),
		DesignRef: r.DesignRef, Lifts: r.Lifts, Ties: r.Ties, ReceivedBy: r.ReceivedBy}
}

func webAssessment(a safety.AssessmentInForce, loc *time.Location) web.Assessment {
	out := web.Assessment{
		ID: a.ID.String(), Version: a.Version, MadeBy: a.MadeBy, MadeAt: localTime(a.MadeAt, loc), Approved: a.Approved,
		ApprovedBy: a.ApprovedBy, ApprovedAt: localTime(a.ApprovedAt, loc), Hash: a.BodyHash.String(), Rescue: a.Body.Rescue,
		Scale:   "likelihood 1 to 5 x severity 1 to 5; " + bands(a.Body.Matrix),
		Hazards: mapped(a.Body.Entries, webHazard),
		Questions: mapped(a.Body.Questions, func(q safety.Question) string {
			if q.Unit != "" {
				return q.Ask + " [" + q.Unit + "]"
			}
			return q.Ask
		}),
	}
	if a.FactsNow.Known() && a.FactsHash != a.FactsNow {
		out.Stale = "The job's facts changed since it was made: issue a new version."
	}
	return out
}

func webHazard(e safety.Entry) web.Hazard {
	return web.Hazard{
		Code: e.Hazard, Hazard: e.Name, WhyHere: e.Why(), Who: strings.Join(e.Who, ", "), Band: e.BandAfter, Source: e.Source,
		Before: web.Risk(e.Before), After: web.Risk(e.After),
		Controls: mapped(e.Controls, func(k safety.Control) web.Control { return web.Control{Kind: k.Step, Say: k.Do} }),
	}
}

func bands(m safety.Matrix) string {
	return strings.Join(mapped(m.Bands, func(b safety.Band) string { return fmt.Sprintf("%d to %d %s", b.From, b.To, b.Word) }), ", ")
}

// reportTyped gives back what was typed into the report form; on a fresh page
// what is known already.
func reportTyped(c *gin.Context, f JobFile, now time.Time) web.ReportForm {
	if c.Request.Method == http.MethodPost && strings.HasSuffix(c.FullPath(), "/scaffold-reports") {
		p := c.PostForm
		return web.ReportForm{Kind: p("kind"), ForWhom: p("for_whom"), Location: p("location"), Description: p("description"),
			On: web.Day(p("on")), At: p("at"), Risks: p("risks"), ActionTaken: p("action_taken"), Further: p("further"),
			ByName: p("by_name"), ByPosition: p("by_position"), Result: p("result"), LoadClass: p("load_class"),
			DesignRef: p("design_ref"), Lifts: p("lifts"), Ties: p("ties"), ReceivedBy: p("received_by")}
	}
	here := now.In(f.Location)
	return web.ReportForm{Location: f.Job.Site.Address, On: webDay(civil.DateOf(now, f.Location)), At: here.Format("15:04")}
}

func eventTyped(c *gin.Context) web.EventForm {
	if c.Request.Method == http.MethodPost && strings.HasSuffix(c.FullPath(), "/scaffold-events") {
		return web.EventForm{What: c.PostForm("what"), Detail: c.PostForm("detail"), On: web.Day(c.PostForm("on")), At: c.PostForm("at")}
	}
	return web.EventForm{}
}

// reportForm records a scaffold handover or inspection.
func (s *server) reportForm(c *gin.Context, caller Caller) error {
	r, err := reportFrom(c, caller.Location)
	if err == nil {
		_, err = s.ReportScaffold(c.Request.Context(), caller, recordID(c.Request.Context()), c.Param("ref"), r)
	}
	if faults := pageFaults(err); faults != nil {
		return s.showJob(c, caller, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.done(c, jobHref(c.Param("ref")), "reported")
}

func reportFrom(c *gin.Context, loc *time.Location) (safety.ScaffoldReport, error) {
	p := func(name string) string { return strings.TrimSpace(c.PostForm(name)) }
	r := safety.ScaffoldReport{Kind: p("kind"), ForWhom: p("for_whom"), Location: p("location"), Description: p("description"),
		Risks: p("risks"), ActionTaken: p("action_taken"), Further: p("further"), ByName: p("by_name"), ByPosition: p("by_position"),
		Fit: p("result") == "fit", Certificate: safety.Certificate{DesignRef: p("design_ref"), Ties: p("ties"), ReceivedBy: p("received_by")}}
	if lifts := p("lifts"); lifts != "" {
		n, err := strconv.Atoi(lifts)
		if err != nil {
			return r, fault.Bad("lifts", lifts, "a whole number of lifts, 1 to 50")
		}
		r.Lifts = n
	}
	if p("result") != "fit" && p("result") != "not_fit" {
		return r, fault.Bad("result", p("result"), "fit or not fit for use: choose one")
	}
	if class := p("load_class"); class != "" {
		n, err := strconv.Atoi(class)
		if err != nil {
			return r, fault.Bad("load_class", class, "1 to 6, or empty")
		}
		r.LoadClass = n
	}
	at, err := typedInstant(p("on"), p("at"), "on", "at", loc)
	r.At = at
	return r, err
}

// typedInstant reads a date and a time of day as the firm's clock shows them.
func typedInstant(on, at, onField, atField string, loc *time.Location) (time.Time, error) {
	d, err := civil.Parse(on)
	if err != nil {
		return time.Time{}, fault.Bad(onField, on, "a date as 2026-12-31")
	}
	t, err := time.Parse("15:04", at)
	if err != nil {
		return time.Time{}, fault.Bad(atField, at, "a time as 08:10")
	}
	return d.At(t.Hour(), t.Minute(), loc).UTC(), nil
}

// eventForm records something that could have affected a scaffold.
func (s *server) eventForm(c *gin.Context, caller Caller) error {
	e := safety.ScaffoldEvent{What: c.PostForm("what"), Detail: strings.TrimSpace(c.PostForm("detail"))}
	at, err := typedInstant(c.PostForm("on"), c.PostForm("at"), "event_on", "event_at", caller.Location)
	if err == nil {
		e.At = at
		_, err = s.RecordEvent(c.Request.Context(), caller, recordID(c.Request.Context()), c.Param("ref"), e)
	}
	if faults := pageFaults(err); faults != nil {
		return s.showJob(c, caller, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.done(c, jobHref(c.Param("ref")), "event")
}

// issueForm issues an assessment from the facts as they are now.
func (s *server) issueForm(c *gin.Context, caller Caller) error {
	if _, err := s.IssueAssessment(c.Request.Context(), caller.Firm, c.Param("ref"), caller.Name); err != nil {
		return err
	}
	return s.done(c, jobHref(c.Param("ref")), "issued")
}

// approveForm approves the version that was shown.
func (s *server) approveForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.PostForm("assessment"))
	if err != nil {
		return badID("assessment", c.PostForm("assessment"))
	}
	if _, err := s.ApproveAssessment(c.Request.Context(), caller.Firm, c.Param("ref"), id, caller.Person); err != nil {
		return err
	}
	return s.done(c, jobHref(c.Param("ref")), "approved")
}

// weatherWindow is what a strip is drawn for.
type weatherWindow struct {
	From, To time.Time
	Loc      *time.Location
}

// strip draws the hours of a job's roof from two hours before the window to two
// after it; nil when there is no forecast.
func (s *Service) strip(ctx context.Context, firm uuid.UUID, j schedule.Job, w weatherWindow) (*web.Strip, error) {
	series, err := s.forecastWithPast(ctx, firm, j.Site.ID)
	if err != nil || len(series.Members) == 0 {
		return nil, err
	}
	limits, err := s.archive.Limits(ctx, firm)
	if err != nil {
		return nil, err
	}
	const around = 2 * time.Hour
	official, err := s.warnings(ctx, firm)
	if err != nil {
		return nil, err
	}
	work := official.over(weather.Work{Place: placeOfSite(j.Site), Panel: moduleOf(j), From: w.From, To: w.To, Loc: w.Loc, Now: s.now()})
	inside := judgeRoof(series, limits, work)
	work.From, work.To = w.From.Add(-around).Truncate(time.Hour), w.To.Add(around)
	judged := judgeRoof(series, limits, work)
	strip := &web.Strip{
		Place: fmt.Sprintf("Roof of %s, %s m above ground, %s", j.Ref, decimalOf(j.Site.WorkingHeightM), terrainWords(j.Site.Terrain)+facesWords(work.Place.Faces)+edgeWords(work.Place)),
		Task:  judged.Task.Doing(), From: w.From.In(w.Loc), To: w.To.In(w.Loc), Turn: turn(inside, w.Loc),
		Provider: judged.Services(), Credits: creditsOf(judged), FetchedAt: localTime(series.FetchedAt, w.Loc), ModelRun: localTime(series.ModelRun, w.Loc),
		Stale: tooOld(judged),
		Asks:  asksOf(j), AskHref: assessmentHref(j.Ref) + "#ask-h",
	}
	for _, st := range judged.Steps {
		strip.Hours = append(strip.Hours, stripHour(judged, st, w.Loc))
	}
	if end := reaches(series); !w.From.Before(end) {
		strip.Turn = fmt.Sprintf("The forecast reaches to %s; what these hours bring is known nearer to them.", end.In(w.Loc).Format("Mon 2 Jan 15:04"))
	}
	for _, l := range judged.Levels {
		switch l.Quantity {
		case weather.WindGust:
			strip.GustLimitMS, strip.Source = webNum(l.Stop), l.Source
		case weather.Rain:
			strip.RainLimitMM = webNum(l.Stop)
		}
	}
	return strip, nil
}

// reaches gives the end of a forecast's last hour.
func reaches(s weather.Series) (end time.Time) {
	for _, m := range s.Members {
		if n := len(m.Hours); n > 0 && m.Hours[n-1].From.Add(m.Hours[n-1].Span).After(end) {
			end = m.Hours[n-1].From.Add(m.Hours[n-1].Span)
		}
	}
	return end
}

func stripHour(j weather.Judgement, st weather.StepVerdict, loc *time.Location) web.StripHour {
	h := web.StripHour{From: st.From.In(loc), Sky: webSky(st.Verdict)}
	for i, check := range st.Checks {
		l := j.Levels[i]
		switch l.Quantity {
		case weather.WindGust:
			h.GustMS = webNum(check.Value)
		case weather.WindMean:
			h.MeanMS = webNum(check.Value)
		case weather.Rain:
			h.RainMM = webNum(check.Value)
		case weather.Temperature:
			h.TempC = webNum(check.Value)
		case weather.Daylight:
			h.Dark = check.Value.Known && check.Value.N < 0
		}
		if check.Verdict == st.Verdict && h.Why == "" && st.Verdict != weather.Go {
			h.Why = l.Rule
		}
	}
	return h
}

// turn says when the work can be done, when the weather turns and when it turns
// back.
func turn(j weather.Judgement, loc *time.Location) string {
	if hours := j.Hours(loc); hours != "" {
		return web.WithMPH(hours)
	}
	if j.Verdict == weather.Go || len(j.Reasons) == 0 {
		return "" // the strip's own sentence says all there is
	}
	return web.WithMPH(capital(j.Reasons[0].Sentence())) + "."
}

// tooOld says why a forecast is too old to trust; "" = it is not.
func tooOld(j weather.Judgement) string {
	for _, r := range j.Reasons {
		if (r.Quantity == weather.FetchAge || r.Quantity == weather.RunAge) && r.Verdict != weather.Go {
			return capital(r.Sentence()) + "."
		}
	}
	return ""
}
