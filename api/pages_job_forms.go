package api

import (
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

// What the office learns of a job from day to day: how far a stage has come,
// what became of a consent, whether the kit is there. Each form tells one
// thing; a plan that is made afterwards knows it.

// offerChanges fills in the forms that a person may send.
func offerChanges(page *web.JobPage, f JobFile, caller Caller, today civil.Date) {
	here := jobHref(f.Job.Ref)
	for _, st := range f.Job.Stages {
		if mayTell(f, caller, st.Kind, today) {
			page.StageChoices = append(page.StageChoices, stageChoice(st.Kind))
		}
		page.WaitingChoices = append(page.WaitingChoices, stageChoice(st.Kind))
	}
	if len(page.StageChoices) > 0 {
		page.ProgressAction = here + "/progress"
	}
	if f.Plan != nil && may(caller.Role, SeePlans) {
		for i, st := range f.Job.Stages {
			if st.State != schedule.StateDone && i < len(page.Stages) {
				page.Stages[i].WhyHref = whyHref(f.Job.Ref, st.Kind, false)
			}
		}
	}
	if may(caller.Role, ChangeJobs) {
		page.ConsentAction, page.KitAction = here+"/consents", here+"/kit"
		page.ConfirmAction, page.PinHref = here+"/confirmations", "/pins?job="+queryPart(f.Job.Ref)
		if page.ToldNow = "yes"; f.Job.PromiseTold {
			page.ToldNow = "no"
		}
		if f.Job.PromisedOn.Known() {
			page.ToldAction = here + "/promise"
		}
	}
	page.ConsentChoices = mapped(schedule.ConsentKinds, func(k schedule.ConsentKind) web.Choice {
		return web.Choice{Key: string(k), Words: k.Words()}
	})
	if f.Job.PromisedOn.Known() {
		if page.Told = "the customer was not told yet"; f.Job.PromiseTold {
			page.Told = "and the customer was told"
		}
	}
	page.Confirmed = mapped(f.Job.Confirmed, func(c schedule.Confirmation) string { return c.Stage.String() + " on " + c.On.Short() })
	page.Progress.On, page.KitChange.On = webDay(today), webDay(today)
}

func stageChoice(k schedule.StageKind) web.Choice {
	return web.Choice{Key: k.Key(), Words: k.String()}
}

// mayTell tells whether a person may say how far a stage has come: the office
// of every stage, a crew lead of those that the published plan gives to the
// crew they lead today.
func mayTell(f JobFile, caller Caller, k schedule.StageKind, today civil.Date) bool {
	switch {
	case !may(caller.Role, TellProgress):
		return false
	case caller.Role == schedule.Office:
		return true
	case f.Plan == nil:
		return false
	}
	return slices.ContainsFunc(f.Plan.Visits, func(v schedule.Visit) bool {
		_, leads := inCrew(f.crews[v.Crew], caller.Person, today)
		return leads && v.Job == f.Job.ID && v.Stage == k
	})
}

// changesTyped gives back what was typed into the form that was sent.
func changesTyped(c *gin.Context, page *web.JobPage) {
	if c.Request.Method != http.MethodPost {
		return
	}
	p := c.PostForm
	switch c.FullPath() {
	case "/jobs/:ref/progress":
		page.Progress = web.ProgressForm{Stage: p("stage"), Progress: p("progress"), On: web.Day(p("stage_on"))}
	case "/jobs/:ref/consents":
		page.Consent = web.ConsentForm{Consent: p("consent"), State: p("consent_state"), Stage: p("consent_stage"), On: web.Day(p("consent_on"))}
	case "/jobs/:ref/kit":
		page.KitChange = web.KitForm{Item: p("item"), Quantity: p("quantity"), State: p("kit_state"), On: web.Day(p("kit_on"))}
	}
}

// changeInputs are the inputs of these forms.
var changeInputs = []string{"stage", "progress", "stage_on", "consent", "consent_state", "consent_on", "consent_stage", "item", "quantity",
	"kit_state", "kit_on", "confirm_stage", "confirm_on"}

// afterChange ends one of these forms: back to the job with a word for what was
// done, or the page again with what is wrong. What a store calls a field is
// renamed to the input where it was typed.
func (s *server) afterChange(c *gin.Context, caller Caller, err error, done string, renamed map[string]string) error {
	if faults := pageFaults(err, renamed); faults != nil {
		for i, f := range faults {
			if !slices.Contains(changeInputs, f.Field) {
				faults[i].Field = "" // the list at the top says it and leads nowhere
			}
		}
		return s.showJob(c, caller, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.done(c, jobHref(c.Param("ref")), done)
}

// progressForm records that a stage was started or is done.
func (s *server) progressForm(c *gin.Context, caller Caller) error {
	err := s.tellProgress(c, caller)
	return s.afterChange(c, caller, err, "progress", map[string]string{"day": "stage_on", "started on": "stage_on", "done on": "stage_on",
		"erected on": "stage_on", "struck on": "stage_on"})
}

func (s *server) tellProgress(c *gin.Context, caller Caller) error {
	ctx, ref := c.Request.Context(), c.Param("ref")
	f, err := s.JobFile(ctx, caller.Firm, ref)
	if err != nil {
		return err
	}
	kind, err := schedule.StageFromKey(c.PostForm("stage"))
	if _, has := f.Job.Stage(kind); err != nil || !has {
		return fault.Bad("stage", c.PostForm("stage"), "choose one of the job's stages")
	}
	on, err := typedDay(c, "stage_on")
	if err != nil {
		return err
	}
	if !mayTell(f, caller, kind, civil.DateOf(s.now(), caller.Location)) {
		return &fault.Error{Kind: fault.Forbidden, Field: kind.String(),
			Want: "the office tells its progress, and the lead of the crew to which the published plan gives it"}
	}
	switch c.PostForm("progress") {
	case "started":
		return s.schedule.StageStarted(ctx, caller.Firm, ref, kind, on, s.now())
	case "done":
		return s.schedule.StageDone(ctx, caller.Firm, ref, kind, on, caller.Name, s.now())
	}
	return fault.Bad("progress", c.PostForm("progress"), "started or done: choose one")
}

// typedDay reads a day that must be given.
func typedDay(c *gin.Context, field string) (civil.Date, error) {
	typed := strings.TrimSpace(c.PostForm(field))
	d, err := civil.Parse(typed)
	if err != nil {
		return civil.NoDate, fault.Bad(field, typed, "a day as 2026-12-31")
	}
	return d, nil
}

// pastDay reads a day that must have come.
func (s *server) pastDay(c *gin.Context, caller Caller, field string) (civil.Date, error) {
	d, err := typedDay(c, field)
	if today := civil.DateOf(s.now(), caller.Location); err == nil && d > today {
		err = fault.Bad(field, d.String(), "a day that has come: today is "+today.Long())
	}
	return d, err
}

// comingDay reads a day on which something is expected. One that is past says
// nothing any more.
func (s *server) comingDay(c *gin.Context, caller Caller, field string) (civil.Date, error) {
	d, err := typedDay(c, field)
	if today := civil.DateOf(s.now(), caller.Location); err == nil && d < today {
		err = fault.Bad(field, d.String(), "a day from today, "+today.Long()+", on")
	}
	return d, err
}

// consentForm records how a consent stands.
func (s *server) consentForm(c *gin.Context, caller Caller) error {
	consent, err := s.consentTyped(c, caller)
	if err == nil {
		err = s.schedule.SaveConsent(c.Request.Context(), caller.Firm, c.Param("ref"), consent)
	}
	words := consent.Kind.Words()
	return s.afterChange(c, caller, err, "consent", map[string]string{words: "consent", words + " stage": "consent_stage",
		words + " expected on": "consent_on", words + " granted on": "consent_on"})
}

func (s *server) consentTyped(c *gin.Context, caller Caller) (schedule.Consent, error) {
	j, err := s.schedule.Job(c.Request.Context(), caller.Firm, c.Param("ref"))
	if err != nil {
		return schedule.Consent{}, err
	}
	kind := schedule.ConsentKind(c.PostForm("consent"))
	if !slices.Contains(schedule.ConsentKinds, kind) {
		return schedule.Consent{}, fault.Bad("consent", string(kind), "choose a consent from the list")
	}
	k := schedule.Consent{Kind: kind, ExpectedOn: civil.NoDate, GrantedOn: civil.NoDate}
	for _, known := range j.Consents {
		if known.Kind == kind {
			k = known
		}
	}
	if typed := c.PostForm("consent_stage"); typed != "" || k.Stage == schedule.StageUnknown {
		if k.Stage, err = schedule.StageFromKey(typed); err != nil {
			return k, fault.Bad("consent_stage", typed, "choose the stage that waits for this consent")
		}
	}
	err = s.consentStands(c, caller, &k)
	return k, err
}

// consentStands reads state and day. A day means what the state makes of it:
// granted on, or expected on. Nothing is expected of a refused consent.
func (s *server) consentStands(c *gin.Context, caller Caller, k *schedule.Consent) (err error) {
	k.State, k.GrantedOn = schedule.ConsentState(c.PostForm("consent_state")), civil.NoDate
	given := strings.TrimSpace(c.PostForm("consent_on")) != ""
	switch k.State {
	case schedule.ConsentGranted:
		k.GrantedOn, err = s.pastDay(c, caller, "consent_on")
	case schedule.ConsentWanted, schedule.ConsentApplied:
		if k.ExpectedOn = civil.NoDate; given {
			k.ExpectedOn, err = s.comingDay(c, caller, "consent_on")
		}
	case schedule.ConsentRefused:
		if k.ExpectedOn = civil.NoDate; given {
			err = fault.Bad("consent_on", c.PostForm("consent_on"), "leave it empty: a refused consent is not expected; apply again first")
		}
	default:
		err = fault.Bad("consent_state", string(k.State), "wanted, applied for, granted or refused: choose one")
	}
	return err
}

// kitForm records where an item of kit is.
func (s *server) kitForm(c *gin.Context, caller Caller) error {
	kit, err := s.kitTyped(c, caller)
	if err == nil {
		err = s.schedule.SaveKit(c.Request.Context(), caller.Firm, c.Param("ref"), kit)
	}
	field := "kit " + kit.Item // as the store names it
	return s.afterChange(c, caller, err, "kit", map[string]string{field: "item", field + " quantity": "quantity", field + " due": "kit_on",
		field + " arrived": "kit_on", "kit": "item"})
}

// promiseForm records that the customer was told the promised day, or not.
func (s *server) promiseForm(c *gin.Context, caller Caller) error {
	err := s.schedule.TellPromise(c.Request.Context(), caller.Firm, c.Param("ref"), c.PostForm("told") == "yes")
	return s.afterChange(c, caller, err, "told", nil)
}

// confirmVisitForm records a day that the customer confirmed for a stage.
func (s *server) confirmVisitForm(c *gin.Context, caller Caller) error {
	stage, err := schedule.StageFromKey(c.PostForm("confirm_stage"))
	on := civil.NoDate
	if text := c.PostForm("confirm_on"); err == nil && text != "" {
		if on, err = civil.Parse(text); err != nil {
			err = fault.Bad("confirm_on", text, "a day, such as 2026-12-31")
		}
	}
	if err == nil {
		err = s.schedule.ConfirmVisit(c.Request.Context(), caller.Firm, c.Param("ref"), stage, on, caller.Name, s.now())
	}
	return s.afterChange(c, caller, err, "agreed", map[string]string{"stage": "confirm_stage", "confirmed for": "confirm_on"})
}

func (s *server) kitTyped(c *gin.Context, caller Caller) (schedule.Kit, error) {
	j, err := s.schedule.Job(c.Request.Context(), caller.Firm, c.Param("ref"))
	if err != nil {
		return schedule.Kit{}, err
	}
	k := schedule.Kit{Item: strings.TrimSpace(c.PostForm("item")), DueOn: civil.NoDate, ArrivedOn: civil.NoDate}
	if k.Item == "" {
		return k, fault.Bad("item", "", "what it is, such as 430 W modules")
	}
	for _, known := range j.Kit {
		if known.Item == k.Item {
			k = known
		}
	}
	if typed := strings.TrimSpace(c.PostForm("quantity")); typed != "" || k.Quantity == 0 {
		if k.Quantity, err = strconv.Atoi(typed); err != nil {
			return k, fault.Bad("quantity", typed, "a whole number from 1 to 10000")
		}
	}
	err = s.kitStands(c, caller, &k)
	return k, err
}

func (s *server) kitStands(c *gin.Context, caller Caller, k *schedule.Kit) (err error) {
	k.ArrivedOn = civil.NoDate
	switch state := c.PostForm("kit_state"); state {
	case "arrived":
		k.ArrivedOn, err = s.pastDay(c, caller, "kit_on")
	case "due":
		k.DueOn, err = s.comingDay(c, caller, "kit_on")
	case "unknown":
		k.DueOn = civil.NoDate
	default:
		err = fault.Bad("kit_state", state, "arrived, due or not known: choose one")
	}
	return err
}
