package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// printPlan writes a plan as a person reads it: a line a day, a column a crew,
// then the scaffold bookings' days, the money and what found no place.
func printPlan(w io.Writer, s schedule.Snapshot, p schedule.Plan, days int) {
	fmt.Fprintf(w, "\nPlan %d, %s to %s (%d visits); its first %d working days:\n\n", p.Version, p.FirstDay.Short(), (p.FirstDay + civil.Date(p.Days-1)).Short(), len(p.Visits), days)
	printBoard(w, s, p, days)
	printCost(w, s, p)
	printUnplanned(w, s, p)
	fmt.Fprintf(w, "\n%s\n", schedule.HolidaysKnown(s.Holidays, p.FirstDay+civil.Date(p.Days-1)))
}

// stageWords are short enough for a column; the full words stand on the pages.
var stageWords = map[schedule.StageKind]string{
	schedule.ScaffoldErection: "erect", schedule.RoofWork: "roof", schedule.FirstFix: "1st fix",
	schedule.SecondFix: "2nd fix", schedule.Commissioning: "commission", schedule.ScaffoldStrike: "strike",
}

// printBoard writes the first days of the plan, working days only.
func printBoard(w io.Writer, s schedule.Snapshot, p schedule.Plan, days int) {
	cells := boardCells(s, p)
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	head := []string{"", ""}
	for _, c := range s.Crews {
		head = append(head, c.Name)
	}
	for _, f := range s.ScaffoldFirms {
		head = append(head, f.Name)
	}
	fmt.Fprintln(t, strings.Join(head, "\t"))
	for d, shown := p.FirstDay, 0; shown < days && d < p.FirstDay+civil.Date(p.Days); d++ {
		if !schedule.WorkingDay(d, s.Holidays) {
			continue
		}
		shown++
		for _, h := range []civil.Half{civil.Morning, civil.Afternoon} {
			fmt.Fprintln(t, strings.Join(boardRow(s, cells, d.In(h)), "\t"))
		}
	}
	t.Flush()
}

type boardKey struct {
	who  uuid.UUID
	when civil.HalfDay
}

func boardCells(s schedule.Snapshot, p schedule.Plan) map[boardKey]string {
	refs, halves := jobRefs(s), stageHalves(s)
	cells := map[boardKey]string{}
	for _, v := range p.Visits {
		who := v.Crew
		if who == uuid.Nil {
			who = v.ScaffoldFirm
		}
		work := len(v.HalfDays) - v.Reserve(halves[v.Job][v.Stage])
		for i, h := range v.HalfDays {
			k := boardKey{who, h}
			if cells[k] != "" {
				cells[k] += ", "
			}
			if cells[k] += refs[v.Job] + " " + stageWords[v.Stage]; i >= work {
				cells[k] += " (kept)"
			}
		}
	}
	return cells
}

func boardRow(s schedule.Snapshot, cells map[boardKey]string, h civil.HalfDay) []string {
	day, half := h.Date().Short(), "am"
	if h.Half() == civil.Afternoon {
		day, half = "", "pm"
	}
	row := []string{day, half}
	for _, c := range s.Crews {
		row = append(row, orDash(cells[boardKey{c.ID, h}]))
	}
	for _, f := range s.ScaffoldFirms {
		row = append(row, orDash(cells[boardKey{f.ID, h}]))
	}
	return row
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

// stageHalves gives by job the half-days of work of each stage that has not
// begun; more than any visit has for the others, of which nothing is kept.
func stageHalves(s schedule.Snapshot) map[uuid.UUID]map[schedule.StageKind]int {
	all := map[uuid.UUID]map[schedule.StageKind]int{}
	for _, j := range s.Jobs {
		all[j.ID] = map[schedule.StageKind]int{}
		for _, st := range j.Stages {
			if all[j.ID][st.Kind] = st.HalfDays; st.State != schedule.StatePlanned {
				all[j.ID][st.Kind] = 2 * s.Days
			}
		}
	}
	return all
}

func jobRefs(s schedule.Snapshot) map[uuid.UUID]string {
	refs := map[uuid.UUID]string{}
	for _, j := range s.Jobs {
		refs[j.ID] = j.Ref
	}
	return refs
}

// printCost writes the sums by item, largest first, and the line that weighs
// most in each.
func printCost(w io.Writer, s schedule.Snapshot, p schedule.Plan) {
	fmt.Fprintf(w, "\nWhat the plan costs: %s\n\n", p.Cost.Total)
	sums := p.Cost.By()
	items := make([]schedule.CostItem, 0, len(sums))
	for item := range sums {
		items = append(items, item)
	}
	slices.SortFunc(items, func(a, b schedule.CostItem) int {
		if sums[a] != sums[b] {
			return int(sums[b] - sums[a])
		}
		return strings.Compare(string(a), string(b))
	})
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, item := range items {
		fmt.Fprintf(t, "%s\t%12s\tmost of it: %s\n", item, sums[item], heaviest(p.Cost, item).Why)
	}
	t.Flush()
}

func heaviest(c schedule.Cost, item schedule.CostItem) schedule.CostLine {
	var most schedule.CostLine
	for _, l := range c.Lines {
		if l.Item == item && (most.Why == "" || l.Amount > most.Amount) {
			most = l
		}
	}
	return most
}

func printUnplanned(w io.Writer, s schedule.Snapshot, p schedule.Plan) {
	if len(p.Unplanned) == 0 {
		return
	}
	refs := jobRefs(s)
	fmt.Fprintf(w, "\nNot planned\n\n")
	for _, u := range p.Unplanned {
		fmt.Fprintf(w, "%s %s: %s\n", refs[u.Job], u.Stage, u.Why)
	}
}

// printBookings writes each scaffold firm's live bookings by day of erection.
func printBookings(w io.Writer, s schedule.Snapshot, bookings []schedule.Booking) {
	jobs := map[uuid.UUID]schedule.Job{}
	for _, j := range s.Jobs {
		jobs[j.ID] = j
	}
	fmt.Fprintf(w, "\nScaffold bookings\n\n")
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "scaffold firm\tjob\terect\tstrike\tstate\taddress")
	for _, f := range s.ScaffoldFirms {
		for _, b := range liveOf(bookings, f.ID) {
			fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\n", f.Name, jobs[b.Job].Ref, b.ErectOn.Short(), b.StrikeOn.Short(), b.State, jobs[b.Job].Site.Address)
		}
	}
	t.Flush()
}

func liveOf(bookings []schedule.Booking, firm uuid.UUID) []schedule.Booking {
	var of []schedule.Booking
	for _, b := range bookings {
		if b.ScaffoldFirm == firm && b.State != schedule.BookingCancelled {
			of = append(of, b)
		}
	}
	slices.SortFunc(of, func(a, b schedule.Booking) int {
		if a.ErectOn != b.ErectOn {
			return int(a.ErectOn - b.ErectOn)
		}
		return strings.Compare(a.UID, b.UID)
	})
	return of
}
