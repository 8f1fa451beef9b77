package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/mail"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// teamFile is the document as it is written. Numbers and days that must be
// given are pointers and texts, so that a missing one is told from a zero.
type teamFile struct {
	People        []filePerson   `json:"people"`
	Crews         []fileCrew     `json:"crews"`
	Absences      []fileAbsence  `json:"absences"`
	ScaffoldFirms []fileScaffold `json:"scaffold_firms"`
	Holidays      []fileHoliday  `json:"holidays"`
}

type filePerson struct {
	Name        string           `json:"name"`
	Role        string           `json:"role"`
	Email       string           `json:"email"`
	Phone       string           `json:"phone"`
	Active      *bool            `json:"active"`
	Competences []fileCompetence `json:"competences"`
}

type fileCompetence struct {
	Kind     string `json:"kind"`
	From     string `json:"from"`
	Until    string `json:"until"`
	Evidence string `json:"evidence"`
}

type fileCrew struct {
	Name        string       `json:"name"`
	Trade       string       `json:"trade"`
	HomeLat     *float64     `json:"home_lat"`
	HomeLon     *float64     `json:"home_lon"`
	HalfDayCost *json.Number `json:"half_day_cost_pounds"`
	Active      *bool        `json:"active"`
	Members     []fileMember `json:"members"`
}

type fileMember struct {
	Person string `json:"person"`
	Lead   bool   `json:"lead"`
	From   string `json:"from"`
	Until  string `json:"until"`
}

type fileAbsence struct {
	Person string `json:"person"`
	From   string `json:"from"`
	Until  string `json:"until"`
	Reason string `json:"reason"`
}

type fileScaffold struct {
	Name          string       `json:"name"`
	Email         string       `json:"email"`
	Phone         string       `json:"phone"`
	GangsPerDay   *int         `json:"gangs_per_day"`
	Sets          *int         `json:"sets"`
	ErectNotice   *int         `json:"erect_notice_working_days"`
	StrikeNotice  *int         `json:"strike_notice_working_days"`
	VisitPrice    *json.Number `json:"erect_and_strike_pounds"`
	IncludedWeeks *int         `json:"included_weeks"`
	WeeklyHire    *json.Number `json:"weekly_hire_pounds"`
	Active        *bool        `json:"active"`
	DaysOff       []string     `json:"days_off"`
	YardLat       *float64     `json:"yard_lat"`
	YardLon       *float64     `json:"yard_lon"`
	ReachKm       *int         `json:"reach_km"`
	CancelNotice  int          `json:"cancel_notice_working_days"`
	CancelCharge  *json.Number `json:"cancel_pounds"`
	GustLimit     *float64     `json:"gust_limit_ms"`
}

type fileHoliday struct {
	Day   string `json:"day"`
	Title string `json:"title"`
}

// team is the document read: each value held against its bounds.
type team struct {
	people    []teamPerson
	crews     []schedule.Crew // whose members are known by name only
	absences  []teamAbsence
	scaffolds []schedule.ScaffoldFirm
	holidays  []schedule.Holiday
}

type teamPerson struct {
	schedule.Person
	email       string // "" = does not sign in
	competences []safety.Competence
}

type teamAbsence struct {
	person string
	schedule.Absence
}

// readTeam reads a document whole and names everything that is wrong with it.
func readTeam(r io.Reader) (team, error) {
	text, err := io.ReadAll(r)
	if err != nil {
		return team{}, err
	}
	var f teamFile
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&f); err != nil {
		return team{}, notTeam(err, text, d.InputOffset())
	}
	if _, err := d.Token(); err != io.EOF {
		return team{}, fault.Bad("line "+strconv.Itoa(lineAt(text, d.InputOffset())), "", "nothing after the one document")
	}
	s := &slips{}
	t := team{
		people: each(f.People, s.person), crews: each(f.Crews, s.crew), absences: each(f.Absences, s.absence),
		scaffolds: each(f.ScaffoldFirms, s.scaffold), holidays: each(f.Holidays, s.holiday),
	}
	once(s, "person", t.people, func(p teamPerson) string { return p.Name })
	once(s, "e-mail", t.people, func(p teamPerson) string { return p.email })
	once(s, "crew", t.crews, func(c schedule.Crew) string { return c.Name })
	once(s, "scaffold firm", t.scaffolds, func(f schedule.ScaffoldFirm) string { return f.Name })
	once(s, "holiday", t.holidays, func(h schedule.Holiday) string { return h.Day.String() })
	return t, errors.Join(s.bad...)
}

