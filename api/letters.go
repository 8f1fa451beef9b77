package api

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// What the rounds of the day write. Letters are made from what was decided and
// decide nothing themselves.

// ofTheMorning are the conditions that only the briefing can meet. A letter that
// is read before it does not list them.
var ofTheMorning = []string{"B08", "B19"}

// worstRisks is the condition that is unknown until the briefing has looked.
const worstRisks = "B06"

// standsAgainst lists what keeps a crew from starting beside the briefing.
func standsAgainst(m Judged) (says []string) {
	for _, c := range m.Decision.Holding() {
		unasked := c.Code == worstRisks && c.State == safety.Unknown // the briefing looks at them
		if !unasked && !slices.Contains(ofTheMorning, c.Code) {
			says = append(says, c.Sentence())
		}
	}
	return says
}

// crewDayLetter tells a lead what their crew does on a day, what the weather
// says and what would keep them from starting. works are of one crew.
func crewDayLetter(works []Judged, today civil.Date, base string) outLetter {
	first := works[0]
	day := first.Snapshot.Day
	when := map[bool]string{true: "Today", false: "On " + day.Long()}[day == today]
	if day == today+1 {
		when = "Tomorrow, " + day.Long()
	}
	var places []string
	against := 0
	l := outLetter{Link: &outLink{Words: "Open the morning", Address: base + morningHref(first.Crew.ID, day)}}
	for _, m := range works {
		tasks := mapped(m.Visits, func(v schedule.Visit) string { return v.Stage.String() })
		places = append(places, strings.Join(tasks, " and ")+" at "+shortPlace(m.Snapshot.Address))
		l.Facts = append(l.Facts, outFact{Name: m.Job.Ref, Is: capital(strings.Join(tasks, " and ")) + ", " + m.Snapshot.Address + ", from " + m.Snapshot.StartAt.In(m.Snapshot.Location).Format("15:04")})
		if m.Snapshot.Outdoors {
			l.Facts = append(l.Facts, outFact{Name: "Weather", Is: weatherWords(m.Snapshot.Weather) + offRoof(m)})
		}
		for _, says := range standsAgainst(m) {
			against++
			l.Facts = append(l.Facts, outFact{Name: "In the way", Is: says})
		}
	}
	l.Subject = when + ": " + strings.Join(places, "; ")
	if len(places) > 1 {
		l.Subject = fmt.Sprintf("%s: %d jobs, beginning with %s", when, len(places), places[0])
	}
	l.Says = []string{when + " " + first.Crew.Name + " does " + strings.Join(places, ", then ") + "."}
	switch {
	case clearAlready(works):
		l.Says = append(l.Says, "The briefing was held and everybody signed: the page says clear to start. Look at it again before you go up.")
	case against > 0:
		l.Says = append(l.Says, fmt.Sprintf("As things stand you would not be clear to start: %s in the way, listed below with who can put it right.", counted(against, "thing is", "things are")))
	case day == today:
		l.Says = append(l.Says, "Nothing stands in the way but the briefing: hold it, and everybody signs.")
	default:
		l.Says = append(l.Says, "As things stand nothing is in the way. The briefing on the day decides, by that morning's forecast.")
	}
	l.Ends = []string{"This letter clears nobody. Only the page does, after the briefing, and you can always stop."}
	return l
}

// weatherWords says the verdict on the day's window, with its number and limit
// when it is not go.
func weatherWords(j weather.Judgement) string {
	if j.Verdict == weather.Go {
		return "Go: no hour of the window reaches a level at which to be careful or to stop."
	}
	return capital(j.Sentence()) + "."
}

// clearAlready tells whether every decision of a day is clear.
func clearAlready(works []Judged) bool {
	return !slices.ContainsFunc(works, func(m Judged) bool { return m.Decision.Verdict != safety.Clear })
}

// offRoof says when the crew must be off the roof; "" when the forecast names no
// such time.
func offRoof(m Judged) string {
	if m.Snapshot.Weather.OffBy.IsZero() {
		return ""
	}
	return " Be off the roof by " + m.Snapshot.Weather.OffBy.In(m.Snapshot.Location).Format("15:04") + "."
}

