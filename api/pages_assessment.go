package api

import (
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/fault"
	"toeboard/web"
)

func assessmentHref(ref string) string { return jobHref(ref) + "/assessment" }

// assessmentPage shows one job's risk assessment, whole.
func (s *server) assessmentPage(c *gin.Context, caller Caller) error {
	return s.showAssessment(c, caller, http.StatusOK, nil)
}

// showAssessment shows the page, after a form with what was wrong in it.
func (s *server) showAssessment(c *gin.Context, caller Caller, status int, wrong []web.Fault) error {
	f, err := s.AssessmentFile(c.Request.Context(), caller.Firm, c.Param("ref"))
	if err != nil {
		return err
	}
	lib, err := s.Library(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	page := assessmentPageView(f, lib, caller)
	page.Sheet = s.sheet(c.Request, caller)
	page.Faults = wrong
	if c.Request.Method == http.MethodPost {
		assessmentTyped(c, &page)
	}
	return s.show(c, status, page)
}

// assessmentPageView fills the page of an assessment.
func assessmentPageView(f AssessmentFile, lib safety.Library, caller Caller) web.AssessmentPage {
	j, loc := f.Job, caller.Location
	here := assessmentHref(j.Ref)
	page := web.AssessmentPage{Ref: j.Ref, Href: jobHref(j.Ref), Address: j.Site.Address, SumsHref: jobHref(j.Ref) + "/sums",
		Emergency: pairs(safety.EmergencySheet(f.Facts)), Stages: mapped(schedule.StageKinds, stageChoice)}
	body := f.Made
	if v := f.Newest(); v != nil {
		current := *v
		current.FactsNow = f.Facts.Hash()
		page.Assessment = new(webAssessment(current, loc))
		body = v.Body
		for _, d := range safety.Diff(v.Body, f.Made) {
			page.Pending = append(page.Pending, d.Sentence()+".")
		}
		page.ChangesHref = here + "/changes"
		page.Evidence = mapped(body.Entries, evidenceView)
		page.Method = mapped(body.Method, func(m safety.MethodStage) web.MethodStage {
			return web.MethodStage{Stage: strings.ReplaceAll(m.Stage, "_", " "), Steps: m.Steps}
		})
		page.Cautions, page.Library = body.Cautions, body.Library
	}
	page.Aside = pairs(body.Aside)
	page.Likelihood, page.Severity = scale(body.Matrix.Likelihood), scale(body.Matrix.Severity)
	page.Bands = mapped(body.Matrix.Bands, func(b safety.Band) web.Pair {
		return web.Pair{Label: fmt.Sprintf("%d to %d: %s", b.From, b.To, b.Word), Say: b.Action}
	})
	page.Versions = versionRows(f, here, loc)
	page.Open, page.Known = factInputs(f)
	page.Answered = mapped(f.Answers, func(a safety.SurveyAnswer) web.Pair {
		return web.Pair{Label: localTime(a.At, loc).Format("Mon 2 Jan 15:04") + ", " + a.By, Say: answerWords(a)}
	})
	for _, h := range lib.Hazards {
		page.Abouts = append(page.Abouts, web.Choice{Key: h.ID, Words: h.ID + " " + h.Name})
	}
	page.Seen = mapped(f.Site, func(h safety.SiteHazard) web.SeenRow {
		row := web.SeenRow{Code: h.Code(), What: capital(h.What()), Why: h.Why, By: h.By, At: localTime(h.At, loc), Photo: photoLink(h.Photo, h.PhotoSum)}
		if row.Photo.Href != "" && may(caller.Role, SeeRecord) {
			row.Photo.AsSent = row.Photo.Href + "/as-sent"
		}
		if may(caller.Role, ReportFinding) {
			row.RemoveAction = here + "/seen/" + h.ID.String() + "/remove"
		}
		return row
	})
	if may(caller.Role, ReportFinding) {
		page.AnswersAction, page.SeeAction, page.IssueAction = here+"/answers", here+"/seen", here
	}
	if v := f.Newest(); v != nil && !v.Approved && may(caller.Role, Assess) {
		page.ApproveAction = here + "/approve"
	}
	return page
}

func pairs(lines []safety.Line) []web.Pair {
	return mapped(lines, func(l safety.Line) web.Pair { return web.Pair{Label: l.Label, Say: l.Say} })
}

func scale(steps []safety.Step) []web.ScaleStep {
	return mapped(steps, func(s safety.Step) web.ScaleStep {
		return web.ScaleStep{Step: s.Step, Word: s.Word, Meaning: s.Meaning}
	})
}

func evidenceView(e safety.Entry) web.HazardEvidence {
	return web.HazardEvidence{Code: e.Hazard, Say: strings.Join(e.Evidence, "; "),
		Photos: mapped(e.Photos, func(p safety.Photo) web.PhotoLink { return photoLink(p.ID, p.SHA256) })}
}

func photoLink(id uuid.UUID, sum safety.Hash) web.PhotoLink {
	if !sum.Known() {
		return web.PhotoLink{}
	}
	return web.PhotoLink{Href: "/photos/" + id.String(), Sum: sum.Short()}
}

func versionRows(f AssessmentFile, here string, loc *time.Location) []web.VersionRow {
	return mapped(f.Versions, func(v safety.AssessmentInForce) web.VersionRow {
		row := web.VersionRow{Version: v.Version, By: v.MadeBy, At: localTime(v.MadeAt, loc), Approved: v.ApprovedBy, Hash: v.BodyHash.Short()}
		if f.Version(v.Version-1) != nil {
			row.Changes = fmt.Sprintf("%s/changes?from=%d&to=%d", here, v.Version-1, v.Version)
		}
		return row
	})
}

// factInputs gives the facts that are asked for, and those that may be changed
// or told though nothing waits for them.
func factInputs(f AssessmentFile) (open, known []web.FactInput) {
	waits := map[string][]string{}
	for _, q := range safety.Questions(f.Facts) {
		waits[q.Fact] = q.For
	}
	for _, q := range f.Made.Questions { // the firm's own hazards ask too
		waits[q.Fact] = q.For
	}
	for _, d := range safety.FactList() {
		if d.From != safety.FromSurvey && d.From != safety.FromRecord || d.Key == "site_hazards" {
			continue
		}
		in := web.FactInput{Key: d.Key, Ask: d.Ask, Unit: d.Unit, Kind: string(d.Kind),
			Choices: mapped(d.Words, func(w string) web.Choice { return web.Choice{Key: w, Words: strings.ReplaceAll(w, "_", " ")} })}
		switch v, is := f.Facts[d.Key]; {
		case is:
			if in.Value = v.String(); v.Kind == safety.Word {
				in.Value = v.S
			}
			known = append(known, in)
		case len(waits[d.Key]) > 0:
			in.For = "waits for it: " + strings.Join(waits[d.Key], ", ")
			open = append(open, in)
		default: // nothing waits for it, but it may be told
			known = append(known, in)
		}
	}
	return open, known
}

func answerWords(a safety.SurveyAnswer) string {
	read, _ := safety.FactsFrom(a.Answers) // what can no longer be read is told as not known
	var said []string
	for _, d := range safety.FactList() {
		if _, is := a.Answers[d.Key]; is {
			said = append(said, read.Say(d.Key))
		}
	}
	return strings.Join(said, "; ")
}

// assessmentTyped gives back what was typed into the form that was sent.
func assessmentTyped(c *gin.Context, page *web.AssessmentPage) {
	p := c.PostForm
	switch {
	case strings.HasSuffix(c.FullPath(), "/answers"):
		for _, list := range [][]web.FactInput{page.Open, page.Known} {
			for i := range list {
				if typed, sent := c.GetPostForm(list[i].Name()); sent {
					list[i].Value = typed
				}
			}
		}
	case strings.HasSuffix(c.FullPath(), "/seen"):
		page.See = web.SeenForm{About: p("about"), Name: p("site_name"), Seen: p("seen"), Who: p("who"), Evidence: p("evidence"), Stages: c.PostFormArray("stages"),
			BeforeL: p("before_l"), BeforeS: p("before_s"), AfterL: p("after_l"), Avoid: p("avoid"), Prevent: p("prevent"), Mitigate: p("mitigate")}
	}
}

// afterAssessment ends a form of this page.
func (s *server) afterAssessment(c *gin.Context, caller Caller, err error, done string) error {
	if faults := pageFaults(err); faults != nil {
		for i, f := range faults {
			if key, is := strings.CutPrefix(f.Field, "fact "); is {
				faults[i].Field = "fact_" + key
			} else if !slices.Contains([]string{"about", "site_name", "seen", "who", "stages", "before", "after", "controls", "evidence", "file"}, f.Field) {
				faults[i].Field = ""
			}
		}
		return s.showAssessment(c, caller, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.done(c, assessmentHref(c.Param("ref")), done)
}

// answersForm records what somebody found out about the site: only what differs
// from what is known.
func (s *server) answersForm(c *gin.Context, caller Caller) error {
	ctx, ref := c.Request.Context(), c.Param("ref")
	f, err := s.AssessmentFile(ctx, caller.Firm, ref)
	if err != nil {
		return err
	}
	open, known := factInputs(f)
	answers := map[string]any{}
	for _, in := range append(open, known...) {
		typed, sent := c.GetPostForm(in.Name())
		if typed = strings.TrimSpace(typed); !sent || typed == in.Value || in.Value == "" && (typed == "" || typed == "unknown") {
			continue
		}
		answers[in.Key] = typed // "" and "unknown" make it not known
	}
	if len(answers) == 0 {
		return s.done(c, assessmentHref(ref), "")
	}
	err = s.AnswerSurvey(ctx, caller, recordID(ctx), ref, answers)
	return s.afterAssessment(c, caller, err, "answered")
}

// seenForm records a hazard seen on site.
func (s *server) seenForm(c *gin.Context, caller Caller) error {
	photo, err := sentFile(c)
	if err == nil {
		_, err = s.SeeOnSite(c.Request.Context(), caller, recordID(c.Request.Context()), c.Param("ref"), seenTyped(c), photo)
	}
	return s.afterAssessment(c, caller, err, "seen")
}

// sentFile reads the file of a form; nil when none was chosen.
func sentFile(c *gin.Context) ([]byte, error) {
	header, err := c.FormFile("file")
	if err == http.ErrMissingFile {
		return nil, nil
	}
	if err != nil {
		if refusalOf(err).kind == tooLarge {
			return nil, fault.Bad("file", "", "a photo of at most 6 MB")
		}
		return nil, nil // a form without a file part
	}
	if header.Size > safety.LargestPhoto {
		return nil, fault.Bad("file", strconv.FormatInt(header.Size/1024, 10)+" KB", "a photo of at most 6 MB")
	}
	file, err := header.Open()
	if err != nil {
		return nil, fmt.Errorf("read the photo that was sent: %w", err)
	}
	defer file.Close()
	return io.ReadAll(file)
}

func seenTyped(c *gin.Context) safety.SiteHazard {
	p := func(name string) string { return strings.TrimSpace(c.PostForm(name)) }
	h := safety.SiteHazard{About: p("about"), Name: p("site_name"), Why: p("seen"), Evidence: p("evidence"), Controls: controlsTyped(c)}
	if h.About != "" {
		h.Name = ""
		return h
	}
	h.Who, h.Stages = splitList(p("who")), c.PostFormArray("stages")
	h.Before = safety.Score{Likelihood: digit(p("before_l")), Severity: digit(p("before_s"))}
	h.After = safety.Score{Likelihood: digit(p("after_l")), Severity: h.Before.Severity}
	return h
}

// digit reads 1 to 5; anything else is 0, which no score takes.
func digit(s string) int {
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 || n > 5 {
		return 0
	}
	return n
}

func splitList(s string) []string {
	var all []string
	for _, part := range strings.Split(s, ",") {
		if part = strings.TrimSpace(part); part != "" {
			all = append(all, part)
		}
	}
	return all
}

// controlsTyped reads the three boxes, one control a line.
func controlsTyped(c *gin.Context) []safety.Control {
	var all []safety.Control
	for _, step := range []string{"avoid", "prevent", "mitigate"} {
		for line := range strings.Lines(c.PostForm(step)) {
			if line = strings.TrimSpace(line); line != "" {
				all = append(all, safety.Control{Step: step, Do: line})
			}
		}
	}
	return all
}

// awayForm takes away what was seen on site.
func (s *server) awayForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("seen"))
	if err != nil {
		return badID("site hazard", c.Param("seen"))
	}
	err = s.NoLongerOnSite(c.Request.Context(), caller, c.Param("ref"), id, c.PostForm("why"))
	return s.afterAssessment(c, caller, err, "away")
}

// issueHereForm issues a version and stays on the page.
func (s *server) issueHereForm(c *gin.Context, caller Caller) error {
	_, err := s.IssueAssessment(c.Request.Context(), caller.Firm, c.Param("ref"), caller.Name)
	return s.afterAssessment(c, caller, err, "issued")
}

// approveHereForm approves the version that was shown and stays on the page.
func (s *server) approveHereForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.PostForm("assessment"))
	if err != nil {
		return badID("assessment", c.PostForm("assessment"))
	}
	_, err = s.ApproveAssessment(c.Request.Context(), caller.Firm, c.Param("ref"), id, caller.Person)
	return s.afterAssessment(c, caller, err, "approved")
}

