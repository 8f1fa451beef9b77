package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
)

// teamChange is what a firm has now, and the steps from there to what a file
// wants.
type teamChange struct {
	rooms
	firm uuid.UUID
	tell io.Writer

	people      []schedule.Person
	signIns     map[uuid.UUID]string
	competences map[uuid.UUID][]safety.Competence
	crews       []schedule.Crew
	scaffolds   []schedule.ScaffoldFirm
	links       map[uuid.UUID][]schedule.Link
	holidays    []schedule.Holiday

	slips slips
	all   []step
}

func newTeamChange(ctx context.Context, r rooms, firm uuid.UUID, tell io.Writer) (*teamChange, error) {
	t := &teamChange{rooms: r, firm: firm, tell: tell, competences: map[uuid.UUID][]safety.Competence{}, links: map[uuid.UUID][]schedule.Link{}}
	var err error
	if t.people, err = r.schedule.People(ctx, firm); err != nil {
		return nil, err
	}
	if t.crews, err = r.schedule.Crews(ctx, firm); err != nil {
		return nil, err
	}
	if t.scaffolds, err = r.schedule.ScaffoldFirms(ctx, firm); err != nil {
		return nil, err
	}
	if t.holidays, err = r.schedule.Holidays(ctx, firm); err != nil {
		return nil, err
	}
	if t.signIns, err = r.service.SignIns(ctx, firm); err != nil {
		return nil, err
	}
	for _, p := range t.people {
		if t.competences[p.ID], err = r.safety.CompetencesOf(ctx, firm, p.ID); err != nil {
			return nil, err
		}
	}
	for _, f := range t.scaffolds {
		if t.links[f.ID], err = r.schedule.Links(ctx, firm, f.ID); err != nil {
			return nil, err
		}
	}
	return t, nil
}

// steps gives what must be done, in an order in which each finds what it needs,
// or everything in the file that does not fit what is known.
func (t *teamChange) steps(wanted team, newLinks bool, newPasswords []string) ([]step, error) {
	ids := t.takePeople(wanted.people, newPasswords)
	t.takeCrews(wanted.crews, ids)
	t.takeAbsences(wanted, ids)
	t.takeScaffolds(wanted.scaffolds, newLinks)
	for _, h := range wanted.holidays {
		i := slices.IndexFunc(t.holidays, func(k schedule.Holiday) bool { return k.Day == h.Day })
		switch {
		case i < 0:
			t.add(fmt.Sprintf("+ holiday %s, %s", h.Day, h.Title), func(ctx context.Context) error { return t.schedule.SaveHoliday(ctx, t.firm, h) })
		case t.holidays[i].Title != h.Title:
			t.add(fmt.Sprintf("~ holiday %s: title %s becomes %s", h.Day, t.holidays[i].Title, h.Title), func(ctx context.Context) error { return t.schedule.SaveHoliday(ctx, t.firm, h) })
		}
	}
	return t.all, errors.Join(t.slips.bad...)
}

func (t *teamChange) add(says string, do func(context.Context) error) {
	t.all = append(t.all, step{says, do})
}

// pair is one property before and after.
type pair struct{ what, was, becomes string }

// differences says which properties change; "" = none.
func differences(pairs ...pair) string {
	var says []string
	for _, p := range pairs {
		if p.was != p.becomes {
			says = append(says, fmt.Sprintf("%s %s becomes %s", p.what, orNothing(p.was), orNothing(p.becomes)))
		}
	}
	return strings.Join(says, ", ")
}

func orNothing(s string) string {
	if s == "" {
		return "(nothing)"
	}
	return s
}

func number[N int | float64](n N) string { return fmt.Sprint(n) }

// spanWords writes days as the file has them.
func spanWords(from, until civil.Date) string {
	if !until.Known() {
		return "from " + from.String()
	}
	return "from " + from.String() + " until " + until.String()
}

// oneNamed finds what is known under a name; -1 = nothing.
func oneNamed[A any](t *teamChange, what, name string, all []A, nameOf func(A) string) int {
	found := -1
	for i, a := range all {
		if nameOf(a) != name {
			continue
		}
		if found >= 0 {
			t.slips.bad = append(t.slips.bad, twoOf(what, name))
		}
		found = i
	}
	return found
}

