package safety

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
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
// "none" and never equals a stored one, when the value cannot be written.
func hashOf(v any) Hash {
	b, err := canonical(v)
	if err != nil {
		return Hash{}
	}
	return sha256.Sum256(b)
}

// Hash is the SHA-256 of the snapshot's canonical bytes, kept beside the
// decision that was made on it.
func (s Snapshot) Hash() Hash { return hashOf(s) }
