package schedule

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Bounds of a jobs file.
const (
	maxFileBytes = 10 << 20
	maxRows      = 5000
	maxColumns   = 400
	maxCell      = 10_000 // characters
	maxBadCells  = 200    // named one by one; more are counted
)

// Import is what a file of jobs would do. It has done nothing yet.
type Import struct {
	New       []NewJob
	Changed   []ChangedJob
	Unchanged int
	Notes     []string // what a person should know before saying yes
}

// NewJob is a job that the file adds. Its identifiers are not given yet.
type NewJob struct {
	Line int // of the file, the header being line 1
	Job  Job
}

// ChangedJob is a job that the file changes.
type ChangedJob struct {
	Line          int
	Before, After Job
	Diffs         []Diff
}

// Diff is one thing that changes, as the file writes it; "" = nothing.
type Diff struct {
	Field, Was, Becomes string
}

// String writes "promised on: 2026-12-18 becomes 2027-01-08".
func (d Diff) String() string {
	or := func(s string) string {
		if s == "" {
			return "nothing"
		}
		return s
	}
	return d.Field + ": " + or(d.Was) + " becomes " + or(d.Becomes)
}

// BadCell is one cell of a file that cannot be taken, and what would be right.
// It unwraps to a fault.Error whose field names line and column.
type BadCell struct {
	Line   int    // of the file, the first line being 1; 0 = the whole file
	Column string // as JobColumns names it; "" = the whole line
	Value  string // as it stands in the file, cut when long
	Want   string
}

// Error writes the fault as one sentence.
func (b *BadCell) Error() string { return b.fault().Error() }

// Unwrap gives the fault.
func (b *BadCell) Unwrap() error { return b.fault() }

func (b *BadCell) fault() *fault.Error {
	field := "file"
	if b.Line > 0 {
		field = "line " + strconv.Itoa(b.Line)
	}
	if b.Column != "" {
		field += ", " + b.Column
	}
	return fault.Bad(field, b.Value, b.Want)
}

// BadCells gives every BadCell joined into err, in order.
func BadCells(err error) []*BadCell {
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		var all []*BadCell
		for _, one := range joined.Unwrap() {
			all = append(all, BadCells(one)...)
		}
		return all
	}
	var b *BadCell
	if errors.As(err, &b) {
		return []*BadCell{b}
	}
	return nil
}

// ReadJobs reads a file of jobs and says what it would do to the known ones. It
// takes UTF-8, UTF-16 with a byte order mark and Windows-1252, commas,
// semicolons or tabs, CRLF, quoted line breaks, headers in any case, days as
// 2026-12-31 or 31/12/2026, and a decimal comma where commas do not separate
// cells. Rows are matched to known jobs by reference; a column that the file
// does not have leaves what is known as it is, and a new job without it.
//
// It is all or nothing: any fault refuses the file, and every bad cell is named
// (see BadCells), at most 200 of them. What could mean two things is refused.
func ReadJobs(file io.Reader, known []Job) (Import, error) {
	text, note, err := readText(file)
	if err != nil {
		return Import{}, err
	}
	t, err := readTable(text)
	if err != nil {
		return Import{}, err
	}
	r := newJobsReader(t, known)
	if r.matches {
		for _, row := range t.rows {
			r.row(row)
		}
	}
	if err := r.faults(); err != nil {
		return Import{}, err
	}
	r.done.Notes = slices.Concat(note, r.convention.notes(), r.done.Notes)
	return r.done, nil
}

// table is a file cut into cells.
type table struct {
	header []string
	line   int // of the header
	rows   []tableRow
	comma  rune
	ended  *BadCell // why reading stopped before the end; nil = it did not
}

type tableRow struct {
	line  int
	cells []tableCell
}

type tableCell struct {
	line int
	text string
}

