package api

import (
	"fmt"
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/web"
)

// The office's page of what was agreed with each scaffold firm.

func (s *server) scaffoldTermsPage(c *gin.Context, caller Caller) error {
	return s.showTerms(c, caller, uuid.Nil, web.ScaffoldTerms{}, nil)
}

// showTerms shows the terms in force; of one scaffold firm as they were typed, with
// what is wrong.
func (s *server) showTerms(c *gin.Context, caller Caller, of uuid.UUID, typed web.ScaffoldTerms, wrong error) error {
	firms, err := s.schedule.ScaffoldFirms(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	page := web.ScaffoldFirms{Sheet: s.sheet(c.Request, caller)}
	for _, f := range firms {
		row := termsOf(f)
		if may(caller.Role, MakePlan) {
			row.Action = "/settings/scaffold-firms/" + row.ID
		}
		if f.ID == of {
			row.Inputs, row.DaysOff, row.Active, row.Open = typed.Inputs, typed.DaysOff, typed.Active, true
		}
		page.Firms = append(page.Firms, row)
	}
	if wrong == nil {
		return s.show(c, http.StatusOK, page)
	}
	if page.Faults = pageFaults(wrong, termInputs(of.String())); page.Faults == nil {
		return wrong
	}
	return s.show(c, refusalOf(wrong).kind.status, page)
}

// termInputs gives by a term's name the input in which it is typed.
func termInputs(id string) map[string]string {
	inputs := map[string]string{"days off": "off-" + id}
	for _, f := range schedule.ScaffoldFields {
		inputs[f.Name] = f.Key + "-" + id
	}
	return inputs
}

func termsOf(f schedule.ScaffoldFirm) web.ScaffoldTerms {
	row := web.ScaffoldTerms{ID: f.ID.String(), Name: f.Name, Says: termSentences(f), Seen: f.Mark(), Active: f.Active}
	typed := map[string]string{}
	for _, k := range schedule.ScaffoldFields {
		typed[k.Key] = k.Text(f)
	}
	row.Inputs, row.DaysOff = termInputsOf(typed), dayPicks(f.DaysOff.Names())
	return row
}

func termInputsOf(typed map[string]string) (inputs []web.TermInput) {
	for _, k := range schedule.ScaffoldFields {
		inputs = append(inputs, web.TermInput{Key: k.Key, Name: capital(k.Name), For: k.For, Unit: k.Unit, Value: typed[k.Key], Optional: k.Optional})
	}
	return inputs
}

func dayPicks(off []string) (picks []web.DayPick) {
	for _, key := range schedule.WeekdayKeys() {
		picks = append(picks, web.DayPick{Key: key, Words: capital(key) + "s", Picked: slices.Contains(off, key)})
	}
	return picks
}

// termSentences says the terms in plain words, with their units.
func termSentences(f schedule.ScaffoldFirm) []string {
	works := "Works from Monday to Friday."
	if f.DaysOff != 0 {
		works = "Does not work on " + f.DaysOff.Words() + "."
	}
	area := "Goes anywhere."
	if f.ReachKm > 0 {
		area = fmt.Sprintf("Goes to sites within %d km of its yard at %s, %s, as the crow flies.", f.ReachKm, decimalOf(f.YardLat), decimalOf(f.YardLon))
	}
	cancelling := "Moving or calling off an agreed visit costs nothing."
	switch {
	case f.CancelCharge > 0:
		cancelling = fmt.Sprintf("Moving or calling off an agreed visit within %s costs %s, and somebody here has to agree to it.", counted(f.CancelNotice, "working day", "working days"), f.CancelCharge)
	case f.CancelNotice > 0:
		cancelling = fmt.Sprintf("Moving or calling off an agreed visit within %s costs nothing, but somebody here has to agree to it.", counted(f.CancelNotice, "working day", "working days"))
	}
	wind := "Has no wind limit of its own: ours counts."
	if f.GustLimit > 0 {
		wind = fmt.Sprintf("Neither erects nor strikes from gusts of %s m/s on, where our own limit is not tighter.", decimalOf(f.GustLimit))
	}
	return []string{
		fmt.Sprintf("%s, %s. %s", counted(f.GangsPerDay, "gang a day", "gangs a day"), counted(f.Sets, "set", "sets"), works),
		area,
		fmt.Sprintf("Notice to erect %s, to strike %s.", counted(f.ErectNotice, "working day", "working days"), counted(f.StrikeNotice, "working day", "working days")),
		fmt.Sprintf("Erection and strike %s with %s of hire, then %s a week.", f.VisitPrice, counted(f.IncludedWeeks, "week", "weeks"), f.WeeklyHire),
		cancelling,
		wind,
	}
}

// scaffoldTermsForm stores what was typed.
func (s *server) scaffoldTermsForm(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("firm"))
	if err != nil {
		return badID("scaffold firm", c.Param("firm"))
	}
	known, err := s.scaffoldFirm(c.Request.Context(), caller.Firm, id)
	if err != nil {
		return err
	}
	values := map[string]string{}
	for _, k := range schedule.ScaffoldFields {
		values[k.Key] = c.PostForm(k.Key + "-" + id.String())
	}
	off := c.PostFormArray("off-" + id.String())
	next, err := schedule.TypedTerms(known, values, off)
	next.Active = c.PostForm("active-"+id.String()) == "yes"
	if err == nil {
		err = s.schedule.ChangeScaffoldFirm(c.Request.Context(), caller.Firm, next, c.PostForm("seen"))
	}
	if err != nil {
		return s.showTerms(c, caller, id, web.ScaffoldTerms{Inputs: termInputsOf(values), DaysOff: dayPicks(off), Active: next.Active}, err)
	}
	return s.done(c, "/settings/scaffold-firms", "terms")
}