// takePeople gives everybody's identity by name, the file's and the known.
func (t *teamChange) takePeople(wanted []teamPerson, newPasswords []string) map[string]uuid.UUID {
	ids := map[string]uuid.UUID{}
	for _, p := range t.people {
		ids[p.Name] = p.ID
	}
	for i := range wanted {
		p := &wanted[i]
		known := oneNamed(t, "person", p.Name, t.people, func(k schedule.Person) string { return k.Name })
		says := fmt.Sprintf("+ person %s, %s", p.Name, p.Role)
		if p.ID = newID(); known >= 0 {
			k := t.people[known]
			p.ID = k.ID
			if says = differences(pair{"role", string(k.Role), string(p.Role)}, pair{"phone", k.Phone, p.Phone},
				pair{"active", fmt.Sprint(k.Active), fmt.Sprint(p.Active)}); says != "" {
				says = "~ person " + p.Name + ": " + says
			}
		}
		ids[p.Name] = p.ID
		if person := p.Person; says != "" {
			t.add(says, func(ctx context.Context) error { return t.schedule.SavePerson(ctx, t.firm, person) })
		}
		t.takeCompetences(*p)
		t.takeSignIn(*p, slices.Contains(newPasswords, p.Name))
	}
	for _, name := range newPasswords {
		if !slices.ContainsFunc(wanted, func(p teamPerson) bool { return p.Name == name && p.email != "" }) {
			t.slips.add("--new-password", name, "the name of a person of the file who has an email there")
		}
	}
	return ids
}

func (t *teamChange) takeCompetences(p teamPerson) {
	for _, c := range p.competences {
		says := fmt.Sprintf("+ %s: %s %s", p.Name, c.Kind, spanWords(c.From, c.Until))
		for _, k := range t.competences[p.ID] {
			if k.Kind != c.Kind || k.From != c.From {
				continue
			}
			if says = differences(pair{"until", untilWords(k.Until), untilWords(c.Until)}, pair{"evidence", k.Evidence, c.Evidence}); says != "" {
				says = fmt.Sprintf("~ %s: %s from %s: %s", p.Name, c.Kind, c.From, says)
			}
		}
		if says != "" {
			t.add(says, func(ctx context.Context) error { return t.safety.SaveCompetence(ctx, t.firm, p.ID, c) })
		}
	}
}

func untilWords(d civil.Date) string {
	if !d.Known() {
		return ""
	}
	return d.String()
}

// takeSignIn gives a sign-in to whoever has an e-mail in the file and none yet,
// or another one.
func (t *teamChange) takeSignIn(p teamPerson, again bool) {
	has := t.signIns[p.ID]
	for other, email := range t.signIns {
		if other != p.ID && email == p.email {
			t.slips.add("e-mail of "+p.Name, p.email, "an address with which nobody else of the firm signs in")
		}
	}
	switch {
	case p.email == "":
	case has == "":
		t.add("+ sign-in of "+p.Name, t.signIn(p))
	case has != p.email:
		t.add(fmt.Sprintf("~ sign-in of %s: e-mail %s becomes %s, with a new password", p.Name, has, p.email), t.signIn(p))
	case again:
		t.add("~ sign-in of "+p.Name+": a new password", t.signIn(p))
	}
}

