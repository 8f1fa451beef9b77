package schedule

import (
	"strings"

	"toeboard/schedule/ical"
)

// bookingLetter is what a scaffold firm is told of one change, as words. Whoever
// writes it into the outbox adds the recipient.
type bookingLetter struct {
	subject string
	says    []string
	facts   [][2]string
	ends    []string
}

// letterOf tells a scaffold firm of a change. Customers' names are not written:
// the scaffold firm needs the house, not who lives there.
func letterOf(c BookingChange, j Job, installer string, office Contact) bookingLetter {
	b := c.After
	what := "Scaffold " + j.Ref + ", " + oneLine(j.Site.Address)
	l := bookingLetter{says: []string{c.Why}, facts: [][2]string{{"Where", place(j.Site)}, {"Up", b.ErectOn.Long()}, {"Down", b.StrikeOn.Long()}, {"Job", j.Ref}}}
	for _, line := range ForScaffold(j.Site) {
		name, is, found := strings.Cut(line, ": ")
		if !found {
			name, is = "Careful", line
		}
		l.facts = append(l.facts, [2]string{name, is})
	}
	switch {
	case b.State == BookingCancelled:
		l.subject = "CANCELLED: " + what
		l.facts = l.facts[:4]
		l.ends = append(l.ends, "Nothing is to be done any more. If you have set out already, please ring us.")
	case b.State == BookingConfirmed:
		l.subject = what + ": agreed, up " + b.ErectOn.Short()
		l.ends = append(l.ends, "Nothing is to be answered: these are the days that you offered.")
	case b.State.Stands():
		l.subject = what + ": down " + b.StrikeOn.Short()
		l.ends = append(l.ends, answerWords)
	case c.Before == nil:
		l.subject = what + ": up " + b.ErectOn.Short() + ", down " + b.StrikeOn.Short()
		l.ends = append(l.ends, answerWords)
	default:
		l.subject = "Changed: " + what + ": up " + b.ErectOn.Short() + ", down " + b.StrikeOn.Short()
		l.ends = append(l.ends, answerWords)
	}
	who := installer
	if s := office.String(); s != "" {
		who += ": " + s
	}
	l.ends = append(l.ends, "Questions: "+who+".")
	return l
}

const answerWords = "Please accept the invitation in this mail to confirm, or propose another day in it. Your page, behind the link above, does the same with two buttons."

// invitationOf makes the invitation of a change; whoever sends it fills in where
// answers go.
func invitationOf(c BookingChange, j Job, f ScaffoldFirm, installer string, office Contact) ical.Invitation {
	v := ical.Invitation{Method: ical.Request, Event: event(c.After, &j, office), At: instant(c.At),
		Organizer: ical.Party{Name: installer}, Attendee: ical.Party{Name: f.Name, Address: f.Email}}
	if v.At.Before(c.After.ChangedAt) {
		v.At = c.After.ChangedAt // of two messages with one sequence the later one counts (RFC 5546 2.1.5)
	}
	if c.After.State == BookingCancelled {
		v.Method = ical.Cancel
	}
	return v
}

// tellable tells whether a scaffold firm is told of a change by a message: of
// what it did itself, or what changes nothing for it, it is not.
func (c BookingChange) tellable() bool {
	return !c.Nothing() && (c.Before == nil || c.After.Sequence > c.Before.Sequence)
}
