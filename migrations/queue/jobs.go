package queue

import (
	"github.com/google/uuid"
	"github.com/riverqueue/river"
)

// Job is what is put into the queue: a kind and identifiers. The queue's tables
// know no firm and no policy holds them, so a job never carries a name, an
// address, a text or anything else about a person: its worker reads that as the
// firm. A test walks the fields of every kind.
type Job interface {
	river.JobArgs
	// OfFirm is the firm whose job it is.
	OfFirm() uuid.UUID
}

// PlanRun wakes a worker for one search for a plan.
type PlanRun struct {
	Firm uuid.UUID `json:"firm"`
	Run  uuid.UUID `json:"run"`
}

// Kind names the kind in the queue's table.
func (PlanRun) Kind() string { return "plan_run" }

// OfFirm is the firm whose plan it is.
func (p PlanRun) OfFirm() uuid.UUID { return p.Firm }

// InsertOpts puts the searches into a queue of their own: they take minutes, and
// nothing that is done in a moment waits behind them.
func (PlanRun) InsertOpts() river.InsertOpts { return river.InsertOpts{Queue: plans, MaxAttempts: 10} }

// Round is one of the things that are done once for each local date of a firm.
type Round struct {
	Firm  uuid.UUID `json:"firm"`
	Round uuid.UUID `json:"round"`
}

// Kind names the kind in the queue's table.
func (Round) Kind() string { return "daily_round" }

// OfFirm is the firm whose round it is.
func (r Round) OfFirm() uuid.UUID { return r.Firm }

// InsertOpts lets a round be tried for most of a day.
func (Round) InsertOpts() river.InsertOpts { return river.InsertOpts{MaxAttempts: 12} }

// SendMessage wakes a worker for one message of the outbox.
type SendMessage struct {
	Firm    uuid.UUID `json:"firm"`
	Message uuid.UUID `json:"message"`
}

// Kind names the kind in the queue's table.
func (SendMessage) Kind() string { return "send_message" }

// OfFirm is the firm whose message it is.
func (m SendMessage) OfFirm() uuid.UUID { return m.Firm }

// InsertOpts puts the mail into a queue of its own: a mail server that answers
// slowly holds up nothing else. How often a message is tried stands in its row,
// not here.
func (SendMessage) InsertOpts() river.InsertOpts {
	return river.InsertOpts{Queue: mail, MaxAttempts: 10}
}

// PushNote wakes a worker for what phones are to show at once.
type PushNote struct {
	Firm uuid.UUID `json:"firm"`
	Note uuid.UUID `json:"note"`
}

// Kind names the kind in the queue's table.
func (PushNote) Kind() string { return "push_note" }

// OfFirm is the firm whose note it is.
func (n PushNote) OfFirm() uuid.UUID { return n.Firm }

// InsertOpts lets a note be tried for some minutes, soon after each other: it is
// of the moment.
func (PushNote) InsertOpts() river.InsertOpts { return river.InsertOpts{MaxAttempts: 6} }

// kinds lists every kind, for the test that walks them.
var kinds = []Job{PlanRun{}, SendMessage{}, Round{}, PushNote{}}
