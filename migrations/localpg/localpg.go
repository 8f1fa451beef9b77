// Package localpg runs a private PostgreSQL server for one person or one test
// run: it finds the installed programs (or fetches them), makes a data folder,
// starts the server on a free loopback port and stops it again.
//
// A private server's folder looks like this:
//
//	lock      held (flock) by the process that owns the server
//	password  the server's password, readable by its owner alone
//	server    process number and start time of the server last started here
//	log       what the server wrote since it was last started
//	data/     PostgreSQL's own data folder
//	run/      the server's socket, where the path is short enough for one
//
// What happens when something dies:
//
//   - The owning process is killed: a watcher, one small shell, notices the
//     closed pipe and asks the server to shut down. What was acknowledged is
//     on disk.
//   - The watcher is killed too and the server lives on: the next Start finds
//     it by the lock that nobody holds, checks that it is the server recorded
//     in "server", shuts it down and starts its own. It is never adopted: a
//     child's exit can be seen, an orphan's cannot.
//   - The server is killed: the next Start recovers from PostgreSQL's log.
//   - Start itself is killed: initdb works in data.new-*, which becomes data/
//     only when it is whole; leftovers are removed by the next Start.
package localpg

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// superuser is the role that initdb makes; it owns the private server and
// runs the migrations, never the service.
const superuser = "toeboard"

// Options say which private server is wanted. The zero value is a server on
// the user's own data folder that does not survive a power cut: set Durable
// for anything a person will rely on.
type Options struct {
	// Dir is the folder; empty means DefaultDir, or a new temporary folder
	// when Scratch is set.
	Dir string

	// Durable waits for the disk at every commit (fsync on). Leave it off in
	// tests only: without it a power cut may destroy the folder.
	Durable bool

	// NextIfBusy takes Dir-2, Dir-3, ... when another living process holds
	// Dir. Without it a held folder is an error of the kind ErrBusy.
	NextIfBusy bool

	// Scratch removes the folder when the server stops, also when this
	// process is killed. Only a folder that did not exist before may be
	// scratch.
	Scratch bool

	// BinDir is the folder of the programs postgres and initdb; empty means
	// search the usual places and, when there are none, fetch them.
	BinDir string

	// Settings are extra server settings by name, such as max_connections.
	Settings map[string]string

	// Timeout bounds all of Start but a download; zero means 60 seconds.
	// Recovery after a power cut is part of it.
	Timeout time.Duration

	// Log receives one line about each step worth knowing; nil is silence.
	Log io.Writer

	search    []place             // nil: the usual places (tests: others)
	fetchFrom string              // empty: the library's own (tests: a loopback server)
	pickPort  func() (int, error) // nil: freePort (tests: a taken one first)
	unwatched bool                // no watcher (tests of what happens without one)
	cacheDir  string              // empty: the user's cache folder
}

// Server is a running private server, owned by the process that started it.
type Server struct {
	Dir     string // the folder in use; Dir-2 and so on after NextIfBusy
	Port    int    // on 127.0.0.1
	Version string // such as "15.18"

	password string
	socket   string // folder of the socket, empty where there is none
	process  *os.Process
	done     chan struct{} // closed when the server's process has ended
	exit     error         // why it ended; read only after done
	watch    *watcher
	lock     *folderLock
	scratch  bool
	opts     Options
	stopOnce sync.Once
	stopErr  error
}

// ErrBusy is wrapped by the error of Start when another living process uses
// the folder.
var ErrBusy = errors.New("folder in use")

// Start starts a private server and waits until it answers. It gives up with
// one sentence when ctx ends or Options.Timeout has passed, and leaves neither
// a process nor a half-made folder behind. The server then lives until Stop,
// whatever becomes of ctx.
func Start(ctx context.Context, o Options) (*Server, error) {
	if o.Timeout <= 0 {
		o.Timeout = time.Minute
	}
	if o.pickPort == nil {
		o.pickPort = freePort
	}
	all, err := o.programs(ctx)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, o.Timeout)
	defer cancel()

	f, err := openFolder(o)
	if err != nil {
		return nil, err
	}
	s, err := f.start(ctx, o, all)
	if err != nil {
		if o.Scratch {
			removeAll(f.dir)
		}
		f.lock.release()
		return nil, err
	}
	return s, nil
}

// programs gives the installed programs, fetched ones when none are
// installed.
func (o Options) programs(ctx context.Context) ([]Binaries, error) {
	if o.BinDir != "" {
		b, err := inspect(ctx, o.BinDir)
		if err != nil {
			return nil, err
		}
		return []Binaries{b}, nil
	}
	places := o.search
	if places == nil {
		places = usualPlaces()
	}
	all, err := findAll(ctx, places)
	if !errors.Is(err, errNoneFound) {
		return all, err
	}
	b, err := fetch(ctx, o)
	if err != nil {
		return nil, err
	}
	return []Binaries{b}, nil
}

