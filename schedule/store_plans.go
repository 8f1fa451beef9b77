package schedule

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// FrozenDays is how many working days of a published plan stay in the next one
// unless the firm says otherwise (start value, common practice, no source).
const FrozenDays = 2

// Snapshot reads everything a plan rests on but the outlooks, in one REPEATABLE
// READ transaction: what it gives stood in the database at one instant. days is
// 1 to 400.
func (s *Store) Snapshot(ctx context.Context, firm uuid.UUID, now time.Time, firstDay civil.Date, days int) (Snapshot, error) {
	snap := Snapshot{Now: instant(now), FirstDay: firstDay, Days: days, Frozen: FrozenDays}
	if days < 1 || days > 400 {
		return snap, fault.Bad("days", strconv.Itoa(days), "1 to 400")
	}
	if !firstDay.Known() {
		return snap, fault.Bad("first day", "", "the first day that may still be planned")
	}
	err := s.read(ctx, firm, func(tx pgx.Tx) error { return fillSnapshot(ctx, tx, firm, &snap) })
	return snap, err
}

func fillSnapshot(ctx context.Context, tx pgx.Tx, firm uuid.UUID, snap *Snapshot) (err error) {
	if snap.Firm, err = readFirm(ctx, tx, firm); err != nil {
		return err
	}
	if snap.Holidays, err = readHolidays(ctx, tx, firm); err != nil {
		return err
	}
	if snap.Crews, err = readCrews(ctx, tx, firm); err != nil {
		return err
	}
	if snap.ScaffoldFirms, err = readScaffoldFirms(ctx, tx, firm); err != nil {
		return err
	}
	if snap.Jobs, err = readJobs(ctx, tx, firm, whichJobs{state: JobOpen}); err != nil {
		return err
	}
	if snap.Bookings, err = readBookings(ctx, tx, firm, whichBookings{live: true}); err != nil {
		return err
	}
	for i := range snap.Bookings {
		snap.Bookings[i].State = snap.Bookings[i].State.forPlan()
	}
	if snap.Refused, err = readRefused(ctx, tx, firm, snap.today()); err != nil {
		return err
	}
	offers, err := readHeld(ctx, tx, firm, snap.Now)
	if err != nil {
		return err
	}
	snap.Hold(offers)
	snap.Frozen = snap.Firm.Rates.FrozenDays
	if snap.Pins, err = readPins(ctx, tx, firm); err != nil {
		return err
	}
	travel, err := newestTravel(ctx, tx, firm)
	if err != nil {
		return err
	}
	snap.Travel = travel.Legs
	base, err := readPlan(ctx, tx, firm, whichPlan{state: Published})
	if fault.KindOf(err) == fault.NotFound && err != nil {
		return nil
	}
	snap.Base = &base
	return err
}

// SavePlan keeps a draft as the next version and gives it back with its ID and
// version. The caller has held it against Validate; what no plan can be is
// refused here and by the database: an empty visit, a half-day twice, a crew in
// two places at once.
func (s *Store) SavePlan(ctx context.Context, firm uuid.UUID, p Plan) (Plan, error) {
	p = s.asDraft(p)
	if err := p.check(); err != nil {
		return Plan{}, err
	}
	err := s.write(ctx, firm, func(tx pgx.Tx) error { return saveDraft(ctx, tx, firm, &p) })
	if err != nil {
		return Plan{}, err
	}
	return p, nil
}

// asDraft gives a plan its identity and takes away what only a published one
// has.
func (s *Store) asDraft(p Plan) Plan {
	p.ID, p.State, p.PublishedBy, p.PublishedAt = s.orNew(p.ID), Draft, "", time.Time{}
	p.MadeAt = instant(p.MadeAt)
	return p
}

