// Package ledger is the tamper-evident log of safety records: what an entry is,
// the Merkle tree over a firm's entries (RFC 6962, RFC 9162), its signed heads
// (C2SP tlog-checkpoint and signed-note), the open file in which a record goes
// out of the house, and the verifier that proves such a file with no server and
// no database. It takes data and gives data back: keeping the log is the store's
// work.
package ledger

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// Entry is one record as the log keeps it. Its canonical bytes (RFC 8785) are
// the leaf of the tree.
type Entry struct {
	Beside map[string]Beside `json:"beside,omitempty"` // columns that are too long for an entry, by their hash
	Day    string            `json:"day,omitempty"`    // the working day it is about, ISO; "" = of no one day
	Firm   string            `json:"firm"`             // the firm's identifier
	Job    string            `json:"job,omitempty"`    // the job's identifier; "" = of no one job
	JobRef string            `json:"job_ref,omitempty"`
	Key    string            `json:"key"`              // what identifies the record within its kind
	Kind   string            `json:"kind"`             // the table that holds the record
	People map[string]string `json:"people,omitempty"` // the names, as they were then, of the people it names by identifier
	Record jsontext.Value    `json:"record"`           // every other column as it was stored
	Salt   string            `json:"salt"`             // 32 hexadecimal digits by chance: when an entry's text must go one day, its hash tells nothing of it
	Seq    int64             `json:"seq"`              // from 0, without a gap
}

// Beside is the hash of a value that is kept beside the entry.
type Beside struct {
	Bytes  int64 `json:"bytes"`
	SHA256 Hash  `json:"sha256"` // of the value's canonical JSON, or of the bytes themselves
}

// Bytes are the entry's canonical bytes.
func (e Entry) Bytes() ([]byte, error) {
	if salt, err := hex.DecodeString(e.Salt); err != nil || len(salt) != 16 {
		return nil, errors.New("an entry carries a salt of 32 hexadecimal digits")
	}
	text, err := json.Marshal(e)
	if err != nil {
		return nil, fmt.Errorf("write entry %d: %w", e.Seq, err)
	}
	return Canonical(text)
}

// ParseEntry reads an entry's bytes. Anything but one object with the members
// of Entry is an error.
func ParseEntry(text []byte) (Entry, error) {
	var e Entry
	if err := json.Unmarshal(text, &e, json.RejectUnknownMembers(true)); err != nil {
		return Entry{}, fmt.Errorf("read an entry: %w", err)
	}
	return e, nil
}

// entryFacts are an entry without its record: what the verifier follows. They
// are read as strictly as an Entry, without keeping what is only hashed.
type entryFacts struct {
	Beside map[string]Beside `json:"beside"`
	Day    string            `json:"day"`
	Firm   string            `json:"firm"`
	Job    skipped           `json:"job"`
	JobRef string            `json:"job_ref"`
	Key    string            `json:"key"`
	Kind   string            `json:"kind"`
	People map[string]string `json:"people"`
	Record skipped           `json:"record"`
	Salt   skipped           `json:"salt"`
	Seq    int64             `json:"seq"`
}

type skipped struct{}

// UnmarshalJSONFrom reads a value, and so finds whether it is one.
func (*skipped) UnmarshalJSONFrom(d *jsontext.Decoder) error { return d.SkipValue() }

var strictly = json.JoinOptions(json.RejectUnknownMembers(true))

func (f *entryFacts) read(text []byte) error {
	if err := json.Unmarshal(text, f, strictly); err != nil {
		return fmt.Errorf("read an entry: %w", err)
	}
	return nil
}

func (f entryFacts) whole() Entry {
	return Entry{Day: f.Day, JobRef: f.JobRef, Key: f.Key, Kind: f.Kind, People: f.People, Seq: f.Seq}
}

// Name says which record the entry is, for a person: "signature of Dana Quill
// for job Q-1041 on 2026-11-30 (entry 12)".
func (e Entry) Name() string {
	name := Words(e.Kind)
	if who := e.Who(); who != "" {
		name += " by " + who
	}
	if e.JobRef != "" {
		name += " for job " + e.JobRef
	}
	if e.Day != "" {
		name += " on " + e.Day
	}
	return fmt.Sprintf("%s (entry %d, key %s)", name, e.Seq, e.Key)
}

