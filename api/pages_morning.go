package api

import (
	"encoding/json"
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

func morningHref(crew uuid.UUID, d civil.Date) string {
	return "/morning/" + crew.String() + "/" + d.String()
}

// morningStart sends a crew's people to their own crew's page and shows the
// office all of them.
func (s *server) morningStart(c *gin.Context, caller Caller) error {
	day := civil.DateOf(s.now(), caller.Location)
	if on := c.Query("day"); on != "" {
		var err error
		if day, err = civil.Parse(on); err != nil {
			return err
		}
	}
	if may(caller.Role, SeeMornings) {
		return s.morningsPage(c, caller, day)
	}
	crew, err := s.crewOf(c, caller, day)
	if err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, morningHref(crew.ID, day))
	return nil
}

// crewOf gives the crew that the caller is in on a day.
func (s *server) crewOf(c *gin.Context, caller Caller, day civil.Date) (schedule.Crew, error) {
	crews, err := s.schedule.Crews(c.Request.Context(), caller.Firm)
	if err != nil {
		return schedule.Crew{}, err
	}
	for _, k := range crews {
		if in, _ := inCrew(k, caller.Person, day); in {
			return k, nil
		}
	}
	return schedule.Crew{}, &fault.Error{Kind: fault.NotFound, Field: "crew", Value: caller.Name, Want: "you are in no crew on " + day.Long() + ": ask the office"}
}

