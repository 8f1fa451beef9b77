package localpg

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"syscall"
	"time"

	"golang.org/x/sys/windows"
)

// PostgreSQL on Windows refuses an administrator's rights by itself; there is
// no other user to become.
func isRoot() bool { return false }

func isDiskFull(err error) bool {
	return errors.Is(err, windows.ERROR_DISK_FULL) || errors.Is(err, windows.ERROR_HANDLE_DISK_FULL)
}

func noRoom(dir string) bool {
	path, err := windows.UTF16PtrFromString(dir)
	var free uint64
	return err == nil && windows.GetDiskFreeSpaceEx(path, &free, nil, nil) == nil && free < 1<<20
}

type serverUser struct{}

func (serverUser) other() bool               { return false }
func (serverUser) String() string            { return "this user" }
func (serverUser) give(string) error         { return nil }
func (serverUser) canReach(string) error     { return nil }
func chooseUser(*folder) (serverUser, error) { return serverUser{}, nil }
func ownedByUs(fs.FileInfo) bool             { return true }
func syncFolder(string) error                { return nil }

func (*folder) claim() error { return nil }

// attributes keep Ctrl-C in the console from reaching the server before us.
func (serverUser) attributes() *syscall.SysProcAttr {
	return &syscall.SysProcAttr{CreationFlags: windows.CREATE_NEW_PROCESS_GROUP}
}

type shutdown string

const (
	fast      shutdown = "INT"
	immediate shutdown = "QUIT"
)

// signalServer writes PostgreSQL's own signal pipe, as pg_ctl kill does.
func signalServer(p *os.Process, how shutdown) error {
	numbers := map[shutdown]byte{fast: 2, immediate: 3}
	name, err := windows.UTF16PtrFromString(`\\.\pipe\pgsignal_` + strconv.Itoa(p.Pid))
	if err != nil {
		return err
	}
	in, out := []byte{numbers[how]}, []byte{0}
	var read uint32
	return callNamedPipe(name, in, out, &read)
}

func callNamedPipe(name *uint16, in, out []byte, read *uint32) error {
	h, err := windows.CreateFile(name, windows.GENERIC_READ|windows.GENERIC_WRITE, 0, nil, windows.OPEN_EXISTING, 0, 0)
	if err != nil {
		return err
	}
	defer windows.CloseHandle(h)
	var written uint32
	if err := windows.WriteFile(h, in, &written, nil); err != nil {
		return err
	}
	return windows.ReadFile(h, out, read, nil)
}

func killGroup(p *os.Process) error {
	cmd := exec.Command("taskkill", "/T", "/F", "/PID", strconv.Itoa(p.Pid))
	cmd.WaitDelay = 5 * time.Second
	return cmd.Run()
}

type folderLock struct{ file *os.File }

func takeLock(path string) (*folderLock, error) {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	// The lock stands far beyond the text, so that others can read who holds it.
	at := windows.Overlapped{OffsetHigh: 1}
	err = windows.LockFileEx(windows.Handle(file.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &at)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		file.Close()
		return nil, ErrBusy
	}
	if err != nil {
		file.Close()
		return nil, err
	}
	_ = file.Truncate(0)
	_, _ = file.WriteString(strconv.Itoa(os.Getpid()) + "\n")
	return &folderLock{file: file}, nil
}

func (l *folderLock) release() {
	if l != nil && l.file != nil {
		l.file.Close()
	}
}

// watcher does not exist on Windows: the server of a killed owner is stopped
// by the next Start.
type watcher struct{}

func watch(int, *folder, Options) (*watcher, error) {
	return nil, errors.New("not on Windows")
}

func (*watcher) dismiss() {}

func (f *folder) whoIs(ctx context.Context, p postmaster) who {
	h, err := windows.OpenProcess(windows.PROCESS_QUERY_LIMITED_INFORMATION, false, uint32(p.pid))
	if err != nil {
		return cannotTell
	}
	defer windows.CloseHandle(h)
	name := make([]uint16, windows.MAX_PATH)
	n := uint32(len(name))
	if err := windows.QueryFullProcessImageName(h, 0, &name[0], &n); err == nil &&
		!strings.Contains(strings.ToLower(windows.UTF16ToString(name[:n])), "postgres") {
		return nobody
	}
	return f.askServer(ctx, p)
}
