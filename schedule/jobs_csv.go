package schedule

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// The jobs file is one job a row and one fact a column. What WriteJobs writes is
// what ReadJobs takes: written with a byte order mark, commas and CRLF, as
// spreadsheets read it without losing letters.
//
// A text that a spreadsheet would run as a formula (it begins with = + - @ or
// their wide forms) is written with one apostrophe before it. Reading takes one
// apostrophe away from a text that has apostrophes and then such a character,
// so every text comes back as it was. Numbers are written bare: -0.38 is not a
// formula.

// column is one column of the jobs file.
type column struct {
	name    string
	holds   string
	example string
	must    bool // a new job needs it
	kind    cellKind
	consent ConsentKind // "" = not part of a consent's group
	write   func(*Job) string
	read    func(*cell, *draft)
}

// cellKind tells which columns show how a file writes numbers and dates.
type cellKind int

const (
	textCell cellKind = iota
	numberCell
	dateCell
)

// JobColumn tells a person what a column of the jobs file holds.
type JobColumn struct {
	Name, Holds, Example string
	Must                 bool // a new job needs it
}

// JobColumns lists the columns of the jobs file. Kit and survey columns may be
// repeated, with other numbers and other facts.
func JobColumns() []JobColumn {
	var all []JobColumn
	for _, c := range slices.Concat(fixedColumns, kitColumns(1), []column{surveyColumn("pitch_deg")}) {
		all = append(all, JobColumn{Name: c.name, Holds: c.holds, Example: c.example, Must: c.must})
	}
	return all
}

// fixedColumns are those every file may have, in the order of the export.
var fixedColumns = slices.Concat(jobColumns, stageColumns(), consentColumns())

var jobColumns = []column{
	{name: "reference", must: true, holds: "the firm's own reference: rows are matched to jobs by it", example: "J-1041",
		write: func(j *Job) string { return j.Ref }, read: func(c *cell, d *draft) { d.Ref = c.text }},
	{name: "state", holds: "open, done or cancelled; empty is open", example: "open",
		write: func(j *Job) string { return string(j.State) },
		read: func(c *cell, d *draft) {
			if c.text != "" {
				d.State = JobState(c.word(jobStates))
			}
		}},
	{name: "customer", must: true, holds: "whose house it is", example: "Hallam household",
		write: func(j *Job) string { return j.Customer.Name }, read: func(c *cell, d *draft) { d.Customer.Name = c.text }},
	{name: "customer e-mail", holds: "one address", example: "name@mail.example",
		write: func(j *Job) string { return j.Customer.Email }, read: func(c *cell, d *draft) { d.Customer.Email = c.text }},
	{name: "customer phone", holds: "a telephone number", example: "01632 960205",
		write: func(j *Job) string { return j.Customer.Phone }, read: func(c *cell, d *draft) { d.Customer.Phone = c.text }},
	{name: "address", must: true, holds: "of the house; may have several lines", example: "12 Heron Row, Quillmere",
		write: func(j *Job) string { return j.Site.Address }, read: func(c *cell, d *draft) { d.Site.Address = c.text }},
	{name: "postcode", holds: "of the house", example: "XQ1 1AB",
		write: func(j *Job) string { return j.Site.Postcode }, read: func(c *cell, d *draft) { d.Site.Postcode = c.text }},
	{name: "latitude", must: true, kind: numberCell, holds: "degrees, north positive", example: "53.1712",
		write: func(j *Job) string { return plainNumber(j.Site.Lat) }, read: func(c *cell, d *draft) { d.Site.Lat = c.decimal() }},
	{name: "longitude", must: true, kind: numberCell, holds: "degrees, east positive", example: "-0.3815",
		write: func(j *Job) string { return plainNumber(j.Site.Lon) }, read: func(c *cell, d *draft) { d.Site.Lon = c.decimal() }},
	{name: "terrain", must: true, holds: "0, I, II, III or IV (EN 1991-1-4): how the wind meets the house", example: "III",
		write: func(j *Job) string { return j.Site.Terrain }, read: func(c *cell, d *draft) { d.Site.Terrain = c.word(terrains) }},
	{name: "working height m", must: true, kind: numberCell, holds: "metres above ground of the highest work", example: "6.5",
		write: func(j *Job) string { return plainNumber(j.Site.WorkingHeightM) }, read: func(c *cell, d *draft) { d.Site.WorkingHeightM = c.decimal() }},
	{name: "modules", must: true, holds: "how many, 1 to 200", example: "12",
		write: func(j *Job) string { return strconv.Itoa(j.Modules) }, read: func(c *cell, d *draft) { d.Modules = c.whole() }},
	{name: "module watts", must: true, holds: "W, rated, each", example: "430",
		write: func(j *Job) string { return strconv.Itoa(j.ModuleWatts) }, read: func(c *cell, d *draft) { d.ModuleWatts = c.whole() }},
	{name: "module kg", must: true, kind: numberCell, holds: "kg each", example: "21.5",
		write: func(j *Job) string { return plainNumber(j.ModuleKg) }, read: func(c *cell, d *draft) { d.ModuleKg = c.decimal() }},
	{name: "module m2", must: true, kind: numberCell, holds: "square metres each", example: "1.95",
		write: func(j *Job) string { return plainNumber(j.ModuleM2) }, read: func(c *cell, d *draft) { d.ModuleM2 = c.decimal() }},
	{name: "ready on", kind: dateCell, holds: "not before this day; empty is any day", example: "2026-12-01",
		write: func(j *Job) string { return isoDay(j.ReadyOn) }, read: func(c *cell, d *draft) { d.ReadyOn = c.date() }},
	{name: "promised on", kind: dateCell, holds: "the day the customer was told it would be commissioned by", example: "2026-12-18",
		write: func(j *Job) string { return isoDay(j.PromisedOn) }, read: func(c *cell, d *draft) { d.PromisedOn = c.date() }},
	{name: "note", holds: "anything else", example: "ring before coming",
		write: func(j *Job) string { return j.Note }, read: func(c *cell, d *draft) { d.Note = c.text }},
}

