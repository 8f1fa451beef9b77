package solver

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

// ReadPSPLIB reads one single-mode instance in the .sm format of the PSPLIB
// library (Kolisch and Sprecher 1996) as a problem whose cost is its makespan.
// Jobs that take no time (source and sink) become links. It refuses files with
// several modes or resources that are not renewable, files that are cut short,
// unknown jobs, circles, demands above capacity, and whatever is larger than
// the limits below. Errors name line, field, value and what would be right.
func ReadPSPLIB(r io.Reader) (Data, error) {
	d, _, err := ReadPSPLIBJobs(r)
	return d, err
}

// ReadPSPLIBJobs is ReadPSPLIB and gives the file's job number of each
// activity, in their order.
func ReadPSPLIBJobs(r io.Reader) (Data, []int, error) {
	f := psplib{after: map[int]row{}}
	limited := &io.LimitedReader{R: r, N: mostBytes + 1}
	scan := bufio.NewScanner(limited)
	scan.Buffer(make([]byte, 0, 64<<10), mostBytes+1)
	for scan.Scan() {
		if f.line++; limited.N <= 0 {
			break
		}
		if err := f.read(strings.TrimPrefix(scan.Text(), "\ufeff")); err != nil {
			return Data{}, nil, fmt.Errorf("line %d: %w", f.line, err)
		}
	}
	if err := scan.Err(); err != nil && limited.N > 0 {
		return Data{}, nil, fmt.Errorf("reading the instance after line %d: %w", f.line, err)
	}
	if limited.N <= 0 {
		return Data{}, nil, fmt.Errorf("the file is longer than %d bytes, no instance is", mostBytes)
	}
	d, err := f.data()
	return d, f.number, err
}

// No instance of the library comes near these. A broken or malicious file must
// not ask for gigabytes.
const (
	mostBytes     = 4 << 20
	mostJobs      = 10_000
	mostResources = 64
	mostNumber    = 1_000_000 // any number of a file, and the sum of the durations
	mostLinks     = 200_000   // between jobs that take time
	mostCapacity  = 16 << 20  // slots times resources
)

// psplib is a file as far as it has been read.
type psplib struct {
	line      int
	jobs      int
	renewable int // resources that the head promises, with known
	known     bool
	section   string
	sections  []string
	rows      int         // of this section
	after     map[int]row // precedence by job, from 1
	work      []row       // durations and demands, job by job
	capacity  row
	number    []int // job of each activity
}

// row is a line of whole numbers.
type row struct {
	line    int
	numbers []int
}

func (r row) wrong(format string, args ...any) error {
	return fmt.Errorf("line %d: %w", r.line, fmt.Errorf(format, args...))
}

// The sections that matter, in the order of the file.
const (
	precedence = "PRECEDENCE RELATIONS:"
	durations  = "REQUESTS/DURATIONS:"
	capacities = "RESOURCEAVAILABILITIES:"
)

func (f *psplib) read(line string) error {
	text := strings.TrimSpace(line)
	if text == "" || strings.HasPrefix(text, "*") || strings.HasPrefix(text, "--") {
		return nil
	}
	if strings.HasSuffix(text, ":") && strings.ToUpper(text) == text {
		if slices.Contains(f.sections, text) {
			return fmt.Errorf("section %q comes a second time, each once is right", shown(text))
		}
		f.section, f.rows, f.sections = text, 0, append(f.sections, text)
		return nil
	}
	if !slices.Contains([]string{precedence, durations, capacities}, f.section) {
		return f.readHead(text)
	}
	fields := strings.Fields(text)
	if _, err := strconv.Atoi(fields[0]); err != nil && f.rows == 0 && strings.ContainsAny(fields[0], "jR") {
		return nil // the heading of the columns
	}
	numbers := make([]int, len(fields))
	for k, field := range fields {
		n, err := strconv.Atoi(field)
		if err != nil || n < 0 || n > mostNumber {
			return fmt.Errorf("number %d of the row is %q, a whole number from 0 to %d is right", k+1, shown(field), mostNumber)
		}
		numbers[k] = n
	}
	f.rows++
	return f.readRow(row{f.line, numbers})
}

