package safety

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/civil"
)

//go:embed conditions.csv
var conditionsCSV string

// condition is one row of conditions.csv with the function that judges it.
type condition struct {
	code, rule, limit, source, resolves string
	advice                              bool
	judge                               func(*morning) finding
}

// finding is what judging one condition gives.
type finding struct {
	state   State
	needed  bool // whether today's work needs the condition at all
	subject string
	value   string
}

func met(format string, args ...any) finding     { return found(Met, format, args...) }
func notMet(format string, args ...any) finding  { return found(NotMet, format, args...) }
func unknown(format string, args ...any) finding { return found(Unknown, format, args...) }

func found(s State, format string, args ...any) finding {
	return finding{state: s, needed: true, value: fmt.Sprintf(format, args...)}
}

// needless is the finding of a condition that today's work does not need. It
// counts as met: that the work is of another kind is itself known.
func needless(why string) finding { return finding{state: Met, value: why} }

func (f finding) about(subjects ...string) finding {
	f.subject = strings.Join(subjects, ", ")
	return f
}

// conditions lists every condition in the order of the codes.
var conditions = readConditions(conditionsCSV, map[string]func(*morning) finding{
	"B01": handedOver, "B02": inspected, "B03": inspectedSinceEvent, "B04": noDefect,
	"B05": assessmentInForce, "B06": worstRisks, "B07": competent, "B08": everybodySigned,
	"B09": secondPerson, "B10": weatherAllows, "B11": noStopWork, "B12": overheadLines,
	"B13": asbestosKnown, "B14": consentsGranted, "B15": phasePlan, "B16": kitOnSite,
	"B17": customerExpects, "B18": spareTiles, "B19": briefingHeld, "B20": daylight, "B21": factsAgree,
	"B22": isolationHeld, "B23": inducted, "B24": checkedIn,
})

// conditionRows gives the rows of conditions.csv without the header: code,
// rule, limit, class, source, who resolves it, and the rule over facts if any.
func conditionRows(text string) [][]string {
	return ownRows("conditions.csv", text)
}

func readConditions(text string, judges map[string]func(*morning) finding) []condition {
	var all []condition
	for _, r := range conditionRows(text) {
		c := condition{code: r[0], rule: r[1], limit: r[2], advice: r[3] == "soft", source: r[4], resolves: r[5], judge: judges[r[0]]}
		if c.judge == nil || (r[3] != "hard" && r[3] != "soft") {
			panic("safety: conditions.csv: " + c.code + " is judged by nobody")
		}
		all = append(all, c)
	}
	if len(all) != len(judges) {
		panic("safety: conditions.csv: a condition has no row")
	}
	return all
}

// Decide says whether a crew may start, from a snapshot and the instant now. It
// reads nothing else. Every condition is judged, not only the first that fails,
// and the verdict is Clear only when each hard one is met: what nobody knows is
// not met. A snapshot whose parts do not agree with each other is judged
// unknown throughout.
func Decide(s Snapshot, now time.Time) Decision {
	m := newMorning(s, now)
	d := Decision{At: now.UTC()}
	for _, c := range conditions {
		d.Conditions = append(d.Conditions, c.of(m))
	}
	d.Verdict = verdictOf(d.Conditions)
	if d.Verdict == Clear {
		d.Until = m.until()
		return d
	}
	d.ClearFor = clearFor(m, d.Conditions)
	return d
}

// dayLong are the conditions that ask nothing of what is done that day: they hold
// for each of its stages as for the whole.
var dayLong = map[string]bool{"B05": true, "B08": true, "B11": true, "B13": true, "B15": true, "B21": true}