// turnLetter tells a crew at work when it must be off the roof.
func turnLetter(m Judged, base string) outLetter {
	at := m.Snapshot.Weather.OffBy.In(m.Snapshot.Location).Format("15:04")
	return outLetter{
		Subject: "Be off the roof by " + at + ": " + shortPlace(m.Snapshot.Address),
		Says:    []string{"The weather turns at " + m.Snapshot.Address + ": be off the roof by " + at + ".", whyOff(m.Snapshot.Weather)},
		Facts:   []outFact{{Name: "Crew", Is: m.Crew.Name}, {Name: "Job", Is: m.Job.Ref}},
		Link:    &outLink{Words: "Open the morning", Address: base + morningHref(m.Crew.ID, m.Snapshot.Day)},
		Ends:    []string{"If it turns sooner than the forecast says, come down sooner. Nobody needs this letter's leave to stop."},
	}
}

// missedCallLetter tells that somebody who works alone did not call, for the n-th
// time of one silence.
func missedCallLetter(w WatchedWorker, n int, now time.Time, zone *time.Location, base string) outLetter {
	k, at := w.Watch.Arranged, func(t time.Time) string { return t.In(zone).Format("15:04") }
	l := outLetter{
		Subject: fmt.Sprintf("No call of %s since %s: %s", w.Person.Name, at(w.Watch.Last), shortPlace(w.Job.Site.Address)),
		Says: []string{
			fmt.Sprintf("%s works alone at %s and was to call by %s. No call is written down since %s.", w.Person.Name, w.Job.Site.Address, at(w.Watch.Due), at(w.Watch.Last)),
			"Ring now. What was arranged for when no call comes: " + k.IfMissed + ".",
		},
		Facts: []outFact{{Name: "Expects the call", Is: k.Contact + ", " + k.Phone}, {Name: "Job", Is: w.Job.Ref}},
		Link:  &outLink{Words: "Write the call down", Address: base + morningHref(k.Crew, w.Day) + "?job=" + queryPart(w.Job.Ref)},
		Ends:  []string{"Where somebody may be hurt, ring 999 or 112 first. Once they are safe, write the call down on the page: until then it goes on saying that none came."},
	}
	if w.Person.Phone != "" {
		l.Facts = append([]outFact{{Name: "Ring", Is: w.Person.Name + ", " + w.Person.Phone}}, l.Facts...)
	}
	if n > 1 {
		l.Says[0] = fmt.Sprintf("This is the %s letter about one silence. ", map[int]string{2: "second", 3: "third and last"}[n]) + l.Says[0]
	}
	return l
}

// whyOff is the reason for which the first hour that does not pass is stopped.
func whyOff(j weather.Judgement) string {
	for _, r := range j.Reasons {
		if r.At.Equal(j.OffBy) {
			return capital(r.Sentence()) + "."
		}
	}
	return capital(j.Sentence()) + "."
}

// headLetter carries a signed head out of the house, with the key by which it is
// checked.
func headLetter(firm string, head safety.SignedHead, keys []string, on civil.Date) outLetter {
	l := outLetter{
		Subject: fmt.Sprintf("Signed head of the safety record of %s, %s", firm, on.Short()),
		Says: []string{
			fmt.Sprintf("The log of safety records of %s has %d entries. Its signed head is below. Please keep this mail: with it anybody can tell later whether a record from before it was changed or left out.", firm, head.Size),
			"To check an exported record against it, save the lines from “toeboard/record” to the signature as a file HEAD and run: toeboard verify FILE --key KEY --head HEAD.",
		},
		Facts: []outFact{{Name: "Signed", Is: head.At.UTC().Format("2006-01-02 15:04:05 UTC")}, {Name: "Root", Is: head.Root.String()}},
		Exact: head.Text,
		Ends:  []string{"One such mail comes each night. A night without one is a question to ask the firm."},
	}
	for _, k := range keys {
		l.Facts = append(l.Facts, outFact{Name: "Key", Is: k})
	}
	return l
}

// runningOut is one line of the office's morning letter.
type runningOut struct {
	Ref  string // of a job, or the name of a person
	Says string
}

