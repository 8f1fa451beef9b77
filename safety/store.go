package safety

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"toeboard/migrations/tenant"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Store keeps the safety records of all firms. It only adds rows, but for
// competences: a correction is a new row. It never decides.
type Store struct {
	pool   *pgxpool.Pool
	ids    func() uuid.UUID
	secret []byte // that keys of the log are derived from; nil = keys are kept in the database
}

// NewStore makes a store on a pool whose role is held by the policies. ids
// gives a new identity at each call.
func NewStore(pool *pgxpool.Pool, ids func() uuid.UUID) *Store {
	return &Store{pool: pool, ids: ids}
}

// stamp brings an instant to what the database keeps: UTC, microseconds.
func stamp(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

// orNull makes NULL of the zero time.
func orNull(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = stamp(t)
	return &t
}

// orNew gives an identity where the caller made none.
func (s *Store) orNew(id uuid.UUID) uuid.UUID {
	if id == uuid.Nil {
		return s.ids()
	}
	return id
}

// write runs one transaction and tells what a refusal means for these tables.
func (s *Store) write(ctx context.Context, firm uuid.UUID, do func(pgx.Tx) error) error {
	return meaning(tenant.Write(ctx, s.pool, firm, do))
}

// meaning names what a foreign key or a lost race of versions refused.
func meaning(err error) error {
	var pg *pgconn.PgError
	if !errors.As(err, &pg) {
		return err
	}
	if pg.ConstraintName == "risk_assessment_firm_id_job_id_version_key" {
		return &fault.Error{Kind: fault.Conflict, Field: "assessment", Want: "another version was issued at the same moment: look at it and decide again", Err: err}
	}
	if pg.Code == "22021" {
		return &fault.Error{Kind: fault.Invalid, Field: "text", Want: "text without control characters of value 0", Err: err}
	}
	if pg.Code == "23503" {
		for _, what := range []string{"assessment", "stop", "job", "crew", "person"} {
			if strings.Contains(pg.ConstraintName, what+"_id_fkey") {
				return &fault.Error{Kind: fault.NotFound, Field: what, Want: "no such " + what + " here", Err: err}
			}
		}
	}
	return err
}

// ------------------------------------------------------------ competences

var competenceKinds = []string{LeadRoof, Roof, Electrical, ScaffoldInspection, FirstAid, RoofRescue, LoneWork}

// SaveCompetence records what a person may do. The same kind from the same day
// replaces the earlier record, so that an end or its evidence can be corrected.
func (s *Store) SaveCompetence(ctx context.Context, firm, person uuid.UUID, c Competence) error {
	switch {
	case !slices.Contains(competenceKinds, c.Kind):
		return fault.Bad("competence", c.Kind, "one of "+strings.Join(competenceKinds, ", "))
	case !c.From.Known():
		return fault.Bad("valid from", "", "the first day on which it holds")
	case c.Until.Known() && c.Until < c.From:
		return fault.Bad("valid to", c.Until.String(), "a day not before "+c.From.String()+", or nothing when it does not expire")
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO competence (firm_id, person_id, kind, valid_from, valid_to, evidence)
			VALUES ($1, $2, $3, $4, $5, $6)
			ON CONFLICT (firm_id, person_id, kind, valid_from)
			DO UPDATE SET valid_to = excluded.valid_to, evidence = excluded.evidence`,
			firm, person, c.Kind, c.From, c.Until, c.Evidence)
		if err != nil {
			return fmt.Errorf("save a competence: %w", err)
		}
		return Keep(ctx, tx, firm, "competence", person, c.Kind, c.From)
	})
}

// CompetencesOf lists what a person may do, past and future too, by kind and
// first day.
func (s *Store) CompetencesOf(ctx context.Context, firm, person uuid.UUID) ([]Competence, error) {
	var all []Competence
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		by, err := readCompetences(ctx, tx, []uuid.UUID{person})
		all = by[person]
		return err
	})
	return all, err
}

func readCompetences(ctx context.Context, tx pgx.Tx, people []uuid.UUID) (map[uuid.UUID][]Competence, error) {
	rows, err := tx.Query(ctx, `
		SELECT person_id, kind, valid_from, valid_to, evidence
		  FROM competence WHERE person_id = ANY($1)
		 ORDER BY person_id, kind, valid_from`, people)
	if err != nil {
		return nil, fmt.Errorf("read competences: %w", err)
	}
	by := map[uuid.UUID][]Competence{}
	var person uuid.UUID
	var c Competence
	_, err = pgx.ForEachRow(rows, []any{&person, &c.Kind, &c.From, &c.Until, &c.Evidence}, func() error {
		by[person] = append(by[person], c)
		return nil
	})
	return by, err
}

// ------------------------------------------------------------ assessments

// IssueAssessment stores an assessment as the next version of a job's. base is
// the version that was in force when it was made, 0 for none: when another was
// issued meanwhile it is a conflict, and nothing is stored.
func (s *Store) IssueAssessment(ctx context.Context, firm, job uuid.UUID, a Assessment, base int, by string, now time.Time) (AssessmentInForce, error) {
	if !said(by) {
		return AssessmentInForce{}, fault.Bad("made by", by, "the name of whoever issues it")
	}
	body, err := a.Canonical()
	if err != nil {
		return AssessmentInForce{}, err
	}
	got := AssessmentInForce{ID: s.ids(), Version: base + 1, BodyHash: a.Hash(), FactsHash: a.Facts.Hash(), FactsNow: a.Facts.Hash(),
		MadeBy: by, MadeAt: stamp(now), Body: a}
	err = s.write(ctx, firm, func(tx pgx.Tx) error {
		var newest int
		if err := tx.QueryRow(ctx, `SELECT coalesce(max(version), 0) FROM risk_assessment WHERE job_id = $1`, job).Scan(&newest); err != nil {
			return fmt.Errorf("find the newest version: %w", err)
		}
		if newest != base {
			return fault.Changed("assessment", "version "+strconv.Itoa(base), fmt.Sprintf("version %d was issued meanwhile: look at it and decide again", newest))
		}
		_, err := tx.Exec(ctx, `
			INSERT INTO risk_assessment (firm_id, assessment_id, job_id, version, body, facts_hash, body_hash, made_by, made_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
			firm, got.ID, job, got.Version, body, got.FactsHash[:], got.BodyHash[:], by, got.MadeAt)
		if err != nil {
			return fmt.Errorf("issue an assessment: %w", err)
		}
		return Keep(ctx, tx, firm, "risk_assessment", got.ID)
	})
	if err != nil {
		return AssessmentInForce{}, err
	}
	return got, nil
}