// readTable cuts text into cells by the separator under which most of the
// header is known.
func readTable(text string) (table, error) {
	text, skipped, comma := sepLine(text)
	if comma == 0 {
		comma = separator(text)
	}
	in := csv.NewReader(strings.NewReader(text))
	in.Comma, in.FieldsPerRecord = comma, -1
	t := table{comma: comma}
	for {
		record, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.ended = quoteFault(err, skipped)
			break
		}
		row := tableRow{cells: make([]tableCell, len(record))}
		for i, s := range record {
			line, _ := in.FieldPos(i)
			row.cells[i] = tableCell{line: line + skipped, text: s}
		}
		row.line = row.cells[0].line
		switch {
		case row.blank():
		case t.header == nil:
			t.header, t.line = record, row.line
			if len(record) > maxColumns {
				return t, fileFault(strconv.Itoa(len(record))+" columns", fmt.Sprintf("at most %d columns", maxColumns))
			}
		case len(t.rows) == maxRows:
			return t, fileFault(fmt.Sprintf("more than %d rows", maxRows), fmt.Sprintf("at most %d jobs in one file: cut it in two", maxRows))
		default:
			t.rows = append(t.rows, row)
		}
	}
	if t.header == nil && t.ended == nil {
		return t, fileFault("", "a first line with the names of the columns, then one job a line: the file is empty")
	}
	return t, nil
}

func (r tableRow) blank() bool {
	return !slices.ContainsFunc(r.cells, func(c tableCell) bool { return strings.TrimSpace(c.text) != "" })
}

func quoteFault(err error, skipped int) *BadCell {
	var at *csv.ParseError
	if !errors.As(err, &at) {
		return &BadCell{Want: err.Error()}
	}
	b := &BadCell{Line: at.StartLine + skipped, Want: `a quotation mark inside a cell is written twice (""), and the whole cell stands between quotation marks`}
	if at.StartLine != at.Line {
		b.Want = fmt.Sprintf("the quotation mark that opens on this line is not closed before line %d", at.Line+skipped)
	}
	return b
}

// sepLine takes off the line "sep=;" that some spreadsheets write first.
func sepLine(text string) (rest string, skipped int, comma rune) {
	first, rest, _ := strings.Cut(text, "\n")
	first = strings.ToLower(strings.Trim(first, "\r\" "))
	if sep, is := strings.CutPrefix(first, "sep="); is && (sep == "," || sep == ";" || sep == "\t") {
		return rest, 1, rune(sep[0])
	}
	return text, 0, 0
}

func separator(text string) rune {
	best, most := ',', 0
	for _, comma := range []rune{',', ';', '\t'} {
		in := csv.NewReader(strings.NewReader(text))
		in.Comma, in.FieldsPerRecord = comma, -1
		record, err := in.Read()
		known := 0
		for _, name := range record[:min(len(record), maxColumns)] {
			if _, ok := columnNamed(name); ok {
				known++
			}
		}
		if err == nil && known > most {
			best, most = comma, known
		}
	}
	return best
}

var (
	kitName      = regexp.MustCompile(`^kit([1-9][0-9]?)(|quantity|due|arrived)$`)
	surveyName   = regexp.MustCompile(`^survey[\s_:-]+(.+)$`)
	betweenWords = regexp.MustCompile(`[\s_-]+`)
	fixedByName  = func() map[string]column {
		all := map[string]column{}
		for _, c := range fixedColumns {
			all[bareName(c.name)] = c
		}
		return all
	}()
)

// bareName is a header as it is compared: letters and digits only, small.
func bareName(s string) string {
	s = strings.ReplaceAll(strings.ToLower(s), "²", "2")
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, s)
}

// columnNamed finds the column that a header means.
func columnNamed(header string) (column, bool) {
	header = strings.ToLower(strings.TrimSpace(header))
	if m := surveyName.FindStringSubmatch(header); m != nil {
		key := betweenWords.ReplaceAllString(m[1], "_")
		return surveyColumn(key), factKey.MatchString(key) && len(key) <= maxRef
	}
	bare := bareName(header)
	if m := kitName.FindStringSubmatch(bare); m != nil {
		n, _ := strconv.Atoi(m[1]) // one or two digits by the pattern
		four := kitColumns(n)
		return four[map[string]int{"": 0, "quantity": 1, "due": 2, "arrived": 3}[m[2]]], n <= maxKit
	}
	c, ok := fixedByName[bare]
	return c, ok
}

// jobsReader reads the rows of one table.
type jobsReader struct {
	columns    []column // by position; name "" = nobody knows it
	convention *convention
	known      map[string]Job
	byLower    map[string]string // reference in small letters -> as it is known or first met
	lines      map[string]int    // reference -> line in this file
	matches    bool              // there is a column of references to match rows by
	lacking    bool              // missing columns were named
	named      map[string]bool   // columns with a fault in this row
	bad        []error
	more       int // bad cells beyond those named
	done       Import
}