// readHead reads what the head promises; the rest of it is for people.
func (f *psplib) readHead(text string) (err error) {
	name, value, found := strings.Cut(text, ":")
	name, value = strings.TrimSpace(strings.TrimPrefix(name, "-")), strings.TrimSpace(value)
	if !found {
		return nil
	}
	switch {
	case strings.HasPrefix(name, "jobs (incl."):
		if f.jobs, err = strconv.Atoi(value); err != nil || f.jobs < 1 || f.jobs > mostJobs {
			return fmt.Errorf("number of jobs is %q, 1 to %d is right", shown(value), mostJobs)
		}
	case strings.HasPrefix(name, "renewable"), strings.HasPrefix(name, "nonrenewable"), strings.HasPrefix(name, "doubly"):
		count, _, _ := strings.Cut(value, " ")
		n, err := strconv.Atoi(count)
		if err != nil || n < 0 || n > mostResources {
			return fmt.Errorf("number of %s resources is %q, 0 to %d is right", shown(name), shown(value), mostResources)
		}
		if name == "renewable" {
			f.renewable, f.known = n, true
		} else if n > 0 {
			return fmt.Errorf("the file has %d %s resources, only renewable ones can be read", n, shown(name))
		}
	}
	return nil
}

// shown cuts a value so that it has room in a sentence.
func shown(value string) string {
	if len(value) > 40 {
		return value[:40] + "..."
	}
	return value
}

func (f *psplib) readRow(r row) error {
	if f.jobs == 0 {
		return errors.New("the number of jobs is missing before this section: a line \"jobs (incl. supersource/sink ): 32\" is right")
	}
	switch n := r.numbers; f.section {
	case precedence:
		switch {
		case len(n) < 3 || len(n) != 3+n[2]:
			return errors.New("a row of precedence names job, modes, number of successors and as many successors")
		case n[0] < 1 || n[0] > f.jobs:
			return fmt.Errorf("precedence names job %d, 1 to %d is right", n[0], f.jobs)
		case n[1] != 1:
			return fmt.Errorf("job %d has %d modes, only one can be read", n[0], n[1])
		case f.after[n[0]].line > 0:
			return fmt.Errorf("the successors of job %d stand in line %d already", n[0], f.after[n[0]].line)
		}
		f.after[n[0]] = row{r.line, n[3:]}
		return f.successors(n[0])
	case durations:
		if err := f.checkWork(r); err != nil {
			return err
		}
		f.work = append(f.work, r)
	case capacities:
		if f.capacity.line > 0 {
			return fmt.Errorf("the capacities stand in line %d already", f.capacity.line)
		}
		f.capacity = r
	}
	return nil
}

func (f *psplib) successors(job int) error {
	seen := map[int]bool{}
	for _, next := range f.after[job].numbers {
		if next < 1 || next > f.jobs {
			return fmt.Errorf("job %d is followed by %d, which does not exist: 1 to %d is right", job, next, f.jobs)
		}
		if seen[next] {
			return fmt.Errorf("job %d is followed by %d twice", job, next)
		}
		seen[next] = true
	}
	return nil
}

func (f *psplib) checkWork(r row) error {
	n := r.numbers
	switch due := len(f.work) + 1; {
	case len(n) < 3:
		return errors.New("a row of durations names job, mode, duration and demands")
	case n[0] != due:
		return fmt.Errorf("durations name job %d where %d is due", n[0], due)
	case n[1] != 1:
		return fmt.Errorf("job %d is in mode %d, only mode 1 can be read", n[0], n[1])
	case due > f.jobs:
		return fmt.Errorf("durations name job %d, the file promises %d jobs", due, f.jobs)
	case len(n) > 3+mostResources:
		return fmt.Errorf("job %d demands %d resources, at most %d can be read", n[0], len(n)-3, mostResources)
	}
	return nil
}