// start makes the data folder if there is none and starts the server on it.
func (f *folder) start(ctx context.Context, o Options, all []Binaries) (*Server, error) {
	f.removeLeftovers()
	bin, fresh, err := f.choose(all)
	if err != nil {
		return nil, err
	}
	if !fresh {
		if err := f.stopOrphan(ctx, o); err != nil {
			return nil, err
		}
	}
	password, err := f.password(fresh)
	if err != nil {
		return nil, err
	}
	if fresh {
		say(o.Log, "making a PostgreSQL %s data folder in %s", bin.Version, f.data())
		if err := f.initdb(ctx, bin, password, o); err != nil {
			return nil, err
		}
	}
	return f.launch(ctx, bin, password, o)
}

// launch starts the server's process, on another port when the chosen one was
// taken meanwhile, and waits until it answers.
func (f *folder) launch(ctx context.Context, bin Binaries, password string, o Options) (s *Server, err error) {
	const tries = 20
	socket, err := f.socketFolder()
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			f.removeSocketFolder(socket)
		}
	}()
	var last error
	for range tries {
		port, err := o.pickPort()
		if err != nil {
			return nil, fmt.Errorf("no free port on 127.0.0.1 for the private PostgreSQL: %w", err)
		}
		s, err := f.launchOn(ctx, port, socket, bin, password, o)
		if err == nil {
			say(o.Log, "PostgreSQL %s runs on 127.0.0.1:%d, folder %s", bin.Version, port, f.dir)
			return s, nil
		}
		var again *tryAgain
		if !errors.As(err, &again) {
			return nil, err
		}
		last = again.err
		say(o.Log, "trying again: %v", last)
		select {
		case <-ctx.Done():
			return nil, last
		case <-time.After(again.after):
		}
	}
	return nil, fmt.Errorf("gave up after %d tries: %w", tries, last)
}

// tryAgain is a failure that another try may not meet: a port taken, or
// backends of a killed server that are still leaving.
type tryAgain struct {
	err   error
	after time.Duration
}

func (t *tryAgain) Error() string { return t.err.Error() }

func (f *folder) launchOn(ctx context.Context, port int, socket string, bin Binaries, password string, o Options) (*Server, error) {
	log, err := os.OpenFile(f.logFile(), os.O_CREATE|os.O_TRUNC|os.O_WRONLY|os.O_APPEND, 0o600)
	if err != nil {
		return nil, f.cannot("write the server's log", err)
	}
	defer log.Close()

	cmd := exec.Command(bin.program("postgres"), f.arguments(port, socket, o)...)
	cmd.Dir = f.data()
	cmd.Env = cleanEnvironment()
	cmd.Stdout, cmd.Stderr = log, log
	cmd.SysProcAttr = f.user.attributes()
	if err := cmd.Start(); err != nil {
		return nil, f.cannot("start "+cmd.Path, err)
	}
	s := &Server{
		Dir: f.dir, Port: port, Version: bin.Version,
		password: password, socket: socket, process: cmd.Process,
		done: make(chan struct{}), lock: f.lock, scratch: o.Scratch, opts: o,
	}
	if !o.unwatched {
		// Without a watcher the server still stops with Stop; only a killed
		// owner leaves it to the next Start.
		s.watch, err = watch(cmd.Process.Pid, f, o)
		if err != nil {
			say(o.Log, "no watcher, so a killed program leaves its PostgreSQL running until the next start: %v", err)
		}
	}
	go func() {
		s.exit = cmd.Wait()
		s.watch.dismiss()
		close(s.done)
	}()

	if err := s.awaitReady(ctx, f); err != nil {
		select {
		case <-s.done:
			return nil, f.explain(bin)
		default:
		}
		s.kill()
		if errors.Is(ctx.Err(), context.Canceled) {
			return nil, fmt.Errorf("starting PostgreSQL in %s was interrupted: %w", f.dir, context.Canceled)
		}
		return nil, fmt.Errorf("PostgreSQL in %s did not get ready within %v (%w): look in %s", f.dir, o.Timeout, err, f.logFile())
	}
	if err := f.record(cmd.Process.Pid); err != nil {
		s.kill()
		return nil, err
	}
	return s, nil
}

// arguments are the server's settings, on the command line so that they hold
// whatever an older version of this program wrote into the folder.
func (f *folder) arguments(port int, socket string, o Options) []string {
	settings := []string{
		"listen_addresses=127.0.0.1",
		"port=" + strconv.Itoa(port),
		"unix_socket_directories=" + socket,
		"unix_socket_permissions=0700",
		"lc_messages=C", // explain reads the log
		"timezone=UTC",
		"log_timezone=UTC",
		"logging_collector=off",
		"log_destination=stderr",
	}
	if o.Durable {
		settings = append(settings, "fsync=on", "synchronous_commit=on", "full_page_writes=on")
	} else {
		settings = append(settings, "fsync=off", "synchronous_commit=off", "full_page_writes=off",
			"wal_level=minimal", "max_wal_senders=0", "max_wal_size=4GB", "checkpoint_timeout=1h")
	}
	for _, name := range sortedKeys(o.Settings) {
		settings = append(settings, name+"="+o.Settings[name])
	}
	args := []string{"-D", f.data()}
	for _, s := range settings {
		args = append(args, "-c", s)
	}
	return args
}

