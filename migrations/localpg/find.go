package localpg

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"
)

// oldest is the oldest major version of PostgreSQL that the migrations run on.
const oldest = 14

// Binaries is one installed set of PostgreSQL server programs.
type Binaries struct {
	Dir     string // folder of postgres and initdb
	Version string // as "postgres --version" says, such as "15.18"
	Major   int    // such as 15
}

func (b Binaries) program(name string) string {
	if runtime.GOOS == "windows" {
		name += ".exe"
	}
	return filepath.Join(b.Dir, name)
}

// errNoneFound is the one failure of a search that a download can heal.
var errNoneFound = errors.New("no PostgreSQL server programs found")

const howToInstall = "install it (Debian, Ubuntu: apt-get install postgresql; Fedora: dnf install postgresql-server; " +
	"macOS: brew install postgresql; Windows: winget install PostgreSQL.PostgreSQL) " +
	"or set DATABASE_URL to a server you have"

// Find gives the installed server programs to use: those on PATH, else the
// newest in the usual folders of Debian, Red Hat, Homebrew, Postgres.app and
// Windows. They must be PostgreSQL 14 or newer; the error says in one sentence
// what to install.
func Find() (Binaries, error) {
	all, err := findAll(context.Background(), usualPlaces())
	if err != nil {
		return Binaries{}, err
	}
	return all[0], nil
}

// place is a glob of folders; those that match are tried newest first.
type place string

func usualPlaces() []place {
	var places []place
	for _, dir := range filepath.SplitList(os.Getenv("PATH")) {
		if filepath.IsAbs(dir) {
			places = append(places, place(dir))
		}
	}
	if runtime.GOOS == "windows" {
		for _, root := range []string{os.Getenv("ProgramFiles"), `C:\Program Files`} {
			if root != "" {
				places = append(places, place(filepath.Join(root, "PostgreSQL", "*", "bin")))
			}
		}
		return places
	}
	return append(places,
		"/usr/lib/postgresql/*/bin",                          // Debian, Ubuntu
		"/usr/pgsql-*/bin",                                   // Red Hat and kin
		"/usr/libexec/postgresql*",                           // Alpine
		"/opt/homebrew/opt/postgresql*/bin",                  // Homebrew on ARM
		"/usr/local/opt/postgresql*/bin",                     // Homebrew on Intel
		"/home/linuxbrew/.linuxbrew/opt/postgresql*/bin",     // Homebrew on Linux
		"/Applications/Postgres.app/Contents/Versions/*/bin", // Postgres.app
		"/Library/PostgreSQL/*/bin",                          // macOS installer
		"/usr/local/pgsql/bin",                               // built from source
	)
}

// findAll gives every usable set of programs, best first.
func findAll(ctx context.Context, places []place) ([]Binaries, error) {
	var all []Binaries
	var tooOld, broken []string
	seen := map[string]bool{}
	for _, p := range places {
		var here []Binaries
		dirs, err := filepath.Glob(string(p))
		if err != nil {
			return nil, fmt.Errorf("looking for PostgreSQL in %s: %w", p, err)
		}
		for _, dir := range dirs {
			if seen[dir] || !hasPrograms(dir) {
				continue
			}
			seen[dir] = true
			b, err := inspect(ctx, dir)
			var old *tooOldError
			switch {
			case errors.As(err, &old):
				tooOld = append(tooOld, fmt.Sprintf("%s in %s", old.version, dir))
			case err != nil:
				broken = append(broken, err.Error())
			default:
				here = append(here, b)
			}
		}
		slices.SortStableFunc(here, func(a, b Binaries) int { return cmp.Compare(b.Major, a.Major) })
		all = append(all, here...)
	}
	switch {
	case len(all) > 0:
		return all, nil
	case len(tooOld) > 0:
		return nil, fmt.Errorf("%w: PostgreSQL %d or newer is needed and only %s was found: %s",
			errNoneFound, oldest, strings.Join(tooOld, ", "), howToInstall)
	case len(broken) > 0:
		return nil, fmt.Errorf("%w that can be run (%s): %s", errNoneFound, strings.Join(broken, "; "), howToInstall)
	}
	return nil, fmt.Errorf("%w: PostgreSQL %d or newer is needed: %s", errNoneFound, oldest, howToInstall)
}

func hasPrograms(dir string) bool {
	b := Binaries{Dir: dir}
	for _, name := range []string{"postgres", "initdb"} {
		info, err := os.Stat(b.program(name))
		if err != nil || !info.Mode().IsRegular() {
			return false
		}
	}
	return true
}

type tooOldError struct{ version, dir string }

func (e *tooOldError) Error() string {
	return fmt.Sprintf("PostgreSQL %s in %s is too old: version %d or newer is needed: %s", e.version, e.dir, oldest, howToInstall)
}

// versionLine reads "postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)",
// also "18beta1" and "19devel".
var versionLine = regexp.MustCompile(`^postgres \([^)]*\) ((\d+)[.\w]*)`)

// inspect asks the programs in dir for their version.
func inspect(ctx context.Context, dir string) (Binaries, error) {
	b := Binaries{Dir: dir}
	if !hasPrograms(dir) {
		return b, fmt.Errorf("no PostgreSQL server programs (postgres, initdb) in %s: %s", dir, howToInstall)
	}
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	cmd := exec.CommandContext(ctx, b.program("postgres"), "--version")
	cmd.Env = cleanEnvironment()
	cmd.WaitDelay = time.Second
	out, err := cmd.Output()
	if err != nil {
		return b, fmt.Errorf("%s --version failed: %w", b.program("postgres"), err)
	}
	m := versionLine.FindStringSubmatch(string(out))
	if m == nil {
		return b, fmt.Errorf("%s --version said %q, which names no version", b.program("postgres"), strings.TrimSpace(string(out)))
	}
	b.Version = m[1]
	b.Major, err = strconv.Atoi(m[2])
	if err != nil {
		return b, fmt.Errorf("%s --version said %q: %w", b.program("postgres"), m[1], err)
	}
	if b.Major < oldest {
		return b, &tooOldError{version: b.Version, dir: dir}
	}
	return b, nil
}

// cleanEnvironment is this process's environment without what would steer
// PostgreSQL's programs elsewhere, and with messages in English because
// explain reads them.
func cleanEnvironment() []string {
	var env []string
	for _, kv := range os.Environ() {
		name, _, _ := strings.Cut(kv, "=")
		if strings.HasPrefix(name, "PG") || strings.HasPrefix(name, "LC_") || name == "LANG" || name == "LANGUAGE" || name == "TZ" {
			continue
		}
		env = append(env, kv)
	}
	return append(env, "LC_ALL=C", "TZ=UTC")
}
