package localpg

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

func TestDiskFull(t *testing.T) {
	if !isRoot() {
		t.Skip("needs a small file system of its own, which only root can mount: DISK FULL IS NOT TESTED HERE")
	}
	small := newPlace(t)
	mount := func(size string) {
		if err := syscall.Mount("tmpfs", small, "tmpfs", 0, "mode=0755,size="+size); err != nil {
			t.Skipf("mount is not permitted (%v): DISK FULL IS NOT TESTED HERE", err)
		}
	}
	mount("20m") // initdb needs about twice that
	o := Options{Dir: filepath.Join(small, "pg"), Durable: true}
	mustFail(t, o, "disk", "is full", o.Dir)
	if err := syscall.Unmount(small, 0); err != nil {
		t.Fatal(err)
	}

	mount("200m")
	defer syscall.Unmount(small, syscall.MNT_DETACH)
	s := start(t, o)
	run(t, s.URL("postgres"), "create table kept (n int); insert into kept values (7)")
	stop(t, s)
	filler, err := os.Create(filepath.Join(small, "filler"))
	if err != nil {
		t.Fatal(err)
	}
	_, err = io.Copy(filler, zeros{})
	filler.Close()
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatalf("the disk did not fill: %v", err)
	}
	mustFail(t, o, "is full", "make room")
	if err := os.Remove(filler.Name()); err != nil {
		t.Fatal(err)
	}
	s = start(t, o)
	if got := value(t, s.URL("postgres"), "select n::text from kept"); got != "7" {
		t.Errorf("row is %s", got)
	}
	stop(t, s)

	// Full while writing the very first small file: no empty password stays.
	o.Dir = filepath.Join(small, "second")
	if err := os.Mkdir(o.Dir, 0o700); err != nil {
		t.Fatal(err)
	}
	filler, err = os.Create(filler.Name())
	if err != nil {
		t.Fatal(err)
	}
	_, _ = io.Copy(filler, zeros{})
	filler.Close()
	mustFail(t, o, "is full")
	if err := os.Remove(filler.Name()); err != nil {
		t.Fatal(err)
	}
	stop(t, start(t, o))
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { return len(p), nil }
