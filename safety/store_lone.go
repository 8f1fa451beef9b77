package safety

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// ArrangeCheckIn keeps whom somebody who works alone rings. The newest of a
// crew, job and day counts. Sent again with the same identity it is the same.
func (s *Store) ArrangeCheckIn(ctx context.Context, firm uuid.UUID, p Person, k CheckIn) (CheckIn, error) {
	k.ID, k.Person, k.At = s.orNew(k.ID), p.ID, stamp(k.At)
	if !k.From.IsZero() {
		k.From = stamp(k.From)
	}
	if err := errors.Join(k.Check(p.Name)...); err != nil {
		return CheckIn{}, err
	}
	return k, s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			INSERT INTO check_in (firm_id, check_in_id, crew_id, job_id, on_day, person_id, contact, phone, every_min, if_missed, by_person_id, at, email, from_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, nullif($13, ''), $14) ON CONFLICT (firm_id, check_in_id) DO NOTHING`,
			firm, k.ID, k.Crew, k.Job, k.Day, k.Person, k.Contact, k.Phone, k.EveryMin, k.IfMissed, k.By, k.At, k.Email, orNull(k.From))
		if err != nil {
			return fmt.Errorf("keep a check-in: %w", err)
		}
		if tag.RowsAffected() == 0 {
			return waitForStandby(ctx, tx)
		}
		return Keep(ctx, tx, firm, "check_in", k.ID)
	})
}

// AddLoneCall keeps a sign of life of somebody who works alone. Sent again with the
// same identity it is the same; with other content it is a conflict.
func (s *Store) AddLoneCall(ctx context.Context, firm uuid.UUID, c LoneCall) (LoneCall, error) {
	c.ID, c.At = s.orNew(c.ID), stamp(c.At)
	if err := c.Check(); err != nil {
		return LoneCall{}, err
	}
	return c, s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			INSERT INTO lone_call (firm_id, call_id, crew_id, job_id, on_day, person_id, what, by_person_id, at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) ON CONFLICT (firm_id, call_id) DO NOTHING`,
			firm, c.ID, c.Crew, c.Job, c.Day, c.Person, c.What, c.By, c.At)
		if err != nil {
			return fmt.Errorf("keep a call: %w", err)
		}
		if tag.RowsAffected() == 1 {
			return Keep(ctx, tx, firm, "lone_call", c.ID)
		}
		was, err := readLoneCalls(ctx, tx, `call_id = $1`, c.ID)
		if err != nil {
			return err
		}
		c.At = was[0].At
		if was[0] != c {
			return &fault.Error{Kind: fault.Conflict, Field: "call", Value: c.ID.String(), Want: "another call already has this identity: send it again"}
		}
		return waitForStandby(ctx, tx)
	})
}

// LoneDay is what was arranged for one person at one job on one day, and which
// calls came.
type LoneDay struct {
	Arranged []CheckIn // the oldest first, at least one
	Calls    []LoneCall
}

// LoneDays gives everybody's arrangements and calls of some days, in the order of
// days and first arrangements.
func (s *Store) LoneDays(ctx context.Context, firm uuid.UUID, from, to civil.Date) (all []LoneDay, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		all = nil
		arranged, err := readCheckInRows(ctx, tx, `on_day BETWEEN $1 AND $2`, from, to)
		if err != nil || len(arranged) == 0 {
			return err
		}
		calls, err := readLoneCalls(ctx, tx, `on_day BETWEEN $1 AND $2`, from, to)
		if err != nil {
			return err
		}
		type who struct {
			crew, job, person uuid.UUID
			day               civil.Date
		}
		at := map[who]int{}
		for _, k := range arranged {
			key := who{k.Crew, k.Job, k.Person, k.Day}
			i, known := at[key]
			if !known {
				i = len(all)
				at[key] = i
				all = append(all, LoneDay{})
			}
			all[i].Arranged = append(all[i].Arranged, k)
		}
		for _, c := range calls {
			if i, known := at[who{c.Crew, c.Job, c.Person, c.Day}]; known {
				all[i].Calls = append(all[i].Calls, c)
			}
		}
		return nil
	})
	return all, err
}

// readLone reads whom the crew's people ring on the day, and what calls came.
func readLone(ctx context.Context, tx pgx.Tx, snap *Snapshot) (err error) {
	const ofMorning = `crew_id = $1 AND job_id = $2 AND on_day = $3`
	if snap.CheckIns, err = readCheckInRows(ctx, tx, ofMorning, snap.Crew, snap.Job, snap.Day); err != nil || len(snap.CheckIns) == 0 {
		return err
	}
	snap.LoneCalls, err = readLoneCalls(ctx, tx, ofMorning, snap.Crew, snap.Job, snap.Day)
	return err
}

// readCheckInRows reads arrangements, by day and the oldest first; nil when there
// is none. where is SQL of this package.
func readCheckInRows(ctx context.Context, tx pgx.Tx, where string, args ...any) (all []CheckIn, err error) {
	rows, err := tx.Query(ctx, `
		SELECT check_in_id, crew_id, job_id, on_day, person_id, contact, phone, every_min, if_missed, by_person_id, at, coalesce(email, ''), from_at
		  FROM check_in WHERE `+where+` ORDER BY on_day, at, check_in_id`, args...)
	if err != nil {
		return nil, fmt.Errorf("read check-ins: %w", err)
	}
	var k CheckIn
	var from *time.Time
	_, err = pgx.ForEachRow(rows, []any{&k.ID, &k.Crew, &k.Job, &k.Day, &k.Person, &k.Contact, &k.Phone, &k.EveryMin, &k.IfMissed, &k.By, &k.At, &k.Email, &from}, func() error {
		one := k
		one.At = k.At.UTC()
		if from != nil {
			one.From = from.UTC()
		}
		all = append(all, one)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read check-ins: %w", err)
	}
	return all, nil
}

// readLoneCalls reads calls, by day and the oldest first; nil when there is none.
// where is SQL of this package.
func readLoneCalls(ctx context.Context, tx pgx.Tx, where string, args ...any) (all []LoneCall, err error) {
	rows, err := tx.Query(ctx, `
		SELECT call_id, crew_id, job_id, on_day, person_id, what, by_person_id, at
		  FROM lone_call WHERE `+where+` ORDER BY on_day, at, call_id`, args...)
	if err != nil {
		return nil, fmt.Errorf("read calls: %w", err)
	}
	var c LoneCall
	_, err = pgx.ForEachRow(rows, []any{&c.ID, &c.Crew, &c.Job, &c.Day, &c.Person, &c.What, &c.By, &c.At}, func() error {
		one := c
		one.At = c.At.UTC()
		all = append(all, one)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read calls: %w", err)
	}
	return all, nil
}
