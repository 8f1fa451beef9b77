package localpg

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
)

// postmaster is what a running server wrote into its postmaster.pid: see
// "miscadmin.h" in PostgreSQL's source for the meaning of the lines.
type postmaster struct {
	pid    int
	start  string // line 3: start time, seconds since 1970
	port   string // line 4
	socket string // line 5
	status string // line 8: starting, ready, stopping, standby
}

func (p postmaster) identity() string { return strconv.Itoa(p.pid) + " " + p.start }

func (f *folder) postmaster() (postmaster, error) {
	file, err := os.Open(filepath.Join(f.data(), "postmaster.pid"))
	if err != nil {
		return postmaster{}, err
	}
	defer file.Close()
	var lines [8]string
	in := bufio.NewScanner(file)
	for i := 0; i < len(lines) && in.Scan(); i++ {
		lines[i] = strings.TrimSpace(in.Text())
	}
	pid, err := strconv.Atoi(lines[0])
	if err != nil || pid <= 1 {
		return postmaster{}, fmt.Errorf("no process number in %s", file.Name())
	}
	return postmaster{pid: pid, start: lines[2], port: lines[3], socket: lines[4], status: lines[7]}, nil
}

// record notes which server this folder's owner started, so that a later
// owner can tell an orphan of ours from somebody else's server.
func (f *folder) record(pid int) error {
	p, err := f.postmaster()
	if err != nil {
		return f.cannot("read postmaster.pid", err)
	}
	if p.pid != pid {
		return fmt.Errorf("%w: %s is run by the PostgreSQL with process number %d", ErrBusy, f.data(), p.pid)
	}
	if err := writeWhole(filepath.Join(f.dir, "server"), p.identity()+"\n"); err != nil {
		return f.cannot("note the server's process number", err)
	}
	return nil
}

// stopOrphan makes the data folder free: it shuts down a server whose owner
// was killed, and clears a pid file that points at nothing. The caller holds
// the folder's lock, so no other owner lives.
func (f *folder) stopOrphan(ctx context.Context, o Options) error {
	p, err := f.postmaster()
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		// Unreadable or empty (a disk that was full): PostgreSQL's own check
		// of the file says what to do about it.
		return nil
	}
	defer f.removeSocketFolder(p.socket)
	is := f.whoIs(ctx, p)
	for until := time.Now().Add(15 * time.Second); is == leaving && ctx.Err() == nil; is = f.whoIs(ctx, p) {
		if time.Now().After(until) {
			return fmt.Errorf("%w: the PostgreSQL of %s was killed and processes of it do not end: end them by hand and start again", ErrBusy, f.data())
		}
		time.Sleep(25 * time.Millisecond)
	}
	switch is {
	case nobody:
		// Not a process at all, or surely another program that was given the
		// same number. PostgreSQL would refuse the latter, so clear the file.
		return f.clearPidFile(p)
	case cannotTell, leaving:
		return nil // PostgreSQL's own check decides, and explain words it
	}
	noted, _ := os.ReadFile(filepath.Join(f.dir, "server"))
	if strings.TrimSpace(string(noted)) != p.identity() {
		return fmt.Errorf("%w: %s is run by a PostgreSQL with process number %d that this program did not start: stop it with pg_ctl stop -D %s and start again",
			ErrBusy, f.data(), p.pid, f.data())
	}
	say(o.Log, "a PostgreSQL (process %d) was left running in %s by a program that was killed: stopping it first", p.pid, f.dir)
	return f.stopProcess(ctx, p)
}

// stopProcess asks an orphan to shut down, then insists.
func (f *folder) stopProcess(ctx context.Context, p postmaster) error {
	process, err := os.FindProcess(p.pid)
	if err != nil {
		return fmt.Errorf("the PostgreSQL left running with process number %d: %w", p.pid, err)
	}
	for _, step := range []struct {
		how  shutdown
		wait time.Duration
	}{{fast, 20 * time.Second}, {immediate, 5 * time.Second}} {
		if err := signalServer(process, step.how); err != nil && !errors.Is(err, os.ErrProcessDone) {
			return fmt.Errorf("the PostgreSQL left running in %s with process number %d cannot be stopped: %w", f.dir, p.pid, err)
		}
		until := time.Now().Add(step.wait)
		for time.Now().Before(until) && ctx.Err() == nil {
			if now, err := f.postmaster(); err != nil || now.pid != p.pid {
				return nil
			}
			if f.whoIs(ctx, p) == nobody {
				return f.clearPidFile(p)
			}
			time.Sleep(25 * time.Millisecond)
		}
	}
	return fmt.Errorf("the PostgreSQL left running in %s with process number %d does not stop: end it by hand and start again", f.dir, p.pid)
}

// clearPidFile removes a pid file that is known to point at no server of this
// folder, unless it changed meanwhile.
func (f *folder) clearPidFile(p postmaster) error {
	if now, err := f.postmaster(); err != nil || now.identity() != p.identity() {
		return nil
	}
	err := os.Remove(filepath.Join(f.data(), "postmaster.pid"))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return f.cannot("clear a stale postmaster.pid", err)
	}
	return nil
}

// who tells what the process in a pid file is.
type who int

const (
	cannotTell who = iota
	nobody         // no server of this folder
	leaving        // a killed server of this folder whose last processes are ending
	serving        // a server of this folder
)

// askServer tells a live server of this folder by logging in with the
// folder's password: the fallback where the system's process table cannot be
// read. Passwords are checked both ways, so a stranger on the port cannot
// pretend.
func (f *folder) askServer(ctx context.Context, p postmaster) who {
	text, err := os.ReadFile(filepath.Join(f.dir, "password"))
	if err != nil {
		return cannotTell
	}
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	conn, err := pgx.Connect(ctx, address("127.0.0.1:"+p.port, strings.TrimSpace(string(text)), "postgres"))
	if err != nil {
		return cannotTell
	}
	defer conn.Close(ctx)
	var data string
	if err := conn.QueryRow(ctx, `select current_setting('data_directory')`).Scan(&data); err != nil {
		return cannotTell
	}
	if sameFolder(data, f.data()) {
		return serving
	}
	return nobody
}

func sameFolder(a, b string) bool {
	x, err := os.Stat(a)
	if err != nil {
		return false
	}
	y, err := os.Stat(b)
	return err == nil && os.SameFile(x, y)
}