// notTeam says where the document cannot be read, and what would be right.
func notTeam(err error, text []byte, at int64) error {
	var kind *json.UnmarshalTypeError
	var syntax *json.SyntaxError
	switch {
	case errors.As(err, &kind):
		return fault.Bad(fmt.Sprintf("line %d, %s", lineAt(text, kind.Offset), kind.Field), kind.Value, "a JSON "+kindWords(kind))
	case errors.As(err, &syntax):
		return fault.Bad(fmt.Sprintf("line %d", lineAt(text, syntax.Offset)), "", "JSON that can be read: "+syntax.Error())
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return fault.Bad("the file", "", "one whole JSON document; this one ends too early")
	}
	if name, unknown := strings.CutPrefix(err.Error(), "json: unknown field "); unknown {
		return fault.Bad(fmt.Sprintf("field near line %d", lineAt(text, at)), strings.Trim(name, `"`), "a field that the file knows: see 'toeboard team --help'")
	}
	return fault.Bad(fmt.Sprintf("line %d", lineAt(text, at)), "", "a document of the firm's people: "+err.Error())
}

// kindWords says what should stand where something else does.
func kindWords(e *json.UnmarshalTypeError) string {
	switch e.Type.Kind().String() {
	case "string":
		return "text in quotes"
	case "bool":
		return "true or false"
	case "slice":
		return "list in square brackets"
	case "struct":
		return "object in braces"
	}
	return "number"
}

func lineAt(text []byte, offset int64) int {
	return 1 + bytes.Count(text[:min(int(offset), len(text))], []byte("\n"))
}

func each[A, B any](all []A, read func(where string, a A) B) []B {
	var out []B
	for i, a := range all {
		out = append(out, read(strconv.Itoa(i+1), a))
	}
	return out
}

// once refuses two entries of one name: the file could not tell them apart.
func once[A any](s *slips, what string, all []A, name func(A) string) {
	seen := map[string]bool{}
	for _, a := range all {
		if n := name(a); n != "" && seen[n] {
			s.add(what, n, "each once in the file")
		} else {
			seen[n] = true
		}
	}
}

// slips gathers what is wrong, so that a person sees all of it at once.
type slips struct{ bad []error }

func (s *slips) add(field, value, want string) { s.bad = append(s.bad, fault.Bad(field, value, want)) }

// oneOf refuses a word that is not in a list.
func (s *slips) oneOf(field, value string, words ...string) {
	if !slices.Contains(words, value) {
		s.add(field, value, "one of "+strings.Join(words, ", "))
	}
}

func (s *slips) line(field, value string, must bool) {
	const most = 200 // characters, as the stores take them
	switch {
	case must && value == "":
		s.add(field, value, "this must be given")
	case value != strings.TrimSpace(value):
		s.add(field, value, "no blanks before or after it")
	case utf8.RuneCountInString(value) > most:
		s.add(field, value, fmt.Sprintf("at most %d characters", most))
	case strings.ContainsFunc(value, unicode.IsControl) || strings.ContainsRune(value, utf8.RuneError):
		s.add(field, value, "one line of plain text")
	}
}

func (s *slips) email(field, value string) string {
	value = strings.ToLower(strings.TrimSpace(value))
	if value == "" {
		return ""
	}
	if a, err := mail.ParseAddress(value); err != nil || a.Address != value || !strings.Contains(value[strings.LastIndexByte(value, '@'):], ".") {
		s.add(field, value, "one address such as office@firm.example")
	}
	return value
}

