package web

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// The sentences that stand under each page's question.

// Says is the morning's answer in one line.
func (m Morning) Says() string {
	says := ""
	n, u := len(m.NotMet()), len(m.Unknown())
	switch {
	case m.IsClear():
		says = fmt.Sprintf("%s.", upperFirst(count(len(m.Met()), "condition is met", "conditions are met")))
	case n+u == 0:
		says = "No condition was looked at."
	default:
		says = fmt.Sprintf("%s not met, %d unknown, %d met.", count(n, "condition", "conditions"), u, len(m.Met()))
		if n == 0 {
			says = fmt.Sprintf("%s unknown, %d met.", count(u, "condition", "conditions"), len(m.Met()))
		}
	}
	if !m.DecidedAt.IsZero() {
		says += " Decided " + stamp(m.DecidedAt) + "."
	}
	return upperFirst(says)
}

// IsClear tells whether the crew may start. Conditions that contradict a clear
// verdict, or none at all, are a fault of whoever filled the page, and the page
// does not say clear then.
func (m Morning) IsClear() bool {
	return m.Verdict == Clear && len(m.Met()) > 0 && len(m.NotMet())+len(m.Unknown()) == 0 && len(m.OpenStops()) == 0
}

// Told is the verdict as the page shows it.
func (m Morning) Told() Verdict {
	if m.IsClear() {
		return Clear
	}
	return NotClear
}

// OpenStops gives the stops that nobody has lifted.
func (m Morning) OpenStops() []Stop { return m.stops(false) }

// LiftedStops gives the stops that somebody has lifted.
func (m Morning) LiftedStops() []Stop { return m.stops(true) }

func (m Morning) stops(lifted bool) []Stop {
	var out []Stop
	for _, s := range m.Stops {
		if (s.LiftedBy != "") == lifted {
			out = append(out, s)
		}
	}
	return out
}

// Signed counts who has signed for the version in force.
func (m Morning) Signed() int {
	n := 0
	for _, s := range m.Signers {
		if s.Signed {
			n++
		}
	}
	return n
}

// IsClear tells whether the crew may start, as Morning.IsClear does.
func (r MorningRow) IsClear() bool {
	return r.Verdict == Clear && r.Met > 0 && len(r.NotMet)+len(r.Unknown) == 0 && !r.Stopped
}

// Told is the verdict as the page shows it.
func (r MorningRow) Told() Verdict {
	if r.IsClear() {
		return Clear
	}
	return NotClear
}

// Says is the overview's answer in one line.
func (m Mornings) Says() string {
	working, clear := 0, 0
	for _, r := range m.Crews {
		if r.Off == "" {
			working++
		}
		if r.Off == "" && r.IsClear() {
			clear++
		}
	}
	if working == 0 {
		return "No crew works."
	}
	return fmt.Sprintf("%d of %s may start.", clear, count(working, "crew", "crews"))
}

// Says is the proposal's answer in one line.
func (p Proposal) Says() string {
	if p.Moves() == 0 {
		return fmt.Sprintf("Nothing would move: %s as %s.", count(p.Same, "visit stays", "visits stay"), map[bool]string{true: "it is", false: "they are"}[p.Same == 1])
	}
	says := fmt.Sprintf("%s would move, %s.", upperFirst(count(p.Moves(), "thing", "things")), count(p.Same, "visit stays", "visits stay"))
	switch d := p.Difference(); {
	case d < 0:
		says += fmt.Sprintf(" The plan would cost %s less.", -d)
	case d > 0:
		says += fmt.Sprintf(" The plan would cost %s more.", d)
	default:
		says += " The plan would cost the same."
	}
	return says
}

// itemChange is one item of two plans' costs.
type itemChange struct {
	Item         string
	Was, Becomes Money
}

// Change is what the item costs more.
func (c itemChange) Change() string { return (c.Becomes - c.Was).Change() }

// Items sets the two plans' costs side by side, in the proposal's order.
func (p Proposal) Items() []itemChange {
	var items []itemChange
	for _, i := range p.Cost.Items {
		items = append(items, itemChange{Item: i.Item, Becomes: i.Amount})
	}
	for _, i := range p.Was.Items {
		at := slices.IndexFunc(items, func(c itemChange) bool { return c.Item == i.Item })
		if at < 0 {
			items, at = append(items, itemChange{Item: i.Item}), len(items)
		}
		items[at].Was = i.Amount
	}
	return items
}

// Says is the list's answer in one line.
func (j Jobs) Says() string {
	open, late, held := 0, 0, 0
	for _, r := range j.Rows {
		if r.State != "open" {
			continue
		}
		open++
		if r.LateDays > 0 {
			late++
		}
		if r.Holds != "" {
			held++
		}
	}
	return upperFirst(fmt.Sprintf("%s, %d planned after the promise, %d held by something.", count(open, "open job", "open jobs"), late, held))
}

// Says is what the file would do, in one line.
func (p Import) Says() string {
	if len(p.Bad) > 0 {
		return fmt.Sprintf("%s: %s to put right, so nothing would be taken.", p.FileName, count(len(p.Bad), "thing", "things"))
	}
	if !p.Ready() {
		return fmt.Sprintf("%s: nothing would change, %s as they are.", p.FileName, count(p.Same, "job stays", "jobs stay"))
	}
	return fmt.Sprintf("%s: %s, %d unchanged.", p.FileName, p.Doing(), p.Same)
}

