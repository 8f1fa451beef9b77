package schedule_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// asRead is a job as a file can tell it: without identifiers and the time at
// which it was made.
func asRead(j schedule.Job) schedule.Job {
	j.ID, j.Site.ID, j.Customer.ID = uuid.Nil, uuid.Nil, uuid.Nil
	if len(j.Kit) == 0 {
		j.Kit = nil
	}
	if len(j.Consents) == 0 {
		j.Consents = nil
	}
	return j
}

// sampleJobs are two jobs that use every column.
func sampleJobs() []schedule.Job {
	stage := func(k schedule.StageKind, n int) schedule.Stage {
		return schedule.Stage{Kind: k, HalfDays: n, StartedOn: civil.NoDate, DoneOn: civil.NoDate}
	}
	one := schedule.Job{ID: uuid.New(), Ref: "J-1001", State: schedule.JobOpen,
		Customer: schedule.Customer{Name: "Käthe Müller", Email: "kaethe@mail.example", Phone: "+44 1632 960205"},
		Site: schedule.Site{Address: "12 Heron Row\nQuillmere, North", Postcode: "XQ1 1AB", Lat: 53.1712, Lon: -0.3815, Terrain: "III", WorkingHeightM: 6.5,
			Facts: map[string]any{"pitch_deg": 35.0, "covering": "slate", "has_rooflight": true, "moss": false, "hospital": "yes", "loft_work": true}},
		Modules: 12, ModuleWatts: 430, ModuleKg: 21.5, ModuleM2: 1.95, ReadyOn: dec(1), PromisedOn: civil.On(2027, 1, 8), Note: `"ring" first; then wait`,
		Stages: []schedule.Stage{stage(schedule.ScaffoldErection, 1), stage(schedule.RoofWork, 3), stage(schedule.FirstFix, 1),
			stage(schedule.SecondFix, 2), stage(schedule.Commissioning, 1), stage(schedule.ScaffoldStrike, 1)},
		Consents: []schedule.Consent{
			{Kind: schedule.GridConnection, Stage: schedule.Commissioning, State: schedule.ConsentApplied, ExpectedOn: dec(10), GrantedOn: civil.NoDate},
			{Kind: schedule.HighwayLicence, Stage: schedule.ScaffoldErection, State: schedule.ConsentGranted, ExpectedOn: civil.NoDate, GrantedOn: dec(3)}},
		Kit: []schedule.Kit{{Item: "430 W modules", Quantity: 12, DueOn: dec(1), ArrivedOn: civil.NoDate}, {Item: "battery", Quantity: 1, DueOn: civil.NoDate, ArrivedOn: dec(2)}},
	}
	two := schedule.Job{ID: uuid.New(), Ref: "=1+1", State: schedule.JobDone,
		Customer: schedule.Customer{Name: "'@home"},
		Site:     schedule.Site{Address: "-", Lat: -33.5, Lon: 151, Terrain: "0", WorkingHeightM: 12, Facts: map[string]any{"crane": "007"}},
		Modules:  1, ModuleWatts: 50, ModuleKg: 0.5, ModuleM2: 5, ReadyOn: civil.NoDate, PromisedOn: civil.NoDate,
		Stages: []schedule.Stage{
			{Kind: schedule.RoofWork, HalfDays: 40, State: schedule.StateDone, StartedOn: dec(1), DoneOn: dec(2)},
			{Kind: schedule.SecondFix, HalfDays: 1, State: schedule.StateStarted, StartedOn: dec(2), DoneOn: civil.NoDate}},
	}
	return []schedule.Job{one, two}
}

func written(t failer, jobs []schedule.Job) string {
	t.Helper()
	var b bytes.Buffer
	if err := schedule.WriteJobs(&b, jobs); err != nil {
		t.Fatalf("WriteJobs: %v", err)
	}
	return b.String()
}

// failer is the part of a test that testing and rapid share.
type failer interface {
	Helper()
	Errorf(string, ...any)
	Fatalf(string, ...any)
}

func read(t failer, file string, known []schedule.Job) schedule.Import {
	t.Helper()
	got, err := schedule.ReadJobs(strings.NewReader(file), known)
	if err != nil {
		t.Fatalf("ReadJobs: %v\n%s", err, file)
	}
	return got
}

// sameAs fails unless an import adds exactly jobs.
func sameAs(t failer, got schedule.Import, jobs []schedule.Job) {
	t.Helper()
	if len(got.New) != len(jobs) || len(got.Changed) != 0 {
		t.Fatalf("%d new and %d changed, want %d new", len(got.New), len(got.Changed), len(jobs))
	}
	for i, j := range jobs {
		if want := asRead(j); !reflect.DeepEqual(asRead(got.New[i].Job), want) {
			t.Errorf("job %d\n got %+v\nwant %+v", i, got.New[i].Job, want)
		}
	}
}

func TestExportGivesWhatImportTakes(t *testing.T) {
	t.Parallel()
	jobs := sampleJobs()
	file := written(t, jobs)
	sameAs(t, read(t, file, nil), jobs)
	again := read(t, file, jobs)
	if again.Unchanged != 2 || len(again.New)+len(again.Changed)+len(again.Notes) != 0 {
		t.Errorf("read back over the same jobs: %+v", again)
	}
}

