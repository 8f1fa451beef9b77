package paper

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"toeboard/safety"
	"toeboard/weather"
)

// PDF sets the pack: what was decided and why, whom to ring, who signed, the
// briefing, the scaffold, the forecast, the assessment with its controls and
// scores, the method, the rescue plan, the cautions. It says what is unknown
// where something is; it leaves nothing out because it is missing.
func (p Pack) PDF() ([]byte, error) {
	f := newSheet(p, fmt.Sprintf("%s, %s, crew %s", p.Facts.JobRef, p.Facts.Day.Long(), p.Facts.CrewName))
	if err := p.verdict(f); err != nil {
		return nil, err
	}
	p.emergency(f)
	p.conditions(f)
	p.signatures(f)
	p.briefing(f)
	p.scaffold(f)
	p.forecast(f)
	p.hazards(f)
	p.method(f)
	p.cautions(f)
	return f.bytes()
}

// verdict is the top of the first page: the answer, in a word and a shape.
func (p Pack) verdict(f sheet) error {
	s, d := p.Facts, p.Decision
	const code = 34.0
	y := f.GetY()
	f.SetFont("go", "B", 16)
	f.MultiCell(wide-code, 7.5, printable(s.JobRef+", "+s.Address), "", "L", false)
	f.SetFont("go", "", body+1)
	f.MultiCell(wide-code, 5.2, printable(fmt.Sprintf("%s. Crew %s. %s to %s. %s.", s.Day.Long(), s.CrewName,
		s.StartAt.In(p.loc()).Format("15:04"), s.EndAt.In(p.loc()).Format("15:04"), upper(words(s.Stages)))), "", "L", false)
	f.Ln(2)
	f.SetLineWidth(0.8)
	box := f.GetY()
	f.Rect(left, box, wide-code-2, 17, "D")
	if d.Verdict == safety.Clear {
		f.Polygon(points(left+4, box+9, left+7, box+12.5, left+13, box+4, left+14.5, box+5, left+7.3, box+15, left+2.8, box+10), "F")
	} else {
		f.Rect(left+4, box+6.5, 10, 4, "F") // a bar across the way
	}
	f.SetLineWidth(0.2)
	f.SetXY(left+18, box+2)
	f.SetFont("go", "B", 18)
	f.CellFormat(90, 8, strings.ToUpper(d.Verdict.String()), "", 2, "L", false, 0, "")
	f.SetFont("go", "", body)
	said := "decided " + p.at(d.At)
	if d.Verdict == safety.Clear {
		said += ", holds until " + p.at(d.Until)
	}
	for i, c := range d.ClearFor {
		said += map[bool]string{true: "; clear for some tasks: ", false: ", "}[i == 0] + words([]string{c.Stage}) + " until " + c.Until.In(p.loc()).Format("15:04")
	}
	f.CellFormat(120, 5, said, "", 1, "L", false, 0, "")
	f.SetY(box + 19)
	if !p.Kept {
		f.strong("This is how things stood at " + p.at(d.At) + ". It is no kept record: no decision was recorded for this crew, job and day.")
		return nil
	}
	f.note("The code leads to where this service tells whether this paper is what was kept. The same hash stands at the foot of each page.\n" + p.Verify)
	return f.qr(p.Verify, left+wide-code, y-4, code+4)
}

func (p Pack) emergency(f sheet) {
	f.heading("In an emergency")
	for _, l := range safety.EmergencySheet(p.Facts.Facts) {
		f.line(l.Label, l.Say)
	}
}

func (p Pack) conditions(f sheet) {
	f.heading("The decision: every condition")
	met := 0
	for _, c := range p.Decision.Conditions {
		if c.State == safety.Met {
			met++
		}
	}
	f.para(fmt.Sprintf("%d of %d conditions are met or not needed.", met, len(p.Decision.Conditions)))
	// What holds the crew comes first; the order of codes stays within.
	all := slices.Clone(p.Decision.Conditions)
	slices.SortStableFunc(all, func(a, b safety.Condition) int { return rank(a) - rank(b) })
	for _, c := range all {
		text := c.Sentence()
		if c.Advice {
			text += " Advice: it does not hold the crew."
		}
		if c.Remedy != "" {
			text += " " + c.Remedy + "."
		}
		text += " [" + c.Source + "]"
		f.item(shape(c.State), c.Code+" "+text)
	}
	if ws := p.cautious(); len(ws) > 0 {
		f.strong("Cautions of the forecast that this decision rests on")
		for _, w := range ws {
			f.item("!", w)
		}
	}
}

func rank(c safety.Condition) int {
	switch {
	case c.Holds():
		return 0
	case c.State != safety.Met:
		return 1
	default:
		return 2
	}
}

// shape is how a state looks without colour.
func shape(s safety.State) string {
	switch s {
	case safety.Met:
		return "+"
	case safety.NotMet:
		return "X"
	default:
		return "?"
	}
}