func (t *teamChange) takeCrews(wanted []schedule.Crew, ids map[string]uuid.UUID) {
	var ends, joins []step
	for i := range wanted {
		c := &wanted[i]
		known := oneNamed(t, "crew", c.Name, t.crews, func(k schedule.Crew) string { return k.Name })
		if known < 0 {
			c.ID = newID()
			t.crews = append(t.crews, schedule.Crew{ID: c.ID, Name: c.Name})
			known = len(t.crews) - 1
			t.saveCrew(fmt.Sprintf("+ crew %s, %s, %s a half-day", c.Name, c.Trade, c.HalfDayCost), *c)
		} else {
			k := t.crews[known]
			c.ID = k.ID
			if says := differences(pair{"trade", k.Trade.Key(), c.Trade.Key()}, pair{"home_lat", number(k.HomeLat), number(c.HomeLat)},
				pair{"home_lon", number(k.HomeLon), number(c.HomeLon)}, pair{"half-day cost", k.HalfDayCost.String(), c.HalfDayCost.String()},
				pair{"active", fmt.Sprint(k.Active), fmt.Sprint(c.Active)}); says != "" {
				t.saveCrew("~ crew "+c.Name+": "+says, *c)
			}
		}
		for _, m := range c.Members {
			end, join := t.takeMember(&t.crews[known], m, ids)
			ends, joins = append(ends, end...), append(joins, join...)
		}
	}
	t.all = append(append(t.all, ends...), joins...)
	t.oneCrewAtATime()
}

func (t *teamChange) saveCrew(says string, c schedule.Crew) {
	t.add(says, func(ctx context.Context) error { return t.schedule.SaveCrew(ctx, t.firm, c) })
}

// takeMember puts one row of a crew in, or ends one that is known, and keeps in
// crew what there will then be.
func (t *teamChange) takeMember(crew *schedule.Crew, m schedule.Membership, ids map[string]uuid.UUID) (ends, joins []step) {
	where := "crew " + crew.Name + ", member " + m.Person.Name
	id, known := ids[m.Person.Name]
	if !known {
		t.slips.add(where, "", "a person of the file or of the firm")
		return nil, nil
	}
	m.Person.ID = id
	crewID := crew.ID
	for i := range crew.Members {
		k := &crew.Members[i]
		if k.Person.ID != id || k.From != m.From {
			continue
		}
		switch {
		case k.Lead != m.Lead:
			t.slips.add(where+", lead", fmt.Sprint(m.Lead), "what is recorded from "+k.From.String()+" on; to change it, end this row and add one from the day after")
		case k.Until == m.Until:
		case !m.Until.Known() || k.Until.Known() && m.Until > k.Until:
			t.slips.add(where+", until", untilWords(m.Until), "not later than "+k.Until.String()+", which is recorded; add a row from the day after")
		default:
			ends = append(ends, step{fmt.Sprintf("~ crew %s: %s until %s", crew.Name, m.Person.Name, m.Until),
				func(ctx context.Context) error { return t.schedule.EndMember(ctx, t.firm, crewID, id, m.Until) }})
			k.Until = m.Until
		}
		return ends, nil
	}
	crew.Members = append(crew.Members, m)
	as := ""
	if m.Lead {
		as = " as its lead"
	}
	return nil, []step{{fmt.Sprintf("+ crew %s: %s%s %s", crew.Name, m.Person.Name, as, spanWords(m.From, m.Until)),
		func(ctx context.Context) error { return t.schedule.AddMember(ctx, t.firm, crewID, m) }}}
}

// oneCrewAtATime refuses what the database would: a person in two crews, a crew
// with two leads on one day.
func (t *teamChange) oneCrewAtATime() {
	type row struct {
		crew string
		schedule.Membership
	}
	var rows []row
	for _, c := range t.crews {
		for _, m := range c.Members {
			rows = append(rows, row{c.Name, m})
		}
	}
	for i, a := range rows {
		for _, b := range rows[:i] {
			if a.Until.Known() && a.Until < b.From || b.Until.Known() && b.Until < a.From {
				continue
			}
			if a.Person.ID == b.Person.ID {
				t.slips.add("crew "+a.crew+", member "+a.Person.Name, spanWords(a.From, a.Until), "one crew at a time: they are in crew "+b.crew+" "+spanWords(b.From, b.Until)+"; end that first")
			} else if a.crew == b.crew && a.Lead && b.Lead {
				t.slips.add("crew "+a.crew+", lead "+a.Person.Name, spanWords(a.From, a.Until), "one lead at a time: "+b.Person.Name+" leads it "+spanWords(b.From, b.Until))
			}
		}
	}
}

