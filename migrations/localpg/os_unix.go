//go:build unix

package localpg

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"syscall"
)

func isRoot() bool { return os.Geteuid() == 0 }

func isDiskFull(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT)
}

// noRoom says whether the disk that holds dir has no room left for anything.
func noRoom(dir string) bool {
	var st syscall.Statfs_t
	return syscall.Statfs(dir, &st) == nil && uint64(st.Bavail)*uint64(st.Bsize) < 1<<20
}

// serverUser is who the server runs as: ourselves, or for root somebody else,
// since PostgreSQL refuses root.
type serverUser struct {
	name     string
	uid, gid uint32
	switched bool
}

func (u serverUser) other() bool { return u.switched }

func (u serverUser) String() string {
	if u.name == "" {
		return "this user"
	}
	return "user " + u.name
}

// chooseUser picks the owner of the data folder if there is one, else the
// user "postgres" if the system has it, else "nobody".
func chooseUser(f *folder) (serverUser, error) {
	if !isRoot() {
		return serverUser{}, nil
	}
	if info, err := os.Stat(f.data()); err == nil {
		owner := info.Sys().(*syscall.Stat_t)
		if owner.Uid != 0 {
			name := strconv.Itoa(int(owner.Uid))
			if known, err := user.LookupId(name); err == nil {
				name = known.Username
			}
			return serverUser{name: name, uid: owner.Uid, gid: owner.Gid, switched: true}, nil
		}
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err1 := strconv.ParseInt(u.Uid, 10, 64)
		gid, err2 := strconv.ParseInt(u.Gid, 10, 64)
		if err1 != nil || err2 != nil || uint32(uid) == 0 {
			continue
		}
		return serverUser{name: name, uid: uint32(uid), gid: uint32(gid), switched: true}, nil
	}
	return serverUser{}, errors.New("PostgreSQL refuses to run as root and the system has neither a user postgres nor nobody: make one, or start as an ordinary user")
}

// attributes start a process as the server's user, in a group of its own so
// that Ctrl-C in the terminal reaches only us and we stop the server in order.
func (u serverUser) attributes() *syscall.SysProcAttr {
	a := &syscall.SysProcAttr{Setpgid: true}
	if u.switched {
		a.Credential = &syscall.Credential{Uid: u.uid, Gid: u.gid}
	}
	return a
}

// give hands a file or folder to the server's user.
func (u serverUser) give(path string) error {
	if !u.switched {
		return nil
	}
	return os.Chown(path, int(u.uid), int(u.gid))
}

// canReach checks that the server's user may pass through every folder above
// dir, which a folder below root's home would fail in a roundabout way.
func (u serverUser) canReach(dir string) error {
	for up := dir; ; up = filepath.Dir(up) {
		info, err := os.Stat(up)
		if err != nil {
			return fmt.Errorf("cannot look at %s: %w", up, err)
		}
		st := info.Sys().(*syscall.Stat_t)
		may := info.Mode().Perm()&0o001 != 0
		if st.Uid == u.uid {
			may = info.Mode().Perm()&0o100 != 0
		} else if st.Gid == u.gid {
			may = info.Mode().Perm()&0o010 != 0
		}
		if !may {
			return fmt.Errorf("PostgreSQL runs as %s when started by root, and %s may not enter %s: give a folder elsewhere (unset XDG_DATA_HOME for the default)", u, u, up)
		}
		if up == filepath.Dir(up) {
			return nil
		}
	}
}

// claim makes sure that root works in a folder of its own: an empty folder of
// somebody else's is taken over, one with content is theirs.
func (f *folder) claim() error {
	if !isRoot() {
		return nil // the system refuses us what is not ours
	}
	info, err := os.Stat(f.dir)
	if err != nil {
		return f.cannot("look at the folder", err)
	}
	owner := ownerOf(info)
	if owner == 0 {
		return nil
	}
	entries, err := os.ReadDir(f.dir)
	if err != nil {
		return f.cannot("look into the folder", err)
	}
	if len(entries) > 0 {
		name := strconv.Itoa(int(owner))
		if known, err := user.LookupId(name); err == nil {
			name = known.Username
		}
		return fmt.Errorf("folder %s belongs to user %s: start as that user or give another folder", f.dir, name)
	}
	return os.Chown(f.dir, 0, 0)
}

