package safety_test

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"toeboard/safety"
	"toeboard/safety/ledger"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// logged is a scene with a record of every kind and a head of the night.
func logged(t *testing.T) *scene {
	t.Helper()
	sc := newScene(t)
	sc.fill(t)
	sc.decide(t)
	if _, err := sc.store.SignHead(t.Context(), sc.firm, at(9, 0)); err != nil {
		t.Fatal(err)
	}
	return sc
}

// past runs a statement as a superuser past every trigger, as an intruder would,
// tells what the check finds, and takes it back.
func (sc *scene) past(t *testing.T, sql string) string {
	t.Helper()
	backup := sc.dump(t)
	sc.force(t, sql)
	got, err := sc.store.CheckRecord(t.Context(), sc.firm, ledger.Trust{}, at(10, 0))
	found := ""
	for _, f := range got.Faults {
		found += f.Sentence() + "\n"
	}
	if err != nil {
		found += err.Error()
	}
	sc.restore(t, backup)
	return found
}

func (sc *scene) force(t *testing.T, sql string) {
	t.Helper()
	tag, err := sc.Owner.Exec(t.Context(), "SET session_replication_role = replica; "+sql+"; SET session_replication_role = origin", pgx.QueryExecModeSimpleProtocol)
	if err != nil {
		t.Fatalf("%s: %v (%s)", sql, err, tag)
	}
}

var keptTables = func() []string {
	all := []string{"record_entry", "record_head", "record_signer"}
	for _, k := range ledger.Kinds {
		all = append(all, k.Table)
	}
	return all
}()

func (sc *scene) dump(t *testing.T) map[string]string {
	t.Helper()
	all := map[string]string{}
	for _, table := range keptTables {
		var rows string
		if err := sc.Owner.QueryRow(t.Context(), `SELECT coalesce(jsonb_agg(to_jsonb(t)), '[]')::text FROM `+table+` t`).Scan(&rows); err != nil {
			t.Fatal(err)
		}
		all[table] = rows
	}
	return all
}

func (sc *scene) restore(t *testing.T, all map[string]string) {
	t.Helper()
	for table, rows := range all {
		sc.force(t, "DELETE FROM "+table+"; INSERT INTO "+table+" SELECT * FROM jsonb_populate_recordset(NULL::"+table+", '"+strings.ReplaceAll(rows, "'", "''")+"')")
	}
}

func TestAnUntouchedRecordIsProven(t *testing.T) {
	t.Parallel()
	sc := logged(t)
	report, err := sc.store.CheckRecord(t.Context(), sc.firm, ledger.Trust{}, at(10, 0))
	if err != nil || !report.Proven() || report.Entries != int64(len(sc.entries(t))) {
		t.Errorf("%+v, %v", report.Faults, err)
	}
	if found := sc.past(t, `SELECT 1`); found != "" {
		t.Errorf("nothing done, found: %s", found)
	}
	keys, err := sc.store.PublicKeys(t.Context(), sc.firm)
	if err != nil || len(keys) != 1 {
		t.Fatalf("keys %v, %v", keys, err)
	}
	for scope, part := range map[safety.RecordScope]bool{safety.WholeRecord: false, {JobRef: "Q-1041", Day: civil.NoDate}: true, {JobRef: "Q-1041", Day: day}: true, {JobRef: "Q-1041", Day: day + 1}: true} {
		var out bytes.Buffer
		if err := sc.store.ExportRecord(t.Context(), sc.firm, scope, at(10, 0), &out); err != nil {
			t.Fatal(err)
		}
		got, err := ledger.Verify(&out, ledger.Trust{Keys: keys})
		if err != nil || !got.Proven() || got.Entries == 0 || got.About.Whole == part {
			t.Errorf("%+v: %+v, %v", scope, got, err)
		}
	}
	err = sc.store.ExportRecord(t.Context(), sc.firm, safety.RecordScope{JobRef: "Q-9", Day: civil.NoDate}, at(10, 0), io.Discard)
	if fault.KindOf(err) != fault.NotFound {
		t.Errorf("a job that is not there: %v", err)
	}
}

