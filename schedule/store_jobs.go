package schedule

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Jobs gives every job by reference, with all that belongs to it.
func (s *Store) Jobs(ctx context.Context, firm uuid.UUID) ([]Job, error) {
	var all []Job
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		all, err = readJobs(ctx, tx, firm, whichJobs{})
		return err
	})
	return all, err
}

// Job gives one job by its reference.
func (s *Store) Job(ctx context.Context, firm uuid.UUID, ref string) (Job, error) {
	var j Job
	err := s.read(ctx, firm, func(tx pgx.Tx) (err error) {
		j, err = readJob(ctx, tx, firm, ref)
		return err
	})
	return j, err
}

func readJob(ctx context.Context, tx pgx.Tx, firm uuid.UUID, ref string) (Job, error) {
	found, err := readJobs(ctx, tx, firm, whichJobs{ref: ref})
	switch {
	case err != nil:
		return Job{}, err
	case len(found) == 0:
		return Job{}, fault.Missing("job", ref)
	}
	return found[0], nil
}

// whichJobs narrows what is read; zero = all.
type whichJobs struct {
	ref   string
	id    uuid.UUID
	state JobState
}

type jobRow struct {
	JobID, SiteID, CustomerID uuid.UUID
	Ref, State, Note          string
	Modules, ModuleWatts      int
	ModuleKg, ModuleM2        float64
	ReadyOn, PromisedOn       civil.Date
	PromiseTold               bool
	CreatedAt                 time.Time
	CustomerName              string
	Email, Phone              string
	Address, Postcode         string
	Lat, Lon                  float64
	Terrain                   string
	WorkingHeightM            float64
	Facts                     []byte
}

func readJobs(ctx context.Context, tx pgx.Tx, firm uuid.UUID, which whichJobs) ([]Job, error) {
	rows, err := tx.Query(ctx, `
		SELECT j.job_id, j.site_id, j.customer_id, j.ref, j.state, j.note, j.modules, j.module_watts, j.module_kg, j.module_m2,
		       j.ready_on, j.promised_on, j.promise_told, j.created_at, c.name AS customer_name, c.email, c.phone, t.address, t.postcode,
		       t.lat, t.lon, t.terrain, t.working_height_m, t.facts
		FROM job j
		JOIN customer c ON c.firm_id = j.firm_id AND c.customer_id = j.customer_id
		JOIN site t ON t.firm_id = j.firm_id AND t.site_id = j.site_id
		WHERE j.firm_id = $1 AND ($2 = '' OR j.ref = $2) AND ($3 = '' OR j.state = $3) AND ($4::uuid IS NULL OR j.job_id = $4)
		ORDER BY j.ref COLLATE "C"`, firm, which.ref, string(which.state), orNull(which.id))
	if err != nil {
		return nil, fmt.Errorf("read the jobs: %w", err)
	}
	found, err := pgx.CollectRows(rows, pgx.RowToStructByName[jobRow])
	if err != nil {
		return nil, fmt.Errorf("read the jobs: %w", err)
	}
	jobs := make([]Job, len(found))
	at := map[uuid.UUID]*Job{}
	ids := make([]uuid.UUID, len(found))
	for i, r := range found {
		if jobs[i], err = r.job(); err != nil {
			return nil, err
		}
		at[r.JobID], ids[i] = &jobs[i], r.JobID
	}
	return jobs, errors.Join(readStages(ctx, tx, firm, ids, at), readConsents(ctx, tx, firm, ids, at), readKit(ctx, tx, firm, ids, at), readConfirmed(ctx, tx, firm, ids, at))
}

func (r jobRow) job() (Job, error) {
	j := Job{ID: r.JobID, Ref: r.Ref, State: JobState(r.State), Modules: r.Modules, ModuleWatts: r.ModuleWatts, ModuleKg: r.ModuleKg,
		ModuleM2: r.ModuleM2, ReadyOn: r.ReadyOn, PromisedOn: r.PromisedOn, PromiseTold: r.PromiseTold, Note: r.Note, CreatedAt: r.CreatedAt.UTC(),
		Customer: Customer{ID: r.CustomerID, Name: r.CustomerName, Email: r.Email, Phone: r.Phone},
		Site: Site{ID: r.SiteID, Address: r.Address, Postcode: r.Postcode, Lat: r.Lat, Lon: r.Lon, Terrain: r.Terrain,
			WorkingHeightM: r.WorkingHeightM}}
	if err := json.Unmarshal(r.Facts, &j.Site.Facts); err != nil {
		return j, fmt.Errorf("read the survey of job %s: %w", r.Ref, err)
	}
	return j, nil
}