// officeLetter tells the office what runs out.
func officeLetter(lines []runningOut, day civil.Date, base string) outLetter {
	l := outLetter{Subject: fmt.Sprintf("%s: %s", day.Long(), counted(len(lines), "thing has run out or soon will", "things have run out or soon will")),
		Says: []string{"What wants somebody in the office today:"},
		Link: &outLink{Words: "Open the week", Address: base + "/"}}
	for _, line := range lines {
		l.Facts = append(l.Facts, outFact{Name: line.Ref, Is: line.Says})
	}
	return l
}

// tellDays are the days before the end of a competence on which the office is
// told.
var tellDays = []int{60, 30, 14, 7, 3, 1, 0}

// competencesRunningOut names each competence of somebody in a crew that ends in
// a number of days on which the office is told.
func competencesRunningOut(crews []schedule.Crew, today civil.Date) (lines []runningOut) {
	told := map[string]bool{}
	for _, c := range crews {
		for _, m := range c.Members {
			if !c.Active || !m.Person.Active || m.Until.Known() && m.Until < today {
				continue
			}
			for _, s := range m.Skills {
				key := m.Person.ID.String() + s.Kind
				if !s.Until.Known() || !slices.Contains(tellDays, int(s.Until-today)) || told[key] || m.Holds(s.Kind, s.Until+1) {
					continue
				}
				told[key] = true
				says := fmt.Sprintf("%s ends on %s, in %s. From then on %s cannot be counted for it.", strings.ReplaceAll(s.Kind, "_", " "), s.Until.Long(), counted(int(s.Until-today), "day", "days"), m.Person.Name)
				if s.Until == today {
					says = fmt.Sprintf("%s ends today. From tomorrow %s cannot be counted for it.", strings.ReplaceAll(s.Kind, "_", " "), m.Person.Name)
				}
				lines = append(lines, runningOut{m.Person.Name, capital(says)})
			}
		}
	}
	return lines
}

// hireDays are the days before a week of hire is charged on which the office is
// told.
var hireDays = []int{3, 1}

// hireRunningOut names each standing scaffold whose next charged week begins
// soon.
func hireRunningOut(b schedule.Booking, f schedule.ScaffoldFirm, ref string, today civil.Date) (line runningOut, due bool) {
	if !b.State.Stands() {
		return line, false
	}
	next := b.ErectOn + civil.Date(7*f.IncludedWeeks)
	for next <= today {
		next += 7
	}
	if !slices.Contains(hireDays, int(next-today)) || b.StrikeOn < next {
		return line, false
	}
	return runningOut{ref, fmt.Sprintf("The scaffold of %s costs %s for another week from %s; it is to come down on %s.", f.Name, f.WeeklyHire, next.Long(), b.StrikeOn.Long())}, true
}

// dueDays are the days before the last day of a notification on which the office
// is told; when that has passed it is told each day until it was sent.
var dueDays = []int{14, 7, 3, 2, 1, 0}

// notificationsRunningOut names each notification that is not sent and whose last
// day is near or has passed, and on the day after its clock began one that is
// wanted at once.
func notificationsRunningOut(all []safety.Due, today civil.Date) (lines []runningOut) {
	for _, d := range all {
		near := d.Deadline.Known() && (today > d.Deadline || slices.Contains(dueDays, int(d.Deadline-today)))
		if d.Sent.Known() || !near && (d.Deadline.Known() || today-d.Began > 1) {
			continue
		}
		lines = append(lines, runningOut{d.JobRef, fmt.Sprintf("%s: %s. It is for %s to send.", capital(d.Words), d.Sentence(today), d.Who)})
	}
	return lines
}

// unansweredDays is how near an erection may come before the office is told that
// the scaffold firm has not said yes.
const unansweredDays = 5

func unanswered(b schedule.Booking, f schedule.ScaffoldFirm, ref string, today civil.Date) (line runningOut, due bool) {
	if b.State != schedule.BookingWanted && b.State != schedule.BookingSent || b.ErectOn < today || b.ErectOn > today+unansweredDays {
		return line, false
	}
	return runningOut{ref, fmt.Sprintf("%s has not confirmed the scaffold for %s. Ring them: an unconfirmed day is nobody's day.", f.Name, b.ErectOn.Long())}, true
}

// inspectionWithin is how soon an inspection must lapse for the office to be
// told.
const inspectionWithin = 48 * time.Hour

