package api

import (
	"context"
	"errors"
	"net/http"
	"slices"
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
	for i, v := range before {
		older := schedule.DefaultRates()
		if i+1 < len(before) {
			older = before[i+1].Rates
		}
		page.Before = append(page.Before, web.RatesBefore{Version: v.Version, By: v.SetBy, At: momentWords(v.SetAt, caller), Says: v.Changes(older)})
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
	var r schedule.Rates
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
		return s.showRates(c, caller, typed, errors.Join(faults...))
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

// mostPinDays is how far the plan looks whose pins are judged when none is
// published.
const mostPinDays = 84

func (s *server) showPins(c *gin.Context, caller Caller, asked web.PinForm, wrong error) error {
	ctx := c.Request.Context()
	plan, err := s.current(ctx, caller.Firm)
	if err != nil {
		return err
	}
	days := mostPinDays
	if plan != nil {
		days = plan.Days
	}
	snap, err := s.Snapshot(ctx, caller.Firm, days)
	if err != nil {
		return err
	}
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
	page.Rows = pinRows(snap, plan, caller)
	if len(page.Rows) > 0 && plan != nil {
		if page.CostsHref = "/pins?costs=1"; c.Query("costs") != "" {
			page.CostsHref = ""
			pinCosts(ctx, snap, page.Rows)
		}
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

func pinRows(snap schedule.Snapshot, plan *schedule.Plan, caller Caller) (rows []web.PinRow) {
	names, refs := map[uuid.UUID]string{}, map[uuid.UUID]string{}
	for _, x := range snap.Crews {
		names[x.ID] = x.Name
	}
	for _, x := range snap.ScaffoldFirms {
		names[x.ID] = x.Name
	}
	for _, j := range snap.Jobs {
		refs[j.ID] = j.Ref
	}
	states := make([]schedule.PinState, len(snap.Pins))
	if plan != nil {
		states = schedule.PinStates(snap, *plan)
	}
	for i, p := range snap.Pins {
		row := web.PinRow{ID: p.ID.String(), Ref: refs[p.Job], Href: jobHref(refs[p.Job]), What: p.Words(func(id uuid.UUID) string { return names[id] }),
			Why: p.Why, By: p.SetBy, At: momentWords(p.SetAt, caller), Says: "No plan is published yet.", Remove: "/pins/" + p.ID.String() + "/remove"}
		if plan != nil {
			row.State, row.Says = capital(states[i].Answer.String()), states[i].Why
		}
		if row.Ref == "" {
			row.Ref, row.Href = "a job that is closed", "/jobs"
		}
		rows = append(rows, row)
	}
	return rows
}

// pinCosts works out what each pin costs, for at most a few seconds.
func pinCosts(ctx context.Context, snap schedule.Snapshot, rows []web.PinRow) {
	ctx, stop := context.WithTimeout(ctx, 8*time.Second)
	defer stop()
	costs, err := schedule.PinCosts(ctx, snap, 150, 1)
	for i := range rows {
		switch at := slices.IndexFunc(costs, func(c schedule.PinCost) bool { return c.Pin.String() == rows[i].ID }); {
		case err != nil || at < 0:
			rows[i].Cost = "What it costs could not be worked out in time."
		case costs[at].More > 0:
			rows[i].Cost = "It costs " + costs[at].More.String() + ": a quick search finds a plan that much cheaper without it."
		default:
			rows[i].Cost = "A quick search finds no cheaper plan without it."
		}
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
