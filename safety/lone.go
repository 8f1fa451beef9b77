package safety

import (
	_ "embed"
	"fmt"
	"net/mail"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

//go:embed lone_working.csv
var loneCSV string

// Alone says whether a kind of work may be done by one person alone. The zero
// value is not known, which is never yes.
type Alone string

// The answers.
const (
	NeverAlone   Alone = "never"
	AloneChecked Alone = "check_in" // with somebody who is rung at agreed times
)

// LoneRule is one row of what nobody does alone: it applies in one of its
// stages, outdoors where it says so, while its rule over the facts of the job
// is not ruled out.
type LoneRule struct {
	Work     string // "loft work"
	Stages   []string
	Outdoors bool
	Facts    Rule // empty = always
	Answer   Alone
	Source   string
}

var loneRules = readLoneRules(loneCSV)

// LoneRules lists what may be done alone and what not, the strictest first.
func LoneRules() []LoneRule { return slices.Clone(loneRules) }

func readLoneRules(text string) []LoneRule {
	var all []LoneRule
	for _, r := range ownRows("lone_working.csv", text) {
		l := LoneRule{Work: r[0], Outdoors: r[2] == "yes", Facts: mustRule(r[3]), Answer: Alone(r[4]), Source: r[5]}
		if r[1] != "" {
			l.Stages = strings.Split(r[1], "|")
		}
		all = append(all, l)
	}
	return all
}

// secondNeeded tells whether today's work must not be done alone, and why.
// Whatever no rule names is not known to be safe alone.
func (m *morning) secondNeeded() (Truth, string) {
	var open []string
	named := false
	for _, r := range loneRules {
		if !(r.Outdoors && m.outdoors || m.does(r.Stages...)) {
			continue
		}
		named = true
		if r.Answer == AloneChecked {
			continue
		}
		judged := r.Facts.Judge(m.Facts)
		switch judged.Truth {
		case True:
			return True, r.Work
		case Unsure:
			open = append(open, fmt.Sprintf("whether there is %s is not known (%s)", r.Work, names(judged.Missing)))
		}
	}
	switch {
	case len(open) > 0:
		return Unsure, strings.Join(open, "; ")
	case !named:
		return Unsure, "no rule says whether one person may do it"
	}
	return False, ""
}

// CheckIn is whom somebody who works alone rings, when, and what that person
// does when they do not ring. The newest of a crew, job and day counts.
type CheckIn struct {
	ID       uuid.UUID  `json:"id"`
	Crew     uuid.UUID  `json:"crew"`
	Job      uuid.UUID  `json:"job"`
	Day      civil.Date `json:"day"`
	Person   uuid.UUID  `json:"person"`  // who works alone
	Contact  string     `json:"contact"` // name of who is rung
	Phone    string     `json:"phone"`
	EveryMin int        `json:"every_min"`       // [min] between two calls
	IfMissed string     `json:"if_missed"`       // what the contact then does
	Email    string     `json:"email,omitempty"` // where the contact is told that no call came; "" = the office alone is told
	From     time.Time  `json:"from,omitzero"`   // start of the work, from which calls are counted, UTC; zero = from At
	By       uuid.UUID  `json:"by"`
	At       time.Time  `json:"at"` // UTC
}

// The shortest and the longest time between two calls [min] (common practice,
// no source).
const (
	OftenestCheckIn = 15
	RarestCheckIn   = 120
)

// Check refuses an arrangement that would reach nobody, with every fault at
// once. name is that of who works alone.
func (k CheckIn) Check(name string) []error {
	var all []error
	bad := func(field, value, want string) { all = append(all, fault.Bad(field, value, want)) }
	switch {
	case !said(k.Contact):
		bad("contact", k.Contact, "the name of who is rung")
	case OwnName(k.Contact, name):
		bad("contact", k.Contact, "somebody else than who works alone")
	}
	if !isPhone(k.Phone) {
		bad("phone", k.Phone, "a telephone number of 6 to 15 digits")
	}
	if k.EveryMin < OftenestCheckIn || k.EveryMin > RarestCheckIn {
		bad("every_min", fmt.Sprint(k.EveryMin), fmt.Sprintf("%d to %d minutes between two calls", OftenestCheckIn, RarestCheckIn))
	}
	if a, err := mail.ParseAddress(k.Email); k.Email != "" && (err != nil || a.Address != k.Email) {
		bad("email", k.Email, "an e-mail address, or nothing")
	}
	if !said(k.IfMissed) {
		bad("if_missed", k.IfMissed, "what they do when nobody rings, in a few words")
	}
	return all
}

// isPhone tells whether something can be dialled: 6 to 15 digits (the longest
// of ITU-T E.164), perhaps with a plus, spaces, dashes or brackets.
func isPhone(s string) bool {
	digits := 0
	for i, r := range strings.TrimSpace(s) {
		switch {
		case r >= '0' && r <= '9':
			digits++
		case r == '+' && i == 0, strings.ContainsRune(" -()", r):
		default:
			return false
		}
	}
	return digits >= 6 && digits <= 15
}

// checkedIn is B24: where one person works alone and may, they hold the
// competence for it and have somebody who expects their call, and no call that was
// due is missing.
func checkedIn(m *morning) finding {
	switch len(m.People) {
	case 0:
		return unknown("who is on the crew is not known")
	case 1:
	default:
		return needless(fmt.Sprintf("%d on site, nobody is alone", len(m.People)))
	}
	if needed, why := m.secondNeeded(); needed == True {
		return needless("nobody does " + why + " alone: a second person comes, or nobody starts")
	}
	p := m.People[0]
	if why := m.lacks(p, LoneWork); why != "" {
		return notMet("%s", why).about(p.Name)
	}
	k := m.newestCheckIn(p)
	switch {
	case k == nil:
		return notMet("%s works alone, and nobody expects a call", p.Name).about(p.Name)
	case len(k.Check(p.Name)) > 0:
		return notMet("the arrangement of %s lacks something: %s", m.clock(k.At), k.Check(p.Name)[0]).about(p.Name)
	}
	if w := LoneWatchOf(m.Snapshot, p, m.now); w.Overdue(m.now) {
		return notMet("%s; %s is on %s", w.Sentence(p.Name, m.now, m.Location), k.Contact, k.Phone).about(p.Name)
	}
	return met("%s", m.checkInWords(*k, p))
}

// newestCheckIn is the last arrangement of this morning for a person; nil when
// there is none up to now.
func (m *morning) newestCheckIn(p Person) *CheckIn {
	var newest *CheckIn
	for i, k := range m.CheckIns {
		if k.Crew == m.Crew && k.Job == m.Job && k.Day == m.Day && k.Person == p.ID && !k.At.After(m.now) &&
			(newest == nil || k.At.After(newest.At)) {
			newest = &m.CheckIns[i]
		}
	}
	return newest
}

// checkInWords says who rings whom and by when next.
func (m *morning) checkInWords(k CheckIn, p Person) string {
	said := fmt.Sprintf("%s rings %s on %s every %d min", p.Name, k.Contact, k.Phone, k.EveryMin)
	switch w := LoneWatchOf(m.Snapshot, p, m.now); {
	case !w.Left.IsZero():
		return said + "; " + w.Sentence(p.Name, m.now, m.Location)
	case w.Last.After(m.now) || len(m.LoneCalls) == 0:
		said += ", first by " + m.clock(w.Due)
	default:
		said += ", next by " + m.clock(w.Due)
	}
	return said + "; if not: " + strings.TrimSpace(k.IfMissed)
}

// AloneToday tells whether one person works alone on a morning where they may,
// so that a check-in is to be arranged, and who it is.
func AloneToday(s Snapshot, now time.Time) (Person, bool) {
	m := newMorning(s, now)
	if m.broken != "" || len(m.People) != 1 {
		return Person{}, false
	}
	needed, _ := m.secondNeeded()
	return m.People[0], needed != True
}

// CheckInNow is the arrangement that counts for somebody who works alone; nil
// when there is none.
func CheckInNow(s Snapshot, p Person, now time.Time) *CheckIn {
	return newMorning(s, now).newestCheckIn(p)
}
