package schedule

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// HoldOffer keeps a place for a customer, in one SERIALIZABLE transaction: what
// has run out is expired first, then check is asked whether the place is free
// by the facts as that transaction reads them; its error is given back and
// nothing is held. Of two people who hold the same place at once one is told
// that it is gone. Holding the same offer again gives the one that is held.
func (s *Store) HoldOffer(ctx context.Context, firm uuid.UUID, h HeldOffer, now time.Time, firstDay civil.Date, days int, check func(Snapshot) error) (HeldOffer, error) {
	h.State, h.ToldAt, h.Until = OfferHeld, instant(now), instant(h.Until)
	if err := h.check(); err != nil {
		return HeldOffer{}, err
	}
	err := s.serial(ctx, firm, func(tx pgx.Tx) error {
		if err := expireOffers(ctx, tx, firm, now); err != nil {
			return err
		}
		known, err := readOffers(ctx, tx, firm, h.ID)
		if err != nil {
			return err
		}
		if len(known) > 0 {
			h = known[0]
			return nil
		}
		snap := Snapshot{Now: instant(now), FirstDay: firstDay, Days: days, Frozen: FrozenDays}
		if err := fillSnapshot(ctx, tx, firm, &snap); err != nil {
			return err
		}
		if check != nil {
			if err := check(snap); err != nil {
				return err
			}
		}
		return writeOffer(ctx, tx, firm, h)
	})
	if err != nil {
		return HeldOffer{}, err
	}
	return h, nil
}

func (h HeldOffer) check() error {
	c := &bounds{}
	c.text("told to", h.For, maxLine, true, false)
	c.text("contact", h.Contact, maxLine, false, false)
	if h.ToldBy == "" {
		c.add("told by", "", "who told it")
	}
	if !h.Until.After(h.ToldAt) || h.Until.After(h.ToldAt.AddDate(0, 0, 60)) {
		c.add("until", h.Until.Format(time.RFC3339), "an instant after now, at most 60 days on")
	}
	if len(h.Visits) == 0 {
		c.add("visits", "", "at least one: who would come, and when")
	}
	return errors.Join(c.bad...)
}

// expireOffers ends what nobody took in time.
func expireOffers(ctx context.Context, tx pgx.Tx, firm uuid.UUID, now time.Time) error {
	_, err := tx.Exec(ctx, `
		WITH gone AS (
		  UPDATE held_offer SET state = 'expired', ended_at = until WHERE firm_id = $1 AND state = 'held' AND until <= $2 RETURNING offer_id)
		UPDATE held_place SET keeps = false WHERE firm_id = $1 AND keeps AND offer_id IN (SELECT offer_id FROM gone)`, firm, instant(now))
	if err != nil {
		return fmt.Errorf("expire offers: %w", err)
	}
	return nil
}

func writeOffer(ctx context.Context, tx pgx.Tx, firm uuid.UUID, h HeldOffer) error {
	job, err := json.Marshal(h.Job)
	if err != nil {
		return fmt.Errorf("write what was asked for: %w", err)
	}
	b := &pgx.Batch{}
	b.Queue(`
		INSERT INTO held_offer (firm_id, offer_id, told_to, contact, job, more_pence, until, told_by, told_at, state)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, 'held')`, firm, h.ID, h.For, h.Contact, job, int64(h.More), h.Until, h.ToldBy, h.ToldAt)
	for _, v := range h.Visits {
		b.Queue(`
			INSERT INTO held_place (firm_id, offer_id, stage_kind, crew_id, scaffold_firm_id, half_days)
			VALUES ($1, $2, $3, $4, $5, $6)`, firm, h.ID, v.Stage.Key(), orNull(v.Crew), orNull(v.ScaffoldFirm), ranges(v.HalfDays))
	}
	if err := tx.SendBatch(ctx, b).Close(); err != nil {
		return fmt.Errorf("hold an offer: %w", err)
	}
	return nil
}

// HeldOffers gives the offers that keep a place at an instant: those that are
// held, and those that were taken and whose job no published plan has yet.
func (s *Store) HeldOffers(ctx context.Context, firm uuid.UUID, now time.Time) ([]HeldOffer, error) {
	var all []HeldOffer
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		all, err = readHeld(ctx, tx, firm, now)
		return err
	})
	return all, err
}

// HeldOffer gives one offer, whatever became of it.
func (s *Store) HeldOffer(ctx context.Context, firm, id uuid.UUID) (HeldOffer, error) {
	var all []HeldOffer
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		all, err = readOffers(ctx, tx, firm, id)
		return err
	})
	if err != nil {
		return HeldOffer{}, err
	}
	if len(all) == 0 {
		return HeldOffer{}, fault.Missing("offer", id.String())
	}
	return all[0], nil
}

