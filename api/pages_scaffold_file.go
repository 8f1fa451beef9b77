package api

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/weather/civil"
	"toeboard/web"
)

func scaffoldHref(ref string) string { return jobHref(ref) + "/scaffold" }

// scaffoldFilePage shows whether a job's scaffold may be used and what is due.
func (s *server) scaffoldFilePage(c *gin.Context, caller Caller) error {
	return s.showScaffoldFile(c, caller, http.StatusOK, nil)
}

func (s *server) showScaffoldFile(c *gin.Context, caller Caller, status int, wrong []web.Fault) error {
	f, j, err := s.ScaffoldFile(c.Request.Context(), caller.Firm, c.Param("ref"))
	if err != nil {
		return err
	}
	own, err := s.safety.FirmHazards(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	loc, now := caller.Location, s.now()
	tag := f.Tag(now, loc)
	page := web.ScaffoldFile{Sheet: s.sheet(c.Request, caller), Ref: j.Ref, Href: jobHref(j.Ref), Tag: web.State(tag.State), TagWords: tag.Words, TagWhy: tag.Why,
		EventGust: fmt.Sprintf("%g m/s", own.EventGust()),
		Duties: mapped(f.Duties(now, loc), func(d safety.Duty) web.DutyRow {
			return web.DutyRow{Rule: d.Rule, Says: d.Says, Source: d.Source, State: web.State(d.State), Word: dutyWord(d.State)}
		}),
		Events: mapped(f.Events, func(e safety.ScaffoldEvent) web.ScaffoldEvent {
			return web.ScaffoldEvent{What: e.What, Detail: e.Detail, By: e.By, At: localTime(e.At, loc)}
		})}
	page.Faults = wrong
	reports := may(caller.Role, ReportFinding)
	if reports {
		page.ReportHref = jobHref(j.Ref) + "#write-report"
	}
	for _, r := range f.Reports {
		row := reportRow(f, r, caller)
		row.Today, row.Now = civil.DateOf(now, loc).String(), now.In(loc).Format("15:04")
		if reports {
			here := scaffoldHref(j.Ref) + "/reports/" + r.ID.String()
			row.RemedyAction = here + "/remedies"
			if row.Delivered == "" {
				row.DeliveryAction = here + "/delivery"
			}
		}
		page.Reports = append(page.Reports, row)
	}
	return s.show(c, status, page)
}

func dutyWord(s safety.State) string { return [...]string{"to do", "late or open", "in order"}[s] }

func reportRow(f safety.ScaffoldFile, r safety.ScaffoldReport, caller Caller) web.ReportRow {
	loc := caller.Location
	row := web.ReportRow{ID: r.ID.String(), Report: webReport(r, loc), Finding: r.Finding()}
	for _, m := range f.Remedies {
		if m.Report == r.ID {
			row.Remedies = append(row.Remedies, web.Pair{Label: "Done " + localTime(m.DoneAt, loc).Format("Mon 2 Jan 15:04"), Say: m.Done + " (" + m.By + ")"})
		}
	}
	if i := slices.IndexFunc(f.Deliveries, func(d safety.Delivery) bool { return d.Report == r.ID }); i >= 0 {
		row.Delivered = "to " + f.Deliveries[i].To + ", " + localTime(f.Deliveries[i].At, loc).Format("Mon 2 Jan 15:04")
	}
	return row
}

// afterScaffold ends a form of this page.
func (s *server) afterScaffold(c *gin.Context, caller Caller, err error, done string) error {
	if faults := pageFaults(err); faults != nil {
		for i := range faults {
			faults[i].Field = "" // each report has the same inputs
		}
		return s.showScaffoldFile(c, caller, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.done(c, scaffoldHref(c.Param("ref")), done)
}

// remedyForm records what was done about a finding.
func (s *server) remedyForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("report"))
	if err != nil {
		return badID("report", c.Param("report"))
	}
	at, err := typedInstant(c.PostForm("done_on"), c.PostForm("done_at"), "done_on", "done_at", caller.Location)
	if err == nil {
		ctx := c.Request.Context()
		_, err = s.RemedyFinding(ctx, caller, recordID(ctx), c.Param("ref"), safety.Remedy{Report: id, Done: strings.TrimSpace(c.PostForm("done")), By: strings.TrimSpace(c.PostForm("done_by")), DoneAt: at})
	}
	return s.afterScaffold(c, caller, err, "remedied")
}

// deliveryForm records that a report was delivered.
func (s *server) deliveryForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("report"))
	if err != nil {
		return badID("report", c.Param("report"))
	}
	at, err := typedInstant(c.PostForm("given_on"), c.PostForm("given_at"), "given_on", "given_at", caller.Location)
	if err == nil {
		_, err = s.DeliverReport(c.Request.Context(), caller, c.Param("ref"), safety.Delivery{Report: id, To: strings.TrimSpace(c.PostForm("given_to")), At: at})
	}
	return s.afterScaffold(c, caller, err, "delivered")
}
