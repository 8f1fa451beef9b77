package main

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/uuid"

	"toeboard/migrations/dbtest"
	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
)

// What 'record' writes 'verify' proves without a database; what is changed in
// file or database is named, with exit status 3.
func TestRecordAndVerifyByTheCommandLine(t *testing.T) {
	t.Parallel()
	db := dbtest.New(t)
	ctx := context.Background()
	schedules, firm, person := schedule.NewStore(db.App, newID), uuid.New(), uuid.New()
	fail := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	fail(schedules.CreateFirm(ctx, schedule.Firm{ID: firm, Name: "Quillmere Solar", TimeZone: "Europe/London",
		Division: "england-and-wales", Hours: civil.UsualHours, Rates: schedule.DefaultRates(), BaseLat: 51.5, BaseLon: -0.1}, nil))
	fail(schedules.SavePerson(ctx, firm, schedule.Person{ID: person, Name: "Rhodri Pask", Role: schedule.CrewLead, Active: true}))
	store := safety.NewStore(db.App, newID)
	for _, kind := range []string{safety.LeadRoof, safety.Roof, safety.FirstAid} {
		fail(store.SaveCompetence(ctx, firm, person, safety.Competence{Kind: kind, From: civil.On(2026, 1, 1), Until: civil.NoDate, Evidence: "card 7"}))
	}
	home := t.TempDir()
	run := func(database bool, args ...string) (out, errs string, status int) {
		t.Helper()
		cmd := program(t, home, args...)
		if database {
			cmd.Env = append(cmd.Env, "DATABASE_URL="+db.URL)
		} else {
			cmd.Env = append(cmd.Env, "DATABASE_URL=postgres://nobody@127.0.0.1:1/none")
		}
		var stdout, stderr bytes.Buffer
		cmd.Stdout, cmd.Stderr = &stdout, &stderr
		err := cmd.Run()
		if _, ended := err.(*exec.ExitError); err != nil && !ended {
			t.Fatal(err)
		}
		return stdout.String(), stderr.String(), cmd.ProcessState.ExitCode()
	}
	file := func(name, text string) string {
		t.Helper()
		path := filepath.Join(home, name)
		fail(os.WriteFile(path, []byte(text), 0o600))
		return path
	}
	secret := file("secret", strings.Repeat("5a", 32)+"\n")
	head, _, status := run(true, "record", "--head", "--record-key", secret)
	if status != 0 || !strings.Contains(head, "\n3\n") {
		t.Fatalf("the head: %d %s", status, head)
	}
	keys, _, _ := run(true, "record", "--keys", "--record-key", secret)
	export := filepath.Join(home, "record.jsonl")
	if _, errs, status := run(true, "record", "--out", export, "--record-key", secret); status != 0 {
		t.Fatalf("export: %d %s", status, errs)
	}
	if _, errs, status := run(true, "record", "--out", export, "--record-key", secret); status != 1 || !strings.Contains(errs, "nothing is written over") {
		t.Errorf("over a file that is there: %d %s", status, errs)
	}
	kept, keyFile := file("head", head), file("key", keys)
	for _, args := range [][]string{{"verify", export}, {"verify", export, "--key", strings.TrimSpace(keys)}, {"verify", export, "--key", keyFile, "--head", kept}} {
		if out, errs, status := run(false, args...); status != 0 || !strings.Contains(out, "Proven: the whole record of Quillmere Solar, 3 entries") {
			t.Errorf("%v: %d %s%s", args, status, out, errs)
		}
	}
	whole, err := os.ReadFile(export)
	fail(err)
	changed := file("changed", strings.Replace(string(whole), "card 7", "card 8", 1))
	if out, errs, status := run(false, "verify", changed); status != 3 || !strings.Contains(out, "competence by Rhodri Pask (entry 0") || !strings.Contains(errs, "NOT proven") {
		t.Errorf("a changed byte: %d %s%s", status, out, errs)
	}
	if _, errs, status := run(false, "verify", export, "--key", "no-key"); status != 1 || !strings.Contains(errs, "cannot be read") {
		t.Errorf("a key that is none: %d %s", status, errs)
	}
	if _, errs, status := run(false, "verify"); status != 1 || !strings.Contains(errs, "--database") {
		t.Errorf("nothing to verify: %d %s", status, errs)
	}
	if out, errs, status := run(true, "verify", "--database", "--record-key", secret, "--head", kept); status != 0 {
		t.Errorf("the database: %d %s%s", status, out, errs)
	}
	_, err = db.Owner.Exec(ctx, `UPDATE competence SET evidence = 'card 9' WHERE kind = 'roof'`)
	fail(err)
	if out, _, status := run(true, "verify", "--database", "--record-key", secret); status != 3 || !strings.Contains(out, `its evidence is "card 9" in the database and "card 7" in the log`) {
		t.Errorf("a changed row: %d %s", status, out)
	}
	var seeds int
	fail(db.Owner.QueryRow(ctx, `SELECT count(seed) FROM record_signer`).Scan(&seeds))
	if seeds != 0 {
		t.Errorf("%d secrets in the database, though the key is kept outside", seeds)
	}
}