func (p Pack) cautious() []string {
	var all []string
	for _, r := range p.Facts.Weather.Reasons {
		if r.Verdict != weather.Go {
			all = append(all, r.Sentence()+".")
		}
	}
	return all
}

func (p Pack) signatures(f sheet) {
	f.heading("Signatures")
	if len(p.Facts.SignOffs) == 0 {
		f.para("Nobody has signed.")
	}
	for _, s := range p.Facts.SignOffs {
		f.room(30)
		var who safety.Person
		for _, q := range p.Facts.People {
			if q.ID == s.Person {
				who = q
			}
		}
		line := fmt.Sprintf("%s, received %s", s.TypedName, p.at(s.ReceivedAt))
		if !s.DeviceAt.IsZero() {
			line += ", by the device's clock " + p.at(s.DeviceAt)
		}
		if s.Proof == safety.ByPIN {
			line += ", with their own PIN"
		}
		f.strong(line)
		state := "It counts."
		if who.Name == "" {
			state = "It does not count: this person is not in the crew today."
		} else if why := unsigned(p.Facts, s, who, p.Decision); why != "" {
			state = "It does not count any more: " + why + "."
		}
		f.note(state)
		y := f.GetY()
		f.SetFont("go", "", small+0.5)
		f.SetX(left + 3)
		f.MultiCell(wide-50, 3.7, printable(s.Statement), "L", "L", false)
		f.drawing(s.Drawing, left+wide-44, y, 44, 14)
		f.SetY(max(f.GetY(), y+15))
	}
	for _, q := range p.Facts.People {
		if !slices.ContainsFunc(p.Facts.SignOffs, func(s safety.SignOff) bool { return s.Person == q.ID }) {
			f.para(q.Name + ": has not signed.")
		}
	}
}

// unsigned puts one signature to the rule that the decision goes by.
func unsigned(s safety.Snapshot, one safety.SignOff, who safety.Person, d safety.Decision) string {
	s.SignOffs = []safety.SignOff{one}
	return safety.Unsigned(s, who, d.At)
}

// drawing draws the strokes of a signature: an SVG path of moves and lines to
// places from 0 to 999.
func (f sheet) drawing(path string, x, y, w, h float64) {
	if path == "" || safety.CheckDrawing(path) != nil {
		return
	}
	var px, py []float64
	var moves []bool
	for _, part := range strings.FieldsFunc(strings.NewReplacer("M", "|M", "L", "|L").Replace(path), func(r rune) bool { return r == '|' }) {
		a, b, _ := strings.Cut(part[1:], " ")
		ax, _ := strconv.ParseFloat(a, 64)
		by, _ := strconv.ParseFloat(b, 64)
		px, py, moves = append(px, ax), append(py, by), append(moves, part[0] == 'M')
	}
	x0, y0 := slices.Min(px), slices.Min(py)
	scale := math.Min(w/math.Max(slices.Max(px)-x0, 1), h/math.Max(slices.Max(py)-y0, 1))
	f.SetLineWidth(0.35)
	for i := 1; i < len(px); i++ {
		if !moves[i] {
			f.Line(x+(px[i-1]-x0)*scale, y+(py[i-1]-y0)*scale, x+(px[i]-x0)*scale, y+(py[i]-y0)*scale)
		}
	}
	f.SetLineWidth(0.2)
}

func (p Pack) briefing(f sheet) {
	f.heading("Briefing")
	b := p.Facts.Briefing
	if b == nil {
		f.para("No briefing was held.")
	} else {
		by := "somebody who is not in the crew"
		for _, q := range p.Facts.People {
			if q.ID == b.By {
				by = q.Name
			}
		}
		f.para(fmt.Sprintf("Held %s by %s.", p.at(b.At), by))
		for _, c := range safety.ChecksFor(p.Facts) {
			f.item("", c.Question+" "+strings.ToUpper(b.Checks[c.Key].String())+".")
		}
	}
	for _, r := range p.Facts.Readings {
		f.item("", fmt.Sprintf("Gust read on site: %.1f m/s at %s.", r.GustMS, p.at(r.At)))
	}
	for _, s := range p.Facts.Stops {
		text := fmt.Sprintf("Work stopped %s by %s: %s.", p.at(s.At), s.By, s.Reason)
		if s.Open() {
			text += " NOT LIFTED."
		} else {
			text += fmt.Sprintf(" Lifted %s by %s: %s.", p.at(s.LiftedAt), s.LiftedBy, s.LiftWhy)
		}
		f.item("", text)
	}
}

