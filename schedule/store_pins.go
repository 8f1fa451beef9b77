package schedule

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Pins gives what people fixed and did not take away again, in the order in
// which it was fixed.
func (s *Store) Pins(ctx context.Context, firm uuid.UUID) ([]Pin, error) {
	var all []Pin
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		all, err = readPins(ctx, tx, firm)
		return err
	})
	return all, err
}

func readPins(ctx context.Context, tx pgx.Tx, firm uuid.UUID) ([]Pin, error) {
	rows, err := tx.Query(ctx, `
		SELECT p.pin_id, p.job_id, coalesce(p.stage_kind, ''), p.kind, coalesce(p.crew_id, p.scaffold_firm_id), p.on_day, coalesce(p.half, ''),
		       p.why, p.set_by, p.set_at
		FROM pin p WHERE p.firm_id = $1 AND NOT EXISTS (SELECT FROM pin_removal r WHERE r.firm_id = p.firm_id AND r.pin_id = p.pin_id)
		ORDER BY p.set_at, p.pin_id`, firm)
	if err != nil {
		return nil, fmt.Errorf("read the pins: %w", err)
	}
	all, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (p Pin, err error) {
		var stage, half string
		var who *uuid.UUID
		if err = row.Scan(&p.ID, &p.Job, &stage, &p.Kind, &who, &p.On, &half, &p.Why, &p.SetBy, &p.SetAt); err != nil {
			return p, err
		}
		p.Who, p.SetAt = orNil(who), p.SetAt.UTC()
		if half == "pm" {
			p.Half = civil.Afternoon
		}
		if stage != "" {
			p.Stage, err = StageFromKey(stage)
		}
		return p, err
	})
	if err != nil {
		return nil, fmt.Errorf("read the pins: %w", err)
	}
	return all, nil
}

// SetPin keeps what a person fixed about a job, by its reference, and gives it
// back with its ID. A pin that is there already is a Conflict; the same under
// the same ID is one pin. One that no plan could ever keep is Invalid.
func (s *Store) SetPin(ctx context.Context, firm uuid.UUID, ref string, p Pin) (Pin, error) {
	p.ID, p.SetAt, p.Why = s.orNew(p.ID), instant(p.SetAt), strings.TrimSpace(p.Why)
	err := s.serial(ctx, firm, func(tx pgx.Tx) error {
		j, err := readJob(ctx, tx, firm, ref)
		if err != nil {
			return err
		}
		who, err := tradeOf(ctx, tx, firm, p.Who)
		if err != nil {
			return err
		}
		if err := p.Check(j, who); err != nil {
			return err
		}
		p.Job = j.ID
		if !p.Kind.HasDay() {
			p.On = civil.NoDate
		}
		if !p.Kind.HasWho() {
			p.Who = uuid.Nil
		}
		others, err := readPins(ctx, tx, firm)
		if err != nil {
			return err
		}
		if i := slices.IndexFunc(others, func(o Pin) bool { return o.ID == p.ID }); i >= 0 {
			return p.again(others[i])
		}
		if err := p.against(others); err != nil {
			return err
		}
		facts, err := readPinFacts(ctx, tx, firm, p)
		if err != nil {
			return err
		}
		facts.others = others
		if err := p.checkAgainst(facts); err != nil {
			return err
		}
		return writePin(ctx, tx, firm, p)
	})
	if err != nil {
		return Pin{}, err
	}
	return p, nil
}

// readPinFacts reads what tells whether a pin can ever be kept.
func readPinFacts(ctx context.Context, tx pgx.Tx, firm uuid.UUID, p Pin) (f pinFacts, err error) {
	of, err := readFirm(ctx, tx, firm)
	if err != nil {
		return f, err
	}
	loc, err := of.Location()
	if err != nil {
		return f, fmt.Errorf("read the firm's zone: %w", err)
	}
	f.today, f.overtime = civil.DateOf(p.SetAt, loc), of.Rates.OvertimePercent > 0
	if f.holidays, err = readHolidays(ctx, tx, firm); err != nil {
		return f, err
	}
	if f.firms, err = readScaffoldFirms(ctx, tx, firm); err != nil {
		return f, err
	}
	f.firms = slices.DeleteFunc(f.firms, func(s ScaffoldFirm) bool { return !s.Active })
	booked, err := readBookings(ctx, tx, firm, whichBookings{job: p.Job, live: true})
	f.booked = len(booked) > 0
	return f, err
}

// again refuses a pin that says something else than the one that is on record
// under its ID.
func (p *Pin) again(was Pin) error {
	same := was
	same.SetAt = p.SetAt
	if same != *p {
		return fault.Changed("pin", string(p.Kind), "under this identity another is on record ("+was.Why+")")
	}
	*p = was
	return nil
}

// against refuses a pin that a live one says already, or says otherwise.
func (p Pin) against(others []Pin) error {
	for _, o := range others {
		if o.Job != p.Job || o.Stage != p.Stage || o.Kind != p.Kind {
			continue
		}
		if p.Kind == PinNotBy && o.Who != p.Who {
			continue
		}
		return fault.Changed("pin", string(p.Kind), "this is pinned already ("+o.Why+"): take that pin away first")
	}
	return nil
}