// changesPage shows what one version says otherwise than another.
func (s *server) changesPage(c *gin.Context, caller Caller) error {
	f, err := s.AssessmentFile(c.Request.Context(), caller.Firm, c.Param("ref"))
	if err != nil {
		return err
	}
	newest := f.Newest()
	if newest == nil {
		return fault.Missing("version", "1")
	}
	from, to := c.DefaultQuery("from", strconv.Itoa(newest.Version)), c.DefaultQuery("to", "0")
	a, err1 := strconv.Atoi(from)
	b, err2 := strconv.Atoi(to)
	if err1 != nil || err2 != nil {
		return fault.Missing("version", from+" to "+to)
	}
	diff, _, err := s.AssessmentChanges(c.Request.Context(), caller.Firm, c.Param("ref"), a, b)
	if err != nil {
		return err
	}
	page := web.AssessmentChanges{Sheet: s.sheet(c.Request, caller), Ref: f.Job.Ref, Href: assessmentHref(f.Job.Ref), Action: assessmentHref(f.Job.Ref) + "/changes",
		From: from, To: to, Words: fmt.Sprintf("from version %d to version %d", a, b)}
	if b == 0 {
		page.Words = fmt.Sprintf("from version %d to what would be issued now", a)
	}
	page.Tos = []web.Choice{{Key: "0", Words: "what would be issued now"}}
	for _, v := range f.Versions {
		choice := web.Choice{Key: strconv.Itoa(v.Version), Words: fmt.Sprintf("version %d, %s", v.Version, localTime(v.MadeAt, caller.Location).Format("Mon 2 Jan 15:04"))}
		page.Froms, page.Tos = append(page.Froms, choice), append(page.Tos, choice)
	}
	for _, d := range diff {
		page.Rows = append(page.Rows, d.Sentence()+".")
	}
	return s.show(c, http.StatusOK, page)
}