// Every column of every kept table is changed in every row, one after the other,
// by a superuser past the triggers: each change is found and its record named.
func TestAChangeOfAnyStoredRecordIsFoundAndNamed(t *testing.T) {
	t.Parallel()
	sc := logged(t)
	changes := map[string]string{ // by the column's type: the least change there is
		"uuid":                     `overlay(%[1]s::text placing (CASE WHEN %[1]s::text LIKE '0%%' THEN '1' ELSE '0' END) from 1 for 1)::uuid`,
		"text":                     `%[1]s || 'x'`,
		"integer":                  `%[1]s + 1`,
		"jsonb":                    `CASE jsonb_typeof(%[1]s) WHEN 'object' THEN %[1]s || '{"x": 1}' ELSE %[1]s || '[1]' END`,
		"bytea":                    `set_byte(%[1]s, 7, 255 - get_byte(%[1]s, 7))`,
		"timestamp with time zone": `%[1]s + interval '1 microsecond'`,
		"date":                     `%[1]s + 1`,
		"double precision":         `%[1]s + 1e-9`,
		"boolean":                  `NOT %[1]s`,
	}
	tried := 0
	sc.dropChecks(t)
	for _, k := range ledger.Kinds {
		rows, err := sc.Owner.Query(t.Context(), `SELECT column_name::text, data_type::text FROM information_schema.columns
			WHERE table_schema = 'public' AND table_name = $1 AND column_name <> 'firm_id' ORDER BY ordinal_position`, k.Table)
		if err != nil {
			t.Fatal(err)
		}
		type column struct{ Name, Type string }
		columns, err := pgx.CollectRows(rows, pgx.RowToStructByPos[column])
		if err != nil {
			t.Fatal(err)
		}
		// One row of each kind: all of its columns, each of the least change.
		where := " WHERE ctid = (SELECT min(ctid) FROM " + k.Table + " WHERE %s IS NOT NULL)"
		for _, c := range columns {
			change, ok := changes[c.Type]
			if !ok {
				t.Fatalf("%s.%s is of type %s: say how to change it", k.Table, c.Name, c.Type)
			}
			var n int
			if err := sc.Owner.QueryRow(t.Context(), "SELECT count("+c.Name+") FROM "+k.Table).Scan(&n); err != nil {
				t.Fatal(err)
			}
			if n == 0 {
				continue // NULL throughout
			}
			was := sc.dump(t)
			sql := "UPDATE " + k.Table + " SET " + c.Name + " = " + fmt.Sprintf(change, c.Name) + fmt.Sprintf(where, c.Name)
			sc.force(t, "BEGIN; "+sql+"; COMMIT")
			found := sc.check(t)
			if !strings.Contains(found, k.Words) {
				t.Errorf("%s: not found, or not named:\n%s", sql, found)
			}
			inKey := strings.Contains(strings.Join(k.Key, " "), c.Name)
			if !inKey && !strings.Contains(found, "its "+c.Name+" ") {
				t.Errorf("%s: the column is not named:\n%s", sql, found)
			}
			tried++
			sc.restore(t, map[string]string{k.Table: was[k.Table]})
		}
	}
	if tried < 70 {
		t.Errorf("only %d columns were tried", tried)
	}
	if found := sc.check(t); found != "" {
		t.Errorf("the scene was not put back: %s", found)
	}
}

// dropChecks takes away what a superuser can take away: the tables' own checks
// would stop some of the changes, and it is not on them that the finding rests.
func (sc *scene) dropChecks(t *testing.T) {
	t.Helper()
	rows, err := sc.Owner.Query(t.Context(), `SELECT conrelid::regclass::text, conname::text FROM pg_constraint WHERE contype = 'c' AND connamespace = 'public'::regnamespace`)
	if err != nil {
		t.Fatal(err)
	}
	type check struct{ Table, Name string }
	all, err := pgx.CollectRows(rows, pgx.RowToStructByPos[check])
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range all {
		if slices.Contains(keptTables, c.Table) {
			sc.force(t, "ALTER TABLE "+c.Table+" DROP CONSTRAINT "+c.Name)
		}
	}
}

func (sc *scene) check(t *testing.T) string {
	t.Helper()
	got, err := sc.store.CheckRecord(t.Context(), sc.firm, ledger.Trust{}, at(10, 0))
	if err != nil {
		return err.Error()
	}
	var all strings.Builder
	for _, f := range got.Faults {
		all.WriteString(f.Sentence() + "\n")
	}
	return all.String()
}

