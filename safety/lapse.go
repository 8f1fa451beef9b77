package safety

import (
	"fmt"
	"slices"
	"strings"

	"toeboard/weather/fault"
)

// Basis is what was so when somebody signed: what the signature is given for, in
// words that a person reads. It is stored with the signature. A part is "" only
// where nobody knows it, and what nobody knows is never the same as before.
type Basis struct {
	Assessment string `json:"assessment"` // "version 3, 0a1b2c3d4e5f"
	Crew       string `json:"crew"`       // "Rhodri Pask (lead), Dele Ashworth"
	Scaffold   string `json:"scaffold"`   // "fit for use, handed over Wed 25 Nov 15:00"
	Tasks      string `json:"tasks"`      // "commissioning, roof work"
	Forecast   string `json:"forecast"`   // "go", "caution", "stop", "unknown" or "not needed indoors"
}

// Change is one part of a basis that is no longer what it was.
type Change struct {
	What string // "crew"
	Was  string
	Is   string
}

// Sentence says what changed from what to what.
func (c Change) Sentence() string {
	return fmt.Sprintf("%s was %s, is now %s", c.What, orUnknown(c.Was), orUnknown(c.Is))
}

func orUnknown(s string) string {
	if s == "" {
		return "not known"
	}
	return s
}

// parts names the parts of a basis in the order in which they are told.
func (b Basis) parts() []Change {
	return []Change{{What: "assessment", Is: b.Assessment}, {What: "crew", Is: b.Crew}, {What: "scaffold", Is: b.Scaffold},
		{What: "task", Is: b.Tasks}, {What: "forecast", Is: b.Forecast}}
}

// Lapsed tells what changed since a signature was given for was; nothing when it
// still holds. Any change counts, for better too: the crew agreed to what was so.
// A part that is not known, then or now, counts as changed.
func Lapsed(was, is Basis) []Change {
	var all []Change
	before := was.parts()
	for i, p := range is.parts() {
		if p.Is == "" || before[i].Is != p.Is {
			p.Was = before[i].Is
			all = append(all, p)
		}
	}
	return all
}

// BasisOf says what is so now. It depends on no clock: what only time changes,
// such as an inspection that grows old, is a condition of its own.
func BasisOf(s Snapshot) Basis {
	m := &morning{Snapshot: s, roof: slices.Contains(s.Stages, "roof_work")}
	m.outdoors = s.Outdoors || m.roof
	b := Basis{Scaffold: m.scaffoldState(), Forecast: "not needed indoors"}
	if a := s.Assessment; a != nil && a.BodyHash.Known() {
		b.Assessment = fmt.Sprintf("version %d, %s", a.Version, a.BodyHash.Short())
	}
	if m.outdoors {
		b.Forecast = s.Weather.Verdict.String()
	}
	var crew []string
	for _, p := range s.People {
		if p.Lead {
			crew = append(crew, p.Name+" (lead)")
		} else {
			crew = append(crew, p.Name)
		}
	}
	slices.Sort(crew)
	b.Crew = strings.Join(crew, ", ")
	var tasks []string
	for _, k := range s.Stages {
		tasks = append(tasks, strings.ReplaceAll(k, "_", " "))
	}
	slices.Sort(tasks)
	b.Tasks = strings.Join(slices.Compact(tasks), ", ")
	return b
}

// scaffoldState says in words what the records say of the scaffold: whether it
// stands, what the newest report found, since which handover, after which event.
func (m *morning) scaffoldState() string {
	switch {
	case !m.outdoors:
		return "not needed indoors"
	case m.Location == nil:
		return ""
	}
	if gone := m.notStanding(); gone != "" {
		return "not ready: " + gone
	}
	var newest, handover *ScaffoldReport
	for i, r := range m.Scaffold.Reports {
		if r.Job != m.Job {
			continue
		}
		if newest == nil || r.At.After(newest.At) || r.At.Equal(newest.At) && r.findsFault() {
			newest = &m.Scaffold.Reports[i]
		}
		if r.Kind == Handover && (handover == nil || r.At.After(handover.At)) {
			handover = &m.Scaffold.Reports[i]
		}
	}
	said := "no report"
	switch {
	case newest == nil:
	case newest.findsFault():
		said = "not fit for use"
	default:
		said = "fit for use"
	}
	if handover != nil {
		said += ", handed over " + m.at(handover.At)
	}
	var last *ScaffoldEvent
	for i, e := range m.Scaffold.Events {
		if e.Job == m.Job && (last == nil || e.At.After(last.At)) {
			last = &m.Scaffold.Events[i]
		}
	}
	if last != nil {
		said += ", after the " + last.What + " of " + m.at(last.At)
	}
	return said
}

// longestDrawing is how many letters the strokes of a drawn signature may have:
// some 900 points.
const longestDrawing = 8000

// CheckDrawing refuses what is not the strokes of a drawn signature: an SVG path
// of moves and lines to whole places from 0 to 999, "M10 20L12 25L15 26M40 8L40
// 30"; "" is none. Nothing else can be written into a page or a paper by it.
func CheckDrawing(path string) error {
	bad := fault.Bad("drawing", fmt.Sprintf("%d letters", len(path)), "strokes such as M10 20L12 25, at most 8000 letters")
	if len(path) > longestDrawing {
		return bad
	}
	for rest := path; rest != ""; {
		first := len(rest) == len(path)
		if rest[0] != 'M' && (first || rest[0] != 'L') {
			return bad
		}
		n := 0
		if rest, n = place(rest[1:]); n == 0 || rest == "" || rest[0] != ' ' {
			return bad
		}
		if rest, n = place(rest[1:]); n == 0 {
			return bad
		}
	}
	return nil
}

// place takes one to three digits off and tells how many there were.
func place(s string) (rest string, digits int) {
	for digits < 3 && digits < len(s) && s[digits] >= '0' && s[digits] <= '9' {
		digits++
	}
	return s[digits:], digits
}
