package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"toeboard/migrations/localpg"
)

// tool is something the tests need from the machine.
type tool struct {
	what     string
	packages []string // Debian packages that bring it
	missing  func(ctx context.Context) error
}

var needed = []tool{
	{"PostgreSQL 14 or newer", []string{"postgresql"}, func(context.Context) error {
		_, err := localpg.Find()
		return err
	}},
	{"Chromium", []string{"chromium"}, onPath("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")},
	{"Python with icalendar", []string{"python3", "python3-icalendar"}, func(ctx context.Context) error {
		return exec.CommandContext(ctx, "/usr/bin/python3", "-c", "import icalendar").Run()
	}},
	{"a calendar program", []string{"khal"}, onPath("khal")},
	{"what fetches its feeds", []string{"vdirsyncer"}, onPath("vdirsyncer")},
	{"node", []string{"nodejs"}, onPath("node")},
	{"npm", []string{"npm"}, onPath("npm")},
	{"a C compiler (race detector)", []string{"gcc", "libc6-dev"}, onPath("gcc", "clang", "cc")},
	{"xz", []string{"xz-utils"}, onPath("xz")},
	{"git", []string{"git"}, onPath("git")},
	{"a reader of PDF", []string{"poppler-utils"}, onPath("pdftotext")},
}

func onPath(names ...string) func(context.Context) error {
	return func(context.Context) error {
		for _, name := range names {
			if _, err := exec.LookPath(name); err == nil {
				return nil
			}
		}
		return fmt.Errorf("no %s on PATH", names[0])
	}
}

// tools is what was found and matters for how the tests are run.
type tools struct {
	race bool
}

// findTools makes sure of every tool, installing what it may.
func findTools(ctx context.Context, sum *summary, install bool) tools {
	ctx, cancel := context.WithTimeout(ctx, 20*time.Minute)
	defer cancel()
	sum.step(ctx, step{"tools of the machine", func(ctx context.Context) (string, error) {
		lacking := lack(ctx)
		if len(lacking) == 0 {
			return "", nil
		}
		if !install || !canInstall() {
			return "", howToInstall(lacking)
		}
		fmt.Printf("installing %s ... ", strings.Join(debianPackages(lacking), " "))
		output, err := aptInstall(ctx, lacking)
		if err != nil {
			return output, err
		}
		if still := lack(ctx); len(still) > 0 {
			return output, howToInstall(still)
		}
		return "", nil
	}})
	sum.step(ctx, step{"npm modules of the tests", func(ctx context.Context) (string, error) { return npmInstall(ctx, install) }})
	return tools{race: onPath("gcc", "clang", "cc")(ctx) == nil}
}

func lack(ctx context.Context) []tool {
	var lacking []tool
	for _, t := range needed {
		if t.missing(ctx) != nil {
			lacking = append(lacking, t)
		}
	}
	return lacking
}

func howToInstall(lacking []tool) error {
	var what []string
	for _, t := range lacking {
		what = append(what, t.what)
	}
	return fmt.Errorf("missing: %s\non Debian or Ubuntu: sudo apt-get install -y --no-install-recommends %s\nelsewhere install the same by your system's means",
		strings.Join(what, ", "), strings.Join(debianPackages(lacking), " "))
}

func debianPackages(lacking []tool) []string {
	var packages []string
	for _, t := range lacking {
		packages = append(packages, t.packages...)
	}
	return packages
}

func canInstall() bool {
	_, err := exec.LookPath("apt-get")
	return err == nil && os.Geteuid() == 0
}

// aptInstall installs packages without starting a service of theirs.
func aptInstall(ctx context.Context, lacking []tool) (string, error) {
	undo, err := forbidServices()
	if err != nil {
		return "", err
	}
	defer undo()
	var output bytes.Buffer
	apt := func(args ...string) error {
		cmd := command(ctx, "apt-get", append([]string{"-q", "-o", "DPkg::Lock::Timeout=300"}, args...)...)
		cmd.Env = append(os.Environ(), "DEBIAN_FRONTEND=noninteractive")
		cmd.Stdout, cmd.Stderr = &output, &output
		if err := cmd.Run(); err != nil {
			return fmt.Errorf("apt-get %s: %w", strings.Join(args, " "), err)
		}
		return nil
	}
	if err := apt("update"); err != nil {
		return output.String(), err
	}
	err = apt(append([]string{"install", "-y", "--no-install-recommends"}, debianPackages(lacking)...)...)
	return output.String(), err
}

// forbidServices keeps apt from starting a database server or anything else: a
// policy-rc.d that answers "forbidden" (101), unless the machine has one.
func forbidServices() (undo func(), err error) {
	const policy = "/usr/sbin/policy-rc.d"
	if _, err := os.Stat(policy); err == nil {
		return func() {}, nil
	}
	if err := os.WriteFile(policy, []byte("#!/bin/sh\nexit 101\n"), 0o755); err != nil {
		return nil, fmt.Errorf("services could be started by apt-get: %w", err)
	}
	return func() { os.Remove(policy) }, nil
}

// npmInstall puts the pinned modules into .cache/js, which git ignores. It is
// skipped when they are there from the same lock file.
func npmInstall(ctx context.Context, install bool) (string, error) {
	from, to := filepath.Join("testdata", "js"), filepath.Join(".cache", "js")
	lock, err := os.ReadFile(filepath.Join(from, "package-lock.json"))
	if err != nil {
		return "", err
	}
	stamp := filepath.Join(to, "installed")
	if have, err := os.ReadFile(stamp); err == nil && bytes.Equal(have, lock) {
		return "", nil
	}
	if !install {
		return "", errors.New("not installed: see testdata/js/SOURCE.md")
	}
	if err := os.MkdirAll(to, 0o755); err != nil {
		return "", err
	}
	for _, name := range []string{"package.json", "package-lock.json", ".npmrc"} {
		text, err := os.ReadFile(filepath.Join(from, name))
		if err != nil {
			return "", err
		}
		if err := os.WriteFile(filepath.Join(to, name), text, 0o644); err != nil {
			return "", err
		}
	}
	ctx, cancel := context.WithTimeout(ctx, 5*time.Minute)
	defer cancel()
	cmd := command(ctx, "npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund", "--no-update-notifier")
	cmd.Dir = to
	if output, err := cmd.CombinedOutput(); err != nil {
		return string(output), fmt.Errorf("npm ci in %s: %w", to, err)
	}
	return "", os.WriteFile(stamp, lock, 0o644)
}