// whoWrote are the columns that say who made a record, by identifier or by name,
// in the order in which they are asked.
var whoWrote = []string{"by_person_id", "set_by_person_id", "person_id", "recorded_by", "given_by", "removed_by", "made_by", "set_by", "received_by"}

// Who is the person who made the record; where it does not say, the one person
// it names; "" where it names none or several.
func (e Entry) Who() string {
	var columns map[string]jsontext.Value
	if len(e.Record) > 0 && json.Unmarshal(e.Record, &columns) == nil {
		for _, c := range whoWrote {
			var said string
			if columns[c] == nil || json.Unmarshal(columns[c], &said) != nil || said == "" {
				continue
			}
			if name := e.People[said]; name != "" || strings.HasSuffix(c, "_id") {
				return name
			}
			return said
		}
	}
	if len(e.People) != 1 {
		return ""
	}
	for _, name := range e.People {
		return name
	}
	return ""
}

// longest is how many bytes of canonical JSON, or of a value of bytes, a column
// may have to stand in the entry itself.
const longest = 2048

// Take puts a row of the database into the entry: every column but firm_id, the
// long ones by their hash. What they hash to is given beside, in the form in
// which an export carries it. row is the row as one JSON object.
func (e *Entry) Take(row []byte) ([]Value, error) {
	columns := map[string]jsontext.Value{}
	if err := json.Unmarshal(row, &columns); err != nil {
		return nil, fmt.Errorf("read the row of a record: %w", err)
	}
	delete(columns, "firm_id")
	var long []Value
	e.Beside = nil
	for name, text := range columns {
		canonical, err := Canonical(text)
		if err != nil {
			return nil, fmt.Errorf("column %s: %w", name, err)
		}
		columns[name] = canonical
		if len(canonical) <= longest {
			continue
		}
		v := valueOf(canonical)
		if e.Beside == nil {
			e.Beside = map[string]Beside{}
		}
		e.Beside[name] = v.Beside()
		long = append(long, v)
		delete(columns, name)
	}
	record, err := json.Marshal(columns)
	if err != nil {
		return nil, fmt.Errorf("write a record: %w", err)
	}
	e.Record, err = Canonical(record)
	return long, err
}

// Value is a long column: canonical JSON, or bytes such as a photo's.
type Value struct {
	JSON jsontext.Value
	Raw  []byte // when the column holds bytes; JSON is then nil
}

// valueOf tells bytes, which the database writes as a text of \x and
// hexadecimal digits, from everything else.
func valueOf(canonical []byte) Value {
	if digits, ok := bytes.CutPrefix(canonical, []byte(`"\\x`)); ok {
		if raw, err := hex.DecodeString(string(bytes.TrimSuffix(digits, []byte(`"`)))); err == nil {
			return Value{Raw: raw}
		}
	}
	return Value{JSON: canonical}
}

// content is what is hashed.
func (v Value) content() []byte {
	if v.JSON != nil {
		return v.JSON
	}
	return v.Raw
}

// Beside gives the value's length and hash.
func (v Value) Beside() Beside {
	return Beside{Bytes: int64(len(v.content())), SHA256: sum(v.content())}
}

func newReader(b []byte) io.Reader { return bytes.NewReader(b) }

func isEnd(err error) bool { return errors.Is(err, io.EOF) }

// PersonIDs lists the identifiers of the people that the record names: the
// columns whose name ends in person_id, in their order.
func (e Entry) PersonIDs() []string {
	columns := map[string]jsontext.Value{}
	if err := json.Unmarshal(e.Record, &columns); err != nil {
		return nil
	}
	var ids []string
	for name, text := range columns {
		var id string
		if strings.HasSuffix(name, "person_id") && json.Unmarshal(text, &id) == nil && id != "" {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	return slices.Compact(ids)
}