func newJobsReader(t table, known []Job) *jobsReader {
	r := &jobsReader{known: map[string]Job{}, byLower: map[string]string{},
		lines: map[string]int{}, named: map[string]bool{}}
	for _, j := range known {
		r.known[j.Ref] = j
		r.byLower[strings.ToLower(j.Ref)] = j.Ref
	}
	r.header(t)
	r.convention = readConvention(t, r.columns)
	if t.ended != nil {
		r.fault(*t.ended)
	}
	return r
}

func (r *jobsReader) header(t table) {
	seen := map[string]bool{}
	for i, name := range t.header {
		c, ok := columnNamed(name)
		if ok && seen[c.name] {
			r.fault(BadCell{Line: t.line, Column: clipped(strings.TrimSpace(name)), Want: "each column once"})
		}
		if !ok {
			c = column{}
			if t.filled(i) {
				r.fault(BadCell{Line: t.line, Column: clipped(strings.TrimSpace(name)), Want: "a column of the jobs file" + nearest(name) + "; take out columns of your own"})
			}
		}
		seen[c.name] = true
		r.columns = append(r.columns, c)
	}
	r.matches = seen["reference"]
	if t.header != nil && !r.matches {
		r.fault(BadCell{Line: t.line, Column: "reference", Want: "the first line must name the columns, and one of them is reference: rows are matched to jobs by it"})
	}
}

// filled tells whether a column has a name or anything in its cells.
func (t table) filled(i int) bool {
	if strings.TrimSpace(t.header[i]) != "" {
		return true
	}
	return slices.ContainsFunc(t.rows, func(r tableRow) bool { return i < len(r.cells) && strings.TrimSpace(r.cells[i].text) != "" })
}

// nearest guesses the column that a name was meant to be.
func nearest(name string) string {
	bare, best, least := bareName(name), "", 4
	if len(bare) > maxRef {
		return ""
	}
	for _, c := range slices.Concat(fixedColumns, kitColumns(1)) {
		if d := editDistance(bare, bareName(c.name)); d < least {
			best, least = c.name, d
		}
	}
	if best == "" {
		return ""
	}
	return " (did you mean " + strconv.Quote(best) + "?)"
}

// editDistance counts the letters to insert, delete or replace (Levenshtein).
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for k := range row {
		row[k] = k
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for k := range len(b) {
			cost := 1
			if a[i] == b[k] {
				cost = 0
			}
			diagonal, row[k+1] = row[k+1], min(row[k+1]+1, row[k]+1, diagonal+cost)
		}
	}
	return row[len(b)]
}

func (r *jobsReader) fault(b BadCell) {
	r.named[b.Column] = true
	if len(r.bad) == maxBadCells {
		r.more++
		return
	}
	b.Value = clipped(b.Value)
	r.bad = append(r.bad, &b)
}

func (r *jobsReader) faults() error {
	if r.more > 0 {
		r.bad = append(r.bad, &BadCell{Want: fmt.Sprintf("%d more cells are wrong: put these right first", r.more)})
	}
	return errors.Join(r.bad...)
}

// row reads one job. Its faults are gathered, all of them; a row without any is
// compared with what is known.
func (r *jobsReader) row(row tableRow) {
	if !r.fits(row) {
		return
	}
	r.named = map[string]bool{}
	faults := r.count()
	d, isKnown := r.draft(row)
	d.line = row.line
	at := map[string]tableCell{}
	for i, c := range r.columns {
		if c.name == "" {
			continue
		}
		at[c.name] = tableCell{line: row.line}
		if i < len(row.cells) {
			at[c.name] = row.cells[i]
		}
		r.cell(c, at[c.name], d)
	}
	for _, b := range d.finish() {
		r.fault(b)
	}
	if !isKnown {
		r.missing(row.line)
	}
	r.check(d, isKnown, at)
	if r.count() == faults {
		r.compare(d, isKnown)
	}
}

func (r *jobsReader) count() int { return len(r.bad) + r.more }

// check holds the job as read against its bounds. Columns that are already
// named for this row, or that the file does not have, are not named again.
func (r *jobsReader) check(d *draft, isKnown bool, at map[string]tableCell) {
	skip := r.named
	r.named = map[string]bool{}
	for _, f := range fault.Each(d.Job.Check()) {
		c, fixed := fixedByName[bareName(f.Field)]
		if _, has := at[f.Field]; skip[f.Field] || fixed && c.must && !has && !isKnown {
			continue
		}
		r.fault(BadCell{Line: lineOf(at, f.Field, d.line), Column: f.Field, Value: shown(at, f), Want: f.Want})
	}
}

