package api

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

// checkInNow is whom the one person of a crew rings, as arranged.
func checkInNow(v morningVisit, now time.Time, action string) web.CheckIn {
	p, alone := safety.AloneToday(v.Snapshot, now)
	if !alone {
		return web.CheckIn{}
	}
	w := web.CheckIn{Who: p.Name, Action: action, Every: "60"}
	if k := safety.CheckInNow(v.Snapshot, p, now); k != nil {
		w.Contact, w.Phone, w.Every, w.IfMissed, w.Email, w.Arranged = k.Contact, k.Phone, strconv.Itoa(k.EveryMin), k.IfMissed, k.Email, true
	}
	return w
}

// loneCall is where the watch over the one person of a crew stands, for them and
// for the office that is rung; the zero value when nobody is watched over.
func loneCall(v morningVisit, now time.Time, caller Caller, action string) web.LoneCall {
	for _, p := range v.Snapshot.People {
		watch := safety.LoneWatchOf(v.Snapshot, p, now)
		if watch.Arranged.ID == uuid.Nil {
			continue
		}
		w := web.LoneCall{Says: capital(watch.Sentence(p.Name, now, v.Snapshot.Location)), Overdue: watch.Overdue(now), Waits: !watch.Due.IsZero(),
			IfMissed: watch.Arranged.IfMissed, Contact: watch.Arranged.Contact, Phone: watch.Arranged.Phone, Own: p.ID == caller.Person}
		if w.Own || may(caller.Role, SeeMornings) {
			w.Action = action
		}
		return w
	}
	return web.LoneCall{}
}

// callForm writes down that somebody who works alone is well, or left.
func (s *server) callForm(c *gin.Context, caller Caller) error {
	crew, err := uuid.Parse(c.Param("crew"))
	if err != nil {
		return badID("crew", c.Param("crew"))
	}
	day, err := civil.Parse(c.Param("date"))
	if err != nil {
		return err
	}
	what := c.PostForm("what")
	if _, err := s.RecordCall(c.Request.Context(), caller, recordID(c.Request.Context()), crew, c.Query("job"), day, what); err != nil {
		return err
	}
	if c.PostForm("back") == "all" {
		return s.done(c, "/morning", "call-"+what)
	}
	return s.done(c, morningHref(crew, day)+"?job="+queryPart(c.Query("job")), "call-"+what)
}

// loneRows lists for the office who works alone and how long they are silent.
func (s *server) loneRows(c *gin.Context, caller Caller) ([]web.LoneCall, error) {
	all, err := s.LoneWorkers(c.Request.Context(), caller.Firm)
	if err != nil {
		return nil, err
	}
	now := s.now()
	return mapped(all, func(w WatchedWorker) web.LoneCall {
		k := w.Watch.Arranged
		here := morningHref(k.Crew, w.Day)
		return web.LoneCall{Says: capital(w.Says), Overdue: w.Watch.Overdue(now), Waits: !w.Watch.Due.IsZero(), IfMissed: k.IfMissed, Contact: k.Contact, Phone: k.Phone,
			Ref: w.Job.Ref, Href: here + "?job=" + queryPart(w.Job.Ref), Place: shortPlace(w.Job.Site.Address), Ring: w.Person.Phone, Action: here + "/call?job=" + queryPart(w.Job.Ref), ID: k.ID.String()}
	}), nil
}

func checkInTyped(c *gin.Context, w *web.CheckIn) {
	w.Contact, w.Phone, w.Every, w.IfMissed, w.Email = c.PostForm("contact"), c.PostForm("phone"), c.PostForm("every_min"), c.PostForm("if_missed"), c.PostForm("email")
}

// checkInForm writes down whom somebody rings who works alone.
func (s *server) checkInForm(c *gin.Context, caller Caller) error {
	v, err := s.morningOf(c, caller)
	if err != nil {
		return err
	}
	var typed web.CheckIn
	checkInTyped(c, &typed)
	k := safety.CheckIn{ID: recordID(c.Request.Context()), Day: v.Snapshot.Day, Contact: typed.Contact, Phone: typed.Phone, IfMissed: typed.IfMissed, Email: typed.Email}
	if k.EveryMin, err = strconv.Atoi(strings.TrimSpace(typed.Every)); err != nil {
		err = fault.Bad("every_min", typed.Every, fmt.Sprintf("a whole number of minutes, %d to %d", safety.OftenestCheckIn, safety.RarestCheckIn))
	} else {
		_, err = s.ArrangeCheckIn(c.Request.Context(), caller, v.Crew.ID, v.Job.Ref, k)
	}
	renamed := map[string]string{}
	for _, field := range []string{"contact", "phone", "every_min", "if_missed", "email"} {
		renamed[field] = "checkin-" + field
	}
	if faults := pageFaults(err, renamed); faults != nil {
		return s.showMorning(c, caller, v, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.backToMorning(c, v, "checkin")
}
