package ledger

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"
)

const testFirm = "0192f0aa-0000-7000-8000-000000000001"

var night = time.Date(2026, 11, 30, 2, 11, 0, 0, time.UTC)

// aLog is an invented log with a head after some of its entries.
type aLog struct {
	kept
	key     *Key
	entries [][]byte
	values  [][]Value
	heads   []string
	sizes   []int64
}

func newLog(t testing.TB, n int, heads ...int64) *aLog {
	t.Helper()
	l := &aLog{}
	var err error
	if l.key, err = NewKey(Origin(testFirm), bytes.Repeat([]byte{7}, 32)); err != nil {
		t.Fatal(err)
	}
	for i := range n {
		l.signAt(t, heads)
		e := Entry{Firm: testFirm, Job: "0192f0aa-0000-7000-8000-00000000000b", JobRef: fmt.Sprintf("Q-%d", i%3), Kind: "sign_off", Day: "2026-11-30",
			Key: fmt.Sprintf("0192f0aa-0000-7000-8000-%012d", i), Salt: strings.Repeat("5a", 16), Seq: int64(i), People: map[string]string{"p": "Dana Quill"}}
		row := fmt.Sprintf(`{"firm_id":"%s","statement":"I, Dana Quill, say \"yes\" to ,\"leaf\":\" number %d","gust_ms":4.50}`, testFirm, i)
		if i%4 == 1 {
			row = fmt.Sprintf(`{"body":{"n":%d,"long":"%s"},"photo":"\\x%s"}`, i, strings.Repeat("long ", 420), strings.Repeat("ab", 1100))
			if i%8 == 1 {
				e.Kind = "decision"
			}
		}
		values, err := e.Take([]byte(row))
		if err != nil {
			t.Fatal(err)
		}
		text, err := e.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		l.add(LeafHash(text))
		l.entries, l.values = append(l.entries, text), append(l.values, values)
	}
	l.signAt(t, heads)
	return l
}

func (l *aLog) signAt(t testing.TB, heads []int64) {
	t.Helper()
	for _, at := range heads {
		if at != l.tree.Size() {
			continue
		}
		h := Head{Origin: l.key.name, Size: at, Root: l.tree.Root(), At: night.AddDate(0, 0, len(l.heads))}
		signed, err := l.key.SignHead(h)
		if err != nil {
			t.Fatal(err)
		}
		l.heads, l.sizes = append(l.heads, signed), append(l.sizes, at)
	}
}

