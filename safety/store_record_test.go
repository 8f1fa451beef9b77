package safety_test

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"toeboard/migrations/tenant"
	"toeboard/safety"
	"toeboard/safety/ledger"
)

// entries reads the firm's log past the policies.
func (sc *scene) entries(t *testing.T) []ledger.Entry {
	t.Helper()
	rows, err := sc.Owner.Query(t.Context(), `SELECT entry FROM record_entry WHERE firm_id = $1 ORDER BY seq`, sc.firm)
	if err != nil {
		t.Fatal(err)
	}
	texts, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	var all []ledger.Entry
	for _, text := range texts {
		e, err := ledger.ParseEntry([]byte(text))
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, e)
	}
	return all
}

// decide decides the scene's morning and keeps the decision.
func (sc *scene) decide(t *testing.T) {
	t.Helper()
	snap, err := sc.store.Morning(t.Context(), sc.firm, sc.crew, sc.job, day)
	if err != nil {
		t.Fatal(err)
	}
	snap.Stages, snap.Outdoors, snap.StartAt, snap.EndAt = []string{"roof_work"}, true, at(8, 0), at(15, 0)
	if _, err := sc.store.SaveDecision(t.Context(), sc.firm, snap, safety.Decide(snap, at(7, 50))); err != nil {
		t.Fatal(err)
	}
}

func TestEveryRecordHasItsEntry(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	sc.fill(t)
	sc.decide(t)
	seen := map[string]int{}
	for i, e := range sc.entries(t) {
		if e.Seq != int64(i) || e.Firm != sc.firm.String() {
			t.Errorf("entry %d says it is entry %d of %s", i, e.Seq, e.Firm)
		}
		if k, _ := ledger.KindOf(e.Kind); (k.Job != "") != (e.JobRef == "Q-1041") || (k.Day != "") != (e.Day == day.String()) {
			t.Errorf("%s is about job %q and day %q", e.Name(), e.JobRef, e.Day)
		}
		seen[e.Kind]++
	}
	for _, k := range ledger.Kinds {
		var n int
		if err := sc.Owner.QueryRow(t.Context(), "SELECT count(*) FROM "+k.Table).Scan(&n); err != nil {
			t.Fatal(err)
		}
		if n == 0 || seen[k.Table] != n {
			t.Errorf("%s: %d rows and %d entries", k.Table, n, seen[k.Table])
		}
	}
	// What was signed stands in the entry, with the name of who signed.
	signed := map[string]bool{}
	for _, e := range sc.entries(t) {
		for _, name := range e.People {
			if e.Kind == "sign_off" && strings.Contains(string(e.Record), `"statement":"I, `+name+`, work at job Q-1041`) {
				signed[name] = true
			}
		}
	}
	if !signed["Rhodri Pask"] || !signed["Dele Ashworth"] {
		t.Errorf("the statements in the log are those of %v", signed)
	}
}

// Many transactions at once, some of which fail at the end: the log has no gap,
// nothing twice, and its tree is the one of RFC 6962.
func TestTheLogHasNoGapUnderConcurrentWriters(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	const writers, each = 8, 10
	var wg sync.WaitGroup
	fail := errors.New("on purpose")
	for w := range writers {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range each {
				_, err := sc.store.StopWork(t.Context(), sc.firm, safety.StopWork{Job: sc.job, Reason: fmt.Sprintf("reason %d/%d", w, i), ByID: sc.mate, At: at(7, 10)})
				if err != nil {
					t.Errorf("stop %d/%d: %v", w, i, err)
				}
				if i%3 != 0 {
					continue
				}
				err = tenant.Write(t.Context(), sc.App, sc.firm, func(tx pgx.Tx) error {
					id := newID()
					if _, err := tx.Exec(t.Context(), `INSERT INTO stop_work VALUES ($1, $2, $3, 'undone', $4, now())`, sc.firm, id, sc.job, sc.mate); err != nil {
						return err
					}
					if err := safety.Keep(t.Context(), tx, sc.firm, "stop_work", id); err != nil {
						return err
					}
					return fail
				})
				if !errors.Is(err, fail) {
					t.Errorf("the transaction that fails: %v", err)
				}
			}
		}()
	}
	wg.Wait()
	var tree ledger.Tree
	keys := map[string]bool{}
	rows, err := sc.Owner.Query(t.Context(), `SELECT seq, record_key, entry, hashes FROM record_entry ORDER BY seq`)
	if err != nil {
		t.Fatal(err)
	}
	var seq int64
	var key, text string
	var stored []byte
	_, err = pgx.ForEachRow(rows, []any{&seq, &key, &text, &stored}, func() error {
		if seq != tree.Size() || keys[key] || strings.Contains(text, "undone") {
			t.Errorf("entry %d of key %s stands at %d", seq, key, tree.Size())
		}
		keys[key] = true
		var want []byte
		for _, h := range tree.Add(ledger.LeafHash([]byte(text))) {
			want = append(want, h[:]...)
		}
		if string(want) != string(stored) {
			t.Errorf("entry %d: the hashes kept are not those of the tree", seq)
		}
		return nil
	})
	if err != nil || tree.Size() != writers*each {
		t.Errorf("%d entries (%v), want %d", tree.Size(), err, writers*each)
	}
	head, err := sc.store.SignHead(t.Context(), sc.firm, at(9, 0))
	if err != nil || head.Size != tree.Size() || head.Root != tree.Root() {
		t.Errorf("the head is of %d entries with root %s (%v), the tree of %d with %s", head.Size, head.Root, err, tree.Size(), tree.Root())
	}
}

