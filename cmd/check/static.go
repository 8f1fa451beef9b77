package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
)

// staticSteps are the checks of the text of the program.
func staticSteps(packages []string) []step {
	steps := []step{
		{"gofmt", gofmt},
		{"go mod tidy", goRun("mod", "tidy", "-diff")},
		{"generated files are current", generatedIsCurrent},
		{"go vet", goRun(append([]string{"vet"}, packages...)...)},
		{"staticcheck", goRun(append([]string{"tool", "staticcheck"}, packages...)...)},
		{"govulncheck", govulncheck(packages)},
	}
	if packages[0] == everything {
		steps = append(steps, step{"program of the image", imageProgram})
	}
	return steps
}

func goRun(args ...string) func(context.Context) (string, error) {
	return func(ctx context.Context) (string, error) {
		ctx, cancel := context.WithTimeout(ctx, 10*time.Minute)
		defer cancel()
		output, err := command(ctx, "go", args...).CombinedOutput()
		if err != nil {
			return string(output), fmt.Errorf("go %s: %w", strings.Join(args, " "), err)
		}
		return string(output), nil
	}
}

func gofmt(ctx context.Context) (string, error) {
	var files []string
	if err := eachFile(".", func(path string) error {
		if strings.HasSuffix(path, ".go") {
			files = append(files, path)
		}
		return nil
	}); err != nil {
		return "", err
	}
	output, err := command(ctx, "gofmt", append([]string{"-l"}, files...)...).CombinedOutput()
	if err != nil {
		return string(output), fmt.Errorf("gofmt: %w", err)
	}
	if len(bytes.TrimSpace(output)) > 0 {
		return string(output), errors.New("not formatted: run gofmt -w")
	}
	return "", nil
}

// eachFile walks the files below root, leaving out hidden folders and npm's.
func eachFile(root string, do func(path string) error) error {
	return filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if path != root && (strings.HasPrefix(d.Name(), ".") || d.Name() == "node_modules") {
				return fs.SkipDir
			}
			return nil
		}
		if !d.Type().IsRegular() {
			return nil
		}
		return do(path)
	})
}

// generatedIsCurrent generates everything anew in a copy of the repository and
// compares: a check does not change what it checks.
func generatedIsCurrent(ctx context.Context) (string, error) {
	copied, err := os.MkdirTemp("", "toeboard-generate-")
	if err != nil {
		return "", err
	}
	defer os.RemoveAll(copied)
	before, err := sources(".")
	if err != nil {
		return "", err
	}
	for path, text := range before {
		to := filepath.Join(copied, path)
		if err := errors.Join(os.MkdirAll(filepath.Dir(to), 0o755), os.WriteFile(to, text, 0o644)); err != nil {
			return "", err
		}
	}
	ctx, cancel := context.WithTimeout(ctx, 10*time.Minute)
	defer cancel()
	cmd := command(ctx, "go", "generate", "./...")
	cmd.Dir = copied
	if output, err := cmd.CombinedOutput(); err != nil {
		return string(output), fmt.Errorf("go generate ./...: %w", err)
	}
	after, err := sources(copied)
	if err != nil {
		return "", err
	}
	var stale []string
	for _, path := range slices.Sorted(maps.Keys(after)) {
		if old, there := before[path]; !there || !bytes.Equal(old, after[path]) {
			stale = append(stale, path)
		}
	}
	if len(stale) > 0 {
		return strings.Join(stale, "\n"), errors.New("stale: generate anew (go generate ./...) and commit")
	}
	return "", nil
}

// sources is the content of the files below root that the program is made of;
// data for tests is not.
func sources(root string) (map[string][]byte, error) {
	files := map[string][]byte{}
	err := eachFile(root, func(path string) error {
		name, err := filepath.Rel(root, path)
		if err != nil || strings.HasPrefix(name, "testdata"+string(filepath.Separator)) {
			return err
		}
		files[name], err = os.ReadFile(path)
		return err
	})
	return files, err
}

var noDatabase = regexp.MustCompile(`fetching vulnerabilities|dial tcp|no such host|proxyconnect|TLS handshake|connection refused|i/o timeout`)

// isUnreachable tells a govulncheck that got no database from one that found
// something in it, whose text may speak of connections too.
func isUnreachable(output string) bool {
	return noDatabase.MatchString(output) && !strings.Contains(output, "Vulnerability #")
}

// govulncheck asks whether a known vulnerability is called. Its database is on
// the network; where that cannot be reached the step says so and is not passed.
func govulncheck(packages []string) func(context.Context) (string, error) {
	return func(ctx context.Context) (string, error) {
		limited, cancel := context.WithTimeout(ctx, 4*time.Minute)
		defer cancel()
		output, err := command(limited, "go", append([]string{"tool", "govulncheck"}, packages...)...).CombinedOutput()
		switch {
		case err == nil:
			return "", nil
		case ctx.Err() != nil:
			return "", ctx.Err()
		case limited.Err() != nil, isUnreachable(string(output)):
			return "", notRun("not run: database unreachable")
		}
		return string(output), fmt.Errorf("govulncheck: %w", err)
	}
}