// A reader that is not ours takes the export for what it is.
func TestExportIsPlainCSVToAnotherReader(t *testing.T) {
	t.Parallel()
	const interpreter = "/usr/bin/python3"
	if _, err := os.Stat(interpreter); err != nil {
		if os.Getenv("TOEBOARD_REQUIRE_TOOLS") == "1" {
			t.Fatalf("MISSING TOOL: %s: %v", interpreter, err)
		}
		t.Skipf("NOT CHECKED, missing tool: %s: %v", interpreter, err)
	}
	file := filepath.Join(t.TempDir(), "jobs.csv")
	if err := os.WriteFile(file, []byte(written(t, sampleJobs())), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(interpreter, "-c", `
import csv, sys
rows = list(csv.DictReader(open(sys.argv[1], encoding="utf-8-sig", newline="")))
assert len(rows) == 2, rows
print(ascii([rows[0][k] for k in ("reference", "customer", "customer phone", "address", "longitude", "note", "survey hospital", "kit 2")]
    + [rows[1][k] for k in ("reference", "customer", "address", "roof work done on", "survey crane")]))`, file).CombinedOutput()
	want := `['J-1001', 'K\xe4the M\xfcller', "'+44 1632 960205", '12 Heron Row\r\nQuillmere, North', '-0.3815', '"ring" first; then wait', '"yes"', 'battery', "'=1+1", "''@home", "'-", '2026-12-02', '"007"']`
	if err != nil || strings.TrimSpace(string(out)) != want {
		t.Errorf("%v\n got %s\nwant %s", err, out, want)
	}
}

// No cell of an export may start what a spreadsheet runs. The characters are
// those of OWASP's page on CSV injection.
func TestNothingInAnExportRunsAsAFormula(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		jobs := anyJobs(t)
		rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(written(t, jobs), "\ufeff"))).ReadAll()
		if err != nil {
			t.Fatalf("%v", err)
		}
		for _, row := range rows {
			for i, c := range row {
				numeric := slices.Contains([]string{"latitude", "longitude"}, rows[0][i])
				if c != "" && strings.ContainsRune("=+-@\t\r＝＋－＠", []rune(c)[0]) && !numeric {
					t.Fatalf("column %s has the cell %q", rows[0][i], c)
				}
			}
		}
	})
}

// Texts that break files: separators, quotes, line ends, formulas, other words
// for yes and numbers.
// Generators are made anew for each draw: one shared by parallel tests is a data
// race inside it.
func csvText() *rapid.Generator[string] {
	return rapid.Custom(func(t *rapid.T) string {
		s := rapid.OneOf(
			rapid.StringOfN(rapid.RuneFrom([]rune(`aZ 9,;"'=+-@`+"\n|\\")), 1, 30, -1),
			rapid.StringOfN(rapid.RuneFrom([]rune("äßŁ–€😀中é ")), 1, 30, -1),
			rapid.SampledFrom([]string{"yes", "NO", "true", "unknown", "12", "1,5", "1.500", "007", "-3", `"quoted"`, `"`, "''=x", "+", "2026-12-31", "1e5", "NaN", "sep=;"}),
		).Draw(t, "text")
		s = strings.TrimSpace(s)
		if s == "" {
			return "x"
		}
		return s
	})
}

func oneLineText() *rapid.Generator[string] {
	return rapid.Map(csvText(), func(s string) string { return strings.ReplaceAll(s, "\n", "/") })
}

func orEmpty(g *rapid.Generator[string]) *rapid.Generator[string] {
	return rapid.OneOf(rapid.Just(""), g)
}

// anyDay() is unknown or from 2000-01-01 to 2099-12-31.
func anyDay() *rapid.Generator[civil.Date] {
	return rapid.OneOf(rapid.Just(civil.NoDate), rapid.Map(rapid.IntRange(10957, 47481), func(n int) civil.Date { return civil.Date(n) }))
}

func anyJobs(t *rapid.T) []schedule.Job {
	var jobs []schedule.Job
	for i := range rapid.IntRange(0, 4).Draw(t, "jobs") {
		jobs = append(jobs, anyJob(t, fmt.Sprintf("%s#%d", oneLineText().Draw(t, "ref"), i)))
	}
	return jobs
}

func anyJob(t *rapid.T, ref string) schedule.Job {
	j := schedule.Job{ID: uuid.New(), Ref: ref, State: rapid.SampledFrom([]schedule.JobState{schedule.JobOpen, schedule.JobDone, schedule.JobCancelled}).Draw(t, "state"),
		Customer: schedule.Customer{Name: oneLineText().Draw(t, "name"), Phone: orEmpty(oneLineText()).Draw(t, "phone"),
			Email: orEmpty(rapid.Just("a+b@mail.example")).Draw(t, "email")},
		Site: schedule.Site{Address: csvText().Draw(t, "address"), Postcode: rapid.SampledFrom([]string{"", "XQ1 1AB", "-"}).Draw(t, "postcode"),
			Lat: rapid.Float64Range(-90, 90).Draw(t, "lat"), Lon: 0.25 + rapid.Float64Range(-179, 179).Draw(t, "lon"),
			Terrain:        rapid.SampledFrom([]string{"0", "I", "II", "III", "IV"}).Draw(t, "terrain"),
			WorkingHeightM: rapid.Float64Range(0.01, 60).Draw(t, "height"), Facts: map[string]any{}},
		Modules: rapid.IntRange(1, 200).Draw(t, "modules"), ModuleWatts: rapid.IntRange(50, 1000).Draw(t, "watts"),
		ModuleKg: rapid.Float64Range(0.01, 60).Draw(t, "kg"), ModuleM2: rapid.Float64Range(0.01, 5).Draw(t, "m2"),
		ReadyOn: anyDay().Draw(t, "ready"), PromisedOn: anyDay().Draw(t, "promised"), Note: orEmpty(csvText()).Draw(t, "note"),
		Stages: anyStages(t)}
	j.Consents = anyConsents(t, j.Stages)
	for n := range rapid.IntRange(0, 3).Draw(t, "kit") {
		j.Kit = append(j.Kit, schedule.Kit{Item: fmt.Sprintf("%d %s", n, oneLineText().Draw(t, "item")), Quantity: rapid.IntRange(1, 10_000).Draw(t, "quantity"),
			DueOn: anyDay().Draw(t, "due"), ArrivedOn: anyDay().Draw(t, "arrived")})
	}
	for n := range rapid.IntRange(0, 3).Draw(t, "facts") {
		j.Site.Facts[fmt.Sprintf("fact_%d", n)] = rapid.OneOf(rapid.Map(rapid.Bool(), func(b bool) any { return b }),
			rapid.Map(rapid.Float64Range(-1e9, 1e9), func(x float64) any { return x }), rapid.Map(csvText(), func(s string) any { return s })).Draw(t, "fact")
	}
	return j
}

