package localpg

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
)

// serversOf gives the living processes named postgres that stand in the data
// folder, as all of a server's processes do. ok is false when the process
// table does not let itself be read.
func serversOf(data string) (pids []int, ok bool) {
	want, err := os.Stat(data)
	if err != nil {
		return nil, false
	}
	entries, err := os.ReadDir("/proc")
	if err != nil {
		return nil, false
	}
	for _, e := range entries {
		pid, err := strconv.Atoi(e.Name())
		if err != nil {
			continue
		}
		proc := filepath.Join("/proc", e.Name())
		stat, err := os.ReadFile(filepath.Join(proc, "stat"))
		if err != nil {
			continue // gone meanwhile
		}
		// "12 (postgres) S ...": a Z is dead, only not yet waited for.
		name, state, found := bytes.Cut(stat, []byte(") "))
		if !found || !bytes.HasSuffix(name, []byte("(postgres")) || bytes.HasPrefix(state, []byte("Z")) {
			continue
		}
		// A server owns its data folder, so another user's is not this one.
		if info, err := os.Stat(proc); err != nil || ownerOf(info) != ownerOf(want) {
			continue
		}
		there, err := os.Stat(filepath.Join(proc, "cwd"))
		switch {
		case errors.Is(err, fs.ErrPermission):
			return nil, false // root in a container may not look everywhere
		case err == nil && os.SameFile(there, want):
			pids = append(pids, pid)
		}
	}
	return pids, true
}