// saveDraft writes a draft as the firm's next version.
func saveDraft(ctx context.Context, tx pgx.Tx, firm uuid.UUID, p *Plan) error {
	// One after the other: the version is one more than the newest.
	if _, err := tx.Exec(ctx, `SELECT FROM firm WHERE firm_id = $1 FOR NO KEY UPDATE`, firm); err != nil {
		return fmt.Errorf("lock the firm's plans: %w", err)
	}
	err := tx.QueryRow(ctx, `SELECT 1 + coalesce(max(version), 0) FROM plan WHERE firm_id = $1`, firm).Scan(&p.Version)
	if err != nil {
		return fmt.Errorf("number the plan: %w", err)
	}
	return writePlan(ctx, tx, firm, *p)
}

func (p Plan) check() error {
	c := &bounds{}
	c.within("days", float64(p.Days), 1, 400, false, "days")
	if !p.FirstDay.Known() {
		c.add("first day", "", "the first day that was planned")
	}
	if p.MadeBy == "" || p.MadeAt.IsZero() {
		c.add("made by", p.MadeBy, "who made the plan, and when")
	}
	for _, v := range p.Visits {
		field := "half-days of " + v.Stage.String()
		if len(v.HalfDays) == 0 {
			c.add(field, "", "at least one")
		}
		for i := 1; i < len(v.HalfDays); i++ {
			if v.HalfDays[i] <= v.HalfDays[i-1] {
				c.add(field, v.HalfDays[i].String(), "each once, in order")
			}
		}
	}
	return errors.Join(c.bad...)
}

// unplannedJSON is an Unplanned as the database keeps it.
type unplannedJSON struct {
	Job   uuid.UUID `json:"job"`
	Stage StageKind `json:"stage"`
	Why   string    `json:"why"`
}

func writePlan(ctx context.Context, tx pgx.Tx, firm uuid.UUID, p Plan) error {
	cost, err := json.Marshal(p.Cost)
	if err != nil {
		return fmt.Errorf("write the plan's cost: %w", err)
	}
	left := make([]unplannedJSON, len(p.Unplanned))
	for i, u := range p.Unplanned {
		left[i] = unplannedJSON(u)
	}
	unplanned, err := json.Marshal(left)
	if err != nil {
		return fmt.Errorf("write what the plan left out: %w", err)
	}
	replay, err := replayColumn(p)
	if err != nil {
		return err
	}
	b := &pgx.Batch{}
	b.Queue(`
		INSERT INTO plan (firm_id, plan_id, version, state, base_plan_id, first_day, days, seed, schedules, snapshot_hash,
		                  cost, unplanned, made_by, made_at, replay)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)`,
		firm, p.ID, p.Version, p.State, orNull(p.Base), p.FirstDay, p.Days, int64(p.Seed), p.Schedules, p.Hash[:],
		cost, unplanned, p.MadeBy, p.MadeAt, replay)
	for _, v := range p.Visits {
		b.Queue(`
			INSERT INTO visit (firm_id, plan_id, job_id, stage_kind, crew_id, scaffold_firm_id, half_days, chance, chance_basis, indoors, why)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`,
			firm, p.ID, v.Job, v.Stage.Key(), orNull(v.Crew), orNull(v.ScaffoldFirm), ranges(v.HalfDays), chanceColumn(v.Chance),
			v.Chance.Basis, v.Stage.Task() == weather.Indoors, v.Why)
	}
	if err := tx.SendBatch(ctx, b).Close(); err != nil {
		return fmt.Errorf("save the plan: %w", err)
	}
	return nil
}

// halfDayRanges is int4multirange: runs of half-days.
type halfDayRanges = pgtype.Multirange[pgtype.Range[int32]]

// ranges joins ascending half-days into runs.
func ranges(halfDays []civil.HalfDay) halfDayRanges {
	var all halfDayRanges
	for _, h := range halfDays {
		if n := len(all); n > 0 && all[n-1].Upper == int32(h) {
			all[n-1].Upper++
			continue
		}
		all = append(all, pgtype.Range[int32]{Lower: int32(h), Upper: int32(h) + 1, LowerType: pgtype.Inclusive, UpperType: pgtype.Exclusive, Valid: true})
	}
	return all
}

