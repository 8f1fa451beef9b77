package safety

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Remedy is what was done about a report's findings. It does not make the
// scaffold fit: only a later inspection does.
type Remedy struct {
	ID, Report uuid.UUID
	Done       string // what was done
	By         string // who did it
	DoneAt     time.Time
	RecordedBy string
	RecordedAt time.Time
}

// Check refuses a remedy that lacks something.
func (r Remedy) Check() error {
	var all []error
	if !said(r.Done) {
		all = append(all, fault.Bad("done", r.Done, "what was done about the finding"))
	}
	if !said(r.By) {
		all = append(all, fault.Bad("done_by", r.By, "who did it"))
	}
	if r.DoneAt.IsZero() || r.DoneAt.After(r.RecordedAt) {
		all = append(all, fault.Bad("done_at", r.DoneAt.Format(time.RFC3339), "a time that has passed"))
	}
	return errors.Join(all...)
}

// Delivery is that a report was given to whom it was made for.
type Delivery struct {
	Report     uuid.UUID
	To         string
	At         time.Time // UTC
	RecordedBy string
	RecordedAt time.Time
}

// Check refuses a delivery that lacks something.
func (d Delivery) Check() error {
	var all []error
	if !said(d.To) {
		all = append(all, fault.Bad("given_to", d.To, "who was given the report"))
	}
	if d.At.IsZero() || d.At.After(d.RecordedAt) {
		all = append(all, fault.Bad("delivered_at", d.At.Format(time.RFC3339), "a time that has passed"))
	}
	return errors.Join(all...)
}

// ScaffoldFile is everything that is recorded about one job's scaffold.
type ScaffoldFile struct {
	ScaffoldRecord
	Job        uuid.UUID
	Remedies   []Remedy
	Deliveries []Delivery
}

// Tag is what a tag at the scaffold's foot would say. A tag is not the record:
// it is written from it.
type Tag struct {
	State State  // Met = may be used
	Words string // "may be used until Mon 30 Nov 07:40"
	Why   string // what it rests on, or what is missing
	Until time.Time
}

// Tag tells the scaffold's state at an instant in the firm's zone. It is put to
// the very conditions that the morning's decision goes by, for work that begins
// and ends at that instant.
func (f ScaffoldFile) Tag(now time.Time, loc *time.Location) Tag {
	day := civil.DateOf(now, loc)
	m := &morning{now: now, from: now, outdoors: true, roof: true, Snapshot: Snapshot{Job: f.Job, Day: day, Location: loc, StartAt: now, EndAt: now,
		Scaffold: f.ScaffoldRecord, Stages: []string{"roof_work"}}}
	m.countReports()
	worst, why := Met, []string{}
	for _, judge := range []func(*morning) finding{handedOver, inspected, inspectedSinceEvent, noDefect} {
		got := judge(m)
		if got.state == Met {
			continue
		}
		if worst == Met || got.state == NotMet {
			worst = got.state
		}
		why = append(why, got.value)
	}
	if worst != Met {
		return Tag{State: worst, Words: "do not use", Why: upperFirst(strings.Join(why, "; ")) + "."}
	}
	i := m.last(Inspection)
	_, lapses := InspectionHolds(i.At, loc)
	return Tag{State: Met, Words: "may be used until " + m.at(lapses), Until: lapses.UTC(),
		Why: fmt.Sprintf("Handed over, inspected %s by %s, nothing since.", m.at(i.At), i.ByName)}
}

// Duty is one thing that the regulations ask about a scaffold, with its clock.
type Duty struct {
	Rule   string
	State  State     // Met = done in time, NotMet = late, Unknown = still to do, or not known
	By     time.Time // UTC, the latest instant; zero = before first use, or not bounded
	Says   string
	Source string
}

// Sentence says the duty with its clock.
func (d Duty) Sentence() string { return d.Rule + ": " + d.Says + "." }

const wahr = "Work at Height Regulations 2005 reg "

// reportWithin is how soon a report reaches whom it was made for.
const reportWithin = 24 * time.Hour

// Duties lists what the regulations ask about the scaffold, with what became of
// each: inspection before first use, within 7 days, after an event; each
// report's writing and delivery; how long it is kept.
func (f ScaffoldFile) Duties(now time.Time, loc *time.Location) []Duty {
	day := civil.DateOf(now, loc)
	m := &morning{now: now, from: now, outdoors: true, roof: true, Snapshot: Snapshot{Job: f.Job, Day: day, Location: loc, StartAt: now, EndAt: now, Scaffold: f.ScaffoldRecord}}
	m.countReports()
	all := []Duty{m.firstUse(), m.everySeven(), m.afterEvent()}
	reports := slices.Clone(f.Reports)
	slices.SortStableFunc(reports, func(a, b ScaffoldReport) int { return b.At.Compare(a.At) })
	for _, r := range reports {
		if r.Kind == Inspection && r.Job == f.Job {
			all = append(all, f.writing(m, r), f.delivery(m, r))
		}
	}
	return append(all, f.keeping(loc))
}

func (m *morning) firstUse() Duty {
	d := Duty{Rule: "Inspection before first use", Source: wahr + "12(2) [second-hand, check against the original]"}
	h, i := m.last(Handover), m.last(Inspection)
	switch {
	case h == nil:
		d.Says = "not handed over yet: inspect before anybody steps on"
	case i == nil || i.At.Before(m.inspectFrom(h)):
		d.Says = "handed over " + m.at(h.At) + ", not inspected since: nobody steps on"
	default:
		d.State, d.Says = Met, "inspected "+m.at(i.At)
	}
	return d
}

