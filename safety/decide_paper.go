package safety

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"toeboard/weather/civil"
)

// reviewAfter is how old an assessment may grow before it is looked at again,
// even when no fact changed (common practice, no source).
const reviewAfter = 365 // days

// assessmentInForce is B05.
func assessmentInForce(m *morning) finding {
	a := m.Assessment
	if a == nil {
		return notMet("no assessment issued")
	}
	is := fmt.Sprintf("version %d", a.Version)
	today := m.Facts.Hash()
	switch {
	case a.Body.Hash() != a.BodyHash || !a.BodyHash.Known():
		return notMet("%s does not match its own hash: it was altered or is incomplete", is)
	case !a.FactsHash.Known() || !today.Known():
		return unknown("whether the facts changed since %s cannot be told", is)
	case a.FactsHash != today || (a.FactsNow.Known() && a.FactsNow != today):
		return notMet("the facts changed since %s%s", is, m.changed())
	case a.MadeAt.IsZero() || a.MadeAt.After(m.now):
		return unknown("when %s was made is not known", is)
	case m.Day > civil.DateOf(a.MadeAt, m.Location)+reviewAfter:
		return notMet("%s is of %s, older than %d days", is, m.at(a.MadeAt), reviewAfter)
	case !a.Approved || a.ApprovedBy == "":
		return notMet("%s is not approved", is)
	}
	return met("%s of %s, approved by %s", is, m.at(a.MadeAt), a.ApprovedBy)
}

// changed names the facts that differ between the assessment and today.
func (m *morning) changed() string {
	was, is := m.Assessment.Body.Facts, m.Facts.Assessed()
	var keys []string
	for _, k := range sortedKeys(is) {
		if is[k] != was[k] {
			keys = append(keys, k)
		}
	}
	for _, k := range sortedKeys(was) {
		if _, still := is[k]; !still {
			keys = append(keys, k)
		}
	}
	if len(keys) == 0 {
		return ""
	}
	return ": " + names(keys)
}

// worstToday lists the entries of today's stages that leave severity 5.
func (m *morning) worstToday() []Entry {
	var all []Entry
	if m.Assessment == nil {
		return nil
	}
	for _, e := range m.Assessment.Body.Entries {
		if e.After.Severity >= worstSeverity && m.does(e.Stages...) {
			all = append(all, e)
		}
	}
	return all
}

// confirmedBy lists the morning checks that confirm an entry's controls; the
// check of the worst risks where the library names none.
func (e Entry) confirmedBy() []string {
	if len(e.ConfirmedBy) == 0 {
		return []string{"worst_risks"}
	}
	return e.ConfirmedBy
}

// unconfirmedElsewhere names today's worst risks that only the check of the
// worst risks confirms.
func (m *morning) unconfirmedElsewhere() []string {
	var all []string
	for _, e := range m.worst {
		if slices.Contains(e.confirmedBy(), "worst_risks") {
			all = append(all, lowerFirst(e.Name))
		}
	}
	return all
}

// WorstOpen names today's severity 5 risks whose controls nobody has looked at
// yet, each once.
func WorstOpen(s Snapshot, now time.Time) []string {
	open, _ := newMorning(s, now).openWorst()
	return open
}

// openWorst names the worst risks that a check not answered yet confirms, and
// tells whether the check of the worst risks would answer them all.
func (m *morning) openWorst() (open []string, oneCheck bool) {
	oneCheck = true
	for _, e := range m.worst {
		for _, key := range e.confirmedBy() {
			if m.answer(key) == NotLookedAt {
				open = append(open, e.Name)
				oneCheck = oneCheck && key == "worst_risks"
			}
		}
	}
	return slices.Compact(open), oneCheck
}