func readStages(ctx context.Context, tx pgx.Tx, firm uuid.UUID, ids []uuid.UUID, at map[uuid.UUID]*Job) error {
	rows, err := tx.Query(ctx, `
		SELECT job_id, kind, half_days, state, started_on, done_on
		FROM stage WHERE firm_id = $1 AND job_id = ANY($2) ORDER BY job_id`, firm, ids)
	if err != nil {
		return fmt.Errorf("read the stages: %w", err)
	}
	var job uuid.UUID
	var kind, state string
	var s Stage
	_, err = pgx.ForEachRow(rows, []any{&job, &kind, &s.HalfDays, &state, &s.StartedOn, &s.DoneOn}, func() (err error) {
		if s.Kind, err = StageFromKey(kind); err != nil {
			return err
		}
		if s.State, err = stateFromKey(state); err != nil {
			return err
		}
		at[job].Stages = append(at[job].Stages, s)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read the stages: %w", err)
	}
	for _, j := range at {
		slices.SortFunc(j.Stages, func(a, b Stage) int { return int(a.Kind) - int(b.Kind) })
	}
	return nil
}

func stateFromKey(key string) (StageState, error) {
	for _, s := range []StageState{StatePlanned, StateStarted, StateDone} {
		if s.Key() == key {
			return s, nil
		}
	}
	return StatePlanned, fault.Bad("stage state", key, "one of planned, started, done")
}

func readConsents(ctx context.Context, tx pgx.Tx, firm uuid.UUID, ids []uuid.UUID, at map[uuid.UUID]*Job) error {
	rows, err := tx.Query(ctx, `
		SELECT job_id, kind, stage_kind, state, expected_on, granted_on
		FROM consent WHERE firm_id = $1 AND job_id = ANY($2) ORDER BY job_id`, firm, ids)
	if err != nil {
		return fmt.Errorf("read the consents: %w", err)
	}
	var job uuid.UUID
	var kind, stage, state string
	var c Consent
	_, err = pgx.ForEachRow(rows, []any{&job, &kind, &stage, &state, &c.ExpectedOn, &c.GrantedOn}, func() (err error) {
		c.Kind, c.State = ConsentKind(kind), ConsentState(state)
		if c.Stage, err = StageFromKey(stage); err != nil {
			return err
		}
		at[job].Consents = append(at[job].Consents, c)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read the consents: %w", err)
	}
	for _, j := range at {
		slices.SortFunc(j.Consents, func(a, b Consent) int {
			return slices.Index(ConsentKinds, a.Kind) - slices.Index(ConsentKinds, b.Kind)
		})
	}
	return nil
}

func readKit(ctx context.Context, tx pgx.Tx, firm uuid.UUID, ids []uuid.UUID, at map[uuid.UUID]*Job) error {
	rows, err := tx.Query(ctx, `
		SELECT job_id, item, quantity, due_on, arrived_on
		FROM kit WHERE firm_id = $1 AND job_id = ANY($2) ORDER BY job_id, item COLLATE "C"`, firm, ids)
	if err != nil {
		return fmt.Errorf("read the kit: %w", err)
	}
	var job uuid.UUID
	var k Kit
	_, err = pgx.ForEachRow(rows, []any{&job, &k.Item, &k.Quantity, &k.DueOn, &k.ArrivedOn}, func() error {
		at[job].Kit = append(at[job].Kit, k)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read the kit: %w", err)
	}
	return nil
}

// SaveJob adds a job or changes one, by its reference. Identifiers and the time
// at which it was made are given to a new one that has none and kept for a known
// one. Stages, consents and kit that are known and not given stay. A booking
// whose scaffold firm would read something new is marked as changed.
func (s *Store) SaveJob(ctx context.Context, firm uuid.UUID, j Job, by string, now time.Time) error {
	if err := j.Check(); err != nil {
		return err
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error { return s.saveJob(ctx, tx, firm, j, by, now) })
}

func (s *Store) saveJob(ctx context.Context, tx pgx.Tx, firm uuid.UUID, j Job, by string, now time.Time) error {
	before, err := readJob(ctx, tx, firm, j.Ref)
	known := err == nil
	if err != nil && fault.KindOf(err) != fault.NotFound {
		return err
	}
	if known {
		j.ID, j.Site.ID, j.Customer.ID = before.ID, before.Site.ID, before.Customer.ID
		if j.PromisedOn != before.PromisedOn && before.PromiseTold {
			j.PromiseTold = false // the customer was told another day
		}
	} else if err := isNew(ctx, tx, firm, j); err != nil {
		return err
	}
	j.ID, j.Site.ID, j.Customer.ID = s.orNew(j.ID), s.orNew(j.Site.ID), s.orNew(j.Customer.ID)
	if j.CreatedAt.IsZero() {
		j.CreatedAt = now
	}
	if err := writeJob(ctx, tx, firm, j); err != nil {
		return fmt.Errorf("save job %s: %w", j.Ref, err)
	}
	if !known {
		return nil
	}
	return retellBookings(ctx, tx, firm, before, j, by, now)
}

// isNew refuses a job that is known under another reference: to take it in would
// rename that one.
func isNew(ctx context.Context, tx pgx.Tx, firm uuid.UUID, j Job) error {
	if j.ID == uuid.Nil {
		return nil
	}
	other, err := readJobs(ctx, tx, firm, whichJobs{id: j.ID})
	if err != nil || len(other) == 0 {
		return err
	}
	return fault.Changed("job reference", j.Ref, "this job is known as "+other[0].Ref+", and a job keeps its reference")
}

func writeJob(ctx context.Context, tx pgx.Tx, firm uuid.UUID, j Job) error {
	facts, err := json.Marshal(j.Site.Facts)
	if err != nil {
		return fmt.Errorf("write the survey: %w", err)
	}
	if j.Site.Facts == nil {
		facts = []byte("{}")
	}
	b := &pgx.Batch{}
	b.Queue(`
		INSERT INTO customer (firm_id, customer_id, name, email, phone) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (firm_id, customer_id) DO UPDATE SET name = excluded.name, email = excluded.email, phone = excluded.phone`,
		firm, j.Customer.ID, j.Customer.Name, j.Customer.Email, j.Customer.Phone)
	b.Queue(`
		INSERT INTO site (firm_id, site_id, address, postcode, lat, lon, terrain, working_height_m, facts)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
		ON CONFLICT (firm_id, site_id) DO UPDATE
		SET address = excluded.address, postcode = excluded.postcode, lat = excluded.lat, lon = excluded.lon,
		    terrain = excluded.terrain, working_height_m = excluded.working_height_m, facts = excluded.facts`,
		firm, j.Site.ID, j.Site.Address, j.Site.Postcode, j.Site.Lat, j.Site.Lon, j.Site.Terrain, j.Site.WorkingHeightM, facts)
	b.Queue(`
		INSERT INTO job (firm_id, job_id, ref, site_id, customer_id, state, modules, module_watts, module_kg, module_m2,
		                 ready_on, promised_on, note, created_at, promise_told)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)
		ON CONFLICT (firm_id, job_id) DO UPDATE
		SET ref = excluded.ref, state = excluded.state, modules = excluded.modules, module_watts = excluded.module_watts,
		    module_kg = excluded.module_kg, module_m2 = excluded.module_m2, ready_on = excluded.ready_on,
		    promised_on = excluded.promised_on, promise_told = excluded.promise_told, note = excluded.note`,
		firm, j.ID, j.Ref, j.Site.ID, j.Customer.ID, j.State, j.Modules, j.ModuleWatts, j.ModuleKg, j.ModuleM2,
		j.ReadyOn, j.PromisedOn, j.Note, instant(j.CreatedAt), j.PromiseTold && j.PromisedOn.Known())
	for _, s := range j.Stages {
		queueStage(b, firm, j.ID, s)
	}
	for _, c := range j.Consents {
		queueConsent(b, firm, j.ID, c)
	}
	for _, k := range j.Kit {
		queueKit(b, firm, j.ID, k)
	}
	return tx.SendBatch(ctx, b).Close()
}

func queueStage(b *pgx.Batch, firm, job uuid.UUID, s Stage) {
	b.Queue(`
		INSERT INTO stage (firm_id, job_id, kind, half_days, state, started_on, done_on) VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT (firm_id, job_id, kind) DO UPDATE
		SET half_days = excluded.half_days, state = excluded.state, started_on = excluded.started_on, done_on = excluded.done_on`,
		firm, job, s.Kind.Key(), s.HalfDays, s.State.Key(), s.StartedOn, s.DoneOn)
}

func queueConsent(b *pgx.Batch, firm, job uuid.UUID, c Consent) {
	b.Queue(`
		INSERT INTO consent (firm_id, job_id, kind, stage_kind, state, expected_on, granted_on) VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT (firm_id, job_id, kind) DO UPDATE
		SET stage_kind = excluded.stage_kind, state = excluded.state, expected_on = excluded.expected_on, granted_on = excluded.granted_on`,
		firm, job, c.Kind, c.Stage.Key(), c.State, c.ExpectedOn, c.GrantedOn)
}

func queueKit(b *pgx.Batch, firm, job uuid.UUID, k Kit) {
	b.Queue(`
		INSERT INTO kit (firm_id, job_id, item, quantity, due_on, arrived_on) VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (firm_id, job_id, item) DO UPDATE
		SET quantity = excluded.quantity, due_on = excluded.due_on, arrived_on = excluded.arrived_on`,
		firm, job, k.Item, k.Quantity, k.DueOn, k.ArrivedOn)
}

// ApplyImport does what an import says, all of it or nothing. It is a conflict
// when a job changed since the file was read against it.
func (s *Store) ApplyImport(ctx context.Context, firm uuid.UUID, im Import, by string, now time.Time) error {
	for _, j := range im.jobs() {
		if err := j.Check(); err != nil {
			return err
		}
	}
	return s.serial(ctx, firm, func(tx pgx.Tx) error {
		for _, c := range im.Changed {
			is, err := readJob(ctx, tx, firm, c.Before.Ref)
			if err != nil {
				return err
			}
			if !sameJob(is, c.Before) {
				return fault.Changed("job", c.Before.Ref, "it changed since the file was read: read the file again and look at the differences")
			}
		}
		for _, n := range im.New {
			if _, err := readJob(ctx, tx, firm, n.Job.Ref); fault.KindOf(err) != fault.NotFound || err == nil {
				if err != nil {
					return err
				}
				return fault.Changed("job", n.Job.Ref, "it was added since the file was read: read the file again and look at the differences")
			}
		}
		for _, j := range im.jobs() {
			if err := s.saveJob(ctx, tx, firm, j, by, now); err != nil {
				return err
			}
			if err := s.factsFromFile(ctx, tx, firm, j, by, now); err != nil {
				return err
			}
		}
		return nil
	})
}

// jobs gives every job as it will be.
func (im Import) jobs() []Job {
	var all []Job
	for _, n := range im.New {
		all = append(all, n.Job)
	}
	for _, c := range im.Changed {
		all = append(all, c.After)
	}
	return all
}

// sameJob tells whether two readings of one job are the same.
func sameJob(a, b Job) bool { return reflect.DeepEqual(a, b) }

// factsFromFile lets bookings know that a file says their scaffold stands or is
// gone.
func (s *Store) factsFromFile(ctx context.Context, tx pgx.Tx, firm uuid.UUID, j Job, by string, now time.Time) error {
	j, err := readJob(ctx, tx, firm, j.Ref)
	if err != nil {
		return err
	}
	for _, k := range []StageKind{ScaffoldErection, ScaffoldStrike} {
		if st, has := j.Stage(k); has && st.State == StateDone {
			if err := s.markBooking(ctx, tx, firm, j.ID, k, st.DoneOn, by, now); err != nil {
				return err
			}
		}
	}
	return nil
}

// ---------------------------------------------------------------- progress

// StageStarted records that a stage began on a day. Telling it again changes
// the day; a finished stage keeps its state.
func (s *Store) StageStarted(ctx context.Context, firm uuid.UUID, ref string, k StageKind, on civil.Date, now time.Time) error {
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		j, st, err := progressOf(ctx, tx, firm, ref, k, on, now)
		if err != nil {
			return err
		}
		if st.DoneOn.Known() && on > st.DoneOn {
			return fault.Bad("started on", on.String(), "not after "+st.DoneOn.String()+", when it was finished")
		}
		if st.StartedOn = on; st.State == StatePlanned {
			st.State = StateStarted
		}
		return writeStage(ctx, tx, firm, j.ID, st)
	})
}

// StageDone records that a stage was finished on a day. A finished erection or
// strike marks the booking as well, in the same transaction.
func (s *Store) StageDone(ctx context.Context, firm uuid.UUID, ref string, k StageKind, on civil.Date, by string, now time.Time) error {
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		j, st, err := progressOf(ctx, tx, firm, ref, k, on, now)
		if err != nil {
			return err
		}
		if st.StartedOn.Known() && on < st.StartedOn {
			return fault.Bad("done on", on.String(), "not before "+st.StartedOn.String()+", when it was started")
		}
		st.State, st.DoneOn = StateDone, on
		if err := writeStage(ctx, tx, firm, j.ID, st); err != nil {
			return err
		}
		return s.markBooking(ctx, tx, firm, j.ID, k, on, by, now)
	})
}

