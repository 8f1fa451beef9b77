package ledger

import (
	"encoding/csv"
	"encoding/hex"
	"os"
	"strconv"
	"strings"
	"testing"
)

// The values in testdata are published: see testdata/SOURCE.md.

func published(t *testing.T, file string, least int) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows)-1 < least {
		t.Fatalf("%s has only %d rows", file, len(rows)-1)
	}
	return rows[1:]
}

func aHash(t *testing.T, s string) Hash {
	t.Helper()
	h, ok := parseHash([]byte(s))
	if !ok {
		t.Fatalf("%q is no hash", s)
	}
	return h
}

func hashes(t *testing.T, s, between string) []Hash {
	t.Helper()
	var all []Hash
	for _, one := range strings.Split(s, between) {
		if one != "" {
			all = append(all, aHash(t, one))
		}
	}
	return all
}

// kept is a tree kept in memory as the database keeps it.
type kept struct {
	tree   Tree
	hashes [][]Hash
}

func (k *kept) add(leaf Hash) { k.hashes = append(k.hashes, k.tree.Add(leaf)) }

func (k *kept) stored(places []Place) ([]Hash, error) {
	var all []Hash
	for _, p := range places {
		all = append(all, k.hashes[p.Entry()][p.Level])
	}
	return all, nil
}

func TestPublishedLeafAndNodeHashes(t *testing.T) {
	t.Parallel()
	for _, r := range published(t, "merkle_hasher.csv", 4) {
		var got Hash
		switch r[0] {
		case "leaf":
			got = LeafHash([]byte("L123456"))
		case "empty_leaf":
			got = LeafHash(nil)
		case "empty_tree":
			var none Tree
			got = none.Root()
		case "node": // SHA-256(0x01 || left || right) of two texts that are no hashes
			got = sum([]byte("\x01N123N456"))
		default:
			t.Fatalf("unknown row %q", r)
		}
		if got != aHash(t, r[2]) {
			t.Errorf("%s: %s, published %s", r[0], got, r[2])
		}
	}
}

func TestPublishedRoots(t *testing.T) {
	t.Parallel()
	for _, r := range published(t, "merkle_roots.csv", 9) {
		size, err := strconv.Atoi(r[0])
		if err != nil {
			t.Fatal(err)
		}
		k := &kept{}
		leaves := strings.Split(strings.ReplaceAll(r[1], "(empty)", ""), "|")
		for i := range size {
			leaf, err := hex.DecodeString(leaves[i])
			if err != nil {
				t.Fatal(err)
			}
			h := LeafHash(leaf)
			grown, err := Grow(int64(i), h, k.stored)
			if err != nil {
				t.Fatal(err)
			}
			k.add(h)
			if len(grown) != len(k.hashes[i]) || grown[len(grown)-1] != k.hashes[i][len(grown)-1] {
				t.Errorf("entry %d: what Grow reads and what Tree keeps differ", i)
			}
		}
		again, err := Root(int64(size), k.stored)
		if err != nil {
			t.Fatal(err)
		}
		if want := aHash(t, r[2]); k.tree.Root() != want || again != want {
			t.Errorf("%d leaves: %s and %s, published %s", size, k.tree.Root(), again, want)
		}
	}
}

// Each published proof holds, and with any bit of it, of the leaf or of a root
// changed, or for another place, it does not.
func TestPublishedProofs(t *testing.T) {
	t.Parallel()
	leaves := [][]byte{{}, {0x00}, {0x10}, {0x20, 0x21}, {0x30, 0x31}, {0x40, 0x41, 0x42, 0x43}, {0x50, 0x51, 0x52, 0x53, 0x54, 0x55, 0x56, 0x57},
		{0x60, 0x61, 0x62, 0x63, 0x64, 0x65, 0x66, 0x67, 0x68, 0x69, 0x6a, 0x6b, 0x6c, 0x6d, 0x6e, 0x6f}}
	k := &kept{}
	for _, l := range leaves {
		k.add(LeafHash(l))
	}
	seen := map[string]int{}
	for _, r := range published(t, "merkle_proofs.csv", 10) {
		a, _ := strconv.ParseInt(r[1], 10, 64)
		b, _ := strconv.ParseInt(r[2], 10, 64)
		root, proof := aHash(t, r[4]), hashes(t, r[5], "|")
		seen[r[0]]++
		var made []Hash
		var err error
		var check func([]Hash, Hash) bool
		if r[0] == "inclusion" {
			made, err = ProveEntry(b, a, k.stored)
			check = func(p []Hash, root Hash) bool { return CheckEntry(p, b, root, a, LeafHash(leaves[a])) }
			if CheckEntry(proof, b, root, a, LeafHash([]byte("other"))) || b > 1 && CheckEntry(proof, b, root, (a+1)%b, LeafHash(leaves[a])) {
				t.Errorf("%v holds for another leaf or place", r[:3])
			}
		} else {
			old := aHash(t, r[3])
			made, err = ProveGrowth(b, a, k.stored)
			check = func(p []Hash, root Hash) bool { return CheckGrowth(p, b, root, a, old) }
			if a != b {
				old[0] ^= 1
				if check(proof, root) {
					t.Errorf("%v holds for another old root", r[:3])
				}
				old[0] ^= 1
			}
		}
		if err != nil || !check(proof, root) || !check(made, root) {
			t.Errorf("%v does not hold (%v)", r[:3], err)
		}
		if len(made) != len(proof) {
			t.Errorf("%v: %d hashes, published %d", r[:3], len(made), len(proof))
		}
		root[31] ^= 1
		if check(proof, root) {
			t.Errorf("%v holds for another root", r[:3])
		}
		root[31] ^= 1
		for i := range proof {
			proof[i][7] ^= 1
			if check(proof, root) {
				t.Errorf("%v holds with another hash %d", r[:3], i)
			}
			proof[i][7] ^= 1
		}
	}
	if seen["inclusion"] < 5 || seen["consistency"] < 4 {
		t.Errorf("too few published proofs: %v", seen)
	}
}
