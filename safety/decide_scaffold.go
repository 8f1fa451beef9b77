package safety

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"toeboard/weather/civil"
)

// loadClasses holds the service loads of EN 12811-1 table 3 [kN/m2], classes 1
// to 6 (second-hand, check against the original).
var loadClasses = [...]float64{1: 0.75, 2: 1.5, 3: 2, 4: 3, 5: 4.5, 6: 6}

// LoadOfClass gives the uniformly distributed service load of a load class
// [kN/m2] after EN 12811-1; ok is false for a class that does not exist.
func LoadOfClass(class int) (kNm2 float64, ok bool) {
	if class < 1 || class >= len(loadClasses) {
		return 0, false
	}
	return loadClasses[class], true
}

// scaffoldUse tells whether today's work stands on a scaffold. Roof work
// always does; other outdoor work does unless it is known that none is used.
func (m *morning) scaffoldUse() Truth {
	switch {
	case !m.outdoors:
		return False
	case m.roof || m.Scaffold.Expected || len(m.Scaffold.Reports) > 0 || len(m.Scaffold.Bookings) > 0:
		return True
	}
	if used, known := m.Facts["scaffold"]; known && !used.Yes {
		return False
	}
	return Unsure
}

// onScaffold judges a scaffold condition where there is one to judge.
func (m *morning) onScaffold(judge func() finding) finding {
	switch m.scaffoldUse() {
	case True:
		return judge()
	case False:
		return needless("no work on a scaffold today")
	default:
		return unknown("whether a scaffold is used is not known")
	}
}

// erected is the day on which the scaffold went up last; NoDate when no record
// says that it did.
func (r ScaffoldRecord) erected() civil.Date {
	last := civil.NoDate
	if r.Erection.State == "done" {
		last = r.Erection.Done
	}
	for _, b := range r.Bookings {
		if b.State == "erected" && (!last.Known() || b.ErectOn > last) {
			last = b.ErectOn
		}
	}
	return last
}

// notStanding says why the scaffold does not stand as it was handed over,
// whatever its reports say: it is not up yet, or somebody began to take it
// down. It is "" when nothing says so. A scaffold that came down counts again
// only when it went up on a later day: of one day nobody can say what came last.
func (m *morning) notStanding() string {
	r := m.Scaffold
	if why := r.Erection.notErected(m.Day); why != "" {
		return why
	}
	up := r.erected()
	switch s := r.Strike; {
	case s.State == "done" && !(up.Known() && up > s.Done):
		return "struck on " + s.Done.Short()
	case s.State == "started" && s.Started.Known():
		return "its strike started on " + s.Started.Short()
	case s.State != "" && s.State != "planned" && s.State != "done":
		return "its strike is " + s.State
	}
	switch b := r.booked(m.Day); {
	case b == nil || b.State == "erected":
	case b.State == "struck":
		if !(r.Erection.State == "done" && r.Erection.Done > b.StrikeOn) {
			return "struck on " + b.StrikeOn.Short()
		}
	default:
		return fmt.Sprintf("booked for %s (%s), not erected yet", b.ErectOn.Short(), b.State)
	}
	return ""
}

// notErected says why an erection is not done by a day; "" when it is, or when
// the job has no such stage.
func (s StageFact) notErected(by civil.Date) string {
	switch {
	case s.State == "":
	case s.State != "done":
		return "its erection is " + s.State + ", not done"
	case !s.Done.Known() || s.Done > by:
		return "it was not erected by " + by.Short()
	}
	return ""
}

// booked is the newest booking that has come by a day; nil when there is none.
func (r ScaffoldRecord) booked(by civil.Date) *ScaffoldBooking {
	var newest *ScaffoldBooking
	for i, b := range r.Bookings {
		if b.ErectOn <= by && (newest == nil || b.ErectOn > newest.ErectOn || b.ErectOn == newest.ErectOn && b.StrikeOn > newest.StrikeOn) {
			newest = &r.Bookings[i]
		}
	}
	return newest
}

