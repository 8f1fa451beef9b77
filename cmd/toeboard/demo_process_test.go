//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// The demo as a new user meets it: the built program in a process of its own,
// its own folder, its own Postgres.

var built = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "toeboard-test-")
	if err != nil {
		return "", err
	}
	// Another user than the one who builds runs it in a test below.
	if err := os.Chmod(dir, 0o755); err != nil {
		return "", err
	}
	path := filepath.Join(dir, "toeboard")
	out, err := exec.Command("go", "build", "-o", path, ".").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("go build: %w\n%s", err, out)
	}
	return path, nil
})

func TestMain(m *testing.M) {
	code := m.Run()
	if path, err := built(); err == nil {
		os.RemoveAll(filepath.Dir(path))
	}
	os.Exit(code)
}

// program prepares a command line of the built program with none of the
// environment's settings and no Postgres on PATH.
func program(t *testing.T, home string, args ...string) *exec.Cmd {
	t.Helper()
	path, err := built()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(path, args...)
	cmd.Env = []string{"PATH=/usr/bin:/bin", "HOME=" + home, "XDG_DATA_HOME=" + filepath.Join(home, "data")}
	cmd.Dir = "/"
	return cmd
}

// served is a demo that is serving.
type served struct {
	t        *testing.T
	cmd      *exec.Cmd
	out      *lockedBuffer
	base     string
	password string
	ended    chan struct{} // closed when the process is gone
	err      error         // how it ended; read only after ended
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func serveDemo(t *testing.T, home string, args ...string) *served {
	t.Helper()
	s := &served{t: t, out: &lockedBuffer{}, ended: make(chan struct{})}
	s.cmd = program(t, home, append([]string{"demo", "--listen", "127.0.0.1:0"}, args...)...)
	s.cmd.Stdout, s.cmd.Stderr = s.out, s.out
	if err := s.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		s.err = s.cmd.Wait()
		close(s.ended)
	}()
	t.Cleanup(func() { s.end(syscall.SIGINT) })
	deadline := time.After(3 * time.Minute)
	for !strings.Contains(s.out.String(), "Serving until") {
		select {
		case <-s.ended:
			t.Fatalf("the demo ended (%v); it says:\n%s", s.err, s.out)
		case <-deadline:
			t.Fatalf("the demo does not serve; it says:\n%s", s.out)
		case <-time.After(50 * time.Millisecond):
		}
	}
	s.base = s.find(`Open (http://\S+)`)
	s.password = s.find(`password (quill-\S+)`)
	return s
}

func (s *served) find(pattern string) string {
	s.t.Helper()
	m := regexp.MustCompile(pattern).FindStringSubmatch(s.out.String())
	if m == nil {
		s.t.Fatalf("the demo does not print %s; it says:\n%s", pattern, s.out)
	}
	return m[1]
}

// end sends the signal and waits; ending twice is harmless.
func (s *served) end(sig syscall.Signal) error {
	s.cmd.Process.Signal(sig) // fails when the process is gone, which is what is wanted
	<-s.ended
	return s.err
}

// office signs in as the office and gives a client with its session.
func (s *served) office() *http.Client {
	s.t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		s.t.Fatal(err)
	}
	client := &http.Client{Jar: jar, Timeout: 20 * time.Second}
	resp, err := post(client, s.base+"/api/v1/session", uuid.NewString(), map[string]string{"email": "imogen@quillmere.example", "password": s.password})
	if err != nil {
		s.t.Fatal(err)
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		body, _ := io.ReadAll(resp.Body)
		s.t.Fatalf("sign in: %s %s", resp.Status, body)
	}
	return client
}

func post(client *http.Client, address, key string, body any) (*http.Response, error) {
	b, err := json.Marshal(body)
	if err != nil {
		return nil, err
	}
	req, err := http.NewRequest(http.MethodPost, address, bytes.NewReader(b))
	if err != nil {
		return nil, err
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Idempotency-Key", `"`+key+`"`)
	return client.Do(req)
}

func TestDemoOnceSaysEverythingAndEnds(t *testing.T) {
	users := map[string]*syscall.Credential{"whoever runs the test": nil}
	if os.Getuid() == 0 {
		users["an unprivileged user"] = &syscall.Credential{Uid: 65534, Gid: 65534}
	}
	for who, credential := range users {
		t.Run(who, func(t *testing.T) {
			uid, gid := os.Getuid(), os.Getgid()
			if credential != nil {
				uid, gid = int(credential.Uid), int(credential.Gid)
			}
			home := sharedTemp(t, uid, gid)
			cmd := program(t, home, "demo", "--once", "--at", "2026-12-01T07:15")
			cmd.SysProcAttr = &syscall.SysProcAttr{Credential: credential}
			out, err := cmd.CombinedOutput()
			if err != nil {
				t.Fatalf("%v\n%s", err, out)
			}
			for _, want := range []string{"Tue 1 Dec", "What the plan costs: £", "Scaffold bookings", "CLEAR TO START", "NOT CLEAR",
				"B02", "/scaffold/", "/feeds/", "imogen@quillmere.example", "Once served", "Guidance, not permission"} {
				if !strings.Contains(string(out), want) {
					t.Errorf("the demo does not print %q", want)
				}
			}
			if t.Failed() {
				t.Logf("%s", out)
			}
		})
	}
}

// sharedTemp makes a folder that belongs to a user and that others may enter,
// as homes mostly are; t.TempDir's are closed to the unprivileged user that
// Postgres runs as when root starts it.
func sharedTemp(t *testing.T, uid, gid int) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "toeboard-home-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Chown(dir, uid, gid); err != nil {
		t.Fatal(err)
	}
	return dir
}

