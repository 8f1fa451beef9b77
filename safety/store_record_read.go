package safety

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/safety/ledger"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// RecordScope says which entries of a firm's log are meant.
type RecordScope struct {
	JobRef string     // of one job; "" = of every job
	Day    civil.Date // of one working day, with those that are of no one day; NoDate = of every day. Only with a job
}

// WholeRecord is every entry of a firm's log.
var WholeRecord = RecordScope{Day: civil.NoDate}

func (r RecordScope) whole() bool { return r.JobRef == "" }

// ExportRecord writes a firm's log, or one job's part of it, as an open file that
// 'toeboard verify' proves without a server (ledger.Form). Nothing is in the file
// that no signed head covers: sign first (SignHead) to have all of it.
func (s *Store) ExportRecord(ctx context.Context, firm uuid.UUID, scope RecordScope, now time.Time, out io.Writer) error {
	if scope.Day.Known() && scope.JobRef == "" {
		return fault.Bad("day", scope.Day.String(), "a day of one job: name the job too")
	}
	head, err := s.LastHead(ctx, firm)
	if err == nil && head == nil {
		err = &fault.Error{Kind: fault.NotFound, Field: "signed head", Want: "the log was never signed: sign it first"}
	}
	if err != nil {
		return err
	}
	return s.export(ctx, firm, scope, now, out)
}

func (s *Store) export(ctx context.Context, firm uuid.UUID, scope RecordScope, now time.Time, out io.Writer) error {
	var key *ledger.Key
	err := s.write(ctx, firm, func(tx pgx.Tx) (err error) {
		key, err = s.signer(ctx, tx, firm, now)
		return err
	})
	if err != nil {
		return err
	}
	return tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		x := exporting{ctx: ctx, tx: tx, scope: scope}
		about, err := x.about(firm, now)
		if err != nil {
			return err
		}
		x.out = ledger.NewWriter(out, key, about)
		if err := x.writeHeads(); err != nil {
			return err
		}
		if err := x.writeEntries(); err != nil {
			return err
		}
		if err := x.writeValues(); err != nil {
			return err
		}
		return x.out.End()
	})
}

// exporting is one export under way.
type exporting struct {
	ctx   context.Context
	tx    pgx.Tx
	scope RecordScope
	job   uuid.UUID
	heads []SignedHead
	out   *ledger.Writer
	long  []longRecord
}

// longRecord is a record some of whose columns stand beside its entry.
type longRecord struct{ kind, key string }

func (x *exporting) about(firm uuid.UUID, now time.Time) (ledger.About, error) {
	about := ledger.About{Firm: firm.String(), JobRef: x.scope.JobRef, MadeAt: now.UTC().Truncate(time.Second), Whole: x.scope.whole()}
	if x.scope.Day.Known() {
		about.Day = x.scope.Day.String()
	}
	var err error
	if about.Keys, err = publicKeys(x.ctx, x.tx); err != nil {
		return about, err
	}
	if x.heads, err = readHeads(x.ctx, x.tx, `ORDER BY size, signed_at`); err != nil {
		return about, err
	}
	if len(x.heads) > 0 {
		about.Size = x.heads[len(x.heads)-1].Size
	}
	if err := x.tx.QueryRow(x.ctx, `SELECT name FROM firm`).Scan(&about.FirmName); err != nil {
		return about, fmt.Errorf("read the firm's name: %w", err)
	}
	if !x.scope.whole() {
		err := x.tx.QueryRow(x.ctx, `SELECT job_id FROM job WHERE ref = $1`, x.scope.JobRef).Scan(&x.job)
		if errors.Is(err, pgx.ErrNoRows) {
			return about, fault.Missing("job", x.scope.JobRef)
		}
		if err != nil {
			return about, fmt.Errorf("find the job: %w", err)
		}
	}
	where, args := x.where(about.Size)
	if err := x.tx.QueryRow(x.ctx, `SELECT count(*) FROM record_entry WHERE `+where, args...).Scan(&about.Entries); err != nil {
		return about, fmt.Errorf("count the entries: %w", err)
	}
	return about, nil
}