// clearFor lists the day's stages that are clear each by itself where the whole
// day, judged already, is not: indoors yes, roof no. A stage goes by every
// condition, as if the crew did nothing else that day; what was signed stays what
// it was given for, the whole day. Where nobody can tell which of the stages is
// outdoors, none is.
func clearFor(m *morning, judged []Condition) []ClearStage {
	stages := slices.Compact(slices.Sorted(slices.Values(m.Stages)))
	if m.broken != "" || len(stages) < 2 || m.outdoors && !m.roof {
		return nil
	}
	for _, c := range judged {
		if dayLong[c.Code] && c.Holds() {
			return nil
		}
	}
	var all []ClearStage
	for _, stage := range stages {
		part := *m
		part.Stages, part.wholeDay = []string{stage}, m.Stages
		part.roof = stage == "roof_work"
		part.Outdoors, part.outdoors = part.roof, part.roof
		part.worst = part.worstToday()
		alone := slices.Clone(judged)
		for i, c := range conditions {
			if !dayLong[c.code] {
				alone[i] = c.of(&part)
			}
		}
		if verdictOf(alone) == Clear {
			all = append(all, ClearStage{Stage: stage, Until: part.until()})
		}
	}
	return all
}

func (c condition) of(m *morning) Condition {
	f := unknown("not judged: %s", m.broken)
	if m.broken == "" || c.code == "B21" {
		f = c.judge(m)
	}
	remedy := c.resolves
	if f.state == Met {
		remedy = ""
	}
	said := Condition{Code: c.code, Rule: c.rule, Subject: f.subject, State: f.state, Value: f.value, Limit: c.limit,
		Source: c.source, Remedy: remedy, Advice: c.advice, Applies: f.needed || f.state != Met}
	if own := m.ownRule(c); own != nil {
		said.Advice, said.Own = false, true
		if f.state != Met && m.broken == "" {
			said.Except = m.excepted(*own)
		}
	}
	return said
}

// verdictOf is Clear when every condition is there and none holds the crew.
func verdictOf(all []Condition) Verdict {
	if len(all) != len(conditions) {
		return NotClear
	}
	for i, c := range all {
		law := !conditions[i].advice
		if c.Code != conditions[i].code || c.Holds() || law && c.State != Met {
			return NotClear
		}
	}
	return Clear
}

// morning is a snapshot with what several conditions ask of it.
type morning struct {
	Snapshot
	now      time.Time
	from     time.Time // when work would start: now, or the window's start if that is later
	broken   string    // why the snapshot cannot be judged; "" = it can
	roof     bool      // whether roof work is among today's stages
	outdoors bool
	reports  []ScaffoldReport // complete, of this job, not of the future; oldest first
	odd      []string         // what was left out of reports, and why
	worst    []Entry          // of today's stages, those that leave severity 5
	briefing *Briefing        // the one that counts; nil = none does
	sun      weather.SunDay
	// signedFor is what a signature must have been given for to count today.
	signedFor Basis
	wholeDay  []string // the day's stages where only some of them are judged; nil = all are
}

// indoorStages are the stages of the chain that a crew does under the roof.
var indoorStages = []string{"first_fix", "second_fix", "commissioning"}

func newMorning(s Snapshot, now time.Time) *morning {
	m := &morning{Snapshot: s, now: now, from: now}
	if m.broken = m.inconsistent(); m.broken != "" {
		return m
	}
	if m.from.Before(s.StartAt) {
		m.from = s.StartAt
	}
	m.roof = slices.Contains(s.Stages, "roof_work")
	m.outdoors = s.Outdoors || m.roof
	m.worst = m.worstToday()
	m.signedFor = BasisOf(s)
	m.countReports()
	if why := m.briefingFault(); why == "" {
		m.briefing = s.Briefing
	}
	if s.Lat.Known && s.Lon.Known {
		m.sun = weather.Sun(s.Day, s.Lat.N, s.Lon.N, s.Location)
	}
	return m
}

