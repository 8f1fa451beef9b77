package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/uuid"

	"toeboard/migrations/dbtest"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// What the command prints is what it takes; what it takes is what a next look
// prints; and what is refused changes nothing.
func TestLimitsByTheCommandLine(t *testing.T) {
	t.Parallel()
	db := dbtest.New(t)
	err := schedule.NewStore(db.App, newID).CreateFirm(context.Background(), schedule.Firm{ID: uuid.New(), Name: "Quillmere Solar", TimeZone: "Europe/London",
		Division: "england-and-wales", Hours: civil.UsualHours, Rates: schedule.DefaultRates(), BaseLat: 51.5, BaseLon: -0.1}, nil)
	if err != nil {
		t.Fatal(err)
	}
	home := t.TempDir()
	limits := func(args ...string) (out, errs string, err error) {
		cmd := program(t, home, append([]string{"limits"}, args...)...)
		cmd.Env = append(cmd.Env, "DATABASE_URL="+db.URL)
		var stdout, stderr bytes.Buffer
		cmd.Stdout, cmd.Stderr = &stdout, &stderr
		err = cmd.Run()
		return stdout.String(), stderr.String(), err
	}
	usual, errs, err := limits()
	if err != nil || usual != string(weather.DefaultLimits().CSV()) {
		t.Fatalf("%v %s: %s", err, errs, usual)
	}
	file := filepath.Join(home, "ours.csv")
	set := func(text string, args ...string) (out, errs string, err error) {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return limits(append([]string{"--set", file}, args...)...)
	}
	const row = "panel_carrying,wind_gust,,8,10.28,m/s"
	ours := strings.Replace(usual, row, "panel_carrying,wind_gust,,6,7.5,m/s", 1)
	for name, c := range map[string]struct {
		text string
		args []string
		says string
	}{
		"nobody sets them":   {ours, nil, "--by"},
		"nobody says why":    {ours, []string{"--by", "Imogen"}, "--why"},
		"a hole":             {strings.Replace(usual, row, "panel_carrying,wind_gust,,8,,m/s", 1), []string{"--by", "Imogen", "--why", "a test"}, "a stop level for wind_gust"},
		"another unit":       {strings.Replace(usual, row, "panel_carrying,wind_gust,,18,23,mph", 1), []string{"--by", "Imogen", "--why", "a test"}, "mph"},
		"not a limits' file": {"ref,address\n", []string{"--by", "Imogen", "--why", "a test"}, "ours.csv"},
	} {
		if out, errs, err := set(c.text, c.args...); err == nil || !strings.Contains(errs, c.says) {
			t.Errorf("%s: %v, %s%s; want an error that says %q", name, err, out, errs, c.says)
		}
	}
	out, errs, err := set(usual, "--by", "Imogen", "--why", "a test")
	if err != nil || !strings.Contains(out, "Nothing changes: version 1") {
		t.Errorf("the same again: %v, %s%s", err, out, errs)
	}
	out, errs, err = set(ours, "--by", "Imogen", "--why", "a test")
	if err != nil || !strings.Contains(out, "stop 10.28 m/s becomes 7.5 m/s") || !strings.Contains(out, "Version 2 is in force, set by Imogen") || strings.Count(out, "\n- ") > 0 {
		t.Errorf("the firm's own: %v, %s%s", err, out, errs)
	}
	if now, errs, err := limits(); err != nil || now != ours {
		t.Errorf("after setting: %v, %s%s", err, now, errs)
	}

	// The weather command judges a forecast by the same file.
	forecast, err := filepath.Abs(filepath.Join("..", "..", "testdata", "weather", "openmeteo", "linecast_forecast.json"))
	if err != nil {
		t.Fatal(err)
	}
	judged := func(args ...string) string {
		out, err := program(t, home, append([]string{"weather", forecast}, args...)...).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		return string(out)
	}
	if before, after := judged(), judged("--limits", file); strings.Contains(before, "(stop at 7.5)") || !strings.Contains(after, "(stop at 7.5)") {
		t.Errorf("the weather command takes no notice of the limits given to it:\n%s", after)
	}
}
