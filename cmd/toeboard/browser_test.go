package main

import (
	"context"
	"os"
	"os/exec"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// browser starts a Chromium of its own, as large as a phone, and ends it with
// the test. Where there is none the test says so; under the check that is a
// failure.
func browser(t *testing.T, width, height int) context.Context {
	t.Helper()
	path := chromium(t)
	profile, err := os.MkdirTemp("", "toeboard-browser-")
	if err != nil {
		t.Fatal(err)
	}
	// Chromium may still write while it ends, so the folder goes when it can.
	t.Cleanup(func() { os.RemoveAll(profile) })
	opts := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true),
		chromedp.UserDataDir(profile), chromedp.WindowSize(width, height), chromedp.WSURLReadTimeout(90*time.Second))
	allocator, stop := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(stop)
	tab, end := chromedp.NewContext(allocator)
	t.Cleanup(end)
	ctx, cancel := context.WithTimeout(tab, 4*time.Minute)
	t.Cleanup(cancel)
	do(ctx, t, "start the browser")
	return ctx
}

func chromium(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	const say = "NOT RUN: no Chromium on PATH, so nobody has looked at the pages (apt-get install chromium)"
	if os.Getenv("TOEBOARD_REQUIRE_BROWSER") == "1" {
		t.Fatal(say)
	}
	t.Skip(say)
	return ""
}

// do runs browser steps and fails the test at the first that does not work.
func do(ctx context.Context, t *testing.T, what string, steps ...chromedp.Action) {
	t.Helper()
	if err := chromedp.Run(ctx, steps...); err != nil {
		t.Fatalf("%s: %v", what, err)
	}
}