// photoFile shows a kept photo, without where and when the phone says it was
// taken. It is never changed, but it belongs to people who are signed in, so no
// cache keeps it.
func (s *server) photoFile(c *gin.Context, caller Caller) error {
	p, err := s.photoOf(c, caller)
	if err != nil {
		return err
	}
	plain, err := safety.WithoutTraces(p.MediaType, p.Body)
	if err != nil {
		return &fault.Error{Kind: fault.NotFound, Field: "photo", Value: p.ID.String(), Want: "a photo that can be shown: the office has the file as it was sent", Err: err}
	}
	c.Header("Content-Disposition", "inline")
	c.Data(http.StatusOK, p.MediaType, plain)
	return nil
}

// photoAsSent gives the office the file that is kept as evidence: its SHA-256 is
// the one that the record names.
func (s *server) photoAsSent(c *gin.Context, caller Caller) error {
	p, err := s.photoOf(c, caller)
	if err != nil {
		return err
	}
	c.Header("Content-Disposition", `attachment; filename="photo-`+p.SHA256.Short()+"."+strings.TrimPrefix(p.MediaType, "image/")+`"`)
	c.Data(http.StatusOK, p.MediaType, p.Body)
	return nil
}

func (s *server) photoOf(c *gin.Context, caller Caller) (safety.KeptPhoto, error) {
	id, err := uuid.Parse(c.Param("photo"))
	if err != nil {
		return safety.KeptPhoto{}, badID("photo", c.Param("photo"))
	}
	return s.safety.Photo(c.Request.Context(), caller.Firm, id)
}