func (s *slips) day(field, value string, must bool) civil.Date {
	if value == "" && !must {
		return civil.NoDate
	}
	d, err := civil.Parse(value)
	if err != nil || d < civil.On(2000, 1, 1) || d > civil.On(2099, 12, 31) {
		s.add(field, value, "a day of the years 2000 to 2099, as 2026-12-31")
	}
	return d
}

// span reads two days, both inclusive.
func (s *slips) span(where, from, until string, open bool) (a, b civil.Date) {
	a, b = s.day(where+", from", from, true), s.day(where+", until", until, !open)
	if a.Known() && b.Known() && b < a {
		s.add(where+", until", until, "not before "+a.String()+", the first day")
	}
	return a, b
}

func (s *slips) whole(field string, n *int, low, high int, unit string) int {
	if n == nil {
		s.add(field, "", fmt.Sprintf("this must be given: a whole number from %d to %d %s", low, high, unit))
		return 0
	}
	if *n < low || *n > high {
		s.add(field, strconv.Itoa(*n), fmt.Sprintf("a whole number from %d to %d %s", low, high, unit))
	}
	return *n
}

// pounds reads an amount without going through a binary fraction.
func (s *slips) pounds(field string, n *json.Number) schedule.Pence {
	const want = "pounds from 0 to 1000000 with at most two decimals, as 780 or 45.50"
	if n == nil {
		s.add(field, "", "this must be given: "+want)
		return 0
	}
	whole, part, _ := strings.Cut(n.String(), ".")
	pence, err := strconv.ParseUint(whole+(part + "00")[:2], 10, 64)
	if err != nil || len(part) > 2 || pence > 100_000_000 {
		s.add(field, n.String(), want)
		return 0
	}
	return schedule.Pence(pence)
}

// weekdays reads the days on which a scaffold firm's gangs do not work.
func (s *slips) weekdays(field string, names []string) schedule.Weekdays {
	off, err := schedule.WeekdaysOf(names)
	if err != nil {
		s.add(field, strings.Join(names, ", "), "at most four of monday, tuesday, wednesday, thursday, friday, each once; left out = it works on all five")
	}
	return off
}

func (s *slips) degrees(field string, x *float64, most float64) float64 {
	if x == nil || *x < -most || *x > most {
		value := ""
		if x != nil {
			value = strconv.FormatFloat(*x, 'f', -1, 64)
		}
		s.add(field, value, fmt.Sprintf("degrees from -%g to %g, where the vans start", most, most))
		return 0
	}
	return *x
}

func orYes(b *bool) bool { return b == nil || *b }

func (s *slips) person(n string, p filePerson) teamPerson {
	where := "person " + n + " (" + p.Name + ")"
	s.line("person "+n+", name", p.Name, true)
	s.line(where+", phone", p.Phone, false)
	s.oneOf(where+", role", p.Role, string(schedule.Office), string(schedule.CrewLead), string(schedule.CrewMember))
	out := teamPerson{Person: schedule.Person{Name: p.Name, Role: schedule.Role(p.Role), Phone: p.Phone, Active: orYes(p.Active)},
		email: s.email(where+", email", p.Email)}
	for _, k := range p.Competences {
		at := where + ", competence " + k.Kind
		s.oneOf(at+", kind", k.Kind, safety.LeadRoof, safety.Roof, safety.Electrical, safety.ScaffoldInspection, safety.FirstAid, safety.RoofRescue, safety.LoneWork)
		s.line(at+", evidence", k.Evidence, false)
		c := safety.Competence{Kind: k.Kind, Evidence: k.Evidence}
		c.From, c.Until = s.span(at, k.From, k.Until, true)
		out.competences = append(out.competences, c)
	}
	return out
}