// halfDaysOf takes runs apart. Postgres gives them as [from, to).
func halfDaysOf(all halfDayRanges) ([]civil.HalfDay, error) {
	var out []civil.HalfDay
	for _, r := range all {
		if r.LowerType != pgtype.Inclusive || r.UpperType != pgtype.Exclusive {
			return nil, errors.New("half-days without a start or an end")
		}
		for h := r.Lower; h < r.Upper; h++ {
			out = append(out, civil.HalfDay(h))
		}
	}
	return out, nil
}

// chanceColumn makes NULL of an unknown chance.
func chanceColumn(c weather.Chance) *float64 {
	if !c.Known {
		return nil
	}
	return &c.P
}

// CurrentPlan gives the published plan; NotFound when none was ever published.
func (s *Store) CurrentPlan(ctx context.Context, firm uuid.UUID) (Plan, error) {
	return s.plan(ctx, firm, whichPlan{state: Published})
}

// Plan gives one plan.
func (s *Store) Plan(ctx context.Context, firm, id uuid.UUID) (Plan, error) {
	return s.plan(ctx, firm, whichPlan{id: id})
}

// NewestDraft gives the draft with the highest version; NotFound when there is
// none.
func (s *Store) NewestDraft(ctx context.Context, firm uuid.UUID) (Plan, error) {
	return s.plan(ctx, firm, whichPlan{state: Draft})
}

func (s *Store) plan(ctx context.Context, firm uuid.UUID, which whichPlan) (Plan, error) {
	var p Plan
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		p, err = readPlan(ctx, tx, firm, which)
		return err
	})
	return p, err
}

// whichPlan picks the newest plan by its ID or state.
type whichPlan struct {
	id    uuid.UUID
	state PlanState
}

type planRow struct {
	PlanID              uuid.UUID
	Version             int
	State               string
	BasePlanID          *uuid.UUID
	FirstDay            civil.Date
	Days                int
	Seed                int64
	Schedules           int
	SnapshotHash        []byte
	Cost, Unplanned     []byte
	Replay              []byte // nil = none
	MadeBy, PublishedBy string
	MadeAt              time.Time
	PublishedAt         *time.Time
}

func readPlan(ctx context.Context, tx pgx.Tx, firm uuid.UUID, which whichPlan) (Plan, error) {
	rows, err := tx.Query(ctx, `
		SELECT plan_id, version, state, base_plan_id, first_day, days, seed, schedules, snapshot_hash, cost, unplanned, replay,
		       made_by, coalesce(published_by, '') AS published_by, made_at, published_at
		FROM plan
		WHERE firm_id = $1 AND ($2::uuid IS NULL OR plan_id = $2) AND ($3 = '' OR state = $3)
		ORDER BY version DESC LIMIT 1`, firm, orNull(which.id), string(which.state))
	if err != nil {
		return Plan{}, fmt.Errorf("read a plan: %w", err)
	}
	r, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[planRow])
	if errors.Is(err, pgx.ErrNoRows) {
		return Plan{}, fault.Missing("plan", which.words())
	}
	if err != nil {
		return Plan{}, fmt.Errorf("read a plan: %w", err)
	}
	p, err := r.plan()
	if err != nil {
		return Plan{}, err
	}
	p.Visits, err = readVisits(ctx, tx, firm, p.ID)
	return p, err
}

func (w whichPlan) words() string {
	if w.id != uuid.Nil {
		return w.id.String()
	}
	return string(w.state)
}

func (r planRow) plan() (Plan, error) {
	p := Plan{ID: r.PlanID, Version: r.Version, State: PlanState(r.State), Base: orNil(r.BasePlanID), FirstDay: r.FirstDay, Days: r.Days,
		Seed: uint64(r.Seed), Schedules: r.Schedules, MadeBy: r.MadeBy, MadeAt: r.MadeAt.UTC(), PublishedBy: r.PublishedBy,
		PublishedAt: timeOrZero(r.PublishedAt)}
	copy(p.Hash[:], r.SnapshotHash)
	if err := json.Unmarshal(r.Cost, &p.Cost); err != nil {
		return p, fmt.Errorf("read the cost of plan %d: %w", r.Version, err)
	}
	var left []unplannedJSON
	if err := json.Unmarshal(r.Unplanned, &left); err != nil {
		return p, fmt.Errorf("read what plan %d left out: %w", r.Version, err)
	}
	for _, u := range left {
		p.Unplanned = append(p.Unplanned, Unplanned(u))
	}
	return p, readReplay(&p, r.Replay)
}

