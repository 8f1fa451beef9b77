package api

import (
	"context"
	"net/http"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/web"
)

// stopPatience is how long whoever stops a run waits for it to end.
const stopPatience = 2 * time.Second

// budgets are the searches that the page offers, in schedules.
var budgets = []web.Choice{
	{Key: strconv.Itoa(DefaultSchedules), Words: "as usual: 2,000 schedules"},
	{Key: "20000", Words: "longer: 20,000 schedules"},
	{Key: "200000", Words: "long: 200,000 schedules"},
}

func runHref(id uuid.UUID) string { return "/plan/runs/" + id.String() }

// planForm has a draft made. Whoever presses while a run is under way is led to
// that one.
func (s *server) planForm(c *gin.Context, caller Caller) error {
	ctx := c.Request.Context()
	ask := RunAsk{ID: recordID(ctx), By: caller.Name, Seed: defaultSeed, Schedules: DefaultSchedules}
	if given := c.PostForm("schedules"); given != "" {
		n, err := strconv.Atoi(given)
		if err != nil || n < 1 || n > mostSchedules {
			return badRequest(bad("schedules", given, "a whole number from 1 to "+strconv.Itoa(mostSchedules)))
		}
		ask.Schedules = n
	}
	aim, err := schedule.AimFromKey(c.PostForm("aim"))
	if err != nil {
		return err
	}
	ask.Aim = aim
	run, own, err := s.StartRun(ctx, caller.Firm, ask)
	if err != nil {
		return err
	}
	if !own {
		return s.done(c, runHref(run.ID), "underway")
	}
	if run, err = s.Await(ctx, caller.Firm, run.ID, s.times.Form); err != nil {
		return err
	}
	return s.afterRun(c, run)
}

// mostSchedules is the largest budget that the contract allows.
const mostSchedules = 1_000_000

// afterRun leads to what came of a run, or to the run.
func (s *server) afterRun(c *gin.Context, r schedule.Run) error {
	switch {
	case r.State == schedule.RunDone:
		return s.done(c, "/plan", "planned")
	case r.State == schedule.RunStopped && r.Plan != uuid.Nil:
		return s.done(c, "/plan", "kept")
	}
	return s.done(c, runHref(r.ID), "")
}

// stopRunForm ends a run, with its best plan or without.
func (s *server) stopRunForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("run"))
	if err != nil {
		return badID("run", c.Param("run"))
	}
	ctx := c.Request.Context()
	if _, err := s.StopRun(ctx, caller.Firm, id, caller.Name, c.PostForm("keep") == "1"); err != nil {
		return err
	}
	run, err := s.Await(ctx, caller.Firm, id, stopPatience)
	if err != nil {
		return err
	}
	return s.afterRun(c, run)
}

// runPage shows how far a run is. One that is done leads to its proposal.
func (s *server) runPage(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("run"))
	if err != nil {
		return badID("run", c.Param("run"))
	}
	r, err := s.Run(c.Request.Context(), caller.Firm, id)
	if err != nil {
		return err
	}
	if r.State == schedule.RunDone {
		return s.done(c, "/plan", "planned")
	}
	page := s.runPageView(r, caller)
	page.Sheet = s.sheet(c.Request, caller)
	if page.Live() && may(caller.Role, MakePlan) {
		page.Stop = runHref(r.ID) + "/stop"
	}
	return s.show(c, http.StatusOK, page)
}

func (s *server) runPageView(r schedule.Run, caller Caller) web.Run {
	page := web.Run{
		State: web.RunState(r.State), By: r.AskedBy, Since: r.AskedAt.In(caller.Location), Why: r.Why,
		Generated: r.Generated, Schedules: r.Schedules, Workers: r.Workers, Best: (*web.Money)(r.Best), Bound: (*web.Money)(r.Bound),
		Unseen: schedule.InWords(s.times.Unseen), Reason: r.Reason, Back: web.Link{Words: "The week as it is published", Href: "/"},
	}
	if r.Ended() {
		page.Until = r.EndedAt.In(caller.Location)
		page.Proposal = web.Link{Words: "Plan again", Href: "/plan"}
	}
	if r.Plan != uuid.Nil {
		page.Proposal.Words = "Look at the proposal"
	}
	return page
}

// underWayLink leads to the run that is under way, if there is one.
func (s *server) underWayLink(ctx context.Context, caller Caller) (web.Link, error) {
	r, err := s.RunUnderWay(ctx, caller.Firm)
	if err != nil || r == nil {
		return web.Link{}, err
	}
	return web.Link{Words: runSince(*r, s.now(), caller.Location) + ": look at it", Href: runHref(r.ID)}, nil
}