// progressOf reads a stage for a report of progress, and refuses days that have
// not come.
func progressOf(ctx context.Context, tx pgx.Tx, firm uuid.UUID, ref string, k StageKind, on civil.Date, now time.Time) (Job, Stage, error) {
	j, err := readJob(ctx, tx, firm, ref)
	if err != nil {
		return j, Stage{}, err
	}
	today, err := todayOf(ctx, tx, firm, now)
	if err != nil {
		return j, Stage{}, err
	}
	if !on.Known() || on > today {
		return j, Stage{}, fault.Bad("day", on.String(), "a day that has come: today is "+today.Long())
	}
	st, has := j.Stage(k)
	if !has {
		return j, st, fault.Missing("stage", k.String())
	}
	return j, st, nil
}

// todayOf is the date that the firm's clock shows.
func todayOf(ctx context.Context, tx pgx.Tx, firm uuid.UUID, now time.Time) (civil.Date, error) {
	f, err := readFirm(ctx, tx, firm)
	if err != nil {
		return civil.NoDate, err
	}
	loc, err := f.Location()
	if err != nil {
		return civil.NoDate, fmt.Errorf("read the firm's zone: %w", err)
	}
	return civil.DateOf(now, loc), nil
}

func writeStage(ctx context.Context, tx pgx.Tx, firm, job uuid.UUID, s Stage) error {
	b := &pgx.Batch{}
	queueStage(b, firm, job, s)
	if err := tx.SendBatch(ctx, b).Close(); err != nil {
		return fmt.Errorf("save the %s: %w", s.Kind, err)
	}
	return nil
}