func (m *morning) everySeven() Duty {
	d := Duty{Rule: "Inspection within the previous 7 days", Source: wahr + "12(4) [second-hand, check against the original]; the hour is common practice"}
	i := m.last(Inspection)
	if i == nil {
		d.Says = "no inspection is recorded"
		return d
	}
	due, lapses := InspectionHolds(i.At, m.Location)
	d.By = lapses.UTC()
	switch {
	case !m.now.Before(lapses):
		d.State, d.Says = NotMet, "the last lapsed "+m.at(lapses)
	case !m.now.Before(due):
		d.State, d.Says = Met, "due now, lapses "+m.at(lapses)
	default:
		d.State, d.Says = Met, "next due "+m.at(due)+", lapses "+m.at(lapses)
	}
	return d
}

func (m *morning) afterEvent() Duty {
	got := inspectedSinceEvent(m)
	return Duty{Rule: "Inspection after what could have affected it", State: got.state, Says: got.value, Source: wahr + "12(3) and 12(4) [second-hand, check against the original]"}
}

// writing is held against the end of the inspection's day: the working period
// ends with it at the latest.
func (f ScaffoldFile) writing(m *morning, r ScaffoldReport) Duty {
	end := startOfDay(r.At, m.Location).AddDate(0, 0, 1)
	d := Duty{Rule: "Report of the inspection of " + m.at(r.At) + " written by the end of the working period", By: end.UTC(),
		Source: wahr + "12(7)(a) [from memory, check against the original]; the day's end stands for the working period's"}
	switch {
	case r.RecordedAt.IsZero():
		d.Says = "when it was written is not known"
	case r.RecordedAt.Before(end):
		d.State, d.Says = Met, "written "+m.at(r.RecordedAt)
	default:
		d.State, d.Says = NotMet, "written only "+m.at(r.RecordedAt)
	}
	return d
}

func (f ScaffoldFile) delivery(m *morning, r ScaffoldReport) Duty {
	by := r.At.Add(reportWithin)
	d := Duty{Rule: "Report of the inspection of " + m.at(r.At) + " delivered within 24 hours", By: by.UTC(),
		Source: wahr + "12(7)(b) [second-hand, check against the original]"}
	i := slices.IndexFunc(f.Deliveries, func(x Delivery) bool { return x.Report == r.ID })
	switch {
	case i >= 0 && !f.Deliveries[i].At.After(by):
		d.State, d.Says = Met, "given to "+f.Deliveries[i].To+" "+m.at(f.Deliveries[i].At)
	case i >= 0:
		d.State, d.Says = NotMet, "given to "+f.Deliveries[i].To+" only "+m.at(f.Deliveries[i].At)
	case m.now.After(by):
		d.State, d.Says = NotMet, "no delivery is recorded, and the time ended "+m.at(by)
	default:
		d.Says = "to be delivered by " + m.at(by)
	}
	return d
}

// keeping counts how long the reports are kept: on site until the work is
// complete, then 3 months. The scaffold's strike stands for the work's end.
func (f ScaffoldFile) keeping(loc *time.Location) Duty {
	d := Duty{Rule: "Reports kept", Source: wahr + "12(8) [second-hand, check against the original]", State: Met}
	if f.Strike.State != "done" || !f.Strike.Done.Known() {
		d.Says = "on site until the work is complete, then 3 months at an office; the service keeps them for good"
		return d
	}
	until := f.Strike.Done.At(0, 0, loc).AddDate(0, 3, 0)
	d.By, d.Says = until.UTC(), "at an office until "+until.Format("Mon 2 Jan 2006")+" at least, 3 months after the scaffold came down; the service keeps them for good"
	return d
}

// Gust is a gust at a scaffold: where it is known from and when it was.
type Gust struct {
	MS   float64 // [m/s]
	At   time.Time
	From string // "read on site", "analysis of Open-Meteo at 10 m"
}

// GustEvent gives the event that gusts made at a scaffold: the strongest gust
// that reached the firm's event gust since the last inspection, or since the
// handover where none was inspected yet. nil when there is none, or when an event
// of wind waits for its inspection already: one is enough. What has not come is
// a forecast, not an event.
func (f ScaffoldFile) GustEvent(gusts []Gust, limitMS float64, now time.Time) *ScaffoldEvent {
	since := f.lastLookedAt(now)
	if since.IsZero() { // nothing to inspect again where nothing was inspected or handed over
		return nil
	}
	for _, e := range f.Events {
		if e.Job == f.Job && e.What == "wind" && !e.At.Before(since) {
			return nil
		}
	}
	var worst *Gust
	for i, g := range gusts {
		if g.MS >= limitMS && g.At.After(since) && !g.At.After(now) && (worst == nil || g.MS > worst.MS || g.MS == worst.MS && g.At.Before(worst.At)) {
			worst = &gusts[i]
		}
	}
	if worst == nil {
		return nil
	}
	return &ScaffoldEvent{Job: f.Job, What: "wind", At: worst.At.UTC(), By: noticedBy, RecordedAt: now.UTC(),
		Detail: fmt.Sprintf("gust of %.1f m/s, %s; the firm's event gust is %.1f m/s", worst.MS, worst.From, limitMS)}
}

// lastLookedAt is when the scaffold was inspected last, or handed over where no
// inspection is recorded; the zero time when neither was.
func (f ScaffoldFile) lastLookedAt(now time.Time) time.Time {
	of := map[string]time.Time{}
	for _, r := range f.Reports {
		if r.Job == f.Job && !r.At.After(now) && r.At.After(of[r.Kind]) {
			of[r.Kind] = r.At
		}
	}
	if t := of[Inspection]; !t.IsZero() {
		return t
	}
	return of[Handover]
}

// noticedBy stands as the recorder of events that nobody typed.
const noticedBy = "noticed by the service"
