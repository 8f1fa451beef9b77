package safety

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
)

// Permit is a permit to isolate that nobody has ended, and who answers for it.
type Permit struct {
	ID     uuid.UUID `json:"id"`
	What   string    `json:"what"`   // what is isolated, and from which supplies
	Where  string    `json:"where"`  // the points of isolation
	Key    string    `json:"key"`    // who holds the key, as it was written last
	Holder string    `json:"holder"` // whose permit it is: who isolated, or took it over last
	HeldBy uuid.UUID `json:"held_by"`
	At     time.Time `json:"at"`    // UTC, when it was isolated
	Taken  time.Time `json:"taken"` // UTC, when it was taken over; zero = by nobody
}

// OpenIsolations lists the permits that nobody has ended, the oldest first.
// records may be in any order and of any kinds.
func OpenIsolations(records []Record) []Permit {
	ended, taken := map[string]bool{}, map[string]Record{}
	for _, r := range records {
		permit := strings.TrimSpace(r.Body["permit"])
		switch r.Kind {
		case IsolationEnd:
			ended[permit] = true
		case IsolationTaken:
			if was, before := taken[permit]; !before || later(r, was) {
				taken[permit] = r
			}
		}
	}
	var open []Permit
	for _, r := range records {
		if r.Kind != Isolation || ended[r.ID.String()] {
			continue
		}
		p := Permit{ID: r.ID, What: r.Body["what"], Where: r.Body["where"], Key: r.Body["holds_key"], Holder: r.ByName, HeldBy: r.By, At: r.At}
		if t, over := taken[r.ID.String()]; over {
			p.Holder, p.HeldBy, p.Key, p.Taken = t.ByName, t.By, t.Body["holds_key"], t.At
		}
		open = append(open, p)
	}
	slices.SortFunc(open, func(a, b Permit) int {
		if c := a.At.Compare(b.At); c != 0 {
			return c
		}
		return strings.Compare(a.ID.String(), b.ID.String())
	})
	return open
}

// later tells whether a was recorded after b; of two at one instant the one
// with the higher identity, so that the order in which they are read decides
// nothing.
func later(a, b Record) bool {
	if c := a.RecordedAt.Compare(b.RecordedAt); c != 0 {
		return c > 0
	}
	return a.ID.String() > b.ID.String()
}

// isolationHeld is B22. An open permit says that somebody relies on a circuit
// being dead: a crew works on what is electrical only under a permit that one of
// its own holds. Another crew's must be ended or taken over first.
func isolationHeld(m *morning) finding {
	if !m.does(indoorStages...) {
		if len(m.Isolations) == 0 {
			return needless("no electrical work today")
		}
		return needless("no electrical work today; open: " + m.permitsSaid())
	}
	var others, own, whose, about []string
	for _, p := range m.Isolations {
		said := m.permitSaid(p)
		switch {
		case p.HeldBy == uuid.Nil:
			whose = append(whose, said)
		case slices.ContainsFunc(m.People, func(o Person) bool { return o.ID == p.HeldBy }):
			own = append(own, said)
		default:
			others, about = append(others, said), append(about, p.Holder)
		}
	}
	switch {
	case len(others) > 0:
		return notMet("%s, not of this crew today", strings.Join(others, "; ")).about(slices.Compact(about)...)
	case len(whose) > 0:
		return unknown("whose permit it is is not known: %s", strings.Join(whose, "; "))
	case len(own) > 0:
		return met("held in this crew: %s", strings.Join(own, "; "))
	}
	return met("no permit is open")
}

// permitsSaid names every open permit.
func (m *morning) permitsSaid() string {
	var all []string
	for _, p := range m.Isolations {
		all = append(all, m.permitSaid(p))
	}
	return strings.Join(all, "; ")
}

// permitSaid says what is isolated, since when and by whom.
func (m *morning) permitSaid(p Permit) string {
	holder := p.Holder
	if holder == "" {
		holder = "somebody"
	}
	if !p.Taken.IsZero() {
		return fmt.Sprintf("%s, isolated %s, taken over by %s %s", p.What, m.at(p.At), holder, m.at(p.Taken))
	}
	return fmt.Sprintf("%s, isolated by %s %s", p.What, holder, m.at(p.At))
}