func (p Pack) scaffold(f sheet) {
	f.heading("Scaffold")
	s := p.Facts.Scaffold
	if !s.Expected {
		f.para("This job has no scaffold.")
		return
	}
	tag := safety.ScaffoldFile{ScaffoldRecord: s, Job: p.Facts.Job}.Tag(p.Decision.At, p.loc())
	f.strong("State: " + tag.Words + ".")
	f.para(tag.Why)
	if len(s.Reports) == 0 {
		f.para("No handover and no inspection is recorded.")
	}
	for _, r := range s.Reports {
		f.room(30)
		result := "FIT FOR USE"
		if !r.Fit {
			result = "NOT FIT"
		}
		f.strong(fmt.Sprintf("%s, %s: %s", upper(r.Kind), p.at(r.At), result))
		f.line("Made for", r.ForWhom)
		f.line("Location", r.Location)
		f.line("Description", r.Description)
		f.line("Risks found", r.Risks)
		f.line("Action taken", r.ActionTaken)
		f.line("Further action", r.Further)
		f.line("Reported by", r.ByName+", "+r.ByPosition)
		if r.LoadClass > 0 {
			f.line("Load class", fmt.Sprintf("%d (EN 12811-1)", r.LoadClass))
		}
		if r.Kind == safety.Handover {
			f.line("Certificate", fmt.Sprintf("%s; %d lifts; ties: %s; taken over by %s", stated(r.DesignRef), r.Lifts, stated(r.Ties), stated(r.ReceivedBy)))
		}
	}
	for _, e := range s.Events {
		f.item("", fmt.Sprintf("Event %s: %s, %s (recorded by %s).", p.at(e.At), e.What, e.Detail, e.By))
	}
}

func (p Pack) hazards(f sheet) {
	f.heading("Risk assessment")
	a := p.Facts.Assessment
	if a == nil {
		f.para("No assessment was issued for this job.")
		return
	}
	approved := "NOT APPROVED"
	if a.Approved {
		approved = fmt.Sprintf("approved by %s %s", a.ApprovedBy, p.at(a.ApprovedAt))
	}
	f.para(fmt.Sprintf("Version %d, made by %s %s, %s. Made with %s. Its hash, which each signature names: %s.",
		a.Version, a.MadeBy, p.at(a.MadeAt), approved, a.Body.Library, a.BodyHash))
	f.note("Scores are likelihood x severity, 1 to 5 each. " + bands(a.Body.Matrix))
	for _, e := range a.Body.Entries {
		p.hazard(f, e)
	}
	if len(a.Body.Questions) > 0 {
		f.strong("Facts that are not known, and so are taken as present")
		for _, q := range a.Body.Questions {
			f.item("?", q.Ask)
		}
	}
	for _, l := range a.Body.Aside {
		f.line("Put aside by the firm: "+l.Label, l.Say)
	}
	f.strong("Sums")
	for _, l := range a.Body.Sums {
		f.line(l.Label, l.Say)
	}
}

func (p Pack) hazard(f sheet, e safety.Entry) {
	f.room(24)
	f.Ln(1)
	f.strong(fmt.Sprintf("%s %s (%s)", e.Hazard, e.Name, e.Presence))
	f.note(e.Why() + " May be harmed: " + words(e.Who) + ".")
	f.para(fmt.Sprintf("Before %d x %d = %d, %s. After the controls %d x %d = %d, %s.",
		e.Before.Likelihood, e.Before.Severity, e.Before.Product(), e.BandBefore, e.After.Likelihood, e.After.Severity, e.After.Product(), e.BandAfter))
	for _, c := range e.Controls {
		f.item("-", upper(c.Step)+": "+c.Do)
	}
	last := "Source: " + e.Source
	if len(e.Evidence) > 0 {
		last = "Evidence: " + strings.Join(e.Evidence, "; ") + ". " + last
	}
	f.note(last)
}

func bands(m safety.Matrix) string {
	var all []string
	for _, b := range m.Bands {
		all = append(all, fmt.Sprintf("%d to %d %s", b.From, b.To, b.Word))
	}
	return "Bands: " + strings.Join(all, "; ") + "."
}

func (p Pack) method(f sheet) {
	a := p.Facts.Assessment
	if a == nil {
		return
	}
	f.heading("Method statement")
	for _, m := range a.Body.Method {
		f.room(14)
		f.strong(upper(strings.ReplaceAll(m.Stage, "_", " ")))
		for i, s := range m.Steps {
			f.item(fmt.Sprintf("%d.", i+1), s)
		}
	}
	f.heading("Rescue plan")
	for i, s := range a.Body.Rescue {
		f.item(fmt.Sprintf("%d.", i+1), s)
	}
}

func (p Pack) cautions(f sheet) {
	f.heading("Cautions")
	f.para("This is no substitute for a competent person. Local codes, the scaffold's own certificate, and the judgement of licensed and competent people on site come first. " +
		"Limits marked \"check against the original\" or [second-hand] were read second-hand. Anyone stops the work at once; only another, named person lifts a stop.")
	if a := p.Facts.Assessment; a != nil {
		for _, c := range a.Body.Cautions {
			f.item("-", c)
		}
	}
}

func stated(s string) string {
	if strings.TrimSpace(s) == "" {
		return "not stated"
	}
	return s
}

// words lists keys as words.
func words(keys []string) string { return strings.ReplaceAll(strings.Join(keys, ", "), "_", " ") }

func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