// worstRisks is B06. A score alone does not hold or clear a crew: a severity 5
// risk counts as controlled only when its controls were seen on site today.
func worstRisks(m *morning) finding {
	if m.Assessment == nil || len(m.Assessment.Body.Entries) == 0 {
		return unknown("no assessment says which risks there are")
	}
	var stops, not []string
	for _, e := range m.Assessment.Body.Entries {
		if !m.does(e.Stages...) {
			continue
		}
		band, ok := m.Assessment.Body.Matrix.Band(e.After)
		switch {
		case !ok || !onMatrix(e.After):
			return unknown("%s has the score %d x %d, which no band covers", e.Hazard, e.After.Likelihood, e.After.Severity)
		case band.Stops:
			stops = append(stops, fmt.Sprintf("%s: %d x %d is %s", e.Name, e.After.Likelihood, e.After.Severity, band.Word))
		}
	}
	for _, e := range m.worst {
		for _, key := range e.confirmedBy() {
			if m.answer(key) == No {
				not = append(not, e.Name)
			}
		}
	}
	open, oneCheck := m.openWorst()
	switch {
	case len(stops) > 0:
		return notMet("%s", strings.Join(stops, "; "))
	case len(not) > 0:
		return notMet("controls not in place: %s", strings.Join(slices.Compact(not), "; "))
	case len(open) > 0:
		risks, answer := "risks", "answer the checks"
		if len(open) == 1 {
			risks = "risk"
		}
		if oneCheck {
			answer = "answer the check of the worst risks"
		}
		return unknown("%d worst %s not looked at yet: %s", len(open), risks, answer)
	case len(m.worst) == 0:
		return met("no severity 5 risk in today's stages")
	}
	return met("controls of all %d severity 5 risks seen on site", len(m.worst))
}

// briefingFault says why the snapshot's briefing does not count for this
// morning; "" when it does.
func (m *morning) briefingFault() string {
	b := m.Briefing
	switch {
	case b == nil:
		return "no briefing held today"
	case b.Crew != m.Crew || b.Job != m.Job:
		return "the briefing is of another crew or job"
	case b.Day != m.Day || civil.DateOf(b.At, m.Location) != m.Day:
		return "the briefing is of " + m.at(b.At)
	case b.At.After(m.now):
		return "the briefing is dated " + m.at(b.At) + ", after now"
	case m.Assessment != nil && b.Assessment != m.Assessment.ID:
		return fmt.Sprintf("the briefing of %s was about another version than %d", m.clock(b.At), m.Assessment.Version)
	case !slices.ContainsFunc(m.People, func(p Person) bool { return p.ID == b.By && p.Lead }):
		return "the briefing was not held by today's crew lead"
	}
	return ""
}

// briefingHeld is B19.
func briefingHeld(m *morning) finding {
	if why := m.briefingFault(); why != "" {
		return notMet("%s", why)
	}
	var no, open []string
	all := m.checks()
	for _, c := range all {
		switch m.answer(c.Key) {
		case Yes:
		case No:
			no = append(no, c.Question+" no")
		default:
			open = append(open, c.Question)
		}
	}
	switch {
	case len(no) > 0:
		return notMet("%s", strings.Join(no, "; "))
	case len(open) > 0:
		return unknown("%d of %d checks not looked at: %s", len(open), len(all), strings.Join(open, " "))
	}
	return met("held at %s, all %d checks yes", m.clock(m.briefing.At), len(all))
}

// everybodySigned is B08: each person on the crew, today, the version in force,
// and after the last stop was lifted.
func everybodySigned(m *morning) finding {
	if len(m.People) == 0 {
		return unknown("who is on the crew is not known")
	}
	if m.Assessment == nil {
		return notMet("there is no version to sign")
	}
	var who, why []string
	for _, p := range m.People {
		if fault := m.unsigned(p); fault != "" {
			who = append(who, p.Name)
			if fault != notSignedToday { // the usual reason needs no words beside the name
				why = append(why, p.Name+": "+fault)
			}
		}
	}
	if len(who) > 0 {
		return notMet("%s", strings.Join(append([]string{fmt.Sprintf("%d of %d signed", len(m.People)-len(who), len(m.People))}, why...), "; ")).about(who...)
	}
	return met("%d of %d signed version %d", len(m.People), len(m.People), m.Assessment.Version)
}

// notSignedToday is why most people still have to sign.
const notSignedToday = "not signed today"

