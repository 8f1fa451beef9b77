package schedule

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"toeboard/weather/civil"
)

// readText reads a whole file and makes UTF-8 of it. Windows-1252, which
// spreadsheets write when they say "CSV", is read with a note, since only a
// person can see that the letters are right; what cannot be any of the three is
// refused by name.
func readText(file io.Reader) (text string, notes []string, err error) {
	raw, err := io.ReadAll(io.LimitReader(file, maxFileBytes+1))
	if err != nil {
		return "", nil, fmt.Errorf("read the jobs file: %w", err)
	}
	switch {
	case len(raw) > maxFileBytes:
		return "", nil, fileFault("", fmt.Sprintf("at most %d MB", maxFileBytes>>20))
	case bytes.HasPrefix(raw, []byte("PK\x03\x04")), bytes.HasPrefix(raw, []byte("\xd0\xcf\x11\xe0")):
		return "", nil, fileFault("", `this is a workbook: save it as "CSV UTF-8" and send that file`)
	case bytes.HasPrefix(raw, []byte("\xff\xfe")), bytes.HasPrefix(raw, []byte("\xfe\xff")):
		text, err = decoded(raw, unicode.UTF16(unicode.LittleEndian, unicode.ExpectBOM))
	case utf8.Valid(raw):
		text = strings.TrimPrefix(string(raw), byteOrderMark)
	case bytes.HasPrefix(raw, []byte(byteOrderMark)):
		line, _ := firstOdd(raw[len(byteOrderMark):])
		return "", nil, &BadCell{Line: line, Want: `the file says it is UTF-8, but this line is not: save it again as "CSV UTF-8"`}
	default:
		text, notes, err = windows1252(raw)
	}
	switch {
	case err != nil:
		return "", nil, err
	case strings.ContainsRune(text, 0):
		return "", nil, fileFault("", `the file has NUL characters, as UTF-16 without a mark has: save it as "CSV UTF-8"`)
	case !strings.Contains(text, "\n"):
		text = strings.ReplaceAll(text, "\r", "\n") // old Macintosh line ends
	}
	return text, notes, nil
}

func decoded(raw []byte, from encoding.Encoding) (string, error) {
	text, err := from.NewDecoder().Bytes(raw)
	if err != nil {
		return "", fileFault("", `this is not whole UTF-16: save it as "CSV UTF-8"`)
	}
	return string(text), nil
}

// undefined1252 are the bytes that Windows-1252 gives no letter.
const undefined1252 = "\x81\x8d\x8f\x90\x9d"

func windows1252(raw []byte) (string, []string, error) {
	for i, b := range raw {
		if strings.IndexByte(undefined1252, b) >= 0 {
			return "", nil, &BadCell{Line: 1 + bytes.Count(raw[:i], []byte("\n")), Want: `this line is neither UTF-8 nor Windows-1252: save the file as "CSV UTF-8"`}
		}
	}
	text, err := decoded(raw, charmap.Windows1252)
	if err != nil {
		return "", nil, err
	}
	line, word := firstOdd(raw)
	shown, err := decoded(word, charmap.Windows1252)
	if err != nil {
		return "", nil, err
	}
	return text, []string{fmt.Sprintf("The file is not UTF-8 and was read as Windows-1252: look whether %q on line %d is right.", shown, line)}, nil
}

// firstOdd gives the line and the word of the first byte that is not UTF-8.
func firstOdd(raw []byte) (line int, word []byte) {
	i := 0
	for i < len(raw) {
		r, n := utf8.DecodeRune(raw[i:])
		if r == utf8.RuneError && n <= 1 {
			break
		}
		i += n
	}
	ends := " \t\r\n,;\""
	from := bytes.LastIndexAny(raw[:i], ends) + 1
	to := len(raw)
	for k := i; k < len(raw); k++ {
		if strings.IndexByte(ends, raw[k]) >= 0 {
			to = k
			break
		}
	}
	return 1 + bytes.Count(raw[:i], []byte("\n")), raw[from:min(to, from+40)]
}

// trimmed is a cell's text without blanks around it, with plain line ends and
// no tabs.
func trimmed(s string) string {
	return strings.TrimSpace(strings.NewReplacer("\r\n", "\n", "\r", "\n", "\t", " ").Replace(s))
}

// convention is how one file writes numbers and days.
type convention struct {
	commaDecimal bool   // a comma may be a decimal mark, since it separates no cells
	points       string // a number seen with a decimal point
	commas       string // a number seen with a decimal comma
	monthFirst   string // a day seen that can only be month/day/year
	dayFirst     string // a day seen that can only be day/month/year
	either       string // a day seen that could be both
}