// What an intruder does to whole rows, to the log, to heads and keys.
func TestWhatIsDoneToTheDatabaseIsNamed(t *testing.T) {
	t.Parallel()
	sc := logged(t)
	signature := "signature by "
	for _, c := range []struct{ name, sql, want string }{
		{"a record removed", `DELETE FROM sign_off`, "its row is gone from the table sign_off"},
		{"a record added", fmt.Sprintf(`INSERT INTO stop_work VALUES ('%s', '%s', '%s', 'calm', '%s', now())`, sc.firm, newID(), sc.job, sc.lead),
			"it has no entry in the log: it was written past the service"},
		{"an entry's text changed", `UPDATE record_entry SET entry = replace(entry, 'I am fit', 'I am  fit') WHERE kind = 'sign_off'`,
			signature + "Dele Ashworth for job Q-1041 on 2026-11-30"},
		{"record and entry changed alike", `UPDATE sign_off SET typed_name = 'Dele Ashwort'; UPDATE record_entry SET entry = replace(entry, '"typed_name":"Dele Ashworth"', '"typed_name":"Dele Ashwort"')`,
			"its text was changed: it does not give the hash it was kept under"},
		{"record, entry and leaf changed alike", `UPDATE record_entry SET entry = replace(entry, 'loose board', 'loose bord') WHERE kind = 'stop_work';
			UPDATE stop_work SET reason = 'loose bord';
			UPDATE record_entry SET hashes = sha256('\x00' || convert_to(entry, 'UTF8')) || substr(hashes, 33) WHERE kind = 'stop_work'`,
			"are not those whose head was signed at 2026-11-30 09:00:00 UTC"},
		{"an entry removed", `DELETE FROM record_entry WHERE seq = 3`, "entry 3 is missing before this line"},
		{"the last entries removed", `DELETE FROM record_entry WHERE seq > (SELECT max(seq) - 2 FROM record_entry)`, "entries are missing at the end"},
		{"two entries swapped", `UPDATE record_entry SET seq = seq + 1000 WHERE seq IN (4, 5); UPDATE record_entry SET seq = 1009 - seq WHERE seq > 1000`, "it does not belong here: entry 6 is due"},
		{"an entry filed under another job", `UPDATE record_entry SET job_id = NULL WHERE kind = 'decision'`, "the log files it under another number, kind, key, job or day"},
		{"a node of the tree changed", `UPDATE record_entry SET hashes = overlay(hashes placing '\xff' from 40 for 1) WHERE seq = 1`, "the hashes kept with it are not those of the tree"},
		{"a head changed", `UPDATE record_head SET head = replace(head, 'time 2026', 'time 2027')`, "a signed head in the database was changed"},
		{"the key exchanged", `UPDATE record_signer SET public_key = (SELECT public_key FROM record_signer LIMIT 1) || 'x'`, "cannot be read"},
		{"the assessment's text", `UPDATE risk_assessment SET body = jsonb_set(body, '{entries,0,after,severity}', '1')`, "risk assessment for job Q-1041"},
		{"one byte of a snapshot", `UPDATE decision SET snapshot = jsonb_set(snapshot, '{crew_name}', '"Aldes"')`, "decision for job Q-1041 on 2026-11-30"},
	} {
		if found := sc.past(t, c.sql); !strings.Contains(found, c.want) {
			t.Errorf("%s: want %q in\n%s", c.name, c.want, found)
		}
	}
	// Whoever rewrites everything and has the key is found by a head kept elsewhere.
	head, err := sc.store.LastHead(t.Context(), sc.firm)
	if err != nil {
		t.Fatal(err)
	}
	sc.force(t, `DELETE FROM record_head; DELETE FROM record_entry WHERE kind = 'stop_work_lift'; DELETE FROM stop_work_lift`)
	got, err := sc.store.CheckRecord(t.Context(), sc.firm, ledger.Trust{Heads: []string{head.Text}}, at(11, 0))
	if err == nil && got.Proven() {
		t.Error("a rewritten log passes a head that was kept")
	}
}

// The night's head is not signed on a log that was changed behind the last one.
func TestAChangedLogIsNotSigned(t *testing.T) {
	t.Parallel()
	sc := logged(t)
	// The hash over the largest whole tree, which every later root rests on.
	sc.force(t, `UPDATE record_entry SET hashes = substr(hashes, 1, length(hashes) - 32) || sha256('forged')
	              WHERE seq = (SELECT (1 << floor(log(2, max(seq) + 1))::int) - 1 FROM record_entry)`)
	if _, err := sc.store.StopWork(t.Context(), sc.firm, safety.StopWork{Job: sc.job, Reason: "rain", ByID: sc.lead, At: at(9, 30)}); err != nil {
		t.Fatal(err)
	}
	_, err := sc.store.SignHead(t.Context(), sc.firm, at(9, 40))
	if err == nil || !strings.Contains(err.Error(), "it was changed past the service") {
		t.Errorf("signed: %v", err)
	}
}

func TestHeadsAreSignedWhenThereIsSomethingToSign(t *testing.T) {
	t.Parallel()
	sc := logged(t)
	sign := func(hour int) safety.SignedHead {
		t.Helper()
		h, err := sc.store.SignHead(t.Context(), sc.firm, at(hour, 0))
		if err != nil {
			t.Fatal(err)
		}
		return h
	}
	first := sign(10)
	if first.At != at(9, 0) || sign(20).Text != first.Text {
		t.Errorf("a head of the same log is signed again: %s", first.Text)
	}
	if later := sign(22); later.At != at(22, 0) || later.Size != first.Size || later.Root != first.Root {
		t.Errorf("after thirteen hours: %+v", later)
	}
	if _, err := sc.store.StopWork(t.Context(), sc.firm, safety.StopWork{Job: sc.job, Reason: "rain", ByID: sc.lead, At: at(9, 30)}); err != nil {
		t.Fatal(err)
	}
	if grown := sign(8); grown.Size != first.Size+1 || grown.At != at(22, 0) { // a clock that went back takes no head back
		t.Errorf("grown: %+v", grown)
	}
	// A key outside the database is another key; both are known from then on.
	if err := sc.store.KeepKeysOutside(bytes.Repeat([]byte{3}, 32)); err != nil {
		t.Fatal(err)
	}
	if _, err := sc.store.SignHead(t.Context(), sc.firm, at(12, 0).AddDate(0, 0, 1)); err != nil {
		t.Fatal(err)
	}
	var seeds int
	if err := sc.Owner.QueryRow(t.Context(), `SELECT count(seed) FROM record_signer`).Scan(&seeds); err != nil || seeds != 1 {
		t.Errorf("%d secrets in the database, %v: the one from before", seeds, err)
	}
	if found := sc.check(t); found != "" {
		t.Errorf("with two keys: %s", found)
	}
}