// Approve records that a competent person approves a version. Approving twice
// is one approval.
func (s *Store) Approve(ctx context.Context, firm, assessment, person uuid.UUID, now time.Time) error {
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			INSERT INTO assessment_approval (firm_id, assessment_id, person_id, approved_at)
			VALUES ($1, $2, $3, $4)
			ON CONFLICT (firm_id, assessment_id, person_id) DO NOTHING`,
			firm, assessment, person, stamp(now))
		if err != nil {
			return fmt.Errorf("approve an assessment: %w", err)
		}
		if tag.RowsAffected() == 0 {
			return nil
		}
		return Keep(ctx, tx, firm, "assessment_approval", assessment, person)
	})
}

// CurrentAssessment gives the newest version of a job's assessment, with the
// hash of the facts as they are now.
func (s *Store) CurrentAssessment(ctx context.Context, firm, job uuid.UUID) (AssessmentInForce, error) {
	var got *AssessmentInForce
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		var err error
		if got, err = readAssessment(ctx, tx, `job_id = $1 ORDER BY version DESC LIMIT 1`, job); err != nil || got == nil {
			return err
		}
		facts, err := readJob(ctx, tx, job)
		got.FactsNow = facts.facts.Hash()
		return err
	})
	if err == nil && got == nil {
		err = fault.Missing("assessment", job.String())
	}
	if err != nil {
		return AssessmentInForce{}, err
	}
	return *got, nil
}

// AssessmentVersion gives one version as it was issued, in force or not. Its
// FactsNow is not filled.
func (s *Store) AssessmentVersion(ctx context.Context, firm, assessment uuid.UUID) (AssessmentInForce, error) {
	var got *AssessmentInForce
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) (err error) {
		got, err = readAssessment(ctx, tx, `assessment_id = $1`, assessment)
		return err
	})
	if err == nil && got == nil {
		err = fault.Missing("assessment", assessment.String())
	}
	if err != nil {
		return AssessmentInForce{}, err
	}
	return *got, nil
}

// readAssessment reads one version and who approved it first; nil when there
// is none. where is SQL of this file.
func readAssessment(ctx context.Context, tx pgx.Tx, where string, arg uuid.UUID) (*AssessmentInForce, error) {
	var a AssessmentInForce
	var body, bodyHash, factsHash []byte
	err := tx.QueryRow(ctx, `
		SELECT assessment_id, version, body, body_hash, facts_hash, made_by, made_at
		  FROM risk_assessment WHERE `+where, arg).
		Scan(&a.ID, &a.Version, &body, &bodyHash, &factsHash, &a.MadeBy, &a.MadeAt)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read an assessment: %w", err)
	}
	if err := json.Unmarshal(body, &a.Body); err != nil {
		return nil, fmt.Errorf("read assessment %s: %w", a.ID, err)
	}
	a.BodyHash, a.FactsHash, a.MadeAt = Hash(bodyHash), Hash(factsHash), a.MadeAt.UTC()
	err = tx.QueryRow(ctx, `
		SELECT p.name, aa.approved_at
		  FROM assessment_approval aa JOIN person p USING (firm_id, person_id)
		 WHERE aa.assessment_id = $1 ORDER BY aa.approved_at, p.person_id LIMIT 1`, a.ID).
		Scan(&a.ApprovedBy, &a.ApprovedAt)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return &a, nil
	case err != nil:
		return nil, fmt.Errorf("read who approved: %w", err)
	}
	a.Approved, a.ApprovedAt = true, a.ApprovedAt.UTC()
	return &a, nil
}

// ------------------------------------------------------------ scaffold

// AddReport records a handover or an inspection. A report that lacks a
// particular is refused, with every fault at once. RecordedBy and RecordedAt
// are the caller's to fill.
func (s *Store) AddReport(ctx context.Context, firm uuid.UUID, r ScaffoldReport) (ScaffoldReport, error) {
	r.ID, r.At, r.RecordedAt = s.orNew(r.ID), stamp(r.At), stamp(r.RecordedAt)
	if err := r.Check(); err != nil {
		return ScaffoldReport{}, err
	}
	if !said(r.RecordedBy) {
		return ScaffoldReport{}, fault.Bad("recorded by", r.RecordedBy, "the name of whoever records it")
	}
	result := "not_fit"
	if r.Fit {
		result = "fit"
	}
	var class *int
	if r.LoadClass != 0 {
		class = &r.LoadClass
	}
	err := s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO scaffold_report (firm_id, report_id, job_id, kind, for_whom, location, description, at, risks, action_taken,
			                             further, by_name, by_position, result, load_class, recorded_by, recorded_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17)`,
			firm, r.ID, r.Job, r.Kind, r.ForWhom, r.Location, r.Description, r.At, r.Risks, r.ActionTaken,
			r.Further, r.ByName, r.ByPosition, result, class, r.RecordedBy, r.RecordedAt)
		if err != nil {
			return fmt.Errorf("add a scaffold report: %w", err)
		}
		if err := addCertificate(ctx, tx, firm, r); err != nil {
			return err
		}
		return Keep(ctx, tx, firm, "scaffold_report", r.ID)
	})
	return r, err
}