// sumsPage works out the sums of a job with what was typed.
func (s *server) sumsPage(c *gin.Context, caller Caller) error {
	typed := map[string]string{}
	for _, in := range safety.SumInputs() {
		typed[in.Key] = c.Query(in.Key)
	}
	sums, given, j, err := s.JobSums(c.Request.Context(), caller.Firm, c.Param("ref"), typed)
	page := web.Sums{Sheet: s.sheet(c.Request, caller), Ref: j.Ref, Href: jobHref(j.Ref), Action: jobHref(j.Ref) + "/sums", Caution: safety.SumsDefer}
	status := http.StatusOK
	if err != nil {
		if page.Faults = pageFaults(err); page.Faults == nil {
			return err
		}
		status = refusalOf(err).kind.status
	}
	asked := map[string]bool{} // an input that two sums use is asked once
	for _, sum := range sums {
		row := web.SumRow{Key: sum.Key, Title: sum.Title, Result: sum.Result, Limit: sum.Limit, Says: sum.Says, State: web.State(sum.State), Word: sumWord(sum), Source: sum.Source, Used: pairs(sum.Inputs)}
		for _, in := range safety.SumInputs() {
			if in.Of != sum.Key || asked[in.Key] {
				continue
			}
			asked[in.Key] = true
			value := given.Text(in.Key)
			if page.FaultOf(in.Key) != "" {
				value, row.Open = typed[in.Key], true
			}
			row.Inputs = append(row.Inputs, web.SumInput{Key: in.Key, Name: in.Name, Unit: in.Unit, Value: value,
				Choices: mapped(in.Words, func(w string) web.Choice { return web.Choice{Key: w, Words: strings.ReplaceAll(w, "_", " ")} })})
		}
		page.Rows = append(page.Rows, row)
	}
	return s.show(c, status, page)
}

// sumWord says in one word how a sum came out.
func sumWord(s safety.Sum) string {
	if s.Key == "string" || s.Key == "string_ir" {
		return [...]string{"not yet", "fail", "pass"}[s.State]
	}
	return [...]string{"not yet", "outside", "inside"}[s.State]
}
