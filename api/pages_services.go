package api

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"toeboard/weather"
	"toeboard/weather/archive"
	"toeboard/weather/fault"
	"toeboard/web"
)

// servicesPage shows which weather services count, and when each last answered.
func (s *server) servicesPage(c *gin.Context, caller Caller) error {
	return s.showServices(c, caller, nil, nil)
}

// showServices shows the form as it is in force, or as it was typed.
func (s *server) showServices(c *gin.Context, caller Caller, typed *web.ServicesForm, wrong error) error {
	in, err := s.servicesInForce(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	page := web.WeatherServices{Sheet: s.sheet(c.Request, caller), Version: in.Version, Says: s.usedWords(in.Services),
		Asked: web.ServicesForm{Order: in.Order, Together: string(in.Together)}}
	if may(caller.Role, SetLimits) {
		page.Action = "/settings/services"
	}
	for i, o := range s.offered {
		page.Services = append(page.Services, s.serviceRow(in, o, in.heard[i], caller.Location))
		if o.Closed == "" || slices.Contains(in.Order, o.Key) {
			page.Choices = append(page.Choices, web.Choice{Key: o.Key, Words: o.Provider})
		}
	}
	for _, how := range []weather.Together{weather.FirstAnswers, weather.WorstCounts} {
		page.Ways = append(page.Ways, web.Choice{Key: string(how), Words: capital(how.Words())})
	}
	if len(in.set) > 0 {
		page.SetBy, page.SetAt, page.Why = in.set[0].SetBy, momentWords(in.set[0].SetAt, caller), in.set[0].Why
	}
	for i, v := range in.set {
		page.Before = append(page.Before, web.LimitsBefore{Version: v.Version, By: v.SetBy, At: momentWords(v.SetAt, caller), Why: v.Why, Says: s.servicesChanges(in, i)})
	}
	if typed != nil {
		page.Asked = *typed
	}
	if wrong == nil {
		return s.show(c, http.StatusOK, page)
	}
	if page.Faults = pageFaults(wrong, map[string]string{"services": "service1"}); page.Faults == nil {
		return wrong
	}
	return s.show(c, refusalOf(wrong).kind.status, page)
}

// serviceRow says of one weather service what the firm does with it and when it
// last answered.
func (s *server) serviceRow(in servicesNow, o WeatherService, heard archive.Heard, loc *time.Location) web.ServiceRow {
	row := web.ServiceRow{Name: o.Provider, Note: o.Note, Closed: o.Closed, Use: "not asked", Last: "never"}
	if i := slices.Index(in.Order, o.Key); i >= 0 {
		row.Use = fmt.Sprintf("asked %s", ordinals[min(i, len(ordinals)-1)])
		if i > 0 && in.Together == weather.FirstAnswers {
			row.Use += ", where those before it do not answer"
		}
		row.Counts = o.Closed == ""
	}
	if !heard.Last.IsZero() {
		row.Last = heard.Last.In(loc).Format("Mon 2 Jan 2006, 15:04") + ", kept for " + counted(heard.Sites, "site", "sites")
	}
	return row
}

var ordinals = []string{"first", "second", "third", "fourth", "later"}

// servicesForm stores what was typed as the next version.
func (s *server) servicesForm(c *gin.Context, caller Caller) error {
	p := func(name string) string { return strings.TrimSpace(c.PostForm(name)) }
	asked := web.ServicesForm{Together: p("together"), Why: p("why")}
	for i := range s.offered {
		if key := p("service" + strconv.Itoa(i+1)); key != "" {
			asked.Order = append(asked.Order, key)
		}
	}
	want := weather.Services{Order: asked.Order, Together: weather.Together(asked.Together)}
	var faults []error
	var err error
	if want.Version, err = strconv.Atoi(p("version")); err != nil {
		faults = append(faults, fault.Bad("version", p("version"), "the version that the page showed"))
	}
	if asked.Why == "" {
		faults = append(faults, fault.Bad("why", "", "why it is changed, in a few words"))
	}
	now, err := s.Services(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	if want.Version == now.Version && len(want.Changes(now, s.serviceName)) == 0 {
		faults = append(faults, fault.Bad("services", "", "something that changes: this is what holds already"))
	}
	if err := errors.Join(append(faults, want.Check())...); err != nil {
		return s.showServices(c, caller, &asked, err)
	}
	if _, err := s.SetServices(c.Request.Context(), caller.Firm, want, caller.Name, asked.Why); err != nil {
		return s.showServices(c, caller, &asked, err)
	}
	return s.done(c, "/settings/services", "services")
}