func anyStages(t *rapid.T) []schedule.Stage {
	var all []schedule.Stage
	scaffold := rapid.Bool().Draw(t, "scaffold")
	for _, k := range schedule.StageKinds {
		isScaffold := k == schedule.ScaffoldErection || k == schedule.ScaffoldStrike
		if k != schedule.RoofWork && (isScaffold && !scaffold || !isScaffold && rapid.Bool().Draw(t, "none")) {
			continue
		}
		s := schedule.Stage{Kind: k, HalfDays: rapid.IntRange(1, 40).Draw(t, "half-days"), StartedOn: civil.NoDate, DoneOn: civil.NoDate,
			State: rapid.SampledFrom([]schedule.StageState{schedule.StatePlanned, schedule.StateStarted, schedule.StateDone}).Draw(t, "progress")}
		start := civil.Date(rapid.IntRange(20000, 21000).Draw(t, "start"))
		switch s.State {
		case schedule.StateStarted:
			s.StartedOn = start
		case schedule.StateDone:
			s.DoneOn = start + 2
			if rapid.Bool().Draw(t, "start known") {
				s.StartedOn = start
			}
		}
		all = append(all, s)
	}
	return all
}

func anyConsents(t *rapid.T, stages []schedule.Stage) []schedule.Consent {
	var all []schedule.Consent
	for _, k := range schedule.ConsentKinds {
		if rapid.Bool().Draw(t, "no consent") {
			continue
		}
		c := schedule.Consent{Kind: k, Stage: rapid.SampledFrom(stages).Draw(t, "stage").Kind, ExpectedOn: anyDay().Draw(t, "expected"), GrantedOn: civil.NoDate,
			State: rapid.SampledFrom([]schedule.ConsentState{schedule.ConsentWanted, schedule.ConsentApplied, schedule.ConsentGranted, schedule.ConsentRefused}).Draw(t, "consent")}
		if c.State == schedule.ConsentGranted {
			c.GrantedOn = civil.Date(rapid.IntRange(20000, 21000).Draw(t, "granted"))
		}
		all = append(all, c)
	}
	return all
}

func TestAnyJobsComeBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		jobs := anyJobs(t)
		for _, j := range jobs {
			if err := j.Check(); err != nil {
				t.Fatalf("the generator makes jobs that are refused: %v", err)
			}
		}
		file := written(t, jobs)
		sameAs(t, read(t, file, nil), jobs)
		if again := read(t, file, jobs); again.Unchanged != len(jobs) || len(again.Notes) != 0 {
			t.Fatalf("over the same jobs: %+v", again)
		}
	})
}

// respell writes the cells of an export again, as another program would.
func respell(t failer, file string, comma rune, change func(column, cell string) string) string {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(file, "\ufeff"))).ReadAll()
	if err != nil {
		t.Fatalf("%v", err)
	}
	var b strings.Builder
	w := csv.NewWriter(&b)
	w.Comma = comma
	for r, row := range rows {
		for i := range row {
			if r > 0 {
				row[i] = change(rows[0][i], row[i])
			}
		}
		if err := w.Write(row); err != nil {
			t.Fatalf("%v", err)
		}
	}
	w.Flush()
	return b.String()
}

func asIs(_, cell string) string { return cell }

// european writes decimal commas and days as 31.12.2026.
func european(column, cell string) string {
	if slices.Contains([]string{"latitude", "longitude", "working height m", "module kg", "module m2"}, column) {
		return strings.Replace(cell, ".", ",", 1)
	}
	return british(".")(column, cell)
}

// british writes days as 31/12/2026.
func british(between string) func(column, cell string) string {
	return func(column, cell string) string {
		if d, err := civil.Parse(cell); err == nil && !strings.HasPrefix(column, "survey") {
			y, m, day := d.Civil()
			return fmt.Sprintf("%d%s%02d%s%d", day, between, int(m), between, y)
		}
		return cell
	}
}

func utf16LE(s string) string {
	b := []byte{0xff, 0xfe}
	for _, u := range utf16.Encode([]rune(s)) {
		b = append(b, byte(u), byte(u>>8))
	}
	return string(b)
}

