package api

import (
	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/web"
)

// peoplePage shows the office everybody, and anybody else themselves.
func (s *server) peoplePage(c *gin.Context, caller Caller) error {
	return s.showPeople(c, caller, 200, nil)
}

func (s *server) showPeople(c *gin.Context, caller Caller, status int, wrong []web.Fault) error {
	people, err := s.peopleSeen(c, caller)
	if err != nil {
		return err
	}
	set, err := s.accounts.pinsSet(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	page := web.People{Sheet: s.sheet(c.Request, caller), AskPassword: !may(caller.Role, ChangePeople)}
	page.Faults = wrong
	for _, p := range people {
		row := web.PersonRow{ID: p.ID.String(), Name: p.Name, Role: roleTitle(p.Role), PINAction: "/people/" + p.ID.String() + "/pin"}
		if at, ok := set[p.ID]; ok {
			row.PINSet = at.In(caller.Location)
		}
		page.People = append(page.People, row)
	}
	return s.show(c, status, page)
}

// peopleSeen are those whom this caller may see: the office everybody who works
// here, anybody else only themselves.
func (s *server) peopleSeen(c *gin.Context, caller Caller) ([]schedule.Person, error) {
	people, err := s.schedule.People(c.Request.Context(), caller.Firm)
	if err != nil {
		return nil, err
	}
	var seen []schedule.Person
	for _, p := range people {
		if p.Active && (p.ID == caller.Person || may(caller.Role, ChangePeople)) {
			seen = append(seen, p)
		}
	}
	return seen, nil
}

// pinForm sets a PIN.
func (s *server) signingPINForm(c *gin.Context, caller Caller) error {
	person, err := uuid.Parse(c.Param("person"))
	if err != nil {
		return badID("person", c.Param("person"))
	}
	err = s.SetPIN(c.Request.Context(), caller, person, c.PostForm("pin"), c.PostForm("password"))
	if faults := pageFaults(err, map[string]string{"pin": "pin-" + person.String(), "password": "password-" + person.String()}); faults != nil {
		return s.showPeople(c, caller, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.done(c, "/people", "pin")
}