// ReleaseOffer gives a held place free before its time. One that is released or
// has expired stays as it is; one that was taken is a job.
func (s *Store) ReleaseOffer(ctx context.Context, firm, id uuid.UUID, by string, now time.Time) (HeldOffer, error) {
	var h HeldOffer
	err := s.serial(ctx, firm, func(tx pgx.Tx) (err error) {
		if h, err = openOffer(ctx, tx, firm, id, now); err != nil || h.State == OfferReleased || h.State == OfferExpired {
			return err
		}
		if h.State == OfferTaken {
			return fault.Changed("offer", h.For, "it was taken by "+h.EndedBy+" and is a job: cancel the job instead")
		}
		h.State, h.EndedBy, h.EndedAt = OfferReleased, by, instant(now)
		return endOffer(ctx, tx, firm, h)
	})
	return h, err
}

// TakeOffer makes a job of a held offer, with the pins that keep its place, in
// one SERIALIZABLE transaction. ref is the new job's reference. Taking it twice
// under the same reference is once; under another it is a Conflict that names the
// job that was made. What was released or has expired cannot be taken.
func (s *Store) TakeOffer(ctx context.Context, firm, id uuid.UUID, ref, by string, now time.Time) (HeldOffer, Job, error) {
	var h HeldOffer
	var j Job
	err := s.serial(ctx, firm, func(tx pgx.Tx) (err error) {
		if h, err = openOffer(ctx, tx, firm, id, now); err != nil {
			return err
		}
		switch h.State {
		case OfferTaken:
			if j, err = readJobByID(ctx, tx, firm, id); err == nil && j.Ref != ref {
				return fault.Changed("offer", h.For, "it was taken as "+j.Ref+" by "+h.EndedBy+": "+ref+" was not made")
			}
			return err
		case OfferReleased, OfferExpired:
			return fault.Changed("offer", h.For, "it is "+string(h.State)+": look again at what is free")
		}
		var pins []Pin
		j, pins = h.AsJob(by, instant(now))
		j.Ref, j.CreatedAt = ref, instant(now)
		if err := j.Check(); err != nil {
			return err
		}
		if err := s.newJob(ctx, tx, firm, j, by, now); err != nil {
			return err
		}
		for _, p := range pins {
			p.ID = s.ids()
			if err := writeOfferPin(ctx, tx, firm, p); err != nil {
				return err
			}
		}
		h.State, h.EndedBy, h.EndedAt = OfferTaken, by, instant(now)
		return endOffer(ctx, tx, firm, h)
	})
	return h, j, err
}

// writeOfferPin adds one pin of a job that was made from an offer.
func writeOfferPin(ctx context.Context, tx pgx.Tx, firm uuid.UUID, p Pin) error {
	crew, scaffolder := orNull(p.Who), (*uuid.UUID)(nil)
	if p.Stage.Trade() == ScaffoldTrade {
		crew, scaffolder = nil, crew
	}
	var half *string
	if p.Kind == PinStart {
		words := map[civil.Half]string{civil.Morning: "am", civil.Afternoon: "pm"}[p.Half]
		half = &words
	}
	_, err := tx.Exec(ctx, `
		INSERT INTO pin (firm_id, pin_id, job_id, stage_kind, kind, crew_id, scaffold_firm_id, on_day, half, why, set_by, set_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`,
		firm, p.ID, p.Job, p.Stage.Key(), p.Kind, crew, scaffolder, p.On, half, p.Why, p.SetBy, p.SetAt)
	if err != nil {
		return fmt.Errorf("pin the place of an offer: %w", err)
	}
	return nil
}

// newJob refuses a reference that is in use: an offer never changes a job.
func (s *Store) newJob(ctx context.Context, tx pgx.Tx, firm uuid.UUID, j Job, by string, now time.Time) error {
	_, err := readJob(ctx, tx, firm, j.Ref)
	switch {
	case err == nil:
		return fault.Bad("reference", j.Ref, "one that no other job has")
	case fault.KindOf(err) != fault.NotFound:
		return err
	}
	return s.saveJob(ctx, tx, firm, j, by, now)
}

func readJobByID(ctx context.Context, tx pgx.Tx, firm, id uuid.UUID) (Job, error) {
	jobs, err := readJobs(ctx, tx, firm, whichJobs{id: id})
	if err != nil {
		return Job{}, err
	}
	if len(jobs) == 0 {
		return Job{}, fault.Missing("job", id.String())
	}
	return jobs[0], nil
}

// openOffer expires what has run out and gives one offer as it then is.
func openOffer(ctx context.Context, tx pgx.Tx, firm, id uuid.UUID, now time.Time) (HeldOffer, error) {
	if err := expireOffers(ctx, tx, firm, now); err != nil {
		return HeldOffer{}, err
	}
	all, err := readOffers(ctx, tx, firm, id)
	if err != nil {
		return HeldOffer{}, err
	}
	if len(all) == 0 {
		return HeldOffer{}, fault.Missing("offer", id.String())
	}
	return all[0], nil
}

