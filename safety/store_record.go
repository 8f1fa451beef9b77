package safety

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/safety/ledger"
	"toeboard/weather/fault"
)

// Keep appends a record to the firm's log: call it in the transaction that wrote
// the record, after the row and as late as may be, for until that transaction
// ends no other of the firm can append. kind is the record's table, key the
// values of its key's columns. What is kept is the row as the database holds it
// now, so nothing that a later reader finds in the table can differ from it.
func Keep(ctx context.Context, tx pgx.Tx, firm uuid.UUID, kind string, key ...any) error {
	k, ok := ledger.KindOf(kind)
	if !ok || len(key) != len(k.Key) {
		return fmt.Errorf("keep a record: %s with %d key columns is no kind of ledger.Kinds", kind, len(key))
	}
	e := ledger.Entry{Firm: firm.String(), Kind: kind}
	job, err := readRecord(ctx, tx, k, key, &e)
	if err != nil {
		return fmt.Errorf("keep a %s: %w", k.Words, err)
	}
	if e.Seq, err = nextEntry(ctx, tx, firm); err != nil {
		return err
	}
	var salt [16]byte
	rand.Read(salt[:]) // never fails
	e.Salt = hex.EncodeToString(salt[:])
	text, err := e.Bytes()
	if err != nil {
		return err
	}
	hashes, err := ledger.Grow(e.Seq, ledger.LeafHash(text), storedIn(ctx, tx))
	if err != nil {
		return fmt.Errorf("keep a %s: %w", k.Words, err)
	}
	var onDay *string
	if e.Day != "" {
		onDay = &e.Day
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO record_entry (firm_id, seq, kind, record_key, job_id, on_day, entry, hashes)
		VALUES ($1, $2, $3, $4, $5, $6::text::date, $7, $8)`,
		firm, e.Seq, kind, e.Key, job, onDay, string(text), joined(hashes))
	if err != nil {
		return fmt.Errorf("keep a %s: %w", k.Words, err)
	}
	return nil
}

// recordSQL reads rows of a kind as the log keeps them: the row, its key, its
// job and its day. where is SQL of this package.
func recordSQL(k ledger.Kind, where string) string {
	job, day := "NULL::uuid", "NULL::text"
	if k.Job != "" {
		job = k.Job
	}
	if k.Day != "" {
		day = "to_jsonb(t) ->> '" + k.Day + "'"
	}
	return `SELECT to_jsonb(t)::text, ` + keySQL(k) + `, j.job_id, j.ref, ` + day + `
	          FROM ` + k.Table + ` t LEFT JOIN job j ON (j.firm_id, j.job_id) = (t.firm_id, ` + job + `) ` + where
}

// keySQL writes the key of a row t: its columns joined by /.
func keySQL(k ledger.Kind) string {
	var parts []string
	for _, c := range k.Key {
		parts = append(parts, "to_jsonb(t) ->> '"+c+"'")
	}
	return "concat_ws('/', " + strings.Join(parts, ", ") + ")"
}

// readRecord puts the stored row into the entry.
func readRecord(ctx context.Context, tx pgx.Tx, k ledger.Kind, key []any, e *ledger.Entry) (job *uuid.UUID, err error) {
	var terms []string
	for i, c := range k.Key {
		terms = append(terms, "t."+c+" = $"+strconv.Itoa(i+1))
	}
	var row string
	var ref, day *string
	err = tx.QueryRow(ctx, recordSQL(k, "WHERE "+strings.Join(terms, " AND ")), key...).Scan(&row, &e.Key, &job, &ref, &day)
	if err != nil {
		return nil, err
	}
	if job != nil {
		e.Job, e.JobRef = job.String(), *ref
	}
	if day != nil {
		e.Day = *day
	}
	if _, err = e.Take([]byte(row)); err != nil {
		return nil, err
	}
	e.People, err = namesIn(ctx, tx, e.PersonIDs())
	return job, err
}

func namesIn(ctx context.Context, tx pgx.Tx, ids []string) (map[string]string, error) {
	if len(ids) == 0 {
		return nil, nil
	}
	rows, err := tx.Query(ctx, `SELECT person_id::text, name FROM person WHERE person_id::text = ANY($1)`, ids)
	if err != nil {
		return nil, err
	}
	names := map[string]string{}
	var id, name string
	_, err = pgx.ForEachRow(rows, []any{&id, &name}, func() error { names[id] = name; return nil })
	return names, err
}

// nextEntry gives the number of the firm's next entry, which nobody else can
// take before this transaction ends.
func nextEntry(ctx context.Context, tx pgx.Tx, firm uuid.UUID) (n int64, err error) {
	if err := lockLog(ctx, tx, firm); err != nil {
		return 0, err
	}
	if err := tx.QueryRow(ctx, `SELECT coalesce(max(seq) + 1, 0) FROM record_entry`).Scan(&n); err != nil {
		return 0, fmt.Errorf("find the end of the log: %w", err)
	}
	return n, nil
}

// lockLog lets one transaction of a firm at a time append to its log. Numbers
// from a sequence would leave gaps where a transaction fails, and could become
// visible out of order.
func lockLog(ctx context.Context, tx pgx.Tx, firm uuid.UUID) error {
	if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtextextended('record ' || $1, 0))`, firm.String()); err != nil {
		return fmt.Errorf("wait for the log: %w", err)
	}
	return nil
}

