package ledger

import (
	"bufio"
	"bytes"
	"cmp"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"runtime"
	"slices"
	"strings"
	"time"
)

// Trust is what a verifier holds beside the export: without it the export can
// only be held against itself.
type Trust struct {
	Keys  []string // public keys that the firm gave by another way; none = those the export carries
	Heads []string // signed heads that were kept elsewhere
}

// Fault is one thing that is wrong in an export or a log.
type Fault struct {
	Line   int64  `json:"line"`   // of the file, from 1; 0 = of none
	Record string `json:"record"` // the record in words; "" = the file itself
	What   string `json:"what"`   // what is wrong, in words
}

// Sentence says it to a person.
func (f Fault) Sentence() string {
	s := f.What
	if f.Record != "" {
		s = f.Record + ": " + s
	}
	if f.Line > 0 {
		s = fmt.Sprintf("line %d: %s", f.Line, s)
	}
	return s + "."
}

// Report is what verifying gave. Only one without a fault is proven.
type Report struct {
	About    About
	Entries  int64   // entries that were read
	Values   int64   // long values that were read
	Heads    []Head  // whose signature is right, in the order of the file
	KeyGiven bool    // whether the keys came from elsewhere
	Kept     int     // heads kept elsewhere that were found in it
	Faults   []Fault // the first hundred
	More     int64   // faults beyond those
}

// Proven tells whether nothing is wrong.
func (r Report) Proven() bool { return len(r.Faults) == 0 }

// Newest is the newest head that was read; the zero head when there is none.
func (r Report) Newest() Head {
	if len(r.Heads) == 0 {
		return Head{}
	}
	return r.Heads[len(r.Heads)-1]
}

const (
	mostFaults  = 100
	longestLine = 64 << 20 // bytes; a longer one is no line of an export
	batchLines  = 256
	batchBytes  = 1 << 20
)

// Verify proves an export: that each entry's text gives its hash, that the
// hashes make the tree whose heads were signed, that each head's tree begins
// with the one before, and that the file ends where it was signed to end. It
// reads the file once and holds a few lines at a time. Everything that is wrong
// is a fault of the report; the error is only of reading.
func Verify(in io.Reader, trust Trust) (Report, error) {
	v := &verifier{trust: trust, hash: sha256.New(), wants: map[Hash][]wanted{}}
	v.report.KeyGiven = len(trust.Keys) > 0
	if err := v.readAll(in); err != nil {
		return v.report, err
	}
	v.finish()
	return v.report, nil
}

// verifier is how far a file has been read.
type verifier struct {
	report  Report
	trust   Trust
	keys    Keys
	hash    hash.Hash // of all lines but the end
	tree    Tree      // of the entries so far, in a whole export
	broken  string    // why the tree cannot be followed any further; "" = it can
	next    int       // the head that the tree reaches next
	last    int64     // sequence of the last entry; -1 = none
	started bool
	ended   bool
	wants   map[Hash][]wanted // long values that entries name and that were not read yet
	lines   int64
}

// wanted is a long value that an entry names.
type wanted struct {
	line           int64
	record, column string
	bytes          int64
}

func (v *verifier) fault(line int64, record, what string, args ...any) {
	if len(v.report.Faults) >= mostFaults {
		v.report.More++
		return
	}
	v.report.Faults = append(v.report.Faults, Fault{Line: line, Record: record, What: fmt.Sprintf(what, args...)})
}

// ---------------------------------------------------------------- reading

// batch is a run of lines whose entries were read ahead of their turn.
type batch struct {
	first int64 // number of its first line
	text  []byte
	ends  []int // where each line ends in text, without its line feed
	read  chan []readEntry
}

// readEntry is what reading one entry's line alone gave.
type readEntry struct {
	is    bool // an entry's line
	entry entryFacts
	leaf  Hash
	proof []Hash
	wrong string // "" = text and hash belong together
	name  string // what can be made out of a line that is wrong
}

// named names the record. It is asked only of those that are named: to put a
// name together costs as much as to prove the entry.
func (r readEntry) named() string {
	if r.wrong != "" {
		return r.name
	}
	return r.entry.whole().Name()
}