func utf16BE(s string) string {
	b := []byte{0xfe, 0xff}
	for _, u := range utf16.Encode([]rune(s)) {
		b = append(b, byte(u>>8), byte(u))
	}
	return string(b)
}

func windows1252(s string) string {
	return strings.NewReplacer("ä", "\xe4", "ü", "\xfc").Replace(strings.TrimPrefix(s, "\ufeff"))
}

// TestHabitsOfSpreadsheets spells the same two jobs as programs do.
func TestHabitsOfSpreadsheets(t *testing.T) {
	t.Parallel()
	jobs := sampleJobs()
	jobs[1].Note = "31" // a day above 12 in the file, so that day first is certain
	jobs[1].ReadyOn = dec(31)
	file := written(t, jobs)
	bare := strings.TrimPrefix(file, "\ufeff")
	for name, c := range map[string]struct {
		file string
		note string // in the notes; "" = none wanted
	}{
		"no byte order mark":                 {bare, ""},
		"LF":                                 {strings.ReplaceAll(file, "\r\n", "\n"), ""},
		"CR alone":                           {strings.ReplaceAll(strings.ReplaceAll(file, "\r\n", "\n"), "\n", "\r"), ""},
		"semicolons, decimal comma":          {respell(t, file, ';', european), ""},
		"semicolons, decimal point":          {respell(t, file, ';', asIs), ""},
		"tabs in UTF-16LE":                   {utf16LE(respell(t, file, '\t', european)), ""},
		"tabs in UTF-16BE":                   {utf16BE(respell(t, file, '\t', british("/"))), ""},
		"31/12/2026":                         {respell(t, file, ',', british("/")), ""},
		"sep= first":                         {"sep=;\r\n" + respell(t, file, ';', asIs), ""},
		"byte order mark and sep=":           {"\ufeff\"sep=;\"\r\n" + respell(t, file, ';', asIs), ""},
		"empty rows in front and after":      {"\r\n,,,\r\n" + bare + ",,,,,,\r\n\r\n  ,\r\n", ""},
		"empty columns at the end":           {respellRows(t, file, func(row []string) []string { return append(row, "", " ") }), ""},
		"short rows":                         {respellRows(t, file, dropEmptyEnd), ""},
		"header in capitals":                 {respellHeader(t, file, strings.ToUpper), ""},
		"header with blanks and underscores": {respellHeader(t, file, func(s string) string { return "  " + strings.ReplaceAll(s, " ", "_ ") + " " }), ""},
		"header with units in brackets": {respellHeader(t, file, func(s string) string {
			return strings.Replace(strings.Replace(s, "height m", "Height (m)", 1), "m2", "m²", 1)
		}), ""},
		"Windows-1252": {windows1252(file), `"Käthe" on line 2`},
		"TRUE and FALSE": {respell(t, file, ',', func(column, cell string) string {
			return map[string]string{"yes": "TRUE", "no": "FALSE"}[cell] + strings.TrimSuffix(strings.TrimPrefix(cell, "yes"), "no")
		}), ""},
		"blanks around cells": {respell(t, file, ',', func(_, cell string) string { return " \u00a0" + cell + "\t " }), ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got := read(t, c.file, nil)
			sameAs(t, got, jobs)
			if said := strings.Join(got.Notes, "\n"); !strings.Contains(said, c.note) || c.note == "" && said != "" {
				t.Errorf("notes %q, want %q", said, c.note)
			}
		})
	}
}

func respellRows(t failer, file string, change func([]string) []string) string {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(file, "\ufeff"))).ReadAll()
	if err != nil {
		t.Fatalf("%v", err)
	}
	var b strings.Builder
	w := csv.NewWriter(&b)
	for _, row := range rows {
		if err := w.Write(change(row)); err != nil {
			t.Fatalf("%v", err)
		}
	}
	w.Flush()
	return b.String()
}

func dropEmptyEnd(row []string) []string {
	for len(row) > 0 && row[len(row)-1] == "" {
		row = row[:len(row)-1]
	}
	return row
}

func respellHeader(t failer, file string, change func(string) string) string {
	first := true
	return respellRows(t, file, func(row []string) []string {
		if first {
			first = false
			for i := range row {
				row[i] = change(row[i])
			}
		}
		return row
	})
}

// put changes one cell of the file of one job; the header is line 1.
func put(t failer, file, column, cell string) string {
	t.Helper()
	found := false
	out := respell(t, file, ',', func(c, was string) string {
		if c == column {
			found = true
			return cell
		}
		return was
	})
	if !found {
		t.Fatalf("no column %q", column)
	}
	return out
}

