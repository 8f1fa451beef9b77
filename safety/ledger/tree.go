package ledger

import (
	"encoding/hex"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// Hash is a SHA-256 sum of the tree: of a leaf, a node or a root. It is written
// in hexadecimal wherever a person or a program reads it, but for signed heads,
// whose open form wants base64.
type Hash [32]byte

// String writes all 64 hexadecimal digits.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// MarshalText writes the hash in hexadecimal.
func (h Hash) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// UnmarshalText reads 64 lower-case hexadecimal digits and nothing else.
func (h *Hash) UnmarshalText(b []byte) error {
	got, ok := parseHash(b)
	if !ok {
		return fmt.Errorf("a hash is 64 lower-case hexadecimal digits, not %.70q", b)
	}
	*h = got
	return nil
}

func parseHash(b []byte) (h Hash, ok bool) {
	if len(b) != 64 {
		return h, false
	}
	for _, c := range b {
		if (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return h, false
		}
	}
	_, err := hex.Decode(h[:], b)
	return h, err == nil
}

// LeafHash is the hash of one entry's bytes: SHA-256(0x00 || bytes), RFC 6962
// and RFC 9162 section 2.1.
func LeafHash(entry []byte) Hash { return Hash(tlog.RecordHash(entry)) }

// Tree is a Merkle tree that only grows: it keeps the hashes of the full
// subtrees on its right edge, so that its root is known at each size with a few
// dozen hashes in memory. The zero value is the empty tree.
type Tree struct {
	size int64
	edge []tlog.Hash // of full subtrees, the largest first
}

// Size is the number of entries.
func (t *Tree) Size() int64 { return t.size }

// Add appends one entry and gives the hashes that became final by it: the
// leaf's own and those of the subtrees that it fills, from the leaf upwards.
func (t *Tree) Add(leaf Hash) []Hash {
	h := tlog.Hash(leaf)
	final := []Hash{leaf}
	for n := t.size; n&1 == 1; n >>= 1 {
		h = tlog.NodeHash(t.edge[len(t.edge)-1], h)
		t.edge = t.edge[:len(t.edge)-1]
		final = append(final, Hash(h))
	}
	t.edge = append(t.edge, h)
	t.size++
	return final
}

// Root is the root hash of the tree as it is now. The empty tree's is the hash
// of nothing.
func (t *Tree) Root() Hash {
	if t.size == 0 {
		root, _ := tlog.TreeHash(0, nil) // reads nothing
		return Hash(root)
	}
	h := t.edge[len(t.edge)-1]
	for i := len(t.edge) - 2; i >= 0; i-- {
		h = tlog.NodeHash(t.edge[i], h)
	}
	return Hash(h)
}

// Stored reads hashes of a tree that is kept somewhere. The place of a hash is
// its level (0 = leaves) and its number on that level.
type Stored func(places []Place) ([]Hash, error)

// Place is where a hash stands in a tree.
type Place struct {
	Level int
	N     int64
}

// Entry tells with which entry the hash at a place became final.
func (p Place) Entry() int64 { return (p.N+1)<<p.Level - 1 }

func (s Stored) reader() tlog.HashReader {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		places := make([]Place, len(indexes))
		for i, x := range indexes {
			places[i].Level, places[i].N = tlog.SplitStoredHashIndex(x)
		}
		got, err := s(places)
		if err != nil {
			return nil, err
		}
		if len(got) != len(places) {
			return nil, fmt.Errorf("%d hashes of the tree are missing", len(places)-len(got))
		}
		all := make([]tlog.Hash, len(got))
		for i, h := range got {
			all[i] = tlog.Hash(h)
		}
		return all, nil
	})
}

// Grow gives the hashes that become final when a leaf is appended as entry n:
// the leaf's own and those of the subtrees that it fills, from the leaf upwards.
func Grow(n int64, leaf Hash, stored Stored) ([]Hash, error) {
	got, err := tlog.StoredHashesForRecordHash(n, tlog.Hash(leaf), stored.reader())
	return ours(got), err
}

// Root gives the root of the tree of the first size entries.
func Root(size int64, stored Stored) (Hash, error) {
	h, err := tlog.TreeHash(size, stored.reader())
	return Hash(h), err
}

// ProveEntry gives the inclusion proof of entry n in the tree of the first size
// entries (RFC 9162 section 2.1.3).
func ProveEntry(size, n int64, stored Stored) ([]Hash, error) {
	p, err := tlog.ProveRecord(size, n, stored.reader())
	return ours(p), err
}

// ProveGrowth gives the consistency proof that the tree of the first size
// entries begins with the tree of the first old ones (RFC 9162 section 2.1.4).
// The empty tree begins every tree and needs none.
func ProveGrowth(size, old int64, stored Stored) ([]Hash, error) {
	if old == 0 {
		return nil, nil
	}
	p, err := tlog.ProveTree(size, old, stored.reader())
	return ours(p), err
}

// CheckEntry tells whether a proof shows that leaf is entry n of the tree of
// size entries with this root.
func CheckEntry(proof []Hash, size int64, root Hash, n int64, leaf Hash) bool {
	return size > 0 && n >= 0 && n < size && tlog.CheckRecord(theirs(proof), size, tlog.Hash(root), n, tlog.Hash(leaf)) == nil
}

// CheckGrowth tells whether a proof shows that the tree of size entries begins
// with the tree of old entries.
func CheckGrowth(proof []Hash, size int64, root Hash, old int64, oldRoot Hash) bool {
	if old == 0 {
		var empty Tree
		return len(proof) == 0 && oldRoot == empty.Root()
	}
	return size > 0 && old > 0 && old <= size && tlog.CheckTree(theirs(proof), size, tlog.Hash(root), old, tlog.Hash(oldRoot)) == nil
}

func ours(all []tlog.Hash) []Hash {
	got := make([]Hash, len(all))
	for i, h := range all {
		got[i] = Hash(h)
	}
	return got
}

func theirs(all []Hash) []tlog.Hash {
	got := make([]tlog.Hash, len(all))
	for i, h := range all {
		got[i] = tlog.Hash(h)
	}
	return got
}
