package api

import (
	"fmt"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/web"
)

// The office's page of what opens the pages and feeds of scaffold firms.

func (s *server) linksPage(c *gin.Context, caller Caller) error {
	return s.showLinks(c, caller, http.StatusOK, nil, nil)
}

// showLinks shows the page: after an address was made with that address, which is
// told once, and after a form with what was wrong in it.
func (s *server) showLinks(c *gin.Context, caller Caller, status int, made *web.GivenLink, wrong []web.Fault) error {
	all, err := s.PrivateLinks(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	today := civil.DateOf(s.now(), caller.Location)
	page := web.LinksPage{Sheet: s.sheet(c.Request, caller), Given: made, From: webDay(today), To: webDay(today + linkDays)}
	page.Faults = wrong
	for _, o := range all {
		page.Firms = append(page.Firms, s.linkFirm(o, today, caller.Location))
	}
	return s.show(c, status, page)
}

func (s *server) linkFirm(o OpenedBy, today civil.Date, zone *time.Location) web.LinkFirm {
	id := o.Firm.ID.String()
	f := web.LinkFirm{ID: id, Name: o.Firm.Name, Give: "/private-links/firms/" + id, Until: webDay(today + usualLinkDays)}
	for _, l := range o.Links {
		f.Rows = append(f.Rows, s.linkRow(l, today, zone))
		f.Open = f.Open || l.Opens(s.now())
	}
	if n := len(o.Mails); n > 0 {
		f.Open = true
		f.Mails = fmt.Sprintf("%s sent in mails %s, the last until %s.", counted(n, "link", "links"), map[bool]string{true: "opens", false: "open"}[n == 1], lastDay(o.Mails[0], zone).Long())
		f.EndMails = "/private-links/firms/" + id + "/end?which=mails"
		if used := newestUse(o.Mails); !used.IsZero() {
			f.Mails += " Last opened " + used.In(zone).Format("Mon 2 Jan 15:04") + "."
		} else {
			f.Mails += " None was opened yet."
		}
	}
	if f.Open {
		f.EndAll = "/private-links/firms/" + id + "/end?which=all"
	}
	return f
}

func newestUse(links []schedule.Link) (newest time.Time) {
	for _, l := range links {
		if l.LastUsed.After(newest) {
			newest = l.LastUsed
		}
	}
	return newest
}

// lastDay is the last day on which a link opens; NoDate = it has no end.
func lastDay(l schedule.Link, zone *time.Location) civil.Date {
	if l.Expires.IsZero() {
		return civil.NoDate
	}
	return civil.DateOf(l.Expires.Add(-time.Second), zone)
}

func (s *server) linkRow(l schedule.Link, today civil.Date, zone *time.Location) web.LinkRow {
	r := web.LinkRow{ID: l.ID.String(), What: map[schedule.Purpose]string{schedule.ForPage: "Page", schedule.ForFeed: "Calendar feed"}[l.Purpose], Opens: l.Opens(s.now()), Until: webDay(today + usualLinkDays)}
	r.Made = civil.DateOf(l.CreatedAt, zone).Short()
	if l.MadeBy != "" {
		r.Made += " by " + l.MadeBy
	}
	r.Used = "never"
	if !l.LastUsed.IsZero() {
		r.Used = l.LastUsed.In(zone).Format("Mon 2 Jan 15:04")
	}
	last := lastDay(l, zone)
	switch {
	case !l.RevokedAt.IsZero():
		r.State = "ended " + l.RevokedAt.In(zone).Format("Mon 2 Jan 15:04")
		return r
	case !r.Opens:
		r.State = "ran out on " + last.Long()
	case last.Known():
		r.State, r.Until = "opens until "+last.Long(), webDay(last)
	default:
		r.State = "opens until it is ended"
	}
	r.Keep, r.End = "/private-links/"+r.ID+"/until", "/private-links/"+r.ID+"/end"
	return r
}

// giveLinkForm makes a scaffold firm's addresses. They are told in the answer
// itself, since they are told once.
func (s *server) giveLinkForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("firm"))
	if err != nil {
		return badID("scaffold firm", c.Param("firm"))
	}
	until, err := typedDay(c, "until")
	var made PageAndFeed
	if err == nil {
		made, err = s.GiveLink(c.Request.Context(), caller.Firm, id, until, caller.Name)
	}
	if faults := pageFaults(err); faults != nil {
		return s.showLinks(c, caller, refusalOf(err).kind.status, nil, renamed(faults, "until-"+id.String()))
	}
	if err != nil {
		return err
	}
	name, err := s.scaffoldFirmName(c.Request.Context(), caller.Firm, id)
	if err != nil {
		return err
	}
	return s.showLinks(c, caller, http.StatusOK, &web.GivenLink{Firm: name, Page: made.Page, Feed: made.Feed, Until: webDay(until)}, nil)
}

// renamed puts faults of the one input of a form beside that input.
func renamed(faults []web.Fault, input string) []web.Fault {
	for i := range faults {
		if faults[i].Field != "" {
			faults[i].Field = input
		}
	}
	return faults
}

func (s *server) keepLinkForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("link"))
	if err != nil {
		return badID("link", c.Param("link"))
	}
	until, err := typedDay(c, "until")
	if err == nil {
		err = s.KeepLink(c.Request.Context(), caller.Firm, id, until)
	}
	if faults := pageFaults(err); faults != nil {
		return s.showLinks(c, caller, refusalOf(err).kind.status, nil, renamed(faults, "until-"+id.String()))
	}
	if err != nil {
		return err
	}
	return s.done(c, "/private-links", "link-kept")
}

func (s *server) endLinkForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("link"))
	if err != nil {
		return badID("link", c.Param("link"))
	}
	if err := s.schedule.RevokeLink(c.Request.Context(), caller.Firm, id, s.now()); err != nil {
		return err
	}
	return s.done(c, "/private-links", "link-ended")
}

func (s *server) endLinksForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("firm"))
	if err != nil {
		return badID("scaffold firm", c.Param("firm"))
	}
	which, done := schedule.Purpose(""), "links-ended"
	switch c.Query("which") {
	case "mails":
		which, done = schedule.ForMail, "mails-ended"
	case "all":
	default:
		return &refusal{kind: malformed, detail: "the form does not say which links are to end: open the page again"}
	}
	if _, err := s.schedule.RevokeLinks(c.Request.Context(), caller.Firm, id, which, s.now()); err != nil {
		return err
	}
	return s.done(c, "/private-links", done)
}
