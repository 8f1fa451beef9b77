package safety

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"hash"
)

// canonical writes a value as the bytes that are hashed and shown: JSON with
// struct fields in the order of their declaration, map keys sorted, numbers in
// their shortest form, no white space. The same value gives the same bytes, on
// any machine and after a turn through the database.
func canonical(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, fmt.Errorf("write the record: %w", err)
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}

// hashOf is the SHA-256 of the canonical bytes; the zero hash, which stands for
// "none" and never equals a stored one, when the value cannot be written. The
// bytes go into the sum as they are written: a decision hashes a whole
// assessment, and copies of it would be half of its time.
func hashOf(v any) Hash {
	w := summing{to: sha256.New()}
	e := json.NewEncoder(&w)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return Hash{}
	}
	return Hash(w.to.Sum(nil))
}

// summing hashes what is written but for the line feed with which an encoder
// ends.
type summing struct {
	to   hash.Hash
	held bool // a line feed is held back, in case more comes
}

func (s *summing) Write(b []byte) (int, error) {
	n := len(b)
	if s.held && n > 0 {
		s.to.Write([]byte{'\n'})
		s.held = false
	}
	if n > 0 && b[n-1] == '\n' {
		s.held, b = true, b[:n-1]
	}
	s.to.Write(b)
	return n, nil
}

// Hash is the SHA-256 of the snapshot's canonical bytes, kept beside the
// decision that was made on it.
func (s Snapshot) Hash() Hash { return hashOf(s) }
