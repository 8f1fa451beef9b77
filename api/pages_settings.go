package api

import (
	"errors"
	"net/http"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

// What the office sets for the planner: rates, and pins.

// ratesPage shows the rates in force and who set which.
func (s *server) ratesPage(c *gin.Context, caller Caller) error {
	return s.showRates(c, caller, nil, nil)
}

// showRates shows the form as it is in force, or as it was typed.
func (s *server) showRates(c *gin.Context, caller Caller, typed map[string]string, wrong error) error {
	ctx := c.Request.Context()
	in, err := s.schedule.Rates(ctx, caller.Firm)
	if err != nil {
		return err
	}
	before, err := s.schedule.RatesHistory(ctx, caller.Firm)
	if err != nil {
		return err
	}
	page := web.Rates{Sheet: s.sheet(c.Request, caller), Action: "/settings/rates", Version: in.Version, SetBy: in.SetBy, SetAt: momentWords(in.SetAt, caller)}
	for _, f := range schedule.RateFields {
		value := f.Text(in.Rates)
		if typed != nil {
			value = typed[f.Key]
		}
		page.Inputs = append(page.Inputs, web.RateInput{Key: f.Key, Name: capital(f.Name), For: f.For, Unit: string(f.Unit), Value: value})
	}
	for i, changes := range ratesChanges(before) {
		v := before[i]
		page.Before = append(page.Before, web.RatesBefore{Version: v.Version, By: v.SetBy, At: momentWords(v.SetAt, caller), Says: changes})
	}
	if wrong == nil {
		return s.show(c, http.StatusOK, page)
	}
	if page.Faults = pageFaults(wrong, rateInputs()); page.Faults == nil {
		return wrong
	}
	return s.show(c, refusalOf(wrong).kind.status, page)
}

// rateInputs gives by a rate's name the input in which it is typed.
func rateInputs() map[string]string {
	inputs := map[string]string{}
	for _, f := range schedule.RateFields {
		inputs[f.Name] = f.Key
	}
	return inputs
}

func momentWords(t time.Time, caller Caller) string {
	if t.IsZero() {
		return ""
	}
	return t.In(caller.Location).Format("Mon 2 Jan 2006, 15:04")
}

// ratesForm stores what was typed as the next version.
func (s *server) ratesForm(c *gin.Context, caller Caller) error {
	in, err := s.schedule.Rates(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	r := in.Rates // what cannot be read stays, so that the rest can be checked beside it
	var faults []error
	typed := map[string]string{}
	for _, f := range schedule.RateFields {
		typed[f.Key] = c.PostForm(f.Key)
		if err := f.Set(&r, typed[f.Key]); err != nil {
			faults = append(faults, err)
		}
	}
	version, err := strconv.Atoi(c.PostForm("version"))
	if err != nil {
		faults = append(faults, fault.Bad("version", c.PostForm("version"), "the version that the page showed"))
	}
	if len(faults) > 0 {
		return s.showRates(c, caller, typed, errors.Join(append(faults, r.Check())...))
	}
	if _, err := s.schedule.SetRates(c.Request.Context(), caller.Firm, r, version, caller.Name, s.now()); err != nil {
		return s.showRates(c, caller, typed, err)
	}
	return s.done(c, "/settings/rates", "rates")
}

// ---------------------------------------------------------------- pins

// pinsPage lists what people fixed; with costs=1 also what each costs.
func (s *server) pinsPage(c *gin.Context, caller Caller) error {
	return s.showPins(c, caller, web.PinForm{Job: c.Query("job"), Stage: c.Query("stage"), On: web.Day(c.Query("on"))}, nil)
}

func (s *server) showPins(c *gin.Context, caller Caller, asked web.PinForm, wrong error) error {
	costs := c.Query("costs") != ""
	fates, err := s.pinFates(c.Request.Context(), caller.Firm, costs)
	if err != nil {
		return err
	}
	snap := fates.snap
	page := web.Pins{Sheet: s.sheet(c.Request, caller), Action: "/pins", Asked: asked,
		Kinds: mapped(schedule.PinKinds, func(k schedule.PinKind) web.Choice {
			return web.Choice{Key: string(k), Words: pinKindWords[k]}
		}), Stages: mapped(schedule.StageKinds, stageChoice)}
	for _, j := range snap.Jobs {
		page.Jobs = append(page.Jobs, web.Choice{Key: j.Ref, Words: j.Ref + ", " + shortPlace(j.Site.Address)})
	}
	for _, x := range snap.Crews {
		page.Whos = append(page.Whos, web.Choice{Key: x.ID.String(), Words: x.Name + " (" + x.Trade.String() + ")"})
	}
	for _, x := range snap.ScaffoldFirms {
		page.Whos = append(page.Whos, web.Choice{Key: x.ID.String(), Words: x.Name + " (scaffold)"})
	}
	page.Rows = pinRows(fates, costs, caller)
	if len(page.Rows) > 0 && fates.plan != nil && !costs {
		page.CostsHref = "/pins?costs=1"
	}
	if wrong == nil {
		return s.show(c, http.StatusOK, page)
	}
	if page.Faults = pageFaults(wrong, map[string]string{"kind": "pin", "day": "on"}); page.Faults == nil {
		return wrong
	}
	return s.show(c, refusalOf(wrong).kind.status, page)
}

var pinKindWords = map[schedule.PinKind]string{
	schedule.PinStart: "the stage starts in a half-day", schedule.PinOn: "the stage starts on a day", schedule.PinNotBefore: "it starts not before a day",
	schedule.PinNotAfter: "it is over by a day", schedule.PinBy: "a crew or scaffold firm does it", schedule.PinNotBy: "a crew or scaffold firm does not do it",
	schedule.PinStays: "the whole job stays as published", schedule.PinLeftOut: "the whole job is left out",
}

func pinRows(fates pinFates, costs bool, caller Caller) (rows []web.PinRow) {
	d := newDirectory(fates.snap.Jobs, fates.snap.Crews, fates.snap.ScaffoldFirms)
	for _, f := range fates.pins() {
		p, ref := f.Pin, d.jobs[f.Pin.Job].Ref
		row := web.PinRow{ID: p.ID.String(), Ref: ref, Href: jobHref(ref), What: p.Words(d.name), Why: p.Why, By: p.SetBy, At: momentWords(p.SetAt, caller),
			Says: f.PinState.Why, Remove: "/pins/" + p.ID.String() + "/remove"}
		if fates.plan != nil {
			row.State = capital(f.Answer.String())
		}
		if ref == "" {
			row.Ref, row.Href = "a job that is closed", "/jobs"
		}
		if costs && fates.plan != nil {
			row.Cost = costWords(f.cost)
		}
		rows = append(rows, row)
	}
	return rows
}

// costWords says what a pin costs; nil = not known.
func costWords(more *schedule.Pence) string {
	switch {
	case more == nil:
		return "What it costs could not be worked out in time."
	case *more > 0:
		return "It costs " + more.String() + ": a quick search finds a plan that much cheaper without it."
	default:
		return "A quick search finds no cheaper plan without it."
	}
}

// pinForm keeps what a person fixed.
func (s *server) pinForm(c *gin.Context, caller Caller) error {
	f := c.PostForm
	asked := web.PinForm{Job: f("job"), Pin: f("pin"), Stage: f("stage"), Who: f("who"), Half: f("half"), Why: f("why"), On: web.Day(f("on"))}
	p, err := typedPin(asked)
	if err == nil {
		p.SetBy, p.SetAt = caller.Name, s.now()
		_, err = s.schedule.SetPin(c.Request.Context(), caller.Firm, asked.Job, p)
	}
	if err != nil {
		return s.showPins(c, caller, asked, err)
	}
	return s.done(c, "/pins", "pinned")
}

func typedPin(f web.PinForm) (p schedule.Pin, err error) {
	p = schedule.Pin{Kind: schedule.PinKind(f.Pin), Why: f.Why, On: civil.NoDate}
	if f.Stage != "" && p.Kind != schedule.PinStays && p.Kind != schedule.PinLeftOut {
		if p.Stage, err = schedule.StageFromKey(f.Stage); err != nil {
			return p, err
		}
	}
	if p.Kind.HasDay() && f.On != "" {
		if p.On, err = civil.Parse(string(f.On)); err != nil {
			return p, fault.Bad("on", string(f.On), "a day, such as 2026-12-31")
		}
	}
	if p.Kind.HasWho() && f.Who != "" {
		if p.Who, err = uuid.Parse(f.Who); err != nil {
			return p, fault.Bad("who", f.Who, "a crew or a scaffold firm of the list")
		}
	}
	if f.Half == "pm" {
		p.Half = civil.Afternoon
	}
	return p, nil
}

// removePinForm takes a pin away.
func (s *server) removePinForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("pin"))
	if err != nil {
		return fault.Missing("pin", c.Param("pin"))
	}
	if err := s.schedule.RemovePin(c.Request.Context(), caller.Firm, id, caller.Name, "", s.now()); err != nil {
		return err
	}
	return s.done(c, "/pins", "unpinned")
}