func (s *slips) crew(n string, c fileCrew) schedule.Crew {
	where := "crew " + n + " (" + c.Name + ")"
	s.line("crew "+n+", name", c.Name, true)
	out := schedule.Crew{Name: c.Name, Active: orYes(c.Active), HomeLat: s.degrees(where+", home_lat", c.HomeLat, 90),
		HomeLon: s.degrees(where+", home_lon", c.HomeLon, 180), HalfDayCost: s.pounds(where+", half_day_cost_pounds", c.HalfDayCost)}
	s.oneOf(where+", trade", c.Trade, schedule.RoofTrade.Key(), schedule.ElectricalTrade.Key())
	if trade, err := schedule.TradeFromKey(c.Trade); err == nil {
		out.Trade = trade
	}
	for _, m := range c.Members {
		at := where + ", member " + m.Person
		s.line(at, m.Person, true)
		row := schedule.Membership{Person: schedule.Person{Name: m.Person}, Lead: m.Lead}
		row.From, row.Until = s.span(at, m.From, m.Until, true)
		out.Members = append(out.Members, row)
	}
	return out
}

func (s *slips) absence(n string, a fileAbsence) teamAbsence {
	where := "absence " + n + " (" + a.Person + ")"
	s.line(where+", person", a.Person, true)
	s.line(where+", reason", a.Reason, true)
	out := teamAbsence{person: a.Person, Absence: schedule.Absence{Reason: a.Reason}}
	out.From, out.Until = s.span(where, a.From, a.Until, false)
	return out
}

func (s *slips) scaffold(n string, f fileScaffold) schedule.ScaffoldFirm {
	where := "scaffold firm " + n + " (" + f.Name + ")"
	s.line("scaffold firm "+n+", name", f.Name, true)
	s.line(where+", phone", f.Phone, false)
	out := schedule.ScaffoldFirm{Name: f.Name, Email: s.email(where+", email", f.Email), Phone: f.Phone, Active: orYes(f.Active),
		GangsPerDay:   s.whole(where+", gangs_per_day", f.GangsPerDay, 1, 50, "gangs"),
		Sets:          s.whole(where+", sets", f.Sets, 1, 500, "scaffolds that can stand at once"),
		ErectNotice:   s.whole(where+", erect_notice_working_days", f.ErectNotice, 0, 60, "working days"),
		StrikeNotice:  s.whole(where+", strike_notice_working_days", f.StrikeNotice, 0, 60, "working days"),
		IncludedWeeks: s.whole(where+", included_weeks", f.IncludedWeeks, 0, 52, "weeks"),
		VisitPrice:    s.pounds(where+", erect_and_strike_pounds", f.VisitPrice),
		WeeklyHire:    s.pounds(where+", weekly_hire_pounds", f.WeeklyHire),
		DaysOff:       s.weekdays(where+", days_off", f.DaysOff),
		CancelNotice:  s.whole(where+", cancel_notice_working_days", &f.CancelNotice, 0, 60, "working days")}
	if f.CancelCharge != nil {
		out.CancelCharge = s.pounds(where+", cancel_pounds", f.CancelCharge)
	}
	if out.CancelCharge > 0 && out.CancelNotice == 0 {
		s.add(where+", cancel_notice_working_days", "0", "1 or more, since cancel_pounds is given")
	}
	if f.GustLimit != nil {
		if out.GustLimit = *f.GustLimit; !(out.GustLimit >= 1 && out.GustLimit <= 40) {
			s.add(where+", gust_limit_ms", strconv.FormatFloat(out.GustLimit, 'f', -1, 64), "1 to 40 m/s at the working height, or left out: none of its own")
		}
	}
	if f.YardLat == nil && f.YardLon == nil && f.ReachKm == nil {
		return out // it goes anywhere
	}
	if f.YardLat == nil || f.YardLon == nil || f.ReachKm == nil {
		s.add(where+", reach_km", "", "yard_lat, yard_lon and reach_km together, or none of them: it goes anywhere")
		return out
	}
	out.ReachKm = s.whole(where+", reach_km", f.ReachKm, 1, 1000, "km from its yard")
	out.YardLat, out.YardLon = s.degrees(where+", yard_lat", f.YardLat, 90), s.degrees(where+", yard_lon", f.YardLon, 180)
	return out
}

func (s *slips) holiday(n string, h fileHoliday) schedule.Holiday {
	s.line("holiday "+n+", title", h.Title, true)
	return schedule.Holiday{Day: s.day("holiday "+n+", day", h.Day, true), Title: h.Title, Source: "the firm's own"}
}
