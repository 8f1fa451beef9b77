package ledger

import (
	"bufio"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// Form names the file that an export is: lines of canonical JSON (RFC 8785),
// each ended by a line feed. The first says what it is of; then come the signed
// heads, the entries, the long values beside them, and a signed end.
const Form = "toeboard-record-1"

// About is the first line of an export.
type About struct {
	Day      string    `json:"day,omitempty"` // when only the entries of one working day are in it
	Entries  int64     `json:"entries"`       // how many there are here
	Firm     string    `json:"firm"`
	FirmName string    `json:"firm_name"`
	Form     string    `json:"form"`
	JobRef   string    `json:"job_ref,omitempty"` // when only one job's entries are in it
	Keys     []string  `json:"keys"`              // the firm's public keys, the newest last
	MadeAt   time.Time `json:"made_at"`           // UTC
	Size     int64     `json:"size"`              // of the whole log, by its newest head
	Whole    bool      `json:"whole"`             // every entry of the log is here
}

// The lines, by their first member. Each is one JSON object.
type (
	aboutLine struct {
		Export About `json:"export"`
	}
	headLine struct {
		Head  string `json:"head"`            // as it was signed
		Since []Hash `json:"since,omitempty"` // that this tree begins with that of the head before
	}
	entryLine struct {
		Entry jsontext.Value `json:"entry"`
		Leaf  Hash           `json:"leaf"`
		Proof []Hash         `json:"proof,omitempty"` // that it is in the newest head's tree; none in a whole export, which shows the tree itself
	}
	valueLine struct {
		Beside Hash           `json:"beside"`
		JSON   jsontext.Value `json:"json,omitempty"`
		Raw    []byte         `json:"raw,omitempty"` // base64
	}
	endLine struct {
		End string `json:"end"` // signed: the hash of all lines before
	}
)

// Writer writes an export. Its first error stays, and End gives it.
type Writer struct {
	out  *bufio.Writer
	hash hash.Hash
	key  *Key
	have map[Hash]bool // long values that are written
	err  error
}

// NewWriter begins an export of what about says, to be signed by key.
func NewWriter(out io.Writer, key *Key, about About) *Writer {
	w := &Writer{out: bufio.NewWriterSize(out, 1<<16), hash: sha256.New(), key: key, have: map[Hash]bool{}}
	about.Form = Form
	w.line(aboutLine{about})
	return w
}

// Head writes a signed head; since proves that its tree begins with that of the
// head written before.
func (w *Writer) Head(signed string, since []Hash) { w.line(headLine{signed, since}) }

// Entry writes an entry's canonical bytes with its leaf and, where not the whole
// log is written, the proof that it is in the tree of the newest head.
func (w *Writer) Entry(entry []byte, leaf Hash, proof []Hash) {
	if proof == nil { // the one shape there are many of, so without a turn through JSON
		w.write([]byte(entryStart))
		w.write(entry)
		w.write([]byte(leafStart))
		w.write([]byte(leaf.String()))
		w.write([]byte("\"}\n"))
		return
	}
	w.line(entryLine{entry, leaf, proof})
}

// Value writes a long value beside the entries, each once.
func (w *Writer) Value(v Value) {
	if h := v.Beside().SHA256; !w.have[h] {
		w.have[h] = true
		w.line(valueLine{h, v.JSON, v.Raw})
	}
}

// End signs what was written.
func (w *Writer) End() error {
	if w.err != nil {
		return w.err
	}
	signed, err := w.key.signText(endText(w.key.name, w.hash.Sum(nil)))
	if err != nil {
		return err
	}
	w.line(endLine{signed})
	return errors.Join(w.err, w.out.Flush())
}

// endText is what the end of an export signs.
func endText(origin string, sum []byte) string {
	return fmt.Sprintf("%s\nexport\nsha256 %x\n", origin, sum)
}

func (w *Writer) line(v any) {
	text, err := json.Marshal(v)
	if err == nil {
		text, err = Canonical(text)
	}
	if err != nil && w.err == nil {
		w.err = fmt.Errorf("write the export: %w", err)
	}
	w.write(append(text, '\n'))
}

func (w *Writer) write(b []byte) {
	if w.err == nil {
		w.hash.Write(b)
		_, w.err = w.out.Write(b)
	}
}