// unsigned says why a person's signatures do not count; "" when one does.
func (m *morning) unsigned(p Person) string {
	why := notSignedToday
	for _, s := range m.SignOffs {
		if s.Person != p.ID || s.Crew != m.Crew || s.Job != m.Job || s.Day != m.Day {
			continue
		}
		switch {
		case s.ReceivedAt.After(m.now) || civil.DateOf(s.ReceivedAt, m.Location) != m.Day:
			why = "signature received " + m.at(s.ReceivedAt) + ", not today before now"
		case s.Assessment != m.Assessment.ID || s.BodyHash != m.Assessment.BodyHash || !s.BodyHash.Known():
			why = fmt.Sprintf("signed an older text (%s) at %s, version %d is in force: sign again", s.BodyHash.Short(), m.clock(s.ReceivedAt), m.Assessment.Version)
		case !said(s.Statement) || !said(s.TypedName):
			why = "the signature has no statement or no name"
		case !OwnName(s.TypedName, p.Name):
			why = "signed as " + s.TypedName
		case s.Proof != ByPIN:
			why = fmt.Sprintf("signed at %s without a PIN: sign again", m.clock(s.ReceivedAt))
		case len(m.changedSince(s)) > 0:
			why = fmt.Sprintf("signed at %s, and since then %s: sign again", m.clock(s.ReceivedAt), m.changedSince(s))
		case m.lastLift().IsZero():
			return ""
		case !s.ReceivedAt.After(m.lastLift()): // at the same instant: nobody can say which came first
			why = fmt.Sprintf("signed at %s, before the stop was lifted at %s: sign again", m.clock(s.ReceivedAt), m.clock(m.lastLift()))
		default:
			return ""
		}
	}
	return why
}

// changedSince says what a signature was given for that is no longer so; "" when
// it still holds.
func (m *morning) changedSince(s SignOff) string {
	var all []string
	for _, c := range Lapsed(s.GivenFor, m.signedFor) {
		all = append(all, "the "+c.Sentence())
	}
	return strings.Join(all, "; ")
}

// Unsigned says why a person of the crew still has to sign at now, in words for
// the page; "" when the signature counts.
func Unsigned(s Snapshot, p Person, now time.Time) string {
	m := newMorning(s, now)
	switch {
	case m.broken != "":
		return m.broken
	case m.Assessment == nil:
		return "there is no version to sign"
	}
	return m.unsigned(p)
}

// lastLift is the latest instant at which a stop of this job was lifted; the
// zero time when none was.
func (m *morning) lastLift() time.Time {
	var last time.Time
	for _, s := range m.Stops {
		if s.Job == m.Job && !s.Open() && s.LiftedAt.After(last) {
			last = s.LiftedAt
		}
	}
	return last
}

// noStopWork is B11.
func noStopWork(m *morning) finding {
	var open []string
	lifted := 0
	for _, s := range m.Stops {
		switch {
		case s.Job != m.Job:
		case s.Open():
			open = append(open, fmt.Sprintf("%s stopped the work %s: %s", s.By, m.at(s.At), s.Reason))
		default:
			lifted++
		}
	}
	switch {
	case len(open) > 0:
		return notMet("%s", strings.Join(open, "; "))
	case lifted > 0:
		return met("%d lifted, the last %s", lifted, m.at(m.lastLift()))
	}
	return met("none")
}

// Statement is the text a person signs: what they say about which version of
// which assessment, on which day. It is shown before signing and stored with
// the signature, beside the hash of that version's text, which is nothing to
// read. It is empty when there is no version to sign.
func Statement(s Snapshot, p Person) string {
	a := s.Assessment
	if a == nil {
		return ""
	}
	var b strings.Builder
	fmt.Fprintf(&b, "I, %s, work at job %s", p.Name, s.JobRef)
	if s.Address != "" {
		fmt.Fprintf(&b, " (%s)", s.Address)
	}
	fmt.Fprintf(&b, " with crew %s on %s.\n", s.CrewName, s.Day.Long())
	fmt.Fprintf(&b, "I have read, or was read, version %d of its risk assessment and method statement: %d hazards", a.Version, len(a.Body.Entries))
	if n := a.Body.Open(); n > 0 {
		fmt.Fprintf(&b, ", %d of them still to be confirmed and treated as present", n)
	}
	b.WriteString(". I understand its controls and will keep to them.\n")
	b.WriteString("I am fit for this work, and I use the protective equipment it names.\n")
	b.WriteString("I may stop the work at any time, and so may anybody else; only another, named person lifts a stop, and then we all sign again.")
	return b.String()
}