// export writes the whole log, or with only the entries of one job.
func (l *aLog) export(t testing.TB, job string) []byte {
	t.Helper()
	var out bytes.Buffer
	size := l.sizes[len(l.sizes)-1]
	about := About{Firm: testFirm, FirmName: "Quillmere Solar", Keys: []string{l.key.Public()}, MadeAt: night.AddDate(0, 0, 9), Size: size, Whole: job == "", JobRef: job}
	var in []int
	for i, text := range l.entries[:size] {
		if e, _ := ParseEntry(text); job == "" || e.JobRef == job {
			in = append(in, i)
		}
	}
	about.Entries = int64(len(in))
	w := NewWriter(&out, l.key, about)
	for i, head := range l.heads {
		var since []Hash
		if i > 0 && job != "" {
			since = must(ProveGrowth(l.sizes[i], l.sizes[i-1], l.stored))
		}
		w.Head(head, since)
	}
	for _, i := range in {
		var proof []Hash
		if job != "" {
			proof = must(ProveEntry(size, int64(i), l.stored))
		}
		w.Entry(l.entries[i], l.hashes[i][0], proof)
	}
	for _, i := range in {
		for _, v := range l.values[i] {
			w.Value(v)
		}
	}
	if err := w.End(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func verify(t testing.TB, file []byte, trust Trust) Report {
	t.Helper()
	r, err := Verify(bytes.NewReader(file), trust)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func said(r Report) string {
	var all []string
	for _, f := range r.Faults {
		all = append(all, f.Sentence())
	}
	return strings.Join(all, "\n")
}

func TestAnExportProvesItself(t *testing.T) {
	t.Parallel()
	for _, job := range []string{"", "Q-1"} {
		l := newLog(t, 29, 0, 5, 16, 29)
		file := l.export(t, job)
		r := verify(t, file, Trust{Keys: []string{l.key.Public()}, Heads: l.heads[1:2]})
		if !r.Proven() || len(r.Heads) != 4 || r.Kept != 1 || !r.KeyGiven || r.Newest().Size != 29 {
			t.Errorf("job %q: %+v\n%s", job, r, said(r))
		}
		if want := map[string]int64{"": 29, "Q-1": 10}[job]; r.Entries != want {
			t.Errorf("job %q: %d entries, want %d", job, r.Entries, want)
		}
		for n, line := range bytes.Split(bytes.TrimSuffix(file, []byte("\n")), []byte("\n")) {
			again, err := Canonical(line)
			if err != nil || !bytes.Equal(again, line) {
				t.Errorf("job %q: line %d is not canonical (%v): %.90s", job, n+1, err, line)
			}
		}
	}
}

// Every single byte of an export is changed, one after the other, by one bit, and
// each fifth to a letter: each change is found, and one in the text of an entry names the
// entry by its line. Of long values some bytes are enough.
func TestEveryByteOfAnExportIsHeld(t *testing.T) {
	t.Parallel()
	for _, job := range []string{"", "Q-1"} {
		l := newLog(t, 4, 2, 4)
		file := l.export(t, job)
		line, start := int64(1), 0
		for i, was := range file {
			if i > 0 && file[i-1] == '\n' {
				line, start = line+1, i
			}
			inEntry := bytes.HasPrefix(file[start:], []byte(entryStart)) && was != '\n'
			if bytes.HasPrefix(file[start:], []byte(valueStart)) && i-start > 120 && i%41 != 0 {
				continue
			}
			for n, now := range []byte{was ^ 1<<(i%7), "f \n"[i%3]} {
				if now == was || n > 0 && i%5 != 0 {
					continue
				}
				file[i] = now
				r := verify(t, file, Trust{})
				if r.Proven() {
					t.Fatalf("job %q: byte %d of line %d may be %q instead of %q", job, i-start, line, now, was)
				}
				if inEntry && now != '\n' && !namesLine(r, line) {
					t.Fatalf("job %q: byte %d of line %d, %q instead of %q, is not put down to its record:\n%s", job, i-start, line, now, was, said(r))
				}
			}
			file[i] = was
		}
	}
}

func namesLine(r Report, line int64) bool {
	for _, f := range r.Faults {
		if f.Line == line {
			return true
		}
	}
	return false
}

// What somebody may do to a file, beyond single bytes.
func TestWhatIsDoneToAnExportIsNamed(t *testing.T) {
	t.Parallel()
	l := newLog(t, 12, 4, 8, 12)
	other := must(NewKey(Origin(testFirm), bytes.Repeat([]byte{9}, 32)))
	lines := func(file []byte) [][]byte { return bytes.SplitAfter(file, []byte("\n")) }
	const firstEntry = 4                  // after the first line and three heads
	reseal := func(all [][]byte) []byte { // as somebody with another key would
		body := bytes.Join(all[:len(all)-2], nil)
		signed := must(other.signText(endText(Origin(testFirm), hashBytes(body))))
		return append(body, append(must(Canonical([]byte(`{"end":`+string(quote(signed))+`}`))), '\n')...)
	}
	for _, c := range []struct {
		name string
		do   func(file []byte) []byte
		want []string
	}{
		{"two entries swapped", func(f []byte) []byte {
			a := lines(f)
			a[firstEntry+2], a[firstEntry+3] = a[firstEntry+3], a[firstEntry+2]
			return bytes.Join(a, nil)
		}, []string{"entry 2 is missing before this line", "signature by Dana Quill for job Q-2 on 2026-11-30 (entry 2, key"}},
		{"an entry removed", func(f []byte) []byte {
			a := lines(f)
			return bytes.Join(append(a[:firstEntry+5:firstEntry+5], a[firstEntry+6:]...), nil)
		}, []string{"entry 5 is missing before this line", "12 entries were announced and 11 are here"}},
		{"an entry twice", func(f []byte) []byte {
			a := lines(f)
			return bytes.Join(append(a[:firstEntry+6:firstEntry+6], a[firstEntry+5:]...), nil)
		}, []string{"it does not belong here: entry 6 is due"}},
		{"the file cut in a line", func(f []byte) []byte { return f[:len(f)*2/3] }, []string{"the file breaks off in this line", "its signed end is missing"}},
		{"the end cut off", func(f []byte) []byte { a := lines(f); return bytes.Join(a[:len(a)-2], nil) }, []string{"its signed end is missing"}},
		{"the last entries cut off", func(f []byte) []byte {
			a := lines(f)
			return bytes.Join(append(a[:firstEntry+10:firstEntry+10], a[len(a)-2]), nil)
		}, []string{"entries are missing at the end: the head of 2026-12-02 02:11:00 UTC is of 12"}},
		{"something added", func(f []byte) []byte { return append(f, "{}\n"...) }, []string{"there is something after the signed end"}},
		{"nothing left", func([]byte) []byte { return nil }, []string{"the file is empty"}},
		{"another file", func([]byte) []byte { return []byte("name,price\nrail,4.50\n") }, []string{"this is no export"}},
		{"a head of another key", func(f []byte) []byte {
			h := must(l.keys().Open(l.heads[1]))
			forged := must(other.SignHead(h))
			return bytes.Replace(f, quote(l.heads[1]), quote(forged), 1)
		}, []string{"a head is not signed by the firm's key"}},
		{"a head that says another size", func(f []byte) []byte { return bytes.Replace(f, []byte(`\n8\n`), []byte(`\n9\n`), 1) },
			[]string{"a head is not signed by the firm's key"}},
		{"a long value exchanged for another", func(f []byte) []byte { return bytes.Replace(f, []byte("long long"), []byte("wrong one"), 1) },
			[]string{"decision by Dana Quill for job Q-1 on 2026-11-30 (entry 1, key", "its body was changed: it does not give the hash that the entry names"}},
		{"an entry changed with its hash", func(f []byte) []byte { return rewritten(f, lines(f)[firstEntry+6]) },
			[]string{"the entries 4 to 7 are not those whose head was signed at 2026-12-01 02:11:00 UTC"}},
		{"an entry changed with its hash, and the end signed anew by another key", func(f []byte) []byte {
			return reseal(lines(rewritten(f, lines(f)[firstEntry+6])))
		}, []string{"the entries 4 to 7 are not those", "the end is not signed by the firm's key"}},
	} {
		r := verify(t, c.do(l.export(t, "")), Trust{Keys: []string{l.key.Public()}})
		for _, want := range c.want {
			if !strings.Contains(said(r), want) {
				t.Errorf("%s: want %q in\n%s", c.name, want, said(r))
			}
		}
	}
	// A whole log made anew under another key is itself all right, and is refused
	// by whoever has the firm's key or kept a head.
	forged := newLog(t, 12, 12)
	forged.key = other
	forged.heads = []string{must(other.SignHead(Head{Origin: other.name, Size: 12, Root: forged.tree.Root(), At: night}))}
	file := forged.export(t, "")
	if r := verify(t, file, Trust{}); !r.Proven() || r.KeyGiven {
		t.Errorf("held against itself: %s", said(r))
	}
	for name, trust := range map[string]Trust{"the firm's key": {Keys: []string{l.key.Public()}}, "a head that was kept": {Heads: l.heads[1:2]}} {
		if r := verify(t, file, trust); r.Proven() {
			t.Errorf("with %s the forged log passes", name)
		}
	}
	// The same key, but another history: only the head that was kept tells.
	again := newLog(t, 13, 4, 8)
	again.entries[3], again.entries[4] = again.entries[4], again.entries[3]
	changed := newLog(t, 0)
	for _, text := range again.entries {
		changed.add(LeafHash(text))
	}
	h := Head{Origin: l.key.name, Size: 8, Root: changed.tree.Root(), At: night}
	r := verify(t, l.export(t, ""), Trust{Heads: []string{must(l.key.SignHead(h))}})
	if !strings.Contains(said(r), "the log was rewritten") {
		t.Errorf("another history: %s", said(r))
	}
	h.Size = 40
	r = verify(t, l.export(t, ""), Trust{Heads: []string{must(l.key.SignHead(h))}})
	if !strings.Contains(said(r), "the log was cut: the kept head of 2026-11-30 02:11:00 UTC counts 40 entries, this export 12") {
		t.Errorf("a shorter history: %s", said(r))
	}
}

func (l *aLog) keys() Keys { return must(ParseKeys(l.key.Public())) }

func hashBytes(b []byte) []byte { h := sum(b); return h[:] }

// quote writes a text as it stands in a line.
func quote(s string) []byte {
	return must(Canonical([]byte(`"` + strings.ReplaceAll(s, "\n", `\n`) + `"`)))
}

// rewritten changes a word of an entry and puts the hash right again.
func rewritten(file, line []byte) []byte {
	text, leaf, _, _ := splitEntry(bytes.TrimSuffix(line, []byte("\n")))
	other := bytes.Replace(text, []byte("number"), []byte("xumber"), 1)
	now := bytes.Replace(line, text, other, 1)
	now = bytes.Replace(now, []byte(leaf.String()), []byte(LeafHash(other).String()), 1)
	return bytes.Replace(file, line, now, 1)
}

func FuzzVerify(f *testing.F) {
	f.Add(newLog(f, 5, 2, 5).export(f, ""), 40, byte('x'))
	f.Add(newLog(f, 7, 3, 7).export(f, "Q-1"), 900, byte('\n'))
	f.Add([]byte("{\"export\":{}}\n{\"entry\":,\"leaf\":\"\"}\n"), 3, byte('"'))
	f.Fuzz(func(t *testing.T, file []byte, at int, to byte) {
		whole := verify(t, file, Trust{})
		if at < 0 || at >= len(file) || file[at] == to {
			return
		}
		changed := append([]byte(nil), file...)
		changed[at] = to
		if r := verify(t, changed, Trust{}); whole.Proven() && r.Proven() {
			t.Fatalf("byte %d changed from %q to %q is not found", at, file[at], to)
		}
		if r := verify(t, file[:at], Trust{}); r.Proven() {
			t.Fatalf("a file cut at %d is proven", at)
		}
	})
}
