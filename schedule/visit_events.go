package schedule

import (
	"fmt"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule/ical"
	"toeboard/weather/civil"
)

// VisitEvent is one day of a visit as a crew's own calendar shows it, for life:
// the nth day of a stage of a job with one crew.
type VisitEvent struct {
	Crew, Job   uuid.UUID
	Stage       StageKind
	Nth         int           // 1 for the first day
	First, Last civil.HalfDay // of one date, both inclusive
	Off         bool          // it is not this crew's any more
	Sequence    int           // rises with each change
	ChangedAt   time.Time     // UTC
}

type visitDay struct {
	crew, job uuid.UUID
	stage     StageKind
	nth       int
}

func (v VisitEvent) key() visitDay { return visitDay{v.Crew, v.Job, v.Stage, v.Nth} }

// UID is the event's identity in calendars, for life.
func (v VisitEvent) UID() string {
	return fmt.Sprintf("visit-%s-%s-%s-%d@toeboard.invalid", v.Crew, v.Job, v.Stage.Key(), v.Nth)
}

// ReviseVisits gives the events that a published plan makes, changes or takes
// away; those it leaves alone are not among them. was are the events of every
// crew so far. Days before the plan's first stay as they are: they are past.
func ReviseVisits(was []VisitEvent, p Plan, now time.Time) (changed []VisitEvent) {
	before := map[visitDay]VisitEvent{}
	past := map[visitDay]int{} // by crew, job and stage (nth 0): days before the plan
	for _, v := range was {
		before[v.key()] = v
		if !v.Off && v.First.Date() < p.FirstDay {
			past[visitDay{v.Crew, v.Job, v.Stage, 0}]++
		}
	}
	kept := map[visitDay]bool{}
	for _, v := range p.Visits {
		if v.Crew == uuid.Nil {
			continue
		}
		nth := past[visitDay{v.Crew, v.Job, v.Stage, 0}]
		for _, day := range byDate(v.HalfDays) {
			nth++
			e := VisitEvent{Crew: v.Crew, Job: v.Job, Stage: v.Stage, Nth: nth, First: day[0], Last: day[len(day)-1], ChangedAt: instant(now)}
			kept[e.key()] = true
			old, there := before[e.key()]
			if there && !old.Off && old.First == e.First && old.Last == e.Last {
				continue
			}
			if there {
				e.Sequence = old.Sequence + 1
			}
			changed = append(changed, e)
		}
	}
	for _, v := range was {
		if !v.Off && v.First.Date() >= p.FirstDay && !kept[v.key()] {
			v.Off, v.Sequence, v.ChangedAt = true, v.Sequence+1, instant(now)
			changed = append(changed, v)
		}
	}
	return changed
}

// byDate cuts ascending half-days into dates.
func byDate(halves []civil.HalfDay) (days [][]civil.HalfDay) {
	for i, h := range halves {
		if i > 0 && h.Date() == halves[i-1].Date() {
			days[len(days)-1] = append(days[len(days)-1], h)
			continue
		}
		days = append(days, []civil.HalfDay{h})
	}
	return days
}

// CrewFeed puts a crew's visits into a calendar, each with the hours that the
// firm works. What was cancelled or is past since before a date is left out;
// NoDate leaves nothing out.
func CrewFeed(name string, events []VisitEvent, jobs []Job, hours civil.Hours, since civil.Date, zone *time.Location) ical.Feed {
	byID := map[uuid.UUID]*Job{}
	for i := range jobs {
		byID[jobs[i].ID] = &jobs[i]
	}
	f := ical.Feed{Name: name}
	for _, v := range events {
		if v.Off && civil.DateOf(v.ChangedAt, zone) < since || !v.Off && v.First.Date() < since {
			continue
		}
		f.Events = append(f.Events, v.event(byID[v.Job], hours, zone))
	}
	return f
}

func (v VisitEvent) event(j *Job, hours civil.Hours, zone *time.Location) ical.Event {
	from, _ := hours.Window(v.First, zone)
	_, to := hours.Window(v.Last, zone)
	e := ical.Event{UID: v.UID(), Sequence: v.Sequence, ChangedAt: v.ChangedAt, Status: ical.Confirmed, FirstDay: v.First.Date(), LastDay: v.First.Date(),
		Hours: ical.Hours{From: from, To: to, Zone: zone}, Summary: capital(v.Stage.String())}
	if v.Off {
		e.Status = ical.Cancelled
	}
	if j != nil {
		e.Summary += " " + j.Ref + ", " + oneLine(j.Site.Address)
		e.Location = place(j.Site)
		e.Lat, e.Lon = j.Site.Lat, j.Site.Lon
		e.Lines = append(e.Lines, "Job: "+j.Ref, "Day "+fmt.Sprint(v.Nth)+" of this stage")
	}
	e.Lines = append(e.Lines, "This calendar clears nobody: the morning's page says whether you may start.")
	return e
}
