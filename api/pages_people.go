package api

import (
	"fmt"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

// peoplePage shows the office everybody, a lead the crew of today, and anybody
// else themselves.
func (s *server) peoplePage(c *gin.Context, caller Caller) error {
	return s.showPeople(c, caller, 200, nil)
}

func (s *server) showPeople(c *gin.Context, caller Caller, status int, wrong []web.Fault) error {
	people, err := s.PeopleNow(c.Request.Context(), caller)
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
	page.Topics = mapped(safety.Topics(), func(t safety.Topic) web.Topic { return web.Topic{Key: t.Key, Say: t.Say, Source: t.Source} })
	page.Today = civil.DateOf(s.now(), caller.Location).String()
	for _, p := range people {
		row := s.personRow(caller, p)
		if at, ok := set[p.ID]; ok {
			row.PINSet = at.In(caller.Location)
		}
		if len(wrong) > 0 && c.Param("person") == row.ID {
			row.Typed = inductionTyped(c)
		}
		page.People = append(page.People, row)
	}
	return s.show(c, status, page)
}

// personRow is somebody as the page shows them, with what the caller may do.
func (s *server) personRow(caller Caller, p Member) web.PersonRow {
	at := "/people/" + p.ID.String()
	row := web.PersonRow{ID: p.ID.String(), Name: p.Name, Role: roleTitle(p.Role), Can: competencesOf(p.Can, civil.DateOf(s.now(), caller.Location))}
	office := may(caller.Role, ChangePeople)
	if office || p.ID == caller.Person {
		row.PINAction = at + "/pin"
	}
	if office {
		row.CanAction = at + "/competences"
	}
	if p.MayTell {
		row.InductAction = at + "/inductions"
	}
	all := len(safety.Topics())
	switch open := len(p.NotTold); open {
	case 0:
		row.Inducted, row.InductedSays = web.Met, fmt.Sprintf("inducted in all %d topics", all)
	case all:
		row.Inducted, row.InductedSays = web.NotMet, "no induction on record: not clear to start"
	default:
		row.Inducted, row.InductedSays = web.NotMet, fmt.Sprintf("inducted in %d of %d topics: not clear to start", all-open, all)
	}
	for _, t := range p.NotTold {
		row.NotTold = append(row.NotTold, t.Say)
	}
	row.Told = mapped(p.Told, func(i safety.Induction) string {
		return fmt.Sprintf("%s by %s, %d of %d topics, said by PIN %s", i.On.Long(), i.GivenBy, len(i.Covered), all, momentWords(i.At, caller))
	})
	return row
}

// competencesOf shows what somebody may do, with how it stands today.
func competencesOf(all []safety.Competence, today civil.Date) []web.Competence {
	return mapped(all, func(k safety.Competence) web.Competence {
		can := web.Competence{What: safety.CompetenceWords(k.Kind), Until: "does not expire", Evidence: k.Evidence, State: web.Met}
		switch competenceState(k, today) {
		case CompetenceStateNotBegun:
			can.State, can.Until = web.Unknown, "from "+k.From.Long()
		case CompetenceStateExpired:
			can.State, can.Until = web.NotMet, "expired "+k.Until.Long()
		default:
			if k.Until.Known() {
				can.Until = "until " + k.Until.Long()
			}
		}
		return can
	})
}

// competenceState tells how a competence stands on a day.
func competenceState(k safety.Competence, today civil.Date) CompetenceState {
	switch {
	case k.From > today:
		return CompetenceStateNotBegun
	case k.Until.Known() && k.Until < today:
		return CompetenceStateExpired
	default:
		return CompetenceStateValid
	}
}

// competenceForm records what somebody may do.
func (s *server) competenceForm(c *gin.Context, caller Caller) error {
	person, err := uuid.Parse(c.Param("person"))
	if err != nil {
		return badID("person", c.Param("person"))
	}
	k := safety.Competence{Kind: c.PostForm("kind"), Until: civil.NoDate, Evidence: c.PostForm("evidence")}
	k.From, err = civil.Parse(c.PostForm("from"))
	if until := c.PostForm("until"); err == nil && until != "" {
		k.Until, err = civil.Parse(until)
	}
	if err == nil {
		err = s.SaveCompetence(c.Request.Context(), caller, person, k)
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

// inductionTyped is what was typed of an induction, but for the PIN.
func inductionTyped(c *gin.Context) web.InductionForm {
	return web.InductionForm{On: c.PostForm("on"), GivenBy: c.PostForm("given_by"), Covered: c.PostFormArray("covered")}
}

// inductionForm records what somebody was told, as they say by their PIN.
func (s *server) inductionForm(c *gin.Context, caller Caller) error {
	person, err := uuid.Parse(c.Param("person"))
	if err != nil {
		return badID("person", c.Param("person"))
	}
	typed := inductionTyped(c)
	in := InductionInput{GivenBy: typed.GivenBy, Covered: typed.Covered, PIN: strings.TrimSpace(c.PostForm("pin"))}
	if in.On, err = civil.Parse(typed.On); err == nil {
		_, err = s.Induct(c.Request.Context(), caller, recordID(c.Request.Context()), person, in)
	} else {
		err = fault.Bad("on", typed.On, "the day on which the induction was given")
	}
	renamed := map[string]string{}
	for _, field := range []string{"on", "given_by", "covered", "pin"} {
		renamed[field] = "told-" + field + "-" + person.String()
	}
	if faults := pageFaults(err, renamed); faults != nil {
		return s.showPeople(c, caller, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.done(c, "/people", "inducted")
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
