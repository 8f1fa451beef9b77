package safety

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/safety/ledger"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// RecordState is what a firm's log is now.
type RecordState struct {
	Entries int64
	Heads   []SignedHead // the newest first; none when the log was never signed
	Keys    []string     // public keys, the newest last
	Newest  []ledger.Entry
}

// Unsigned is how many entries no signed head covers yet.
func (r RecordState) Unsigned() int64 {
	if len(r.Heads) == 0 {
		return r.Entries
	}
	return r.Entries - r.Heads[0].Size
}

// Record reads the state of a firm's log with its newest entries, of one job
// where jobRef names it: at most entries of them, and at most heads heads.
func (s *Store) Record(ctx context.Context, firm uuid.UUID, jobRef string, entries, heads int) (RecordState, error) {
	var r RecordState
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		r = RecordState{}
		if err := tx.QueryRow(ctx, `SELECT coalesce(max(seq) + 1, 0) FROM record_entry`).Scan(&r.Entries); err != nil {
			return fmt.Errorf("count the log: %w", err)
		}
		var err error
		if r.Keys, err = publicKeys(ctx, tx); err != nil {
			return err
		}
		if r.Heads, err = readHeads(ctx, tx, fmt.Sprintf(`ORDER BY size DESC, signed_at DESC LIMIT %d`, heads)); err != nil {
			return err
		}
		rows, err := tx.Query(ctx, `
			SELECT e.entry FROM record_entry e
			 WHERE $1 = '' OR e.job_id = (SELECT job_id FROM job WHERE ref = $1)
			 ORDER BY e.seq DESC LIMIT $2`, jobRef, entries)
		if err != nil {
			return fmt.Errorf("read the log: %w", err)
		}
		texts, err := pgx.CollectRows(rows, pgx.RowTo[string])
		for _, text := range texts {
			if e, err := ledger.ParseEntry([]byte(text)); err == nil { // one that cannot be read is named by the check
				r.Newest = append(r.Newest, e)
			}
		}
		return err
	})
	return r, err
}

// RecordProof is one entry with what proves it.
type RecordProof struct {
	Entry  ledger.Entry
	Text   string        // its bytes, as they are hashed
	Leaf   ledger.Hash   // as it is kept beside the text
	Proof  []ledger.Hash // that it is in the tree of Head
	Head   *SignedHead   // the newest; nil = none covers it yet
	Faults []string      // what is wrong, in words; none = text, hash, head and the stored row belong together
}

// ProveRecord proves one entry: its text against its hash, the hash against the
// newest signed head, and the row in the table against the entry, unless a later
// entry speaks of the same row.
func (s *Store) ProveRecord(ctx context.Context, firm uuid.UUID, seq int64) (RecordProof, error) {
	var p RecordProof
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		p = RecordProof{}
		var leaf []byte
		var newest bool
		err := tx.QueryRow(ctx, `
			SELECT e.entry, substr(e.hashes, 1, 32), NOT EXISTS (SELECT FROM record_entry l WHERE l.kind = e.kind AND l.record_key = e.record_key AND l.seq > e.seq)
			  FROM record_entry e WHERE e.seq = $1`, seq).Scan(&p.Text, &leaf, &newest)
		if errors.Is(err, pgx.ErrNoRows) {
			return fault.Missing("entry", fmt.Sprint(seq))
		}
		if err != nil {
			return fmt.Errorf("read an entry: %w", err)
		}
		p.Leaf = ledger.Hash(leaf)
		if p.Entry, err = ledger.ParseEntry([]byte(p.Text)); err != nil {
			p.Faults = append(p.Faults, "its text cannot be read")
		}
		if ledger.LeafHash([]byte(p.Text)) != p.Leaf {
			p.Faults = append(p.Faults, "its text was changed: it does not give the hash it was kept under")
		}
		if err := p.prove(ctx, tx, seq); err != nil {
			return err
		}
		if newest {
			return p.holdAgainstRow(ctx, tx)
		}
		return nil
	})
	return p, err
}

