package safety

import (
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// LoneCall is one sign of life of somebody who works alone, as it reached the
// service: only what is written down here is known to have come.
type LoneCall struct {
	ID     uuid.UUID  `json:"id"`
	Crew   uuid.UUID  `json:"crew"`
	Job    uuid.UUID  `json:"job"`
	Day    civil.Date `json:"day"`
	Person uuid.UUID  `json:"person"` // who works alone
	What   string     `json:"what"`   // CallWell or CallLeft
	By     uuid.UUID  `json:"by"`     // who wrote it down: the person, or the office that was rung
	At     time.Time  `json:"at"`     // UTC, when it reached the service
}

// What somebody who works alone lets know.
const (
	CallWell = "well" // all is well, work goes on
	CallLeft = "left" // the work is over and the site is left: nobody waits for a call any more
)

// Check refuses a call that says nothing.
func (c LoneCall) Check() error {
	if c.What != CallWell && c.What != CallLeft {
		return fault.Bad("what", c.What, CallWell+" or "+CallLeft)
	}
	return nil
}

// CallGrace is how late a call may be before others are told (common practice, no
// source). The page says at once that it is late.
const CallGrace = 5 * time.Minute

// tellsOfCall is how often others are told of one silence: after the first call
// that is missed and after each of the next two (common practice, no source). The
// page goes on saying it.
const tellsOfCall = 3

// LoneWatch is whether somebody who works alone has let know that all is well. The
// zero value waits for nobody.
type LoneWatch struct {
	Arranged CheckIn   // the newest arrangement
	Last     time.Time // the last sign of life, or the start of the work; zero = nobody waits for a call
	Due      time.Time // the next call at the latest; zero = nobody waits for a call
	Left     time.Time // when they let know that they left the site; zero = they did not, or came back
}

// WatchLone tells from the arrangements and calls of one person at one job on one
// day when the next call is due; what lies after now does not count. What the
// person themselves arranges is a sign of life too. What somebody else arranges
// changes when the next call is due, but never one that is overdue already.
func WatchLone(arranged []CheckIn, calls []LoneCall, now time.Time) LoneWatch {
	type step struct {
		at      time.Time
		arrange *CheckIn
		call    *LoneCall
	}
	var steps []step
	for i, k := range arranged {
		steps = append(steps, step{at: k.At, arrange: &arranged[i]})
	}
	for i, c := range calls {
		steps = append(steps, step{at: c.At, call: &calls[i]})
	}
	slices.SortStableFunc(steps, func(a, b step) int { return a.at.Compare(b.at) })
	var w LoneWatch
	for _, s := range steps {
		switch {
		case s.at.After(now):
		case s.arrange != nil:
			waits := !w.Due.IsZero()
			w.Arranged = *s.arrange
			if own := s.arrange.By == s.arrange.Person; !waits || own {
				w.Last, w.Left, waits = s.arrange.from(), time.Time{}, false
			}
			if !waits || !s.at.After(w.Due) {
				w.Due = w.Last.Add(w.Arranged.every())
			}
		case w.Arranged.ID == uuid.Nil:
			// nobody waits yet
		case s.call.What == CallLeft:
			w.Last, w.Due, w.Left = s.at, time.Time{}, s.at
		default:
			w.Last, w.Due, w.Left = s.at, s.at.Add(w.Arranged.every()), time.Time{}
		}
	}
	return w
}

// from is from when calls are counted: the start of the work or, where it was
// arranged later, then.
func (k CheckIn) from() time.Time {
	if k.From.After(k.At) {
		return k.From
	}
	return k.At
}

// every is the longest time between two calls, at least a minute.
func (k CheckIn) every() time.Duration { return time.Duration(max(k.EveryMin, 1)) * time.Minute }

// Overdue tells whether a call that is due has not come.
func (w LoneWatch) Overdue(now time.Time) bool { return !w.Due.IsZero() && now.After(w.Due) }

// Tell says how often others should have been told of this silence by now: 0 while
// no call is missed, at most 3.
func (w LoneWatch) Tell(now time.Time) int {
	late := now.Sub(w.Due) - CallGrace
	if w.Due.IsZero() || late < 0 {
		return 0
	}
	return min(1+int(late/w.Arranged.every()), tellsOfCall)
}

// Sentence says where a watch stands, on the clock of a zone.
func (w LoneWatch) Sentence(name string, now time.Time, loc *time.Location) string {
	at := func(t time.Time) string { return t.In(loc).Format("15:04") }
	switch {
	case !w.Left.IsZero():
		return fmt.Sprintf("%s let know at %s that they left", name, at(w.Left))
	case w.Due.IsZero():
		return "nobody expects a call of " + name
	case w.Overdue(now):
		return fmt.Sprintf("no call of %s since %s, it was due by %s, %d min ago", name, at(w.Last), at(w.Due), int(now.Sub(w.Due).Minutes()))
	}
	return fmt.Sprintf("the next call of %s is due by %s", name, at(w.Due))
}

// LoneWatchOf is the watch over the one person of a crew at a job, as a morning
// has it.
func LoneWatchOf(s Snapshot, p Person, now time.Time) LoneWatch {
	var arranged []CheckIn
	var calls []LoneCall
	for _, k := range s.CheckIns {
		if k.Crew == s.Crew && k.Job == s.Job && k.Day == s.Day && k.Person == p.ID {
			if k.From.IsZero() {
				k.From = s.StartAt
			}
			arranged = append(arranged, k)
		}
	}
	for _, c := range s.LoneCalls {
		if c.Crew == s.Crew && c.Job == s.Job && c.Day == s.Day && c.Person == p.ID {
			calls = append(calls, c)
		}
	}
	return WatchLone(arranged, calls, now)
}