// tradeOf tells of a crew its trade, of a scaffold firm ScaffoldTrade.
func tradeOf(ctx context.Context, tx pgx.Tx, firm, who uuid.UUID) (Trade, error) {
	if who == uuid.Nil {
		return TradeUnknown, nil
	}
	var key string
	err := tx.QueryRow(ctx, `
		SELECT trade FROM crew WHERE firm_id = $1 AND crew_id = $2
		UNION ALL SELECT 'scaffold' FROM scaffold_firm WHERE firm_id = $1 AND scaffold_firm_id = $2`, firm, who).Scan(&key)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return TradeUnknown, nil
	case err != nil:
		return TradeUnknown, fmt.Errorf("read whom the pin names: %w", err)
	}
	return TradeFromKey(key)
}

func writePin(ctx context.Context, tx pgx.Tx, firm uuid.UUID, p Pin) error {
	var stage, half *string
	var crew, scaffold *uuid.UUID
	if p.Stage != StageUnknown {
		key := p.Stage.Key()
		stage = &key
	}
	if p.Kind == PinStart {
		key := [...]string{civil.Morning: "am", civil.Afternoon: "pm"}[p.Half]
		half = &key
	}
	if p.Stage.Trade() == ScaffoldTrade {
		scaffold = orNull(p.Who)
	} else {
		crew = orNull(p.Who)
	}
	_, err := tx.Exec(ctx, `
		INSERT INTO pin (firm_id, pin_id, job_id, stage_kind, kind, crew_id, scaffold_firm_id, on_day, half, why, set_by, set_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`,
		firm, p.ID, p.Job, stage, p.Kind, crew, scaffold, p.On, half, p.Why, p.SetBy, p.SetAt)
	if err != nil {
		return fmt.Errorf("keep the pin: %w", err)
	}
	return nil
}

// RemovePin takes a pin away. The pin and its removal both stay on record.
func (s *Store) RemovePin(ctx context.Context, firm, pin uuid.UUID, by, why string, now time.Time) error {
	if strings.TrimSpace(by) == "" {
		return fault.Bad("by", by, "the name of whoever takes the pin away")
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		var there bool
		if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pin WHERE firm_id = $1 AND pin_id = $2)`, firm, pin).Scan(&there); err != nil {
			return fmt.Errorf("read the pin: %w", err)
		}
		if !there {
			return fault.Missing("pin", pin.String())
		}
		_, err := tx.Exec(ctx, `INSERT INTO pin_removal (firm_id, pin_id, why, removed_by, removed_at) VALUES ($1, $2, $3, $4, $5)`,
			firm, pin, strings.TrimSpace(why), by, instant(now))
		if err != nil {
			return fmt.Errorf("take the pin away: %w", err)
		}
		return nil
	})
}

// ---------------------------------------------------------------- what customers know

// TellPromise records that a job's customer was told the promised day, or was
// not after all.
func (s *Store) TellPromise(ctx context.Context, firm uuid.UUID, ref string, told bool) error {
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		j, err := readJob(ctx, tx, firm, ref)
		if err != nil {
			return err
		}
		if told && !j.PromisedOn.Known() {
			return fault.Bad("promise told", "yes", "a promised day first: "+ref+" has none")
		}
		if _, err := tx.Exec(ctx, `UPDATE job SET promise_told = $3 WHERE firm_id = $1 AND job_id = $2`, firm, j.ID, told); err != nil {
			return fmt.Errorf("record what the customer was told: %w", err)
		}
		return nil
	})
}

// ConfirmVisit records the customer's word that somebody may come for a stage
// on a day, in place of an earlier one; NoDate takes it back.
func (s *Store) ConfirmVisit(ctx context.Context, firm uuid.UUID, ref string, k StageKind, on civil.Date, by string, now time.Time) error {
	c := &bounds{}
	c.day("confirmed for", on)
	if by == "" {
		c.add("by", by, "the name of whoever records it")
	}
	if err := errors.Join(c.bad...); err != nil {
		return err
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		j, err := readJob(ctx, tx, firm, ref)
		if err != nil {
			return err
		}
		if _, has := j.Stage(k); !has {
			return fault.Missing("stage", k.String())
		}
		if !on.Known() {
			_, err = tx.Exec(ctx, `DELETE FROM customer_confirmation WHERE firm_id = $1 AND job_id = $2 AND stage_kind = $3`, firm, j.ID, k.Key())
		} else {
			_, err = tx.Exec(ctx, `
				INSERT INTO customer_confirmation (firm_id, job_id, stage_kind, on_day, recorded_by, recorded_at) VALUES ($1, $2, $3, $4, $5, $6)
				ON CONFLICT (firm_id, job_id, stage_kind) DO UPDATE
				SET on_day = excluded.on_day, recorded_by = excluded.recorded_by, recorded_at = excluded.recorded_at`,
				firm, j.ID, k.Key(), on, by, instant(now))
		}
		if err != nil {
			return fmt.Errorf("record what the customer confirmed: %w", err)
		}
		return nil
	})
}

func readConfirmed(ctx context.Context, tx pgx.Tx, firm uuid.UUID, ids []uuid.UUID, at map[uuid.UUID]*Job) error {
	rows, err := tx.Query(ctx, `
		SELECT job_id, stage_kind, on_day FROM customer_confirmation WHERE firm_id = $1 AND job_id = ANY($2) ORDER BY job_id, stage_kind`, firm, ids)
	if err != nil {
		return fmt.Errorf("read what customers confirmed: %w", err)
	}
	var job uuid.UUID
	var stage string
	var c Confirmation
	_, err = pgx.ForEachRow(rows, []any{&job, &stage, &c.On}, func() (err error) {
		if c.Stage, err = StageFromKey(stage); err == nil {
			at[job].Confirmed = append(at[job].Confirmed, c)
		}
		return err
	})
	if err != nil {
		return fmt.Errorf("read what customers confirmed: %w", err)
	}
	return nil
}
