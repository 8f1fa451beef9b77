package localpg

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"
)

// folder is a private server's folder, held by this process.
type folder struct {
	dir  string
	lock *folderLock
	user serverUser // who the server runs as
}

func (f *folder) data() string    { return filepath.Join(f.dir, "data") }
func (f *folder) logFile() string { return filepath.Join(f.dir, "log") }

// DefaultDir is where the private server's folder stands unless told
// otherwise: toeboard/postgres in the user's data folder (XDG_DATA_HOME, else
// ~/.local/share; %LocalAppData% on Windows). For root it is
// /var/lib/toeboard/postgres, since the server runs as somebody who may not
// enter root's home.
func DefaultDir() (string, error) {
	if home := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(home) {
		return filepath.Join(home, "toeboard", "postgres"), nil
	}
	if isRoot() {
		return "/var/lib/toeboard/postgres", nil
	}
	if runtime.GOOS == "windows" {
		if local := os.Getenv("LocalAppData"); local != "" {
			return filepath.Join(local, "toeboard", "postgres"), nil
		}
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("no home folder to keep the private PostgreSQL in: set XDG_DATA_HOME (%w)", err)
	}
	return filepath.Join(home, ".local", "share", "toeboard", "postgres"), nil
}

const scratchPrefix = "toeboard-scratch-"

// openFolder makes the folder if need be and takes its lock, or the next free
// one's.
func openFolder(o Options) (*folder, error) {
	dir := o.Dir
	switch {
	case o.Scratch && dir == "":
		removeOldScratch(os.TempDir())
		made, err := os.MkdirTemp("", scratchPrefix)
		if err != nil {
			return nil, fmt.Errorf("no temporary folder for a private PostgreSQL: %w", err)
		}
		dir = made
	case o.Scratch:
		if _, err := os.Lstat(dir); !errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("folder %s is there already and would be lost: a scratch server needs a new one", dir)
		}
	case dir == "":
		var err error
		if dir, err = DefaultDir(); err != nil {
			return nil, err
		}
	}
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("folder %s: %w", dir, err)
	}
	if o.Scratch || !o.NextIfBusy {
		return holdFolder(dir)
	}
	const most = 20
	for n := 1; n <= most; n++ {
		candidate := dir
		if n > 1 {
			candidate += "-" + strconv.Itoa(n)
		}
		f, err := holdFolder(candidate)
		if err == nil || !errors.Is(err, ErrBusy) {
			return f, err
		}
		say(o.Log, "%v: trying the next folder", err)
	}
	return nil, fmt.Errorf("%w: %s and %d beside it are all held by running programs", ErrBusy, dir, most-1)
}

// holdFolder makes one folder and takes its lock.
func holdFolder(dir string) (*folder, error) {
	f := &folder{dir: dir}
	if err := os.MkdirAll(filepath.Dir(dir), 0o755); err != nil {
		return nil, f.cannot("make the folder", err)
	}
	madeErr := os.Mkdir(dir, 0o700)
	if madeErr != nil && !errors.Is(madeErr, fs.ErrExist) {
		return nil, f.cannot("make the folder", madeErr)
	}
	if err := f.claim(); err != nil {
		return nil, err
	}
	if madeErr != nil {
		if err := f.ours(); err != nil {
			return nil, err
		}
	}
	var err error
	if f.user, err = chooseUser(f); err != nil {
		return nil, err
	}
	if f.user.other() {
		// The folder stays root's, so that its files cannot be swapped under
		// root's hands; the server's user only passes through.
		if err := os.Chmod(dir, 0o711); err != nil {
			return nil, f.cannot("open the folder to the server's user", err)
		}
		if err := f.user.canReach(dir); err != nil {
			return nil, err
		}
	}
	f.lock, err = takeLock(filepath.Join(dir, "lock"))
	if errors.Is(err, ErrBusy) {
		return nil, fmt.Errorf("%w: %s is used by the running program with process number %s: stop that one or give another folder",
			ErrBusy, dir, holder(filepath.Join(dir, "lock")))
	}
	if err != nil {
		return nil, f.cannot("take the folder's lock", err)
	}
	return f, nil
}

