package solver

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// ReadPSPLIB reads one single-mode instance in the .sm format of the PSPLIB
// library (Kolisch and Sprecher 1996) as a problem whose cost is its makespan.
// Jobs that take no time (source and sink) become links. It refuses files with
// several modes, unknown jobs, circles, or demands above capacity.
func ReadPSPLIB(r io.Reader) (Data, error) {
	f := psplib{after: map[int][]int{}}
	scan := bufio.NewScanner(r)
	scan.Buffer(make([]byte, 0, 64<<10), 1<<20)
	for line := 1; scan.Scan(); line++ {
		if err := f.read(scan.Text()); err != nil {
			return Data{}, fmt.Errorf("line %d: %w", line, err)
		}
	}
	if err := scan.Err(); err != nil {
		return Data{}, fmt.Errorf("reading the instance: %w", err)
	}
	return f.data()
}

type psplib struct {
	jobs     int
	section  string
	after    map[int][]int // successors by job, from 1
	jobRows  []int         // jobs in the order of their durations
	dur      []int
	need     [][]int
	capacity []int
}

// read takes one line. Numbers above a million are refused: no instance has
// them, and a broken file must not ask for gigabytes.
func (f *psplib) read(line string) error {
	text := strings.TrimSpace(line)
	switch {
	case text == "" || strings.HasPrefix(text, "*") || strings.HasPrefix(text, "-"):
		return nil
	case strings.HasPrefix(text, "jobs (incl."):
		_, n, _ := strings.Cut(text, ":")
		jobs, err := strconv.Atoi(strings.TrimSpace(n))
		if err != nil || jobs < 1 || jobs > 100_000 {
			return fmt.Errorf("number of jobs is %q, 1 to 100000 is right", strings.TrimSpace(n))
		}
		f.jobs = jobs
		return nil
	case strings.HasSuffix(text, ":") && strings.ToUpper(text) == text:
		f.section = text
		return nil
	}
	numbers, ok := numbersOf(text)
	if !ok {
		return nil // a heading
	}
	switch f.section {
	case "PRECEDENCE RELATIONS:":
		if len(numbers) < 3 || len(numbers) != 3+numbers[2] {
			return errors.New("a row of precedence names job, modes, number of successors and as many successors")
		}
		if numbers[1] != 1 {
			return fmt.Errorf("job %d has %d modes, only one can be read", numbers[0], numbers[1])
		}
		f.after[numbers[0]] = append(f.after[numbers[0]], numbers[3:]...)
	case "REQUESTS/DURATIONS:":
		if len(numbers) < 3 {
			return errors.New("a row of durations names job, mode, duration and demands")
		}
		f.jobRows, f.dur, f.need = append(f.jobRows, numbers[0]), append(f.dur, numbers[2]), append(f.need, numbers[3:])
	case "RESOURCEAVAILABILITIES:":
		f.capacity = numbers
	}
	return nil
}

func numbersOf(text string) ([]int, bool) {
	var numbers []int
	for _, field := range strings.Fields(text) {
		n, err := strconv.Atoi(field)
		if err != nil || n < 0 || n > 1_000_000 {
			return nil, false
		}
		numbers = append(numbers, n)
	}
	return numbers, true
}

func (f *psplib) data() (Data, error) {
	if f.jobs == 0 || len(f.dur) != f.jobs {
		return Data{}, fmt.Errorf("the file promises %d jobs and gives the durations of %d", f.jobs, len(f.dur))
	}
	index := make([]int, f.jobs+1) // of the activity, -1 = takes no time
	d := Data{Makespan: 1}
	for k, job := range f.jobRows {
		if job != k+1 {
			return Data{}, fmt.Errorf("durations name job %d where %d is due", job, k+1)
		}
		if len(f.need[k]) != len(f.capacity) {
			return Data{}, fmt.Errorf("job %d demands %d resources, the file has %d", job, len(f.need[k]), len(f.capacity))
		}
		if f.dur[k] == 0 {
			index[job] = -1
			continue
		}
		mode := Mode{Slots: Slot(f.dur[k])}
		for r, amount := range f.need[k] {
			if amount > f.capacity[r] {
				return Data{}, fmt.Errorf("job %d demands %d of resource %d, which has %d", job, amount, r+1, f.capacity[r])
			}
			if amount > 0 {
				mode.Uses = append(mode.Uses, Use{r, Amount(amount)})
			}
		}
		index[job] = len(d.Activities)
		d.Activities = append(d.Activities, Activity{Modes: []Mode{mode}, Absent: 1 << 30})
		d.Slots += Slot(f.dur[k])
	}
	if d.Slots == 0 || d.Slots > 1_000_000 {
		return Data{}, fmt.Errorf("the durations sum to %d, 1 to a million is right", d.Slots)
	}
	if err := f.link(&d, index); err != nil {
		return Data{}, err
	}
	open := make(Calendar, d.Slots)
	for s := range open {
		open[s] = true
	}
	d.Calendars = []Calendar{open}
	for _, c := range f.capacity {
		capacity := make([]Amount, d.Slots)
		for s := range capacity {
			capacity[s] = Amount(c)
		}
		d.Resources = append(d.Resources, Resource{Capacity: capacity})
	}
	return d, nil
}

// link writes the precedence, through jobs that take no time.
func (f *psplib) link(d *Data, index []int) error {
	const unseen, open, done = 0, 1, 2
	state := make([]int, f.jobs+1)
	reach := make([][]int, f.jobs+1) // activities that follow a job directly
	var visit func(job int) error
	visit = func(job int) error {
		state[job] = open
		seen := map[int]bool{}
		for _, next := range f.after[job] {
			if next < 1 || next > f.jobs {
				return fmt.Errorf("job %d is followed by %d, which does not exist", job, next)
			}
			if state[next] == open {
				return fmt.Errorf("job %d comes before itself", next)
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
	for job := range f.after {
		if job < 1 || job > f.jobs {
			return fmt.Errorf("precedence names job %d of %d", job, f.jobs)
		}
	}
	return nil
}