// where picks the entries of the scope that the newest head covers. A job's
// record of one day has what was so on that day too: the assessment, the
// scaffold's reports, stops.
func (x *exporting) where(size int64) (string, []any) {
	switch {
	case x.scope.whole():
		return `seq < $1`, []any{size}
	case !x.scope.Day.Known():
		return `seq < $1 AND job_id = $2`, []any{size, x.job}
	default:
		return `seq < $1 AND job_id = $2 AND (on_day = $3 OR on_day IS NULL)`, []any{size, x.job, x.scope.Day}
	}
}

func (x *exporting) writeHeads() error {
	for i, h := range x.heads {
		var since []ledger.Hash
		if i > 0 && !x.scope.whole() {
			var err error
			if since, err = ledger.ProveGrowth(h.Size, x.heads[i-1].Size, storedIn(x.ctx, x.tx)); err != nil {
				return err
			}
		}
		x.out.Head(h.Text, since)
	}
	return nil
}

// writeEntries writes the entries page by page, so that a log of any length
// goes through little memory.
func (x *exporting) writeEntries() error {
	if len(x.heads) == 0 {
		return nil
	}
	size := x.heads[len(x.heads)-1].Size
	where, args := x.where(size)
	n := len(args)
	for after := int64(-1); ; {
		rows, err := x.tx.Query(x.ctx, fmt.Sprintf(`
			SELECT seq, kind, record_key, entry, substr(hashes, 1, 32) AS leaf, entry LIKE '{"beside":%%' AS long
			  FROM record_entry WHERE %s AND seq > $%d ORDER BY seq LIMIT 1000`, where, n+1), append(args[:n:n], after)...)
		if err != nil {
			return fmt.Errorf("read the log: %w", err)
		}
		page, err := pgx.CollectRows(rows, pgx.RowToStructByName[entryRow])
		if err != nil {
			return fmt.Errorf("read the log: %w", err)
		}
		for _, r := range page {
			if err := x.writeEntry(r, size); err != nil {
				return err
			}
			after = r.Seq
		}
		if len(page) == 0 {
			return nil
		}
	}
}

type entryRow struct {
	Seq       int64
	Kind      string
	RecordKey string
	Entry     string
	Leaf      []byte
	Long      bool
}

func (x *exporting) writeEntry(r entryRow, size int64) error {
	var proof []ledger.Hash
	if !x.scope.whole() {
		var err error
		if proof, err = ledger.ProveEntry(size, r.Seq, storedIn(x.ctx, x.tx)); err != nil {
			return err
		}
		if proof == nil { // of the only entry there is
			proof = []ledger.Hash{}
		}
	}
	x.out.Entry([]byte(r.Entry), ledger.Hash(r.Leaf), proof)
	if r.Long {
		x.long = append(x.long, longRecord{r.Kind, r.RecordKey})
	}
	return nil
}

// writeValues writes the long columns as the tables hold them now.
func (x *exporting) writeValues() error {
	for _, l := range x.long {
		k, ok := ledger.KindOf(l.kind)
		if !ok {
			continue
		}
		var row string
		err := x.tx.QueryRow(x.ctx, `SELECT to_jsonb(t)::text FROM `+k.Table+` t WHERE `+keySQL(k)+` = $1 AND `+keyColumns(k, l.key), l.key).Scan(&row)
		if errors.Is(err, pgx.ErrNoRows) {
			continue // the verifier names the record whose text is missing
		}
		if err != nil {
			return fmt.Errorf("read a %s: %w", k.Words, err)
		}
		var e ledger.Entry
		values, err := e.Take([]byte(row))
		if err != nil {
			return err
		}
		for _, v := range values {
			x.out.Value(v)
		}
	}
	return nil
}

// keyColumns narrows to the first key column where it is an identifier, so that
// the primary key's index serves.
func keyColumns(k ledger.Kind, key string) string {
	first, _, _ := strings.Cut(key, "/")
	if id, err := uuid.Parse(first); err == nil {
		return "t." + k.Key[0] + " = '" + id.String() + "'"
	}
	return "true"
}

// ------------------------------------------------------------ log against tables

