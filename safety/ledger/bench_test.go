package ledger

import (
	"bytes"
	"testing"
)

func BenchmarkReadOne(b *testing.B) {
	l := newLog(b, 1, 1)
	line := append([]byte(entryStart), l.entries[0]...)
	line = append(line, leafStart...)
	line = append(line, l.hashes[0][0].String()...)
	line = append(line, `"}`...)
	b.SetBytes(int64(len(line)))
	b.ReportAllocs()
	for b.Loop() {
		if r := readOne(line); r.wrong != "" {
			b.Fatal(r.wrong)
		}
	}
}

func BenchmarkLeaf(b *testing.B) {
	line := bytes.Repeat([]byte("x"), 1000)
	b.SetBytes(1000)
	for b.Loop() {
		LeafHash(line)
	}
}