func (s *server) morningsPage(c *gin.Context, caller Caller, day civil.Date) error {
	all, err := s.Mornings(c.Request.Context(), caller.Firm, day)
	if err != nil {
		return err
	}
	crews, err := s.schedule.Crews(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	page := web.Mornings{
		Sheet: s.sheet(c.Request, caller), Day: webDay(day), Crews: morningRows(all, crews, day),
		Prev: web.Link{Words: "Day before", Href: "/morning?day=" + (day - 1).String()},
		Next: web.Link{Words: "Day after", Href: "/morning?day=" + (day + 1).String()},
	}
	if page.Lone, err = s.loneRows(c, caller); err != nil {
		return err
	}
	return s.show(c, http.StatusOK, page)
}

// morningRows has a row for each crew and job, and one for each crew without
// work.
func morningRows(all []Judged, crews []schedule.Crew, day civil.Date) []web.MorningRow {
	busy := map[uuid.UUID]bool{}
	var rows []web.MorningRow
	for _, m := range all {
		busy[m.Crew.ID] = true
		rows = append(rows, morningRow(m))
	}
	for _, k := range crews {
		if k.Active && !busy[k.ID] {
			rows = append(rows, web.MorningRow{Crew: k.Name, Off: "no work in the published plan"})
		}
	}
	slices.SortStableFunc(rows, func(a, b web.MorningRow) int { return strings.Compare(a.Crew, b.Crew) })
	return rows
}

func morningRow(m Judged) web.MorningRow {
	s := m.Snapshot
	row := web.MorningRow{
		Crew: s.CrewName, Href: morningHref(s.Crew, s.Day) + "?job=" + queryPart(s.JobRef), Ref: s.JobRef, JobHref: jobHref(s.JobRef),
		Place: shortPlace(s.Address), Task: strings.Join(taskWords(m), ", "), Start: localTime(s.StartAt, s.Location),
		Verdict: webVerdict(m.Decision.Verdict), People: len(s.People),
	}
	for _, c := range m.Decision.Conditions {
		switch {
		case c.Advice:
		case c.State == safety.NotMet:
			row.NotMet = append(row.NotMet, c.Sentence())
		case c.State == safety.Unknown:
			row.Unknown = append(row.Unknown, c.Sentence())
		default:
			row.Met++
		}
	}
	for _, g := range m.signers() {
		if g.signed != nil {
			row.Signed++
		}
	}
	row.ClearFor = someTasks(m)
	row.Stopped = slices.ContainsFunc(s.Stops, safety.StopWork.Open)
	return row
}

// someTasks says which of the day's tasks are clear by themselves, until the
// first of them ends.
func someTasks(m Judged) (s web.Some) {
	for _, k := range m.Snapshot.Stages {
		words := strings.ToLower(stageWords(k))
		i := slices.IndexFunc(m.Decision.ClearFor, func(c safety.ClearStage) bool { return c.Stage == k })
		if i < 0 {
			s.Not = append(s.Not, words)
			continue
		}
		s.Tasks = append(s.Tasks, words)
		if until := localTime(m.Decision.ClearFor[i].Until, m.Snapshot.Location); s.Until.IsZero() || until.Before(s.Until) {
			s.Until = until
		}
	}
	return s
}

// stageWords is a stage's key as people say it.
func stageWords(key string) string { return strings.ReplaceAll(key, "_", " ") }

func webVerdict(v safety.Verdict) web.Verdict {
	if v == safety.Clear {
		return web.Clear
	}
	return web.NotClear
}

func webState(s safety.State) web.State {
	switch s {
	case safety.Met:
		return web.Met
	case safety.NotMet:
		return web.NotMet
	default:
		return web.Unknown
	}
}

// taskWords are today's stages in words, with their size.
func taskWords(m Judged) []string {
	return mapped(m.Visits, func(v schedule.Visit) string {
		words := v.Stage.String()
		if v.Stage == schedule.RoofWork {
			words += fmt.Sprintf(", %d modules", m.Job.Modules)
		}
		halves := onDay(v.HalfDays, m.Snapshot.Day)
		if len(halves) == 1 {
			words += " (" + halves[0].Half().String() + ")"
		}
		return words
	})
}

// morningPage is one crew's morning.
func (s *server) morningPage(c *gin.Context, caller Caller) error {
	v, err := s.morningOf(c, caller)
	if err != nil {
		return err
	}
	return s.showMorning(c, caller, v, http.StatusOK, nil)
}

// morningVisit is what a morning page is about.
type morningVisit struct {
	Judged
	all   []Judged // the crew's jobs of the day
	leads bool     // the caller leads this crew today
	in    bool     // the caller is in this crew today
}

// morningOf reads which crew, day and job a request is about, and lets through
// only who may see it.
func (s *server) morningOf(c *gin.Context, caller Caller) (morningVisit, error) {
	var v morningVisit
	crew, err := uuid.Parse(c.Param("crew"))
	if err != nil {
		return v, badID("crew", c.Param("crew"))
	}
	day, err := civil.Parse(c.Param("date"))
	if err != nil {
		return v, err
	}
	all, err := s.Mornings(c.Request.Context(), caller.Firm, day)
	if err != nil {
		return v, err
	}
	for _, m := range all {
		if m.Crew.ID == crew {
			v.all = append(v.all, m)
		}
	}
	crews, err := s.schedule.Crews(c.Request.Context(), caller.Firm)
	if err != nil {
		return v, err
	}
	if err := v.allow(crews, crew, caller, day); err != nil {
		return v, err
	}
	ref := c.Query("job")
	for _, m := range v.all {
		if ref == "" || m.Job.Ref == ref {
			v.Judged = m
			return v, nil
		}
	}
	return v, &fault.Error{Kind: fault.NotFound, Field: "work", Want: "the published plan has no work for this crew on " + day.Long()}
}

// allow holds the caller to their own crew of the day.
func (v *morningVisit) allow(crews []schedule.Crew, crew uuid.UUID, caller Caller, day civil.Date) error {
	for _, k := range crews {
		if k.ID == crew {
			v.in, v.leads = inCrew(k, caller.Person, day)
			return ownCrew(caller, k, day)
		}
	}
	return fault.Missing("crew", crew.String())
}

// ownCrew refuses whoever may see only their own crew and is not in this one.
func ownCrew(caller Caller, k schedule.Crew, day civil.Date) error {
	if may(caller.Role, SeeMornings) {
		return nil
	}
	if in, _ := inCrew(k, caller.Person, day); in {
		return nil
	}
	return &fault.Error{Kind: fault.Forbidden, Field: "crew", Value: k.Name, Want: "you are not in this crew on " + day.Long()}
}

// showMorning shows the page, after a form with what was wrong in it.
func (s *server) showMorning(c *gin.Context, caller Caller, v morningVisit, status int, wrong []web.Fault) error {
	page, err := s.morningView(c, caller, v)
	if err != nil {
		return err
	}
	page.Faults = wrong
	page.StopReason = c.PostForm("reason")
	switch {
	case strings.HasSuffix(c.FullPath(), "/checks"):
		checksTyped(c, &page)
	case strings.HasSuffix(c.FullPath(), "/sign"):
		drawingSent(c, &page)
	case strings.HasSuffix(c.FullPath(), "/check-in"):
		checkInTyped(c, &page.CheckIn)
	}
	return s.show(c, status, page)
}

// drawingSent gives back the drawn signature whose PIN was refused, so that only
// the PIN is typed again.
func drawingSent(c *gin.Context, page *web.Morning) {
	drawing := c.PostForm("drawing")
	if safety.CheckDrawing(drawing) != nil {
		return
	}
	for i, w := range page.Signers {
		if w.Person == c.PostForm("person") {
			page.Signers[i].Drawing = drawing
		}
	}
}

// checksTyped gives back every answer and the reading as they were sent, so that
// one wrong value costs nobody the others.
func checksTyped(c *gin.Context, page *web.Morning) {
	page.GustRead = c.PostForm("gust_ms")
	for i, k := range page.Checks {
		if given, err := safety.AnswerFromKey(c.PostForm("check_" + k.Key)); err == nil {
			page.Checks[i].Answer = webAnswer(given)
		}
	}
}

func webAnswer(a safety.Answer) web.Answer {
	switch a {
	case safety.Yes:
		return web.Yes
	case safety.No:
		return web.No
	default:
		return web.NotLookedAt
	}
}

// morningView fills the page: what is so, then what this person may do about it.
func (s *server) morningView(c *gin.Context, caller Caller, v morningVisit) (web.Morning, error) {
	snap := v.Snapshot
	loc := snap.Location
	page := web.Morning{
		Sheet: s.sheet(c.Request, caller), Crew: snap.CrewName, Day: webDay(snap.Day), Ref: snap.JobRef, Href: jobHref(snap.JobRef),
		Address: snap.Address, Postcode: v.Job.Site.Postcode, Contact: contact(v.Job.Customer),
		Start: localTime(snap.StartAt, loc), End: localTime(snap.EndAt, loc), Tasks: taskWords(v.Judged),
		Verdict: webVerdict(v.Decision.Verdict), DecidedAt: localTime(v.Decision.At, loc),
		Until:      localTime(v.Decision.Until, loc),
		PackHref:   packHref(snap.Crew, snap.JobRef, snap.Day),
		ClearFor:   someTasks(v.Judged),
		Isolations: mapped(snap.Isolations, recordSayer{loc: loc}.permit),
		Conditions: webConditions(v.Judged),
		Scaffold:   scaffoldNow(snap, v.Decision),
		Checks:     webChecks(v.Judged), Stops: webStops(snap, caller),
	}
	if err := s.whoLifts(c, caller, v, &page); err != nil {
		return page, err
	}
	var err error
	if page.Emergency, err = s.emergency(c, caller, v); err != nil {
		return page, err
	}
	page.Credits = creditsOf(snap.Weather)
	if snap.Assessment != nil {
		page.Assessment = new(webAssessment(*snap.Assessment, loc))
	}
	if b := snap.Briefing; b != nil {
		page.ChecksAt, page.ChecksBy = localTime(b.At, loc), personName(snap, b.By)
		if b.GustMS.Known {
			page.GustRead = decimalOf(b.GustMS.N)
		}
	}
	if err := s.lookUpBefore(c.Request.Context(), caller.Firm, &v.Judged); err != nil {
		return page, err
	}
	if page.Lessons, err = s.lessons(c, caller, snap); err != nil {
		return page, err
	}
	if page.Shown, err = shownNow(snap); err != nil {
		return page, err
	}
	s.morningActions(&page, caller, v)
	page.Thunder = thunderNow(snap, s.now())
	page.Sky = skyTyped(c)
	if !snap.Outdoors {
		return page, nil
	}
	page.Strip, err = s.strip(c.Request.Context(), caller.Firm, v.Job, weatherWindow{From: snap.StartAt, To: snap.EndAt, Loc: loc})
	return page, err
}

// shownNow is what a signature on this page is given for, as the form sends it
// back: what a crew signed for is what they were shown, however long they read.
func shownNow(snap safety.Snapshot) (string, error) {
	b, err := json.Marshal(safety.BasisOf(snap))
	if err != nil {
		return "", fmt.Errorf("write what a signature is given for: %w", err)
	}
	return string(b), nil
}

// mayExcept marks the rules of the firm's own that hold the crew and from which
// this person may record an exception.
func mayExcept(all []web.Condition, rules []safety.OwnRule, caller Caller) {
	for i, c := range all {
		all[i].MayExcept = c.Own && c.State != web.Met && c.Except == "" && slices.ContainsFunc(rules, func(r safety.OwnRule) bool {
			return r.Code == c.Code && r.Binding && r.Holder.ID == caller.Person
		})
	}
}

// lessons tells what near misses and incidents taught about this job's hazards,
// at most ten, in the order of the hazards.
func (s *server) lessons(c *gin.Context, caller Caller, snap safety.Snapshot) ([]string, error) {
	if snap.Assessment == nil {
		return nil, nil
	}
	records, err := s.safety.RecordsOf(c.Request.Context(), caller.Firm, safety.LessonKinds...)
	if err != nil {
		return nil, err
	}
	by := safety.Lessons(records)
	var all []string
	for _, e := range snap.Assessment.Body.Entries {
		for _, l := range by[e.Hazard] {
			if len(all) < 10 {
				all = append(all, fmt.Sprintf("%s %s: %s (%s, %s)", e.Hazard, e.Name, l.Say, l.JobRef, l.At.In(snap.Location).Format("2 Jan 2006")))
			}
		}
	}
	return all, nil
}

// emergency is what is read out when somebody is hurt, and whom to ring then:
// the sheet from the facts as they are now, the crew's lead and the office.
func (s *server) emergency(c *gin.Context, caller Caller, v morningVisit) ([]web.EmergencyLine, error) {
	all := mapped(safety.EmergencySheet(v.Snapshot.Facts), func(l safety.Line) web.EmergencyLine {
		return web.EmergencyLine{Label: l.Label, Say: l.Say}
	})
	people, err := s.schedule.People(c.Request.Context(), caller.Firm)
	if err != nil {
		return nil, err
	}
	var leads, office []schedule.Person
	for _, p := range people {
		if _, isLead := inCrew(v.Crew, p.ID, v.Snapshot.Day); isLead {
			leads = append(leads, p)
		}
		if p.Role == schedule.Office && p.Active {
			office = append(office, p)
		}
	}
	return append(append(all, toRing("Crew lead", leads)...), toRing("Office", office)...), nil
}

// toRing has a line for each person with a telephone; without any it says that
// no number is known.
func toRing(label string, people []schedule.Person) []web.EmergencyLine {
	var lines []web.EmergencyLine
	for _, p := range people {
		if p.Phone != "" {
			lines = append(lines, web.EmergencyLine{Label: label, Say: p.Name, Phone: p.Phone})
		}
	}
	if lines == nil {
		return []web.EmergencyLine{{Label: label, Say: "unknown: write the number down before work starts"}}
	}
	return lines
}

// morningActions offers what this person may do here and now.
func (s *server) morningActions(page *web.Morning, caller Caller, v morningVisit) {
	here := morningHref(v.Crew.ID, v.Snapshot.Day)
	query := "?job=" + queryPart(v.Job.Ref)
	today := v.Snapshot.Day == civil.DateOf(s.now(), v.Snapshot.Location)
	page.StopAction = here + "/stop" + query
	if today && v.leads && may(caller.Role, HoldBriefing) && v.Snapshot.Assessment != nil {
		page.ChecksAction = here + "/checks" + query
	}
	if page.Signers, page.WhyNoSign = webSigners(v, caller, today); page.WhyNoSign == "" {
		page.SignAction = here + "/sign" + query
	}
	page.LiftAction = here + "/lift" + query
	if today {
		page.CheckIn = checkInNow(v, s.now(), here+"/check-in"+query)
	}
	page.Lone = loneCall(v, s.now(), caller, here+"/call"+query)
	page.BookHref = jobHref(v.Job.Ref) + "/records"
	if today && (v.in || may(caller.Role, ChangePeople)) {
		page.FitAction = here + "/fit" + query
	}
	for _, p := range v.Snapshot.NotFit {
		page.NotFit = append(page.NotFit, web.NotFit{Person: p.ID.String(), Name: p.Name, Own: p.ID == caller.Person})
	}
	if today {
		page.ExceptAction = here + "/except" + query
		mayExcept(page.Conditions, v.Snapshot.OwnRules, caller)
	}
	if today && v.Snapshot.Outdoors {
		page.SkyAction = here + "/sky" + query
	}
	if len(v.all) < 2 {
		return
	}
	for _, m := range v.all {
		page.Others = append(page.Others, web.Link{Words: m.Job.Ref + ", " + shortPlace(m.Job.Site.Address),
			Href: here + "?job=" + queryPart(m.Job.Ref), Here: m.Job.ID == v.Job.ID})
	}
}

func webConditions(m Judged) []web.Condition {
	return mapped(m.Decision.Conditions, func(c safety.Condition) web.Condition {
		w := web.Condition{Code: c.Code, Rule: c.Rule, Subject: c.Subject, State: webState(c.State), Value: web.WithMPH(c.Value), Limit: web.WithMPH(c.Limit),
			Source: c.Source, Remedy: c.Remedy, Advice: c.Advice}
		w.Own, w.Except = c.Own, c.Except
		if c.Code == "B06" && c.State == safety.Unknown {
			w.Names = safety.WorstOpen(m.Snapshot, m.Decision.At)
		}
		return w
	})
}

func contact(c schedule.Customer) string {
	if c.Phone == "" {
		return c.Name
	}
	return c.Name + ", " + c.Phone
}

func personName(s safety.Snapshot, id uuid.UUID) string {
	for _, p := range s.People {
		if p.ID == id {
			return p.Name
		}
	}
	return "somebody not in the crew today"
}

func webChecks(m Judged) []web.Check {
	return mapped(safety.ChecksFor(m.Snapshot), func(c safety.Check) web.Check {
		return web.Check{Key: c.Key, Question: web.WithMPH(c.Question), Evidence: c.Evidence, Answer: webAnswer(m.answer(c.Key))}
	})
}

// webSigners says who has signed and who may sign on this phone: the lead's
// goes round, anybody else signs for themselves.
func webSigners(v morningVisit, caller Caller, today bool) (all []web.Signer, whyNot string) {
	switch {
	case v.Snapshot.Assessment == nil:
		whyNot = "There is no risk assessment to sign: the office issues it."
	case !v.Snapshot.Assessment.Approved:
		whyNot = "The risk assessment is not approved yet: the office approves it."
	case !today:
		whyNot = "Signatures are given on the day itself."
	case !v.in || !may(caller.Role, SignOneself):
		whyNot = "Only the crew signs."
	}
	for _, g := range v.signers() {
		w := web.Signer{Person: g.person.ID.String(), Name: g.person.Name, Lead: g.person.Lead, Statement: g.statement, Own: g.person.ID == caller.Person,
			CanSign: whyNot == "" && g.signed == nil && (g.person.ID == caller.Person || v.leads && may(caller.Role, SignForCrew))}
		if b, before := v.Before[g.person.ID]; before {
			w.Before = fmt.Sprintf("Last signed here: version %d, for %s.", b.Version, b.Day.Short())
			w.Changed = b.Changed
		} else if v.Snapshot.Assessment != nil {
			w.Before = "Has not signed at this job before: read the whole assessment."
		}
		if g.signed != nil {
			w.Signed, w.SignedName, w.At = true, g.signed.TypedName, localTime(g.signed.ReceivedAt, v.Snapshot.Location)
			w.Drawn = g.signed.Drawing != ""
		} else if g.lapsed != "" {
			w.Lapsed = capital(g.lapsed) + "."
		}
		all = append(all, w)
	}
	return all, whyNot
}

func webStops(s safety.Snapshot, caller Caller) []web.Stop {
	return mapped(s.Stops, func(w safety.StopWork) web.Stop {
		stop := web.Stop{ID: w.ID.String(), Reason: w.Reason, By: w.By, At: localTime(w.At, s.Location),
			LiftedBy: w.LiftedBy, LiftedAt: localTime(w.LiftedAt, s.Location), LiftWhy: w.LiftWhy}
		switch {
		case !w.Open():
		case w.ByID == caller.Person:
			stop.WhyNot = "Whoever stopped the work cannot lift it."
		default:
			stop.CanLift = true
		}
		return stop
	})
}

// whoLifts says at each open stop whether this person may lift it, by the rule
// by which the lift is refused or taken.
func (s *server) whoLifts(c *gin.Context, caller Caller, v morningVisit, page *web.Morning) error {
	if len(page.OpenStops()) == 0 {
		return nil
	}
	err := s.mayLift(c.Request.Context(), caller, v.Job.ID)
	if err != nil && fault.KindOf(err) != fault.Forbidden {
		return err
	}
	for i := range page.Stops {
		if err != nil && page.Stops[i].CanLift {
			page.Stops[i].CanLift, page.Stops[i].WhyNot = false, "The office lifts a stop, or the lead of a crew that works here today."
		}
	}
	return nil
}

// scaffoldNow sums up the scaffold for the top of the page, from the decision's
// own conditions, so that the two can never disagree.
func scaffoldNow(s safety.Snapshot, d safety.Decision) web.ScaffoldNow {
	now := web.ScaffoldNow{Expected: s.Scaffold.Expected && s.Outdoors, State: web.Met}
	var say []string
	for _, c := range d.Conditions {
		if !slices.Contains([]string{"B01", "B02", "B03", "B04"}, c.Code) || !c.Applies {
			continue
		}
		if st := webState(c.State); st != web.Met {
			say = append(say, c.Sentence())
			if now.State == web.Met || st == web.NotMet {
				now.State = st
			}
		} else if c.Code == "B02" && c.Value != "" {
			say = append([]string{c.Sentence()}, say...)
		}
	}
	now.Say = strings.Join(say, " ")
	for _, r := range s.Scaffold.Reports {
		switch {
		case r.Kind == safety.Handover && r.At.After(now.HandedOver):
			now.HandedOver = localTime(r.At, s.Location)
		case r.Kind == safety.Inspection && r.At.After(now.Inspected):
			now.Inspected = localTime(r.At, s.Location)
		}
		if r.LoadClass > 0 && now.LoadClass == 0 {
			now.LoadClass = r.LoadClass
			now.LoadKNM2, _ = safety.LoadOfClass(r.LoadClass)
		}
	}
	if !now.Inspected.IsZero() {
		now.InspectDue = now.Inspected.AddDate(0, 0, 7)
	}
	return now
}

// checksForm records the briefing.
func (s *server) checksForm(c *gin.Context, caller Caller) error {
	v, err := s.morningOf(c, caller)
	if err != nil {
		return err
	}
	in := BriefingInput{Crew: v.Crew.ID, JobRef: v.Job.Ref, Day: v.Snapshot.Day, Checks: map[string]safety.Answer{}}
	if in.Assessment, err = uuid.Parse(c.PostForm("assessment")); err != nil {
		return badID("assessment", c.PostForm("assessment"))
	}
	var wrong error
	for _, k := range safety.ChecksFor(v.Snapshot) {
		answer := safety.NotLookedAt
		if given := c.PostForm("check_" + k.Key); given != "" {
			if answer, wrong = safety.AnswerFromKey(given); wrong != nil {
				return wrong
			}
		}
		in.Checks[k.Key] = answer
	}
	if in.GustMS, err = gustTyped(c.PostForm("gust_ms")); err == nil {
		_, err = s.HoldBriefing(c.Request.Context(), caller, recordID(c.Request.Context()), in)
	}
	if faults := pageFaults(err, map[string]string{gustLabel: "gust_ms", "gust": "gust_ms"}); faults != nil {
		return s.showMorning(c, caller, v, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.backToMorning(c, v, "briefed")
}

// gustLabel is what the page calls the reading.
const gustLabel = "gust read on site"

// gustTyped reads a gust as people type it: a decimal comma is one.
func gustTyped(s string) (weather.Value, error) {
	s = strings.TrimSpace(s)
	if s == "" {
		return weather.Value{}, nil
	}
	n, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	if err != nil || !(n >= 0 && n < 100) {
		return weather.Value{}, fault.Bad(gustLabel, s, "a number of m/s from 0 to 99, such as 7.5; leave it empty without a reading")
	}
	return weather.Is(n), nil
}

// signForm records one person's signature.
func (s *server) signForm(c *gin.Context, caller Caller) error {
	v, err := s.morningOf(c, caller)
	if err != nil {
		return err
	}
	in, err := signTyped(c)
	if err != nil {
		return err
	}
	in.Crew, in.JobRef, in.Day = v.Crew.ID, v.Job.Ref, v.Snapshot.Day
	_, err = s.SignOff(c.Request.Context(), caller, recordID(c.Request.Context()), in)
	if faults := pageFaults(err, map[string]string{"pin": "pin-" + in.Person.String(), "drawing": "pin-" + in.Person.String()}); faults != nil {
		for i := range faults {
			faults[i].Say = strings.Replace(faults[i].Say, "Pin: ", "PIN: ", 1)
		}
		return s.showMorning(c, caller, v, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.backToMorning(c, v, "signed#sign") // whoever signs next stands beside the phone
}

func signTyped(c *gin.Context) (in SignOffInput, err error) {
	if in.Person, err = uuid.Parse(c.PostForm("person")); err != nil {
		return in, badID("person", c.PostForm("person"))
	}
	if in.Assessment, err = uuid.Parse(c.PostForm("assessment")); err != nil {
		return in, badID("assessment", c.PostForm("assessment"))
	}
	if err = in.BodyHash.UnmarshalText([]byte(c.PostForm("hash"))); err != nil {
		return in, err
	}
	in.PIN, in.Drawing = strings.TrimSpace(c.PostForm("pin")), c.PostForm("drawing")
	if shown := c.PostForm("shown"); shown != "" {
		if err := json.Unmarshal([]byte(shown), &in.Shown); err != nil || len(shown) > 4000 {
			return in, fault.Bad("shown", "", "what the page was about, as the page sends it: load it again")
		}
	}
	if at := c.PostForm("device_at"); at != "" {
		// The device's time is only a claim: one that cannot be read is none.
		if t, err := time.Parse(time.RFC3339, at); err == nil {
			in.DeviceAt = t.UTC()
		}
	}
	return in, nil
}

// stopForm stops the work. It asks for the job and the right to stop, and for
// nothing else: neither a plan nor a visit nor the caller's own crew, any of
// which may be missing on the day on which somebody must stop the work.
func (s *server) stopForm(c *gin.Context, caller Caller) error {
	ref, err := jobAsked(c)
	if err != nil {
		return err
	}
	_, err = s.StopWork(c.Request.Context(), caller, recordID(c.Request.Context()), ref, c.PostForm("reason"))
	return s.afterStop(c, caller, ref, "stopped", err, nil)
}

// liftForm lifts a stop; like stopForm it needs no plan.
func (s *server) liftForm(c *gin.Context, caller Caller) error {
	ref, err := jobAsked(c)
	if err != nil {
		return err
	}
	stop, err := uuid.Parse(c.PostForm("stop"))
	if err != nil {
		return badID("stop", c.PostForm("stop"))
	}
	_, err = s.LiftStop(c.Request.Context(), caller, ref, stop, c.PostForm("why"))
	return s.afterStop(c, caller, ref, "lifted", err, map[string]string{"why": "why-" + stop.String()})
}

// jobAsked gives the reference of the job that a form is about.
func jobAsked(c *gin.Context) (string, error) {
	if ref := c.Query("job"); ref != "" {
		return ref, nil
	}
	return "", fault.Bad("job", "", "the reference of the job")
}

// afterStop goes back to the morning or, where there is none to go back to, to
// the job; what was wrong in the form is said on the morning's page. A morning
// that cannot be read never hides that a stop was recorded.
func (s *server) afterStop(c *gin.Context, caller Caller, ref, what string, err error, renamed map[string]string) error {
	faults := pageFaults(err, renamed)
	if err != nil && faults == nil {
		return err
	}
	v, unread := s.morningOf(c, caller)
	switch {
	case unread == nil && faults != nil:
		return s.showMorning(c, caller, v, refusalOf(err).kind.status, faults)
	case faults != nil:
		return err
	case unread == nil:
		return s.backToMorning(c, v, what)
	}
	return s.done(c, jobHref(ref), what)
}

func (s *server) backToMorning(c *gin.Context, v morningVisit, what string) error {
	c.Redirect(http.StatusSeeOther, morningHref(v.Crew.ID, v.Snapshot.Day)+"?job="+queryPart(v.Job.Ref)+"&done="+what)
	return nil
}