func ownerOf(info fs.FileInfo) uint32 { return info.Sys().(*syscall.Stat_t).Uid }

func ownedByUs(info fs.FileInfo) bool { return int(ownerOf(info)) == os.Geteuid() }

// shutdown is how a server is asked to stop: see "Shutting Down the Server"
// in PostgreSQL's manual.
type shutdown = syscall.Signal

const (
	fast      shutdown = syscall.SIGINT  // cancel what runs, write everything, leave
	immediate shutdown = syscall.SIGQUIT // leave; recover at the next start
)

func signalServer(p *os.Process, how shutdown) error { return p.Signal(how) }

func killGroup(p *os.Process) error { return syscall.Kill(-p.Pid, syscall.SIGKILL) }

// folderLock is a lock that the system gives free when its holder dies,
// however it dies.
type folderLock struct{ file *os.File }

func takeLock(path string) (*folderLock, error) {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR|syscall.O_NOFOLLOW, 0o600)
	if err != nil {
		return nil, err
	}
	err = syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		file.Close()
		return nil, ErrBusy
	}
	if err == nil {
		// Only told to people, so a failure to write it does not matter.
		_ = file.Truncate(0)
		_, _ = file.WriteString(strconv.Itoa(os.Getpid()) + "\n")
		return &folderLock{file: file}, nil
	}
	file.Close()
	return nil, err
}

func (l *folderLock) release() {
	if l != nil && l.file != nil {
		l.file.Close()
	}
}

func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

// watcher is a shell that outlives this process by a moment: its input is a
// pipe that the system closes when this process ends, in whatever way.
type watcher struct {
	pid  int
	say  *os.File
	done chan struct{}
}

// watchScript gets the server's process number, its data folder, the signal
// and a folder to remove (or nothing). A word on the pipe means the server has
// stopped already. The process number is trusted only while the data folder's
// own pid file still names it.
const watchScript = `
read -r word && exit 0
pidfile="$2/postmaster.pid"
if [ "$(head -n 1 "$pidfile" 2>/dev/null)" = "$1" ]; then kill -s "$3" "$1"; fi
[ -z "$4" ] && exit 0
n=0
while [ -e "$pidfile" ] && [ "$n" -lt 100 ]; do sleep 0.1; n=$((n+1)); done
rm -rf "$4"
`

func watch(pid int, f *folder, o Options) (*watcher, error) {
	read, write, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	defer read.Close()
	how, remove := "INT", ""
	if o.Scratch {
		how, remove = "QUIT", f.dir
	}
	cmd := exec.Command("/bin/sh", "-c", watchScript, "toeboard-watch", strconv.Itoa(pid), f.data(), how, remove)
	cmd.Stdin = read
	cmd.Dir = "/"
	cmd.Env = []string{"PATH=/usr/local/bin:/usr/bin:/bin", "LC_ALL=C"}
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	if err := cmd.Start(); err != nil {
		write.Close()
		return nil, err
	}
	w := &watcher{pid: cmd.Process.Pid, say: write, done: make(chan struct{})}
	go func() {
		_ = cmd.Wait()
		close(w.done)
	}()
	return w, nil
}

// dismiss tells the watcher that the server has stopped, and waits for it.
func (w *watcher) dismiss() {
	if w == nil {
		return
	}
	_, _ = w.say.WriteString("stopped\n")
	w.say.Close()
	<-w.done
}

// whoIs tells whether the process of a pid file is a server of this folder.
func (f *folder) whoIs(ctx context.Context, p postmaster) who {
	err := syscall.Kill(p.pid, 0)
	if errors.Is(err, syscall.ESRCH) {
		return cannotTell // nothing to stop; PostgreSQL clears the file itself
	}
	if pids, ok := serversOf(f.data()); ok {
		switch {
		case slices.Contains(pids, p.pid):
			return serving
		case len(pids) == 0:
			return nobody
		}
		return leaving
	}
	return f.askServer(ctx, p)
}