func TestEveryBadCellIsNamed(t *testing.T) {
	t.Parallel()
	one := sampleJobs()[:1]
	one[0].Site.Address = "12 Heron Row"
	file := written(t, one)
	for _, c := range []struct{ column, cell, want string }{
		{"reference", "", "must be given"},
		{"reference", "two\nlines", "one line"},
		{"reference", "J-1\u200b", "invisible"},
		{"state", "finished", "open, done, cancelled"},
		{"customer", "", "must be given"},
		{"customer", strings.Repeat("x", 201), "at most 200 characters"},
		{"customer", "M\ufffdller", "a letter was lost"},
		{"customer", "bell\a", "control"},
		{"customer e-mail", "nobody", "name@mail.example"},
		{"customer e-mail", "a@b.example; c@d.example", "one address"},
		{"address", " ", "must be given"},
		{"latitude", "", "degrees, north"},
		{"latitude", "north", "a number such as"},
		{"latitude", "91", "from -90 to 90"},
		{"latitude", "53,17", "53.17: a decimal point"},
		{"latitude", "53.17°", "without unit"},
		{"latitude", "−53.17", "a number"},
		{"longitude", "-181", "from -180 to 180"},
		{"longitude", "1.234,5", "a number"},
		{"longitude", "1E+02", "a number"},
		{"terrain", "suburb", "0, I, II, III, IV"},
		{"working height m", "0", "above 0 to 60"},
		{"working height m", "61", "above 0 to 60"},
		{"working height m", "6.5 m", "without unit"},
		{"modules", "0", "from 1 to 200"},
		{"modules", "201", "from 1 to 200"},
		{"modules", "12.5", "a whole number"},
		{"modules", "99999999999999999999", "a whole number"},
		{"module watts", "49", "from 50 to 1000"},
		{"module kg", "60.1", "above 0 to 60"},
		{"module m2", "NaN", "a number"},
		{"ready on", "31/12/26", "four digits"},
		{"ready on", "12/31/2026", "31/12/2026, or 2026-12-31"},
		{"ready on", "31/02/2026", "no such day"},
		{"ready on", "2026-02-29", "no such day"},
		{"ready on", "2026-1-5", "write it as 2026-01-05"},
		{"ready on", "2026/12/31", "write it as 2026-12-31"},
		{"ready on", "46387", "2026-12-31: the spreadsheet"}, // days since 1899-12-30
		{"ready on", "2026-12-31 00:00:00", "2026-12-31: the day alone"},
		{"ready on", "31 Dec 2026", "a day such as"},
		{"ready on", "1999-12-31", "2000 to 2099"},
		{"promised on", "next week", "a day such as"},
		{"note", strings.Repeat("x", 2001), "at most 2000"},
		{"note", strings.Repeat("x", 10_001), "at most 10000"},
		{"roof work half-days", "0", "from 1 to 40"},
		{"roof work half-days", "41", "from 1 to 40"},
		{"scaffold strike half-days", "", "both or to none"},
		{"roof work done on", "yesterday", "a day such as"},
		{"grid connection", "maybe", "wanted, applied, granted, refused"},
		{"grid connection", "granted", "the day it was granted"},
		{"grid connection stage", "survey", "scaffold erection, roof work"},
		{"grid connection expected on", "soon", "a day such as"},
		{"highway licence granted on", "", "the day it was granted"},
		{"kit 1 quantity", "0", "from 1 to 10000"},
		{"kit 1 quantity", "", "a whole number"},
		{"kit 2 due", "Friday", "a day such as"},
		{"kit 2", "430 W modules", "each item once"},
		{"kit 2", "", "what the kit is"},
		{"survey pitch_deg", "35,5", "35.5: a decimal point"},
		{"survey pitch_deg", "007", `7, if it is a number; or "007" between quotation marks`},
		{"survey pitch_deg", "01632 960205", "between quotation marks"},
	} {
		t.Run(c.column+" "+clip(c.cell), func(t *testing.T) {
			t.Parallel()
			got, err := schedule.ReadJobs(strings.NewReader(put(t, file, c.column, c.cell)), nil)
			bad := schedule.BadCells(err)
			if len(bad) == 0 || len(got.New)+len(got.Changed)+got.Unchanged != 0 {
				t.Fatalf("error %v, import %+v", err, got)
			}
			at := slices.IndexFunc(bad, func(b *schedule.BadCell) bool { return b.Column == c.column })
			if c.column == "highway licence granted on" || c.column == "grid connection" && c.cell == "granted" {
				at = slices.IndexFunc(bad, func(b *schedule.BadCell) bool { return strings.HasSuffix(b.Column, "granted on") })
			}
			if at < 0 {
				t.Fatalf("no fault of column %q: %v", c.column, err)
			}
			b := bad[at]
			if b.Line != 2 || !strings.Contains(b.Want, c.want) || len(bad) > 2 {
				t.Errorf("line %d, %s is %q: %s\nwant line 2 and %q; all: %v", b.Line, b.Column, b.Value, b.Want, c.want, err)
			}
			if f := fault.Each(err); len(f) != len(bad) || f[0].Kind != fault.Invalid || !strings.HasPrefix(f[at].Field, "line 2, ") {
				t.Errorf("as faults: %v", f)
			}
		})
	}
}

func clip(s string) string {
	if len(s) > 20 {
		return s[:20]
	}
	return s
}

