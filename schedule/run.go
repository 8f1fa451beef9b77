package schedule

import (
	"fmt"
	"time"

	"github.com/google/uuid"
)

// Run is one search for a plan: asked for by somebody, made by a worker in some
// instance of the service, looked at by whoever wants the plan.
type Run struct {
	ID        uuid.UUID
	State     RunState
	AskedBy   string
	AskedAt   time.Time
	Why       string // what it was asked for, in the asker's words; "" = not said
	Aim       Aim    // what the plan is to be best at; "" = LowestCost
	Seed      uint64
	Schedules int // the search's budget
	Workers   int // searches side by side, 1 to 64; the answer depends on it

	Generated int       // schedules so far
	Best      *Pence    // cost of the best plan so far; nil = none yet
	Bound     *Pence    // no plan costs less; nil = nothing is proven
	BeganAt   time.Time // when the last worker took it up; zero = none has
	EndedAt   time.Time // zero = it has not ended
	Plan      uuid.UUID // the draft it made; uuid.Nil = none
	Reason    string    // why it failed or was stopped, in one sentence
	Losses    int       // workers that were lost in the middle of it

	take int // how often it was taken up: whoever writes as an earlier taker is refused
}

// RunState is where a run is.
type RunState string

// The states. Waiting and Running are not ended; of those a firm has one at most.
const (
	RunWaiting RunState = "waiting" // for a worker
	RunRunning RunState = "running"
	RunDone    RunState = "done"    // its draft is saved
	RunFailed  RunState = "failed"  // no plan came of it
	RunStopped RunState = "stopped" // before its budget was spent; the best plan so far may be its draft
)

// Ended tells whether nothing more will come of the run.
func (r Run) Ended() bool { return !r.EndedAt.IsZero() }

// RunEnd is why a run ended before its budget was spent.
type RunEnd struct {
	Rule  string        // "asked", "unseen", "too long", "lost"
	By    string        // who asked for the end
	After time.Duration // the limit, where the rule has one
	Lost  int           // how many workers were lost, where that is the rule
	Kept  bool          // the best plan so far is its draft
}

// The rules by which a run ends early.
const (
	EndAsked   = "asked"    // somebody stopped it
	EndUnseen  = "unseen"   // nobody looked at it for After
	EndTooLong = "too long" // it ran for After
	EndLost    = "lost"     // Lost workers were lost over it
)

// Sentence says it.
func (e RunEnd) Sentence() string {
	kept := " No plan was kept."
	if e.Kept {
		kept = " The best plan until then is kept as a draft."
	}
	switch e.Rule {
	case EndAsked:
		return e.By + " stopped it." + kept
	case EndUnseen:
		return fmt.Sprintf("Nobody had looked at it for %s.", InWords(e.After)) + kept
	case EndTooLong:
		return fmt.Sprintf("It had run for %s, the longest a search may take.", InWords(e.After)) + kept
	case EndLost:
		return fmt.Sprintf("%d workers ended in the middle of it, so it is not begun again: the service's log says why.%s", e.Lost, kept)
	}
	return "It was stopped." + kept
}

// InWords says a limit in minutes, a short one in seconds.
func InWords(d time.Duration) string {
	n, unit := int(d.Minutes()), "minute"
	if d < 2*time.Minute {
		n, unit = int(d.Seconds()), "second"
	}
	if n != 1 {
		unit += "s"
	}
	return fmt.Sprintf("%d %s", n, unit)
}