// Reports lists a job's scaffold reports, the newest first.
func (s *Store) Reports(ctx context.Context, firm, job uuid.UUID) ([]ScaffoldReport, error) {
	var all []ScaffoldReport
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) (err error) {
		all, err = readReports(ctx, tx, job)
		return err
	})
	return all, err
}

func readReports(ctx context.Context, tx pgx.Tx, job uuid.UUID) ([]ScaffoldReport, error) {
	rows, err := tx.Query(ctx, `
		SELECT report_id, job_id, kind, for_whom, location, description, at, risks, action_taken, further, by_name, by_position,
		       result = 'fit', coalesce(load_class, 0), recorded_by, recorded_at,
		       coalesce(h.design_ref, ''), coalesce(h.lifts, 0), coalesce(h.ties, ''), coalesce(h.received_by, '')
		  FROM scaffold_report LEFT JOIN scaffold_handover h USING (firm_id, report_id)
		 WHERE job_id = $1 ORDER BY at DESC, report_id DESC`, job)
	if err != nil {
		return nil, fmt.Errorf("read scaffold reports: %w", err)
	}
	all := []ScaffoldReport{}
	var r ScaffoldReport
	_, err = pgx.ForEachRow(rows, []any{&r.ID, &r.Job, &r.Kind, &r.ForWhom, &r.Location, &r.Description, &r.At, &r.Risks, &r.ActionTaken,
		&r.Further, &r.ByName, &r.ByPosition, &r.Fit, &r.LoadClass, &r.RecordedBy, &r.RecordedAt, &r.DesignRef, &r.Lifts, &r.Ties, &r.ReceivedBy}, func() error {
		r.At, r.RecordedAt = r.At.UTC(), r.RecordedAt.UTC()
		all = append(all, r)
		return nil
	})
	return all, err
}

var eventKinds = []string{"wind", "impact", "alteration", "other"}