func isoDay(d civil.Date) string {
	if !d.Known() {
		return ""
	}
	return d.String()
}

func stageColumns() []column {
	var all []column
	for _, k := range StageKinds {
		name := k.String()
		of := func(tell func(Stage) string) func(*Job) string {
			return func(j *Job) string {
				if s, has := j.Stage(k); has {
					return tell(s)
				}
				return ""
			}
		}
		all = append(all,
			column{name: name + " half-days", holds: "working half-days, 1 to 40; empty is no such stage", example: "1",
				write: of(func(s Stage) string { return strconv.Itoa(s.HalfDays) }), read: func(c *cell, d *draft) { d.halfDays(c, k) }},
			column{name: name + " started on", kind: dateCell, holds: "when it was started; empty says nothing new", example: "",
				write: of(func(s Stage) string { return isoDay(s.StartedOn) }), read: func(c *cell, d *draft) { d.started(c, k) }},
			column{name: name + " done on", kind: dateCell, holds: "when it was finished; empty says nothing new", example: "",
				write: of(func(s Stage) string { return isoDay(s.DoneOn) }), read: func(c *cell, d *draft) { d.done(c, k) }})
	}
	return all
}

// usuallyWaits is the stage that waits for a consent unless the file says
// otherwise (common practice, no source).
var usuallyWaits = map[ConsentKind]StageKind{GridConnection: Commissioning, BuildingControl: RoofWork, Planning: ScaffoldErection,
	Landlord: ScaffoldErection, HighwayLicence: ScaffoldErection}

func consentColumns() []column {
	var all []column
	for _, k := range ConsentKinds {
		name := k.Words()
		of := func(tell func(*Consent) string) func(*Job) string {
			return func(j *Job) string {
				if c := j.consent(k); c != nil {
					return tell(c)
				}
				return ""
			}
		}
		all = append(all,
			column{name: name, consent: k, holds: "wanted, applied, granted or refused; empty is not needed", example: "applied",
				write: of(func(c *Consent) string { return string(c.State) }), read: func(c *cell, d *draft) { d.consentState(c, k) }},
			column{name: name + " stage", consent: k, holds: "the stage that waits for it; empty is " + usuallyWaits[k].String(), example: usuallyWaits[k].String(),
				write: of(func(c *Consent) string { return c.Stage.String() }), read: func(c *cell, d *draft) { d.consentStage(c, k) }},
			column{name: name + " expected on", consent: k, kind: dateCell, holds: "best knowledge of the day it comes", example: "2026-12-10",
				write: of(func(c *Consent) string { return isoDay(c.ExpectedOn) }), read: func(c *cell, d *draft) { d.consentDay(c, k, false) }},
			column{name: name + " granted on", consent: k, kind: dateCell, holds: "the day it was granted", example: "",
				write: of(func(c *Consent) string { return isoDay(c.GrantedOn) }), read: func(c *cell, d *draft) { d.consentDay(c, k, true) }})
	}
	return all
}

// consent finds the job's consent of a kind; nil when it has none.
func (j *Job) consent(k ConsentKind) *Consent {
	for i := range j.Consents {
		if j.Consents[i].Kind == k {
			return &j.Consents[i]
		}
	}
	return nil
}