func joined(hashes []ledger.Hash) []byte {
	var b []byte
	for _, h := range hashes {
		b = append(b, h[:]...)
	}
	return b
}

// storedIn reads hashes of the firm's tree.
func storedIn(ctx context.Context, tx pgx.Tx) ledger.Stored {
	return func(places []ledger.Place) ([]ledger.Hash, error) {
		if len(places) == 0 {
			return nil, nil
		}
		entries := make([]int64, len(places))
		for i, p := range places {
			entries[i] = p.Entry()
		}
		rows, err := tx.Query(ctx, `SELECT seq, hashes FROM record_entry WHERE seq = ANY($1)`, entries)
		if err != nil {
			return nil, fmt.Errorf("read the log's hashes: %w", err)
		}
		by := map[int64][]byte{}
		var seq int64
		var hashes []byte
		if _, err = pgx.ForEachRow(rows, []any{&seq, &hashes}, func() error { by[seq] = slices.Clone(hashes); return nil }); err != nil {
			return nil, fmt.Errorf("read the log's hashes: %w", err)
		}
		all := make([]ledger.Hash, len(places))
		for i, p := range places {
			have := by[p.Entry()]
			if len(have) < 32*(p.Level+1) {
				return nil, fmt.Errorf("the log has lost the hashes of entry %d", p.Entry())
			}
			all[i] = ledger.Hash(have[32*p.Level : 32*p.Level+32])
		}
		return all, nil
	}
}

// ------------------------------------------------------------ signed heads

// KeepKeysOutside derives every firm's key from a secret that is kept outside
// the database, so that whoever can write the database cannot sign. Call it
// before the store is used. Without it each firm's key is made by chance and
// kept in the database.
func (s *Store) KeepKeysOutside(secret []byte) error {
	if len(secret) < 32 {
		return fault.Bad("record key", strconv.Itoa(len(secret))+" bytes", "a secret of at least 32 bytes")
	}
	s.secret = slices.Clone(secret)
	return nil
}

// KeysOutside tells whether keys are kept outside the database.
func (s *Store) KeysOutside() bool { return len(s.secret) > 0 }

// SignedHead is a head of a firm's log as it was signed.
type SignedHead struct {
	ledger.Head
	Text string // to be kept, mailed or printed
}

// headKeeps is how long a head stands for a log that does not grow.
const headKeeps = 12 * time.Hour

// SignHead signs the firm's log as it is now. When nothing was added since the
// last head and that is younger than twelve hours, it is that one. A log that
// does not begin with what the last head says was changed by somebody: it is not
// signed, and the error says so.
func (s *Store) SignHead(ctx context.Context, firm uuid.UUID, now time.Time) (SignedHead, error) {
	var got SignedHead
	err := s.write(ctx, firm, func(tx pgx.Tx) error {
		key, err := s.signer(ctx, tx, firm, now)
		if err != nil {
			return err
		}
		last, err := lastHead(ctx, tx)
		if err != nil {
			return err
		}
		h := ledger.Head{Origin: ledger.Origin(firm.String()), At: now.UTC().Truncate(time.Second)}
		if err := tx.QueryRow(ctx, `SELECT coalesce(max(seq) + 1, 0) FROM record_entry`).Scan(&h.Size); err != nil {
			return fmt.Errorf("find the end of the log: %w", err)
		}
		if last != nil {
			if h.At.Before(last.At) {
				h.At = last.At
			}
			if last.Size == h.Size && h.At.Sub(last.At) < headKeeps {
				got = *last
				return nil
			}
		}
		if h.Root, err = ledger.Root(h.Size, storedIn(ctx, tx)); err != nil {
			return err
		}
		if err := growsFrom(ctx, tx, last, h); err != nil {
			return err
		}
		got.Head = h
		if got.Text, err = key.SignHead(h); err != nil {
			return err
		}
		_, err = tx.Exec(ctx, `INSERT INTO record_head (firm_id, size, signed_at, head) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`,
			firm, h.Size, h.At, got.Text)
		if err != nil {
			return fmt.Errorf("keep a signed head: %w", err)
		}
		return nil
	})
	return got, err
}

