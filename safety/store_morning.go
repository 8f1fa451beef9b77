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
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// SaveBriefing records what the lead found. A later one of the same crew, job
// and day stands in front of an earlier one.
func (s *Store) SaveBriefing(ctx context.Context, firm uuid.UUID, b Briefing) (Briefing, error) {
	b.ID, b.At = s.orNew(b.ID), stamp(b.At)
	var faults []error
	for key := range b.Checks {
		_, aboutCaution := cautionOf(key)
		if !aboutCaution && !isRiskCheck(key) && !slices.ContainsFunc(morningChecks, func(c Check) bool { return c.Key == key }) {
			faults = append(faults, fault.Bad("check", key, "the key of a morning check"))
		}
	}
	if b.GustMS.Known && !(b.GustMS.N >= 0 && b.GustMS.N < 100) {
		faults = append(faults, fault.Bad("gust", fmt.Sprint(b.GustMS.N), "a reading in m/s from 0 to under 100, or nothing"))
	}
	if !b.Day.Known() || b.At.IsZero() {
		faults = append(faults, fault.Bad("day", b.Day.String(), "the day of the briefing and the time it was held"))
	}
	if err := errors.Join(faults...); err != nil {
		return Briefing{}, err
	}
	checks, err := canonical(b.Checks)
	if err != nil {
		return Briefing{}, err
	}
	var gust *float64
	if b.GustMS.Known {
		gust = &b.GustMS.N
	}
	err = s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO briefing (firm_id, briefing_id, crew_id, job_id, on_day, assessment_id, checks, gust_ms, by_person_id, at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
			firm, b.ID, b.Crew, b.Job, b.Day, b.Assessment, checks, gust, b.By, b.At)
		if err != nil {
			return fmt.Errorf("save a briefing: %w", err)
		}
		return Keep(ctx, tx, firm, "briefing", b.ID)
	})
	return b, err
}