// ours refuses whatever is not a folder of a private server, or an empty one
// that may become it: its permissions are about to be changed, and root may
// change those of /etc.
func (f *folder) ours() error {
	info, err := os.Stat(f.dir)
	if err != nil {
		return f.cannot("look at the folder", err)
	}
	if !info.IsDir() {
		return fmt.Errorf("%s is not a folder: give an empty or a new one", f.dir)
	}
	entries, err := os.ReadDir(f.dir)
	if err != nil {
		return f.cannot("look into the folder", err)
	}
	if len(entries) == 0 {
		return nil
	}
	if lock, err := os.Lstat(filepath.Join(f.dir, "lock")); err != nil || !lock.Mode().IsRegular() {
		return fmt.Errorf("folder %s holds other things than a private server: give an empty or a new one", f.dir)
	}
	return nil
}

func holder(lock string) string {
	text, err := os.ReadFile(lock)
	if pid := strings.TrimSpace(string(text)); err == nil && pid != "" {
		return pid
	}
	return "unknown"
}

// removeLeftovers clears what an initdb that was killed left half made. One
// that is still running fails for want of its folder.
func (f *folder) removeLeftovers() {
	left, _ := filepath.Glob(filepath.Join(f.dir, "data.new-*"))
	half, _ := filepath.Glob(filepath.Join(f.dir, "pw-*"))
	for _, path := range append(left, half...) {
		removeAll(path)
	}
}

