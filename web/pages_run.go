package web

import (
	"fmt"
	"time"
)

// Run is one search for a plan, while it goes on and after it. Stopping sends
// fields keep ("1" for the form that takes the best plan so far) and key.
type Run struct {
	Sheet
	State     RunState
	By        string
	Since     time.Time // when it was asked for
	Until     time.Time // when it ended; zero = it goes on
	Why       string    // what it was asked for; "" = not said
	Generated int       // schedules so far
	Schedules int       // its budget
	Workers   int       // searches side by side
	Best      *Money    // cost of the best plan so far; nil = none yet
	Bound     *Money    // no plan costs less; nil = nothing is proven
	Unseen    string    // after how long without a look it ends: "10 minutes"
	Reason    string    // why it failed or was stopped
	Stop      string    // POST action; "" = it has ended, or the reader may not
	Proposal  Link      // where its plan is; Href "" = it made none
	Back      Link
}

// RunState is where a run is.
type RunState string

// The states of a run.
const (
	RunWaits   RunState = "waiting"
	RunGoesOn  RunState = "running"
	RunDone    RunState = "done"
	RunFailed  RunState = "failed"
	RunStopped RunState = "stopped"
)

// Question is what the page answers.
func (r Run) Question() string {
	if r.Live() {
		return "How far is the plan?"
	}
	return "What became of the plan?"
}
func (Run) template() string { return "run" }

// Live tells whether something is still to come.
func (r Run) Live() bool { return r.State == RunWaits || r.State == RunGoesOn }

// Word is the state in a word or two.
func (r Run) Word() string {
	switch r.State {
	case RunWaits:
		return "Waiting for a worker"
	case RunGoesOn:
		return "Searching"
	case RunDone:
		return "Done"
	case RunFailed:
		return "Failed"
	case RunStopped:
		return "Stopped"
	}
	return "Not known"
}

// Says is the answer in one or two sentences.
func (r Run) Says() string {
	who := fmt.Sprintf("%s has been making a plan since %s.", orSomebody(r.By), clock(r.Since))
	switch r.State {
	case RunWaits:
		return who + " It waits for a worker and begins by itself."
	case RunGoesOn:
		return who + " " + r.tried() + "."
	case RunDone:
		return r.tried() + ", and the best of them is the proposal."
	}
	if r.Reason == "" {
		return "It is not known what became of it."
	}
	return r.Reason
}

func orSomebody(name string) string {
	if name == "" {
		return "Somebody"
	}
	return name
}

func (r Run) tried() string {
	return fmt.Sprintf("%s of %s schedules are tried", thousands(r.Generated), thousands(r.Schedules))
}

// Tried is the count of schedules against the budget.
func (r Run) Tried() string {
	says := fmt.Sprintf("%s of %s", thousands(r.Generated), thousands(r.Schedules))
	if r.Workers > 1 {
		says += fmt.Sprintf(", by %d searches side by side", r.Workers)
	}
	return says
}

// Shown is how much of the bar is filled: never more than there is.
func (r Run) Shown() int { return min(max(r.Generated, 0), r.Schedules) }

// Percent is the part of the budget that is spent, rounded down: 100 is the
// end and not nearly.
func (r Run) Percent() int {
	if r.Schedules <= 0 {
		return 0
	}
	return int(int64(r.Shown()) * 100 / int64(r.Schedules))
}

// Gap says how much better a plan could still be, by what is proven.
func (r Run) Gap() string {
	if r.Best == nil || r.Bound == nil || *r.Bound <= 0 || *r.Best < *r.Bound {
		return ""
	}
	over := *r.Best - *r.Bound
	return fmt.Sprintf("No plan costs less than %s, so at most %s (%.1f%%) could still be saved.", *r.Bound, over, 100*float64(over)/float64(*r.Best))
}

// Took is the time from the question to the end, or to now.
func (r Run) Took() string {
	end := r.Until
	if end.IsZero() {
		end = r.AsOf
	}
	if r.Since.IsZero() || end.Before(r.Since) {
		return "not known"
	}
	d := end.Sub(r.Since).Round(time.Second)
	if d < time.Minute {
		return fmt.Sprintf("%d s", int(d.Seconds()))
	}
	return fmt.Sprintf("%d min %d s", int(d.Minutes()), int(d.Seconds())%60)
}

// thousands writes a count with commas: 12,000.
func thousands(n int) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
