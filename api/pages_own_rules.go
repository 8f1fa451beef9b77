package api

import (
	"net/http"
	"strconv"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/weather/fault"
	"toeboard/web"
)

// ownRulesPage shows what the firm asks of itself.
func (s *server) ownRulesPage(c *gin.Context, caller Caller) error {
	return s.showOwnRules(c, caller, http.StatusOK, nil)
}

func (s *server) showOwnRules(c *gin.Context, caller Caller, status int, wrong []web.Fault) error {
	set, err := s.safety.OwnRules(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	page := web.OwnRules{Sheet: s.sheet(c.Request, caller)}
	page.Faults = wrong
	for _, r := range ownRules(set) {
		row := web.OwnRuleRow{Code: r.Code, Version: r.Version, Binding: r.Binding, Why: r.Why, Holder: r.Holder.Name}
		row.Rule, row.Limit = safety.RuleOf(r.Code)
		if r.Holder.ID != uuid.Nil {
			row.HolderID = r.Holder.ID.String()
		}
		page.Rules = append(page.Rules, row)
	}
	if may(caller.Role, ChangePeople) {
		page.Action = "/settings/own-rules"
		people, err := s.schedule.People(c.Request.Context(), caller.Firm)
		if err != nil {
			return err
		}
		for _, p := range people {
			if p.Active {
				page.People = append(page.People, web.Choice{Key: p.ID.String(), Words: p.Name})
			}
		}
	}
	return s.show(c, status, page)
}

// ownRuleForm sets one rule.
func (s *server) ownRuleForm(c *gin.Context, caller Caller) error {
	code := c.PostForm("code")
	version, err := strconv.Atoi(c.PostForm("version"))
	if err != nil {
		return fault.Bad("version", c.PostForm("version"), "the version that the page showed")
	}
	r := safety.OwnRule{Code: code, Version: version, Binding: c.PostForm("binding") == "yes", Why: c.PostForm("why")}
	if id := c.PostForm("holder"); id != "" {
		if r.Holder.ID, err = uuid.Parse(id); err != nil {
			return badID("person", id)
		}
	}
	_, err = s.SetOwnRule(c.Request.Context(), caller, r)
	if faults := pageFaults(err, map[string]string{"holder": "holder-" + code, "why": "why-" + code}); faults != nil {
		return s.showOwnRules(c, caller, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.done(c, "/settings/own-rules", "ownrule")
}

// exceptForm records an exception on the morning.
func (s *server) exceptForm(c *gin.Context, caller Caller) error {
	v, err := s.morningOf(c, caller)
	if err != nil {
		return err
	}
	code := c.PostForm("code")
	_, err = s.ExceptRule(c.Request.Context(), caller, recordID(c.Request.Context()), v.Crew.ID, v.Job.Ref, v.Snapshot.Day, code, c.PostForm("reason"))
	if faults := pageFaults(err, map[string]string{"reason": "except-" + code}); faults != nil {
		return s.showMorning(c, caller, v, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.backToMorning(c, v, "excepted")
}