// lineOf gives the line on which the cell of a column begins.
func lineOf(cells map[string]tableCell, column string, row int) int {
	if at, ok := cells[column]; ok {
		return at.line
	}
	return row
}

// shown is the cell as it stands in the file, where there is one.
func shown(cells map[string]tableCell, f *fault.Error) string {
	if at, ok := cells[f.Field]; ok {
		return strings.TrimSpace(at.text)
	}
	return f.Value
}

// fits refuses rows that have more cells than the header names.
func (r *jobsReader) fits(row tableRow) bool {
	for _, at := range row.cells[min(len(row.cells), len(r.columns)):] {
		if strings.TrimSpace(at.text) != "" {
			r.fault(BadCell{Line: row.line, Value: at.text, Want: fmt.Sprintf(
				"at most the %d cells that the first line names, it has %d: a cell that holds the separator stands between quotation marks", len(r.columns), len(row.cells))})
			return false
		}
	}
	return true
}

// draft begins with what is known of the job, or with a new one.
func (r *jobsReader) draft(row tableRow) (d *draft, known bool) {
	ref := ""
	for i, c := range r.columns {
		if c.name == "reference" && i < len(row.cells) {
			ref = unguard(trimmed(row.cells[i].text))
		}
	}
	r.sameReference(ref, row.line)
	j, known := r.known[ref]
	if !known {
		j = Job{State: JobOpen, ReadyOn: civil.NoDate, PromisedOn: civil.NoDate}
	}
	j.Stages, j.Consents, j.Kit = slices.Clone(j.Stages), slices.Clone(j.Consents), sortedKit(j.Kit)
	j.Site.Facts = maps.Clone(j.Site.Facts)
	if j.Site.Facts == nil {
		j.Site.Facts = map[string]any{}
	}
	return &draft{Job: j, slots: map[int]*kitSlot{}, consents: map[ConsentKind]*consentCells{}}, known
}

func (r *jobsReader) sameReference(ref string, line int) {
	if ref == "" {
		return
	}
	if first, twice := r.lines[ref]; twice {
		r.fault(BadCell{Line: line, Column: "reference", Value: ref, Want: fmt.Sprintf("each job once: line %d has the same reference", first)})
		return
	}
	r.lines[ref] = line
	if other, close := r.byLower[strings.ToLower(ref)]; close && other != ref {
		r.fault(BadCell{Line: line, Column: "reference", Value: ref, Want: fmt.Sprintf("%q as it is written elsewhere, or a reference that differs in more than capital letters", other)})
		return
	}
	r.byLower[strings.ToLower(ref)] = ref
}

func (r *jobsReader) cell(c column, at tableCell, d *draft) {
	read := &cell{line: at.line, text: unguard(trimmed(at.text)), file: r.convention}
	switch {
	case utf8.RuneCountInString(at.text) > maxCell:
		read.want = fmt.Sprintf("at most %d characters", maxCell)
	case read.text == "" && c.must:
		read.want = "this must be given: " + c.holds
	default:
		c.read(read, d)
	}
	if read.want != "" {
		r.fault(BadCell{Line: at.line, Column: c.name, Value: strings.TrimSpace(at.text), Want: read.want})
	}
}

// missing names columns that a new job needs and the file does not have.
func (r *jobsReader) missing(line int) {
	if r.lacking {
		return // once is enough
	}
	r.lacking = true
	has := map[string]bool{}
	for _, c := range r.columns {
		has[c.name] = true
	}
	for _, c := range fixedColumns {
		if c.must && c.name != "reference" && !has[c.name] {
			r.fault(BadCell{Line: line, Column: c.name, Want: "a new job needs this column: " + c.holds})
		}
	}
}

func (r *jobsReader) compare(d *draft, isKnown bool) {
	for _, what := range d.kept {
		r.done.Notes = append(r.done.Notes, kept(d.Ref, d.line, what))
	}
	if !isKnown {
		r.done.New = append(r.done.New, NewJob{Line: d.line, Job: d.Job})
		return
	}
	before := r.known[d.Ref]
	diffs := diffJobs(before, d.Job)
	if len(diffs) == 0 {
		r.done.Unchanged++
		return
	}
	r.done.Changed = append(r.done.Changed, ChangedJob{Line: d.line, Before: before, After: d.Job, Diffs: diffs})
}

