package web

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
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
		says = count(n, "condition", "conditions") + " not met"
		if n == 0 {
			says = count(u, "condition", "conditions") + " unknown"
		} else if u > 0 {
			says += fmt.Sprintf(", %d unknown", u)
		}
		says += fmt.Sprintf(", %d met.", len(m.Met()))
	}
	if !m.DecidedAt.IsZero() {
		says += " Decided " + stamp(m.DecidedAt) + "."
	}
	return upperFirst(says)
}

// Some is which of the day's tasks may start by themselves where the day is not
// clear. The zero value is none.
type Some struct {
	Tasks []string // in words
	Not   []string // the day's other tasks
	Until time.Time
}

func (s Some) says() string {
	if len(s.Tasks) == 0 {
		return ""
	}
	says := "Clear for some tasks: " + strings.Join(s.Tasks, " and ")
	if !s.Until.IsZero() {
		says += ", until " + s.Until.Format("15:04")
	}
	if len(s.Not) > 0 {
		says += ". Not for " + strings.Join(s.Not, " and ")
	}
	return says + "."
}

// SaysSome says which of the day's tasks are clear by themselves; "" beside a
// clear verdict, beside an open stop and where there are none.
func (m Morning) SaysSome() string {
	if m.IsClear() || len(m.OpenStops()) > 0 {
		return ""
	}
	return m.ClearFor.says()
}