// readConvention looks at every cell of numbers and days before any is read.
func readConvention(t table, columns []column) *convention {
	f := &convention{commaDecimal: t.comma != ','}
	for _, row := range t.rows {
		for i, at := range row.cells[:min(len(row.cells), len(columns))] {
			switch s := unguard(trimmed(at.text)); columns[i].kind {
			case numberCell:
				f.seeNumber(s)
			case dateCell:
				f.seeDay(s)
			}
		}
	}
	return f
}

var (
	wholeNumber  = regexp.MustCompile(`^[+-]?\d{1,15}$`)
	pointNumber  = regexp.MustCompile(`^[+-]?\d{1,15}\.\d+$`)
	commaNumber  = regexp.MustCompile(`^[+-]?\d{1,15},\d+$`)
	couldBeGroup = regexp.MustCompile(`^[+-]?\d{1,3}[.,]\d{3}$`) // 1.234 or 1,234
	numberLike   = regexp.MustCompile(`^[+−-]?[\d.,' \x{a0}\x{202f}]*\d[\d.,' \x{a0}\x{202f}]*$`)
	isoLike      = regexp.MustCompile(`^(\d{4})-(\d{2})-(\d{2})$`)
	slashDay     = regexp.MustCompile(`^(\d{1,2})/(\d{1,2})/(\d{4})$`)
	pointDay     = regexp.MustCompile(`^(\d{1,2})\.(\d{1,2})\.(\d{4})$`)
	yearFirst    = regexp.MustCompile(`^(\d{4})[/. ](\d{1,2})[/. ](\d{1,2})$`)
	looseISO     = regexp.MustCompile(`^(\d{4})-(\d{1,2})-(\d{1,2})$`)
	withClock    = regexp.MustCompile(`^(\S+?)[ T]\d{1,2}:\d{2}(:\d{2})?`)
	shortYear    = regexp.MustCompile(`^\d{1,2}[/.-]\d{1,2}[/.-]\d{2}$`)
	serialDay    = regexp.MustCompile(`^\d{5}$`)
)

func (f *convention) seeNumber(s string) {
	switch {
	case f.points == "" && pointNumber.MatchString(s):
		f.points = s
	case f.commas == "" && commaNumber.MatchString(s):
		f.commas = s
	}
}

func (f *convention) seeDay(s string) {
	m := slashDay.FindStringSubmatch(s)
	if m == nil {
		return
	}
	first, second := number(m[1]), number(m[2])
	switch {
	case first > 12 && f.dayFirst == "":
		f.dayFirst = s
	case first <= 12 && second > 12 && f.monthFirst == "":
		f.monthFirst = s
	case first <= 12 && second <= 12 && first != second && f.either == "":
		f.either = s
	}
}

// number reads digits that a pattern has found.
func number(digits string) int {
	n, err := strconv.Atoi(digits)
	if err != nil {
		return -1
	}
	return n
}

func (f *convention) notes() []string {
	if f.either == "" || f.dayFirst != "" {
		return nil
	}
	m := slashDay.FindStringSubmatch(f.either)
	d := civil.On(number(m[3]), time.Month(number(m[2])), number(m[1]))
	return []string{fmt.Sprintf("Days are read day first: %s is %s.", f.either, d.Long())}
}

// cell is one cell while it is read. want is empty as long as nothing is wrong.
type cell struct {
	line int
	text string // trimmed, as a person meant it
	file *convention
	want string
}

// word takes one of some words, in any case.
func (c *cell) word(words []string) string {
	for _, w := range words {
		if strings.EqualFold(c.text, w) {
			return w
		}
	}
	c.want = "one of " + strings.Join(words, ", ")
	return ""
}

func (c *cell) stageKind() StageKind {
	said := betweenWords.ReplaceAllString(strings.ToLower(c.text), " ")
	var words []string
	for _, k := range StageKinds {
		if k.String() == said {
			return k
		}
		words = append(words, k.String())
	}
	c.want = "one of " + strings.Join(words, ", ")
	return StageUnknown
}

func (c *cell) whole() int {
	if wholeNumber.MatchString(c.text) {
		return number(strings.TrimPrefix(c.text, "+"))
	}
	c.want = "a whole number such as 12, without unit or separators"
	return 0
}

// decimal reads a number. A comma is a decimal mark only where commas do not
// separate cells, and what could be thousands in a file that uses both marks is
// refused.
func (c *cell) decimal() float64 {
	s := c.text
	both := c.file.points != "" && c.file.commas != ""
	switch {
	case wholeNumber.MatchString(s):
	case both && couldBeGroup.MatchString(s):
		c.want = fmt.Sprintf("one decimal mark throughout: this file has %s and %s, so %s could be thousands", c.file.points, c.file.commas, s)
		return 0
	case pointNumber.MatchString(s):
	case commaNumber.MatchString(s) && c.file.commaDecimal:
		s = strings.Replace(s, ",", ".", 1)
	case commaNumber.MatchString(s):
		c.want = fmt.Sprintf("%s with a decimal point, or %s without a separator if it is thousands", strings.Replace(s, ",", ".", 1), strings.Replace(s, ",", "", 1))
		if !couldBeGroup.MatchString(s) {
			c.want = strings.Replace(s, ",", ".", 1) + ": a decimal point, since commas separate the cells of this file"
		}
		return 0
	default:
		c.want = "a number such as 6.5, without unit and without separators for thousands"
		return 0
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		c.want = "a number such as 6.5"
	}
	return x
}