// diffJobs says what differs, column by column; kit by its name.
func diffJobs(was, is Job) []Diff {
	var all []Diff
	add := func(field, a, b string) {
		if a != b {
			all = append(all, Diff{Field: field, Was: a, Becomes: b})
		}
	}
	for _, c := range fixedColumns {
		add(c.name, trimmed(c.write(&was)), c.write(&is))
	}
	for _, item := range slices.Sorted(maps.Keys(byItem(was.Kit, is.Kit))) {
		add("kit "+item, kitWords(was.Kit, item), kitWords(is.Kit, item))
	}
	keys := maps.Clone(was.Site.Facts)
	if keys == nil {
		keys = map[string]any{}
	}
	maps.Copy(keys, is.Site.Facts)
	for _, key := range slices.Sorted(maps.Keys(keys)) {
		add("survey "+key, writeFact(was.Site.Facts[key]), writeFact(is.Site.Facts[key]))
	}
	return all
}

func byItem(lists ...[]Kit) map[string]bool {
	items := map[string]bool{}
	for _, k := range slices.Concat(lists...) {
		items[k.Item] = true
	}
	return items
}

// kitWords writes one item: "12, due 2026-12-01, arrived 2026-12-02".
func kitWords(kit []Kit, item string) string {
	i := slices.IndexFunc(kit, func(k Kit) bool { return k.Item == item })
	if i < 0 {
		return ""
	}
	s := strconv.Itoa(kit[i].Quantity)
	if kit[i].DueOn.Known() {
		s += ", due " + kit[i].DueOn.String()
	}
	if kit[i].ArrivedOn.Known() {
		s += ", arrived " + kit[i].ArrivedOn.String()
	}
	return s
}

// draft is a job while its row is read.
type draft struct {
	Job
	line     int
	slots    map[int]*kitSlot
	consents map[ConsentKind]*consentCells
	kept     []string
}

// stage finds the job's stage of a kind; nil when it has none.
func (d *draft) stage(k StageKind) *Stage {
	for i := range d.Stages {
		if d.Stages[i].Kind == k {
			return &d.Stages[i]
		}
	}
	return nil
}

func (d *draft) halfDays(c *cell, k StageKind) {
	s := d.stage(k)
	switch {
	case c.text == "" && s != nil:
		c.want = fmt.Sprintf("%d as it was, or another number from 1 to 40: a file does not take a stage away", s.HalfDays)
	case c.text == "":
	case s != nil:
		s.HalfDays = c.whole()
	default:
		d.Stages = append(d.Stages, Stage{Kind: k, HalfDays: c.whole(), StartedOn: civil.NoDate, DoneOn: civil.NoDate})
		slices.SortFunc(d.Stages, func(a, b Stage) int { return int(a.Kind) - int(b.Kind) })
	}
}

// started and done take facts in; an empty cell says nothing new, so that an
// old file cannot take back what was reported since.
func (d *draft) started(c *cell, k StageKind) {
	if s := d.reported(c, k); s != nil {
		s.StartedOn = c.date()
		if s.State == StatePlanned {
			s.State = StateStarted
		}
	}
}

func (d *draft) done(c *cell, k StageKind) {
	if s := d.reported(c, k); s != nil {
		s.State, s.DoneOn = StateDone, c.date()
	}
}

func (d *draft) reported(c *cell, k StageKind) *Stage {
	if c.text == "" {
		return nil
	}
	s := d.stage(k)
	if s == nil {
		c.want = "nothing, or half-days for this stage as well: the job has no " + k.String()
	}
	return s
}

// consentCells are the cells of one consent; nil = no such column.
type consentCells struct{ state, stage, expected, granted *cell }

func (d *draft) consentOf(k ConsentKind) *consentCells {
	if d.consents[k] == nil {
		d.consents[k] = &consentCells{}
	}
	return d.consents[k]
}

func (d *draft) consentState(c *cell, k ConsentKind) { d.consentOf(k).state = c }
func (d *draft) consentStage(c *cell, k ConsentKind) { d.consentOf(k).stage = c }
func (d *draft) consentDay(c *cell, k ConsentKind, granted bool) {
	if granted {
		d.consentOf(k).granted = c
	} else {
		d.consentOf(k).expected = c
	}
}