// SaysSome is that of Morning.
func (r MorningRow) SaysSome() string {
	if r.IsClear() || r.Stopped {
		return ""
	}
	return r.ClearFor.says()
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
	if p.Plan.Version == 0 {
		return "Nothing is proposed."
	}
	if p.Moved == 0 {
		says := "Nothing would move: every visit stays as it is."
		switch d := p.Difference(); {
		case d < 0:
			says += fmt.Sprintf(" By what is known now the same visits cost %s less.", -d)
		case d > 0:
			says += fmt.Sprintf(" By what is known now the same visits cost %s more.", d)
		}
		return says
	}
	says := count(p.Moved, "visit", "visits") + " would change, "
	switch p.Same {
	case 0:
		says += "none stays as it is."
	case 1:
		says += "1 stays as it is."
	default:
		says += fmt.Sprintf("%d stay as they are.", p.Same)
	}
	switch {
	case p.NewlyOut == 1:
		says += " 1 stage loses its place."
	case p.NewlyOut > 1:
		says += fmt.Sprintf(" %d stages lose their place.", p.NewlyOut)
	}
	says += " " + p.disturbs()
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

// Says counts the pins by what became of them.
func (p Pins) Says() string {
	if len(p.Rows) == 0 {
		return "Nothing is fixed: the planner is free within the facts."
	}
	n := map[string]int{}
	for _, r := range p.Rows {
		n[r.State]++
	}
	says := count(len(p.Rows), "pin", "pins")
	if n[""] == len(p.Rows) {
		return says + ", and no plan is published yet."
	}
	says += fmt.Sprintf(": %d kept", n["Kept"])
	for _, s := range []struct{ state, one, many string }{
		{"Waits", "waits for a new plan", "wait for a new plan"}, {"Clashes", "clashes", "clash"}, {"Moot", "is moot", "are moot"}, {"Unknown", "is unknown", "are unknown"},
	} {
		if n[s.state] > 0 {
			says += ", " + count(n[s.state], s.one, s.many)
		}
	}
	return says + ". The planner keeps each, or says here which fact stands against it."
}

// namedGroups is how many parties a sentence names; more are counted.
const namedGroups = 3

// disturbs says whom the proposal disturbs.
func (p Proposal) disturbs() string {
	n := len(p.Groups)
	if n > namedGroups {
		return fmt.Sprintf("It disturbs %d parties.", n)
	}
	says := "It disturbs "
	for i, g := range p.Groups {
		switch {
		case i > 0 && i == n-1:
			says += " and "
		case i > 0:
			says += ", "
		}
		says += g.Whom
	}
	return says + "."
}

// UnplannedSays tells how many of the stages without a place are new.
func (p Proposal) UnplannedSays() string {
	switch n := len(p.Unplanned); {
	case p.Base == 0:
		return ""
	case p.NewlyOut == 0:
		return "As in the published plan: the proposal takes no stage out."
	case p.NewlyOut == n && n == 1:
		return "It has a place in the published plan."
	case p.NewlyOut == n:
		return "All of them have a place in the published plan."
	default:
		return fmt.Sprintf("%d of these %d %s a place in the published plan.", p.NewlyOut, n, map[bool]string{true: "has", false: "have"}[p.NewlyOut == 1])
	}
}

// itemChange is one item of two plans' costs.
type itemChange struct {
	Item         string
	Was, Becomes Money
}

// Change is what the item costs more.
func (c itemChange) Change() string { return (c.Becomes - c.Was).Change() }

// Items sets side by side what the two plans cost for the items that differ, in
// the proposal's order. Those that do not are one line at the end, so that the
// lines still add up to the total.
func (p Proposal) Items() []itemChange {
	var all []itemChange
	for _, i := range p.Cost.Items {
		all = append(all, itemChange{Item: i.Item, Becomes: i.Amount})
	}
	for _, i := range p.Was.Items {
		at := slices.IndexFunc(all, func(c itemChange) bool { return c.Item == i.Item })
		if at < 0 {
			all, at = append(all, itemChange{Item: i.Item}), len(all)
		}
		all[at].Was = i.Amount
	}
	var items []itemChange
	var alike []string
	rest := itemChange{}
	for _, c := range all {
		if c.Was != c.Becomes {
			items = append(items, c)
			continue
		}
		alike = append(alike, c.Item)
		rest.Was, rest.Becomes = rest.Was+c.Was, rest.Becomes+c.Becomes
	}
	if len(alike) > 0 {
		rest.Item = strings.Join(alike, ", ")
		items = append(items, rest)
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
		return slices.Contains([]string{"kind", "for_whom", "location", "description", "on", "at", "risks", "action_taken", "further", "by_name", "by_position", "load_class", "result", "design_ref", "lifts", "ties", "received_by"}, f.Field)
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

// Sorted gives first the bookings that wait for an answer, then those to come,
// those that stand, and those that are over, each by the day they go up. Of a
// long list those are folded that neither wait among the first nor come up or
// down within a week.
func (p ScaffoldPage) Sorted() []Wanted {
	sorted := slices.Clone(p.Bookings)
	slices.SortStableFunc(sorted, func(a, b Wanted) int {
		return cmp.Or(cmp.Compare(a.turn(), b.turn()), cmp.Compare(a.Erect, b.Erect))
	})
	if len(sorted) <= bookingsOpen {
		return sorted
	}
	asking := 0
	for i := range sorted {
		w := &sorted[i]
		if w.WantsAnswer() {
			asking++
		}
		w.Folded = !(w.WantsAnswer() && asking <= asksOpen || w.State == WantedDown || w.soon(p.AsOf) || p.faultOfBooking(w.ID))
	}
	return sorted
}

const (
	bookingsOpen = 4 // as many are shown whole whatever they are
	asksOpen     = 3 // so many of those that wait for an answer are
	soonDays     = 7
)

// soon tells whether the booking's next step is less than a week off, or late.
func (w Wanted) soon(now time.Time) bool {
	next := w.Erect
	switch w.State {
	case WantedStruck, WantedCancelled:
		return false
	case WantedStanding:
		next = w.Strike
	}
	return !now.IsZero() && string(next) <= now.AddDate(0, 0, soonDays).Format(time.DateOnly)
}

// faultOfBooking tells whether something is wrong with a form of a booking.
func (p ScaffoldPage) faultOfBooking(id string) bool {
	return slices.ContainsFunc([]string{"on-", "file-", "up-", "down-"}, func(field string) bool { return p.FaultOf(field+id) != "" })
}

// turn tells how soon a booking wants to be read.
func (w Wanted) turn() int {
	switch w.State {
	case WantedAnswer:
		return 0
	case WantedStanding:
		return 2
	case WantedStruck, WantedCancelled:
		return 3
	default:
		return 1
	}
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
	Asks    bool // it waits for the scaffold firm's answer
}

// monthsShown is how many months the calendar shows at most.
const monthsShown = 4

// Months gives the months from this one on, or from the first date that is to
// come, to the last date. What lies before this month is in the list: a scaffold
// that stands for long does not push out what is to come.
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
				events[string(e.day)] = append(events[string(e.day)], monthEvent{b.ID, b.Ref, e.up, b.WantsAnswer()})
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
	if now := p.AsOf; !now.IsZero() {
		if day := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, time.UTC); day.After(first) {
			first = day
		}
	}
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