// AddSignOff records a signature. The same signature sent again, as a phone
// does that got no answer, gives what was stored the first time; the same
// identity with other content is a conflict. A signature to a version that is
// no longer in force is kept: it is a fact, and the decision says what it is
// worth.
func (s *Store) AddSignOff(ctx context.Context, firm uuid.UUID, so SignOff) (SignOff, error) {
	so.ID, so.ReceivedAt = s.orNew(so.ID), stamp(so.ReceivedAt)
	if !so.DeviceAt.IsZero() {
		so.DeviceAt = stamp(so.DeviceAt)
	}
	switch {
	case !said(so.TypedName):
		return SignOff{}, fault.Bad("name", so.TypedName, "your full name, typed")
	case !said(so.Statement):
		return SignOff{}, fault.Bad("statement", so.Statement, "the text that was shown")
	case !so.Day.Known():
		return SignOff{}, fault.Bad("day", so.Day.String(), "the day the signature is for")
	case so.Proof != ByPIN:
		return SignOff{}, fault.Bad("proof", so.Proof, "a signature given with the person's own PIN")
	}
	if err := CheckDrawing(so.Drawing); err != nil {
		return SignOff{}, err
	}
	basis, err := canonical(so.GivenFor)
	if err != nil {
		return SignOff{}, err
	}
	err = s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			INSERT INTO sign_off (firm_id, sign_off_id, crew_id, job_id, on_day, person_id, assessment_id, body_hash, statement,
			                      typed_name, device_at, received_at, proof, drawing, on_phone_of, given_for)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)
			ON CONFLICT (firm_id, sign_off_id) DO NOTHING`,
			firm, so.ID, so.Crew, so.Job, so.Day, so.Person, so.Assessment, so.BodyHash[:], so.Statement,
			so.TypedName, orNull(so.DeviceAt), so.ReceivedAt, so.Proof, so.Drawing, idOrNull(so.OnPhoneOf), basis)
		if err != nil {
			return fmt.Errorf("add a signature: %w", err)
		}
		if tag.RowsAffected() == 1 {
			return Keep(ctx, tx, firm, "sign_off", so.ID)
		}
		stored, err := readSignOffs(ctx, tx, `sign_off_id = $1`, so.ID)
		if err != nil {
			return err
		}
		again := so
		again.ReceivedAt, again.GivenFor = stored[0].ReceivedAt, stored[0].GivenFor // what was so is read anew at each try
		if again != stored[0] {
			return &fault.Error{Kind: fault.Conflict, Field: "signature", Value: so.ID.String(), Want: "another signature already has this identity: sign again"}
		}
		so = stored[0]
		return waitForStandby(ctx, tx)
	})
	if err != nil {
		return SignOff{}, err
	}
	return so, nil
}

// idOrNull makes NULL of no identity.
func idOrNull(id uuid.UUID) *uuid.UUID {
	if id == uuid.Nil {
		return nil
	}
	return &id
}

// waitForStandby makes a transaction that wrote nothing wait at its commit for
// the synchronous standbys, as one that wrote does. Without it a retry could
// answer "received" on the strength of a row whose own commit is still waiting
// for a standby, and which a failover then loses.
func waitForStandby(ctx context.Context, tx pgx.Tx) error {
	if _, err := tx.Exec(ctx, `SELECT pg_logical_emit_message(true, 'toeboard', 'again')`); err != nil {
		return fmt.Errorf("wait for the standby: %w", err)
	}
	return nil
}

func readSignOffs(ctx context.Context, tx pgx.Tx, where string, args ...any) ([]SignOff, error) {
	rows, err := tx.Query(ctx, `
		SELECT sign_off_id, crew_id, job_id, on_day, person_id, assessment_id, body_hash, statement, typed_name, device_at, received_at,
		       proof, drawing, on_phone_of, given_for
		  FROM sign_off WHERE `+where+` ORDER BY received_at, sign_off_id`, args...)
	if err != nil {
		return nil, fmt.Errorf("read signatures: %w", err)
	}
	all := []SignOff{}
	var so SignOff
	var hash []byte
	var device *time.Time
	var phone *uuid.UUID
	var basis []byte
	_, err = pgx.ForEachRow(rows, []any{&so.ID, &so.Crew, &so.Job, &so.Day, &so.Person, &so.Assessment, &hash, &so.Statement,
		&so.TypedName, &device, &so.ReceivedAt, &so.Proof, &so.Drawing, &phone, &basis}, func() error {
		so.OnPhoneOf, so.GivenFor = uuid.Nil, Basis{}
		if phone != nil {
			so.OnPhoneOf = *phone
		}
		if basis != nil {
			if err := json.Unmarshal(basis, &so.GivenFor); err != nil {
				return fmt.Errorf("read what signature %s was given for: %w", so.ID, err)
			}
		}
		so.BodyHash, so.ReceivedAt, so.DeviceAt = Hash(hash), so.ReceivedAt.UTC(), time.Time{}
		if device != nil {
			so.DeviceAt = device.UTC()
		}
		all = append(all, so)
		return nil
	})
	return all, err
}

// StopWork records that a person stops the work at a job, at once. ByID, Job,
// Reason and At are the caller's; sent again with the same identity it is the
// same stop.
func (s *Store) StopWork(ctx context.Context, firm uuid.UUID, stop StopWork) (StopWork, error) {
	stop.ID, stop.At = s.orNew(stop.ID), stamp(stop.At)
	if !said(stop.Reason) {
		return StopWork{}, fault.Bad("reason", stop.Reason, "why the work stops, in a few words")
	}
	err := s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			INSERT INTO stop_work (firm_id, stop_id, job_id, reason, by_person_id, at)
			VALUES ($1, $2, $3, $4, $5, $6)
			ON CONFLICT (firm_id, stop_id) DO NOTHING`,
			firm, stop.ID, stop.Job, stop.Reason, stop.ByID, stop.At)
		if err != nil {
			return fmt.Errorf("stop the work: %w", err)
		}
		stored, err := readStops(ctx, tx, `s.stop_id = $1`, stop.ID)
		if err != nil {
			return err
		}
		if was := stored[0]; was.Job != stop.Job || was.Reason != stop.Reason || was.ByID != stop.ByID {
			return &fault.Error{Kind: fault.Conflict, Field: "stop-work", Value: stop.ID.String(), Want: "another stop already has this identity: stop again"}
		}
		stop = stored[0]
		if tag.RowsAffected() == 0 {
			return waitForStandby(ctx, tx)
		}
		return Keep(ctx, tx, firm, "stop_work", stop.ID)
	})
	if err != nil {
		return StopWork{}, err
	}
	return stop, nil
}

