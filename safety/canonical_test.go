package safety

import (
	"crypto/sha256"
	"testing"
)

// The hash is that of the very bytes that are stored and shown.
func TestTheHashIsOfTheCanonicalBytes(t *testing.T) {
	t.Parallel()
	w := clearMorning(t)
	for name, v := range map[string]any{"an assessment": w.Assessment.Body, "facts": w.Facts, "a snapshot": w.Snapshot, "a text that ends in a line feed": "a\n", "nothing": nil} {
		b, err := canonical(v)
		if err != nil || hashOf(v) != sha256.Sum256(b) {
			t.Errorf("%s: %s is not the hash of its bytes (%v)", name, hashOf(v), err)
		}
	}
	if hashOf(func() {}) != (Hash{}) {
		t.Error("what cannot be written has a hash")
	}
	s := summing{to: sha256.New()}
	for _, part := range []string{"a\n", "", "b\n", "\n"} {
		if n, err := s.Write([]byte(part)); n != len(part) || err != nil {
			t.Fatal(n, err)
		}
	}
	if Hash(s.to.Sum(nil)) != sha256.Sum256([]byte("a\nb\n")) {
		t.Error("line feeds in between are lost")
	}
}