// date reads a day; the empty cell is NoDate.
func (c *cell) date() civil.Date {
	d, want := readDay(c.text, c.file)
	c.want = want
	return d
}

const wantDay = "a day such as 2026-12-31 or 31/12/2026"

func readDay(s string, f *convention) (civil.Date, string) {
	if s == "" {
		return civil.NoDate, ""
	}
	if m := isoLike.FindStringSubmatch(s); m != nil {
		return realDay(m[1], m[2], m[3])
	}
	if m := pointDay.FindStringSubmatch(s); m != nil {
		return realDay(m[3], m[2], m[1])
	}
	if m := slashDay.FindStringSubmatch(s); m != nil {
		return slashedDay(s, m, f)
	}
	return civil.NoDate, dayRemedy(s)
}

// slashedDay reads day/month/year. In a file where some day can only be
// month/day/year, no day that could be both is believed.
func slashedDay(s string, m []string, f *convention) (civil.Date, string) {
	first, second := number(m[1]), number(m[2])
	switch {
	case first <= 12 && second > 12 && second <= 31:
		if d, want := realDay(m[3], m[1], m[2]); want == "" {
			return civil.NoDate, fmt.Sprintf("day before month: %s, or %s if %s was meant", slashed(d), d, d.Long())
		}
	case f.monthFirst != "" && first <= 12 && first != second:
		d := civil.On(number(m[3]), time.Month(second), first)
		return civil.NoDate, fmt.Sprintf("a day that can mean only one thing, such as %s: this file also has %s, which is month first", d, f.monthFirst)
	}
	return realDay(m[3], m[2], m[1])
}

func slashed(d civil.Date) string {
	y, m, day := d.Civil()
	return fmt.Sprintf("%02d/%02d/%04d", day, int(m), y)
}

func realDay(year, month, day string) (civil.Date, string) {
	y, m, d := number(year), number(month), number(day)
	got := civil.On(y, time.Month(m), d)
	if gy, gm, gd := got.Civil(); gy != y || int(gm) != m || gd != d {
		return civil.NoDate, wantDay + ": there is no such day in the calendar"
	}
	return got, ""
}

// dayRemedy says what would be right for spellings that are often met.
func dayRemedy(s string) string {
	if m := withClock.FindStringSubmatch(s); m != nil {
		if d, want := readDay(m[1], &convention{}); want == "" && d.Known() {
			return d.String() + ": the day alone, without a clock time"
		}
	}
	for _, pattern := range []*regexp.Regexp{yearFirst, looseISO} {
		if m := pattern.FindStringSubmatch(s); m != nil {
			if d, want := realDay(m[1], m[2], m[3]); want == "" {
				return "write it as " + d.String()
			}
		}
	}
	switch {
	case shortYear.MatchString(s):
		return wantDay + ", with four digits of the year"
	case serialDay.MatchString(s) && number(s) >= 36526 && number(s) <= 73050:
		// Spreadsheets count days from 1899-12-30.
		return fmt.Sprintf("%s: the spreadsheet wrote its own day number; format the column as a date", civil.On(1899, 12, 30)+civil.Date(number(s)))
	}
	return wantDay
}

// fact reads what the survey found: nil when nothing is known, a bool, a
// float64 or a string. A text that looks like one of the others stands between
// quotation marks.
func (c *cell) fact() any {
	s := c.text
	switch strings.ToLower(s) {
	case "", "unknown":
		return nil
	case "yes", "true":
		return true
	case "no", "false":
		return false
	}
	if strings.HasPrefix(s, `"`) {
		var text string
		if json.Unmarshal([]byte(s), &text) == nil {
			return text
		}
	}
	if !numberLike.MatchString(s) {
		return s
	}
	x := c.decimal()
	if bare := strings.TrimLeft(s, "+-"); c.want == "" && len(bare) > 1 && bare[0] == '0' && bare[1] >= '0' && bare[1] <= '9' {
		c.want = fmt.Sprintf("%s, if it is a number", plainNumber(x))
	}
	if c.want != "" {
		c.want += fmt.Sprintf("; or %s between quotation marks, if it is a text", quoted(s))
	}
	return x
}