// readAll reads batches of lines in one goroutine, takes their entries apart in
// as many as there are processors, and follows them in order here.
func (v *verifier) readAll(in io.Reader) error {
	workers := runtime.GOMAXPROCS(0)
	ordered := make(chan *batch, 2*workers)
	work := make(chan *batch, 2*workers)
	stop := make(chan struct{})
	failed := make(chan error, 1)
	spare := make(chan []byte, 4*workers)
	defer close(stop)
	for range workers {
		go func() {
			for b := range work {
				b.read <- b.readEntries()
			}
		}()
	}
	go func() {
		defer close(ordered)
		defer close(work)
		failed <- cut(in, spare, func(b *batch) bool {
			for _, to := range []chan *batch{work, ordered} {
				select {
				case to <- b:
				case <-stop:
					return false
				}
			}
			return true
		})
	}()
	for b := range ordered {
		v.follow(b, <-b.read)
		select { // its memory serves another batch
		case spare <- b.text[:0]:
		default:
		}
	}
	return <-failed
}

// cut cuts a file into batches of whole lines.
func cut(in io.Reader, spare <-chan []byte, give func(*batch) bool) error {
	r := bufio.NewReaderSize(in, 1<<16)
	line := int64(1)
	for {
		b := &batch{first: line, read: make(chan []readEntry, 1)}
		select {
		case b.text = <-spare:
		default:
		}
		var end error
		for len(b.ends) < batchLines && len(b.text) < batchBytes && end == nil {
			start := len(b.text)
			b.text, end = appendLine(b.text, r)
			if len(b.text) > start {
				b.ends = append(b.ends, len(b.text))
			}
		}
		line += int64(len(b.ends))
		if len(b.ends) > 0 && !give(b) {
			return nil
		}
		if errors.Is(end, io.EOF) {
			return nil
		}
		if end != nil {
			return fmt.Errorf("read the export: %w", end)
		}
	}
}

// appendLine appends one line with its line feed; the last may be without.
func appendLine(to []byte, r *bufio.Reader) ([]byte, error) {
	start := len(to)
	for {
		part, err := r.ReadSlice('\n')
		to = append(to, part...)
		if !errors.Is(err, bufio.ErrBufferFull) {
			return to, err
		}
		if len(to)-start > longestLine {
			return to, fmt.Errorf("a line is longer than %d MB: this is no export", longestLine>>20)
		}
	}
}

func (b *batch) lines(each func(i int, line []byte)) {
	start := 0
	for i, end := range b.ends {
		each(i, b.text[start:end])
		start = end
	}
}

func (b *batch) readEntries() []readEntry {
	all := make([]readEntry, len(b.ends))
	b.lines(func(i int, line []byte) {
		if bytes.HasPrefix(line, []byte(entryStart)) {
			all[i] = readOne(bytes.TrimSuffix(line, []byte("\n")))
		}
	})
	return all
}

func readOne(line []byte) (r readEntry) {
	r.is = true
	text, leaf, proof, ok := splitEntry(line)
	if !ok {
		r.wrong, r.name = "what stands around the entry was changed", guessName(line)
		return r
	}
	r.leaf, r.proof = leaf, proof
	err := r.entry.read(text)
	switch {
	case LeafHash(text) != leaf:
		r.wrong = "its text was changed: it does not give the hash it was kept under"
	case err != nil:
		r.wrong = "it cannot be read"
	}
	if err != nil || r.wrong != "" {
		r.name = guessName(text)
	}
	return r
}

// guessName names a record from a text that may have been damaged.
func guessName(text []byte) string {
	if e, err := ParseEntry(text); err == nil {
		return e.Name()
	}
	if kind := member(text, "kind"); kind != "" {
		return fmt.Sprintf("%s (key %s)", Words(kind), member(text, "key"))
	}
	return ""
}

// member finds the last member of a name that holds a plain text.
func member(text []byte, name string) string {
	start := []byte(`"` + name + `":"`)
	at := bytes.LastIndex(text, start)
	if at < 0 {
		return ""
	}
	value, _, _ := bytes.Cut(text[at+len(start):], []byte(`"`))
	if len(value) > 100 {
		return ""
	}
	return strings.ToValidUTF8(string(value), "?")
}