// complete checks that nothing is missing at the end of the file.
func (f *psplib) complete() error {
	resources := len(f.capacity.numbers)
	switch {
	case f.jobs == 0:
		return errors.New("the number of jobs is missing: a line \"jobs (incl. supersource/sink ): 32\" is right")
	case len(f.work) != f.jobs:
		return fmt.Errorf("the file promises %d jobs and gives the durations of %d", f.jobs, len(f.work))
	case len(f.after) != f.jobs:
		return fmt.Errorf("the file promises %d jobs and gives the successors of %d", f.jobs, len(f.after))
	case f.capacity.line == 0 && (f.renewable > 0 || !f.known):
		return fmt.Errorf("the capacities are missing: a section %q with one row is right", capacities)
	case f.known && resources != f.renewable:
		return f.capacity.wrong("capacities of %d resources, the file promises %d", resources, f.renewable)
	case resources > mostResources:
		return f.capacity.wrong("capacities of %d resources, at most %d can be read", resources, mostResources)
	}
	return nil
}

func (f *psplib) data() (Data, error) {
	if err := f.complete(); err != nil {
		return Data{}, err
	}
	index := make([]int, f.jobs+1) // of the activity, -1 = takes no time
	d := Data{Makespan: 1}
	for _, w := range f.work {
		job, takes := w.numbers[0], w.numbers[2]
		uses, err := f.uses(w)
		if err != nil {
			return Data{}, err
		}
		if takes == 0 {
			index[job] = -1
			continue
		}
		index[job], f.number = len(d.Activities), append(f.number, job)
		d.Activities = append(d.Activities, Activity{Modes: []Mode{{Slots: Slot(takes), Uses: uses}}, Absent: 1 << 30})
		if d.Slots += Slot(takes); d.Slots > mostNumber {
			return Data{}, w.wrong("with job %d the durations sum to %d, at most %d is right", job, d.Slots, mostNumber)
		}
	}
	resources := len(f.capacity.numbers)
	if d.Slots == 0 || int(d.Slots)*resources > mostCapacity {
		return Data{}, fmt.Errorf("the durations sum to %d, with %d resources 1 to %d is right", d.Slots, resources, min(mostNumber, mostCapacity/max(1, resources)))
	}
	if err := f.link(&d, index); err != nil {
		return Data{}, err
	}
	d.Calendars = []Calendar{slices.Repeat(Calendar{true}, int(d.Slots))}
	for _, c := range f.capacity.numbers {
		d.Resources = append(d.Resources, Resource{Capacity: slices.Repeat([]Amount{Amount(c)}, int(d.Slots))})
	}
	return d, nil
}

// uses reads a job's demands.
func (f *psplib) uses(w row) (uses []Use, err error) {
	job, need := w.numbers[0], w.numbers[3:]
	if len(need) != len(f.capacity.numbers) {
		return nil, w.wrong("job %d demands %d resources, the file has %d", job, len(need), len(f.capacity.numbers))
	}
	for r, amount := range need {
		if has := f.capacity.numbers[r]; amount > has {
			return nil, w.wrong("job %d demands %d of resource %d, which has %d", job, amount, r+1, has)
		}
		if amount > 0 {
			uses = append(uses, Use{r, Amount(amount)})
		}
	}
	return uses, nil
}

// link writes the precedence, through jobs that take no time.
func (f *psplib) link(d *Data, index []int) error {
	const unseen, open, done = 0, 1, 2
	state := make([]int, f.jobs+1)
	reach := make([][]int, f.jobs+1) // activities that follow a job directly
	links := 0
	var visit func(job int) error
	visit = func(job int) error {
		state[job] = open
		seen := map[int]bool{}
		for _, next := range f.after[job].numbers {
			if state[next] == open {
				return f.after[job].wrong("job %d is followed by %d, so job %d comes before itself", job, next, next)
			}
			if state[next] == unseen {
				if err := visit(next); err != nil {
					return err
				}
			}
			follow := reach[next]
			if index[next] >= 0 {
				follow = []int{index[next]}
			}
			for _, a := range follow {
				if !seen[a] {
					seen[a] = true
					reach[job] = append(reach[job], a)
				}
			}
		}
		state[job] = done
		if links += len(reach[job]); links > mostLinks {
			return f.after[job].wrong("with job %d more than %d pairs of jobs follow each other, at most so many can be read", job, mostLinks)
		}
		return nil
	}
	for job := 1; job <= f.jobs; job++ {
		if state[job] == unseen {
			if err := visit(job); err != nil {
				return err
			}
		}
		if index[job] < 0 {
			continue
		}
		for _, a := range reach[job] {
			d.Activities[a].After = append(d.Activities[a].After, Link{Activity: index[job]})
		}
	}
	return nil
}