// removeAll removes a folder in which a dying process may still be making
// files.
func removeAll(path string) {
	for range 20 {
		if os.RemoveAll(path) == nil {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// removeOldScratch removes scratch folders whose owner and watcher were both
// killed. Folders younger than ten minutes may be on their way to a lock.
func removeOldScratch(tmp string) {
	dirs, _ := filepath.Glob(filepath.Join(tmp, scratchPrefix+"*"))
	for _, dir := range dirs {
		info, err := os.Lstat(dir)
		if err != nil || !info.IsDir() || time.Since(info.ModTime()) < 10*time.Minute || !ownedByUs(info) {
			continue
		}
		lock, err := takeLock(filepath.Join(dir, "lock"))
		if err != nil {
			continue
		}
		f := &folder{dir: dir, lock: lock}
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		if f.stopOrphan(ctx, Options{}) == nil {
			removeAll(dir)
		}
		cancel()
		lock.release()
	}
}

// choose picks the programs for the folder: the best ones for a new folder,
// those of its own major version for one that has data.
func (f *folder) choose(all []Binaries) (bin Binaries, fresh bool, err error) {
	text, err := os.ReadFile(filepath.Join(f.data(), "PG_VERSION"))
	if errors.Is(err, fs.ErrNotExist) {
		if entries, err := os.ReadDir(f.data()); err == nil && len(entries) > 0 {
			return bin, false, fmt.Errorf("folder %s is not PostgreSQL's (it has no PG_VERSION) and not empty: move it away", f.data())
		}
		return all[0], true, nil
	}
	if err != nil {
		return bin, false, f.cannot("read the data folder", err)
	}
	version := strings.TrimSpace(string(text))
	var have []string
	for _, b := range all {
		if strconv.Itoa(b.Major) == version {
			return b, false, nil
		}
		if major := strconv.Itoa(b.Major); !slices.Contains(have, major) {
			have = append(have, major)
		}
	}
	return bin, false, fmt.Errorf("the data folder %s was made by PostgreSQL %s and version %s is installed: "+
		"install PostgreSQL %s, or move the folder away to begin with an empty one",
		f.data(), version, strings.Join(have, ", "), version)
}

// password reads the folder's password, or makes one for a new folder. It is
// written before initdb runs, so there is never a server without one.
func (f *folder) password(fresh bool) (string, error) {
	path := filepath.Join(f.dir, "password")
	text, err := os.ReadFile(path)
	if p := strings.TrimSpace(string(text)); err == nil && p != "" {
		return p, nil
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", f.cannot("read the password", err)
	}
	if !fresh {
		return "", fmt.Errorf("the password file %s is gone, so its PostgreSQL lets nobody in: put it back, or move %s away to begin with an empty one", path, f.dir)
	}
	var secret [24]byte
	rand.Read(secret[:])
	p := hex.EncodeToString(secret[:])
	if err := writeWhole(path, p+"\n"); err != nil {
		return "", f.cannot("write the password", err)
	}
	return p, nil
}

// writeWhole writes a small file so that it is either all there or not at
// all, readable by its owner alone.
func writeWhole(path, text string) error {
	tmp, err := os.CreateTemp(filepath.Dir(path), "pw-*")
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name())
	_, err = tmp.WriteString(text)
	err = errors.Join(err, tmp.Sync(), tmp.Close())
	if err != nil {
		return err
	}
	return os.Rename(tmp.Name(), path)
}

// initdb makes the data folder: whole, or not at all.
func (f *folder) initdb(ctx context.Context, bin Binaries, password string, o Options) (err error) {
	pw, err := os.CreateTemp(f.dir, "pw-*")
	if err != nil {
		return f.cannot("make the data folder", err)
	}
	defer os.Remove(pw.Name())
	_, err = pw.WriteString(password + "\n")
	if err = errors.Join(err, pw.Close(), f.user.give(pw.Name())); err != nil {
		return f.cannot("make the data folder", err)
	}
	tmp, err := os.MkdirTemp(f.dir, "data.new-")
	if err != nil {
		return f.cannot("make the data folder", err)
	}
	defer func() {
		if err != nil {
			removeAll(tmp)
		}
	}()
	if err := f.user.give(tmp); err != nil {
		return f.cannot("make the data folder", err)
	}
	// C.UTF-8 knows upper and lower case beyond ASCII and sorts the same
	// everywhere; where the system has no such locale, plain C must do.
	out, err := f.runInitdb(ctx, bin, tmp, pw.Name(), "C.UTF-8", o)
	if err != nil && strings.Contains(out, "invalid locale name") {
		out, err = f.runInitdb(ctx, bin, tmp, pw.Name(), "C", o)
	}
	if err != nil {
		if ctx.Err() != nil {
			return fmt.Errorf("making the PostgreSQL data folder in %s did not end in time: %w", f.dir, ctx.Err())
		}
		return f.sentence("initdb failed", out, bin)
	}
	os.Remove(f.logFile())
	os.Remove(f.data()) // an empty one, or choose would have refused
	if err := os.Rename(tmp, f.data()); err != nil {
		return f.cannot("put the data folder in place", err)
	}
	return syncFolder(f.dir)
}

func (f *folder) runInitdb(ctx context.Context, bin Binaries, data, pwfile, locale string, o Options) (string, error) {
	args := []string{
		"--pgdata", data, "--username", superuser, "--pwfile", pwfile,
		"--auth-local", "scram-sha-256", "--auth-host", "scram-sha-256",
		"--encoding", "UTF8", "--locale", locale, "--lc-messages", "C", "--no-instructions",
	}
	if o.Durable {
		args = append(args, "--data-checksums")
	} else {
		args = append(args, "--no-sync")
	}
	cmd := exec.CommandContext(ctx, bin.program("initdb"), args...)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	cmd.Dir, cmd.Env = f.dir, cleanEnvironment()
	cmd.SysProcAttr = f.user.attributes()
	cmd.Cancel = func() error { return killGroup(cmd.Process) }
	cmd.WaitDelay = 5 * time.Second
	err := cmd.Run()
	_ = os.WriteFile(f.logFile(), out.Bytes(), 0o600) // for a person to read; the answer does not depend on it
	return out.String(), err
}

const socketPrefix = "toeboard-run-"

// socketFolder gives a folder for the server's socket whose path leaves room
// for the name within the 107 bytes that a socket's path may have (103 on
// macOS); empty where sockets are not used.
func (f *folder) socketFolder() (string, error) {
	if runtime.GOOS == "windows" {
		return "", nil
	}
	const longest = 103 - len("/.s.PGSQL.65535.lock")
	run := filepath.Join(f.dir, "run")
	if len(run) > longest {
		var err error
		if run, err = os.MkdirTemp("/tmp", socketPrefix); err != nil {
			return "", f.cannot("make a folder for the server's socket", err)
		}
	} else if err := os.MkdirAll(run, 0o700); err != nil {
		return "", f.cannot("make a folder for the server's socket", err)
	}
	if err := f.user.give(run); err != nil {
		return "", f.cannot("hand over the folder of the server's socket", err)
	}
	return run, nil
}

// removeSocketFolder removes a socket's folder in /tmp, which is made anew for
// each start; one inside the server's folder stays.
func (f *folder) removeSocketFolder(socket string) {
	if strings.HasPrefix(filepath.Base(socket), socketPrefix) && filepath.Dir(socket) == "/tmp" {
		os.RemoveAll(socket)
	}
}

func sortedKeys(m map[string]string) []string { return slices.Sorted(maps.Keys(m)) }