// CheckRecord holds a firm's log against itself and against the tables: that
// entries, hashes and signed heads belong together, and that every record still
// is what was kept of it, none missing and none without an entry. trust
// are keys and heads that somebody holds elsewhere. It signs nothing but a first
// head.
func (s *Store) CheckRecord(ctx context.Context, firm uuid.UUID, trust ledger.Trust, now time.Time) (ledger.Report, error) {
	head, err := s.LastHead(ctx, firm)
	if err != nil {
		return ledger.Report{}, err
	}
	if head == nil {
		if _, err := s.SignHead(ctx, firm, now); err != nil {
			return ledger.Report{}, err
		}
	}
	report, err := s.proveLog(ctx, firm, trust, now)
	if err != nil {
		return report, err
	}
	var more []ledger.Fault
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		more = nil
		if err := checkHashes(ctx, tx, &more); err != nil {
			return err
		}
		for _, k := range ledger.Kinds {
			if err := checkTable(ctx, tx, k, &more); err != nil {
				return err
			}
		}
		return nil
	})
	report.Faults = append(report.Faults, more...)
	return report, err
}

// proveLog puts the whole log through the verifier, as somebody without the
// database would.
func (s *Store) proveLog(ctx context.Context, firm uuid.UUID, trust ledger.Trust, now time.Time) (ledger.Report, error) {
	r, w := io.Pipe()
	done := make(chan error, 1)
	go func() {
		err := s.export(ctx, firm, WholeRecord, now, w)
		w.CloseWithError(err)
		done <- err
	}()
	report, err := ledger.Verify(r, trust)
	r.Close()
	if failed := <-done; failed != nil {
		err = failed
	}
	for i := range report.Faults {
		report.Faults[i].Line = 0 // of a file that nobody has
	}
	return report, err
}