func TestFilesThatAreNoJobsFile(t *testing.T) {
	t.Parallel()
	file := written(t, sampleJobs()[:1])
	header, _, _ := strings.Cut(file, "\r\n")
	for name, c := range map[string]struct {
		file, column, want string
		line               int
	}{
		"nothing":             {"", "", "first line with the names", 0},
		"blank lines":         {"\r\n\r\n,,,\r\n", "", "first line with the names", 0},
		"a workbook":          {"PK\x03\x04rest", "", "workbook", 0},
		"an old workbook":     {"\xd0\xcf\x11\xe0rest", "", "workbook", 0},
		"UTF-16 without mark": {utf16LE(strings.TrimPrefix(file, "\ufeff"))[2:], "", "NUL", 0},
		"half of UTF-16":      {utf16LE("reference\n")[:7], "reference", "name the columns", 1},
		"other encoding":      {"reference,customer\nJ-1,\x81\n", "", "neither UTF-8 nor Windows-1252", 2},
		"UTF-8 that is not":   {"\ufeffreference,customer\nJ-1,M\xfcller\n", "", "says it is UTF-8", 2},
		"no reference":        {"customer,address\nA,B\n", "reference", "rows are matched", 1},
		"prose":               {"Dear office,\nhere are the jobs.\n", "reference", "rows are matched", 1},
		"a column of mine":    {strings.Replace(file, "postcode", "my notes", 1), "my notes", "take out columns of your own", 1},
		"a slip":              {strings.Replace(file, "promised on", "promissed on", 1), "promissed on", `did you mean "promised on"?`, 1},
		"twice":               {strings.Replace(file, "postcode", "Customer", 1), "Customer", "each column once", 1},
		"kit without number":  {strings.Replace(file, "kit 1,", "kit,", 1), "kit", "a column of the jobs file", 1},
		"survey of nothing":   {strings.Replace(file, "survey moss", "survey Größe", 1), "survey Größe", "a column of the jobs file", 1},
		"unquoted comma":      {header + "\r\nJ-1" + strings.Repeat(",x", strings.Count(header, ",")) + ",rest of the address\r\n", "", "between quotation marks", 2},
		"open quote":          {header + "\r\nJ-1,\"open,1\r\n2\r\n", "", "is not closed", 2},
		"quote inside":        {header + "\r\nJ-1,12\" pipe,1\r\n", "", `written twice`, 2},
		"too many columns":    {"reference" + strings.Repeat(",", 400) + "\nJ-1\n", "", "at most 400 columns", 0},
		"too many rows":       {"reference\n" + strings.Repeat("x\n", 5001), "", "at most 5000 jobs", 0},
		"too large":           {strings.Repeat("x", 10<<20+1), "", "at most 10 MB", 0},
		"new without columns": {"reference,customer\nJ-1,A\n", "address", "a new job needs this column", 2},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := schedule.ReadJobs(strings.NewReader(c.file), nil)
			f := fault.Each(err)
			if len(f) == 0 || fault.KindOf(f[0]) != fault.Invalid {
				t.Fatalf("error %v", err)
			}
			found := false
			for _, b := range schedule.BadCells(err) {
				found = found || b.Column == c.column && b.Line == c.line && strings.Contains(b.Want, c.want)
			}
			if c.line == 0 {
				found = f[0].Field == "file" && strings.Contains(f[0].Want, c.want)
			}
			if !found {
				t.Errorf("error %v\nwant line %d, column %q: %s", err, c.line, c.column, c.want)
			}
		})
	}
}

func TestLinesAreThoseOfTheFile(t *testing.T) {
	t.Parallel()
	jobs := sampleJobs()
	file := written(t, jobs) // the first job's address spans lines 2 and 3
	_, err := schedule.ReadJobs(strings.NewReader(respell(t, file, ',', func(c, was string) string {
		if c == "modules" {
			return "many"
		}
		return was
	})), nil)
	var lines []int
	for _, b := range schedule.BadCells(err) {
		lines = append(lines, b.Line)
	}
	if !slices.Equal(lines, []int{3, 4}) {
		t.Errorf("faults on lines %v, want 3 and 4: %v", lines, err)
	}
}

func TestAllFaultsAtOnceUpToABound(t *testing.T) {
	t.Parallel()
	file := written(t, sampleJobs()[:1])
	header, row, _ := strings.Cut(strings.ReplaceAll(put(t, file, "address", "x"), "\r\n", "\n"), "\n")
	row = strings.Replace(row, "430,", "many,", 1) // one bad cell a row
	var b strings.Builder
	b.WriteString(header + "\n")
	for i := range 500 {
		b.WriteString(strings.Replace(row, "J-1001", fmt.Sprintf("J-%d", i), 1))
	}
	_, err := schedule.ReadJobs(strings.NewReader(b.String()), nil)
	bad := schedule.BadCells(err)
	if len(bad) != 201 || !strings.HasPrefix(bad[200].Want, "300 more cells are wrong") {
		t.Errorf("%d faults, the last %v", len(bad), bad[len(bad)-1])
	}
}