// countReports keeps the reports that count: of this job and of the scaffold
// that stands, with every particular, made before now. The others are told, not
// dropped in silence.
func (m *morning) countReports() {
	up := m.Scaffold.erected()
	for _, r := range m.Scaffold.Reports {
		switch {
		case r.Job != m.Job:
			m.odd = append(m.odd, "a report of another job does not count")
		case r.At.After(m.now):
			m.odd = append(m.odd, fmt.Sprintf("the %s dated %s lies in the future and does not count", r.Kind, m.at(r.At)))
		case up.Known() && !r.At.IsZero() && civil.DateOf(r.At, m.Location) < up:
			m.odd = append(m.odd, fmt.Sprintf("the %s of %s is older than the erection on %s and does not count", r.Kind, m.at(r.At), up.Short()))
		case len(r.Lacks()) > 0:
			m.odd = append(m.odd, fmt.Sprintf("the %s of %s does not count: it lacks %s", r.Kind, m.at(r.At), strings.Join(r.Lacks(), ", ")))
		default:
			m.reports = append(m.reports, r)
		}
	}
	slices.SortStableFunc(m.reports, func(a, b ScaffoldReport) int { return a.At.Compare(b.At) })
}

// last gives the newest report of a kind; nil when there is none.
func (m *morning) last(kind string) *ScaffoldReport {
	for i := len(m.reports) - 1; i >= 0; i-- {
		if m.reports[i].Kind == kind {
			return &m.reports[i]
		}
	}
	return nil
}

// none says that a report is missing, and which ones did not count.
func (m *morning) none(what string) finding {
	return notMet("%s", strings.Join(append([]string{"no " + what + " recorded"}, m.odd...), "; "))
}

// handedOver is B01.
func handedOver(m *morning) finding {
	return m.onScaffold(func() finding {
		h := m.last(Handover)
		gone := m.notStanding()
		switch {
		case h == nil && !m.Scaffold.Expected && len(m.Scaffold.Reports) == 0:
			return notMet("no scaffold is planned or recorded for this roof")
		case gone != "":
			return notMet("the scaffold does not stand ready: %s", gone)
		case h == nil:
			return m.none("handover")
		case !h.Fit:
			return notMet("the handover of %s says not fit for use", m.at(h.At))
		}
		load, stated := LoadOfClass(h.LoadClass)
		if !stated {
			return unknown("the handover of %s states no load class", m.at(h.At))
		}
		if lacks := h.Certificate.Lacks(); len(lacks) > 0 {
			return unknown("the handover of %s does not state its %s", m.at(h.At), certificateWords(lacks))
		}
		return met("handed over %s by %s, load class %d (%g kN/m2)", m.at(h.At), h.ByName, h.LoadClass, load)
	})
}

// InspectionHolds gives the instants at which an inspection made at t is shown
// as due and at which it lapses: the same local time 6 and 7 calendar days
// later. The law says "within the previous 7 days" and names no hour; across a
// change of the clocks 7 days are 167 or 169 hours (common practice, no source).
func InspectionHolds(t time.Time, loc *time.Location) (due, lapses time.Time) {
	l := t.In(loc)
	return l.AddDate(0, 0, 6), l.AddDate(0, 0, 7)
}

// inspected is B02: an inspection, whatever it found, young enough to last
// until the work ends. What it found is B04.
func inspected(m *morning) finding {
	return m.onScaffold(func() finding {
		i, h := m.last(Inspection), m.last(Handover)
		if i == nil {
			return m.none("inspection")
		}
		if h != nil && i.At.Before(m.inspectFrom(h)) {
			return notMet("last inspection %s is older than the handover %s: inspect before first use", m.at(i.At), m.at(h.At))
		}
		due, lapses := InspectionHolds(i.At, m.Location)
		switch {
		case lapses.Before(m.from):
			return notMet("last inspection %s, lapsed %s", m.at(i.At), m.at(lapses))
		case lapses.Before(m.EndAt):
			return notMet("last inspection %s lapses %s, before the work ends at %s", m.at(i.At), m.at(lapses), m.clock(m.EndAt))
		case !m.now.Before(due):
			return met("inspected %s by %s, due now, lapses %s", m.at(i.At), i.ByName, m.at(lapses))
		}
		return met("inspected %s by %s, holds until %s", m.at(i.At), i.ByName, m.at(lapses))
	})
}