// growsFrom refuses a log that is not the last head's with more behind it.
func growsFrom(ctx context.Context, tx pgx.Tx, last *SignedHead, h ledger.Head) error {
	if last == nil {
		return nil
	}
	changed := fmt.Errorf("the log of records is not the one whose head was signed at %s: it was changed past the service, and 'toeboard verify --database' names where",
		last.At.Format(time.RFC3339))
	if h.Size < last.Size {
		return changed
	}
	proof, err := ledger.ProveGrowth(h.Size, last.Size, storedIn(ctx, tx))
	if err != nil {
		return err
	}
	if !ledger.CheckGrowth(proof, h.Size, h.Root, last.Size, last.Root) {
		return changed
	}
	return nil
}

// LastHead gives the newest signed head; nil when none was signed yet.
func (s *Store) LastHead(ctx context.Context, firm uuid.UUID) (*SignedHead, error) {
	var got *SignedHead
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) (err error) {
		got, err = lastHead(ctx, tx)
		return err
	})
	return got, err
}

func lastHead(ctx context.Context, tx pgx.Tx) (*SignedHead, error) {
	all, err := readHeads(ctx, tx, `ORDER BY size DESC, signed_at DESC LIMIT 1`)
	if err != nil || len(all) == 0 {
		return nil, err
	}
	return &all[0], nil
}

// readHeads reads heads with their signatures checked by the firm's own keys.
func readHeads(ctx context.Context, tx pgx.Tx, order string) ([]SignedHead, error) {
	publics, err := publicKeys(ctx, tx)
	if err != nil {
		return nil, err
	}
	keys, err := ledger.ParseKeys(publics...)
	if err != nil {
		return nil, err
	}
	rows, err := tx.Query(ctx, `SELECT head FROM record_head `+order)
	if err != nil {
		return nil, fmt.Errorf("read signed heads: %w", err)
	}
	var all []SignedHead
	var text string
	_, err = pgx.ForEachRow(rows, []any{&text}, func() error {
		h, err := keys.Open(text)
		if err != nil {
			return fmt.Errorf("a signed head in the database was changed: %w", err)
		}
		all = append(all, SignedHead{h, text})
		return nil
	})
	return all, err
}

// PublicKeys lists the firm's public keys, the newest last.
func (s *Store) PublicKeys(ctx context.Context, firm uuid.UUID) ([]string, error) {
	var all []string
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) (err error) {
		all, err = publicKeys(ctx, tx)
		return err
	})
	return all, err
}

func publicKeys(ctx context.Context, tx pgx.Tx) ([]string, error) {
	rows, err := tx.Query(ctx, `SELECT public_key FROM record_signer ORDER BY since, public_key`)
	if err != nil {
		return nil, fmt.Errorf("read the firm's keys: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}

// signer gives the key that signs now, and makes it where there is none.
func (s *Store) signer(ctx context.Context, tx pgx.Tx, firm uuid.UUID, now time.Time) (*ledger.Key, error) {
	if err := lockLog(ctx, tx, firm); err != nil {
		return nil, err
	}
	origin := ledger.Origin(firm.String())
	var seed, kept []byte
	var err error
	if s.KeysOutside() {
		seed, err = ledger.SeedFor(s.secret, firm.String())
	} else {
		err = tx.QueryRow(ctx, `SELECT seed FROM record_signer WHERE seed IS NOT NULL ORDER BY since DESC, public_key LIMIT 1`).Scan(&seed)
		if errors.Is(err, pgx.ErrNoRows) {
			seed, err = make([]byte, 32), nil
			rand.Read(seed) // never fails
		}
		kept = seed
	}
	if err != nil {
		return nil, fmt.Errorf("find the firm's key: %w", err)
	}
	key, err := ledger.NewKey(origin, seed)
	if err != nil {
		return nil, err
	}
	_, err = tx.Exec(ctx, `INSERT INTO record_signer (firm_id, public_key, seed, since) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`,
		firm, key.Public(), kept, stamp(now))
	if err != nil {
		return nil, fmt.Errorf("keep the firm's key: %w", err)
	}
	return key, nil
}