// inspectionsRunningOut names what a standing scaffold wants of an inspector.
func inspectionsRunningOut(file safety.ScaffoldFile, ref string, now time.Time, loc *time.Location) (lines []runningOut) {
	for _, d := range file.Duties(now, loc) {
		if !strings.HasPrefix(d.Rule, "Inspection ") {
			continue
		}
		if d.State != safety.Met || !d.By.IsZero() && d.By.Sub(now) < inspectionWithin {
			lines = append(lines, runningOut{ref, d.Sentence()})
		}
	}
	return lines
}

// customerDays is how far ahead a customer is told of days: what lies further
// off still moves with the weather.
const customerDays = 14

// visitsForCustomer lists what a customer is to expect, in the order of days:
// what comes soon, and all that they were told of before and that is still to
// come, wherever it went. visits are of stages that have not begun, left the
// stages among them that have no place.
func visitsForCustomer(visits []schedule.Visit, left []schedule.StageKind, was []outFact, today civil.Date) (facts []outFact) {
	told := func(k schedule.StageKind) bool {
		return slices.ContainsFunc(was, func(f outFact) bool { return f.Name == customerWords[k] })
	}
	visits = slices.Clone(visits)
	slices.SortFunc(visits, func(a, b schedule.Visit) int { return int(a.First() - b.First()) })
	for _, v := range visits {
		if d := v.First().Date(); (d <= today || d > today+customerDays) && !told(v.Stage) {
			continue
		}
		is := v.First().Date().Long()
		if last := v.Last().Date(); last != v.First().Date() {
			is += " to " + last.Long()
		}
		facts = append(facts, outFact{Name: customerWords[v.Stage], Is: is})
	}
	for _, k := range left {
		if told(k) {
			facts = append(facts, outFact{Name: customerWords[k], Is: "on a day that we have to find yet"})
		}
	}
	return facts
}

// customerWords are what the stages are called to somebody who lives there.
var customerWords = map[schedule.StageKind]string{
	schedule.ScaffoldErection: "The scaffold goes up", schedule.RoofWork: "We work on the roof", schedule.FirstFix: "Our electricians lay cables",
	schedule.SecondFix: "Our electricians connect", schedule.Commissioning: "We switch it on and show you how it works", schedule.ScaffoldStrike: "The scaffold comes down",
}

// customerLetter tells a customer of their days. written is what was last written
// to them, nil = nothing yet: ok is false when it says the same. heard is what
// last reached them, and what a day that moved was: a letter that still waits, and
// that this one will overtake, told them nothing.
func customerLetter(j schedule.Job, firm string, office schedule.Contact, is, written, heard []outFact) (l outLetter, ok bool) {
	before, known := factsByName(written), factsByName(heard)
	moved := 0
	for i, f := range is {
		if old, told := before[f.Name]; !told || old != f.Is {
			ok = true
		}
		if old, told := known[f.Name]; told && old != f.Is {
			moved++
			is[i].Is = f.Is + " (it was " + old + ")"
		}
	}
	if !ok {
		return l, false
	}
	where := shortPlace(j.Site.Address)
	l = outLetter{Facts: is, Subject: "When we come to " + where, Says: []string{"Dear " + orYou(j.Customer.Name) + ",", "these are the days on which we mean to come to " + j.Site.Address + "."}}
	if moved > 0 {
		l.Subject = "Changed: when we come to " + where
		l.Says[1] = "some of the days on which we mean to come to " + j.Site.Address + " have changed. We are sorry for that; these are the days as they stand now."
	}
	l.Ends = []string{"Work on the roof needs dry, calm daylight. When the weather does not allow it we come another day, and tell you.",
		"If a day does not suit you, please tell us soon" + reachWords(office) + ".", firm}
	return l, true
}

func factsByName(facts []outFact) map[string]string {
	by := map[string]string{}
	for _, f := range facts {
		by[f.Name] = firstPart(f.Is)
	}
	return by
}

// firstPart leaves out what an earlier letter said in brackets.
func firstPart(s string) string {
	before, _, _ := strings.Cut(s, " (it was ")
	return before
}

func orYou(name string) string {
	if name == "" {
		return "customer"
	}
	return name
}

func reachWords(c schedule.Contact) string {
	if s := c.String(); s != "" {
		return ": " + s
	}
	return ""
}