func TestTheSameJobTwice(t *testing.T) {
	t.Parallel()
	jobs := sampleJobs()[:1]
	jobs[0].Site.Address = "12 Heron Row"
	file := written(t, jobs)
	_, row, _ := strings.Cut(file, "\r\n")
	for name, c := range map[string]struct {
		file, want string
		known      []schedule.Job
	}{
		"twice in the file":         {file + row, "line 2 has the same reference", nil},
		"twice but for capitals":    {file + strings.Replace(row, "J-1001", "j-1001", 1), `"J-1001" as it is written elsewhere`, nil},
		"known but for capitals":    {strings.Replace(file, "J-1001", "j-1001", 1), `"J-1001" as it is written elsewhere`, jobs},
		"twice though one is known": {file + row, "line 2 has the same reference", jobs},
	} {
		_, err := schedule.ReadJobs(strings.NewReader(c.file), c.known)
		bad := schedule.BadCells(err)
		if len(bad) != 1 || bad[0].Column != "reference" || !strings.Contains(bad[0].Want, c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// What could mean two things is refused.
func TestWhatCouldMeanTwoThings(t *testing.T) {
	t.Parallel()
	jobs := sampleJobs()
	file := written(t, jobs)
	monthFirst := respell(t, file, ',', func(c, was string) string {
		switch c {
		case "ready on":
			return "12/31/2026"
		case "promised on":
			return "03/04/2027"
		case "roof work done on", "roof work started on":
			return map[bool]string{true: "05/05/2026", false: ""}[was != ""] // the same either way
		}
		return was
	})
	_, err := schedule.ReadJobs(strings.NewReader(monthFirst), nil)
	bad := schedule.BadCells(err)
	if len(bad) != 4 || !strings.Contains(bad[1].Want, "12/31/2026, which is month first") || bad[1].Value != "03/04/2027" {
		t.Errorf("month first: %v", err)
	}
	mixed := respell(t, file, ';', func(c, was string) string {
		switch c {
		case "module m2":
			return "1,95"
		case "working height m":
			return "6.500"
		}
		return was
	})
	_, err = schedule.ReadJobs(strings.NewReader(mixed), nil)
	bad = schedule.BadCells(err)
	if len(bad) != 2 || bad[0].Column != "working height m" || !strings.Contains(bad[0].Want, "6.500 could be thousands") {
		t.Errorf("two decimal marks: %v", err)
	}
	got := read(t, respell(t, file, ',', func(c, was string) string {
		if c == "ready on" || c == "promised on" {
			return "03/04/2027"
		}
		return was
	}), nil)
	if got.New[0].Job.ReadyOn != civil.On(2027, 4, 3) || len(got.Notes) != 1 || !strings.Contains(got.Notes[0], "03/04/2027 is Saturday 3 April 2027") {
		t.Errorf("day first by rule: %v, notes %q", got.New[0].Job.ReadyOn, got.Notes)
	}
}

func TestWhatAnImportChanges(t *testing.T) {
	t.Parallel()
	known := sampleJobs()
	file := respell(t, written(t, known), ',', func(c, was string) string {
		switch {
		case was == "": // leave the second job's gaps
			return was
		case c == "promised on":
			return "2027-01-15"
		case c == "customer phone":
			return ""
		case c == "kit 1 arrived":
			return was
		case c == "kit 1 quantity":
			return "13"
		case c == "survey covering":
			return ""
		case c == "survey pitch_deg":
			return "40"
		case c == "roof work half-days" && was == "3":
			return "4"
		}
		return was
	})
	got := read(t, file, known)
	if len(got.New) != 0 || len(got.Changed) != 1 || got.Unchanged != 1 {
		t.Fatalf("%d new, %d changed, %d unchanged", len(got.New), len(got.Changed), got.Unchanged)
	}
	ch := got.Changed[0]
	var said []string
	for _, d := range ch.Diffs {
		said = append(said, d.String())
	}
	want := []string{"customer phone: +44 1632 960205 becomes nothing", "promised on: 2027-01-08 becomes 2027-01-15", "roof work half-days: 3 becomes 4",
		"kit 430 W modules: 12, due 2026-12-01 becomes 13, due 2026-12-01", "survey covering: slate becomes nothing", "survey pitch_deg: 35 becomes 40"}
	if !slices.Equal(said, want) {
		t.Errorf("differences\n%s\nwant\n%s", strings.Join(said, "\n"), strings.Join(want, "\n"))
	}
	if !reflect.DeepEqual(ch.Before, known[0]) || ch.After.ID != known[0].ID || ch.Line != 2 {
		t.Errorf("before %+v, after %+v, line %d", ch.Before, ch.After, ch.Line)
	}
	if known[0].Site.Facts["covering"] != "slate" || known[0].Kit[0].Quantity != 12 {
		t.Error("reading changed the jobs it was given")
	}
}

func TestColumnsThatAreNotThereLeaveThingsAlone(t *testing.T) {
	t.Parallel()
	known := sampleJobs()
	got := read(t, "Reference;Promised On\r\nJ-1001;15/01/2027\r\n", known)
	if len(got.Changed) != 1 || len(got.Changed[0].Diffs) != 1 || got.Changed[0].After.PromisedOn != civil.On(2027, 1, 15) {
		t.Fatalf("%+v", got)
	}
}

// What is in the database and not in the file stays, and the file's reader is
// told; facts reported since are not taken back by an old file.
func TestNothingIsTakenAwayUnsaid(t *testing.T) {
	t.Parallel()
	old := sampleJobs()[:1]
	file := written(t, old)
	now := sampleJobs()[:1]
	now[0].ID = old[0].ID
	now[0].Kit = append(now[0].Kit, schedule.Kit{Item: "optimisers", Quantity: 12, DueOn: civil.NoDate, ArrivedOn: civil.NoDate})
	now[0].Stages[0].State, now[0].Stages[0].DoneOn = schedule.StateDone, dec(3)
	got := read(t, file, now)
	if got.Unchanged != 1 || len(got.Notes) != 1 || !strings.Contains(got.Notes[0], `J-1001 (line 2): kit "optimisers" is not in the file`) {
		t.Errorf("%+v", got)
	}
	got = read(t, put(t, put(t, file, "grid connection", ""), "promised on", "2027-01-15"), now)
	if len(got.Changed) != 1 || len(got.Notes) != 2 || got.Changed[0].After.Stages[0].DoneOn != dec(3) || len(got.Changed[0].After.Consents) != 2 {
		t.Errorf("%+v", got)
	}
	_, err := schedule.ReadJobs(strings.NewReader(put(t, file, "roof work half-days", "")), now)
	if bad := schedule.BadCells(err); len(bad) != 1 || !strings.Contains(bad[0].Want, "a file does not take a stage away") {
		t.Errorf("a stage taken away: %v", err)
	}
}

// Every column's own example is taken, so that the page that shows them does
// not mislead.
func TestExamplesOfColumnsAreTaken(t *testing.T) {
	t.Parallel()
	var header, row []string
	for _, c := range schedule.JobColumns() {
		if strings.HasSuffix(c.Name, "granted on") || c.Name == "" || c.Holds == "" {
			continue
		}
		header, row = append(header, c.Name), append(row, c.Example)
		if c.Must && c.Example == "" {
			t.Errorf("column %s must be given and has no example", c.Name)
		}
	}
	var b strings.Builder
	w := csv.NewWriter(&b)
	if err := w.WriteAll([][]string{header, row}); err != nil {
		t.Fatal(err)
	}
	got := read(t, b.String(), nil)
	if len(got.New) != 1 || got.New[0].Job.Site.Facts["pitch_deg"] != 35.0 || len(got.New[0].Job.Consents) != 5 {
		t.Errorf("%+v", got)
	}
}

func TestTheTemplateHasEveryColumn(t *testing.T) {
	t.Parallel()
	header := strings.TrimSpace(strings.TrimPrefix(written(t, nil), "\ufeff"))
	names := strings.Split(header, ",")
	for _, c := range schedule.JobColumns() {
		if !slices.Contains(names, c.Name) && !strings.HasPrefix(c.Name, "survey ") {
			t.Errorf("the template has no column %q", c.Name)
		}
	}
}

func TestJobsThatCannotBeReadBackAreNotWritten(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(*schedule.Job){
		"bad fact name":   func(j *schedule.Job) { j.Site.Facts = map[string]any{"Größe": 1.0} },
		"fact as a list":  func(j *schedule.Job) { j.Site.Facts = map[string]any{"gables": []any{1.0}} },
		"kit twice":       func(j *schedule.Job) { j.Kit = append(j.Kit, j.Kit[0]) },
		"stage twice":     func(j *schedule.Job) { j.Stages = append(j.Stages, j.Stages[0]) },
		"zero is no date": func(j *schedule.Job) { j.ReadyOn = 0 }, // 1970-01-01
		"no reference":    func(j *schedule.Job) { j.Ref = "" },
		"in the sea":      func(j *schedule.Job) { j.Site.Lat, j.Site.Lon = 0, 0 },
	} {
		jobs := sampleJobs()[:1]
		change(&jobs[0])
		var b bytes.Buffer
		if err := schedule.WriteJobs(&b, jobs); fault.KindOf(err) != fault.Invalid || b.Len() != 0 {
			t.Errorf("%s: error %v, %d bytes written", name, err, b.Len())
		}
	}
}

func TestFilesOfTheImportFolder(t *testing.T) {
	t.Parallel()
	folder := filepath.Join("..", "testdata", "imports")
	want := map[string]int{"semicolons-windows-1252.csv": 2, "tabs-utf16le.txt": 2, "commas-utf8-bom.csv": 2}
	for name, n := range want {
		raw, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		got := read(t, string(raw), nil)
		if len(got.New) != n || got.New[0].Job.Customer.Name != "Käthe Müller" || got.New[1].Job.PromisedOn != civil.On(2026, 12, 31) ||
			got.New[0].Job.Site.WorkingHeightM != 6.5 || !strings.Contains(got.New[0].Job.Site.Address, "\n") {
			t.Errorf("%s: %+v", name, got.New)
		}
	}
	raw, err := os.ReadFile(filepath.Join(folder, "broken.csv"))
	if err != nil {
		t.Fatal(err)
	}
	_, err = schedule.ReadJobs(bytes.NewReader(raw), nil)
	var said []string
	for _, b := range schedule.BadCells(err) {
		said = append(said, b.Error())
	}
	listed, err := os.ReadFile(filepath.Join(folder, "broken.txt"))
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(said, "\n") + "\n"; got != string(listed) {
		t.Errorf("broken.csv says\n%s\nbroken.txt has\n%s", got, listed)
	}
}

// Whatever a file holds, reading ends in jobs or in faults that a person can
// act on, and what was read can be written and read again.
func FuzzReadJobs(f *testing.F) {
	var b bytes.Buffer
	if err := schedule.WriteJobs(&b, sampleJobs()); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte("sep=;\nreference;promised on\nJ-1001;31/12/2026\n"))
	f.Add([]byte("reference,latitude\nJ,\"1,5\"\n\xe4"))
	f.Add([]byte(utf16LE("reference\tnote\nJ-1001\tx")))
	f.Add([]byte("reference,survey a,kit 1,kit 1 due\nJ-1001,\"\"\"007\"\"\",x,46387\n"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		known := sampleJobs()
		got, err := schedule.ReadJobs(bytes.NewReader(raw), known)
		if err != nil {
			for _, one := range fault.Each(err) {
				if one.Kind != fault.Invalid || one.Want == "" {
					t.Fatalf("fault %+v of %v", one, err)
				}
			}
			if len(fault.Each(err)) == 0 {
				t.Fatalf("error %v", err)
			}
			return
		}
		var jobs []schedule.Job
		for _, n := range got.New {
			jobs = append(jobs, n.Job)
		}
		for _, c := range got.Changed {
			jobs = append(jobs, c.After)
		}
		sameAs(t, read(t, written(t, jobs), nil), jobs)
	})
}
