package api

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"toeboard/safety"
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
		w.Contact, w.Phone, w.Every, w.IfMissed, w.Arranged = k.Contact, k.Phone, strconv.Itoa(k.EveryMin), k.IfMissed, true
	}
	return w
}

func checkInTyped(c *gin.Context) (contact, phone, every, ifMissed string) {
	return c.PostForm("contact"), c.PostForm("phone"), c.PostForm("every_min"), c.PostForm("if_missed")
}

// checkInForm writes down whom somebody rings who works alone.
func (s *server) checkInForm(c *gin.Context, caller Caller) error {
	v, err := s.morningOf(c, caller)
	if err != nil {
		return err
	}
	contact, phone, every, ifMissed := checkInTyped(c)
	k := safety.CheckIn{ID: recordID(c.Request.Context()), Day: v.Snapshot.Day, Contact: contact, Phone: phone, IfMissed: ifMissed}
	if k.EveryMin, err = strconv.Atoi(strings.TrimSpace(every)); err != nil {
		err = fault.Bad("every_min", every, fmt.Sprintf("a whole number of minutes, %d to %d", safety.OftenestCheckIn, safety.RarestCheckIn))
	} else {
		_, err = s.ArrangeCheckIn(c.Request.Context(), caller, v.Crew.ID, v.Job.Ref, k)
	}
	renamed := map[string]string{}
	for _, field := range []string{"contact", "phone", "every_min", "if_missed"} {
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