// ---------------------------------------------------------------- following

func (v *verifier) follow(b *batch, entries []readEntry) {
	b.lines(func(i int, line []byte) {
		n := b.first + int64(i)
		v.lines = n
		whole := bytes.HasSuffix(line, []byte("\n"))
		text := bytes.TrimSuffix(line, []byte("\n"))
		if !bytes.HasPrefix(line, []byte(endStart)) {
			v.hash.Write(line)
		}
		if !whole {
			v.fault(n, "", "the file breaks off in this line")
		}
		switch {
		case v.ended:
			v.fault(n, "", "there is something after the signed end")
		case !v.started && !bytes.HasPrefix(line, []byte(exportStart)):
			v.started = true
			v.fault(n, "", "this is no export: the first line does not say what it is of")
			v.followLine(n, text, entries[i])
		default:
			v.followLine(n, text, entries[i])
		}
	})
}

func (v *verifier) followLine(n int64, text []byte, e readEntry) {
	switch {
	case e.is:
		v.entry(n, e)
	case bytes.HasPrefix(text, []byte(exportStart)):
		v.about(n, text)
	case bytes.HasPrefix(text, []byte(headStart)):
		v.head(n, text)
	case bytes.HasPrefix(text, []byte(valueStart)):
		v.value(n, text)
	case bytes.HasPrefix(text, []byte(endStart)):
		v.end(n, text)
	default:
		v.fault(n, guessName(text), "this line is none that an export has")
	}
}

func (v *verifier) about(n int64, text []byte) {
	var l aboutLine
	if v.started {
		v.fault(n, "", "a second first line")
		return
	}
	v.started, v.last = true, -1
	if err := readLine(text, &l); err != nil {
		v.fault(n, "", "the first line was changed: %v", err)
		return
	}
	v.report.About = l.Export
	if l.Export.Form != Form {
		v.fault(n, "", "the form is %q, and this program reads %q", l.Export.Form, Form)
	}
	keys := v.trust.Keys
	if len(keys) == 0 {
		keys = l.Export.Keys
	}
	var err error
	if v.keys, err = ParseKeys(keys...); err != nil {
		v.fault(n, "", "%v", err)
	}
}

func (v *verifier) head(n int64, text []byte) {
	var l headLine
	if err := readLine(text, &l); err != nil {
		v.fault(n, "", "a signed head was changed: %v", err)
		return
	}
	h, err := v.keys.Open(l.Head)
	if err != nil {
		v.fault(n, "", "a head is not signed by the firm's key: %v", err)
		return
	}
	before := v.report.Newest()
	switch {
	case h.Origin != Origin(v.report.About.Firm):
		v.fault(n, "", "this head is of another log, %s", h.Origin)
		return
	case len(v.report.Heads) > 0 && (h.Size < before.Size || h.At.Before(before.At)):
		v.fault(n, "", "this head is older than the one before")
	case v.report.Entries > 0:
		v.fault(n, "", "this head stands after the first entry")
	case !v.report.About.Whole && len(v.report.Heads) > 0 && !CheckGrowth(l.Since, h.Size, h.Root, before.Size, before.Root):
		v.fault(n, "", "the log of %s does not begin with the log of %s: something in between was changed", stamped(h.At), stamped(before.At))
	}
	v.report.Heads = append(v.report.Heads, h)
}

func (v *verifier) entry(n int64, e readEntry) {
	v.report.Entries++
	if e.wrong != "" {
		v.fault(n, e.named(), "%s", e.wrong)
	}
	if v.report.About.Whole {
		v.inOrder(n, e)
	} else {
		v.included(n, e)
	}
	if e.wrong != "" {
		return
	}
	if e.entry.Firm != v.report.About.Firm {
		v.fault(n, e.named(), "it is of another firm")
	}
	for column, b := range e.entry.Beside {
		name := e.named()
		v.wants[b.SHA256] = append(v.wants[b.SHA256], wanted{line: n, record: name, column: column, bytes: b.Bytes})
	}
}

