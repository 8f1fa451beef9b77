package localpg

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"
)

// cannot turns a file system's refusal into one sentence that names the
// folder and the remedy.
func (f *folder) cannot(what string, err error) error {
	switch {
	case isDiskFull(err):
		return fmt.Errorf("cannot %s: the disk that holds %s is full: make room and start again (%w)", what, f.dir, err)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("cannot %s: this user may not write in %s: give another folder or mend its owner (%w)", what, f.dir, err)
	}
	return fmt.Errorf("cannot %s in %s: %w", what, f.dir, err)
}

// explain reads the log of a server that stopped while starting and says in
// one sentence what was wrong.
func (f *folder) explain(bin Binaries) error {
	text, err := os.ReadFile(f.logFile())
	if err != nil {
		return f.cannot("read the server's log", err)
	}
	return f.sentence("PostgreSQL did not start", string(text), bin)
}

// sentence finds the known causes in what PostgreSQL's programs wrote. Their
// messages are English because cleanEnvironment and lc_messages say so.
func (f *folder) sentence(what, text string, bin Binaries) error {
	has := func(s string) bool { return strings.Contains(text, s) }
	switch {
	case has("No space left on device"), has("Check free disk space"), has("not enough space"):
		return fmt.Errorf("%s: the disk that holds %s is full: make room and start again", what, f.dir)
	case has("Address already in use"), has("could not bind"):
		return &tryAgain{err: fmt.Errorf("%s: its port on 127.0.0.1 was taken meanwhile", what), after: 10 * time.Millisecond}
	case has("pre-existing shared memory block"):
		return &tryAgain{err: fmt.Errorf("%s: processes of a killed server are still using %s", what, f.data()), after: time.Second}
	case has(`"postmaster.pid" already exists`):
		return fmt.Errorf("%s: %w: %s/postmaster.pid names a running process: if that is a PostgreSQL server stop it with pg_ctl stop -D %s, else delete the file",
			what, ErrBusy, f.data(), f.data())
	case has("database files are incompatible with server"):
		return fmt.Errorf("%s: the data folder %s was made by another version than PostgreSQL %s: %s",
			what, f.data(), bin.Version, firstLine(text, "DETAIL:"))
	case has("has invalid permissions"):
		return fmt.Errorf("%s: others may enter %s, which PostgreSQL refuses: chmod 700 it", what, f.data())
	case has("has wrong ownership"), has("Permission denied"):
		return fmt.Errorf("%s: %s may not use %s: %s", what, f.user, f.dir, firstLine(text, "FATAL:", "could not"))
	case has("could not locate a valid checkpoint record"), has("invalid checkpoint record"):
		return fmt.Errorf("%s: the data in %s is damaged: restore a backup, or move the folder away to begin with an empty one", what, f.data())
	}
	line := firstLine(text, "PANIC:", "FATAL:", "error:")
	if line == "" && noRoom(f.dir) {
		// A full disk also swallows the log that would have said so.
		return fmt.Errorf("%s: the disk that holds %s is full: make room and start again", what, f.dir)
	}
	if line == "" {
		line = "it gave no reason"
	}
	return fmt.Errorf("%s in %s: %s (more in %s)", what, f.dir, line, f.logFile())
}

// firstLine gives the rest of the first line that holds one of the marks,
// trying the marks in order.
func firstLine(text string, marks ...string) string {
	for _, mark := range marks {
		for line := range strings.Lines(text) {
			if _, rest, ok := strings.Cut(line, mark); ok {
				return strings.TrimSpace(strings.TrimSuffix(mark, ":") + ": " + strings.TrimSpace(rest))
			}
		}
	}
	return ""
}