// Doing is what confirming does, in words.
func (p Import) Doing() string {
	return fmt.Sprintf("add %s, change %d", count(len(p.New), "job", "jobs"), len(p.Changed))
}

// ReportSent tells whether the report form came back with something wrong.
func (p JobPage) ReportSent() bool {
	return slices.ContainsFunc(p.Faults, func(f Fault) bool {
		return slices.Contains([]string{"kind", "for_whom", "location", "description", "on", "at", "risks", "action_taken", "further", "by_name", "by_position", "load_class", "result"}, f.Field)
	})
}

// EventSent tells whether the event form came back with something wrong.
func (p JobPage) EventSent() bool {
	return slices.ContainsFunc(p.Faults, func(f Fault) bool {
		return slices.Contains([]string{"what", "detail", "event_on", "event_at"}, f.Field)
	})
}

// BoardWidth counts the board's columns with the one of names.
func (w Week) BoardWidth() int { return w.Columns() + 1 }

// Told is what happened, in one sentence.
func (p Problem) Told() string {
	if p.Say != "" {
		return p.Say
	}
	switch p.Status {
	case 401:
		return "You are not signed in."
	case 403:
		return "You may not open this page."
	case 404:
		return "There is no such page here, or not for you."
	case 409, 412:
		return "Somebody else changed this before you did."
	case 503:
		return "The service cannot answer now."
	default:
		return "The service failed to do what you asked. Nothing was saved."
	}
}

// Next is what to do next, in one sentence.
func (p Problem) Next() string {
	if p.Do != "" {
		return p.Do
	}
	switch p.Status {
	case 401:
		return "Sign in and try again."
	case 403:
		return "Ask the office whether you should."
	case 404:
		return "Look whether the address is whole. A private link may have run out: ask whoever sent it for a new one."
	case 409, 412:
		return "Look at it as it is now, and decide again."
	case 503:
		return "Wait a minute and try again. What you sent was not saved."
	default:
		return "Try again. If it fails again, tell the office."
	}
}

// Says is the scaffold firm's answer in one line.
func (p ScaffoldPage) Says() string {
	waits, live := 0, 0
	for _, b := range p.Bookings {
		switch b.State {
		case WantedCancelled, WantedStruck:
			continue
		case WantedAnswer:
			waits++
		}
		live++
	}
	if live == 0 {
		return "nothing is booked with you now."
	}
	if waits == 0 {
		return fmt.Sprintf("%s, none waits for your answer.", count(live, "scaffold", "scaffolds"))
	}
	return fmt.Sprintf("%s, %s for your answer.", count(live, "scaffold", "scaffolds"), count(waits, "waits", "wait"))
}

// Sorted gives the bookings by the day they go up, those that are over last.
func (p ScaffoldPage) Sorted() []Wanted {
	over := func(w Wanted) bool { return w.State == WantedCancelled || w.State == WantedStruck }
	sorted := slices.Clone(p.Bookings)
	slices.SortStableFunc(sorted, func(a, b Wanted) int {
		if over(a) != over(b) {
			if over(b) {
				return -1
			}
			return 1
		}
		return cmp.Compare(a.Erect, b.Erect)
	})
	return sorted
}

// Cancelled tells whether the booking is off.
func (w Wanted) Cancelled() bool { return w.State == WantedCancelled }

// WantsAnswer tells whether the booking waits for the scaffold firm.
func (w Wanted) WantsAnswer() bool { return w.State == WantedAnswer }

// month is one month of the scaffold firm's calendar.
type month struct {
	Name  string
	Weeks [][]monthDay // seven days each, from Monday
}

type monthDay struct {
	Number int // 0 = not of this month
	Events []monthEvent
}

type monthEvent struct {
	ID, Ref string
	Up      bool
}

// monthsShown is how many months the calendar shows at most.
const monthsShown = 4

// Months gives the months from the first live date on.
func (p ScaffoldPage) Months() []month {
	events := map[string][]monthEvent{}
	var days []string
	for _, b := range p.Bookings {
		if b.State == WantedCancelled {
			continue
		}
		for _, e := range []struct {
			day Day
			up  bool
		}{{b.Erect, true}, {b.Strike, false}} {
			if e.day.Known() {
				events[string(e.day)] = append(events[string(e.day)], monthEvent{b.ID, b.Ref, e.up})
				days = append(days, string(e.day))
			}
		}
	}
	if len(days) == 0 {
		return nil
	}
	slices.Sort(days)
	first, _ := Day(days[0]).parsed()
	last, _ := Day(days[len(days)-1]).parsed()
	var months []month
	for at := first.AddDate(0, 0, 1-first.Day()); !at.After(last) && len(months) < monthsShown; at = at.AddDate(0, 1, 0) {
		months = append(months, monthOf(at, events))
	}
	return months
}

func monthOf(first time.Time, events map[string][]monthEvent) month {
	m := month{Name: first.Format("January 2006")}
	week := make([]monthDay, 0, 7)
	for range (int(first.Weekday()) + 6) % 7 {
		week = append(week, monthDay{})
	}
	for d := first; d.Month() == first.Month(); d = d.AddDate(0, 0, 1) {
		week = append(week, monthDay{d.Day(), events[d.Format(time.DateOnly)]})
		if len(week) == 7 {
			m.Weeks, week = append(m.Weeks, week), make([]monthDay, 0, 7)
		}
	}
	if len(week) > 0 {
		for len(week) < 7 {
			week = append(week, monthDay{})
		}
		m.Weeks = append(m.Weeks, week)
	}
	return m
}