// inconsistent says why the snapshot's parts do not make one morning of one
// crew; "" when they do.
func (m *morning) inconsistent() string {
	s := m.Snapshot
	switch {
	case m.now.IsZero():
		return "no instant is given to decide for"
	case s.Crew == uuid.Nil || s.Job == uuid.Nil:
		return "crew or job is missing"
	case s.Location == nil:
		return "the firm's time zone is missing"
	case s.TimeZone != "" && s.TimeZone != s.Location.String():
		return fmt.Sprintf("time zone %s is not %s", s.TimeZone, s.Location)
	case !s.Day.Known():
		return "the day is missing"
	case s.StartAt.IsZero() || s.EndAt.IsZero() || !s.StartAt.Before(s.EndAt):
		return "the window has no start before its end"
	case civil.DateOf(s.StartAt, s.Location) != s.Day || civil.DateOf(s.EndAt, s.Location) != s.Day:
		return fmt.Sprintf("the window %s to %s is not on %s", m.at(s.StartAt), m.at(s.EndAt), s.Day.Short())
	case len(s.Stages) == 0:
		return "no stage is planned"
	}
	for _, stage := range s.Stages {
		if stage != "roof_work" && !slices.Contains(indoorStages, stage) {
			return fmt.Sprintf("%q is not a crew's stage", stage)
		}
	}
	seen := map[uuid.UUID]bool{}
	for _, p := range s.People {
		if p.ID == uuid.Nil || seen[p.ID] {
			return fmt.Sprintf("the crew lists %q without an identity of their own", p.Name)
		}
		seen[p.ID] = true
	}
	return ""
}

// until is when a clear verdict ends: with the window, or at dusk outdoors.
func (m *morning) until() time.Time {
	if dusk := m.sun.Dusk; m.outdoors && dusk.Kind == weather.SunCrosses && dusk.At.Before(m.EndAt) {
		return dusk.At.UTC()
	}
	return m.EndAt.UTC()
}

// does tells whether any of some stages is done today.
func (m *morning) does(stages ...string) bool {
	return slices.ContainsFunc(stages, func(k string) bool { return slices.Contains(m.Stages, k) })
}

// answer is what the lead said to a check at the briefing that counts.
func (m *morning) answer(key string) Answer {
	if m.briefing == nil {
		return NotLookedAt
	}
	return m.briefing.Checks[key]
}

// at writes an instant as the clock on the firm's wall shows it.
func (m *morning) at(t time.Time) string {
	if m.Location == nil {
		return t.UTC().Format("Mon 2 Jan 15:04 UTC")
	}
	return t.In(m.Location).Format("Mon 2 Jan 15:04")
}

// clock writes only the hour and minute.
func (m *morning) clock(t time.Time) string { return t.In(m.Location).Format("15:04") }

// factsAgree is B21: what the snapshot says fits together and is of today, and
// the job is still to be done.
func factsAgree(m *morning) finding {
	switch {
	case m.broken != "":
		return unknown("%s", m.broken)
	case civil.DateOf(m.now, m.Location) != m.Day:
		return unknown("asked on %s for %s: decide again on the day", m.at(m.now), m.Day.Short())
	case !m.now.Before(m.EndAt):
		return unknown("the window ended at %s", m.clock(m.EndAt))
	case m.JobState == "":
		return unknown("whether job %s is still open is not known", m.JobRef)
	case m.JobState != "open":
		return notMet("job %s is %s", m.JobRef, m.JobState)
	default:
		return met("%s, %s to %s", m.Day.Short(), m.clock(m.from), m.clock(m.EndAt))
	}
}

// ChecksFor lists the morning checks that this crew answers today: by where it
// works, by the worst risks of its assessment, and by the forecast: one for each
// thing it is cautious about, whose key tells what is agreed to.
func ChecksFor(s Snapshot) []Check {
	m := &morning{Snapshot: s, roof: slices.Contains(s.Stages, "roof_work"), briefing: s.Briefing}
	m.outdoors = s.Outdoors || m.roof
	m.worst = m.worstToday()
	return m.checks()
}

func (m *morning) checks() []Check {
	var all []Check
	for _, c := range morningChecks {
		switch c.When {
		case "outdoors":
			if !m.outdoors {
				continue
			}
		case "worst":
			risks := m.unconfirmedElsewhere()
			if len(risks) == 0 {
				continue
			}
			c.Question = strings.TrimSuffix(c.Question, "?") + ", against: " + strings.Join(risks, "; ") + "?"
		case "risks":
			all = append(all, m.riskChecks(c)...)
			continue
		case "caution":
			all = append(all, m.cautionChecks(c)...)
			continue
		}
		all = append(all, c)
	}
	return all
}