type visitRow struct {
	JobID                  uuid.UUID
	StageKind              string
	CrewID, ScaffoldFirmID *uuid.UUID
	HalfDays               halfDayRanges
	Chance                 *float64
	ChanceBasis, Why       string
}

// readVisits gives a plan's visits by job reference, then stage.
func readVisits(ctx context.Context, tx pgx.Tx, firm, plan uuid.UUID) ([]Visit, error) {
	rows, err := tx.Query(ctx, `
		SELECT v.job_id, v.stage_kind, v.crew_id, v.scaffold_firm_id, v.half_days, v.chance, v.chance_basis, v.why
		FROM visit v JOIN job j ON j.firm_id = v.firm_id AND j.job_id = v.job_id
		WHERE v.firm_id = $1 AND v.plan_id = $2
		ORDER BY j.ref COLLATE "C",
		         array_position(ARRAY['scaffold_erection', 'roof_work', 'first_fix', 'second_fix', 'commissioning', 'scaffold_strike'], v.stage_kind)`,
		firm, plan)
	if err != nil {
		return nil, fmt.Errorf("read the visits: %w", err)
	}
	found, err := pgx.CollectRows(rows, pgx.RowToStructByName[visitRow])
	if err != nil {
		return nil, fmt.Errorf("read the visits: %w", err)
	}
	var all []Visit
	for _, r := range found {
		v := Visit{Job: r.JobID, Crew: orNil(r.CrewID), ScaffoldFirm: orNil(r.ScaffoldFirmID), Chance: weather.Chance{Basis: r.ChanceBasis}, Why: r.Why}
		if r.Chance != nil {
			v.Chance.Known, v.Chance.P = true, *r.Chance
		}
		if v.Stage, err = StageFromKey(r.StageKind); err != nil {
			return nil, fmt.Errorf("read the visits: %w", err)
		}
		if v.HalfDays, err = halfDaysOf(r.HalfDays); err != nil {
			return nil, fmt.Errorf("read the visits: %w", err)
		}
		all = append(all, v)
	}
	return all, nil
}

// DropPlan puts a draft aside: it can no longer be published.
func (s *Store) DropPlan(ctx context.Context, firm, id uuid.UUID) error {
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `UPDATE plan SET state = 'dropped' WHERE firm_id = $1 AND plan_id = $2 AND state = 'draft'`, firm, id)
		if err != nil {
			return fmt.Errorf("drop a plan: %w", err)
		}
		return one(tag, "draft", id.String())
	})
}

// Publish puts a draft in the place of the published plan and lets the bookings
// follow it, all in one SERIALIZABLE transaction: the plan that was published
// is superseded, and every booking made, moved or cancelled is written with its
// version and why. It is a conflict when the draft was not made from the plan
// that is published now, or is no draft any more. check is asked about the facts
// as that transaction reads them, but for the outlooks, and about the draft; its
// error is given back and nothing is published. It may be asked again when the
// transaction is repeated; nil = no question.
func (s *Store) Publish(ctx context.Context, firm, id uuid.UUID, by string, now time.Time, check func(Snapshot, Plan) error) (Plan, []BookingChange, error) {
	return s.PublishAgreed(ctx, firm, id, by, now, check, nil)
}

