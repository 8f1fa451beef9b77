// Command check is the whole check: it gets what the tests need, runs the
// linters and every test with the race detector on, and ends with one summary.
// It is what contributors run before they push and all that CI runs.
//
// As root on Debian or Ubuntu it installs what is missing; otherwise it says
// exactly what to install. What could not be run is named, never passed over.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"
)

const everything = "./..."

func main() {
	install := flag.Bool("install", true, "as root, install missing Debian packages and npm modules")
	flag.Usage = func() {
		fmt.Fprintln(os.Stderr, "usage: go run ./cmd/check [-install=false] [packages]\n\nWithout packages everything is checked.")
		flag.PrintDefaults()
	}
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, *install, flag.Args())
	stop()
	os.Exit(code)
}

// run does every step, whatever became of the ones before, and gives the exit
// code.
func run(ctx context.Context, install bool, packages []string) int {
	root, err := moduleRoot()
	if err == nil {
		err = os.Chdir(root)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "check:", err)
		return 1
	}
	if len(packages) == 0 {
		packages = []string{everything}
	}
	sum := summary{start: time.Now()}
	tools := findTools(ctx, &sum, install)
	for _, s := range staticSteps(packages) {
		sum.step(ctx, s)
	}
	runTests(ctx, &sum, tools, packages)
	if ctx.Err() != nil {
		sum.add(result{name: "whole check", outcome: failed, note: "interrupted"})
	}
	fmt.Print(sum.String())
	if sum.count(failed) > 0 {
		return 1
	}
	return 0
}

func moduleRoot() (string, error) {
	dir, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir, nil
		}
		up := filepath.Dir(dir)
		if up == dir {
			return "", errors.New("no go.mod here or above: run it inside the repository")
		}
		dir = up
	}
}

// command is a child that is interrupted, then killed, when ctx ends.
func command(ctx context.Context, name string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Cancel = func() error { return cmd.Process.Signal(os.Interrupt) }
	cmd.WaitDelay = 10 * time.Second
	return cmd
}