func TestTwoDemosStandSideBySide(t *testing.T) {
	home := sharedTemp(t, os.Getuid(), os.Getgid())
	one, two := serveDemo(t, home), serveDemo(t, home)
	if one.base == two.base {
		t.Fatalf("both demos say they are at %s", one.base)
	}
	for _, s := range []*served{one, two} {
		resp, err := s.office().Get(s.base + "/api/v1/me")
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != http.StatusOK {
			t.Errorf("%s answers %s to its own office", s.base, resp.Status)
		}
	}
	if err := one.end(syscall.SIGINT); err != nil {
		t.Errorf("the first demo did not end cleanly: %v", err)
	}
	if resp, err := http.Get(two.base + "/healthz"); err != nil || resp.StatusCode != http.StatusOK {
		t.Errorf("ending one demo ended the other: %v", err)
	}
}

// A ledger of acknowledged writes: each stop-work that was answered 201 is
// there, once, after the demo and its Postgres were killed in mid-write. One
// whose answer was not seen may be there or not.
func TestAcknowledgedWritesSurviveAKill(t *testing.T) {
	home := sharedTemp(t, os.Getuid(), os.Getgid())
	dir := filepath.Join(home, "pg")
	s := serveDemo(t, home, "--data-dir", dir)
	clients := []*http.Client{s.office(), s.office(), s.office()}
	var mu sync.Mutex
	acked, sent := map[string]bool{}, map[string]bool{}
	enough := make(chan struct{})
	var writers sync.WaitGroup
	for w, client := range clients {
		writers.Go(func() {
			for i := range 2000 {
				reason := fmt.Sprintf("drill %d-%d", w, i)
				mu.Lock()
				sent[reason] = true
				mu.Unlock()
				resp, err := post(client, s.base+"/api/v1/stop-works", uuid.NewString(), map[string]string{"job_ref": "Q-1050", "reason": reason})
				if err != nil {
					return // the kill
				}
				body, err := io.ReadAll(resp.Body)
				resp.Body.Close()
				if resp.StatusCode != http.StatusCreated {
					if resp.StatusCode < 500 {
						t.Errorf("a stop was answered %s: %s", resp.Status, body)
					}
					return
				}
				mu.Lock()
				acked[reason] = err == nil
				if len(acked) == 40 {
					close(enough)
				}
				mu.Unlock()
			}
		})
	}
	select {
	case <-enough:
	case <-time.After(time.Minute):
		t.Fatalf("no 40 writes within a minute; the demo says:\n%s", s.out)
	}
	postmaster := firstLineOf(t, filepath.Join(dir, "data", "postmaster.pid"))
	s.end(syscall.SIGKILL)
	if pid, err := strconv.Atoi(postmaster); err == nil {
		syscall.Kill(pid, syscall.SIGKILL) // gone already when the watcher was quicker
	}
	writers.Wait()

	again := serveDemo(t, home, "--data-dir", dir)
	if again.password != s.password {
		t.Error("after the kill the demo is another firm: what was written is out of reach")
	}
	counts := stopsIn(t, dir)
	for reason := range acked {
		if counts[reason] != 1 {
			t.Errorf("%q was acknowledged and is there %d times", reason, counts[reason])
		}
	}
	for reason, n := range counts {
		if n != 1 || !sent[reason] {
			t.Errorf("%q is there %d times and was sent: %v", reason, n, sent[reason])
		}
	}
	t.Logf("%d acknowledged, %d there", len(acked), len(counts))
}

func firstLineOf(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	line, _, _ := strings.Cut(string(b), "\n")
	return strings.TrimSpace(line)
}

// stopsIn counts the stop-works by reason, past the service, in its Postgres.
func stopsIn(t *testing.T, dir string) map[string]int {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, "data", "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	u := url.URL{Scheme: "postgres", User: url.UserPassword("toeboard", firstLineOf(t, filepath.Join(dir, "password"))),
		Host: "127.0.0.1:" + strings.Split(string(b), "\n")[3], Path: "/toeboard"}
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, u.String())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(ctx)
	rows, err := conn.Query(ctx, `SELECT reason FROM stop_work`)
	if err != nil {
		t.Fatal(err)
	}
	reasons, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	counts := map[string]int{}
	for _, r := range reasons {
		counts[r]++
	}
	return counts
}