// endOffer writes what became of an offer. The place of one that was taken is
// kept: its job is in no published plan yet.
func endOffer(ctx context.Context, tx pgx.Tx, firm uuid.UUID, h HeldOffer) error {
	_, err := tx.Exec(ctx, `UPDATE held_offer SET state = $3, ended_by = $4, ended_at = $5 WHERE firm_id = $1 AND offer_id = $2`,
		firm, h.ID, h.State, h.EndedBy, h.EndedAt)
	if err == nil && h.State != OfferTaken {
		_, err = tx.Exec(ctx, `UPDATE held_place SET keeps = false WHERE firm_id = $1 AND offer_id = $2`, firm, h.ID)
	}
	if err != nil {
		return fmt.Errorf("end an offer: %w", err)
	}
	return nil
}

// readHeld gives the offers that keep a place at an instant.
func readHeld(ctx context.Context, tx pgx.Tx, firm uuid.UUID, now time.Time) ([]HeldOffer, error) {
	all, err := readOffers(ctx, tx, firm, uuid.Nil)
	if err != nil {
		return nil, err
	}
	var held []HeldOffer
	for _, h := range all {
		if h.State == OfferTaken || h.State == OfferHeld && h.Until.After(now) {
			held = append(held, h)
		}
	}
	return held, nil
}

// readOffers gives one offer, or all that may keep a place: held ones, and taken
// ones whose job is open and in no published plan.
func readOffers(ctx context.Context, tx pgx.Tx, firm, id uuid.UUID) ([]HeldOffer, error) {
	rows, err := tx.Query(ctx, `
		SELECT o.offer_id, o.told_to, o.contact, o.job, o.more_pence, o.until, o.told_by, o.told_at, o.state, o.ended_by, o.ended_at
		FROM held_offer o
		WHERE o.firm_id = $1 AND (o.offer_id = $2 OR $2::uuid IS NULL AND (o.state = 'held' OR o.state = 'taken'
		  AND EXISTS (SELECT FROM job j WHERE j.firm_id = o.firm_id AND j.job_id = o.offer_id AND j.state = 'open')
		  AND NOT EXISTS (SELECT FROM visit v JOIN plan p ON p.firm_id = v.firm_id AND p.plan_id = v.plan_id
		                  WHERE v.firm_id = o.firm_id AND v.job_id = o.offer_id AND p.state = 'published')))
		ORDER BY o.told_at, o.offer_id`, firm, orNull(id))
	if err != nil {
		return nil, fmt.Errorf("read the offers: %w", err)
	}
	all, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (h HeldOffer, err error) {
		var job []byte
		var ended *time.Time
		if err = row.Scan(&h.ID, &h.For, &h.Contact, &job, &h.More, &h.Until, &h.ToldBy, &h.ToldAt, &h.State, &h.EndedBy, &ended); err != nil {
			return h, err
		}
		h.Until, h.ToldAt, h.EndedAt = h.Until.UTC(), h.ToldAt.UTC(), timeOrZero(ended)
		return h, json.Unmarshal(job, &h.Job)
	})
	if err != nil {
		return nil, fmt.Errorf("read the offers: %w", err)
	}
	for i := range all {
		if all[i].Visits, err = readPlaces(ctx, tx, firm, all[i].ID); err != nil {
			return nil, err
		}
	}
	return all, nil
}

func readPlaces(ctx context.Context, tx pgx.Tx, firm, offer uuid.UUID) ([]Visit, error) {
	rows, err := tx.Query(ctx, `
		SELECT stage_kind, crew_id, scaffold_firm_id, half_days FROM held_place
		WHERE firm_id = $1 AND offer_id = $2
		ORDER BY array_position(ARRAY['scaffold_erection', 'roof_work', 'first_fix', 'second_fix', 'commissioning', 'scaffold_strike'], stage_kind)`, firm, offer)
	if err != nil {
		return nil, fmt.Errorf("read an offer's place: %w", err)
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (Visit, error) {
		v := Visit{Job: offer}
		var kind string
		var crew, scaffolder *uuid.UUID
		var at halfDayRanges
		err := row.Scan(&kind, &crew, &scaffolder, &at)
		if err != nil {
			return v, err
		}
		v.Crew, v.ScaffoldFirm = orNil(crew), orNil(scaffolder)
		if v.Stage, err = StageFromKey(kind); err != nil {
			return v, err
		}
		v.HalfDays, err = halfDaysOf(at)
		return v, err
	})
}

// JobByID gives one job by its identifier.
func (s *Store) JobByID(ctx context.Context, firm, id uuid.UUID) (Job, error) {
	var j Job
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		j, err = readJobByID(ctx, tx, firm, id)
		return err
	})
	return j, err
}
