package main

import (
	"context"
	"debug/elf"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"time"
)

// buildLine is how the Dockerfile builds the program.
var buildLine = regexp.MustCompile(`CGO_ENABLED=0 go build (.*?) ?-o \S+ (\./cmd/toeboard)`)

// imageProgram checks what can be checked of the image without a container
// engine: that the program built as the Dockerfile builds it needs nothing of
// the system it runs on.
func imageProgram(ctx context.Context) (string, error) {
	if runtime.GOOS != "linux" {
		return "", notRun("not run: the image's program is a Linux one")
	}
	text, err := os.ReadFile("Dockerfile")
	if err != nil {
		return "", err
	}
	m := buildLine.FindSubmatch(text)
	if m == nil {
		return "", errors.New("the Dockerfile has no line that builds ./cmd/toeboard without C")
	}
	dir, err := os.MkdirTemp("", "toeboard-image-")
	if err != nil {
		return "", err
	}
	defer os.RemoveAll(dir)
	program := filepath.Join(dir, "toeboard")
	ctx, cancel := context.WithTimeout(ctx, 10*time.Minute)
	defer cancel()
	args := append([]string{"build"}, strings.Fields(string(m[1]))...)
	build := command(ctx, "go", append(args, "-o", program, string(m[2]))...)
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if output, err := build.CombinedOutput(); err != nil {
		return string(output), fmt.Errorf("go build: %w", err)
	}
	if err := isStatic(program); err != nil {
		return "", err
	}
	return runsAlone(ctx, dir, program)
}

// isStatic says whether a program asks for no loader and no library.
func isStatic(program string) error {
	f, err := elf.Open(program)
	if err != nil {
		return err
	}
	defer f.Close()
	for _, p := range f.Progs {
		if p.Type == elf.PT_INTERP {
			return errors.New("the program is not static: it asks for a loader")
		}
	}
	libraries, err := f.ImportedLibraries()
	if err == nil && len(libraries) > 0 {
		return fmt.Errorf("the program is not static: it needs %s", strings.Join(libraries, ", "))
	}
	return nil
}