// inOrder follows the entries of a whole log: none may be missing, double or in
// another place, and they must make the trees that were signed.
func (v *verifier) inOrder(n int64, e readEntry) {
	seq := v.last + 1
	if e.wrong == "" {
		seq = e.entry.Seq
	}
	switch due := v.last + 1; {
	case seq > due && seq-due == 1:
		v.fault(n, "", "entry %d is missing before this line", due)
		v.broken = fmt.Sprintf("entry %d is missing", due)
	case seq > due:
		v.fault(n, "", "entries %d to %d are missing before this line", due, seq-1)
		v.broken = fmt.Sprintf("entries from %d on are missing", due)
	case seq < due:
		v.fault(n, e.named(), "it does not belong here: entry %d is due", due)
		v.broken = fmt.Sprintf("an entry stands where entry %d should", due)
	}
	v.last = max(v.last, seq)
	if v.broken != "" {
		return
	}
	v.reachHeads()
	v.tree.Add(e.leaf)
	v.reachHeads()
}

// reachHeads holds the tree so far against every head of its size.
func (v *verifier) reachHeads() {
	for v.next < len(v.report.Heads) && v.report.Heads[v.next].Size <= v.tree.Size() {
		h := v.report.Heads[v.next]
		if h.Size == v.tree.Size() && h.Root != v.tree.Root() {
			from := int64(0)
			if v.next > 0 {
				from = v.report.Heads[v.next-1].Size
			}
			v.fault(0, "", "the entries %d to %d are not those whose head was signed at %s", from, h.Size-1, stamped(h.At))
		}
		v.next++
	}
}

// included proves that an entry of a part of the log is in the newest head's
// tree.
func (v *verifier) included(n int64, e readEntry) {
	if e.wrong != "" {
		return
	}
	if e.entry.Seq <= v.last {
		v.fault(n, e.named(), "it stands after entry %d", v.last)
	}
	v.last = max(v.last, e.entry.Seq)
	h := v.report.Newest()
	if !CheckEntry(e.proof, h.Size, h.Root, e.entry.Seq, e.leaf) {
		v.fault(n, e.named(), "it is not in the log whose head was signed at %s", stamped(h.At))
	}
}

func (v *verifier) value(n int64, text []byte) {
	v.report.Values++
	var l valueLine
	err := readLine(text, &l)
	wants := v.wants[l.Beside]
	var w wanted
	if len(wants) > 0 {
		w = wants[0]
	}
	got := Value{JSON: l.JSON, Raw: l.Raw}.Beside()
	switch {
	case err != nil:
		v.fault(n, w.record, "a long value was changed: %v", err)
		return
	case got.SHA256 != l.Beside:
		v.fault(n, w.record, "its %s was changed: it does not give the hash that the entry names", cmp.Or(w.column, "value"))
	case len(wants) == 0:
		v.fault(n, "", "this value belongs to no entry of this export")
	}
	for _, w := range wants {
		if got.SHA256 == l.Beside && got.Bytes != w.bytes {
			v.fault(n, w.record, "its %s has another length than the entry says", w.column)
		}
	}
	delete(v.wants, l.Beside)
}

func (v *verifier) end(n int64, text []byte) {
	v.ended = true
	var l endLine
	if err := readLine(text, &l); err != nil {
		v.fault(n, "", "the signed end was changed: %v", err)
		return
	}
	signed, err := v.keys.open(l.End)
	switch {
	case err != nil:
		v.fault(n, "", "the end is not signed by the firm's key: %v", err)
	case signed != endText(Origin(v.report.About.Firm), v.hash.Sum(nil)):
		v.fault(n, "", "the file is not the one that was signed: a line before this was changed, added or taken away")
	}
}

// ---------------------------------------------------------------- at the end