// AddEvent records something that could have affected a scaffold's stability.
func (s *Store) AddEvent(ctx context.Context, firm uuid.UUID, e ScaffoldEvent) (ScaffoldEvent, error) {
	e.ID, e.At, e.RecordedAt = s.orNew(e.ID), stamp(e.At), stamp(e.RecordedAt)
	switch {
	case !slices.Contains(eventKinds, e.What):
		return ScaffoldEvent{}, fault.Bad("what", e.What, "one of "+strings.Join(eventKinds, ", "))
	case !said(e.Detail):
		return ScaffoldEvent{}, fault.Bad("detail", e.Detail, "what happened, in a few words")
	case e.At.IsZero():
		return ScaffoldEvent{}, fault.Bad("at", "", "when it happened")
	case !said(e.By):
		return ScaffoldEvent{}, fault.Bad("recorded by", e.By, "the name of whoever records it")
	}
	err := s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO scaffold_event (firm_id, event_id, job_id, what, detail, at, recorded_by, recorded_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
			firm, e.ID, e.Job, e.What, e.Detail, e.At, e.By, e.RecordedAt)
		if err != nil {
			return fmt.Errorf("add a scaffold event: %w", err)
		}
		return Keep(ctx, tx, firm, "scaffold_event", e.ID)
	})
	return e, err
}

// Events lists a job's scaffold events, the newest first.
func (s *Store) Events(ctx context.Context, firm, job uuid.UUID) ([]ScaffoldEvent, error) {
	var all []ScaffoldEvent
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) (err error) {
		all, err = readEvents(ctx, tx, job)
		return err
	})
	return all, err
}

func readEvents(ctx context.Context, tx pgx.Tx, job uuid.UUID) ([]ScaffoldEvent, error) {
	rows, err := tx.Query(ctx, `
		SELECT event_id, job_id, what, detail, at, recorded_by, recorded_at
		  FROM scaffold_event WHERE job_id = $1 ORDER BY at DESC, event_id DESC`, job)
	if err != nil {
		return nil, fmt.Errorf("read scaffold events: %w", err)
	}
	all := []ScaffoldEvent{}
	var e ScaffoldEvent
	_, err = pgx.ForEachRow(rows, []any{&e.ID, &e.Job, &e.What, &e.Detail, &e.At, &e.By, &e.RecordedAt}, func() error {
		e.At, e.RecordedAt = e.At.UTC(), e.RecordedAt.UTC()
		all = append(all, e)
		return nil
	})
	return all, err
}

// ------------------------------------------------------------ decisions

// Decided is a decision as it was stored.
type Decided struct {
	ID           uuid.UUID
	Crew, Job    uuid.UUID
	Day          civil.Date
	Decision     Decision
	SnapshotHash Hash
}

// SaveDecision stores a decision with the snapshot it rests on.
func (s *Store) SaveDecision(ctx context.Context, firm uuid.UUID, snap Snapshot, d Decision) (uuid.UUID, error) {
	facts, err := canonical(snap)
	if err != nil {
		return uuid.Nil, err
	}
	conditions, err := canonical(d)
	if err != nil {
		return uuid.Nil, err
	}
	id, hash := s.ids(), snap.Hash()
	err = s.write(ctx, firm, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO decision (firm_id, decision_id, crew_id, job_id, on_day, verdict, conditions, snapshot, snapshot_hash, decided_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
			firm, id, snap.Crew, snap.Job, snap.Day, d.Verdict.Key(), conditions, facts, hash[:], stamp(d.At))
		if err != nil {
			return fmt.Errorf("save a decision: %w", err)
		}
		return Keep(ctx, tx, firm, "decision", id)
	})
	return id, err
}

// Decisions lists what was decided for a crew on a day, the newest first.
func (s *Store) Decisions(ctx context.Context, firm, crew uuid.UUID, day civil.Date) ([]Decided, error) {
	all := []Decided{}
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT decision_id, crew_id, job_id, on_day, conditions, snapshot_hash
			  FROM decision WHERE crew_id = $1 AND on_day = $2 ORDER BY decided_at DESC, decision_id DESC`, crew, day)
		if err != nil {
			return fmt.Errorf("read decisions: %w", err)
		}
		var d Decided
		var body, hash []byte
		_, err = pgx.ForEachRow(rows, []any{&d.ID, &d.Crew, &d.Job, &d.Day, &body, &hash}, func() error {
			d.Decision, d.SnapshotHash = Decision{}, Hash(hash)
			if err := json.Unmarshal(body, &d.Decision); err != nil {
				return fmt.Errorf("read decision %s: %w", d.ID, err)
			}
			all = append(all, d)
			return nil
		})
		return err
	})
	return all, err
}