// LiftStop records that another person lifts a stop, and why. Whoever stopped
// the work cannot lift the stop, and a stop is lifted once.
func (s *Store) LiftStop(ctx context.Context, firm, stop, by uuid.UUID, why string, now time.Time) error {
	if !said(why) {
		return fault.Bad("why", why, "what was put right, in a few words")
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO stop_work_lift (firm_id, stop_id, by_person_id, why, at)
			VALUES ($1, $2, $3, $4, $5)`, firm, stop, by, why, stamp(now))
		if err != nil {
			return fmt.Errorf("lift a stop: %w", err)
		}
		return Keep(ctx, tx, firm, "stop_work_lift", stop)
	})
}

// Stops lists a job's stops, open and lifted, the oldest first.
func (s *Store) Stops(ctx context.Context, firm, job uuid.UUID) ([]StopWork, error) {
	var all []StopWork
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) (err error) {
		all, err = readStops(ctx, tx, `s.job_id = $1`, job)
		return err
	})
	return all, err
}

func readStops(ctx context.Context, tx pgx.Tx, where string, arg uuid.UUID) ([]StopWork, error) {
	rows, err := tx.Query(ctx, `
		SELECT s.stop_id, s.job_id, s.reason, p.name, s.by_person_id, s.at, l.by_person_id, lp.name, l.at, l.why
		  FROM stop_work s
		  JOIN person p ON (p.firm_id, p.person_id) = (s.firm_id, s.by_person_id)
		  LEFT JOIN stop_work_lift l ON (l.firm_id, l.stop_id) = (s.firm_id, s.stop_id)
		  LEFT JOIN person lp ON (lp.firm_id, lp.person_id) = (l.firm_id, l.by_person_id)
		 WHERE `+where+` ORDER BY s.at, s.stop_id`, arg)
	if err != nil {
		return nil, fmt.Errorf("read stops: %w", err)
	}
	all := []StopWork{}
	var st StopWork
	var lifter *uuid.UUID
	var name, why *string
	var at *time.Time
	_, err = pgx.ForEachRow(rows, []any{&st.ID, &st.Job, &st.Reason, &st.By, &st.ByID, &st.At, &lifter, &name, &at, &why}, func() error {
		one := st
		one.At = st.At.UTC()
		if lifter != nil && name != nil && at != nil && why != nil {
			one.LiftedByID, one.LiftedBy, one.LiftedAt, one.LiftWhy = *lifter, *name, at.UTC(), *why
		}
		all = append(all, one)
		return nil
	})
	return all, err
}

// Morning reads, in one transaction, everything the database knows for one
// crew at one job on one day. The caller adds what it does not hold: Stages,
// Outdoors, StartAt and EndAt of the day's plan, and Weather. People are the
// crew's members of that day without those away.
func (s *Store) Morning(ctx context.Context, firm, crew, job uuid.UUID, day civil.Date) (Snapshot, error) {
	snap := Snapshot{Crew: crew, Job: job, Day: day}
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		snap = Snapshot{Crew: crew, Job: job, Day: day}
		for _, read := range []func(context.Context, pgx.Tx, *Snapshot) error{
			readFirmAndCrew, readJobInto, readPeople, readAssessmentInto, readScaffold, readBriefing, readReadings, readThunder, readSignedAndStopped, readConsentsAndKit, readIsolations, readOwnInto, readLone,
		} {
			if err := read(ctx, tx, &snap); err != nil {
				return err
			}
		}
		return nil
	})
	return snap, err
}

func readFirmAndCrew(ctx context.Context, tx pgx.Tx, snap *Snapshot) error {
	err := tx.QueryRow(ctx, `
		SELECT f.time_zone, c.name FROM crew c JOIN firm f USING (firm_id) WHERE c.crew_id = $1`, snap.Crew).
		Scan(&snap.TimeZone, &snap.CrewName)
	if errors.Is(err, pgx.ErrNoRows) {
		return fault.Missing("crew", snap.Crew.String())
	}
	if err != nil {
		return fmt.Errorf("read the crew: %w", err)
	}
	if snap.Location, err = time.LoadLocation(snap.TimeZone); err != nil {
		return fmt.Errorf("read the firm's time zone: %w", err)
	}
	return nil
}

// jobFacts is what the tables of the schedule say of a job.
type jobFacts struct {
	ref      string
	state    string // "open", "done", "cancelled"
	numbers  JobNumbers
	facts    Facts
	faults   []string // survey facts that could not be read
	scaffold bool     // whether the job has a scaffold
}

// readJob reads a job's own numbers and its site's survey. The tables are the
// schedule's; they are only read here, so that the facts of a decision are of
// one instant.
func readJob(ctx context.Context, tx pgx.Tx, job uuid.UUID) (jobFacts, error) {
	var j jobFacts
	var survey []byte
	err := tx.QueryRow(ctx, `
		SELECT j.ref, j.state, j.modules, j.module_watts, j.module_kg, j.module_m2, s.address, s.lat, s.lon, s.working_height_m, s.facts,
		       coalesce(array_agg(st.kind ORDER BY st.kind) FILTER (WHERE st.kind IS NOT NULL), '{}')
		  FROM job j
		  JOIN site s USING (firm_id, site_id)
		  LEFT JOIN stage st ON (st.firm_id, st.job_id) = (j.firm_id, j.job_id)
		 WHERE j.job_id = $1
		 GROUP BY j.firm_id, j.job_id, s.firm_id, s.site_id`, job).
		Scan(&j.ref, &j.state, &j.numbers.Modules, &j.numbers.ModuleWatts, &j.numbers.ModuleKg, &j.numbers.ModuleM2, &j.numbers.Address,
			&j.numbers.Lat, &j.numbers.Lon, &j.numbers.WorkingHeightM, &survey, &j.numbers.Stages)
	if errors.Is(err, pgx.ErrNoRows) {
		return jobFacts{}, fault.Missing("job", job.String())
	}
	if err != nil {
		return jobFacts{}, fmt.Errorf("read the job: %w", err)
	}
	var site map[string]any
	if err := json.Unmarshal(survey, &site); err != nil {
		return jobFacts{}, fmt.Errorf("read the survey: %w", err)
	}
	j.facts, err = FactsOf(site, j.numbers)
	for _, f := range fault.Each(err) {
		j.faults = append(j.faults, f.Error())
	}
	seen, err := siteOf(ctx, tx, job)
	if err != nil {
		return jobFacts{}, err
	}
	j.facts.withSite(seen)
	j.scaffold = slices.Contains(j.numbers.Stages, "scaffold_erection")
	return j, nil
}

// Facts gives what is known of a job, ready to be assessed, and in words those
// survey facts that could not be read and so count as not known.
func (s *Store) Facts(ctx context.Context, firm, job uuid.UUID) (f Facts, faults []string, err error) {
	err = tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		j, err := readJob(ctx, tx, job)
		f, faults = j.facts, j.faults
		return err
	})
	return f, faults, err
}

func readJobInto(ctx context.Context, tx pgx.Tx, snap *Snapshot) error {
	j, err := readJob(ctx, tx, snap.Job)
	if err != nil {
		return err
	}
	snap.JobState = j.state
	snap.JobRef, snap.Address, snap.Facts, snap.FactFaults = j.ref, j.numbers.Address, j.facts, j.faults
	snap.Lat, snap.Lon = weather.Is(j.numbers.Lat), weather.Is(j.numbers.Lon)
	snap.Scaffold.Expected = j.scaffold
	return nil
}

func readPeople(ctx context.Context, tx pgx.Tx, snap *Snapshot) error {
	rows, err := tx.Query(ctx, `
		SELECT p.person_id, p.name, m.is_lead
		  FROM crew_member m JOIN person p USING (firm_id, person_id)
		 WHERE m.crew_id = $1 AND m.during @> $2::date AND p.active
		   AND coalesce((SELECT f.fit FROM fitness f WHERE (f.firm_id, f.person_id) = (m.firm_id, m.person_id) AND f.on_day = $2::date
		                  ORDER BY f.at DESC, f.declaration_id DESC LIMIT 1), true)
		   AND NOT EXISTS (SELECT FROM absence a WHERE (a.firm_id, a.person_id) = (m.firm_id, m.person_id) AND a.during @> $2::date)
		 ORDER BY m.is_lead DESC, p.name, p.person_id`, snap.Crew, snap.Day)
	if err != nil {
		return fmt.Errorf("read the crew's people: %w", err)
	}
	var p Person
	var ids []uuid.UUID
	_, err = pgx.ForEachRow(rows, []any{&p.ID, &p.Name, &p.Lead}, func() error {
		snap.People = append(snap.People, p)
		ids = append(ids, p.ID)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read the crew's people: %w", err)
	}
	rows, err = tx.Query(ctx, `
		SELECT p.person_id, p.name FROM crew_member m JOIN person p USING (firm_id, person_id)
		 WHERE m.crew_id = $1 AND m.during @> $2::date AND p.active
		   AND NOT (SELECT f.fit FROM fitness f WHERE (f.firm_id, f.person_id) = (m.firm_id, m.person_id) AND f.on_day = $2::date
		             ORDER BY f.at DESC, f.declaration_id DESC LIMIT 1)
		 ORDER BY p.name, p.person_id`, snap.Crew, snap.Day)
	if err != nil {
		return fmt.Errorf("read who is not fit: %w", err)
	}
	var off Person
	if _, err = pgx.ForEachRow(rows, []any{&off.ID, &off.Name}, func() error { snap.NotFit = append(snap.NotFit, off); return nil }); err != nil {
		return fmt.Errorf("read who is not fit: %w", err)
	}
	by, err := readCompetences(ctx, tx, ids)
	if err != nil {
		return err
	}
	told, err := readInductions(ctx, tx, `person_id = ANY($1)`, ids)
	for i, p := range snap.People {
		snap.People[i].Competences, snap.People[i].Inductions = by[p.ID], told[p.ID]
	}
	return err
}

func readAssessmentInto(ctx context.Context, tx pgx.Tx, snap *Snapshot) (err error) {
	snap.Assessment, err = readAssessment(ctx, tx, `job_id = $1 ORDER BY version DESC LIMIT 1`, snap.Job)
	if snap.Assessment != nil {
		snap.Assessment.FactsNow = snap.Facts.Hash()
	}
	return err
}

func readScaffold(ctx context.Context, tx pgx.Tx, snap *Snapshot) (err error) {
	if err := readStanding(ctx, tx, snap); err != nil {
		return err
	}
	if snap.Scaffold.Reports, err = readReports(ctx, tx, snap.Job); err != nil {
		return err
	}
	snap.Scaffold.Events, err = readEvents(ctx, tx, snap.Job)
	return err
}

// readStanding reads what the schedule knows of the scaffold itself: reports
// say what somebody found, not whether it has come down since.
func readStanding(ctx context.Context, tx pgx.Tx, snap *Snapshot) error {
	rows, err := tx.Query(ctx, `
		SELECT kind, state, started_on, done_on FROM stage
		 WHERE job_id = $1 AND kind IN ('scaffold_erection', 'scaffold_strike')`, snap.Job)
	if err != nil {
		return fmt.Errorf("read the scaffold's stages: %w", err)
	}
	var kind string
	var f StageFact
	_, err = pgx.ForEachRow(rows, []any{&kind, &f.State, &f.Started, &f.Done}, func() error {
		if kind == "scaffold_erection" {
			snap.Scaffold.Erection = f
		} else {
			snap.Scaffold.Strike = f
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("read the scaffold's stages: %w", err)
	}
	rows, err = tx.Query(ctx, `
		SELECT state, erect_on, strike_on FROM booking WHERE job_id = $1 AND state <> 'cancelled' ORDER BY erect_on, booking_id`, snap.Job)
	if err != nil {
		return fmt.Errorf("read the scaffold's bookings: %w", err)
	}
	var b ScaffoldBooking
	_, err = pgx.ForEachRow(rows, []any{&b.State, &b.ErectOn, &b.StrikeOn}, func() error {
		snap.Scaffold.Bookings = append(snap.Scaffold.Bookings, b)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read the scaffold's bookings: %w", err)
	}
	return nil
}

func readBriefing(ctx context.Context, tx pgx.Tx, snap *Snapshot) error {
	var b Briefing
	var checks []byte
	var gust *float64
	err := tx.QueryRow(ctx, `
		SELECT briefing_id, crew_id, job_id, on_day, assessment_id, checks, gust_ms, by_person_id, at
		  FROM briefing WHERE crew_id = $1 AND job_id = $2 AND on_day = $3
		 ORDER BY at DESC, briefing_id DESC LIMIT 1`, snap.Crew, snap.Job, snap.Day).
		Scan(&b.ID, &b.Crew, &b.Job, &b.Day, &b.Assessment, &checks, &gust, &b.By, &b.At)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("read the briefing: %w", err)
	}
	if err := json.Unmarshal(checks, &b.Checks); err != nil {
		return fmt.Errorf("read the briefing: %w", err)
	}
	if gust != nil {
		b.GustMS = weather.Is(*gust)
	}
	b.At = b.At.UTC()
	snap.Briefing = &b
	return nil
}

// readReadings reads every reading of the day at the job, those of briefings and
// those given by themselves: a briefing that stands in front of an earlier one
// does not take its reading back.
func readReadings(ctx context.Context, tx pgx.Tx, snap *Snapshot) (err error) {
	snap.Readings, err = readGusts(ctx, tx, `
		SELECT gust_ms, at FROM briefing WHERE job_id = $1 AND on_day = $2 AND gust_ms IS NOT NULL
		UNION ALL SELECT gust_ms, at FROM sky_report WHERE job_id = $1 AND what = 'gust' AND at >= $3 AND at < $4
		ORDER BY at, gust_ms`, snap.Job, snap.Day, snap.Day.At(0, 0, snap.Location).UTC(), (snap.Day+1).At(0, 0, snap.Location).UTC())
	return err
}

func readSignedAndStopped(ctx context.Context, tx pgx.Tx, snap *Snapshot) (err error) {
	snap.SignOffs, err = readSignOffs(ctx, tx, `crew_id = $1 AND job_id = $2 AND on_day = $3`, snap.Crew, snap.Job, snap.Day)
	if err != nil {
		return err
	}
	snap.Stops, err = readStops(ctx, tx, `s.job_id = $1`, snap.Job)
	return err
}

func readConsentsAndKit(ctx context.Context, tx pgx.Tx, snap *Snapshot) error {
	rows, err := tx.Query(ctx, `
		SELECT kind, stage_kind, state = 'granted' AND granted_on <= $2 FROM consent WHERE job_id = $1 ORDER BY kind`, snap.Job, snap.Day)
	if err != nil {
		return fmt.Errorf("read consents: %w", err)
	}
	var c ConsentFact
	_, err = pgx.ForEachRow(rows, []any{&c.Kind, &c.Stage, &c.Granted}, func() error {
		snap.Consents = append(snap.Consents, c)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read consents: %w", err)
	}
	rows, err = tx.Query(ctx, `
		SELECT item, coalesce(arrived_on <= $2, false) FROM kit WHERE job_id = $1 ORDER BY item`, snap.Job, snap.Day)
	if err != nil {
		return fmt.Errorf("read kit: %w", err)
	}
	var k KitFact
	_, err = pgx.ForEachRow(rows, []any{&k.Item, &k.Arrived}, func() error {
		snap.Kit = append(snap.Kit, k)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read kit: %w", err)
	}
	return nil
}