// inspectFrom is the instant from which an inspection counts for a handover.
// The first handover of a scaffold is often written after the inspection of the
// same day; a later one hands over something altered, which only an inspection
// after it has seen (common practice, no source).
func (m *morning) inspectFrom(h *ScaffoldReport) time.Time {
	up := m.Scaffold.erected()
	for _, r := range m.Scaffold.Reports {
		before := r.At.Before(h.At) && !(up.Known() && civil.DateOf(r.At, m.Location) < up)
		if r.Job == m.Job && r.Kind == Handover && before {
			return h.At
		}
	}
	return startOfDay(h.At, m.Location)
}

func startOfDay(t time.Time, loc *time.Location) time.Time {
	y, mo, d := t.In(loc).Date()
	return time.Date(y, mo, d, 0, 0, 0, 0, loc)
}

// inspectedSinceEvent is B03. An event at the very instant of the inspection
// counts as after it.
func inspectedSinceEvent(m *morning) finding {
	return m.onScaffold(func() finding {
		i := m.last(Inspection)
		var after []string
		for _, e := range m.Scaffold.Events {
			if e.Job == m.Job && (i == nil || !e.At.Before(i.At)) {
				after = append(after, fmt.Sprintf("%s %s (%s)", e.What, m.at(e.At), e.Detail))
			}
		}
		switch {
		case len(after) > 0 && i == nil:
			return notMet("%s, not inspected since", strings.Join(after, "; "))
		case len(after) > 0:
			return notMet("%s, last inspection %s is older", strings.Join(after, "; "), m.at(i.At))
		}
		return met("no event since the last inspection")
	})
}

// noDefect is B04: a report that found the scaffold unfit, or asked for further
// action, stays open until a later inspection finds it fit with nothing left.
// It need not be complete for that, nor of today's scaffold: bad news counts.
func noDefect(m *morning) finding {
	return m.onScaffold(func() finding {
		bad := m.worstNews()
		var good *ScaffoldReport
		for i := range m.reports {
			r := &m.reports[i]
			if r.findsFault() {
				continue
			}
			if r.Kind == Inspection || bad == nil {
				good = r
			}
		}
		switch {
		case bad != nil && !(good != nil && m.answers(*good, *bad)):
			return notMet("%s of %s: %s", bad.Kind, m.at(bad.At), bad.trouble())
		case good == nil:
			return unknown("%s", strings.Join(append([]string{"nobody has reported on this scaffold"}, m.odd...), "; "))
		}
		return met("%s of %s found it fit, nothing left to do", good.Kind, m.at(good.At))
	})
}

// findsFault tells whether a report leaves something open. In one that lacks
// particulars, saying nothing of further action is not asking for it.
func (r ScaffoldReport) findsFault() bool {
	return !r.Fit || r.FurtherNeeded() && (said(r.Further) || len(r.Lacks()) == 0)
}

// worstNews is the report of this job with a fault that is hardest to answer:
// the newest; nil when no report has one.
func (m *morning) worstNews() *ScaffoldReport {
	var worst *ScaffoldReport
	for i, r := range m.Scaffold.Reports {
		if r.Job == m.Job && r.findsFault() && (worst == nil || m.foundAt(r).After(m.foundAt(*worst))) {
			worst = &m.Scaffold.Reports[i]
		}
	}
	return worst
}

// answers tells whether a fit report is later than one with a fault.
func (m *morning) answers(good, bad ScaffoldReport) bool { return good.At.After(m.foundAt(bad)) }

// foundAt is when a fault was found. A report without its time, or with one
// that has not come, was at least written when it was recorded; one of which
// not even that is known is never older than another.
func (m *morning) foundAt(r ScaffoldReport) time.Time {
	for _, t := range []time.Time{r.At, r.RecordedAt} {
		if !t.IsZero() && !t.After(m.now) {
			return t
		}
	}
	return m.now.AddDate(1000, 0, 0)
}

// trouble says what a report leaves open.
func (r ScaffoldReport) trouble() string {
	switch {
	case r.Fit:
		return "further action needed: " + r.Further
	case r.FurtherNeeded():
		return "not fit for use: " + r.Risks + "; further action: " + r.Further
	default:
		return "not fit for use: " + r.Risks
	}
}