// checkHashes holds the columns of the log against the entries' texts: those of
// entries that no head covers yet too.
func checkHashes(ctx context.Context, tx pgx.Tx, faults *[]ledger.Fault) error {
	var tree ledger.Tree
	rows, err := tx.Query(ctx, `SELECT seq, kind, record_key, coalesce(job_id::text, ''), coalesce(on_day::text, ''), entry, hashes FROM record_entry ORDER BY seq`)
	if err != nil {
		return fmt.Errorf("read the log: %w", err)
	}
	var seq int64
	var kind, key, job, day, text string
	var hashes []byte
	lost := false
	_, err = pgx.ForEachRow(rows, []any{&seq, &kind, &key, &job, &day, &text, &hashes}, func() error {
		e, err := ledger.ParseEntry([]byte(text))
		leaf := ledger.LeafHash([]byte(text))
		if len(hashes) >= 32 {
			leaf = ledger.Hash(hashes[:32]) // a changed text is named by the proof: do not follow it
		}
		name := fmt.Sprintf("%s (entry %d, key %s)", ledger.Words(kind), seq, key)
		if err == nil {
			name = e.Name()
		}
		say := func(what string) { *faults = append(*faults, ledger.Fault{Record: name, What: what}) }
		if seq != tree.Size() && !lost {
			lost = true
			say("an entry before it is missing from the log")
		}
		if !lost && !slices.Equal(joined(tree.Add(leaf)), hashes) {
			say("the hashes kept with it are not those of the tree")
		}
		if err != nil {
			say("its entry cannot be read")
		} else if e.Seq != seq || e.Kind != kind || e.Key != key || e.Job != job || e.Day != day {
			say("the log files it under another number, kind, key, job or day than its entry says")
		}
		if ledger.LeafHash([]byte(text)) != leaf {
			say("the text of its entry was changed: it does not give the hash it was kept under")
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("read the log: %w", err)
	}
	return nil
}

// checkTable holds the rows of one kind against the newest entry of each.
func checkTable(ctx context.Context, tx pgx.Tx, k ledger.Kind, faults *[]ledger.Fault) error {
	usual, err := usualColumns(ctx, tx, k)
	if err != nil {
		return err
	}
	rows, err := tx.Query(ctx, `
		SELECT e.entry, t.row, t.key
		  FROM (SELECT to_jsonb(t)::text AS row, `+keySQL(k)+` AS key FROM `+k.Table+` t) t
		  FULL JOIN (SELECT DISTINCT ON (record_key) record_key, entry FROM record_entry WHERE kind = $1 ORDER BY record_key, seq DESC) e
		    ON e.record_key = t.key
		 ORDER BY coalesce(t.key, e.record_key)`, k.Table)
	if err != nil {
		return fmt.Errorf("hold %s against the log: %w", k.Table, err)
	}
	var text, row, key *string
	_, err = pgx.ForEachRow(rows, []any{&text, &row, &key}, func() error {
		if text == nil {
			*faults = append(*faults, ledger.Fault{Record: k.Words + " (key " + *key + ")",
				What: "it has no entry in the log: it was written past the service, or before the log began"})
			return nil
		}
		e, err := ledger.ParseEntry([]byte(*text))
		if err != nil {
			return nil // named by checkHashes
		}
		if row == nil {
			*faults = append(*faults, ledger.Fault{Record: e.Name(), What: "its row is gone from the table " + k.Table})
			return nil
		}
		for _, what := range differences(e, []byte(*row), usual) {
			*faults = append(*faults, ledger.Fault{Record: e.Name(), What: what})
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("hold %s against the log: %w", k.Table, err)
	}
	return nil
}

// usualColumns gives what columns hold of which nothing is said: an entry knows
// only the columns that its table had then.
func usualColumns(ctx context.Context, tx pgx.Tx, k ledger.Kind) (map[string]string, error) {
	rows, err := tx.Query(ctx, `
		SELECT column_name, column_default FROM information_schema.columns
		 WHERE table_schema = current_schema() AND table_name = $1 AND column_default IS NOT NULL`, k.Table)
	if err != nil {
		return nil, fmt.Errorf("read the columns of %s: %w", k.Table, err)
	}
	defaults := map[string]string{}
	var name, expression string
	if _, err = pgx.ForEachRow(rows, []any{&name, &expression}, func() error { defaults[name] = expression; return nil }); err != nil {
		return nil, fmt.Errorf("read the columns of %s: %w", k.Table, err)
	}
	for name, expression := range defaults {
		var text string
		if err := tx.QueryRow(ctx, `SELECT to_jsonb(`+expression+`)::text`).Scan(&text); err != nil {
			return nil, fmt.Errorf("read the columns of %s: %w", k.Table, err)
		}
		canonical, err := ledger.Canonical([]byte(text))
		if err != nil {
			return nil, err
		}
		defaults[name] = string(canonical)
	}
	return defaults, nil
}

// differences says in words where a row is not what the log kept of it.
func differences(e ledger.Entry, row []byte, usual map[string]string) []string {
	var now ledger.Entry
	if _, err := now.Take(row); err != nil {
		return []string{"its row cannot be read: " + err.Error()}
	}
	was, is := columnsOf(e), columnsOf(now)
	var all []string
	for _, c := range sortedKeys(was) {
		switch got, there := is[c]; {
		case !there:
			all = append(all, "its column "+c+" is gone from the table")
		case got != was[c]:
			all = append(all, fmt.Sprintf("its %s is %s in the database and %s in the log", c, shortly(got), shortly(was[c])))
		}
	}
	for _, c := range sortedKeys(is) {
		if _, known := was[c]; !known && is[c] != "null" && is[c] != usual[c] {
			all = append(all, fmt.Sprintf("its %s is %s in the database, of which the log knows nothing", c, shortly(is[c])))
		}
	}
	return all
}

// columnsOf gives every column's canonical text; of a long one its hash.
func columnsOf(e ledger.Entry) map[string]string {
	columns := map[string]jsontext.Value{}
	_ = json.Unmarshal(e.Record, &columns) // an entry's record is an object
	all := map[string]string{}
	for c, text := range columns {
		all[c] = string(text)
	}
	for c, b := range e.Beside {
		all[c] = fmt.Sprintf("a text of %d bytes with hash %s", b.Bytes, b.SHA256)
	}
	return all
}

func shortly(s string) string {
	if r := []rune(s); len(r) > 120 {
		return string(r[:120]) + "..."
	}
	return s
}
