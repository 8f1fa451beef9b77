package main

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"toeboard/schedule/solver"
	"toeboard/web"
)

// solvedFile is an instance with the best schedule found.
type solvedFile struct {
	instanceFile
	result   solver.Result
	bound    solver.Slot
	seed     uint64
	deadEnds int // that the exact search met
	took     time.Duration
	stopped  bool // by the clock or by hand, before its end
}

func (s solvedFile) makespan() solver.Slot { return solver.Slot(s.result.Cost / s.data.Makespan) }

// says is what the schedule comes to, in one sentence.
func (s solvedFile) says() string {
	length := s.makespan()
	if length == s.bound {
		return fmt.Sprintf("Makespan %d slots: no schedule is shorter.", length)
	}
	return fmt.Sprintf("Makespan %d slots; none can take less than %d (gap %.1f%%). What lies between is not known.",
		length, s.bound, 100*float64(length-s.bound)/float64(s.bound))
}

// print writes the schedule as a person reads it, at most 100 columns wide.
func (s solvedFile) print(w io.Writer) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s: %d jobs that take time, %d resources\n\n%s\n", s.name, len(s.data.Activities), len(s.data.Resources), s.says())
	fmt.Fprintf(&b, "%d schedules with seed %d, %d dead ends in the exact search, %.2f s", s.result.Schedules, s.seed, s.deadEnds, s.took.Seconds())
	if s.stopped {
		b.WriteString(".\nStopped before its end: doing it again may give another")
	}
	b.WriteString(".\n\n")
	s.printBars(&b)
	b.WriteString("\n")
	s.printLoads(&b)
	_, err := w.Write(b.Bytes())
	return err
}

// lineColumns is how many columns a line of slots takes; with the names in front of it
// that makes 100.
const lineColumns = 80

// scale is how many slots one column stands for.
func (s solvedFile) scale() int { return (int(s.makespan()) + lineColumns - 1) / lineColumns }

// printBars writes a line for each job, in the order of their starts.
func (s solvedFile) printBars(b *bytes.Buffer) {
	scale, tight := s.scale(), s.tight()
	fmt.Fprintf(b, "%6s %12s %s\n", "job", "slots", s.ruler())
	for _, i := range s.byStart() {
		at := s.result.Placed[i]
		mark := "="
		if tight[i] {
			mark = "#"
		}
		from, to := int(at.Start)/scale, int(at.End)/scale
		fmt.Fprintf(b, "%6d %12s %s%s\n", s.jobs[i], fmt.Sprintf("%d-%d", at.Start, at.End), strings.Repeat(" ", from), strings.Repeat(mark, to-from+1))
	}
	fmt.Fprintf(b, "\n# cannot end later in a schedule of this length, = can.")
	if scale > 1 {
		fmt.Fprintf(b, " One column is %d slots.", scale)
	}
	b.WriteString("\n")
}

// ruler writes the number of a slot above its column, each tenth column.
func (s solvedFile) ruler() string {
	var b strings.Builder
	for column := 0; column*s.scale() < int(s.makespan()); column += 10 {
		fmt.Fprintf(&b, "%-10d", column*s.scale())
	}
	return strings.TrimRight(b.String(), " ")
}

// printLoads writes by resource how much of it is used, and when.
func (s solvedFile) printLoads(b *bytes.Buffer) {
	fmt.Fprintf(b, "%8s %4s %5s %s\n", "resource", "has", "used", s.ruler())
	for r, used := range s.used() {
		capacity, sum := int(s.data.Resources[r].Capacity[0]), 0
		for _, u := range used {
			sum += u
		}
		fmt.Fprintf(b, "%8s %4d %4d%% %s\n", resourceName(r), capacity, share(sum, capacity*len(used)), tenths(used, capacity, s.scale()))
	}
	b.WriteString("\nTenths of the capacity in use, rounded down: 0 to 9, # is all of it, a blank none.\nA column shows its fullest slot.\n")
}

