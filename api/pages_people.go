package api

import (
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
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
	for _, kind := range safety.CompetenceKinds() {
		page.Kinds = append(page.Kinds, web.Choice{Key: kind, Words: safety.CompetenceWords(kind)})
	}
	for _, p := range people {
		row := web.PersonRow{ID: p.ID.String(), Name: p.Name, Role: roleTitle(p.Role), PINAction: "/people/" + p.ID.String() + "/pin"}
		if at, ok := set[p.ID]; ok {
			row.PINSet = at.In(caller.Location)
		}
		if err := s.competencesOf(c, caller, p.ID, &row); err != nil {
			return err
		}
		page.People = append(page.People, row)
	}
	return s.show(c, status, page)
}

// competencesOf fills in what somebody may do, with how it stands today.
func (s *server) competencesOf(c *gin.Context, caller Caller, person uuid.UUID, row *web.PersonRow) error {
	all, err := s.safety.CompetencesOf(c.Request.Context(), caller.Firm, person)
	if err != nil {
		return err
	}
	today := civil.DateOf(s.now(), caller.Location)
	for _, k := range all {
		can := web.Competence{What: safety.CompetenceWords(k.Kind), Until: "does not expire", Evidence: k.Evidence, State: web.Met}
		switch {
		case k.From > today:
			can.State, can.Until = web.Unknown, "from "+k.From.Short()
		case k.Until.Known() && k.Until < today:
			can.State, can.Until = web.NotMet, "expired "+k.Until.Short()
		case k.Until.Known():
			can.Until = "until " + k.Until.Short()
		}
		row.Can = append(row.Can, can)
	}
	if may(caller.Role, ChangePeople) {
		row.CanAction = "/people/" + person.String() + "/competences"
	}
	return nil
}

// competenceForm records what somebody may do.
func (s *server) competenceForm(c *gin.Context, caller Caller) error {
	person, err := uuid.Parse(c.Param("person"))
	if err != nil {
		return badID("person", c.Param("person"))
	}
	k := safety.Competence{Kind: c.PostForm("kind"), Until: civil.NoDate, Evidence: strings.TrimSpace(c.PostForm("evidence"))}
	k.From, err = civil.Parse(c.PostForm("from"))
	if until := c.PostForm("until"); err == nil && until != "" {
		k.Until, err = civil.Parse(until)
	}
	if err == nil {
		_, err = s.personOf(c.Request.Context(), caller.Firm, person)
	}
	if err == nil {
		err = s.safety.SaveCompetence(c.Request.Context(), caller.Firm, person, k)
	}
	if faults := pageFaults(err); faults != nil {
		for i := range faults {
			faults[i].Field = "can-" + person.String()
		}
		return s.showPeople(c, caller, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.done(c, "/people", "recorded")
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
