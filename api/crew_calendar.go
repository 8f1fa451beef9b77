package api

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

// A crew's own visits as a calendar that people subscribe to on their phones.

// calendarPage shows for which crews somebody may have an address.
func (s *server) calendarPage(c *gin.Context, caller Caller) error {
	return s.showCalendar(c, caller, "")
}

func (s *server) showCalendar(c *gin.Context, caller Caller, address string) error {
	crews, err := s.crewsFor(c, caller)
	if err != nil {
		return err
	}
	page := web.Calendar{Sheet: s.sheet(c.Request, caller), Address: address}
	for _, k := range crews {
		page.Crews = append(page.Crews, web.Link{Words: k.Name, Href: "/calendar/" + k.ID.String()})
	}
	return s.show(c, http.StatusOK, page)
}

// crewsFor are all crews for the office, and for others the one they are in.
func (s *server) crewsFor(c *gin.Context, caller Caller) (mine []schedule.Crew, err error) {
	all, err := s.schedule.Crews(c.Request.Context(), caller.Firm)
	today := civil.DateOf(s.now(), caller.Location)
	for _, k := range all {
		if in, _ := inCrew(k, caller.Person, today); k.Active && (in || may(caller.Role, SeeMornings)) {
			mine = append(mine, k)
		}
	}
	return mine, err
}

// calendarForm makes a new address. It is told in the answer itself, since it is
// told once.
func (s *server) calendarForm(c *gin.Context, caller Caller) error {
	crews, err := s.crewsFor(c, caller)
	if err != nil {
		return err
	}
	for _, k := range crews {
		if k.ID.String() != c.Param("crew") {
			continue
		}
		token, err := drawToken()
		if err != nil {
			return err
		}
		if err := s.schedule.NewCrewLink(c.Request.Context(), caller.Firm, k.ID, token, caller.Name, s.now()); err != nil {
			return err
		}
		return s.showCalendar(c, caller, s.CrewFeedAddress(token))
	}
	return fault.Missing("crew", c.Param("crew"))
}

// CrewFeedAddress is where a crew's calendar is served.
func (s *Service) CrewFeedAddress(token string) string {
	return s.baseURL + "/feeds/crew/" + token + ".ics"
}

// crewFeed serves a crew's calendar.
func (s *server) crewFeed(c *gin.Context) {
	body, err := s.crewFeedOf(c)
	if err != nil {
		s.fail(c, err)
		return
	}
	sum := sha256.Sum256(body)
	tag := `"` + hex.EncodeToString(sum[:16]) + `"`
	c.Header("ETag", tag)
	c.Header("Cache-Control", "private, max-age=0, must-revalidate")
	if notModified(c.Request.Header, tag, time.Time{}) {
		c.Status(http.StatusNotModified)
		return
	}
	c.Header("Content-Disposition", `inline; filename="crew.ics"`)
	c.Data(http.StatusOK, "text/calendar; charset=utf-8", body)
}

func (s *server) crewFeedOf(c *gin.Context) ([]byte, error) {
	ctx := c.Request.Context()
	token, ok := strings.CutSuffix(c.Param("file"), ".ics")
	if !ok {
		return nil, fault.Missing("address", "")
	}
	firm, crew, err := s.schedule.CrewByToken(ctx, token)
	if err != nil {
		return nil, err
	}
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return nil, err
	}
	zone, err := f.Location()
	if err != nil {
		return nil, fmt.Errorf("read the firm's zone: %w", err)
	}
	name, err := s.nameOfCrew(c, firm, crew)
	if err != nil {
		return nil, err
	}
	events, err := s.schedule.VisitEvents(ctx, firm, crew)
	if err != nil {
		return nil, err
	}
	jobs, err := s.schedule.Jobs(ctx, firm)
	if err != nil {
		return nil, err
	}
	return schedule.CrewFeed(name+", "+f.Name, events, jobs, f.Hours, civil.DateOf(s.now(), zone)-shownFor, zone).Bytes()
}

func (s *server) nameOfCrew(c *gin.Context, firm, crew uuid.UUID) (string, error) {
	crews, err := s.schedule.Crews(c.Request.Context(), firm)
	if err != nil {
		return "", err
	}
	for _, k := range crews {
		if k.ID == crew {
			return k.Name, nil
		}
	}
	return "", fault.Missing("address", "")
}