func (v *verifier) finish() {
	about := v.report.About
	if v.lines == 0 {
		v.fault(0, "", "the file is empty")
		return
	}
	if !v.ended {
		v.fault(v.lines, "", "the file breaks off: its signed end is missing")
	}
	if v.report.Entries != about.Entries {
		v.fault(0, "", "%d entries were announced and %d are here", about.Entries, v.report.Entries)
	}
	if len(v.report.Heads) == 0 {
		v.fault(0, "", "there is no signed head, so nothing is proven")
	} else if v.report.Newest().Size != about.Size {
		v.fault(0, "", "a log of %d entries was announced and the newest head is of %d", about.Size, v.report.Newest().Size)
	}
	if about.Whole {
		v.allHeadsReached()
	}
	v.nothingMissing()
	v.heldElsewhere()
}

func (v *verifier) allHeadsReached() {
	v.reachHeads()
	switch {
	case v.next >= len(v.report.Heads):
	case v.broken != "":
		v.fault(0, "", "the heads from %s on cannot be proven, since %s", stamped(v.report.Heads[v.next].At), v.broken)
	default:
		v.fault(0, "", "entries are missing at the end: the head of %s is of %d", stamped(v.report.Heads[v.next].At), v.report.Heads[v.next].Size)
	}
}

// nothingMissing names the entries whose long values are not here, in the order
// of the file.
func (v *verifier) nothingMissing() {
	left := make([]wanted, 0, len(v.wants))
	for _, w := range v.wants {
		left = append(left, w...)
	}
	slices.SortFunc(left, func(a, b wanted) int {
		return cmp.Or(cmp.Compare(a.line, b.line), strings.Compare(a.column, b.column))
	})
	for _, w := range left {
		v.fault(w.line, w.record, "the text of its %s is missing from the export or was changed", w.column)
	}
}

// heldElsewhere holds the log against heads that somebody kept.
func (v *verifier) heldElsewhere() {
	for _, text := range v.trust.Heads {
		h, err := v.keys.Open(text)
		if err != nil {
			v.fault(0, "", "the kept head cannot be used: %v", err)
			continue
		}
		same := slices.IndexFunc(v.report.Heads, func(o Head) bool { return o.Size == h.Size })
		switch {
		case h.Origin != Origin(v.report.About.Firm):
			v.fault(0, "", "the kept head is of another log, %s", h.Origin)
		case same >= 0 && v.report.Heads[same].Root == h.Root:
			v.report.Kept++
		case same >= 0:
			v.fault(0, "", "the log was rewritten: the kept head of %s has another root for %d entries", stamped(h.At), h.Size)
		case h.Size > v.report.Newest().Size:
			v.fault(0, "", "the log was cut: the kept head of %s counts %d entries, this export %d", stamped(h.At), h.Size, v.report.Newest().Size)
		default:
			v.fault(0, "", "the kept head of %s, of %d entries, is not among the heads of this export", stamped(h.At), h.Size)
		}
	}
}

func stamped(t time.Time) string {
	if t.IsZero() {
		return "an unknown time"
	}
	return t.UTC().Format("2006-01-02 15:04:05 UTC")
}

// Sentence says in words what a report without a fault proves, and what it does
// not.
func (r Report) Sentence() string {
	var b strings.Builder
	what := "the whole record"
	if !r.About.Whole {
		what = "the part for job " + r.About.JobRef
		if r.About.Day != "" {
			what += " on " + r.About.Day
		}
		what += " of the record"
	}
	h := r.Newest()
	fmt.Fprintf(&b, "Proven: %s of %s, %d entries, unchanged since they were kept. Signed heads: %d, the newest of %s over %d entries.",
		what, cmp.Or(r.About.FirmName, "firm "+r.About.Firm), r.Entries, len(r.Heads), stamped(h.At), h.Size)
	if !r.About.Whole {
		b.WriteString(" It proves what is here, not that nothing else was kept.")
	}
	if r.Kept > 0 {
		fmt.Fprintf(&b, " It agrees with the %d heads that were kept elsewhere.", r.Kept)
	}
	if !r.KeyGiven {
		fmt.Fprintf(&b, "\nThe signatures were held against the keys that come with it: compare them with the ones the firm gave you by another way, or give them with --key.\n%s",
			strings.Join(r.About.Keys, "\n"))
	}
	return b.String()
}