func resourceName(r int) string { return "R" + strconv.Itoa(r+1) }

func share(part, of int) int { return 100 * part / max(1, of) }

// tenths writes a load as one character a column.
func tenths(used []int, capacity, scale int) string {
	var b strings.Builder
	for column := range slices.Chunk(used, scale) {
		switch most := slices.Max(column); {
		case most == 0:
			b.WriteByte(' ')
		case most >= capacity:
			b.WriteByte('#')
		default:
			b.WriteString(strconv.Itoa(10 * most / capacity))
		}
	}
	return strings.TrimRight(b.String(), " ")
}

func (s solvedFile) byStart() []int {
	order := make([]int, len(s.result.Placed))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		x, y := s.result.Placed[a], s.result.Placed[b]
		return cmp.Or(cmp.Compare(x.Start, y.Start), cmp.Compare(x.End, y.End), cmp.Compare(a, b))
	})
	return order
}

// used adds up by resource and slot what the jobs take.
func (s solvedFile) used() [][]int {
	used := make([][]int, len(s.data.Resources))
	for r := range used {
		used[r] = make([]int, s.makespan())
	}
	for i, at := range s.result.Placed {
		for _, u := range s.data.Activities[i].Modes[0].Uses {
			for slot := at.Start; slot <= at.End; slot++ {
				used[u.Resource][slot] += int(u.Amount)
			}
		}
	}
	return used
}

// tight tells of each job whether it stays where it is when all are shifted
// right as far as the schedule's length, what follows them and the resources
// allow, the last to end first.
func (s solvedFile) tight() []bool {
	used := s.used()
	limit := make([]solver.Slot, len(s.result.Placed)) // of the end, exclusive
	order := make([]int, len(limit))
	for i := range order {
		order[i], limit[i] = i, s.makespan()
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(s.result.Placed[b].End, s.result.Placed[a].End), cmp.Compare(a, b))
	})
	tight := make([]bool, len(limit))
	for _, i := range order {
		a, at := &s.data.Activities[i], s.result.Placed[i]
		n := at.End - at.Start + 1
		take := func(from solver.Slot, sign int) {
			for _, u := range a.Modes[0].Uses {
				for slot := from; slot < from+n; slot++ {
					used[u.Resource][slot] += sign * int(u.Amount)
				}
			}
		}
		take(at.Start, -1)
		start := at.Start
		for later := limit[i] - n; later > start; later-- {
			if s.fits(a, used, later, n) {
				start = later
				break
			}
		}
		take(start, 1)
		tight[i] = start == at.Start
		for _, l := range a.After {
			limit[l.Activity] = min(limit[l.Activity], start-l.Lag)
		}
	}
	return tight
}

// fits tells whether a job has room in n slots from start on.
func (s solvedFile) fits(a *solver.Activity, used [][]int, start, n solver.Slot) bool {
	for _, u := range a.Modes[0].Uses {
		for slot := start; slot < start+n; slot++ {
			if used[u.Resource][slot]+int(u.Amount) > int(s.data.Resources[u.Resource].Capacity[slot]) {
				return false
			}
		}
	}
	return true
}

// gantt is the schedule as a picture.
func (s solvedFile) gantt() web.Gantt {
	g := web.Gantt{Title: s.name, Says: s.says(), Slots: int(s.makespan())}
	tight := s.tight()
	for _, i := range s.byStart() {
		at := s.result.Placed[i]
		g.Bars = append(g.Bars, web.GanttBar{Name: strconv.Itoa(s.jobs[i]), First: int(at.Start), Last: int(at.End), Tight: tight[i]})
	}
	for r, used := range s.used() {
		g.Loads = append(g.Loads, web.GanttLoad{Name: resourceName(r), Capacity: int(s.data.Resources[r].Capacity[0]), Used: used})
	}
	return g
}