// SaveConsent adds a consent of a job or changes it.
func (s *Store) SaveConsent(ctx context.Context, firm uuid.UUID, ref string, c Consent) error {
	return s.changeJob(ctx, firm, ref, func(j *Job, b *pgx.Batch) {
		if old := j.consent(c.Kind); old != nil {
			*old = c
		} else {
			j.Consents = append(j.Consents, c)
		}
		queueConsent(b, firm, j.ID, c)
	})
}

// SaveKit adds an item of a job's kit or changes it: ordered with another day,
// arrived.
func (s *Store) SaveKit(ctx context.Context, firm uuid.UUID, ref string, k Kit) error {
	return s.changeJob(ctx, firm, ref, func(j *Job, b *pgx.Batch) {
		if i := slices.IndexFunc(j.Kit, func(old Kit) bool { return old.Item == k.Item }); i >= 0 {
			j.Kit[i] = k
		} else {
			j.Kit = append(j.Kit, k)
		}
		queueKit(b, firm, j.ID, k)
	})
}

// changeJob changes a part of a job if the whole is still right with it.
func (s *Store) changeJob(ctx context.Context, firm uuid.UUID, ref string, change func(*Job, *pgx.Batch)) error {
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		j, err := readJob(ctx, tx, firm, ref)
		if err != nil {
			return err
		}
		b := &pgx.Batch{}
		change(&j, b)
		if err := j.Check(); err != nil {
			return err
		}
		if err := tx.SendBatch(ctx, b).Close(); err != nil {
			return fmt.Errorf("change job %s: %w", ref, err)
		}
		return nil
	})
}