// PublishAgreed is Publish that asks whether somebody agreed to the changes that
// come inside a scaffold firm's notice; agreed nil = whoever publishes did.
func (s *Store) PublishAgreed(ctx context.Context, firm, id uuid.UUID, by string, now time.Time, check func(Snapshot, Plan) error, agreed func([]ShortNotice) error) (Plan, []BookingChange, error) {
	if by == "" {
		return Plan{}, nil, fault.Bad("published by", "", "who publishes the plan")
	}
	var p Plan
	var changes []BookingChange
	err := s.serial(ctx, firm, func(tx pgx.Tx) (err error) {
		if p, err = readPlan(ctx, tx, firm, whichPlan{id: id}); err != nil {
			return err
		}
		snap := Snapshot{Now: instant(now), FirstDay: p.FirstDay, Days: p.Days, Frozen: FrozenDays}
		if err := fillSnapshot(ctx, tx, firm, &snap); err != nil {
			return err
		}
		if err := supersede(ctx, tx, firm, p); err != nil {
			return err
		}
		if check != nil {
			if err := check(snap, p); err != nil {
				return err
			}
		}
		p.State, p.PublishedBy, p.PublishedAt = Published, by, instant(now)
		_, err = tx.Exec(ctx, `
			UPDATE plan SET state = 'published', published_by = $3, published_at = $4 WHERE firm_id = $1 AND plan_id = $2`,
			firm, id, by, p.PublishedAt)
		if err != nil {
			return fmt.Errorf("publish plan %d: %w", p.Version, err)
		}
		if changes, err = s.rebook(ctx, tx, firm, p, snap, by, now, agreed); err != nil {
			return err
		}
		return reviseVisits(ctx, tx, firm, p, now)
	})
	if err != nil {
		return Plan{}, nil, err
	}
	return p, changes, nil
}

// supersede refuses a draft that was overtaken and steps the published plan
// back.
func supersede(ctx context.Context, tx pgx.Tx, firm uuid.UUID, p Plan) error {
	if p.State != Draft {
		return fault.Changed("plan", strconv.Itoa(p.Version), "it is "+string(p.State)+" already: make a new plan")
	}
	current := uuid.Nil
	version := 0
	err := tx.QueryRow(ctx, `SELECT plan_id, version FROM plan WHERE firm_id = $1 AND state = 'published'`, firm).Scan(&current, &version)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return fmt.Errorf("read which plan is published: %w", err)
	}
	if current != p.Base {
		return fault.Changed("plan", strconv.Itoa(p.Version),
			fmt.Sprintf("plan %d was published after this one was made: look at it and plan again", version))
	}
	_, err = tx.Exec(ctx, `UPDATE plan SET state = 'superseded' WHERE firm_id = $1 AND state = 'published'`, firm)
	if err != nil {
		return fmt.Errorf("supersede plan %d: %w", version, err)
	}
	return nil
}

// rebook lets the bookings follow a plan that was just published.
func (s *Store) rebook(ctx context.Context, tx pgx.Tx, firm uuid.UUID, p Plan, snap Snapshot, by string, now time.Time, agreed func([]ShortNotice) error) ([]BookingChange, error) {
	jobs, err := readJobs(ctx, tx, firm, whichJobs{state: JobOpen})
	if err != nil {
		return nil, err
	}
	live, err := readBookings(ctx, tx, firm, whichBookings{live: true})
	if err != nil {
		return nil, err
	}
	changes := Rebook(Snapshot{Jobs: jobs}, p, live, now, s.ids)
	loc, err := snap.Firm.Location()
	if err != nil {
		return nil, fmt.Errorf("read the firm's zone: %w", err)
	}
	short := ShortNotices(changes, jobs, snap.ScaffoldFirms, snap.Holidays, civil.DateOf(now, loc))
	if agreed != nil && len(short) > 0 {
		if err := agreed(short); err != nil {
			return nil, err
		}
	}
	for i := range changes {
		changes[i].How = ByPlan
		for _, n := range short {
			if n.Booking == changes[i].After.ID {
				changes[i].Why += " This comes inside your notice; " + by + " agreed to it."
			}
		}
		if err := writeChange(ctx, tx, firm, changes[i], p.ID, by); err != nil {
			return nil, err
		}
	}
	return changes, s.tellScaffoldFirms(ctx, tx, firm, changes, by, now)
}