// awaitReady waits until the server says in its pid file that it is ready,
// then logs in once. Asking the port alone would take another server that got
// there first for ours. Recovery is waited for as long as ctx allows.
func (s *Server) awaitReady(ctx context.Context, f *folder) error {
	for {
		p, err := f.postmaster()
		if err == nil && p.pid == s.process.Pid && p.status == "ready" {
			return s.ping(ctx)
		}
		select {
		case <-s.done:
			return errors.New("it stopped at once")
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(10 * time.Millisecond):
		}
	}
}

func (s *Server) ping(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	conn, err := pgx.Connect(ctx, s.URL("postgres"))
	var refused *pgconn.PgError
	if errors.As(err, &refused) && refused.Code == "28P01" {
		return fmt.Errorf("the password in %s is not this server's", filepath.Join(s.Dir, "password"))
	}
	if err != nil {
		return err
	}
	return conn.Close(ctx)
}

// URL is the address of one database on the server, over loopback, with the
// superuser's password in it: for migrations and wiring, never for a page.
func (s *Server) URL(dbname string) string {
	return address("127.0.0.1:"+strconv.Itoa(s.Port), s.password, dbname)
}

func address(host, password, dbname string) string {
	u := url.URL{
		Scheme: "postgres", User: url.UserPassword(superuser, password),
		Host: host, Path: "/" + dbname, RawQuery: "sslmode=disable",
	}
	return u.String()
}

// SocketURL is the same by socket, which is a little faster; empty where
// there is no socket (Windows).
func (s *Server) SocketURL(dbname string) string {
	if s.socket == "" {
		return ""
	}
	u := url.URL{
		Scheme: "postgres", User: url.UserPassword(superuser, s.password), Path: "/" + dbname,
		RawQuery: url.Values{"host": {s.socket}, "port": {strconv.Itoa(s.Port)}, "sslmode": {"disable"}}.Encode(),
	}
	return u.String()
}

// EnsureDatabase makes the database unless it is there.
func (s *Server) EnsureDatabase(ctx context.Context, name string) error {
	conn, err := pgx.Connect(ctx, s.URL("postgres"))
	if err != nil {
		return fmt.Errorf("asking for database %q: %w", name, err)
	}
	defer conn.Close(ctx)
	var there bool
	if err := conn.QueryRow(ctx, `select exists (select from pg_database where datname = $1)`, name).Scan(&there); err != nil {
		return fmt.Errorf("asking for database %q: %w", name, err)
	}
	if there {
		return nil
	}
	if _, err := conn.Exec(ctx, "create database "+pgx.Identifier{name}.Sanitize()); err != nil {
		return fmt.Errorf("making database %q: %w", name, err)
	}
	return nil
}

// LogFile is where the server writes its own messages.
func (s *Server) LogFile() string { return filepath.Join(s.Dir, "log") }

// Done is closed when the server's process has ended, by Stop or by itself.
func (s *Server) Done() <-chan struct{} { return s.done }

// Stop shuts the server down and gives the folder free. It lets running
// statements be cancelled (a fast shutdown), waits 30 seconds, then insists;
// an error says that it had to. Calling it again gives the same answer.
func (s *Server) Stop() error {
	s.stopOnce.Do(func() { s.stopErr = s.stop() })
	return s.stopErr
}

func (s *Server) stop() error {
	defer s.lock.release()
	defer s.cleanUp()
	select {
	case <-s.done:
		return fmt.Errorf("PostgreSQL in %s had stopped by itself (%v): look in %s", s.Dir, s.exit, s.LogFile())
	default:
	}
	how, wait := fast, 30*time.Second
	if s.scratch {
		how = immediate // nothing is kept, so nothing need be written
	}
	if err := signalServer(s.process, how); err != nil {
		return fmt.Errorf("PostgreSQL in %s could not be told to stop: %w", s.Dir, err)
	}
	select {
	case <-s.done:
		return nil
	case <-time.After(wait):
	}
	s.kill()
	return fmt.Errorf("PostgreSQL in %s did not shut down within %v and was stopped hard; it will recover at the next start", s.Dir, wait)
}

func (s *Server) cleanUp() {
	if s.scratch {
		removeAll(s.Dir)
		return
	}
	(&folder{dir: s.Dir}).removeSocketFolder(s.socket)
	os.Remove(filepath.Join(s.Dir, "server"))
}

// kill ends the server without a shutdown and waits until it is gone.
func (s *Server) kill() {
	_ = signalServer(s.process, immediate)
	select {
	case <-s.done:
		return
	case <-time.After(5 * time.Second):
	}
	_ = s.process.Kill()
	<-s.done
}

// freePort asks the system for a port that is free now. It may be taken a
// moment later, which launch expects.
func freePort() (int, error) {
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port, nil
}

func say(w io.Writer, format string, args ...any) {
	if w != nil {
		fmt.Fprintf(w, format+"\n", args...)
	}
}
