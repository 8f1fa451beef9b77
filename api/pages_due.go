package api

import (
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/web"
)

// duePage shows the office what must be sent.
func (s *server) duePage(c *gin.Context, caller Caller) error {
	return s.showDue(c, caller, http.StatusOK, nil)
}

func (s *server) showDue(c *gin.Context, caller Caller, status int, wrong []web.Fault) error {
	all, today, err := s.Due(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	page := web.DueList{Sheet: s.sheet(c.Request, caller)}
	page.Faults = wrong
	for i, d := range all {
		row := web.DueRow{ID: strconv.Itoa(i), Code: d.Code, Ref: d.JobRef, Href: jobHref(d.JobRef), Words: d.Words, Who: d.Who, Says: d.Sentence(today), Began: d.Began.Short(),
			Clock: d.Clock, Evidence: d.Evidence, Source: d.Source, Overdue: d.Overdue(today)}
		if d.Sent.Known() {
			page.Sent = append(page.Sent, row)
			continue
		}
		row.Action = "/due/" + pathPart(d.JobRef)
		if d.Incident != uuid.Nil {
			row.Incident = d.Incident.String()
		}
		if len(wrong) > 0 && d.JobRef == c.Param("ref") && d.Code == c.PostForm("duty") && row.Incident == c.PostForm("incident") {
			row.Open, row.SentTo, row.Reference = true, c.PostForm("sent_to"), c.PostForm("reference")
			for n := range page.Faults {
				page.Faults[n].Field = map[string]string{"sent_to": "sent-" + row.ID, "reference": "ref-" + row.ID}[page.Faults[n].Field]
			}
		}
		if row.Overdue {
			page.Overdue++
		}
		page.Open = append(page.Open, row)
	}
	return s.show(c, status, page)
}

// sentForm records that something was sent.
func (s *server) sentForm(c *gin.Context, caller Caller) error {
	body := safety.Fields{"duty": c.PostForm("duty"), "sent_to": strings.TrimSpace(c.PostForm("sent_to")), "reference": strings.TrimSpace(c.PostForm("reference"))}
	if incident := c.PostForm("incident"); incident != "" {
		body["incident"] = incident
	}
	_, err := s.AddRecord(c.Request.Context(), caller, recordID(c.Request.Context()), c.Param("ref"), safety.Notification, time.Time{}, body, nil)
	if faults := pageFaults(err, nil); faults != nil {
		return s.showDue(c, caller, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.done(c, "/due", "sent")
}