// kitColumns are the four columns of the n-th item of kit, from 1.
func kitColumns(n int) []column {
	name := "kit " + strconv.Itoa(n)
	of := func(tell func(Kit) string) func(*Job) string {
		return func(j *Job) string {
			if n > len(j.Kit) {
				return ""
			}
			return tell(j.Kit[n-1])
		}
	}
	return []column{
		{name: name, holds: "something that must be on site before the roof work or second fix", example: "430 W modules",
			write: of(func(k Kit) string { return k.Item }), read: func(c *cell, d *draft) { d.slot(n).item = c }},
		{name: name + " quantity", holds: "how many", example: "12",
			write: of(func(k Kit) string { return strconv.Itoa(k.Quantity) }), read: func(c *cell, d *draft) { d.slot(n).quantity = c }},
		{name: name + " due", kind: dateCell, holds: "the day it is delivered; empty is not known", example: "2026-12-01",
			write: of(func(k Kit) string { return isoDay(k.DueOn) }), read: func(c *cell, d *draft) { d.slot(n).due = c }},
		{name: name + " arrived", kind: dateCell, holds: "the day it arrived; empty is not yet", example: "",
			write: of(func(k Kit) string { return isoDay(k.ArrivedOn) }), read: func(c *cell, d *draft) { d.slot(n).arrived = c }},
	}
}

// surveyColumn is the column of one thing that the survey found.
func surveyColumn(key string) column {
	return column{name: "survey " + key, holds: "what the survey found: yes, no, a number or words; empty is not known", example: "35",
		write: func(j *Job) string { return writeFact(j.Site.Facts[key]) },
		read: func(c *cell, d *draft) {
			if v := c.fact(); v != nil {
				d.Site.Facts[key] = v
			} else {
				delete(d.Site.Facts, key)
			}
		}}
}

// writeFact writes yes, 35 or slate. A text that would be read as something
// else, such as "yes" or "007", is put between quotation marks as JSON does.
func writeFact(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case bool:
		return map[bool]string{true: "yes", false: "no"}[v]
	case float64:
		return plainNumber(v)
	case int:
		return strconv.Itoa(v)
	case string:
		c := cell{text: strings.TrimSpace(v), file: &convention{}}
		if got, isText := c.fact().(string); isText && got == v && c.want == "" {
			return v
		}
		return quoted(v)
	default:
		return fmt.Sprint(v)
	}
}

func quoted(s string) string {
	var b strings.Builder
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(s); err != nil { // a string always encodes
		return s
	}
	return strings.TrimSuffix(b.String(), "\n")
}

// WriteJobs writes jobs as ReadJobs takes them. Columns of consents that none
// of the jobs has are left out; with no jobs the header is the whole template.
// Kit is written in the order of its names. A job that ReadJobs would refuse is
// refused.
func WriteJobs(w io.Writer, jobs []Job) error {
	jobs = slices.Clone(jobs)
	for i := range jobs {
		jobs[i].Kit = sortedKit(jobs[i].Kit)
		if err := jobs[i].Check(); err != nil {
			return fmt.Errorf("job %s cannot be written to a file: %w", jobs[i].Ref, err)
		}
	}
	columns := columnsFor(jobs)
	if _, err := io.WriteString(w, byteOrderMark); err != nil {
		return err
	}
	out := csv.NewWriter(w)
	out.UseCRLF = true
	row := make([]string, len(columns))
	for i, c := range columns {
		row[i] = c.name
	}
	if err := out.Write(row); err != nil {
		return err
	}
	for i := range jobs {
		for k, c := range columns {
			row[k] = guard(c.write(&jobs[i]), c.kind)
		}
		if err := out.Write(row); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

const byteOrderMark = "\ufeff"

func sortedKit(kit []Kit) []Kit {
	kit = slices.Clone(kit)
	slices.SortFunc(kit, func(a, b Kit) int { return strings.Compare(a.Item, b.Item) })
	return kit
}

func columnsFor(jobs []Job) []column {
	var all []column
	for _, c := range fixedColumns {
		used := len(jobs) == 0 || c.consent == ""
		for i := range jobs {
			used = used || jobs[i].consent(c.consent) != nil
		}
		if used {
			all = append(all, c)
		}
	}
	kits := 1
	facts := map[string]bool{}
	for _, j := range jobs {
		kits = max(kits, len(j.Kit))
		for key := range j.Site.Facts {
			facts[key] = true
		}
	}
	for n := range kits {
		all = append(all, kitColumns(n+1)...)
	}
	for _, key := range slices.Sorted(maps.Keys(facts)) {
		all = append(all, surveyColumn(key))
	}
	return all
}

// formulaStarts are the characters that make a spreadsheet run a cell.
const formulaStarts = "=+-@\t\r\n＝＋－＠"

// startsFormula tells whether a text has such a character after any apostrophes.
func startsFormula(s string) bool {
	s = strings.TrimLeft(s, "'")
	return s != "" && strings.ContainsRune(formulaStarts, []rune(s)[0])
}

func guard(s string, kind cellKind) string {
	if kind == textCell && startsFormula(s) {
		return "'" + s
	}
	return s
}

// unguard takes away what guard put there.
func unguard(s string) string {
	if strings.HasPrefix(s, "'") && startsFormula(s) {
		return s[1:]
	}
	return s
}

// kept says that something is in the database and not in the file.
func kept(ref string, line int, what string) string {
	return fmt.Sprintf("%s (line %d): %s is not in the file and stays as it is", ref, line, what)
}

// fileFault refuses a whole file.
func fileFault(value, want string) error { return fault.Bad("file", value, want) }