// The service may add to the log and to nothing in it, as plain SQL shows.
func TestTheServiceCannotChangeTheLog(t *testing.T) {
	t.Parallel()
	sc := newScene(t)
	sc.fill(t)
	if _, err := sc.store.SignHead(t.Context(), sc.firm, at(9, 0)); err != nil {
		t.Fatal(err)
	}
	n := len(sc.entries(t))
	for _, c := range []struct{ what, refuses, sql string }{
		{"change an entry", "42501", `UPDATE record_entry SET entry = '{}'`},
		{"remove an entry", "42501", `DELETE FROM record_entry`},
		{"empty the log", "42501", `TRUNCATE record_entry`},
		{"change a head", "42501", `UPDATE record_head SET head = 'x'`},
		{"remove a head", "42501", `DELETE FROM record_head`},
		{"change a key", "42501", `UPDATE record_signer SET public_key = 'x'`},
		{"remove a key", "42501", `DELETE FROM record_signer`},
		{"switch the triggers off", "42501", `ALTER TABLE record_entry DISABLE TRIGGER ALL`},
		{"leave a gap", "record_entry_follows", fmt.Sprintf(`INSERT INTO record_entry VALUES ('%s', %d, 'x', 'x', NULL, NULL, '{}', sha256(''))`, sc.firm, n+1)},
		{"take a number twice", "record_entry_pkey", fmt.Sprintf(`INSERT INTO record_entry VALUES ('%s', %d, 'x', 'x', NULL, NULL, '{}', sha256(''))`, sc.firm, n-1)},
		{"an entry without its leaf", "record_entry_hashes_check", fmt.Sprintf(`INSERT INTO record_entry VALUES ('%s', %d, 'x', 'x', NULL, NULL, '{}', '')`, sc.firm, n)},
		{"a record without an entry", "record_is_logged", fmt.Sprintf(`INSERT INTO stop_work VALUES ('%s', '%s', '%s', 'gusts', '%s', now())`, sc.firm, newID(), sc.job, sc.lead)},
		{"the same at once", "record_is_logged", fmt.Sprintf(`SET CONSTRAINTS ALL IMMEDIATE; INSERT INTO stop_work VALUES ('%s', '%s', '%s', 'gusts', '%s', now())`, sc.firm, newID(), sc.job, sc.lead)},
	} {
		tx, err := sc.App.Begin(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if _, err = tx.Exec(t.Context(), `SELECT set_config('toeboard.firm', $1, true)`, sc.firm.String()); err == nil {
			_, err = tx.Exec(t.Context(), c.sql, pgx.QueryExecModeSimpleProtocol)
		}
		if err == nil {
			err = tx.Commit(t.Context())
		}
		_ = tx.Rollback(t.Context())
		var pg *pgconn.PgError
		if !errors.As(err, &pg) || pg.ConstraintName != c.refuses && pg.Code != c.refuses {
			t.Errorf("%s: %v, want %s", c.what, err, c.refuses)
		}
	}
	if got := len(sc.entries(t)); got != n {
		t.Errorf("%d entries, there were %d", got, n)
	}
	// Not even the owner does it by accident.
	for _, table := range []string{"record_entry", "record_head", "record_signer"} {
		if _, err := sc.Owner.Exec(t.Context(), `DELETE FROM `+table); err == nil {
			t.Errorf("the owner empties %s", table)
		}
	}
}
