package api

import (
	"fmt"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"net/http"

	"toeboard/schedule"
	"toeboard/weather/fault"
	"toeboard/web"
)

// messagesPage tells the office what was told to whom.
func (s *server) messagesPage(c *gin.Context, caller Caller) error {
	return s.showMessages(c, caller, http.StatusOK, nil)
}

func (s *server) showMessages(c *gin.Context, caller Caller, status int, wrong []web.Fault) error {
	ctx := c.Request.Context()
	all, err := s.Messages(ctx, caller.Firm)
	if err != nil {
		return err
	}
	quiet, err := s.QuietHours(ctx, caller.Firm)
	if err != nil {
		return err
	}
	refs, err := s.refsOfBookings(ctx, caller.Firm)
	if err != nil {
		return err
	}
	page := web.MessagesPage{Sheet: s.sheet(c.Request, caller), MailServer: s.mail.Post != nil, SendsTo: s.mail.Folder,
		QuietFrom: dayTime(quiet.From), QuietTo: dayTime(quiet.To)}
	page.Faults = wrong
	if c.Query("all") == "" {
		page.AllHref = "/messages?all=1"
	}
	if may(caller.Role, AnswerBooking) {
		page.QuietAction = "/messages/quiet"
	}
	back, err := s.ReceivedMail(ctx, caller.Firm)
	if err != nil {
		return err
	}
	for _, r := range back {
		page.Received = append(page.Received, web.ReceivedRow{From: r.From, At: r.At.In(caller.Location).Format("Mon 2 Jan 15:04"), Says: r.Says, Taken: r.Taken})
	}
	for _, m := range all {
		row := web.MessageRow{ID: m.ID.String(), To: m.ToName, Address: m.ToAddress, Subject: m.Letter.Subject, What: kindWords(m.Kind),
			State: messageWords(m, page.MailServer, caller.Location), Written: m.WrittenAt.In(caller.Location).Format("Mon 2 Jan 15:04"), By: m.CausedBy, Needs: needsSomebody(m)}
		if needsSomebody(m) || m.Tries > 0 && m.SentAt.IsZero() {
			row.Detail = m.Says
		}
		if sendable(m) && may(caller.Role, AnswerBooking) {
			row.Again = "/messages/" + m.ID.String() + "/again"
		}
		if booking, is := schedule.BookingOfTopic(m.Topic); is && refs[booking] != "" {
			row.Href, row.HrefWords = jobHref(refs[booking]), "Job "+refs[booking]
		}
		page.Rows = append(page.Rows, row)
	}
	return s.show(c, status, page)
}

// againForm lets a message leave once more.
func (s *server) againForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("message"))
	if err != nil {
		return badID("message", c.Param("message"))
	}
	_, err = s.SendAgain(c.Request.Context(), caller.Firm, id, caller.Name)
	if faults := pageFaults(err); faults != nil {
		for i := range faults {
			faults[i].Field = ""
		}
		return s.showMessages(c, caller, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.done(c, "/messages", "sent-again")
}

// quietForm sets the quiet hours.
func (s *server) quietForm(c *gin.Context, caller Caller) error {
	from, badFrom := minuteOfDay("quiet_from", c.PostForm("quiet_from"))
	to, badTo := minuteOfDay("quiet_to", c.PostForm("quiet_to"))
	var faults []web.Fault
	for _, err := range []error{badFrom, badTo} {
		faults = append(faults, pageFaults(err)...)
	}
	if len(faults) > 0 {
		return s.showMessages(c, caller, http.StatusUnprocessableEntity, faults)
	}
	if err := s.SetQuietHours(c.Request.Context(), caller.Firm, from, to); err != nil {
		return err
	}
	return s.done(c, "/messages", "quiet-set")
}

func minuteOfDay(field, typed string) (int, error) {
	t, err := time.Parse("15:04", typed)
	if err != nil {
		return 0, fault.Bad(field, typed, "a time of the day, such as 20:00")
	}
	return t.Hour()*60 + t.Minute(), nil
}

func dayTime(minute int) string { return fmt.Sprintf("%02d:%02d", minute/60, minute%60) }