// takeAbsences adds what is not known yet. Absences count for people in crews;
// only theirs can be read back, so only theirs are taken.
func (t *teamChange) takeAbsences(wanted team, ids map[string]uuid.UUID) {
	known := map[uuid.UUID][]schedule.Absence{}
	inCrew := map[uuid.UUID]bool{}
	for _, c := range t.crews {
		for _, m := range c.Members {
			inCrew[m.Person.ID] = true
			known[m.Person.ID] = append(known[m.Person.ID], m.Absences...)
		}
	}
	for _, a := range wanted.absences {
		id, is := ids[a.person]
		if !is || !inCrew[id] {
			t.slips.add("absence, person", a.person, "a person who is in a crew: only crews are planned")
			continue
		}
		if slices.ContainsFunc(known[id], func(k schedule.Absence) bool { return k.From == a.From && k.Until == a.Until }) {
			continue
		}
		known[id] = append(known[id], a.Absence)
		t.add(fmt.Sprintf("+ %s away %s: %s", a.person, spanWords(a.From, a.Until), a.Reason),
			func(ctx context.Context) error { return t.schedule.AddAbsence(ctx, t.firm, id, a.Absence) })
	}
}

func (t *teamChange) takeScaffolds(wanted []schedule.ScaffoldFirm, newLinks bool) {
	for _, f := range wanted {
		known := oneNamed(t, "scaffold firm", f.Name, t.scaffolds, func(k schedule.ScaffoldFirm) string { return k.Name })
		says := fmt.Sprintf("+ scaffold firm %s, %d gangs a day, %d sets, %s", f.Name, f.GangsPerDay, f.Sets, f.VisitPrice)
		if f.DaysOff != 0 {
			says += ", not on " + f.DaysOff.Words()
		}
		if f.ReachKm > 0 {
			says += fmt.Sprintf(", within %d km of its yard", f.ReachKm)
		}
		if f.ID = newID(); known >= 0 {
			k := t.scaffolds[known]
			f.ID = k.ID
			if says = scaffoldDifferences(k, f); says != "" {
				says = "~ scaffold firm " + f.Name + ": " + says
			}
		}
		if says != "" {
			t.add(says, func(ctx context.Context) error { return t.schedule.SaveScaffoldFirm(ctx, t.firm, f) })
		}
		switch has := t.hasLink(f.ID); {
		case !f.Active:
		case !has:
			t.add("+ private page and feed of "+f.Name, t.link(f))
		case newLinks:
			t.add("~ private page and feed of "+f.Name+": new ones, the old ones open nothing any more", t.link(f))
		}
	}
}

func daysOffWords(off schedule.Weekdays) string {
	if off == 0 {
		return "none"
	}
	return off.Words()
}

func areaWords(f schedule.ScaffoldFirm) string {
	if f.ReachKm == 0 {
		return "anywhere"
	}
	return fmt.Sprintf("%d km from %g, %g", f.ReachKm, f.YardLat, f.YardLon)
}

func scaffoldDifferences(k, f schedule.ScaffoldFirm) string {
	return differences(pair{"e-mail", k.Email, f.Email}, pair{"phone", k.Phone, f.Phone},
		pair{"gangs a day", number(k.GangsPerDay), number(f.GangsPerDay)}, pair{"sets", number(k.Sets), number(f.Sets)},
		pair{"notice to erect", number(k.ErectNotice), number(f.ErectNotice)}, pair{"notice to strike", number(k.StrikeNotice), number(f.StrikeNotice)},
		pair{"erection and strike", k.VisitPrice.String(), f.VisitPrice.String()}, pair{"weeks included", number(k.IncludedWeeks), number(f.IncludedWeeks)},
		pair{"weekly hire", k.WeeklyHire.String(), f.WeeklyHire.String()}, pair{"active", fmt.Sprint(k.Active), fmt.Sprint(f.Active)},
		pair{"days off", daysOffWords(k.DaysOff), daysOffWords(f.DaysOff)}, pair{"area", areaWords(k), areaWords(f)},
		pair{"cancel notice", number(k.CancelNotice), number(f.CancelNotice)}, pair{"charge for cancelling", k.CancelCharge.String(), f.CancelCharge.String()},
		pair{"gust limit", fmt.Sprint(k.GustLimit), fmt.Sprint(f.GustLimit)})
}