// kitSlot is the cells of the n-th item of kit; nil = no such column.
type kitSlot struct{ item, quantity, due, arrived *cell }

func (d *draft) slot(n int) *kitSlot {
	if d.slots[n] == nil {
		d.slots[n] = &kitSlot{}
	}
	return d.slots[n]
}

// finish puts together what several cells say.
func (d *draft) finish() []BadCell {
	var bad []BadCell
	for _, k := range ConsentKinds {
		if cells := d.consents[k]; cells != nil {
			bad = append(bad, d.finishConsent(k, cells)...)
		}
	}
	inFile := map[string]int{}
	for _, n := range slices.Sorted(maps.Keys(d.slots)) {
		bad = append(bad, d.finishKit(n, d.slots[n], inFile)...)
	}
	for _, k := range d.Kit {
		if len(d.slots) > 0 && inFile[k.Item] == 0 {
			d.kept = append(d.kept, "kit "+strconv.Quote(k.Item))
		}
	}
	d.Kit = sortedKit(d.Kit)
	return bad
}

func (c *cell) empty() bool { return c == nil || c.text == "" }

// fault is the cell's refusal, if it has one.
func (c *cell) fault(column string) []BadCell {
	if c == nil || c.want == "" {
		return nil
	}
	return []BadCell{{Line: c.line, Column: column, Value: c.text, Want: c.want}}
}

func (d *draft) finishConsent(k ConsentKind, cells *consentCells) []BadCell {
	name := k.Words()
	has := d.consent(k)
	if cells.state.empty() && (cells.state != nil || has == nil) {
		if has != nil {
			d.kept = append(d.kept, name)
			return nil
		}
		if !cells.stage.empty() || !cells.expected.empty() || !cells.granted.empty() {
			return []BadCell{{Line: d.line, Column: name, Want: "one of " + strings.Join(consentStates, ", ") + ", since other cells speak of this consent"}}
		}
		return nil
	}
	if has == nil {
		d.Consents = append(d.Consents, Consent{Kind: k, Stage: usuallyWaits[k], ExpectedOn: civil.NoDate, GrantedOn: civil.NoDate})
		slices.SortFunc(d.Consents, func(a, b Consent) int {
			return slices.Index(ConsentKinds, a.Kind) - slices.Index(ConsentKinds, b.Kind)
		})
		has = d.consent(k)
	}
	if cells.state != nil {
		has.State = ConsentState(cells.state.word(consentStates))
	}
	if !cells.stage.empty() {
		has.Stage = cells.stage.stageKind()
	}
	if cells.expected != nil {
		has.ExpectedOn = cells.expected.date()
	}
	if cells.granted != nil {
		has.GrantedOn = cells.granted.date()
	}
	return slices.Concat(cells.state.fault(name), cells.stage.fault(name+" stage"), cells.expected.fault(name+" expected on"), cells.granted.fault(name+" granted on"))
}

func (d *draft) finishKit(n int, s *kitSlot, inFile map[string]int) []BadCell {
	name := "kit " + strconv.Itoa(n)
	if s.item.empty() {
		if !s.quantity.empty() || !s.due.empty() || !s.arrived.empty() {
			return []BadCell{{Line: d.line, Column: name, Want: "what the kit is, since other cells speak of it"}}
		}
		return nil
	}
	item := s.item.text
	if first := inFile[item]; first > 0 {
		return []BadCell{{Line: s.item.line, Column: name, Value: item, Want: fmt.Sprintf("each item once: kit %d is the same; add up the quantities", first)}}
	}
	inFile[item] = n
	i := slices.IndexFunc(d.Kit, func(k Kit) bool { return k.Item == item })
	if i < 0 {
		d.Kit = append(d.Kit, Kit{Item: item, Quantity: 1, DueOn: civil.NoDate, ArrivedOn: civil.NoDate})
		i = len(d.Kit) - 1
	}
	k := &d.Kit[i]
	if s.quantity != nil {
		if k.Quantity = s.quantity.whole(); s.quantity.want == "" && (k.Quantity < 1 || k.Quantity > 10_000) {
			s.quantity.want = "a whole number from 1 to 10000"
		}
	}
	if s.due != nil {
		k.DueOn = s.due.date()
	}
	if s.arrived != nil {
		k.ArrivedOn = s.arrived.date()
	}
	return slices.Concat(s.quantity.fault(name+" quantity"), s.due.fault(name+" due"), s.arrived.fault(name+" arrived"))
}