func (p *RecordProof) prove(ctx context.Context, tx pgx.Tx, seq int64) error {
	head, err := lastHead(ctx, tx)
	if err != nil || head == nil || head.Size <= seq {
		return err
	}
	p.Head = head
	if p.Proof, err = ledger.ProveEntry(head.Size, seq, storedIn(ctx, tx)); err != nil {
		return err
	}
	if !ledger.CheckEntry(p.Proof, head.Size, head.Root, seq, p.Leaf) {
		p.Faults = append(p.Faults, "it is not in the log whose head was signed at "+head.At.Format(time.RFC3339))
	}
	return nil
}

func (p *RecordProof) holdAgainstRow(ctx context.Context, tx pgx.Tx) error {
	k, ok := ledger.KindOf(p.Entry.Kind)
	if !ok {
		return nil
	}
	var row string
	err := tx.QueryRow(ctx, `SELECT to_jsonb(t)::text FROM `+k.Table+` t WHERE `+keySQL(k)+` = $1 AND `+keyColumns(k, p.Entry.Key), p.Entry.Key).Scan(&row)
	if errors.Is(err, pgx.ErrNoRows) {
		p.Faults = append(p.Faults, "its row is gone from the table "+k.Table)
		return nil
	}
	if err != nil {
		return fmt.Errorf("read a %s: %w", k.Words, err)
	}
	usual, err := usualColumns(ctx, tx, k)
	p.Faults = append(p.Faults, differences(p.Entry, []byte(row), usual)...)
	return err
}

// EntryOf gives the number of the newest entry of a record.
func (s *Store) EntryOf(ctx context.Context, firm uuid.UUID, kind, key string) (seq int64, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		err := tx.QueryRow(ctx, `SELECT seq FROM record_entry WHERE kind = $1 AND record_key = $2 ORDER BY seq DESC LIMIT 1`, kind, key).Scan(&seq)
		if errors.Is(err, pgx.ErrNoRows) {
			return fault.Missing(ledger.Words(kind), key)
		}
		return err
	})
	return seq, err
}

// KeptDecision is a decision as it was kept, with everything it was made on.
type KeptDecision struct {
	ID       uuid.UUID
	Snapshot Snapshot
	Decision Decision
	Hash     Hash // of the snapshot, as it was stored
}

// DecisionKept reads one decision.
func (s *Store) DecisionKept(ctx context.Context, firm, id uuid.UUID) (KeptDecision, error) {
	return s.decisionKept(ctx, firm, `decision_id = $1`, id)
}

// NewestDecision reads the newest decision that was kept for a crew at a job on a
// day.
func (s *Store) NewestDecision(ctx context.Context, firm, crew, job uuid.UUID, day civil.Date) (KeptDecision, error) {
	return s.decisionKept(ctx, firm, `crew_id = $1 AND job_id = $2 AND on_day = $3 ORDER BY decided_at DESC, decision_id DESC LIMIT 1`, crew, job, day)
}

func (s *Store) decisionKept(ctx context.Context, firm uuid.UUID, where string, args ...any) (KeptDecision, error) {
	var k KeptDecision
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		var decision, snapshot, hash []byte
		err := tx.QueryRow(ctx, `SELECT decision_id, conditions, snapshot, snapshot_hash FROM decision WHERE `+where, args...).Scan(&k.ID, &decision, &snapshot, &hash)
		if errors.Is(err, pgx.ErrNoRows) {
			return fault.Missing("decision", fmt.Sprint(args[0]))
		}
		if err != nil {
			return fmt.Errorf("read a decision: %w", err)
		}
		k.Hash, k.Snapshot, k.Decision = Hash(slices.Clone(hash)), Snapshot{}, Decision{}
		if err := json.Unmarshal(decision, &k.Decision); err != nil {
			return fmt.Errorf("read decision %s: %w", k.ID, err)
		}
		if err := json.Unmarshal(snapshot, &k.Snapshot); err != nil {
			return fmt.Errorf("read decision %s: %w", k.ID, err)
		}
		if k.Snapshot.Location, err = time.LoadLocation(k.Snapshot.TimeZone); err != nil {
			return fmt.Errorf("read decision %s: %w", k.ID, err)
		}
		return nil
	})
	return k, err
}
