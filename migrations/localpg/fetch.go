package localpg

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	embedded "github.com/fergusstrange/embedded-postgres"
)

// fetchWithin bounds a download of some 10 to 20 MB.
const fetchWithin = 3 * time.Minute

// fetched is the version that is downloaded when none is installed.
const fetched = embedded.V17

// fetch gives the programs downloaded earlier, or downloads them. The library
// cannot only download, it also starts a server: one on a throwaway folder,
// which shows at once that the programs run on this machine.
func fetch(ctx context.Context, o Options) (Binaries, error) {
	if isRoot() {
		return Binaries{}, fmt.Errorf("%w, and for root none are downloaded: PostgreSQL %d or newer is needed: %s", errNoneFound, oldest, howToInstall)
	}
	cache := o.cacheDir
	if cache == "" {
		user, err := os.UserCacheDir()
		if err != nil {
			return Binaries{}, fmt.Errorf("%w, and there is no cache folder to download them to (%v): %s", errNoneFound, err, howToInstall)
		}
		cache = filepath.Join(user, "toeboard")
	}
	home := filepath.Join(cache, "postgres-"+string(fetched))
	if hasPrograms(filepath.Join(home, "bin")) {
		return inspect(ctx, filepath.Join(home, "bin"))
	}
	if err := os.MkdirAll(cache, 0o755); err != nil {
		return Binaries{}, fmt.Errorf("%w, and they cannot be downloaded to %s (%v): %s", errNoneFound, cache, err, howToInstall)
	}
	say(o.Log, "no PostgreSQL is installed: downloading version %s to %s", fetched, home)
	if err := download(ctx, cache, home, o.fetchFrom); err != nil {
		return Binaries{}, fmt.Errorf("no PostgreSQL server programs are installed and they could not be downloaded (%w): %s", err, howToInstall)
	}
	return inspect(ctx, filepath.Join(home, "bin"))
}

// download unpacks into a folder beside home and renames it, so that home is
// whole or not there.
func download(ctx context.Context, cache, home, from string) error {
	tmp, err := os.MkdirTemp(cache, "fetch-")
	if err != nil {
		return err
	}
	port, err := freePort()
	if err != nil {
		return err
	}
	var log bytes.Buffer
	programs := filepath.Join(tmp, "programs")
	c := embedded.DefaultConfig().Version(fetched).Port(uint32(port)).Logger(&log).
		CachePath(filepath.Join(tmp, "archive")).BinariesPath(programs).
		RuntimePath(filepath.Join(tmp, "run")).DataPath(filepath.Join(tmp, "data")).
		Locale("C").StartTimeout(30 * time.Second).
		StartParameters(map[string]string{"unix_socket_directories": ""})
	if from != "" {
		c = c.BinaryRepositoryURL(from)
	}
	done := make(chan error, 1)
	// The library takes no context. When it is late it is left to itself: it
	// stops what it started and removes what it made.
	go func() {
		defer os.RemoveAll(tmp)
		done <- trial(embedded.NewDatabase(c), func() error {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			return os.Rename(programs, home)
		})
	}()
	select {
	case err := <-done:
		return tidy(err)
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(fetchWithin):
		return fmt.Errorf("not done within %v", fetchWithin)
	}
}

// trial starts and stops the library's server, then keeps its programs. The
// library panics where a file cannot be closed or removed.
func trial(db *embedded.EmbeddedPostgres, keep func() error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("%v", r)
		}
	}()
	if err := db.Start(); err != nil {
		return err
	}
	if err := db.Stop(); err != nil {
		return err
	}
	return keep()
}

// tidy makes one line of the library's many, and hides no cause.
func tidy(err error) error {
	if err == nil {
		return nil
	}
	line, _, _ := strings.Cut(err.Error(), "\n")
	if cause := firstLine(err.Error(), "FATAL:", "initdb: error:"); cause != "" {
		line += " " + cause
	}
	if strings.Contains(line, "no version found") {
		line = fmt.Sprintf("there are no programs of version %s for %s on %s", fetched, runtime.GOOS, runtime.GOARCH)
	}
	return errors.New(line)
}
