package main

import (
	"bytes"
	"context"
	"crypto/sha256"
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
	if err := eachFile(func(path string) error {
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

// eachFile walks the repository's files, leaving out hidden folders and npm's.
func eachFile(do func(path string) error) error {
	return filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if path != "." && (strings.HasPrefix(d.Name(), ".") || d.Name() == "node_modules") {
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

// generatedIsCurrent generates everything anew, compares, and puts back what was
// there: a check does not change what it checks.
func generatedIsCurrent(ctx context.Context) (string, error) {
	before, err := snapshot()
	if err != nil {
		return "", err
	}
	output, err := goRun("generate", "./...")(ctx)
	if err != nil {
		return output, err
	}
	after, err := snapshot()
	if err != nil {
		return "", err
	}
	var stale []string
	for _, path := range slices.Sorted(maps.Keys(after)) {
		old, there := before[path]
		if there && sha256.Sum256(old) == sha256.Sum256(after[path]) {
			continue
		}
		stale = append(stale, path)
		if there {
			err = errors.Join(err, os.WriteFile(path, old, 0o644))
		} else {
			err = errors.Join(err, os.Remove(path))
		}
	}
	if err != nil {
		return "", err
	}
	if len(stale) > 0 {
		return strings.Join(stale, "\n"), errors.New("stale: generate anew (go generate ./...) and commit")
	}
	return "", nil
}

// snapshot is the content of the files that may be generated; data for tests is
// not.
func snapshot() (map[string][]byte, error) {
	files := map[string][]byte{}
	err := eachFile(func(path string) error {
		if strings.HasPrefix(path, "testdata") {
			return nil
		}
		text, err := os.ReadFile(path)
		files[path] = text
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
