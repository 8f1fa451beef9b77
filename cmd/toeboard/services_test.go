package main

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"github.com/google/uuid"

	"toeboard/migrations/dbtest"
	"toeboard/schedule"
	"toeboard/weather/civil"
)

// The command says what the firm begins with by the settings, sets its own with
// who and why, and refuses what cannot be asked; what is refused changes nothing.
func TestWeatherServicesByTheCommandLine(t *testing.T) {
	t.Parallel()
	db := dbtest.New(t)
	err := schedule.NewStore(db.App, newID).CreateFirm(context.Background(), schedule.Firm{ID: uuid.New(), Name: "Quillmere Solar", TimeZone: "Europe/London",
		Division: "england-and-wales", Hours: civil.UsualHours, Rates: schedule.DefaultRates(), BaseLat: 51.5, BaseLon: -0.1}, nil)
	if err != nil {
		t.Fatal(err)
	}
	home := t.TempDir()
	services := func(args ...string) (says string, err error) {
		cmd := program(t, home, append([]string{"services", "--forecast=met-norway"}, args...)...)
		cmd.Env = append(cmd.Env, "DATABASE_URL="+db.URL)
		var out bytes.Buffer
		cmd.Stdout, cmd.Stderr = &out, &out
		err = cmd.Run()
		return out.String(), err
	}
	begins := "met-norway: the first that answers (version 1)\n"
	if says, err := services(); err != nil || says != begins {
		t.Fatalf("%v: %s", err, says)
	}
	by := []string{"--by", "Imogen", "--why", "a test"}
	for _, c := range []struct{ set, says string }{{"site-hourly", "TOEBOARD_HOURLY_FORECAST names no such service"}, {"oracle", "can be asked here"}, {"met-norway,met-norway", "each weather service once"}} {
		if says, err := services(append([]string{"--set", c.set}, by...)...); err == nil || !strings.Contains(says, c.says) {
			t.Errorf("%s: %v, %s", c.set, err, says)
		}
	}
	if says, err := services("--set", "open-meteo", "--by", "Imogen"); err == nil || !strings.Contains(says, "--why") {
		t.Errorf("nobody says why: %v, %s", err, says)
	}
	if says, err := services(append([]string{"--set", "met-norway"}, by...)...); err != nil || !strings.Contains(says, "Nothing changes: version 1") {
		t.Errorf("the same: %v, %s", err, says)
	}
	if says, err := services(append([]string{"--set", "met-norway,open-meteo", "--together", "worst"}, by...)...); err != nil || !strings.Contains(says, "- asked: met-norway becomes met-norway, then open-meteo\n") || !strings.Contains(says, "Version 2 is in force, set by Imogen") {
		t.Errorf("the firm's own: %v, %s", err, says)
	}
	if says, err := services(); err != nil || says != "met-norway,open-meteo: the worse of those that answer (version 2)\n" {
		t.Errorf("after setting: %v, %s", err, says)
	}
}
